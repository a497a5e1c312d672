//! The table of a night.
//!
//! In: what is known of each frame so far (facts, measure or error). Out: [`Night`]: rows in order
//! of capture, sets (one a camera), groups of equal settings, kinds, gaps, the sky's turning, and
//! for every row what is typical there. A pure function of its inputs: the order in which frames
//! were measured cannot matter. What is good or bad about a frame belongs to `verdict`.

pub mod happenings;
pub mod types;

mod order;
mod clock;
mod groups;
mod kinds;
mod gaps;
mod auto_iso;
mod baseline;
mod foreground;
mod matching;
mod stars;
mod turn_fit;
mod turn_stars;
mod turn;
mod pointing;
mod parts;
mod same_field;
mod derive;
mod magnitude;
mod heavens;
mod place;
mod warnings;
mod transfer;
mod transfer_told;
mod transfer_words;
mod star_light;
#[cfg(test)]
mod star_light_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod transfer_tests;
#[cfg(test)]
mod turn_tests;
#[cfg(test)]
mod warning_tests;

pub use foreground::Foreground;
pub use happenings::{
    Cause, Happening, Moment, Shown, Surety, happenings, is_blind, lamplight_pct, lost_mag,
};
pub use same_field::{FieldOf, SameField};
pub use star_light::star_light;
pub use transfer::{PairResult, PairWanted, give_transfer, wanted_pairs};
pub use types::{
    Derived, FrameInput, FrameState, Group, GroupStars, Heavens, Kind, Night, NightOptions,
    OpticsKey, Place, PlaceFrom, Row, Series, Set, Settings, SkyNoise, SkyTurn, StarLight,
    TimeSpan, Transfer, Typical,
};

/// Puts the night together from what is known so far. Called again as frames are measured; costs
/// O(n log n) in the frames.
#[must_use]
pub fn assemble(inputs: &[FrameInput], options: &NightOptions) -> Night {
    let mut night = order::arrange(inputs, options);
    night.place = place::tell(&night, options);
    groups::assign(&mut night);
    kinds::tell(&mut night);
    groups::fill(&mut night);
    clock::smooth(&mut night);
    heavens::fill(&mut night);
    gaps::fill(&mut night);
    baseline::fill(&mut night);
    turn::fill(&mut night);
    foreground::fill(&mut night);
    pointing::fill(&mut night);
    parts::fill(&mut night);
    derive::fill(&mut night);
    magnitude::fill(&mut night, options);
    night.warnings = warnings::collect(&night);
    night
}
