//! What the window knows.

use crate::advice::AdviceOptions;
use crate::engine::{NightId, OpenRequest, Progress, Recent};
use crate::verdict::{Purpose, Thresholds};

use super::open_night::OpenNight;
use super::preferences::Comfort;

/// A page of the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// The night at a glance; with no night open, the first page a stranger sees.
    #[default]
    Night,
    /// Settings side by side.
    Compare,
    /// What the used frames make: trails or a film.
    Result,
    /// Every frame in a table.
    Frames,
}

impl Page {
    /// All of them, in the order of the top bar.
    pub const ALL: [Self; 4] = [Self::Night, Self::Compare, Self::Result, Self::Frames];

    /// The word in the top bar.
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::Night => "Night",
            Self::Compare => "Compare",
            Self::Result => "Result",
            Self::Frames => "Frames",
        }
    }
}

/// The light the window is read in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// Bright surroundings.
    Day,
    /// Indoors.
    #[default]
    Dark,
    /// At the telescope: only red is lit.
    Red,
}

/// Something that can be drawn on the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mark {
    /// Where ground ends and sky begins, and lamps on it.
    Ground,
    /// Trails of the measured stars, drawn longer than they are.
    Trails,
    /// Aircraft and satellites.
    Streaks,
    /// Stars whose core is at full scale.
    Clipped,
    /// The point the sky turns about.
    Pole,
}

impl Mark {
    /// All of them, in the order of the check boxes.
    pub const ALL: [Self; 5] = [
        Self::Ground,
        Self::Trails,
        Self::Streaks,
        Self::Clipped,
        Self::Pole,
    ];

    /// The words beside its check box.
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::Ground => "ground outline",
            Self::Trails => "trails, 24 × long",
            Self::Streaks => "streaks",
            Self::Clipped => "clipped stars",
            Self::Pole => "sky pole",
        }
    }
}

/// Which marks are drawn on the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Marks {
    /// One flag for each of [`Mark::ALL`].
    chosen: [bool; 5],
    /// Hides all of them for a moment without forgetting the choice.
    pub hidden: bool,
}

impl Default for Marks {
    fn default() -> Self {
        Self {
            chosen: [true; 5],
            hidden: false,
        }
    }
}

impl Marks {
    /// Whether `mark` is ticked.
    #[must_use]
    pub const fn is_chosen(self, mark: Mark) -> bool {
        self.chosen[mark as usize]
    }

    /// Whether `mark` is to be drawn: ticked, and not all hidden.
    #[must_use]
    pub const fn is_drawn(self, mark: Mark) -> bool {
        !self.hidden && self.is_chosen(mark)
    }

    /// Ticks or unticks `mark`, and shows what was hidden.
    pub const fn toggle(&mut self, mark: Mark) {
        self.chosen[mark as usize] = !self.chosen[mark as usize];
        self.hidden = false;
    }
}

/// How large the frame is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PictureZoom {
    /// All of it.
    #[default]
    Fit,
    /// One sample, one pixel of the screen.
    OneToOne,
}

/// Something to tell the person, kept until read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// A sentence or two.
    pub text: String,
    /// Whether something failed (as against something done).
    pub is_error: bool,
}

/// What is being opened, before the engine has said that it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Opening {
    /// The id its reports will carry.
    pub id: NightId,
    /// In words ("the sample night", a path).
    pub what: String,
    /// How far it is, when it takes long enough to be told.
    pub progress: Option<Progress>,
}

/// What the window knows. Changed only by [`Model::apply`].
#[derive(Debug, Default)]
pub struct Model {
    /// The page shown.
    pub page: Page,
    /// Whether the keys are shown over it.
    pub keys_shown: bool,
    /// Whether the list of warnings is shown.
    pub warnings_shown: bool,
    /// Whether the frame fills the page.
    pub frame_fills: bool,
    /// Judged as.
    pub purpose: Purpose,
    /// How the window is read.
    pub comfort: Comfort,
    /// The open night.
    pub night: Option<OpenNight>,
    /// What is being opened.
    pub opening: Option<Opening>,
    /// Why the last opening failed, shown in place of a night.
    pub open_error: Option<String>,
    /// Recent nights, newest first; `None` until the engine has told.
    pub recents: Option<Vec<Recent>>,
    /// The place typed on the first page.
    pub typed_path: String,
    /// The file typed for an export.
    pub typed_export: String,
    /// Things to tell, oldest first.
    pub notices: Vec<Notice>,
    /// Drawn on the frame.
    pub marks: Marks,
    /// How large the frame is shown.
    pub picture_zoom: PictureZoom,
    /// Thresholds of the verdicts.
    pub thresholds: Thresholds,
    /// Preferences of the advice.
    pub advice: AdviceOptions,
    /// Text for the clipboard, taken by the window after each action.
    pub to_copy: Option<String>,
    /// Ids handed out so far.
    pub(super) ids: u64,
}

impl Model {
    /// A request to open something, with what the window is set to.
    #[must_use]
    pub(super) fn request(&mut self, base: OpenRequest) -> OpenRequest {
        self.ids += 1;
        OpenRequest {
            id: NightId(self.ids),
            purpose: self.purpose,
            thresholds: self.thresholds,
            advice: self.advice,
            ..base
        }
    }

    /// Text for the clipboard, handed out once.
    pub fn take_copy(&mut self) -> Option<String> {
        self.to_copy.take()
    }

    /// The open night, if `id` is its.
    pub(super) fn night_of(&mut self, id: NightId) -> Option<&mut OpenNight> {
        self.night.as_mut().filter(|night| night.id == id)
    }

    /// The name of what undo would take back.
    #[must_use]
    pub fn undo_name(&self) -> Option<&str> {
        self.night.as_ref()?.undo.undo_name()
    }

    /// The name of what redo would do again.
    #[must_use]
    pub fn redo_name(&self) -> Option<&str> {
        self.night.as_ref()?.undo.redo_name()
    }
}
