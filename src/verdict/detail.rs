//! All that speaks for a finding, in whole sentences, for the tip.

use super::explain::told_by;
use super::findings::{Cluster, Told};
use super::offers::cost_of;
use super::read::{DOUBLED_STARS, LASTING_JUMP, PREDICTED_TRAIL, SKY_NEAR};
use super::tell::{Key, capital, down, gap_clause, told_keys, worst};
use super::types::{Purpose, Reason};
use super::words::{figure, number, plural, share_lost, with_unit};

pub(super) fn detail(told: &Told<'_>, cluster: &Cluster) -> String {
    let keys = told_keys(told, cluster).into_iter();
    let mut sentences: Vec<String> = keys
        .filter_map(|key| sentence(told, cluster, key))
        .collect();
    sentences.extend(told.happening(cluster).map(|one| one.evidence.clone()));
    sentences.dedup();
    sentences.join(" ")
}

/// What the worst frame of the cluster shows for `reason`.
#[expect(
    clippy::too_many_lines,
    reason = "one arm a reason: a table of sentences"
)]
fn sentence(told: &Told<'_>, cluster: &Cluster, key: Key) -> Option<String> {
    let (at, e) = worst(told, cluster, key)?;
    let frame = at + 1;
    let measured = with_unit(e.measured, e.unit);
    let baseline = with_unit(e.baseline, e.unit);
    let most = if cluster.frames.len() > 1 {
        "up to "
    } else {
        ""
    };
    let far = match (cluster.frames.len(), e.measured < e.baseline) {
        (1, _) => "",
        (_, true) => "down to ",
        (_, false) => "up to ",
    };
    let times = figure(e.measured / e.baseline.abs().max(1e-9));
    Some(match told_by(e) {
        Reason::Trailed if e.quantity == "elongation" => format!(
            "Stars in frame {frame} are {} times as long as wide; {} is usual tonight.",
            number(e.measured, 2),
            number(e.baseline, 2)
        ),
        Reason::Trailed if e.quantity == PREDICTED_TRAIL => format!(
            "Trails of {far}{measured} where the sky's turning makes {baseline} (frame {frame})."
        ),
        Reason::Trailed => {
            format!("Trails of {most}{measured} where {baseline} is usual (frame {frame}).")
        }
        Reason::Knock if e.quantity == LASTING_JUMP => format!(
            "The camera moved by {most}{measured} and stayed so (from frame {frame}): every trail has \
             a kink there, and leaving frames out does not mend it."
        ),
        Reason::Knock if e.quantity == DOUBLED_STARS => format!(
            "Stars are seen twice, {measured} apart (frame {frame}): the camera moved while the shutter \
             was open."
        ),
        Reason::Knock => format!(
            "It moved by {most}{measured} of a film 1920 px wide against the frames before and \
             after (frame {frame})."
        ),
        Reason::Defocus => format!(
            "Stars {most}{times} times as wide as in the night's sharp frames: {measured} against \
             {baseline} (frame {frame})."
        ),
        Reason::FewStars if e.unit == "mag" => format!(
            "Stars lost {most}{measured}, {} of their light (frame {frame}).",
            share_lost(e.measured)
        ),
        Reason::FewStars if e.quantity == "stars" => format!(
            "{} in frame {frame} where {} are usual.",
            plural(e.measured as usize, "star", "stars"),
            number(e.baseline, 0)
        ),
        Reason::FewStars => format!(
            "Down to {} % of the night's best star count (frame {frame}).",
            number(100.0 * e.measured, 0)
        ),
        Reason::Sky => format!(
            "Sky at {measured} of full scale, {times} times the {baseline} of {} (frame {frame}).",
            if e.quantity == SKY_NEAR {
                "its neighbours"
            } else {
                "the night's darkest tenth"
            }
        ),
        Reason::Twilight => format!(
            "Sky at {measured} of full scale, {times} times the {baseline} of the night's darkest \
             (frame {frame}): the Sun was {}° below the horizon, and the sky is dark when it is 18° \
             below.",
            down(told, at)?
        ),
        Reason::Moonlight => format!(
            "Sky at {measured} of full scale, {times} times the {baseline} of the night's darkest \
             (frame {frame}): the Moon was {}° up, {} % of it lit.",
            number(
                told.night
                    .rows
                    .get(told.row(at)?)?
                    .derived
                    .moon_altitude_deg?,
                0
            ),
            number(100.0 * told.night.heavens.as_ref()?.moon_lit, 0)
        ),
        Reason::Noise => {
            format!("Noise {measured} of full scale where {baseline} is usual (frame {frame}).")
        }
        Reason::OverExposed => {
            format!("{measured} of the samples are at full scale (frame {frame}).")
        }
        Reason::Streak if key.0 != Reason::Streak => format!(
            "The longest line crosses {} % of the diagonal (frame {frame}).",
            number(e.measured, 0)
        ),
        Reason::Streak => format!(
            "The longest crosses {} % of the diagonal (frame {frame}); an aircraft, a satellite or \
             a meteor draws such a line.",
            number(e.measured, 0)
        ),
        Reason::StrayLight => {
            format!("Light on the ground {measured} where {baseline} is usual (frame {frame}).")
        }
        Reason::Gap => capital(&format!("{}.", gap_clause(told, cluster))),
        Reason::SettingsChanged => {
            let unit = |value: f64| with_unit(value, e.unit);
            format!(
                "{} {} in frame {frame} where the night has {}.",
                capital(e.quantity),
                unit(e.measured),
                unit(e.baseline)
            )
        }
        Reason::DarkFrame => format!("Sky at {measured} of full scale: no light came in."),
        Reason::Unreadable => {
            let row = told.row(at).and_then(|row| told.night.rows.get(row));
            let why = row.and_then(|row| row.error.clone()).unwrap_or_default();
            let rows: Vec<usize> = (cluster.frames.iter())
                .filter_map(|&at| told.row(at))
                .collect();
            let gap = match told.purpose {
                Purpose::Trails => format!(": {}", cost_of(told, &rows)),
                _ => String::new(),
            };
            let counts = if rows.len() == 1 {
                "It counts as missing"
            } else {
                "They count as missing"
            };
            format!("Frame {frame}: {why}. {counts}{gap}.")
        }
        // Told by what happened.
        _ => return None,
    })
}
