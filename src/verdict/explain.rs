//! One piece of evidence in a sentence, for the frame it was found in.

use super::read::{DOUBLED_STARS, LASTING_JUMP, PREDICTED_TRAIL, SKY_NEAR};
use super::tell::capital;
use super::types::{Evidence, Reason, Verdict};
use super::words::{figure, frames, number, share_lost, with_unit};

/// The numbers that decided, and past which value: "Trails 10.3 px, the sky makes 5.7: rejected past
/// 8.7." At most 75 characters or so, so that two fit in a line and a half of the window.
#[must_use]
pub fn explain(e: &Evidence) -> String {
    let measured = with_unit(e.measured, e.unit);
    let usual = figure(e.baseline);
    let past = past(e);
    match told_by(e) {
        Reason::Trailed if e.quantity == PREDICTED_TRAIL => {
            format!("Trails {measured}, the sky makes {usual}{past}.")
        }
        Reason::Trailed if e.quantity == "elongation" => format!(
            "Stars {} times as long as wide, {} is usual{past}.",
            number(e.measured, 2),
            number(e.baseline, 2)
        ),
        Reason::Trailed => format!("Trails {measured}, {usual} is usual{past}."),
        Reason::Knock if e.quantity == LASTING_JUMP => {
            format!("The camera moved {measured} here and stayed so.")
        }
        Reason::Knock if e.quantity == DOUBLED_STARS => {
            format!("Stars doubled, {measured} apart: the camera moved while it was open.")
        }
        Reason::Knock => format!("The film jumps {measured} here{past}."),
        Reason::Defocus => format!("Stars {measured} wide, {usual} when sharp{past}."),
        Reason::FewStars if e.unit == "mag" => {
            let lost = share_lost(e.measured);
            format!("Stars lost {measured}, {lost} of their light{past}.")
        }
        Reason::FewStars if e.unit.is_empty() && e.baseline <= 1.0 => {
            let percent = |share: f64| number(100.0 * share, 0);
            let word = weighed(e.weighs);
            format!(
                "{} % of the night's best star count: {word} below {}.",
                percent(e.measured),
                percent(e.threshold)
            )
        }
        Reason::FewStars => format!(
            "{} stars, {} are usual{past}.",
            number(e.measured, 0),
            number(e.baseline, 0)
        ),
        Reason::Sky if e.quantity == SKY_NEAR => {
            format!("Sky {measured}, {usual} before and after{past}.")
        }
        Reason::Sky => format!("Sky {measured}, {usual} when darkest{past}."),
        Reason::Twilight => format!("Sky {measured} in twilight, {usual} when darkest{past}."),
        Reason::Moonlight => format!("Sky {measured} with the Moon up, {usual} without{past}."),
        Reason::Noise => format!("Noise {measured}, {usual} is usual{past}."),
        Reason::OverExposed => format!("{measured} of the frame is at full scale{past}."),
        Reason::Streak if e.weighs == Verdict::Keep => {
            format!("A line over {} % of the diagonal.", number(e.measured, 0))
        }
        Reason::Streak => {
            let long = number(e.measured, 0);
            format!("A bright line over {long} % of the diagonal{past}.")
        }
        Reason::StrayLight => format!("Light on the ground {measured}, {usual} without{past}."),
        Reason::DarkSubtraction => {
            format!("A frame every {measured}, each open {usual} s: dark subtraction?")
        }
        Reason::Gap => format!("{} missing before this one.", frames(e.measured as usize)),
        Reason::SettingsChanged => {
            let usual = with_unit(e.baseline, e.unit);
            format!(
                "Other settings: {} {measured}, the night has {usual}.",
                e.quantity
            )
        }
        Reason::DarkFrame => format!("No light came in: sky at {measured} of full scale."),
        Reason::Unreadable => "The file cannot be read.".to_owned(),
        _ => format!("{}.", capital(e.reason.info().label)),
    }
}

/// Whose sentence tells a value: that of what it shows, but Sun and Moon have their own.
pub(super) const fn told_by(e: &Evidence) -> Reason {
    match e.reason {
        Reason::Twilight | Reason::Moonlight => e.reason,
        _ => e.sign,
    }
}

const fn weighed(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Keep => "noted",
        Verdict::Doubtful => "doubtful",
        Verdict::Reject => "rejected",
    }
}

/// ": rejected past 8.7".
fn past(e: &Evidence) -> String {
    // What happened and no rule spoke of has no limit.
    if (e.threshold - e.baseline).abs() <= 0.0 {
        return String::new();
    }
    let side = if e.threshold >= e.baseline {
        "past"
    } else {
        "below"
    };
    format!(": {} {side} {}", weighed(e.weighs), figure(e.threshold))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_numbers_come_first_and_then_the_limit() {
        let mut e = Evidence {
            reason: Reason::Trailed,
            sign: Reason::Trailed,
            weighs: Verdict::Reject,
            quantity: PREDICTED_TRAIL,
            unit: "px",
            measured: 10.31,
            baseline: 5.7,
            threshold: 8.7,
        };
        assert_eq!(
            explain(&e),
            "Trails 10.3 px, the sky makes 5.7: rejected past 8.7."
        );
        e = Evidence {
            reason: Reason::FewStars,
            sign: Reason::FewStars,
            weighs: Verdict::Doubtful,
            quantity: "stars",
            unit: "",
            measured: 366.0,
            baseline: 800.0,
            threshold: 560.0,
        };
        assert_eq!(explain(&e), "366 stars, 800 are usual: doubtful below 560.");
    }
}
