//! The same stars at each setting: what signal-to-noise they have there, and how many are clipped.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::matching::{Point, common_stars};
use super::stars::{points, reach_px};
use super::turn::optics;
use super::types::{Group, GroupStars, Night, Row, StarLight};
use crate::base::Estimate;
use crate::base::robust::{median, median_and_sigma};
use crate::measure::Star;
use crate::sky::Camera;
use crate::sky::projection::Ray;
use crate::sky::turning::{arc_deg, turned_by};

/// Stars of a frame that are looked for in others.
const MOST_STARS: usize = 400;

/// Frames of a group that are looked at: more change its medians by less than they cost.
const MOST_FRAMES: usize = 12;

/// A star belongs to a group that shows it in this share of its frames.
const SEEN: f64 = 0.5;

/// A match of this share of the stars needs no other try.
const SURE: f64 = 0.5;

/// Poles that are tried.
const MOST_POLES: usize = 5;

/// Fewer common stars say nothing of a setting.
const LEAST_STARS: usize = 5;

/// Standard error of a median over that of a mean, of Gaussian values: √(π/2).
const MEDIAN_ERROR: f64 = 1.253_3;

/// Matches the stars of `groups` (indices into [`Night::groups`]) and tells what they are in each.
///
/// Stars of the first group's middle frame are carried to every other frame by the sky's turning,
/// where it was fitted, else taken to stay; signal-to-noise is [`Star::snr`], flux over its
/// matched-filter error in one frame. Groups whose stars do not match are `None` and do not narrow
/// down the common stars.
#[must_use]
pub fn star_light(night: &Night, groups: &[usize]) -> StarLight {
    let mut out = StarLight {
        stars: 0,
        groups: vec![None; groups.len()],
    };
    let Some(reference) = groups
        .first()
        .and_then(|&group| Reference::of(night, group))
    else {
        return out;
    };
    let seen: Vec<Option<Seen>> = groups
        .iter()
        .map(|&group| reference.seen_in(night, group))
        .collect();
    let matched: Vec<&Seen> = seen.iter().flatten().collect();
    let everywhere: Vec<usize> = (0..reference.stars.len())
        .filter(|star| matched.iter().all(|seen| seen.stars.contains_key(star)))
        .collect();
    let common: Vec<usize> = everywhere
        .iter()
        .copied()
        .filter(|star| matched.iter().all(|seen| !seen.is_clipped(*star)))
        .collect();
    out.stars = common.len();
    if common.len() < LEAST_STARS {
        return out;
    }
    let first = seen.first().and_then(Option::as_ref);
    for (told, seen) in out.groups.iter_mut().zip(&seen) {
        let (Some(seen), Some(first)) = (seen, first) else {
            continue;
        };
        *told = seen.tell(first, &common, &everywhere);
    }
    out
}

/// The stars that are carried to other frames.
struct Reference {
    stars: Vec<Point>,
    /// Middle of its exposure, s.
    time_s: Option<f64>,
}

impl Reference {
    fn of(night: &Night, group: usize) -> Option<Self> {
        let rows = &night.groups.get(group)?.rows;
        let row = night.rows.get(*rows.get(rows.len() / 2)?)?;
        let list = points(row.measure.as_deref()?, MOST_STARS);
        Some(Self {
            stars: list.brightest_first().to_vec(),
            time_s: middle_s(row),
        })
    }

    /// What a group shows of the reference's stars; `None` when they do not match.
    fn seen_in(&self, night: &Night, group: usize) -> Option<Seen> {
        let rows = &night.groups.get(group)?.rows;
        let every = rows.len().div_ceil(MOST_FRAMES).max(1);
        let mut sightings: BTreeMap<usize, Vec<Sighting>> = BTreeMap::new();
        let mut frames = 0;
        for row in rows
            .iter()
            .step_by(every)
            .filter_map(|&row| night.rows.get(row))
        {
            let Some(found) = self.find_in(night, group, row) else {
                continue;
            };
            for (star, sighting) in found {
                sightings.entry(star).or_default().push(sighting);
            }
            frames += 1;
        }
        sightings.retain(|_, seen| seen.len() as f64 >= SEEN * f64::from(frames));
        (frames > 0).then_some(Seen { stars: sightings })
    }

    /// The reference's stars that a frame shows, by their place in the reference.
    fn find_in(&self, night: &Night, group: usize, row: &Row) -> Option<Vec<(usize, Sighting)>> {
        let measure = row.measure.as_deref()?;
        let list = points(measure, MOST_STARS);
        let seconds = middle_s(row).zip(self.time_s).map(|(now, then)| now - then);
        let reach = reach_px(measure.width_px as f64);
        let mut best: Option<Matched> = None;
        for turn in Self::turns(night, group, seconds) {
            let predicted = self.turned(turn.as_ref());
            let points: Vec<Point> = predicted.iter().map(|(_, point)| *point).collect();
            let Some(pairs) = common_stars(&points, &list, reach) else {
                continue;
            };
            let is_sure = pairs.len() as f64 >= SURE * points.len() as f64;
            let most = best.as_ref().map_or(0, |best| best.pairs.len());
            if pairs.len() > most {
                best = Some(Matched { pairs, predicted });
            }
            if is_sure {
                break;
            }
        }
        let Matched { pairs, predicted } = best?;
        let places: BTreeMap<(u64, u64), usize> = predicted
            .iter()
            .map(|(star, point)| (key(point.x_px, point.y_px), *star))
            .collect();
        let stars: BTreeMap<(u64, u64), &Star> = measure
            .stars
            .iter()
            .map(|star| (key(star.x_px.into(), star.y_px.into()), star))
            .collect();
        let found = pairs.iter().filter_map(|(predicted, seen)| {
            let star = places.get(&key(predicted.x_px, predicted.y_px))?;
            let there = stars.get(&key(seen.x_px, seen.y_px))?;
            let sighting = Sighting {
                snr: f64::from(there.snr),
                clipped: there.flags.clipped,
            };
            Some((*star, sighting))
        });
        Some(found.collect())
    }

    /// How the stars may have moved in `seconds`: turned about each pole that is known, either way,
    /// or not at all (`None`). The one that matches most is true: over a short time a frame's own fit
    /// cannot always tell a pole from its opposite.
    fn turns(night: &Night, group: usize, seconds: Option<f64>) -> Vec<Option<Turn>> {
        let mut turns = Vec::new();
        if let Some((seconds, camera)) = seconds.zip(optics(night, group)) {
            let angle = arc_deg(seconds).to_radians().sin_cos();
            for pole in poles(night, group) {
                turns.extend([pole, pole.map(|part| -part)].map(|pole| {
                    Some(Turn {
                        camera,
                        pole,
                        angle,
                    })
                }));
            }
        }
        turns.push(None);
        turns
    }

    /// Where the stars are after a turn, with their place in the reference.
    fn turned(&self, turn: Option<&Turn>) -> Vec<(usize, Point)> {
        let one = |(index, star): (usize, &Point)| {
            let Some(turn) = turn else {
                return Some((index, *star));
            };
            let ray = turned_by(turn.camera.ray(star.x_px, star.y_px), turn.pole, turn.angle);
            let (x_px, y_px) = turn.camera.pixel(ray)?;
            Some((
                index,
                Point {
                    x_px,
                    y_px,
                    ..*star
                },
            ))
        };
        self.stars.iter().enumerate().filter_map(one).collect()
    }
}

/// The reference's stars where a turn takes them, by their place in the reference, and those that a
/// frame shows there.
struct Matched {
    pairs: Vec<(Point, Point)>,
    predicted: Vec<(usize, Point)>,
}

/// A turning of the sky through a camera; sine and cosine of the angle.
struct Turn {
    camera: Camera,
    pole: Ray,
    angle: (f64, f64),
}

/// Poles that the sky was found to turn about by groups of the same camera and lens, the largest
/// groups first.
fn poles(night: &Night, group: usize) -> Vec<Ray> {
    let Some(own) = night.groups.get(group) else {
        return Vec::new();
    };
    let like = |other: &&Group| {
        let (a, b) = (&own.settings, &other.settings);
        a.camera == b.camera && a.lens == b.lens && a.focal_length_mm == b.focal_length_mm
    };
    let mut groups: Vec<&Group> = night.groups.iter().filter(like).collect();
    groups.sort_by_key(|other| Reverse(other.rows.len()));
    let turns = groups.iter().filter_map(|other| other.turn);
    turns.map(|turn| turn.pole).take(MOST_POLES).collect()
}

/// Middle of a frame's exposure, s.
fn middle_s(row: &Row) -> Option<f64> {
    Some(row.time_s? + 0.5 * row.facts.exposure_s.unwrap_or(0.0))
}

/// Places are looked up as they were handed out.
fn key(x_px: f64, y_px: f64) -> (u64, u64) {
    (x_px.to_bits(), y_px.to_bits())
}

#[derive(Debug, Clone, Copy)]
struct Sighting {
    snr: f64,
    clipped: bool,
}

/// The reference's stars in the frames of one group.
struct Seen {
    stars: BTreeMap<usize, Vec<Sighting>>,
}

/// The median of values that truly differ, each with this standard error, and its own standard error.
///
/// The count of values below a place m has variance Σ p(1 − p), p = Φ((m − v)/σ), and grows with m by
/// Σ φ((m − v)/σ)/σ; their quotient is how far the median moves. For values that are all alike this
/// is √(π/2) σ/√n; the wider they are spread, the more it is.
fn middle_of_unlike(values: &mut [f64], sigma: f64) -> Option<Estimate> {
    let value = median(values)?;
    let (mut variance, mut growth) = (0.0, 0.0);
    for z in values.iter().map(|v| (value - v) / sigma) {
        let below = 0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2);
        variance += below * (1.0 - below);
        growth += (-0.5 * z * z).exp() / (sigma * (2.0 * std::f64::consts::PI).sqrt());
    }
    let error = variance.sqrt() / growth;
    error.is_finite().then_some(Estimate { value, error })
}

impl Seen {
    /// Whether most sightings of a star are clipped.
    fn is_clipped(&self, star: usize) -> bool {
        let seen = self.stars.get(&star).map_or(&[][..], Vec::as_slice);
        2 * seen.iter().filter(|sighting| sighting.clipped).count() > seen.len()
    }

    /// Median signal-to-noise of a star over the frames, and its standard error: by the scatter from
    /// frame to frame, but never under 1 in a frame, as noise is what signal-to-noise counts in.
    fn snr(&self, star: usize) -> Option<Estimate> {
        let seen = self.stars.get(&star)?;
        let values: Vec<f64> = seen.iter().map(|sighting| sighting.snr).collect();
        let (value, sigma) = median_and_sigma(&values)?;
        // The median of two is their mean.
        let of_median = if values.len() < 3 { 1.0 } else { MEDIAN_ERROR };
        Some(Estimate {
            value,
            error: of_median * sigma.max(1.0) / (values.len() as f64).sqrt(),
        })
    }

    fn tell(&self, first: &Self, common: &[usize], everywhere: &[usize]) -> Option<GroupStars> {
        let own: Vec<Estimate> = common.iter().filter_map(|&star| self.snr(star)).collect();
        let mut values: Vec<f64> = own.iter().map(|snr| snr.value).collect();
        let mut errors: Vec<f64> = own.iter().map(|snr| snr.error).collect();
        let deeper: Vec<f64> = common
            .iter()
            .filter_map(|&star| Some(self.snr(star)?.value / first.snr(star)?.value))
            .filter(|ratio| ratio.is_finite() && *ratio > 0.0)
            .map(|ratio| 2.5 * ratio.log10())
            .collect();
        let (deeper_mag, scatter) = median_and_sigma(&deeper)?;
        let clipped = everywhere
            .iter()
            .filter(|&&star| self.is_clipped(star))
            .count();
        Some(GroupStars {
            snr: middle_of_unlike(&mut values, median(&mut errors)?)?,
            deeper_mag: Estimate {
                value: deeper_mag,
                error: MEDIAN_ERROR * scatter / (deeper.len() as f64).sqrt(),
            },
            clipped_pct: 100.0 * clipped as f64 / everywhere.len().max(1) as f64,
        })
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, LogNormal, Normal};

    use super::*;

    #[test]
    fn the_median_of_like_values_has_the_textbook_error() {
        let got = middle_of_unlike(&mut [7.0; 100], 2.0).unwrap();
        assert_eq!(got.value, 7.0);
        assert!((got.error - MEDIAN_ERROR * 0.2).abs() < 1e-4, "{got:?}");
    }

    #[test]
    fn the_median_of_stars_of_all_brightnesses_scatters_as_it_says() {
        let mut random = ChaCha8Rng::seed_from_u64(8);
        let noise = Normal::new(0.0, 0.7).unwrap();
        let brightness = LogNormal::new(14.0_f64.ln(), 0.9).unwrap();
        let (mut seen, mut said, mut runs) = (0.0, 0.0, 0.0);
        for _ in 0..30 {
            let truth: Vec<f64> = (0..128).map(|_| brightness.sample(&mut random)).collect();
            let middles: Vec<Estimate> = (0..60)
                .map(|_| {
                    let mut values: Vec<f64> = truth
                        .iter()
                        .map(|v| v + noise.sample(&mut random))
                        .collect();
                    middle_of_unlike(&mut values, 0.7).unwrap()
                })
                .collect();
            let mean = middles.iter().map(|m| m.value).sum::<f64>() / 60.0;
            seen += middles
                .iter()
                .map(|m| (m.value - mean).powi(2))
                .sum::<f64>()
                / 59.0;
            said += middles.iter().map(|m| m.error.powi(2)).sum::<f64>() / 60.0;
            runs += 1.0;
        }
        let ratio = (said / seen).sqrt();
        assert!((0.85..1.25).contains(&ratio), "said over seen {ratio}");
        // The formula for like values would say a third of it.
        assert!((seen / runs).sqrt() > 2.0 * MEDIAN_ERROR * 0.7 / 128_f64.sqrt());
    }
}
