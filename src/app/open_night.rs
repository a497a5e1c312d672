//! The night that is open: what is derived, what the person decided, what is chosen.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use crate::advice::{self, NextTime, Outcome};
use crate::chart;
use crate::engine::{CameraKey, Derived, NightId, Progress, Supplied};
use crate::night::{Night, Row, Set};
use crate::sky::Site;
use crate::verdict::{self, Decisions, Finding, Judged, Purpose, Reason, Tally, Verdict};

use super::comparing::Comparing;
use super::handing_over::Handing;
use super::pictures::{PictureState, Pictures};
use super::resulting::Resulting;
use super::undo::UndoStack;
use super::watching::Watch;

/// Tells a finding from the others while the night is measured on: its reason and first shot.
pub type FindingKey = (Reason, usize);

/// What the person answered to a finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// In words ("rejected", "left as it is").
    pub done: String,
    /// Decisions of its frames before, to give back by Take back.
    pub before: Vec<(usize, Option<Verdict>)>,
}

/// The night that is open.
#[derive(Debug)]
pub struct OpenNight {
    /// Which.
    pub id: NightId,
    /// Its folder's name.
    pub title: String,
    /// Where it lies.
    pub paths: Vec<PathBuf>,
    /// What is derived so far.
    pub derived: Derived,
    /// What the person decided.
    pub decisions: Decisions,
    /// Facts the person supplied.
    pub supplied: BTreeMap<CameraKey, Supplied>,
    /// Where the person usually shoots.
    pub usual_site: Option<Site>,
    /// The camera shown, an index into `Night::sets`.
    pub set: usize,
    /// The chosen frame: a place in the set's `frames`, 0 for frame 1.
    pub chosen: usize,
    /// Whether the best frame is held up in place of the chosen one.
    pub best_held: bool,
    /// The end of `range` that stays when the choice is lengthened.
    pub(super) anchor: usize,
    /// Frames chosen together, in order, places in the set's `frames`; empty for none.
    pub range: Vec<usize>,
    /// The part of the night the lanes show, seconds as in `Row::time_s`; `None` for all of it.
    pub zoom: Option<(f64, f64)>,
    /// How far measuring is; `None` when nothing runs.
    pub progress: Option<Progress>,
    /// How far a picture that is being built is; `None` when none is.
    pub building: Option<Progress>,
    /// How its folder is watched.
    pub watch: Watch,
    /// What the card that hands over shows; `None` while it is closed.
    pub handing: Option<Handing>,
    /// How many of its frames were measured before and only read back.
    pub kept: usize,
    /// Seconds it took and whether it was cancelled, once it ended.
    pub finished: Option<(f64, bool)>,
    /// Answered findings.
    pub answers: BTreeMap<FindingKey, Answer>,
    /// What can be taken back.
    pub undo: UndoStack,
    /// Pictures by shot, the latest last.
    pub pictures: Pictures,
    /// The verdict in force of every row: the person's, else the advised one.
    pub verdicts: Vec<Verdict>,
    /// How many of each verdict among the frames shown.
    pub tally: Tally,
    /// Which frames to leave out, in a sentence.
    pub answer: verdict::Answer,
    /// What the used frames give.
    pub outcome: Outcome,
    /// The Compare page's choices and crops.
    pub comparing: Comparing,
    /// The Result page's choices and pictures.
    pub resulting: Resulting,
    /// When each frame shown began, s, rising; see [`chart::clock::times`].
    pub times: Vec<f64>,
}

impl OpenNight {
    /// A night of which nothing is derived yet.
    #[must_use]
    pub fn new(id: NightId, title: String, paths: Vec<PathBuf>, decisions: Decisions) -> Self {
        Self {
            id,
            title,
            paths,
            derived: Derived {
                night: Arc::default(),
                judged: Arc::default(),
                next_time: Arc::default(),
                comparisons: Arc::default(),
            },
            decisions,
            supplied: BTreeMap::new(),
            usual_site: None,
            set: 0,
            chosen: 0,
            best_held: false,
            anchor: 0,
            range: Vec::new(),
            zoom: None,
            progress: None,
            building: None,
            handing: None,
            watch: Watch::default(),
            kept: 0,
            finished: None,
            answers: BTreeMap::new(),
            undo: UndoStack::default(),
            pictures: Pictures::default(),
            verdicts: Vec::new(),
            tally: Tally::default(),
            answer: verdict::Answer::default(),
            outcome: Outcome::default(),
            comparing: Comparing::default(),
            resulting: Resulting::default(),
            times: Vec::new(),
        }
    }

    /// The table.
    #[must_use]
    pub fn night(&self) -> &Night {
        &self.derived.night
    }

    /// Verdicts and findings.
    #[must_use]
    pub fn judged(&self) -> &Judged {
        &self.derived.judged
    }

    /// The camera shown.
    #[must_use]
    pub fn shown_set(&self) -> Option<&Set> {
        self.night().sets.get(self.set)
    }

    /// Rows of the frames shown: frame n is the row `frames()[n - 1]`.
    #[must_use]
    pub fn frames(&self) -> &[usize] {
        self.shown_set().map_or(&[], |set| set.frames.as_slice())
    }

    /// The row of the frame at `place`, with its index in the night's rows.
    #[must_use]
    pub fn row_at(&self, place: usize) -> Option<(usize, &Row)> {
        let index = *self.frames().get(place)?;
        Some((index, self.night().rows.get(index)?))
    }

    /// The chosen frame's row, with its index in the night's rows.
    #[must_use]
    pub fn chosen_row(&self) -> Option<(usize, &Row)> {
        self.row_at(self.chosen)
    }

    /// The place of the best frame for a single picture; `None` while none is measured.
    #[must_use]
    pub fn best_place(&self) -> Option<usize> {
        let best = verdict::best_row(self.night(), self.shown_set()?, self.judged())?;
        self.place_of(best)
    }

    /// The place of the frame that is looked at: the chosen one, or the best while it is held up.
    #[must_use]
    pub fn looked_at(&self) -> usize {
        let best = self.best_place().filter(|_| self.best_held);
        best.unwrap_or(self.chosen)
    }

    /// The place in `frames` of a row of the night.
    #[must_use]
    pub fn place_of(&self, row: usize) -> Option<usize> {
        self.frames().iter().position(|&index| index == row)
    }

    /// When the chosen frame began, s.
    #[must_use]
    pub fn chosen_time(&self) -> Option<f64> {
        self.times.get(self.chosen).copied()
    }

    /// The clock reading "23:26:40" of a moment; empty when the cameras wrote no time.
    #[must_use]
    pub fn clock(&self, time_s: f64) -> String {
        (self.night().start_clock_s).map_or_else(String::new, |start| {
            chart::clock::to_the_second(start, time_s)
        })
    }

    /// The verdict in force of a row.
    #[must_use]
    pub fn verdict_of(&self, row: usize) -> Verdict {
        self.verdicts.get(row).copied().unwrap_or_default()
    }

    /// Whether a row is neither measured nor known to be unreadable.
    #[must_use]
    pub fn is_pending(&self, row: usize) -> bool {
        (self.night().rows.get(row)).is_some_and(|r| r.measure.is_none() && r.error.is_none())
    }

    /// Whether the person set a row's verdict.
    #[must_use]
    pub fn is_set_by_you(&self, row: usize) -> bool {
        (self.night().rows.get(row)).is_some_and(|r| self.decisions.contains_key(&r.shot))
    }

    /// Next time, for the camera shown.
    #[must_use]
    pub fn next_time(&self) -> Option<&NextTime> {
        self.derived.next_time.get(self.set)
    }

    /// How a finding is told from the others.
    #[must_use]
    pub fn key_of(&self, finding: &Finding) -> FindingKey {
        let shot = (finding.rows.first())
            .and_then(|&row| self.night().rows.get(row))
            .map_or(usize::MAX, |row| row.shot);
        (finding.reason, shot)
    }

    /// What the person answered to a finding.
    #[must_use]
    pub fn answer_to(&self, finding: &Finding) -> Option<&Answer> {
        self.answers.get(&self.key_of(finding))
    }

    /// The picture of a shot, as far as it is.
    #[must_use]
    pub fn picture_of(&self, shot: usize) -> Option<&PictureState> {
        self.pictures.of(shot)
    }

    /// Puts the verdicts in force and the outcome right after decisions or advice changed.
    pub(super) fn settle(&mut self, purpose: Purpose) {
        let night = Arc::clone(&self.derived.night);
        let judged = Arc::clone(&self.derived.judged);
        self.verdicts = judged.in_force(&night, &self.decisions);
        self.set = self.set.min(night.sets.len().saturating_sub(1));
        self.times =
            (self.shown_set()).map_or_else(Vec::new, |set| chart::clock::times(&night, set));
        let last = self.frames().len().saturating_sub(1);
        self.chosen = self.chosen.min(last);
        self.anchor = self.anchor.min(last);
        self.range.retain(|&place| place <= last);
        self.tally = verdict::tally(&night, self.set, &judged, &self.decisions);
        self.answer = verdict::answer(&night, self.set, &judged, &self.decisions);
        let comparisons = Arc::clone(&self.derived.comparisons);
        self.comparing.derived_anew(comparisons.get(self.set));
        self.resulting.derived_anew(last + 1);
        self.outcome = advice::outcome(&night, self.set, &self.verdicts, purpose);
    }
}
