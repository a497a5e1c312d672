//! What judging a night gives.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::night::{Night, Surety};

/// Use it, use it but look again, leave it out.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize,
)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Use it.
    #[default]
    Keep,
    /// Use it, but look again.
    Doubtful,
    /// Leave it out.
    Reject,
}

impl Verdict {
    /// The word in tables, buttons and lists.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Keep => "keep",
            Self::Doubtful => "doubtful",
            Self::Reject => "reject",
        }
    }

    /// Whether the frame goes into the result.
    #[must_use]
    pub const fn is_used(self) -> bool {
        !matches!(self, Self::Reject)
    }
}

/// What the frames are for.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize,
)]
#[serde(rename_all = "lowercase")]
pub enum Purpose {
    /// One picture of star trails: gaps matter most.
    #[default]
    Trails,
    /// A film: jumps and flicker matter most.
    Timelapse,
    /// The best single frame.
    Still,
    /// A stack of tracked frames: round stars matter most.
    Tracked,
}

impl Purpose {
    /// All of them, in the order they are shown.
    pub const ALL: [Self; 4] = [Self::Trails, Self::Timelapse, Self::Still, Self::Tracked];

    /// The label in the window.
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::Trails => "Star trails",
            Self::Timelapse => "Time-lapse",
            Self::Still => "Single frame",
            Self::Tracked => "Tracked stack",
        }
    }
}

/// Why: what the values show, or what caused it where that is known. The registry `reasons` has each
/// one's code, words and good or bad news; the weightiest stand first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reason {
    /// The file could not be read.
    Unreadable,
    /// No light at all.
    DarkFrame,
    /// Large parts at full scale.
    OverExposed,
    /// Pointing jumped against the frames before and after.
    Knock,
    /// The camera moved at the start and came to rest.
    Settling,
    /// The camera shook and came back.
    Wind,
    /// Trail longer than the sky's turning predicts.
    Trailed,
    /// Dew on the lens.
    Dew,
    /// Focus crept.
    FocusDrift,
    /// Stars swollen; focus moved, where that is known.
    Defocus,
    /// Cloud.
    Cloud,
    /// Too few stars to judge by, or far fewer than before and after.
    FewStars,
    /// Lamplight.
    StrayLight,
    /// Sky out of line with its neighbours or the night.
    Sky,
    /// A sky lit by the Sun, less than 18° down.
    Twilight,
    /// A sky lit by the Moon.
    Moonlight,
    /// Noise out of line.
    Noise,
    /// An aircraft.
    Aircraft,
    /// A satellite.
    Satellite,
    /// A long line that is not a star.
    Streak,
    /// Insects near the lens.
    Insects,
    /// Frames missing before this one.
    Gap,
    /// The camera takes a dark frame after each.
    DarkSubtraction,
    /// The frames end before the night did.
    EarlyStop,
    /// Other settings than the night's.
    SettingsChanged,
    /// Lightning.
    Lightning,
    /// Aurora.
    Aurora,
    /// A meteor.
    Meteor,
    /// Airglow.
    Airglow,
}

/// One measured value that spoke for a reason.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// For which reason: the cause where it is known, else the same as `sign`.
    pub reason: Reason,
    /// What the value shows by itself.
    pub sign: Reason,
    /// How badly it weighs by itself.
    pub weighs: Verdict,
    /// What was compared, in words ("trail length").
    pub quantity: &'static str,
    /// Its unit ("px", "%", "" for a count).
    pub unit: &'static str,
    /// Value in this frame.
    pub measured: f64,
    /// What was expected or typical.
    pub baseline: f64,
    /// The value past which `weighs` applies.
    pub threshold: f64,
}

/// One row's verdict.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Judgement {
    /// The advised verdict.
    pub verdict: Verdict,
    /// What speaks for it, the weightiest first. Empty for a plain keep.
    pub evidence: Vec<Evidence>,
    /// For [`Purpose::Still`]: place in the ranking, 1 is best.
    pub rank: Option<u32>,
}

/// Something one can do about a finding.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// The button's label.
    pub label: String,
    /// What it costs, for the tip ("no gap: end of the night; costs 5.5° of arc").
    pub cost: String,
    /// Verdict to give `rows`.
    pub verdict: Verdict,
    /// Rows it applies to.
    pub rows: Vec<usize>,
    /// Whether this is what we would do.
    pub advised: bool,
}

/// One cause over one or more frames, as told to the person.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The cause.
    pub reason: Reason,
    /// Weightiest advised verdict among its rows.
    pub verdict: Verdict,
    /// Rows concerned, in order.
    pub rows: Vec<usize>,
    /// Title with frame numbers or clock time.
    pub title: String,
    /// The numbers that decide, in at most [`Finding::EVIDENCE_LENGTH`] characters or so.
    pub evidence: String,
    /// All that speaks for it and what it looks like, in whole sentences, for the tip.
    pub detail: String,
    /// What can be done, besides showing the frames and leaving things as they are.
    pub offers: Vec<Offer>,
}

impl Finding {
    /// What `evidence` fits in: two lines of the panel.
    pub const EVIDENCE_LENGTH: usize = 120;
    /// What `title` fits in: one line of the panel beside a button.
    pub const TITLE_LENGTH: usize = 32;
}

/// A span of frames to name over the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// The cause.
    pub reason: Reason,
    /// First row.
    pub first: usize,
    /// Last row, the same for a single frame.
    pub last: usize,
    /// Its rows, in order.
    pub rows: Vec<usize>,
    /// Short words ("few stars").
    pub label: String,
    /// Its verdict.
    pub verdict: Verdict,
    /// The value that shows it most, beside what was expected there.
    pub strength: Option<Evidence>,
    /// What speaks for it, in a sentence.
    pub evidence: String,
    /// How sure the cause is; `None` where the reason is what the values show by themselves.
    pub sure: Option<Surety>,
}

/// A night, judged.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Judged {
    /// For which purpose.
    pub purpose: Purpose,
    /// One for each row of the night.
    pub judgements: Vec<Judgement>,
    /// Sorted by what they cost.
    pub findings: Vec<Finding>,
    /// In order of time.
    pub events: Vec<Event>,
}

impl Judged {
    /// The verdict in force of each row of `night`: the person's where there is one, else the
    /// advised one.
    #[must_use]
    pub fn in_force(&self, night: &Night, decisions: &Decisions) -> Vec<Verdict> {
        let advised = self.judgements.iter().map(|judgement| judgement.verdict);
        night
            .rows
            .iter()
            .zip(advised.chain(std::iter::repeat(Verdict::Keep)))
            .map(|(row, advised)| decisions.get(&row.shot).copied().unwrap_or(advised))
            .collect()
    }
}

/// What the person decided, by shot (see [`crate::night::FrameInput::shot`]).
pub type Decisions = BTreeMap<usize, Verdict>;

/// How many of each, over the judged rows of one set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// To keep.
    pub keep: usize,
    /// Doubtful, but used.
    pub doubtful: usize,
    /// Left out.
    pub reject: usize,
    /// Not measured yet.
    pub pending: usize,
    /// Decided by the person.
    pub by_you: usize,
}

impl Tally {
    /// Counts one frame: its verdict in force, whether it is still to be measured, and whether the
    /// person decided on it.
    pub const fn count(&mut self, verdict: Verdict, pending: bool, decided: bool) {
        self.by_you += decided as usize;
        match verdict {
            _ if pending && !decided => self.pending += 1,
            Verdict::Keep => self.keep += 1,
            Verdict::Doubtful => self.doubtful += 1,
            Verdict::Reject => self.reject += 1,
        }
    }

    /// Frames that go into the result.
    #[must_use]
    pub const fn used(self) -> usize {
        self.keep + self.doubtful
    }
}

/// Thresholds of the rules. Values to start from are common practice; see docs/decisions.md.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Thresholds {
    /// Doubtful past this many px over the predicted trail…
    pub trail_doubt_px: f64,
    /// …and this share over it (the larger of the two counts).
    pub trail_doubt_share: f64,
    /// Reject past this many px…
    pub trail_reject_px: f64,
    /// …and this share.
    pub trail_reject_share: f64,
    /// Doubtful when stars are this much wider than typical.
    pub width_doubt: f64,
    /// Reject when this much wider.
    pub width_reject: f64,
    /// Doubtful when the sky is this many times the night's darkest tenth.
    pub sky_doubt: f64,
    /// Time-lapse: doubtful past this step of brightness from frame to frame.
    pub step_doubt_share: f64,
    /// Time-lapse: reject past this step.
    pub step_reject_share: f64,
    /// Fewer stars than this cannot be judged.
    pub stars_least: u32,
    /// Doubtful when the count falls below this share of typical.
    pub stars_doubt_share: f64,
    /// Modified z-score past which a value is out of line with its neighbours.
    pub outlier_z: f64,
    /// Tracked: doubtful elongation.
    pub elongation_doubt: f64,
    /// Tracked: elongation to reject.
    pub elongation_reject: f64,
    /// Over-exposed past this share of clipped samples above the group's usual, percent.
    pub clipped_doubt_pct: f64,
    /// Nothing left to use past this share of clipped samples, percent.
    pub clipped_reject_pct: f64,
    /// A value that is out of line must also differ by this share: the night's own scatter can be
    /// so small that z alone flags trifles.
    pub outlier_share: f64,
    /// Doubtful when matched stars lost this many magnitudes.
    pub flux_doubt_mag: f64,
    /// Reject when they lost this many.
    pub flux_reject_mag: f64,
    /// A streak counts when longer than this percentage of the frame's diagonal.
    pub streak_doubt_pct: f64,
    /// Time-lapse: doubtful past this pointing jump, px of the film.
    pub shift_doubt_px: f64,
    /// Time-lapse: reject past this one.
    pub shift_reject_px: f64,
    /// Tracked: doubtful when stars are this much wider than typical.
    pub tracked_width_doubt: f64,
    /// Tracked: reject when this much wider.
    pub tracked_width_reject: f64,
    /// Tracked: doubtful when matched stars lost this many magnitudes.
    pub tracked_flux_doubt_mag: f64,
    /// Tracked: reject when they lost this many.
    pub tracked_flux_reject_mag: f64,
    /// Tracked: reject when the sky is this many times the night's darkest tenth.
    pub tracked_sky_reject: f64,
}

impl Default for Thresholds {
    fn default() -> Self {
        Self {
            trail_doubt_px: 1.0,
            trail_doubt_share: 0.15,
            trail_reject_px: 3.0,
            trail_reject_share: 0.5,
            width_doubt: 1.4,
            width_reject: 2.0,
            sky_doubt: 1.5,
            step_doubt_share: 0.03,
            step_reject_share: 0.15,
            stars_least: 20,
            stars_doubt_share: 0.7,
            outlier_z: 3.5,
            elongation_doubt: 1.25,
            elongation_reject: 1.5,
            clipped_doubt_pct: 5.0,
            clipped_reject_pct: 50.0,
            outlier_share: 0.08,
            flux_doubt_mag: 0.3,
            flux_reject_mag: 0.75,
            streak_doubt_pct: 5.0,
            shift_doubt_px: 1.0,
            shift_reject_px: 5.0,
            tracked_width_doubt: 1.25,
            tracked_width_reject: 1.6,
            tracked_flux_doubt_mag: 0.2,
            tracked_flux_reject_mag: 0.7,
            tracked_sky_reject: 3.0,
        }
    }
}
