//! What the advice about one set is computed from, gathered once.

use crate::base::robust::median;
use crate::night::{Group, Night, Row, Set};
use crate::sky::limits::{Npf, dwell_s};
use crate::verdict::cost::{exposure_factor, largest_rate_px_s};
use crate::verdict::{Finding, Judged, Judgement, Purpose, Reason};

/// Exposures that cameras mark as 15 and 30 s and time as 16 and 32 s.
const POWERS_OF_TWO: f64 = 16.0 / 15.0;

/// One set as the advice sees it.
pub(super) struct Facts<'a> {
    pub(super) night: &'a Night,
    pub(super) set: &'a Set,
    pub(super) group: &'a Group,
    pub(super) purpose: Purpose,
    pub(super) findings: Vec<&'a Finding>,
    judgements: &'a [Judgement],
    pub(super) exposure_s: Option<f64>,
    pub(super) f_number: Option<f64>,
    pub(super) iso: Option<u32>,
    pub(super) focal_mm: Option<f64>,
    pub(super) pixel_um: Option<f64>,
    /// Largest speed of a star over the frame, px/s.
    pub(super) rate_px_s: Option<f64>,
    /// Medians of the frames that are not rejected.
    pub(super) width_px: Option<f64>,
    pub(super) trail_px: Option<f64>,
    pub(super) elongation: Option<f64>,
    pub(super) sky_pct: Option<f64>,
}

impl<'a> Facts<'a> {
    pub(super) fn of(night: &'a Night, set: usize, judged: &'a Judged) -> Option<Self> {
        let set = night.sets.get(set)?;
        let group = night.groups.get(set.main_group?)?;
        let used = || {
            group.rows.iter().filter_map(|&at| {
                let verdict = judged.judgements.get(at)?.verdict;
                night.rows.get(at).filter(|_| verdict.is_used())
            })
        };
        let middle = |of: fn(&Row) -> Option<f64>| {
            let mut values: Vec<f64> = used().filter_map(of).collect();
            median(&mut values)
        };
        let of_set = |finding: &&Finding| finding.rows.iter().all(|row| set.frames.contains(row));
        let settings = &group.settings;
        Some(Self {
            night,
            set,
            group,
            purpose: judged.purpose,
            judgements: &judged.judgements,
            findings: judged.findings.iter().filter(of_set).collect(),
            exposure_s: settings.exposure_s.filter(|t| *t > 0.0),
            f_number: settings.f_number,
            iso: settings.iso,
            focal_mm: settings.focal_length_mm,
            pixel_um: settings.pixel_um,
            rate_px_s: largest_rate_px_s(night, group).filter(|rate| *rate > 0.0),
            width_px: middle(|row| row.measure.as_deref()?.fwhm_px),
            trail_px: middle(|row| Some(row.measure.as_deref()?.trail?.length_px)),
            elongation: middle(|row| row.measure.as_deref()?.elongation),
            sky_pct: middle(|row| Some(row.measure.as_deref()?.sky.level_pct)),
        })
    }

    /// How long the shutter is truly open, s: from the trails where they were fitted; else marked 15
    /// and 30 s are allowed the 16 and 32 s that cameras commonly time. Whether it was measured.
    pub(super) fn true_exposure_s(&self) -> Option<(f64, bool)> {
        let marked = self.exposure_s?;
        if self.group.turn.is_some_and(|turn| turn.is_plausible()) {
            return Some((marked * exposure_factor(Some(self.group)), true));
        }
        let timed_in_powers = [15.0, 30.0].iter().any(|t| (t - marked).abs() < 0.01);
        let factor = if timed_in_powers { POWERS_OF_TWO } else { 1.0 };
        Some((marked * factor, false))
    }

    /// The longest exposure that the NPF rule passes with this `k`, s: at the largest rate over the
    /// frame where it is known, else on the celestial equator.
    pub(super) fn npf_s(&self, k: f64) -> Option<f64> {
        let npf = Npf {
            k,
            f_number: self.f_number?,
            focal_mm: self.focal_mm?,
            pixel_um: self.pixel_um?,
        };
        let limit = match self.rate_px_s {
            Some(rate) => npf.limit_at_rate_s(rate),
            None => npf.limit_s(0.0),
        };
        (limit.is_finite() && limit > 0.0).then_some(limit)
    }

    /// How long a star needs to cross its own width, s, at the frame's median rate.
    pub(super) fn dwell_s(&self) -> Option<f64> {
        let (exposure, _) = self.true_exposure_s()?;
        let rate = self.trail_px.filter(|trail| *trail > 0.5)? / exposure;
        Some(dwell_s(self.width_px?, rate))
    }

    /// The clock reading at a row's start, "21:40".
    pub(super) fn clock(&self, row: usize) -> Option<String> {
        self.clock_at(self.night.rows.get(row)?.time_s?)
    }

    /// The clock reading at a time like [`Row::time_s`], "21:40".
    pub(super) fn clock_at(&self, time_s: f64) -> Option<String> {
        let seconds = self.night.start_clock_s? + time_s;
        let minutes = (seconds / 60.0).floor().rem_euclid(1440.0) as u32;
        Some(format!("{:02}:{:02}", minutes / 60, minutes % 60))
    }

    /// How far the camera moved in or before a frame by what was told of it, px: where it came to
    /// rest again, else how much too long trails are.
    pub(super) fn moved_px(&self, row: usize) -> Option<f64> {
        let evidence = &self.judgements.get(row)?.evidence;
        let last_of = |reason| {
            let mut all = evidence.iter().rev();
            all.find(|e| e.sign == reason && e.unit == "px")
        };
        let knock = last_of(Reason::Knock).map(|e| e.measured);
        knock.or_else(|| last_of(Reason::Trailed).map(|e| (e.measured - e.baseline).abs()))
    }

    /// Whether any value of a frame shows `reason`.
    pub(super) fn tells_of(&self, row: usize, reason: Reason) -> bool {
        let judgement = self.judgements.get(row);
        judgement.is_some_and(|j| j.evidence.iter().any(|e| e.sign == reason))
    }

    pub(super) fn finding(&self, reason: Reason) -> impl Iterator<Item = &'a Finding> {
        let all: Vec<&Finding> = self.findings.clone();
        all.into_iter().filter(move |f| f.reason == reason)
    }

    /// Whether a finding reaches the first or the last frame of the set.
    pub(super) fn reaches(&self, finding: &Finding, end: End) -> bool {
        let edge = match end {
            End::First => self.set.frames.first(),
            End::Last => self.set.frames.last(),
        };
        edge.is_some_and(|row| finding.rows.contains(row))
    }
}

impl Facts<'_> {
    /// The same, where a handful of frames at the very end may belong to another finding.
    pub(super) fn reaches_near(&self, finding: &Finding, end: End) -> bool {
        const NEAR: usize = 10;
        let mut frames = self.set.frames.iter();
        let holds = |row: &usize| finding.rows.contains(row);
        match end {
            End::First => frames.take(NEAR).any(holds),
            End::Last => frames.by_ref().rev().take(NEAR).any(holds),
        }
    }
}

/// One end of the night.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    First,
    Last,
}
