//! Everything that can change the window's state.

use std::path::PathBuf;

use crate::engine::{CameraKey, ExportWhat, HandOver, OpenRequest, Report, Supplied};
use crate::night::OpticsKey;
use crate::sky::Site;
use crate::verdict::{Purpose, Thresholds, Verdict};

use super::model::{Mark, Page, PictureZoom, Theme};
use super::open_night::FindingKey;
use super::resulting::ResultAction;

/// Everything that can change the window's state.
#[derive(Debug, Clone)]
pub enum Action {
    /// The engine said something.
    Report(Box<Report>),
    /// At start: ask for what is kept from before.
    Start,
    /// Open what the command line asked for.
    OpenRequest(Box<OpenRequest>),
    /// Open these folders or files.
    Open(Vec<PathBuf>),
    /// Open what is typed on the first page.
    OpenTyped,
    /// Make (once) and open the sample night.
    OpenSample,
    /// Ask for a folder.
    ChooseFolder,
    /// The place typed on the first page changed.
    TypePath(String),
    /// The file typed for an export changed.
    TypeExport(String),
    /// Forget the recent nights.
    ClearRecents,
    /// Close the night and go back to the first page.
    CloseNight,
    /// Show a page.
    GoTo(Page),
    /// Judge for another purpose.
    SetPurpose(Purpose),
    /// Judge for the next purpose.
    NextPurpose,
    /// Advise with the next tolerance for trails that pass as points.
    NextTolerance,
    /// Read in another light.
    SetTheme(Theme),
    /// Read in the next light.
    NextTheme,
    /// The system is dark (or, false, light): followed until a theme is chosen.
    SystemIsDark(bool),
    /// How bright the red light is, percent.
    SetBrightness(u8),
    /// Larger (or, false, smaller) text.
    ScaleText(bool),
    /// The window is this large, points: width, height.
    KeepWindow(f32, f32),
    /// Show the camera with this index.
    ChooseSet(usize),
    /// Choose the frame at this place.
    Choose(usize),
    /// Choose a frame this many places on (negative: back).
    Step(isize),
    /// Hold up the best frame in place of the chosen one, or (false) let go of it. Whatever else is done
    /// lets go of it too, so that no verdict goes to a frame that is not seen.
    HoldUpBest(bool),
    /// Lengthen the choice by this many frames.
    Extend(isize),
    /// Lengthen the choice up to the frame at this place.
    ExtendTo(usize),
    /// First frame.
    First,
    /// Last frame.
    Last,
    /// The next frame that needs the person (or, false, the one before).
    NextDoubtful(bool),
    /// Choose the frames from one place to another, both in it.
    ChooseRange(usize, usize),
    /// Choose these places.
    ChoosePlaces(Vec<usize>),
    /// Choose the frames of a finding.
    ShowFinding(FindingKey),
    /// Drop the choice of several frames, else close what is open on top.
    Escape,
    /// Give the chosen frame, or every frame of the choice, a verdict.
    SetVerdict(Verdict),
    /// Give the chosen frame or choice back to the advice.
    FollowAdvice,
    /// Judge by these limits.
    SetLimits(Box<Thresholds>),
    /// Take the offer with this index of a finding.
    TakeOffer(FindingKey, usize),
    /// Keep things as they are and close this finding.
    Leave(FindingKey),
    /// Undo what this finding did.
    TakeBack(FindingKey),
    /// Take back the last step.
    Undo,
    /// Do it again.
    Redo,
    /// Show a part of the night: from, to, in seconds.
    ZoomTo(f64, f64),
    /// Zoom time by a factor (below 1: closer) about the chosen frame.
    ZoomBy(f64),
    /// Show the whole night.
    WholeNight,
    /// Tick or untick a mark.
    ToggleMark(Mark),
    /// Hide or show all marks.
    ToggleMarks,
    /// How large the frame is shown.
    SetPictureZoom(PictureZoom),
    /// Fit or 1:1.
    TogglePictureZoom,
    /// Let the frame fill the page, or not.
    ToggleFrameFills,
    /// Keep facts the person typed for a camera.
    Supply(CameraKey, Supplied),
    /// Keep where the person shoots.
    KeepSite(Option<Site>),
    /// Keep what a sky meter makes of a camera and lens: what to add, mag.
    KeepSkyOffset(OpticsKey, Option<f64>),
    /// Stop measuring.
    Cancel,
    /// Carry on, or try failed frames again too.
    Resume(bool),
    /// Ask where, then save.
    ChooseExport(ExportWhat),
    /// Save to the typed file.
    ExportTyped(ExportWhat),
    /// Watch the folder for new frames, or stop that.
    ToggleWatch,
    /// Show or hide what can be handed over.
    ToggleHandOver,
    /// Find out what a hand-over would do.
    PlanHandOver(HandOver),
    /// Do what was shown.
    HandOver(HandOver),
    /// Compare: stack shorter frames until the open time is the same, or not.
    ToggleEqualTime,
    /// Compare: show crops as recorded, or (false) brought to the same brightness.
    ShowAsRecorded(bool),
    /// Compare: let the crops show the next place of the frame.
    MoveCrop,
    /// Compare: two frames side by side, or the columns again.
    ToggleSideBySide,
    /// Compare: show this column large beside the best one.
    ShowBeside(usize),
    /// Compare: show this column on one side (0 left, 1 right).
    SetSide(usize, usize),
    /// Compare: show a frame of the same setting this many on.
    StepSide(usize, isize),
    /// A change on the Result page.
    Result(ResultAction),
    /// Copy the comparison as text.
    CopyComparison,
    /// Copy Next time as text.
    CopyNextTime,
    /// Show or hide the keys.
    ToggleKeys,
    /// Show or hide the list of warnings.
    ToggleWarnings,
    /// Drop the notice with this index.
    DismissNotice(usize),
}
