//! Photon transfer of a night: which pairs of frames to measure, and what they tell of the camera at
//! each ISO.
//!
//! Gain and read noise belong to camera and ISO, so groups that differ in exposure or aperture only
//! are put together: that widens the range of levels. Where the file does not tell the ISO, a group
//! stands alone.

use std::sync::Arc;

use super::transfer_told::Told;
use super::types::{Group, Kind, Night, Row};
use crate::frame::Light;
use crate::measure::{PairMeasure, PairOf};

/// Samples that make noise of levels known to a thousandth, with dark frames at hand …
const SAMPLES_WITH_DARKS: f64 = 1.2e7;

/// … and without, when the line itself must tell the noise at black.
const SAMPLES_ALONE: f64 = 2.4e7;

/// Most pairs of sky, and of darks, at one ISO.
const MOST_PAIRS: (usize, usize) = (5, 2);

/// Two frames whose skies differ by more than this share are no pair.
const ALIKE: f64 = 0.1;

/// Frames with more of their samples clipped, or brighter skies, tell no transfer, percent.
const MOST_CLIPPED_PCT: f64 = 20.0;

/// See [`MOST_CLIPPED_PCT`]: 70 % of full scale.
const BRIGHTEST_PCT: f64 = 70.0;

/// Two frames to be measured together, by their shots.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PairWanted {
    /// The earlier frame.
    pub first: usize,
    /// The later.
    pub second: usize,
    /// What they are of.
    pub of: PairOf,
}

/// What came of a pair: the measure, or that a frame could not be read again.
pub type PairResult = (PairWanted, Option<Arc<PairMeasure>>);

/// The pairs to measure, a few for each camera and ISO; none where frames are tone-mapped or nothing
/// can be told. The same night gives the same pairs.
#[must_use]
pub fn wanted_pairs(night: &Night) -> Vec<PairWanted> {
    pools(night)
        .iter()
        .flat_map(|pool| pool.wanted(night))
        .collect()
}

/// Gives every group its transfer, once the pairs of [`wanted_pairs`] are measured: by those of them
/// that are among `results`, in any order. A group keeps `None` while pairs of it are wanted and none
/// is there.
pub fn give_transfer(night: &mut Night, results: &[PairResult]) {
    for pool in pools(night) {
        let wanted = pool.wanted(night);
        let found: Vec<&PairResult> = wanted
            .iter()
            .filter_map(|pair| results.iter().find(|(of, _)| of == pair))
            .collect();
        if (found.is_empty() && !wanted.is_empty()) || pool.is_pending(night) {
            continue;
        }
        let told = Told::of(night, &pool, &found);
        for &group in &pool.groups {
            let transfer = told.transfer(night, group);
            if let Some(group) = night.groups.get_mut(group) {
                group.transfer = Some(transfer);
            }
        }
    }
}

/// Groups of one camera at one ISO.
pub(super) struct Pool {
    set: usize,
    pub(super) iso: Option<u32>,
    groups: Vec<usize>,
}

fn pools(night: &Night) -> Vec<Pool> {
    let mut pools: Vec<Pool> = Vec::new();
    for (index, group) in night.groups.iter().enumerate() {
        let Some(set) = group.rows.first().and_then(|&row| night.rows.get(row)) else {
            continue;
        };
        let (set, iso) = (set.set, group.settings.iso);
        let same = |pool: &&mut Pool| iso.is_some() && pool.set == set && pool.iso == iso;
        match pools.iter_mut().find(same) {
            Some(pool) => pool.groups.push(index),
            None => pools.push(Pool {
                set,
                iso,
                groups: vec![index],
            }),
        }
    }
    pools
}

impl Pool {
    pub(super) fn groups<'a>(&'a self, night: &'a Night) -> impl Iterator<Item = &'a Group> {
        self.groups
            .iter()
            .filter_map(|&group| night.groups.get(group))
    }

    /// Whether some frame of the camera that may belong here is not measured yet.
    fn is_pending(&self, night: &Night) -> bool {
        let rows = night.sets.get(self.set).map(|set| set.rows.as_slice());
        rows.unwrap_or_default()
            .iter()
            .filter_map(|&row| night.rows.get(row))
            .any(|row| row.measure.is_none() && row.error.is_none())
    }

    fn wanted(&self, night: &Night) -> Vec<PairWanted> {
        let sky = self.candidates(night);
        if sky.is_empty() || self.is_pending(night) {
            return Vec::new();
        }
        let darks = self.darks(night);
        let budget = if darks.len() >= 2 {
            SAMPLES_WITH_DARKS
        } else {
            SAMPLES_ALONE
        };
        let (width, height) = self
            .groups(night)
            .next()
            .map_or((1, 1), |g| g.settings.size_px);
        // Half of a mosaic's pixels are green; other layouts only do better.
        let samples = 0.5 * f64::from(width) * f64::from(height);
        let count = ((budget / samples.max(1.0)).ceil() as usize).clamp(1, MOST_PAIRS.0);
        let mut wanted = spread(&sky, count);
        let dark_pairs = darks.chunks_exact(2).take(MOST_PAIRS.1);
        wanted.extend(dark_pairs.filter_map(|pair| {
            let &[first, second] = pair else { return None };
            pair_of(night, (first, second), PairOf::Dark)
        }));
        wanted
    }

    /// Pairs of neighbours in time that may serve, each with its sky level.
    fn candidates(&self, night: &Night) -> Vec<(f64, PairWanted)> {
        let mut found = Vec::new();
        for group in self.groups(night) {
            for pair in group.rows.windows(2) {
                let &[first, second] = pair else { continue };
                let levels = [first, second].map(|row| night.rows.get(row).and_then(usable_level));
                let [Some(a), Some(b)] = levels else { continue };
                let alike = (a - b).abs() <= ALIKE * a.max(b);
                if second != first + 1 || !alike {
                    continue;
                }
                let wanted = pair_of(night, (first, second), PairOf::Sky);
                found.extend(wanted.map(|wanted| (0.5 * (a + b), wanted)));
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found
    }

    /// Dark frames, those of an equal exposure first; bias frames when there are no two.
    fn darks(&self, night: &Night) -> Vec<usize> {
        let mut darks: Vec<usize> = self.groups(night).flat_map(|g| g.darks.clone()).collect();
        darks.sort_unstable();
        darks.dedup();
        if darks.len() >= 2 {
            return darks;
        }
        let others = |kind: Kind| -> Vec<usize> {
            let rows = night.rows.iter().enumerate();
            rows.filter(|(_, row)| row.set == self.set && row.kind == Some(kind))
                .filter(|(_, row)| row.facts.iso == self.iso)
                .filter(|(_, row)| {
                    row.measure
                        .as_ref()
                        .is_some_and(|m| m.light == Light::Linear)
                })
                .map(|(index, _)| index)
                .collect()
        };
        [others(Kind::Dark), others(Kind::Bias)]
            .into_iter()
            .find(|rows| rows.len() >= 2)
            .unwrap_or(darks)
    }
}

/// The level of a frame that may serve in a pair, percent.
pub(super) fn usable_level(row: &Row) -> Option<f64> {
    let measure = row.measure.as_ref()?;
    let level = measure.sky.level_pct;
    let serves = measure.light == Light::Linear
        && measure.saturated_pct < MOST_CLIPPED_PCT
        && level < BRIGHTEST_PCT;
    serves.then_some(level)
}

fn pair_of(night: &Night, rows: (usize, usize), of: PairOf) -> Option<PairWanted> {
    Some(PairWanted {
        first: night.rows.get(rows.0)?.shot,
        second: night.rows.get(rows.1)?.shot,
        of,
    })
}

/// `count` pairs spread over the range of levels, no frame in two of them.
fn spread(sorted: &[(f64, PairWanted)], count: usize) -> Vec<PairWanted> {
    let mut chosen: Vec<PairWanted> = Vec::new();
    let last = sorted.len() - 1;
    for k in 0..count {
        let place = if count == 1 {
            last / 2
        } else {
            k * last / (count - 1)
        };
        let is_free = |pair: &&PairWanted| {
            let shots = [pair.first, pair.second];
            chosen
                .iter()
                .all(|c| !shots.contains(&c.first) && !shots.contains(&c.second))
        };
        // The nearest in level that is free.
        let order = (0..sorted.len()).map(|away| (place + away) % sorted.len());
        let next = order
            .filter_map(|at| sorted.get(at).map(|(_, pair)| pair))
            .find(is_free)
            .copied();
        chosen.extend(next);
    }
    chosen
}
