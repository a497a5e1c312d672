//! What is typical: robust values of a group, and of each row's neighbours.

use super::types::{Night, Row, Series, Typical};
use crate::base::robust::{self, median, quantile};

/// Neighbours on either side that say what is typical of a row.
const REACH: usize = 12;
/// With fewer than this on one side a row is at an end; this many are its nearest.
const NEAR: usize = 5;
/// With fewer neighbours than this the group's median stands for them.
const LEAST_NEIGHBOURS: usize = 4;

/// A frame with less than this share of the usual stars, or of their trails, shows hot pixels through
/// cloud and says nothing of the stars' width.
const FEW: f64 = 0.5;
/// Trails shorter than this tell no stars from hot pixels, px.
const LEAST_TRAIL_PX: f64 = 1.5;

/// How a quantity changes slowly.
#[derive(Clone, Copy, PartialEq)]
enum Scale {
    /// By amounts.
    Linear,
    /// By shares: twilight fades exponentially, and so does what the sky's light makes.
    Log,
}

/// Fills the series of every group and the typical values of its rows.
pub(super) fn fill(night: &mut Night) {
    for group in 0..night.groups.len() {
        let rows = night.groups[group].rows.clone();
        let values = |of: fn(&Row) -> Option<f64>| -> Vec<Option<f64>> {
            rows.iter().map(|&row| of(&night.rows[row])).collect()
        };
        // Where most stars are lost, what is left is noise, or hot pixels: no width of the night.
        let counts = values(stars);
        let usual = median(&mut counts.iter().copied().flatten().collect::<Vec<f64>>());
        let trails = values(trail_px);
        let usual_trail = median(&mut trails.iter().copied().flatten().collect::<Vec<f64>>());
        let has_stars = |place: usize| {
            let enough = |value: Option<f64>, usual: Option<f64>| {
                value
                    .zip(usual)
                    .is_none_or(|(value, usual)| value >= FEW * usual)
            };
            enough(counts[place], usual)
                && (usual_trail.is_none_or(|px| px < LEAST_TRAIL_PX)
                    || enough(trails[place], usual_trail))
        };
        let widths: Vec<Option<f64>> = (values(fwhm_px).into_iter().enumerate())
            .map(|(place, width)| width.filter(|_| has_stars(place)))
            .collect();
        let trail = Baseline::new(&trails, Scale::Linear);
        let fwhm = Baseline::new(&widths, Scale::Linear);
        let elongation = Baseline::new(&values(elongation), Scale::Linear);
        let sky = Baseline::new(&values(sky_pct), Scale::Log);
        let noise = Baseline::new(&values(noise_pct), Scale::Log);
        let stars = Baseline::new(&counts, Scale::Linear);
        for (place, &row) in rows.iter().enumerate() {
            night.rows[row].typical = Typical {
                trail_px: trail.typical[place],
                fwhm_px: fwhm.typical[place],
                elongation: elongation.typical[place],
                sky_pct: sky.typical[place],
                noise_pct: noise.typical[place],
                stars: stars.typical[place],
            };
        }
        let group = &mut night.groups[group];
        group.trail = trail.series;
        group.fwhm = fwhm.series;
        group.sky = sky.series;
        group.noise = noise.series;
        group.stars = stars.series;
    }
}

/// Measured trail length, px.
pub(super) fn trail_px(row: &Row) -> Option<f64> {
    Some(row.measure.as_ref()?.trail?.length_px)
}

fn fwhm_px(row: &Row) -> Option<f64> {
    row.measure.as_ref()?.fwhm_px
}

fn elongation(row: &Row) -> Option<f64> {
    row.measure.as_ref()?.elongation
}

fn sky_pct(row: &Row) -> Option<f64> {
    Some(row.measure.as_ref()?.sky.level_pct)
}

fn noise_pct(row: &Row) -> Option<f64> {
    row.measure.as_ref()?.noise_pct
}

fn stars(row: &Row) -> Option<f64> {
    Some(f64::from(row.measure.as_ref()?.star_count))
}

/// One quantity over one group.
pub(super) struct Baseline {
    series: Option<Series>,
    /// For each row of the group, also for one without a value of its own.
    typical: Vec<Option<f64>>,
}

impl Baseline {
    /// What is typical of each level by its neighbours, slow change followed by shares.
    pub(super) fn typical_levels(values: &[Option<f64>]) -> Vec<Option<f64>> {
        Self::new(values, Scale::Log).typical
    }

    /// The series of one quantity that changes by amounts.
    pub(super) fn series_of(values: &[Option<f64>]) -> Option<Series> {
        Self::new(values, Scale::Linear).series
    }

    fn new(values: &[Option<f64>], scale: Scale) -> Self {
        let mut known: Vec<f64> = values.iter().copied().flatten().collect();
        let scale = if known.iter().all(|&v| v > 0.0) {
            scale
        } else {
            Scale::Linear
        };
        let typical: Vec<Option<f64>> = (0..values.len())
            .map(|place| typical(values, place, scale))
            .collect();
        Self {
            series: series(&mut known, values, &typical),
            typical,
        }
    }
}

fn series(known: &mut [f64], values: &[Option<f64>], typical: &[Option<f64>]) -> Option<Series> {
    let mut off: Vec<f64> = values
        .iter()
        .zip(typical)
        .filter_map(|(value, typical)| Some(((*value)? - (*typical)?).abs()))
        .collect();
    Some(Series {
        median: median(known)?,
        scatter: robust::MAD_TO_SIGMA * median(&mut off).unwrap_or(0.0),
        low_tenth: quantile(known, 0.1)?,
        high_tenth: quantile(known, 0.9)?,
    })
}

/// What the neighbours of the row at `place` say about it.
fn typical(values: &[Option<f64>], place: usize, scale: Scale) -> Option<f64> {
    let first = place.saturating_sub(REACH);
    let end = (place + REACH + 1).min(values.len());
    let scaled = |value: f64| match scale {
        Scale::Log => value.ln(),
        Scale::Linear => value,
    };
    let neighbours: Vec<(f64, f64)> = (first..end)
        .filter(|&other| other != place)
        .filter_map(|other| Some((other as f64 - place as f64, scaled(values[other]?))))
        .collect();
    if neighbours.len() < LEAST_NEIGHBOURS {
        let mut known: Vec<f64> = values.iter().copied().flatten().collect();
        // A lone frame has nothing to be typical of.
        return if known.len() < 2 {
            None
        } else {
            median(&mut known)
        };
    }
    // With as many on either side a slope cancels in the median, and what passed on one side is
    // outweighed; only at the very ends there are too few.
    let reach = place.min(values.len() - 1 - place).min(REACH);
    let here = if reach < NEAR {
        line_or_level(&neighbours, values[place].map(scaled))
    } else {
        level_within(&neighbours, reach)
    }?;
    Some(if scale == Scale::Log {
        here.exp()
    } else {
        here
    })
}

/// What neighbours mostly on one side say of a row with this value: their line, or the level of the
/// nearest, whichever the value is nearer to. A cloud that has just passed bends the line down past
/// the end, and the level lags behind a true slope; a row is out of line only if it is so by both.
fn line_or_level(neighbours: &[(f64, f64)], own: Option<f64>) -> Option<f64> {
    let line = line_at_zero(neighbours)?;
    let level = level_within(neighbours, NEAR).unwrap_or(line);
    let off = |typical: f64| own.map_or(0.0, |own| (own - typical).abs());
    Some(if off(level) < off(line) { level } else { line })
}

/// Median of the neighbours up to `reach` places away.
fn level_within(neighbours: &[(f64, f64)], reach: usize) -> Option<f64> {
    let within = neighbours
        .iter()
        .filter(|(away, _)| away.abs() <= reach as f64);
    let mut values: Vec<f64> = within.map(|(_, value)| *value).collect();
    median(&mut values)
}

/// The Theil–Sen line (median of the slopes of all pairs) at 0.
///
/// Source: Sen 1968, JASA 63, 1379.
fn line_at_zero(points: &[(f64, f64)]) -> Option<f64> {
    let mut slopes: Vec<f64> = points
        .iter()
        .enumerate()
        .flat_map(|(k, a)| {
            points[k + 1..]
                .iter()
                .map(move |b| (b.1 - a.1) / (b.0 - a.0))
        })
        .collect();
    let slope = median(&mut slopes)?;
    let mut offsets: Vec<f64> = points
        .iter()
        .map(|point| point.1 - slope * point.0)
        .collect();
    median(&mut offsets)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some(values: impl IntoIterator<Item = f64>) -> Vec<Option<f64>> {
        values.into_iter().map(Some).collect()
    }

    #[test]
    fn a_slope_is_typical_to_its_ends() {
        let values = some((0..60).map(|k| 10.0 - 0.1 * f64::from(k)));
        let got = Baseline::new(&values, Scale::Linear);
        for (value, typical) in values.iter().zip(&got.typical) {
            assert!((value.unwrap() - typical.unwrap()).abs() < 1e-9);
        }
        assert!(got.series.unwrap().scatter < 1e-9);
    }

    #[test]
    fn twilight_is_typical_to_its_ends() {
        let values = some((0..60).map(|k| 10.0 + 30.0 * (-f64::from(k) / 8.0).exp()));
        let got = Baseline::new(&values, Scale::Log);
        let first = got.typical[0].unwrap();
        assert!((first / 40.0 - 1.0).abs() < 0.12, "{first}");
        let last = got.typical[59].unwrap();
        assert!((last / 10.0 - 1.0).abs() < 0.01, "{last}");
    }

    #[test]
    fn one_odd_frame_is_out_of_its_own_typical() {
        let mut values = some((0..40).map(|k| 5.0 + 0.01 * f64::from(k % 3)));
        values[0] = Some(9.0);
        values[20] = Some(9.0);
        let got = Baseline::new(&values, Scale::Linear);
        assert!((got.typical[0].unwrap() - 5.01).abs() < 0.02);
        assert!((got.typical[20].unwrap() - 5.01).abs() < 0.02);
        assert!((got.series.unwrap().median - 5.01).abs() < 0.02);
        assert!(got.series.unwrap().scatter < 0.03);
    }

    #[test]
    fn a_cloud_that_passed_leaves_the_end_in_line() {
        // A bump of seven frames that ends eight before the last.
        let mut values = some((0..40).map(|k| 20.0 + 0.05 * f64::from(k % 3)));
        for (value, bump) in values[25..32]
            .iter_mut()
            .zip([4.0, 7.0, 9.5, 10.0, 9.4, 7.1, 3.7])
        {
            *value = value.map(|v| v + bump);
        }
        let got = Baseline::new(&values, Scale::Log);
        for place in 33..40 {
            let typical = got.typical[place].unwrap();
            assert!((typical / 20.05 - 1.0).abs() < 0.01, "{place}: {typical}");
        }
        // What is out of line at the end is so still.
        values[39] = Some(26.0);
        let got = Baseline::new(&values, Scale::Log).typical[39].unwrap();
        assert!(got < 21.0, "{got}");
    }

    #[test]
    fn a_few_frames_and_one_and_none() {
        let got = Baseline::new(&some([1.0, 2.0, 9.0]), Scale::Linear);
        assert_eq!(got.typical, vec![Some(2.0); 3]);
        let one = Baseline::new(&some([7.0]), Scale::Log);
        assert_eq!(one.typical, vec![None]);
        assert_eq!(one.series.map(|series| series.median), Some(7.0));
        assert!(Baseline::new(&[None, None], Scale::Linear).series.is_none());
    }

    #[test]
    fn zeros_do_not_break_the_logarithm() {
        let got = Baseline::new(&some([0.0, 1.0, 0.0, 1.0, 0.0, 1.0]), Scale::Log);
        assert!(got.typical.iter().all(|v| v.unwrap().is_finite()));
    }
}
