//! The Result page's state: what is chosen, what was asked for, what is here.

use std::collections::HashMap;
use std::sync::Arc;

use crate::engine::{Effect, FilmFiles, FilmFrameOf, FilmPicture, ResultRequest};
use crate::picture::FilmFrame;
use crate::result::{Blend, Choices, Exposure, Piece, Recipe, Repair, Sides, Thin};
use crate::verdict::{Purpose, Verdict};

use super::action::Action;
use super::film_levels;
use super::model::{Model, Page, PictureZoom};
use super::open_night::OpenNight;
use super::result_sources::Sources;
use super::result_table::ResultTable;
use super::undo::Step;

/// Frame rates of the film, a second.
pub const FILM_RATES: [u32; 3] = [15, 24, 30];
/// The part built at full size for 1:1, px: more than a usual screen shows.
const DETAIL: (usize, usize) = (2040, 1400);
/// How far one press of an arrow moves the divider.
const DIVIDER_STEP: f32 = 0.01;

/// What the large picture is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ResultView {
    /// What all frames make together.
    #[default]
    Trails,
    /// One after the other.
    Film,
}

/// What the arrows move on the Result page, besides the divider.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunEnd {
    /// The first frame of the run.
    First,
    /// The last.
    Last,
}

/// A change on the Result page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ResultAction {
    /// Trails or film.
    View(ResultView),
    /// Only the used frames, or (false) all beside them.
    OnlyUsed(bool),
    /// The divider's place, 0 left to 1 right.
    Divider(f32),
    /// What the arrows move, so many steps on: the end of the run that is held, else the film or the
    /// divider.
    Step(i32),
    /// The same all the way to the start, or (true) the end.
    StepToEnd(bool),
    /// An end of the run is held: arrows move it.
    Hold(Option<RunEnd>),
    /// Notes on the picture, or none.
    ToggleNotes,
    /// How px are put together.
    Blend(Blend),
    /// Which frames are tried.
    Thin(Thin),
    /// Makes a repair, or no longer.
    Toggle(Repair),
    /// The run from one place to another is used.
    Run(usize, usize),
    /// The run as judged.
    RunAsJudged,
    /// Makes the run the verdict of the frames outside and at its ends.
    DecideRun,
    /// A point of the sensor is looked at closely, px.
    LookAt(f64, f64),
    /// Builds on after it was stopped.
    GoOn,
    /// Plays the film, or stops it.
    Play,
    /// Shows a frame of the film.
    FilmTo(usize),
    /// Frames a second.
    Rate(u32),
    /// Takes the flicker out of the film, or not.
    ToggleLevelled,
    /// How the film is saved.
    FilmFiles(FilmFiles),
}

/// A result that is here, as far as it is.
#[derive(Debug, Clone)]
pub struct Shown {
    /// What was asked for.
    pub request: Arc<ResultRequest>,
    /// The pictures.
    pub sides: Arc<Sides>,
    /// Whether that is all.
    pub is_done: bool,
    /// Shots that could not go in, and why.
    pub left_out: Vec<(usize, String)>,
    /// Seconds it took.
    pub took_s: f64,
}

/// What the Result page shows of an open night.
#[derive(Debug)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "independent switches of the page"
)]
pub struct Resulting {
    /// What the large picture is; `None` follows the purpose.
    pub view: Option<ResultView>,
    /// Only the used frames.
    pub only_used: bool,
    /// The divider's place, 0 left to 1 right.
    pub divider: f32,
    /// Whether notes are written on the picture.
    pub notes: bool,
    /// How it is put together.
    pub choices: Choices,
    /// The run chosen, places of its first and last frame; `None`: as judged.
    pub run: Option<(usize, usize)>,
    /// Frames a second.
    pub rate: u32,
    /// Whether flicker is taken out of the film.
    pub levelled: bool,
    /// How the film is saved.
    pub film_files: FilmFiles,
    /// Whether the film plays.
    pub playing: bool,
    /// The film's frame on show.
    pub film_at: usize,
    /// The part looked at closely.
    pub detail: Option<Piece>,
    /// What could go into a result.
    pub sources: Sources,
    /// Those with what is used, as the chosen run says.
    pub chosen: Vec<Exposure>,
    /// What leaving frames out does.
    pub table: ResultTable,
    /// What was asked for last.
    pub asked: Option<Arc<ResultRequest>>,
    /// What is here.
    pub shown: Option<Shown>,
    /// The part at full size, and what it is of.
    pub close: Option<(Arc<ResultRequest>, Arc<Sides>)>,
    /// Whether building was stopped.
    pub stopped: bool,
    /// The film's pictures, by shot.
    pub film: HashMap<usize, Result<Arc<FilmFrame>, String>>,
    /// The end of the run that the arrows move.
    pub held: Option<RunEnd>,
    /// Whether the request is to be made anew.
    is_stale: bool,
    /// Whether `sources` are.
    sources_stale: bool,
}

impl Default for Resulting {
    fn default() -> Self {
        Self {
            view: None,
            only_used: false,
            divider: 0.5,
            notes: true,
            choices: Choices::default(),
            run: None,
            rate: 24,
            levelled: false,
            film_files: FilmFiles::default(),
            playing: false,
            film_at: 0,
            detail: None,
            sources: Sources::default(),
            chosen: Vec::new(),
            table: ResultTable::default(),
            asked: None,
            shown: None,
            close: None,
            stopped: false,
            film: HashMap::new(),
            held: None,
            is_stale: true,
            sources_stale: true,
        }
    }
}

impl Resulting {
    /// Verdicts or measures changed.
    pub(super) fn derived_anew(&mut self, frames: usize) {
        self.is_stale = true;
        self.sources_stale = true;
        self.run = self.run.filter(|&(_, last)| last < frames);
    }

    /// Another zoom asks for another part at full size.
    pub(super) const fn zoomed(&mut self) {
        self.is_stale = true;
    }

    /// What the large picture is.
    #[must_use]
    pub fn view_for(&self, purpose: Purpose) -> ResultView {
        self.view.unwrap_or(if purpose == Purpose::Timelapse {
            ResultView::Film
        } else {
            ResultView::Trails
        })
    }

    /// The frames of the film asked for last.
    #[must_use]
    pub fn film_frames(&self) -> &[FilmFrameOf] {
        self.asked
            .as_ref()
            .map_or(&[], |asked| asked.film.as_slice())
    }

    /// Whether what is here is what is asked for.
    #[must_use]
    pub fn is_current(&self) -> bool {
        let shown = self.shown.as_ref().filter(|shown| shown.is_done);
        let asked = self.asked.as_ref();
        shown
            .zip(asked)
            .is_some_and(|(shown, asked)| shown.request.recipe == asked.recipe)
    }

    pub(super) fn take(&mut self, shown: Shown) {
        self.stopped = false;
        self.shown = Some(shown);
    }

    pub(super) fn take_film(&mut self, picture: FilmPicture) {
        self.film.insert(picture.shot, picture.picture);
    }

    fn apply(&mut self, action: ResultAction) {
        match action {
            ResultAction::View(view) => self.view = Some(view),
            ResultAction::OnlyUsed(only) => self.only_used = only,
            ResultAction::Divider(at) => self.divider = at.clamp(0.0, 1.0),
            ResultAction::Hold(end) => self.held = end,
            ResultAction::ToggleNotes => self.notes = !self.notes,
            ResultAction::Blend(blend) => self.choices.blend = blend,
            ResultAction::Thin(thin) => self.choices.thin = thin,
            ResultAction::Toggle(repair) => self.choices.repairs.toggle(repair),
            ResultAction::Run(first, last) => self.run = Some((first.min(last), first.max(last))),
            ResultAction::RunAsJudged => self.run = None,
            ResultAction::Play => {
                self.playing = !self.playing;
                if self.playing && self.film_at + 1 >= self.film_frames().len() {
                    self.film_at = 0;
                }
            }
            ResultAction::FilmTo(at) => {
                self.film_at = at.min(self.film_frames().len().saturating_sub(1));
            }
            ResultAction::Rate(rate) => self.rate = rate,
            ResultAction::ToggleLevelled => self.levelled = !self.levelled,
            ResultAction::FilmFiles(files) => self.film_files = files,
            ResultAction::GoOn => self.asked = None,
            ResultAction::Step(_)
            | ResultAction::StepToEnd(_)
            | ResultAction::DecideRun
            | ResultAction::LookAt(..) => {}
        }
    }
}

impl Model {
    /// Applies an action of the Result page.
    pub(super) fn result(&mut self, action: ResultAction, effects: &mut Vec<Effect>) {
        let Some(night) = &mut self.night else {
            return;
        };
        match action {
            ResultAction::DecideRun => {
                if let Some(step) = night.run_step() {
                    night.undo.push(step.clone());
                    night.resulting.run = None;
                    self.perform(&step, effects);
                }
                return;
            }
            ResultAction::LookAt(x, y) => {
                let frame = night.resulting.sources.frame;
                let is_there = |piece: Piece| {
                    let (half_x, half_y) = (0.25 * DETAIL.0 as f64, 0.25 * DETAIL.1 as f64);
                    let corners = [(-half_x, -half_y), (half_x, half_y)];
                    corners.iter().all(|(dx, dy)| {
                        let on = |at: f64, side: usize| at.clamp(0.0, side as f64 - 1.0);
                        piece.holds(on(x + dx, frame.0), on(y + dy, frame.1))
                    })
                };
                if !night.resulting.detail.is_some_and(is_there) && frame.0 > 0 {
                    let piece = Piece::about(frame, (x, y), DETAIL.0, DETAIL.1);
                    night.resulting.detail = Some(piece);
                }
            }
            ResultAction::Step(steps) => night.step_result(self.purpose, steps),
            ResultAction::StepToEnd(last) => {
                let steps = if last { i32::MAX } else { i32::MIN };
                night.step_result(self.purpose, steps);
            }
            ResultAction::Run(first, last) => {
                let count = night.frames().len();
                let last = last.min(count.saturating_sub(1));
                night
                    .resulting
                    .apply(ResultAction::Run(first.min(last), last));
            }
            _ => night.resulting.apply(action),
        }
        let changes = matches!(
            action,
            ResultAction::Blend(_)
                | ResultAction::Thin(_)
                | ResultAction::Toggle(_)
                | ResultAction::Run(..)
                | ResultAction::RunAsJudged
                | ResultAction::LookAt(..)
                | ResultAction::GoOn
                | ResultAction::ToggleLevelled
                | ResultAction::FilmFiles(_)
        );
        night.resulting.is_stale |= changes;
    }

    /// Asks for the result the page shows when it is neither here nor on its way.
    pub(super) fn want_result(&mut self, effects: &mut Vec<Effect>) {
        if self.page != Page::Result {
            if let Some(night) = &mut self.night {
                night.resulting.playing = false;
            }
            return;
        }
        let zoom = self.picture_zoom;
        let Some(night) = &mut self.night else {
            return;
        };
        // While frames come in, what is used changes with each.
        if night.progress.is_some() || !night.resulting.is_stale {
            return;
        }
        if night.resulting.sources_stale {
            let thresholds = &self.thresholds;
            night.resulting.sources = Sources::of(night, thresholds.streak_doubt_pct);
            night.resulting.sources_stale = false;
        }
        night.resulting.is_stale = false;
        night.resulting.chosen = night.chosen_exposures();
        let Some(request) = night.result_request(zoom) else {
            return;
        };
        let frames = request.film.len();
        let table = night.result_table(&request.recipe);
        night.resulting.table = table;
        let is_asked = night.resulting.asked.as_deref() == Some(&request);
        night.resulting.film_at = night.resulting.film_at.min(frames.saturating_sub(1));
        if !is_asked {
            let request = Arc::new(request);
            night.resulting.asked = Some(Arc::clone(&request));
            night.resulting.stopped = false;
            effects.push(Effect::BuildResult(request));
        }
    }
}

impl OpenNight {
    /// The request for what is chosen; `None` while there is nothing to build from.
    fn result_request(&self, zoom: PictureZoom) -> Option<ResultRequest> {
        let resulting = &self.resulting;
        let sources = &resulting.sources;
        if sources.exposures.is_empty() {
            return None;
        }
        let exposures = &resulting.chosen;
        let levels = &sources.levels;
        let used: Vec<usize> = (0..exposures.len())
            .filter(|&at| exposures.get(at).is_some_and(|exposure| exposure.is_used))
            .collect();
        let of_used: Vec<Option<f64>> = used
            .iter()
            .map(|&at| levels.get(at).copied().flatten())
            .collect();
        let gains = film_levels::gains(&of_used);
        let film = used.iter().zip(gains).filter_map(|(&at, gain)| {
            Some(FilmFrameOf {
                shot: exposures.get(at)?.shot,
                gain: if resulting.levelled { gain } else { 1.0 },
            })
        });
        Some(ResultRequest {
            set: self.set,
            film: film.collect(),
            recipe: Recipe::new(
                sources.frame,
                exposures,
                resulting.choices,
                sources.motion,
                sources.ground.as_ref(),
            ),
            detail: resulting.detail.filter(|_| zoom == PictureZoom::OneToOne),
            film_files: resulting.film_files,
            usual_level: sources.usual_level,
        })
    }

    /// Moves what the arrows move.
    fn step_result(&mut self, purpose: Purpose, steps: i32) {
        let by = |at: usize, most: usize| at.saturating_add_signed(steps as isize).min(most);
        let last = self.frames().len().saturating_sub(1);
        if let Some((end, run)) = self.resulting.held.zip(self.run()) {
            let run = match end {
                RunEnd::First => (by(run.0, run.1), run.1),
                RunEnd::Last => (run.0, by(run.1, last).max(run.0)),
            };
            self.resulting.run = Some(run);
            self.resulting.is_stale = true;
        } else if self.resulting.view_for(purpose) == ResultView::Film {
            let frames = self.resulting.film_frames().len();
            self.resulting.film_at = by(self.resulting.film_at, frames.saturating_sub(1));
            self.resulting.playing = false;
        } else {
            let at = self.resulting.divider + DIVIDER_STEP * steps as f32;
            self.resulting.divider = at.clamp(0.0, 1.0);
        }
    }

    /// The exposures, used as the chosen run says.
    fn chosen_exposures(&self) -> Vec<Exposure> {
        let run = self.run();
        let judged = self.judged_run();
        let sources = &self.resulting.sources;
        (sources.exposures.iter().zip(&sources.places))
            .map(|(exposure, &place)| Exposure {
                is_used: run.is_some_and(|run| self.is_in_run(place, run, judged)),
                ..exposure.clone()
            })
            .collect()
    }

    /// Whether the frame at `place` is used in `run`: as judged, and at the ends where the run is
    /// longer than judged.
    fn is_in_run(&self, place: usize, run: (usize, usize), judged: Option<(usize, usize)>) -> bool {
        let beyond = judged.is_none_or(|(first, last)| place < first || place > last);
        (run.0..=run.1).contains(&place) && (beyond || self.is_used_at(place))
    }

    /// Whether the frame at `place` is used as judged.
    pub(super) fn is_used_at(&self, place: usize) -> bool {
        self.row_at(place)
            .is_some_and(|(row, frame)| frame.error.is_none() && self.verdict_of(row).is_used())
    }

    /// First and last place that are used as judged.
    #[must_use]
    pub fn judged_run(&self) -> Option<(usize, usize)> {
        self.run_of(|place| self.is_used_at(place))
    }

    /// First and last place of a frame to keep: the cleanest run.
    #[must_use]
    pub fn cleanest_run(&self) -> Option<(usize, usize)> {
        self.run_of(|place| {
            let row = self.frames().get(place).copied();
            self.is_used_at(place) && row.is_some_and(|row| self.verdict_of(row) == Verdict::Keep)
        })
    }

    /// First and last place of a frame that can be read: the longest run.
    #[must_use]
    pub fn longest_run(&self) -> Option<(usize, usize)> {
        self.run_of(|place| {
            self.row_at(place)
                .is_some_and(|(_, row)| row.error.is_none())
        })
    }

    fn run_of(&self, is_in: impl Fn(usize) -> bool) -> Option<(usize, usize)> {
        let count = self.frames().len();
        let first = (0..count).find(|&place| is_in(place))?;
        let last = (0..count).rfind(|&place| is_in(place))?;
        Some((first, last))
    }

    /// The run in force.
    #[must_use]
    pub fn run(&self) -> Option<(usize, usize)> {
        self.resulting.run.or_else(|| self.judged_run())
    }

    /// The verdicts that make the chosen run the judged one.
    fn run_step(&self) -> Option<Step> {
        let run = self.resulting.run?;
        let judged = self.judged_run();
        let changes = (0..self.frames().len()).filter_map(|place| {
            let (row, frame) = self.row_at(place)?;
            let is_used = self.is_in_run(place, run, judged);
            if frame.error.is_some() || is_used == self.verdict_of(row).is_used() {
                return None;
            }
            let verdict = if is_used {
                Verdict::Keep
            } else {
                Verdict::Reject
            };
            self.change_of(row, Some(verdict))
        });
        let decisions: Vec<_> = changes.collect();
        (!decisions.is_empty()).then(|| Step {
            name: format!("use {} to {}", run.0 + 1, run.1 + 1),
            decisions,
            ..Step::default()
        })
    }
}

impl From<ResultAction> for Action {
    fn from(action: ResultAction) -> Self {
        Self::Result(action)
    }
}
