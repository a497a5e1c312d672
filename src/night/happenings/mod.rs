//! What happened in a night, named from the pattern of all signs over time.
//!
//! In: the night's table. Out: [`Happening`]s, each with its frames, what shows it in each of them, and
//! how sure that is. A cause is named only where several signs agree or the course of one fits nothing
//! else: light lost with widths kept is cloud, widths that swell while light is lost are dew, widths
//! that jump while light is kept are focus. Where signs fit several causes nothing is named, and
//! `verdict` keeps to what the values show. What a happening weighs is for `verdict` too.

mod light;
mod lines;
mod motion;
mod optics;
mod pace;
mod runs;
mod signs;
pub(crate) mod standing;
mod swelling;

use super::types::Night;
use signs::Strip;

pub use light::lamplight_pct;
pub use signs::{is_blind, lost_mag};

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// Cloud: light lost, mostly unevenly, while widths are kept.
    Cloud,
    /// Dew on the lens: stars swell slowly and fade.
    Dew,
    /// Focus moved at once: stars are wider from one frame to the next, and keep their light.
    Defocus,
    /// Focus crept: stars widen slowly and keep their light.
    FocusDrift,
    /// The camera shook and came back to its place.
    Wind,
    /// The camera moved at the start and came to rest.
    Settling,
    /// Lamplight: headlights or a torch.
    StrayLight,
    /// Flashes of cold light in single frames.
    Lightning,
    /// Green light that changes from frame to frame.
    Aurora,
    /// Green light that changes slowly.
    Airglow,
    /// Several short lines in different directions.
    Insects,
    /// A line with lamps that flash evenly.
    Aircraft,
    /// An even line.
    Satellite,
    /// A line in one frame that swells and fades within it.
    Meteor,
    /// The Moon rose.
    Moonrise,
    /// About as long shut as open after each frame.
    DarkSubtraction,
    /// The frames end before the night did.
    EarlyStop,
}

/// How sure a cause is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Surety {
    /// Something else could look so.
    Possible,
    /// Little else looks so.
    Likely,
    /// Nothing else known looks so.
    Sure,
}

impl Surety {
    /// The word in tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Possible => "possible",
            Self::Likely => "likely",
            Self::Sure => "sure",
        }
    }
}

/// Which value shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// Light lost by the same stars, mag.
    Fading,
    /// Stars counted.
    Stars,
    /// Star width, px.
    Width,
    /// Trail length, px.
    Trail,
    /// Sky level, percent of full scale.
    Sky,
    /// Light on the ground, percent of full scale.
    Ground,
    /// Length of a line, percent of the frame's diagonal.
    Line,
    /// Seconds between frames, or frames that end.
    Pace,
}

/// One frame of a happening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// The row.
    pub row: usize,
    /// What shows it there.
    pub measured: f64,
    /// The same without it.
    pub usual: f64,
}

/// Something that happened, over one or more frames of one set.
#[derive(Debug, Clone, PartialEq)]
pub struct Happening {
    /// What.
    pub cause: Cause,
    /// In which set.
    pub set: usize,
    /// The value that shows it.
    pub shown: Shown,
    /// Its frames, in order; never empty.
    pub moments: Vec<Moment>,
    /// How sure the cause is.
    pub sure: Surety,
    /// What speaks for it, a sentence.
    pub evidence: String,
}

impl Happening {
    /// Whether a row is among its frames.
    #[must_use]
    pub fn moment(&self, row: usize) -> Option<&Moment> {
        let at = self.moments.binary_search_by_key(&row, |m| m.row).ok()?;
        self.moments.get(at)
    }
}

/// Everything that can be named in a night, in order of the first frame. Costs O(n) in the frames.
#[must_use]
pub fn happenings(night: &Night) -> Vec<Happening> {
    let standing = standing::Standing::of(night);
    let mut all = Vec::new();
    for set in 0..night.sets.len() {
        let Some(strip) = Strip::of(night, set) else {
            all.extend(pace::happenings(night, set));
            continue;
        };
        let seen = optics::happenings(&strip);
        all.extend(light::happenings(&strip, &seen));
        all.extend(seen);
        all.extend(motion::happenings(&strip));
        all.extend(lines::happenings(&strip, &standing));
        all.extend(pace::happenings(night, set));
    }
    all.sort_by_key(|one: &Happening| (one.moments.first().map(|m| m.row), one.cause));
    all
}
