//! What advice is made of.

use serde::{Deserialize, Serialize};

/// What the user prefers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AdviceOptions {
    /// k of the NPF rule: 1 strict, 2 to 3 lenient.
    pub npf_k: f64,
}

impl AdviceOptions {
    /// Values of k to choose from: strict, usual, lenient.
    pub const NPF_KS: [f64; 3] = [1.0, 2.0, 3.0];

    /// The same with the next k, round and round.
    #[must_use]
    pub fn with_next_k(self) -> Self {
        let at = Self::NPF_KS.iter().position(|k| *k > self.npf_k);
        Self {
            npf_k: Self::NPF_KS[at.unwrap_or(0)],
        }
    }
}

impl Default for AdviceOptions {
    fn default() -> Self {
        Self { npf_k: 2.0 }
    }
}

/// One setting.
#[derive(Debug, Clone, PartialEq)]
pub struct SettingAdvice {
    /// Its name ("Exposure").
    pub setting: &'static str,
    /// What it was tonight ("30 s").
    pub tonight: String,
    /// What to set ("20 s", "the same").
    pub next: String,
    /// Whether it changes.
    pub changed: bool,
    /// Why, with a number, a time or what was tried: two lines of a narrow column,
    /// [`SettingAdvice::WHY_LENGTH`] characters or so.
    pub why: String,
    /// What else is to be known, in sentences, for the tip; may be empty.
    pub detail: String,
}

impl SettingAdvice {
    /// What `why` fits in.
    pub const WHY_LENGTH: usize = 60;
    /// What `setting` fits in.
    pub const SETTING_LENGTH: usize = 14;
}

/// The table, changed settings first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct NextTime {
    /// The rows.
    pub settings: Vec<SettingAdvice>,
    /// Cautions and caveats that apply ("levels are relative: JPEG").
    pub notes: Vec<String>,
}

/// Film length at a frame rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilmLength {
    /// Frames per second.
    pub rate: u32,
    /// Seconds.
    pub seconds: f64,
}

/// What the used frames give.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outcome {
    /// Frames used.
    pub used: usize,
    /// Frames there are.
    pub total: usize,
    /// Degrees the sky turns from the first used frame's start to the last one's end.
    pub arc_deg: Option<f64>,
    /// The same over all frames.
    pub possible_arc_deg: Option<f64>,
    /// Film seconds at 15, 24 and 30 frames a second.
    pub film: Vec<FilmLength>,
    /// Widest gap in the trails, px, at the largest rate over the frame ("up to").
    pub widest_gap_px: Option<f64>,
    /// Open shutter time of the used frames, s.
    pub open_s: Option<f64>,
}
