//! The commands: keys, menus, the page of keys and tips all follow from this table.

use crate::engine::ExportWhat;
use crate::verdict::{Purpose, Verdict};

use super::action::Action;
pub use super::chords::{Chord, Key};
use super::model::{Model, Page};
use super::resulting::ResultAction;

/// What a command is about; a heading on the page of keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Opening, pages, help.
    Window,
    /// Stepping and choosing.
    Frames,
    /// Verdicts.
    Verdicts,
    /// What the verdicts lead to.
    Saving,
    /// What is shown of the night and the frame.
    View,
}

impl Group {
    /// All of them, in the order of the page of keys.
    pub const ALL: [Self; 5] = [
        Self::Frames,
        Self::Verdicts,
        Self::Saving,
        Self::View,
        Self::Window,
    ];

    /// The heading.
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::Window => "Window",
            Self::Frames => "Frames",
            Self::Verdicts => "Verdicts",
            Self::Saving => "Saving",
            Self::View => "View",
        }
    }
}

/// One command.
#[derive(Debug)]
pub struct Command {
    /// Its name in code.
    pub id: &'static str,
    /// The label of its button or menu entry.
    pub label: &'static str,
    /// What it does, a line.
    pub tip: &'static str,
    /// Heading it stands under.
    pub group: Group,
    /// Keys that do it, the one to show first.
    pub keys: &'static [Chord],
    /// The action, or `None` when it can't be done now.
    pub action: fn(&Model) -> Option<Action>,
}

impl Command {
    /// Whether `chord` does it.
    #[must_use]
    pub fn has_key(&self, chord: Chord) -> bool {
        self.keys.contains(&chord)
    }

    /// The tip with the key ("Use it (K)").
    #[must_use]
    pub fn tip_with_key(&self) -> String {
        self.keys.first().map_or_else(
            || self.tip.to_owned(),
            |key| format!("{} ({})", self.tip, key.words()),
        )
    }
}

/// The command with this id.
#[must_use]
pub fn command(id: &str) -> Option<&'static Command> {
    COMMANDS.iter().find(|command| command.id == id)
}

/// The command that `chord` does.
#[must_use]
pub fn command_for(chord: Chord) -> Option<&'static Command> {
    COMMANDS.iter().find(|command| command.has_key(chord))
}

const fn letter(letter: char) -> Chord {
    Chord::plain(Key::Char(letter))
}

fn save_picture(model: &Model) -> Option<Action> {
    let night = model.night.as_ref()?;
    let is_free = night.progress.is_none() && night.building.is_none();
    let what = ExportWhat::TrailsPicture { set: night.set };
    (model.purpose == Purpose::Trails && is_free).then_some(Action::ChooseExport(what))
}

fn save_chart(model: &Model) -> Option<Action> {
    let set = model.night.as_ref()?.set;
    Some(Action::ChooseExport(ExportWhat::Chart { set }))
}

/// While nothing is measured or built.
fn idle(model: &Model, action: Action) -> Option<Action> {
    let night = model.night.as_ref()?;
    (night.progress.is_none() && night.building.is_none()).then_some(action)
}

fn comparing(model: &Model, action: Action) -> Option<Action> {
    let comparison = model.night.as_ref()?.comparison()?;
    (model.page == Page::Compare && comparison.has_several()).then_some(action)
}

fn on_result(model: &Model, action: ResultAction) -> Option<Action> {
    (model.page == Page::Result && model.night.is_some()).then_some(Action::Result(action))
}

/// On the Result page the arrows move what is there; else they step through the frames.
fn stepping(model: &Model, there: ResultAction, else_do: Action) -> Option<Action> {
    on_result(model, there).or_else(|| with_night(model, else_do))
}

/// Saves what the Result page shows, once it is whole.
fn save_result(model: &Model, what: ExportWhat) -> Option<Action> {
    let night = model
        .night
        .as_ref()
        .filter(|_| model.page == Page::Result)?;
    let asked = night.resulting.asked.as_ref()?;
    let is_free = night.progress.is_none() && night.building.is_none();
    (is_free && asked.recipe.parts() > 0).then_some(Action::ChooseExport(what))
}

fn with_night(model: &Model, action: Action) -> Option<Action> {
    model.night.is_some().then_some(action)
}

macro_rules! command {
    ($id:literal, $label:literal, $tip:literal, $group:ident, [$($key:expr),*], $action:expr) => {
        Command {
            id: $id,
            label: $label,
            tip: $tip,
            group: Group::$group,
            keys: &[$($key),*],
            action: $action,
        }
    };
}

/// All commands.
pub const COMMANDS: &[Command] = &[
    command!(
        "previous",
        "Previous",
        "The frame before",
        Frames,
        [Chord::plain(Key::Left)],
        |m| stepping(m, ResultAction::Step(-1), Action::Step(-1))
    ),
    command!(
        "next",
        "Next",
        "The frame after",
        Frames,
        [Chord::plain(Key::Right)],
        |m| stepping(m, ResultAction::Step(1), Action::Step(1))
    ),
    command!(
        "shorten",
        "Choose back",
        "Lengthen the choice to the frame before",
        Frames,
        [Chord::shift(Key::Left)],
        |m| with_night(m, Action::Extend(-1))
    ),
    command!(
        "lengthen",
        "Choose on",
        "Lengthen the choice to the frame after",
        Frames,
        [Chord::shift(Key::Right)],
        |m| with_night(m, Action::Extend(1))
    ),
    command!(
        "first",
        "First",
        "The first frame",
        Frames,
        [Chord::plain(Key::Home)],
        |m| stepping(m, ResultAction::StepToEnd(false), Action::First)
    ),
    command!(
        "last",
        "Last",
        "The last frame",
        Frames,
        [Chord::plain(Key::End)],
        |m| stepping(m, ResultAction::StepToEnd(true), Action::Last)
    ),
    command!(
        "next-doubtful",
        "Next doubtful",
        "Next frame that needs you",
        Frames,
        [letter('N')],
        |m| with_night(m, Action::NextDoubtful(true))
    ),
    command!(
        "previous-doubtful",
        "Previous doubtful",
        "Previous frame that needs you",
        Frames,
        [Chord::shift(Key::Char('N'))],
        |m| with_night(m, Action::NextDoubtful(false))
    ),
    command!(
        "escape",
        "Drop the choice",
        "Drop the choice of frames, or close what is on top",
        Frames,
        [Chord::plain(Key::Escape)],
        |_| Some(Action::Escape)
    ),
    command!("keep", "Keep", "Use it", Verdicts, [letter('K')], |m| {
        with_night(m, Action::SetVerdict(Verdict::Keep))
    }),
    command!(
        "doubtful",
        "Doubtful",
        "Use it, but look again",
        Verdicts,
        [letter('D')],
        |m| with_night(m, Action::SetVerdict(Verdict::Doubtful))
    ),
    command!(
        "reject",
        "Reject",
        "Leave it out",
        Verdicts,
        [letter('R')],
        |m| with_night(m, Action::SetVerdict(Verdict::Reject))
    ),
    command!(
        "advised",
        "As advised",
        "Forget your verdict and follow the advice",
        Verdicts,
        [letter('A')],
        |m| with_night(m, Action::FollowAdvice)
    ),
    command!(
        "undo",
        "Undo",
        "Take back the last step",
        Verdicts,
        [letter('Z'), Chord::ctrl(Key::Char('Z'), false)],
        |m| m.undo_name().map(|_| Action::Undo)
    ),
    command!(
        "redo",
        "Redo",
        "Do again what was taken back",
        Verdicts,
        [
            Chord::shift(Key::Char('Z')),
            Chord::ctrl(Key::Char('Z'), true)
        ],
        |m| m.redo_name().map(|_| Action::Redo)
    ),
    command!(
        "purpose",
        "Judge as the next",
        "Judge for the next purpose",
        Verdicts,
        [letter('W')],
        |_| Some(Action::NextPurpose)
    ),
    command!(
        "save-list",
        "Save list…",
        "Save the list of used frames, one name a line",
        Saving,
        [letter('L')],
        |m| with_night(m, Action::ChooseExport(ExportWhat::UsedList))
    ),
    command!(
        "save-table",
        "Save table…",
        "Save the table of measurements as CSV",
        Saving,
        [letter('B')],
        |m| with_night(m, Action::ChooseExport(ExportWhat::Table))
    ),
    command!(
        "save-rejects",
        "Save rejects…",
        "Save the list of rejected frames, one name a line",
        Saving,
        [],
        |m| with_night(m, Action::ChooseExport(ExportWhat::RejectedList))
    ),
    command!(
        "save-report",
        "Save report…",
        "The night as one page to print or send: charts, findings, next time, pictures",
        Saving,
        [],
        |m| idle(m, Action::ChooseExport(ExportWhat::Report))
    ),
    command!(
        "save-chart",
        "Save chart…",
        "The lanes as a picture of lines, SVG",
        Saving,
        [],
        save_chart
    ),
    command!(
        "watch",
        "Watch",
        "Measure new frames as they arrive in the folder",
        Window,
        [letter('Y')],
        |m| with_night(m, Action::ToggleWatch)
    ),
    command!(
        "hand-over",
        "Hand over…",
        "Lists, rating files, a report, and rejected frames moved into a folder",
        Saving,
        [letter('H')],
        |m| with_night(m, Action::ToggleHandOver)
    ),
    command!(
        "save-trails",
        "Save trails picture…",
        "The brightest of the used frames, as a 16-bit PNG",
        Saving,
        [],
        save_picture
    ),
    command!(
        "copy",
        "Copy Next time",
        "Copy Next time as text",
        Saving,
        [letter('C')],
        |m| with_night(m, Action::CopyNextTime)
    ),
    command!(
        "zoom-in",
        "Zoom in",
        "Zoom time in",
        View,
        [letter('+'), letter('=')],
        |m| with_night(m, Action::ZoomBy(0.5))
    ),
    command!(
        "zoom-out",
        "Zoom out",
        "Zoom time out",
        View,
        [letter('-')],
        |m| with_night(m, Action::ZoomBy(2.0))
    ),
    command!(
        "whole-night",
        "Whole night",
        "Show the whole night",
        View,
        [letter('0')],
        |m| with_night(m, Action::WholeNight)
    ),
    command!(
        "frame-fills",
        "Frame fills the page",
        "Frame fills the page, again to return",
        View,
        [letter('F')],
        |m| with_night(m, Action::ToggleFrameFills)
    ),
    command!(
        "fit",
        "Fit or 1:1",
        "All of the frame, or one sample a pixel",
        View,
        [letter('X')],
        |m| with_night(m, Action::TogglePictureZoom)
    ),
    command!(
        "best",
        "Hold: the best frame",
        "While held, the night's best frame stands in place of the chosen one",
        View,
        [letter('G')],
        |m| with_night(m, Action::HoldUpBest(true))
    ),
    command!(
        "marks",
        "Marks on or off",
        "Show or hide all that is drawn on the frame",
        View,
        [letter('S')],
        |m| with_night(m, Action::ToggleMarks)
    ),
    command!(
        "theme",
        "Next light",
        "Read in the next light: day, dark, red",
        Window,
        [letter('T')],
        |_| Some(Action::NextTheme)
    ),
    command!(
        "larger",
        "Larger text",
        "Larger text, up to twice",
        Window,
        [
            Chord::ctrl(Key::Char('+'), false),
            Chord::ctrl(Key::Char('='), false)
        ],
        |_| Some(Action::ScaleText(true))
    ),
    command!(
        "smaller",
        "Smaller text",
        "Smaller text",
        Window,
        [Chord::ctrl(Key::Char('-'), false)],
        |_| Some(Action::ScaleText(false))
    ),
    command!(
        "equal-time",
        "Equal total time",
        "Stack the shorter frames until the open time is the same",
        View,
        [letter('E')],
        |m| comparing(m, Action::ToggleEqualTime)
    ),
    command!(
        "move-crop",
        "Move crop",
        "Compare another part of the frame",
        View,
        [letter('M')],
        |m| comparing(m, Action::MoveCrop)
    ),
    command!(
        "side-by-side",
        "Side by side",
        "Two settings large, with one zoom for both",
        View,
        [letter('P')],
        |m| comparing(m, Action::ToggleSideBySide)
    ),
    command!(
        "night",
        "Night",
        "The night at a glance",
        Window,
        [letter('1')],
        |_| Some(Action::GoTo(Page::Night))
    ),
    command!(
        "compare",
        "Compare",
        "Settings side by side",
        Window,
        [letter('2')],
        |m| with_night(m, Action::GoTo(Page::Compare))
    ),
    command!(
        "result",
        "Result",
        "Trails or film",
        Window,
        [letter('3')],
        |m| with_night(m, Action::GoTo(Page::Result))
    ),
    command!(
        "play",
        "Play",
        "Play the film of the result, or stop it",
        View,
        [Chord::plain(Key::Space)],
        |m| on_result(m, ResultAction::Play)
    ),
    command!(
        "notes",
        "Notes",
        "Notes on the result, or none",
        View,
        [letter('I')],
        |m| on_result(m, ResultAction::ToggleNotes)
    ),
    command!(
        "save-result",
        "Save picture…",
        "The result at full size, as a 16-bit PNG or TIFF, or as JPEG",
        Saving,
        [letter('V')],
        |m| save_result(m, ExportWhat::Result)
    ),
    command!(
        "save-film",
        "Save film…",
        "The film as a new folder of numbered pictures",
        Saving,
        [],
        |m| save_result(m, ExportWhat::Film)
    ),
    command!(
        "frames",
        "Frames",
        "Every frame in a table",
        Window,
        [letter('4')],
        |m| with_night(m, Action::GoTo(Page::Frames))
    ),
    command!(
        "open",
        "Open…",
        "Open a folder of frames",
        Window,
        [letter('O'), Chord::ctrl(Key::Char('O'), false)],
        |_| Some(Action::ChooseFolder)
    ),
    command!("keys", "Keys", "All keys", Window, [letter('?')], |_| Some(
        Action::ToggleKeys
    )),
];
