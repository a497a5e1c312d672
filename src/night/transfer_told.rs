//! What the measured pairs of one camera at one ISO tell: the line through them, the noise of a pixel
//! of sky split into its parts, and in words what they do not tell.

use super::transfer::{PairResult, PairWanted, Pool, usable_level};
use super::transfer_words as words;
use super::types::{Group, Night, Row, SkyNoise, Transfer};
use crate::base::Estimate;
use crate::frame::{Light, formats};
use crate::measure::transfer::{Conditions, Dark, Level, Line, fit};
use crate::measure::{Banding, PairFault, PairMeasure, PairOf};

/// A gain known less well than this is not told …
const WORST_GAIN: f64 = 0.15;

/// … nor a read noise. Without darks chance lifts its square by several times itself as easily as it
/// takes it below zero, so only one that is surely there is told.
const WORST_READ_NOISE: f64 = 0.15;

/// Fixed pattern is told when it is so many times its error.
const SURE: f64 = 3.0;

/// What the pairs of a pool tell, in numbers of the file.
pub(super) struct Told<'a> {
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
    pub(super) fn of(night: &Night, pool: &Pool, found: &[&'a PairResult]) -> Self {
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
                None => Self::why_no_pair(night, pool),
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

    fn why_no_pair(night: &Night, pool: &Pool) -> String {
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
        let unsure = |read: Estimate| read.relative() > WORST_READ_NOISE;
        if line.read_noise_e.is_none_or(unsure) && (!is_free || self.knows_black) {
            line.read_noise_e = None;
            let words = words::read_noise_below(line.read_noise_below_e);
            self.remarks.push(words);
        }
        line
    }

    pub(super) fn transfer(&self, night: &Night, group: usize) -> Transfer {
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
        let rest = if let Some(read) = read_e {
            level_e + read * read
        } else {
            let measured = mean(&|pair| pair.temporal.value) * to_e * to_e;
            measured + level_e - (mean(&|pair| pair.level) * to_e - dark)
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
