//! What can be asked of the engine, and what it says.

use std::path::PathBuf;
use std::sync::Arc;

use crate::advice::{AdviceOptions, Comparison, NextTime};
pub use crate::base::atomic::Existing;
pub use crate::export::handover::Preview;
use crate::frame::{CameraKey, Colour, Supplied};
use crate::night::{Night, OpticsKey};
use crate::picture::FilmFrame;
use crate::result::{Piece, Recipe, Sides};
use crate::sky::Site;
pub use crate::store::Recent;
use crate::verdict::{Decisions, Judged, Purpose, Thresholds};

/// Tells one opened night from the next, so that late reports of a closed one are dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct NightId(pub u64);

/// What to open and how.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OpenRequest {
    /// The id its reports will carry.
    pub id: NightId,
    /// Folders or files. Empty with `sample`: the sample night.
    pub paths: Vec<PathBuf>,
    /// Make (once) and open the sample night.
    pub sample: bool,
    /// Ignore kept measurements.
    pub fresh: bool,
    /// Only the first so many frames.
    pub first: Option<usize>,
    /// The user's word on whether TIFF and PNG are linear.
    pub linear: Option<bool>,
    /// Facts the user supplied for every camera (command line).
    pub supplied_for_all: Supplied,
    /// What a sky meter read during this night, mag per square arcsecond; kept as a calibration once
    /// the night is measured.
    pub meter_mag: Option<f64>,
    /// Where the night was shot, said for it alone (command line).
    pub site: Option<Site>,
    /// Judge for this.
    pub purpose: Purpose,
    /// With these thresholds.
    pub thresholds: Thresholds,
    /// And advise so.
    pub advice: AdviceOptions,
}

/// Slow work that the window's state asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Open, list, read facts, measure; ends what was open before.
    Open(Box<OpenRequest>),
    /// Stop opening, measuring and building; what is measured stays.
    Cancel,
    /// Carry on measuring what is pending, or try failed frames again.
    Resume {
        /// Also try again the frames that could not be read.
        failed_too: bool,
    },
    /// Derive, judge and advise again.
    Derive {
        /// For this purpose.
        purpose: Purpose,
        /// With these thresholds.
        thresholds: Box<Thresholds>,
        /// And these preferences.
        advice: AdviceOptions,
    },
    /// Keep facts the user typed for a camera, and derive again.
    Supply {
        /// The camera.
        camera: CameraKey,
        /// The facts.
        supplied: Supplied,
    },
    /// Keep where the user shoots (`None`: forget it), for this and all other nights, and derive again.
    KeepSite(Option<Site>),
    /// Keep what to add to sky brightness for a camera and lens, mag (`None`: forget it), and derive
    /// again.
    KeepSkyOffset {
        /// The camera and lens.
        optics: OpticsKey,
        /// What to add.
        mag: Option<f64>,
    },
    /// Keep the person's decisions (all of them) for the open night.
    KeepDecisions(Decisions),
    /// Decode a frame for the screen.
    LoadPicture {
        /// Which shot.
        shot: usize,
    },
    /// Cut small pieces out of frames, in place of what was asked for before and is not cut yet.
    LoadCrops(Vec<CropRequest>),
    /// Build a result for the screen, in place of what was asked for before; it is then also what
    /// [`ExportWhat::Result`] and [`ExportWhat::Film`] save.
    BuildResult(Arc<ResultRequest>),
    /// Ask the person for a folder to open, on a thread of its own.
    ChooseFolder,
    /// Ask where to save, on a thread of its own, then save.
    ChooseAndExport(ExportWhat),
    /// Save there, atomically; never in place of a frame of the night.
    Export {
        /// What.
        what: ExportWhat,
        /// The file.
        to: PathBuf,
        /// What to do when it is there: replaced only if the person was asked about that.
        existing: Existing,
    },
    /// Say what a hand-over would do.
    PlanHandOver(HandOver),
    /// Do it.
    HandOver(HandOver),
    /// Take back what was handed over last of this kind.
    TakeBack(HandOver),
    /// Watch the open night's folder for new frames, or stop that.
    Watch(bool),
    /// Read the recent nights.
    ListRecents,
    /// Forget the recent nights (measurements and decisions stay).
    ClearRecents,
    /// Remember a preference of the window.
    KeepPreference {
        /// Its name.
        name: &'static str,
        /// Its value.
        value: String,
    },
}

/// How the open night's folder is watched.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Watching {
    /// It is not.
    #[default]
    Off,
    /// New frames are measured as they arrive.
    On,
    /// It cannot be read just now, and why; it is watched for.
    Gone(String),
}

/// What the verdicts lead to on the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandOver {
    /// A rating file beside each rejected frame.
    Ratings,
    /// Rejected frames moved into a subfolder.
    SetAside,
    /// Used frames under numbered names in a folder beside the night's.
    Links,
}

/// What can be saved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExportWhat {
    /// Names of the used frames, one a line.
    UsedList,
    /// Names of the rejected frames, one a line.
    RejectedList,
    /// The measurement table as CSV.
    Table,
    /// The night as one page of HTML.
    Report,
    /// The chart of a camera as SVG.
    Chart {
        /// The camera, an index into `Night::sets`.
        set: usize,
    },
    /// The brightest of the used frames of a camera, px by px in linear light, as a 16-bit PNG or
    /// TIFF by the file's ending: star trails.
    TrailsPicture {
        /// The camera, an index into `Night::sets`.
        set: usize,
    },
    /// The result as it was built last for the screen, at full size, as a 16-bit PNG or TIFF or an
    /// 8-bit JPEG by the file's ending.
    Result,
    /// The film of that result: a new folder of numbered pictures.
    Film,
}

/// A result to build for the screen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ResultRequest {
    /// The camera, an index into `Night::sets`.
    pub set: usize,
    /// What goes into it.
    pub recipe: Recipe,
    /// The part to build at full size as well.
    pub detail: Option<Piece>,
    /// The frames of the film, in order.
    pub film: Vec<FilmFrameOf>,
    /// How the film is saved.
    pub film_files: FilmFiles,
    /// The usual level of the sky, green, fraction of full scale; 0 when not known.
    pub usual_level: f64,
}

/// A frame of a film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilmFrameOf {
    /// Which shot.
    pub shot: usize,
    /// What its light is multiplied with, so that the film does not flicker; 1 as it is.
    pub gain: f32,
}

/// How a film's frames are saved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FilmFiles {
    /// At full size; else 1920 px wide.
    pub full_size: bool,
    /// As PNG; else as JPEG.
    pub png: bool,
}

/// A frame of a film for the screen, or why it could not be read.
#[derive(Debug, Clone)]
pub struct FilmPicture {
    /// Which night.
    pub id: NightId,
    /// Which shot.
    pub shot: usize,
    /// The picture.
    pub picture: Result<Arc<FilmFrame>, String>,
}

/// A frame decoded for the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Which shot.
    pub shot: usize,
    /// Full-resolution colours, sensor orientation.
    pub colour: Arc<Colour>,
    /// Reduced by area to at most 2048 px on the long side, for Fit.
    pub overview: Arc<Colour>,
    /// How many full-resolution px one overview px spans.
    pub overview_scale: f64,
}

/// A square piece of a frame, or of several stacked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CropRequest {
    /// The frames whose mean it is: more than one for a stack.
    pub parts: Vec<CropPart>,
    /// Its sides, px; at most 1024.
    pub side: usize,
}

/// Where one frame's part of a crop lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CropPart {
    /// Which shot.
    pub shot: usize,
    /// First column of the sensor; what lies off the frame is black.
    pub left: i64,
    /// First row.
    pub top: i64,
}

/// How far a job is.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Progress {
    /// What is being done ("Measuring").
    pub job: String,
    /// Done so far.
    pub done: usize,
    /// Of so many.
    pub total: usize,
    /// How many of those done were measured before, and only read back.
    pub kept: usize,
    /// Frames a second, once it can be told.
    pub per_second: Option<f64>,
    /// Seconds left, after three seconds.
    pub left_s: Option<f64>,
}

/// Everything derived from what is measured so far.
#[derive(Debug, Clone)]
pub struct Derived {
    /// The table.
    pub night: Arc<Night>,
    /// Verdicts and findings.
    pub judged: Arc<Judged>,
    /// Next time, for each set.
    pub next_time: Arc<Vec<NextTime>>,
    /// Settings side by side, for each set.
    pub comparisons: Arc<Vec<Comparison>>,
}

/// What the engine says.
#[derive(Debug, Clone)]
pub enum Report {
    /// A night is open: title and folder; decisions kept from before follow it.
    Opened {
        /// Which.
        id: NightId,
        /// Its folder's name.
        title: String,
        /// Where.
        paths: Vec<PathBuf>,
        /// Decisions kept from an earlier session.
        decisions: Decisions,
        /// Facts the user supplied before, by camera.
        supplied: Vec<(CameraKey, Supplied)>,
        /// Where the user usually shoots, kept from before.
        usual_site: Option<Site>,
    },
    /// The night so far. At most every 200 ms while measuring, and at the end.
    Derived {
        /// Which.
        id: NightId,
        /// All of it.
        derived: Derived,
    },
    /// How far.
    Progress {
        /// Which.
        id: NightId,
        /// How far.
        progress: Progress,
    },
    /// How far the picture that is being built is; `None`: that ended, and what came of it was told.
    Building {
        /// Which.
        id: NightId,
        /// How far.
        progress: Option<Progress>,
    },
    /// Measuring ended, by itself or cancelled.
    Finished {
        /// Which.
        id: NightId,
        /// Seconds it took.
        took_s: f64,
        /// Whether it was cancelled.
        cancelled: bool,
    },
    /// A picture is ready, or why not.
    Picture {
        /// Which night.
        id: NightId,
        /// Which shot.
        shot: usize,
        /// The picture.
        picture: Result<Arc<Picture>, String>,
    },
    /// A crop is ready, or why not.
    Crop {
        /// Which night.
        id: NightId,
        /// What was asked for.
        request: CropRequest,
        /// Its colours, sensor orientation.
        crop: Result<Arc<Colour>, String>,
    },
    /// A result as far as it is.
    Result {
        /// Which night.
        id: NightId,
        /// What was asked for.
        request: Arc<ResultRequest>,
        /// Both pictures.
        sides: Arc<Sides>,
        /// Whether that is all of it.
        is_done: bool,
        /// Shots that could not go in, and why.
        left_out: Vec<(usize, String)>,
        /// Seconds it took so far.
        took_s: f64,
    },
    /// The part of a result at full size.
    ResultDetail {
        /// Which night.
        id: NightId,
        /// What was asked for.
        request: Arc<ResultRequest>,
        /// Both pictures.
        sides: Arc<Sides>,
    },
    /// Building a result was stopped; what was told of it stays.
    ResultStopped {
        /// Which night.
        id: NightId,
    },
    /// A frame of a film.
    Film(FilmPicture),
    /// The person chose these; the window decides what to do.
    Chosen(Vec<PathBuf>),
    /// Something was saved.
    Saved {
        /// What.
        what: ExportWhat,
        /// Where.
        to: PathBuf,
    },
    /// How the folder is watched from now on.
    Watching {
        /// Which night.
        id: NightId,
        /// How.
        watching: Watching,
    },
    /// What a hand-over would do.
    Planned {
        /// Which night.
        id: NightId,
        /// What.
        what: HandOver,
        /// In words.
        preview: Preview,
    },
    /// A hand-over was done, or taken back.
    HandedOver {
        /// Which night.
        id: NightId,
        /// What.
        what: HandOver,
        /// Whether it was taken back.
        is_back: bool,
        /// Whether anything was done, so that it can be taken back.
        is_done: bool,
        /// What was done, in a sentence.
        sentence: String,
        /// What could not be done, a sentence each.
        troubles: Vec<String>,
        /// What else to know.
        notes: Vec<String>,
    },
    /// Recent nights, newest first.
    Recents(Vec<Recent>),
    /// Preferences kept from before, at start.
    Preferences(Vec<(String, String)>),
    /// Something went wrong: what, and what to do, in a sentence.
    Trouble {
        /// The sentence.
        text: String,
        /// Whether it ends the opening of a night (the window shows it in place of the night).
        fatal_to_open: bool,
    },
}
