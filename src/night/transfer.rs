//! Photon transfer of a night: which pairs of frames to measure, and what they tell of the camera at
//! each ISO.
//!
//! Gain and read noise belong to camera and ISO, so groups that differ in exposure or aperture only
//! are put together: that widens the range of levels. Where the file does not tell the ISO, a group
//! stands alone.

use std::sync::Arc;

use super::transfer_words as words;
use super::types::{Group, Kind, Night, Row, SkyNoise, Transfer};
use crate::base::Estimate;
use crate::frame::{Light, formats};
use crate::measure::transfer::{Conditions, Dark, Level, Line, fit};
use crate::measure::{Banding, PairFault, PairMeasure, PairOf};

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

/// A gain known less well than this is not told …
const WORST_GAIN: f64 = 0.15;

/// … nor a read noise.
const WORST_READ_NOISE: f64 = 0.5;

/// Fixed pattern is told when it is so many times its error.
const SURE: f64 = 3.0;

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
struct Pool {
    set: usize,
    iso: Option<u32>,
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
    fn groups<'a>(&'a self, night: &'a Night) -> impl Iterator<Item = &'a Group> {
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
fn usable_level(row: &Row) -> Option<f64> {
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

/// What the pairs of a pool tell, in numbers of the file.
struct Told<'a> {
    line: Option<Line>,
    dark: Option<Dark>,
    full_scale: f64,
    /// Whether full scale is in numbers of the file, not in fractions.
    in_dn: bool,
    knows_black: bool,
    sky: Vec<(PairWanted, &'a PairMeasure)>,
    darks: usize,
    remarks: Vec<String>,
}

impl<'a> Told<'a> {
    fn of(night: &Night, pool: &Pool, found: &[&'a PairResult]) -> Self {
        let sound = |of: PairOf| -> Vec<(PairWanted, &'a PairMeasure)> {
            let measured = found.iter().filter(|(pair, _)| pair.of == of);
            let measured = measured.filter_map(|(pair, got)| Some((*pair, got.as_deref()?)));
            measured.filter(|(_, got)| got.fault.is_none()).collect()
        };
        let (sky, darks) = (sound(PairOf::Sky), sound(PairOf::Dark));
        let dn = sky.first().and_then(|(_, pair)| pair.dn_full_scale);
        let mut told = Self {
            line: None,
            dark: None,
            full_scale: dn.unwrap_or(1.0),
            in_dn: dn.is_some(),
            knows_black: pool.groups(night).all(|group| is_raw(night, group)),
            darks: 2 * darks.len(),
            sky,
            remarks: Vec::new(),
        };
        told.dark = told.dark_of(&darks);
        told.say_faults(night, pool, found);
        if !told.sky.is_empty() {
            told.draw_line();
        }
        told
    }

    fn dark_of(&self, darks: &[(PairWanted, &PairMeasure)]) -> Option<Dark> {
        let count = darks.len() as f64;
        let full = self.full_scale;
        let mean = |of: fn(&PairMeasure) -> f64| {
            darks.iter().map(|(_, pair)| of(pair)).sum::<f64>() / count
        };
        (!darks.is_empty()).then(|| Dark {
            mean: full * mean(|pair| pair.level),
            variance: Estimate {
                value: full * full * mean(|pair| pair.temporal.value),
                error: full * full * mean(|pair| pair.temporal.error) / count.sqrt(),
            },
        })
    }

    fn say_faults(&mut self, night: &Night, pool: &Pool, found: &[&PairResult]) {
        if self.sky.is_empty() {
            let fault = found
                .iter()
                .filter(|(pair, _)| pair.of == PairOf::Sky)
                .map(|(_, got)| got.as_ref().and_then(|got| got.fault))
                .next_back();
            self.remarks.push(match fault {
                Some(Some(fault)) => words::of_sky_fault(fault).to_owned(),
                Some(None) => words::UNREADABLE.to_owned(),
                None => self.why_no_pair(night, pool),
            });
            return;
        }
        let dark_fault = found
            .iter()
            .filter(|(pair, _)| pair.of == PairOf::Dark)
            .find_map(|(_, got)| got.as_ref()?.fault);
        if self.dark.is_none() {
            let why = dark_fault.map_or(words::NO_DARKS, words::of_dark_fault);
            self.remarks.push(why.to_owned());
        }
        if pool.iso.is_none() {
            self.remarks.push(words::NO_ISO.to_owned());
        }
    }

    fn why_no_pair(&self, night: &Night, pool: &Pool) -> String {
        let rows: Vec<&Row> = pool
            .groups(night)
            .flat_map(|group| &group.rows)
            .filter_map(|&row| night.rows.get(row))
            .collect();
        let linear = |row: &&Row| {
            row.measure
                .as_ref()
                .is_some_and(|m| m.light == Light::Linear)
        };
        let why = if !rows.iter().any(linear) {
            words::of_sky_fault(PairFault::ToneMapped)
        } else if rows.len() < 2 {
            words::ONE_FRAME
        } else if !rows.iter().any(|row| usable_level(row).is_some()) {
            words::TOO_BRIGHT
        } else {
            words::NO_PAIR
        };
        why.to_owned()
    }

    fn draw_line(&mut self) {
        let full = self.full_scale;
        let levels: Vec<Level> = self
            .sky
            .iter()
            .flat_map(|(_, pair)| &pair.levels)
            .map(|level| Level {
                mean: full * level.level,
                variance: full * full * level.variance.value,
                share: level.variance.relative(),
            })
            .collect();
        let conditions = Conditions {
            dark: self.dark,
            full_scale: full,
            rounded: self.in_dn,
        };
        match fit(&levels, &conditions) {
            Ok(line) if line.gain.relative() > WORST_GAIN => {
                let range = (line.range.0 / full, line.range.1 / full);
                self.remarks
                    .push(words::no_range(range, line.gain.relative()));
            }
            Ok(line) => self.line = Some(self.checked(line)),
            Err(why) => self.remarks.push(words::of_no_line(why).to_owned()),
        }
    }

    /// The line without a read noise that is not worth telling.
    fn checked(&mut self, mut line: Line) -> Line {
        let is_free = self.dark.is_none();
        if is_free && !self.knows_black {
            line.read_noise_e = None;
            self.remarks.push(words::BLACK_UNKNOWN.to_owned());
        }
        if let Some(read) = line
            .read_noise_e
            .filter(|r| r.relative() > WORST_READ_NOISE)
        {
            line.read_noise_e = None;
            self.remarks.push(words::read_noise_unsure(read));
        } else if line.read_noise_e.is_none() && (!is_free || self.knows_black) {
            let why = if is_free {
                words::READ_NOISE_LOST
            } else {
                words::READ_NOISE_HIDDEN
            };
            self.remarks.push(why.to_owned());
        }
        line
    }

    fn transfer(&self, night: &Night, group: usize) -> Transfer {
        let gain = self.line.map(|line| line.gain);
        let black = match self.dark {
            Some(dark) if !self.knows_black => dark.mean,
            _ => 0.0,
        };
        Transfer {
            gain_dn_per_e: gain.filter(|_| self.in_dn),
            read_noise_e: self.line.and_then(|line| line.read_noise_e),
            full_scale_e: gain.map(|gain| gain.inverse().times(self.full_scale - black)),
            sky: gain.and_then(|gain| self.sky_noise(night.groups.get(group)?, night, gain.value)),
            pairs: self.sky.len(),
            darks: self.darks,
            remarks: self.remarks.clone(),
        }
    }

    /// Noise of one pixel of sky at the group's level, from its own pairs where it has some.
    fn sky_noise(&self, group: &Group, night: &Night, gain: f64) -> Option<SkyNoise> {
        let shots = |row: &usize| night.rows.get(*row).map(|row| row.shot);
        let own: Vec<usize> = group.rows.iter().filter_map(shots).collect();
        let is_own = |(pair, _): &&(PairWanted, &PairMeasure)| own.contains(&pair.first);
        let mut pairs: Vec<&PairMeasure> = self
            .sky
            .iter()
            .filter(is_own)
            .map(|(_, got)| *got)
            .collect();
        if pairs.is_empty() {
            pairs = self.sky.iter().map(|(_, got)| *got).collect();
        }
        let to_e = self.full_scale / gain;
        let count = pairs.len() as f64;
        let mean = |of: &dyn Fn(&PairMeasure) -> f64| {
            pairs.iter().map(|pair| of(pair)).sum::<f64>() / count
        };
        let dark = self.dark.map_or(0.0, |dark| dark.mean / gain);
        let level_e = (group.sky?.median / 100.0 * to_e - dark).max(0.0);
        let read_e = self.line?.read_noise_e.map(|read| read.value);
        let fixed = mean(&|pair| pair.fixed.value);
        let fixed_error = mean(&|pair| pair.fixed.error) / count.sqrt();
        let fixed_e = (fixed > SURE * fixed_error).then(|| fixed.sqrt() * to_e);
        let rest = match read_e {
            Some(read) => level_e + read * read,
            None => {
                let measured = mean(&|pair| pair.temporal.value) * to_e * to_e;
                measured + level_e - (mean(&|pair| pair.level) * to_e - dark)
            }
        };
        let band = |of: fn(&PairMeasure) -> Option<Banding>| {
            let bands: Vec<Banding> = pairs.iter().filter_map(|pair| of(pair)).collect();
            let shown = bands.iter().filter(|band| band.shows()).count();
            let excess = bands.iter().map(|band| band.excess).sum::<f64>() / bands.len() as f64;
            (2 * shown > bands.len()).then(|| excess.max(0.0).sqrt() * to_e)
        };
        Some(SkyNoise {
            level_e,
            total_e: (rest + fixed_e.map_or(0.0, |fixed| fixed * fixed))
                .max(0.0)
                .sqrt(),
            shot_e: level_e.sqrt(),
            read_e,
            fixed_e,
            row_banding_e: band(|pair| pair.rows),
            column_banding_e: band(|pair| pair.columns),
        })
    }
}

fn is_raw(night: &Night, group: &Group) -> bool {
    let first = group.rows.first().and_then(|&row| night.rows.get(row));
    first.is_some_and(|row| formats::is_raw(&row.path))
}
