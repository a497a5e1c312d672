//! What lit a bright sky: twilight or the Moon, where place and time tell.

use super::read::{Reading, SKY_NEAR};
use super::types::Reason;
use crate::night::{Night, Row, Set};
use crate::sky::{self, Moon, Standing};

/// Sun lower than this adds little beside a Moon that matters (our choice): from here to −18° the Moon
/// is asked first.
const FAINT_DUSK_DEG: f64 = -15.0;
/// Sun lower than this adds nothing.
const DARK_DEG: f64 = -18.0;
/// Moonlight that matters, in units of a dark sky: what the rule on the night's darkest tenth asks.
const LEAST_MOONLIGHT: f64 = 0.5;

/// The reason to give for a sky that a rule found bright: [`Reason::Twilight`] or
/// [`Reason::Moonlight`] where Sun or Moon stood so that they explain it, else the rule's own.
///
/// Neither comes and goes in one frame: a frame brighter than both its neighbours keeps its reason.
pub(super) fn cause(
    night: &Night,
    set: &Set,
    place: usize,
    own: Reason,
    reading: &Reading,
) -> Reason {
    let row = set.frames.get(place).and_then(|&row| night.rows.get(row));
    let Some(row) = row.filter(|_| own == Reason::Sky && reading.measured > reading.baseline)
    else {
        return own;
    };
    if reading.quantity == SKY_NEAR && stands_out(night, set, place) {
        return own;
    }
    let sun = row.derived.sun_altitude_deg.unwrap_or(f64::NEG_INFINITY);
    if sun > FAINT_DUSK_DEG {
        Reason::Twilight
    } else if moonlight(night, row) >= LEAST_MOONLIGHT {
        Reason::Moonlight
    } else if sun > DARK_DEG {
        Reason::Twilight
    } else {
        own
    }
}

/// Moonlight in a frame, in units of a dark sky.
fn moonlight(night: &Night, row: &Row) -> f64 {
    let (Some(heavens), Some(altitude_deg)) = (&night.heavens, row.derived.moon_altitude_deg)
    else {
        return 0.0;
    };
    sky::moonlight(Moon {
        standing: Standing {
            altitude_deg,
            azimuth_deg: 0.0,
        },
        lit: heavens.moon_lit,
    })
}

/// Whether a frame's sky is brighter than in the frames before and after it.
fn stands_out(night: &Night, set: &Set, place: usize) -> bool {
    let level = |place: usize| {
        let row = night.rows.get(*set.frames.get(place)?)?;
        Some(row.measure.as_deref()?.sky.level_pct)
    };
    let before = place.checked_sub(1).and_then(level);
    match (before, level(place), level(place + 1)) {
        (Some(before), Some(here), Some(after)) => here > before && here > after,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::super::testkit::Calm;
    use super::super::tests::{judged, numbers, reasons};
    use super::super::{Purpose, Verdict};
    use super::*;
    use crate::night::Heavens;

    /// A calm night whose first 20 frames are bright, falling off, with few stars in them; the Sun
    /// `sun_deg` high, the Moon `moon_deg` high and `lit` in those, both far down after.
    fn bright_start(sun_deg: f64, moon_deg: f64, lit: f64) -> Night {
        let mut night = Calm::default().night(|n, m| {
            let glow = 1.0 + 1.2 * (20.0 - n as f64).max(0.0) / 20.0;
            m.sky.level_pct *= glow;
            if n < 20 {
                m.star_count /= 2;
            }
        });
        for (n, row) in night.rows.iter_mut().enumerate() {
            let is_early = n < 20;
            row.derived.sun_altitude_deg = Some(if is_early { sun_deg } else { -30.0 });
            row.derived.moon_altitude_deg = Some(if is_early { moon_deg } else { -30.0 });
        }
        night.heavens = Some(Heavens {
            start_utc_s: 0.0,
            sun_down: Default::default(),
            moon_up: Vec::new(),
            moon_lit: lit,
        });
        night
    }

    #[test]
    fn a_bright_sky_is_named_by_what_lit_it() {
        for (sun, moon, lit, named) in [
            (-13.0, -20.0, 0.9, Reason::Twilight),
            (-13.0, 30.0, 0.9, Reason::Twilight),
            (-17.0, 30.0, 0.9, Reason::Moonlight),
            (-17.0, 30.0, 0.1, Reason::Twilight),
            (-25.0, 30.0, 0.9, Reason::Moonlight),
            (-25.0, 30.0, 0.1, Reason::Sky),
            (-25.0, -1.0, 1.0, Reason::Sky),
        ] {
            let judged = judged(&bright_start(sun, moon, lit), Purpose::Trails);
            let found = reasons(&judged, 1);
            assert!(found.contains(&named), "{sun} {moon} {lit}: {found:?}");
            let titles = judged.findings.iter().map(|f| f.title.clone());
            let titles: Vec<String> = titles.collect();
            let word = match named {
                Reason::Sky => "ri",
                other => other.info().title,
            };
            assert!(titles.iter().any(|t| t.contains(word)), "{titles:?}");
        }
        let judged = judged(&bright_start(-13.0, -20.0, 0.0), Purpose::Trails);
        assert_eq!(
            numbers(&judged, Verdict::Reject),
            "",
            "doubtful: a trade-off"
        );
        assert!(judged.judgements[0].verdict == Verdict::Doubtful);
        let finding = &judged.findings[0];
        assert_eq!(finding.reason, Reason::Twilight);
        assert!(finding.evidence.contains("the Sun 13° down"), "{finding:?}");
        assert!(finding.detail.contains("18°"), "{finding:?}");
        assert!(
            finding
                .offers
                .iter()
                .any(|offer| offer.label.starts_with("Trim"))
        );
    }

    #[test]
    fn a_film_is_never_cut_for_twilight_or_the_moon() {
        // Two frames so bright that the film steps there, and stars drown.
        let steep = |sun, moon| {
            let mut night = bright_start(sun, moon, 1.0);
            for (row, times) in night.rows.iter_mut().zip([2.2, 1.6]) {
                let mut measure = (**row.measure.as_ref().unwrap()).clone();
                measure.sky.level_pct *= times;
                measure.star_count /= 4;
                row.measure = Some(measure.into());
            }
            numbers(&judged(&night, Purpose::Timelapse), Verdict::Reject)
        };
        for (sun, moon) in [(-10.0, -20.0), (-25.0, 40.0)] {
            assert_eq!(steep(sun, moon), "", "{sun} {moon}");
        }
        assert_eq!(steep(-25.0, -20.0), "1–2", "but for another light it is");
    }

    #[test]
    fn headlights_at_dusk_are_not_twilight() {
        let mut night = bright_start(-10.0, -20.0, 0.0);
        let usual = night.rows[9].measure.clone().unwrap();
        let mut lit = (*usual).clone();
        lit.sky.level_pct *= 1.6;
        night.rows[9].measure = Some(lit.into());
        let judged = judged(&night, Purpose::Timelapse);
        assert!(
            reasons(&judged, 10).contains(&Reason::Sky),
            "{:?}",
            reasons(&judged, 10)
        );
    }
}
