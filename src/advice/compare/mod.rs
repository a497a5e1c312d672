//! Settings side by side: the same sky at several ISO settings, exposures or apertures.
//!
//! In: a night, one of its cameras, the verdicts and the purpose. Out: a [`Comparison`]: a column a
//! setting, signal-to-noise against ISO with its knee, and which setting to use, with the reasons.
//! Values of tone-mapped files are shown as relative and drive no recommendation.

mod columns;
mod curves;
mod reasons;
mod recommend;
#[cfg(test)]
mod tests;
mod types;

pub use types::{Column, Comparison, Curve, EqualTime, Knee, Reason, Value, Varies};

use crate::night::Night;
use crate::verdict::Judged;
use crate::verdict::words::plural;

/// Compares the settings of the camera `set`, for the purpose of `judged`.
///
/// Signal-to-noise is that of the same stars at every setting, found once in each frame and the
/// median taken; stacked frames gain as the square root of their number. At most 24 settings, those
/// with the most frames.
#[must_use]
pub fn compare(night: &Night, set: usize, judged: &Judged) -> Comparison {
    let Some(of) = night.sets.get(set) else {
        return Comparison::default();
    };
    let (columns, stars, left_out) = columns::columns(night, of, judged);
    let mut comparison = Comparison {
        varies: columns::varies(&columns),
        curves: curves::curves(&columns),
        columns,
        stars,
        ..Comparison::default()
    };
    recommend::fill(&mut comparison, judged.purpose);
    if left_out > 0 {
        let settings = plural(left_out, "setting", "settings");
        comparison.notes.push(format!(
            "{settings} more with fewer frames are left out here."
        ));
    }
    comparison
}
