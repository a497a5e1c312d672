//! The steps that cameras offer.

/// Marked exposures from 1 s in thirds of a stop.
const EXPOSURES_S: [f64; 16] = [
    1.0, 1.3, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 15.0, 20.0, 25.0, 30.0,
];
/// ISO settings in thirds of a stop.
const ISOS: [u32; 28] = [
    100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000,
    5000, 6400, 8000, 10_000, 12_800, 16_000, 20_000, 25_600, 32_000, 40_000, 51_200,
];

/// The longest marked exposure that is not longer than `limit_s`; past 30 s whole tens, under 1 s
/// the limit itself.
pub(super) fn exposure_within(limit_s: f64) -> f64 {
    if limit_s >= 40.0 {
        return (limit_s / 10.0).floor() * 10.0;
    }
    let fits = EXPOSURES_S.iter().copied().rev().find(|t| *t <= limit_s);
    fits.unwrap_or(limit_s)
}

/// The shortest marked exposure that is not shorter than `limit_s`; past 30 s whole tens.
pub(super) fn exposure_from(limit_s: f64) -> f64 {
    let fits = EXPOSURES_S.iter().copied().find(|t| *t >= limit_s);
    fits.unwrap_or_else(|| (limit_s / 10.0).ceil() * 10.0)
}

/// The ISO setting nearest to `wanted` in stops.
pub(super) fn nearest_iso(wanted: f64) -> u32 {
    let stops = |iso: u32| (f64::from(iso) / wanted.max(1.0)).log2().abs();
    let best = ISOS
        .iter()
        .copied()
        .min_by(|a, b| stops(*a).total_cmp(&stops(*b)));
    best.unwrap_or(1600)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposures_stay_within_the_limit() {
        assert_eq!(exposure_within(11.8), 10.0);
        assert_eq!(exposure_within(30.0), 30.0);
        assert_eq!(exposure_within(127.0), 120.0);
        assert_eq!(exposure_within(0.4), 0.4);
        assert_eq!(
            [0.3, 11.8, 30.0, 121.0].map(exposure_from),
            [1.0, 13.0, 30.0, 130.0]
        );
    }

    #[test]
    fn isos_are_nearest_in_stops() {
        assert_eq!(nearest_iso(1600.0), 1600);
        assert_eq!(nearest_iso(3100.0), 3200);
        assert_eq!(nearest_iso(30.0), 100);
    }
}
