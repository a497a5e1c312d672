//! What leaving frames out did, in numbers: all frames against those in the result.

use std::collections::HashSet;

use crate::base::robust;
use crate::night::{Night, Set};
use crate::result::{Blend, Recipe, Repair, Thin};
use crate::sky::limits::{gap_brightness_brightest, gap_brightness_summed};
use crate::sky::turning::arc_deg;
use crate::verdict::cost::{Timeline, drop_cost, largest_rate_px_s};
use crate::verdict::{Reason, Verdict};

use super::open_night::OpenNight;
use super::result_sources::{has_reason, is_meteor};

/// Frames at the end whose width is told.
const AT_END: usize = 10;
/// Numbers of one side of a result. `None` is "cannot be told".
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SideNumbers {
    /// Frames.
    pub frames: usize,
    /// From the first start to the last end, degrees.
    pub arc_deg: Option<f64>,
    /// Widest gap in the trails, px.
    pub gap_px: Option<f64>,
    /// Light left in the middle of it, share of the trail.
    pub gap_left: Option<f64>,
    /// Whether that gap is bridged.
    pub is_bridged: bool,
    /// Width of the stars over the last frames, px.
    pub width_at_end_px: Option<f64>,
    /// Frames with streaks.
    pub streaks: usize,
    /// Frames with a meteor.
    pub meteors: usize,
    /// Frames in which the ground is lit.
    pub lit: usize,
    /// Sky of the brightest frame, or of the mean, percent.
    pub glow_pct: Option<f64>,
}

/// Both sides.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ResultTable {
    /// All frames.
    pub all: SideNumbers,
    /// Those in the result.
    pub used: SideNumbers,
    /// The usual pause: how wide it is, px, and the light left in it.
    pub pause: Option<(f64, Option<f64>)>,
    /// What else is to be said, a sentence each.
    pub sentences: Vec<String>,
}

/// One side, with what is needed to tell about it.
struct Side<'a> {
    night: &'a Night,
    set: &'a Set,
    timeline: &'a Timeline,
    blend: Blend,
    rate: Option<f64>,
    width: Option<f64>,
}

impl Side<'_> {
    fn numbers(&self, open: &OpenNight, rows: &HashSet<usize>) -> SideNumbers {
        let is_in = |row: usize| rows.contains(&row);
        let frames: Vec<usize> = self
            .set
            .frames
            .iter()
            .copied()
            .filter(|&row| is_in(row))
            .collect();
        let measures = || {
            frames.iter().filter_map(|&row| {
                let row = self.night.rows.get(row)?;
                row.measure.as_deref()
            })
        };
        let at_end: Vec<_> = measures().collect();
        let mut widths: Vec<f64> = (at_end.iter().rev().take(AT_END))
            .filter_map(|measure| measure.fwhm_px)
            .collect();
        let gap_px = self.gap_px(is_in);
        let levels: Vec<f64> = measures().map(|measure| measure.sky.level_pct).collect();
        let sources = &open.resulting.sources;
        let streaked: HashSet<usize> = (sources.exposures.iter().zip(&sources.places))
            .filter(|(exposure, _)| !exposure.streaks.is_empty())
            .filter_map(|(_, &place)| open.frames().get(place).copied())
            .collect();
        let lit = |row: &&usize| has_reason(open.judged(), **row, Reason::StrayLight);
        SideNumbers {
            frames: frames.len(),
            arc_deg: self.timeline.span_s(is_in).map(arc_deg),
            gap_px,
            gap_left: gap_px.and_then(|gap| self.left(gap)),
            is_bridged: false,
            width_at_end_px: robust::median(&mut widths),
            streaks: frames.iter().filter(|row| streaked.contains(row)).count(),
            meteors: frames
                .iter()
                .filter(|row| is_meteor(open.judged(), **row))
                .count(),
            lit: frames.iter().filter(lit).count(),
            glow_pct: match self.blend {
                Blend::Brightest => levels.iter().copied().reduce(f64::max),
                Blend::Average => {
                    let sum: f64 = levels.iter().sum();
                    (!levels.is_empty()).then(|| sum / levels.len() as f64)
                }
            },
        }
    }

    fn gap_px(&self, is_in: impl Fn(usize) -> bool) -> Option<f64> {
        Some(self.rate? * self.timeline.widest_pause_s(is_in)?)
    }

    fn left(&self, gap_px: f64) -> Option<f64> {
        let width = self.width?;
        Some(match self.blend {
            Blend::Brightest => gap_brightness_brightest(gap_px, width),
            Blend::Average => gap_brightness_summed(gap_px, width),
        })
    }
}

impl OpenNight {
    /// What leaving frames out does to the result of `recipe`.
    pub(super) fn result_table(&self, recipe: &Recipe) -> ResultTable {
        let (night, Some(set)) = (self.night(), self.shown_set()) else {
            return ResultTable::default();
        };
        let main = set.main_group.and_then(|group| night.groups.get(group));
        let timeline = Timeline::of(night, set);
        let choices = self.resulting.choices;
        let side = Side {
            night,
            set,
            timeline: &timeline,
            blend: choices.blend,
            rate: main.and_then(|group| largest_rate_px_s(night, group)),
            width: main.and_then(|group| group.fwhm).map(|width| width.median),
        };
        let exposures = &self.resulting.chosen;
        let rows: Vec<Option<usize>> = (self.resulting.sources.places.iter())
            .map(|&place| self.frames().get(place).copied())
            .collect();
        let all: HashSet<usize> = rows.iter().copied().flatten().collect();
        let in_order: Vec<usize> = (rows.iter().zip(exposures))
            .filter(|(_, exposure)| exposure.is_used)
            .filter_map(|(row, _)| *row)
            .collect();
        let step = if choices.thin == Thin::EverySecond {
            2
        } else {
            1
        };
        let used: HashSet<usize> = in_order.iter().copied().step_by(step).collect();
        let mut table = ResultTable {
            all: side.numbers(self, &all),
            used: side.numbers(self, &used),
            pause: (side.rate.zip(set.pause_s))
                .map(|(rate, pause)| (rate * pause, side.left(rate * pause))),
            sentences: Vec::new(),
        };
        if choices.repairs.has(Repair::Paint) {
            table.used.streaks = 0;
        }
        if choices.thin == Thin::Pairs {
            table.used.glow_pct = table.used.glow_pct.map(|glow| (2.0 * glow).min(100.0));
        }
        let bridges = recipe.bridges();
        table.used.is_bridged = bridges > 0 && bridges + 1 == table.used.frames;
        table.sentences = self.result_sentences(&table, &side);
        table
    }

    fn result_sentences(&self, table: &ResultTable, side: &Side<'_>) -> Vec<String> {
        let mut told = Vec::new();
        let number = crate::verdict::words::number;
        match self.resulting.choices.thin {
            Thin::AsTaken => {}
            Thin::EverySecond => {
                let gap = table.used.gap_px.map_or_else(String::new, |gap| {
                    format!(
                        ": gaps of up to {} px, {}",
                        number(gap, usize::from(gap < 20.0)),
                        left_words(table.used.gap_left)
                    )
                });
                told.push(format!("As with an interval twice as long{gap}."));
            }
            Thin::Pairs => told.push(
                "As with an exposure twice as long: half as many pauses, the sky twice as bright."
                    .to_owned(),
            ),
        }
        let Some((first, last)) = self.run() else {
            return told;
        };
        let (low, high) = self.cleanest_run().unwrap_or((first, last));
        let amid: Vec<usize> = (low.max(first)..=high.min(last))
            .filter_map(|place| self.frames().get(place).copied())
            .filter(|&row| self.verdict_of(row) == Verdict::Doubtful)
            .collect();
        let cost = drop_cost(self.night(), self.set, &self.verdicts, &amid);
        if let (false, Some(gap)) = (cost.only_ends || amid.is_empty(), cost.gap_px) {
            let frames =
                crate::verdict::words::plural(amid.len(), "doubtful frame", "doubtful frames");
            let left = left_words(side.left(gap));
            let gap = number(gap, usize::from(gap < 20.0));
            told.push(format!(
                "Dropping the {frames} would cut gaps of up to {gap} px, {left}."
            ));
        }
        if let Some(cleanest) = self.cleanest_run().filter(|run| Some(*run) != self.run()) {
            let rows: HashSet<usize> = (cleanest.0..=cleanest.1)
                .filter(|&place| self.is_used_at(place))
                .filter_map(|place| self.frames().get(place).copied())
                .collect();
            let clean = side.numbers(self, &rows);
            let arc = clean.arc_deg.map(|arc| format!("arc {}°", number(arc, 1)));
            let glow = clean
                .glow_pct
                .map(|glow| format!("glow {} %", number(glow, 0)));
            let told_of: Vec<String> = glow.into_iter().chain(arc).collect();
            told.push(format!(
                "The cleanest run is {} to {}: {}.",
                cleanest.0 + 1,
                cleanest.1 + 1,
                told_of.join(", ")
            ));
        }
        told
    }
}

/// "dark" or "34 % of the light left".
#[must_use]
pub fn left_words(left: Option<f64>) -> String {
    match left {
        Some(left) if left < 0.05 => "dark".to_owned(),
        Some(left) => format!("{:.0} % of the light left", 100.0 * left),
        None => "light left unknown".to_owned(),
    }
}
