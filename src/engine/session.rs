//! The night that is open: what is known of its frames, what is still to do, what was decided.

use std::collections::{HashMap, VecDeque};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use super::opening::Found;
use super::pace::Speed;
use super::pool::{Done, Job, Outcome, Run, Task};
use super::{Derived, Existing, ExportWhat, NightId, Progress, Recent, trails};
use crate::advice::{self, AdviceOptions};
use crate::frame::{CameraKey, OpenOptions, Shot, Supplied};
use crate::night::{self, FrameInput, FrameState, NightOptions, PairResult, PairWanted};
use crate::result::{Choices, Exposure, Recipe};
use crate::sky::Site;
use crate::store::{ContentKey, Store};
use crate::verdict::{self, Decisions, Purpose, Thresholds, Verdict};

/// How a night is judged.
#[derive(Debug, Clone)]
pub(super) struct Judging {
    pub(super) purpose: Purpose,
    pub(super) thresholds: Thresholds,
    pub(super) advice: AdviceOptions,
}

#[derive(Debug)]
pub(super) struct Session {
    pub(super) id: NightId,
    pub(super) title: String,
    pub(super) paths: Vec<PathBuf>,
    /// The folder that names are relative to.
    pub(super) root: PathBuf,
    pub(super) options: NightOptions,
    pub(super) judging: Judging,
    pub(super) decisions: Decisions,
    inputs: Vec<FrameInput>,
    /// Frames of the folder that were not asked for.
    beyond: Vec<PathBuf>,
    keys: Vec<Option<ContentKey>>,
    /// The present go, or the last one.
    pub(super) run: Arc<Run>,
    to_read: VecDeque<usize>,
    to_measure: VecDeque<usize>,
    to_pair: VecDeque<PairWanted>,
    /// Pairs of this night that are measured.
    pairs: Vec<PairResult>,
    /// Pairs asked for in the present go; `None` while frames are still measured.
    pairs_asked: Option<usize>,
    /// Jobs of the present run that are with the workers.
    with_workers: usize,
    pub(super) started: Instant,
    pub(super) is_running: bool,
    speed: Speed,
    measured_in_run: usize,
    /// Frames whose measurements were only read back.
    kept: usize,
    /// Whether something changed since the night was last derived.
    pub(super) is_stale: bool,
    pub(super) latest: Option<Derived>,
}

impl Session {
    pub(super) fn new(
        found: Found,
        supplied: &[(CameraKey, Supplied)],
        usual_site: Option<Site>,
        run_number: u64,
    ) -> Self {
        let request = found.request;
        let open_options = OpenOptions {
            linear: request.linear,
            ..OpenOptions::default()
        };
        let shots = found.listing.shots.into_iter().enumerate();
        let inputs: Vec<FrameInput> = shots
            .map(|(shot, listed)| FrameInput {
                shot,
                name: listed.name,
                path: listed.path,
                facts: None,
                state: FrameState::Pending,
            })
            .collect();
        let now = Instant::now();
        let mut session = Self {
            id: request.id,
            title: found.title,
            paths: found.paths,
            root: found.listing.root,
            options: NightOptions {
                supplied: supplied.iter().cloned().collect(),
                supplied_for_all: request.supplied_for_all,
                site: request.site,
                usual_site,
                meter_mag: request.meter_mag,
                ..NightOptions::default()
            },
            judging: Judging {
                purpose: request.purpose,
                thresholds: request.thresholds,
                advice: request.advice,
            },
            decisions: found.decisions,
            inputs,
            beyond: found.beyond,
            keys: found.keys,
            run: Arc::new(Run::new(run_number, open_options, request.fresh)),
            to_read: VecDeque::new(),
            to_measure: VecDeque::new(),
            to_pair: VecDeque::new(),
            pairs: Vec::new(),
            pairs_asked: None,
            with_workers: 0,
            started: now,
            is_running: false,
            speed: Speed::new(now),
            measured_in_run: 0,
            kept: 0,
            is_stale: true,
            latest: None,
        };
        session.queue_pending(now);
        session
    }

    /// Starts another go at what is pending; with `failed_too` also at what could not be read.
    pub(super) fn resume(&mut self, failed_too: bool, run_number: u64) {
        if self.is_running && !failed_too {
            return;
        }
        self.run.cancel();
        self.run = Arc::new(Run::new(run_number, self.run.options, self.run.fresh));
        if failed_too {
            for input in &mut self.inputs {
                if matches!(input.state, FrameState::Failed(_)) {
                    input.state = FrameState::Pending;
                    self.is_stale = true;
                }
            }
        }
        self.queue_pending(Instant::now());
    }

    fn queue_pending(&mut self, now: Instant) {
        let pending = |input: &&FrameInput| matches!(input.state, FrameState::Pending);
        self.to_measure = (self.inputs.iter().filter(pending))
            .map(|input| input.shot)
            .collect();
        self.to_read = (self.inputs.iter().filter(pending))
            .filter(|input| input.facts.is_none())
            .map(|input| input.shot)
            .collect();
        self.to_pair.clear();
        self.pairs_asked = None;
        self.with_workers = 0;
        self.measured_in_run = 0;
        self.started = now;
        self.speed = Speed::new(now);
        self.is_running = true;
    }

    /// Ends the present go: what is queued is forgotten, what is with the workers will be dropped.
    pub(super) fn cancel(&mut self) {
        self.run.cancel();
        self.to_read.clear();
        self.to_measure.clear();
        self.to_pair.clear();
        self.is_running = false;
    }

    /// Hands jobs out with `offer` until there are none left or it gives one back.
    pub(super) fn feed(&mut self, offer: impl Fn(Job) -> Result<(), Job>) {
        for task in [Task::Facts, Task::Measure, Task::Pair] {
            while let Some(job) = self.next_job(task) {
                if offer(job).is_err() {
                    break;
                }
                match task {
                    Task::Facts => drop(self.to_read.pop_front()),
                    Task::Measure => drop(self.to_measure.pop_front()),
                    Task::Pair => drop(self.to_pair.pop_front()),
                }
                self.with_workers += 1;
            }
        }
    }

    /// The first job of a queue.
    fn next_job(&self, task: Task) -> Option<Job> {
        let pair = self.to_pair.front().filter(|_| task == Task::Pair);
        let shot = match task {
            Task::Facts => *self.to_read.front()?,
            Task::Measure => *self.to_measure.front()?,
            Task::Pair => pair?.first,
        };
        let partner = pair.and_then(|pair| Some((*pair, self.path_of(pair.second)?)));
        Some(Job {
            run: Arc::clone(&self.run),
            shot,
            path: self.path_of(shot)?,
            task,
            partner,
        })
    }

    /// Once all frames of the present go are measured: asks for the pairs that tell the camera's
    /// photon transfer and are not measured yet.
    pub(super) fn ask_for_pairs(&mut self) {
        let frames_left = !self.to_read.is_empty() || !self.to_measure.is_empty();
        if !self.is_running || self.pairs_asked.is_some() || frames_left || self.with_workers > 0 {
            return;
        }
        let night = night::assemble(&self.inputs, &self.options);
        let is_new = |pair: &PairWanted| self.pairs.iter().all(|(known, _)| known != pair);
        self.to_pair = night::wanted_pairs(&night)
            .into_iter()
            .filter(is_new)
            .collect();
        self.pairs_asked = Some(self.to_pair.len());
        // A night without pairs to measure learns so now.
        self.is_stale = true;
    }

    /// Takes in what came of a job; results of an earlier go are passed over.
    pub(super) fn take(&mut self, done: Done) {
        if done.run != self.run.number || !self.is_running {
            return;
        }
        self.with_workers = self.with_workers.saturating_sub(1);
        let (Some(input), Some(key)) =
            (self.inputs.get_mut(done.shot), self.keys.get_mut(done.shot))
        else {
            return;
        };
        *key = done.key.or(*key);
        self.kept += usize::from(matches!(done.outcome, Outcome::Kept(..)));
        match done.outcome {
            // Facts read while measuring are the whole story; they are not replaced.
            Outcome::Facts(facts) => input.facts = input.facts.take().or(facts),
            Outcome::Measured(facts, measure) | Outcome::Kept(facts, measure) => {
                input.facts = Some(*facts);
                input.state = FrameState::Measured(measure);
            }
            Outcome::Failed(why) => input.state = FrameState::Failed(why),
            Outcome::Pair(pair, measured) => self.pairs.push((pair, measured)),
            Outcome::Dropped => return,
        }
        self.is_stale = true;
        if done.task == Task::Measure {
            self.measured_in_run += 1;
            self.speed.note(Instant::now(), self.measured_in_run);
        }
    }

    /// Whether the present go has nothing left to do.
    pub(super) fn is_done(&self) -> bool {
        self.is_running
            && self.with_workers == 0
            && self.to_read.is_empty()
            && self.to_measure.is_empty()
            && self.to_pair.is_empty()
            && self.pairs_asked.is_some()
    }

    pub(super) fn progress(&self) -> Progress {
        if let Some(asked) = self.pairs_asked.filter(|&n| n > 0 && self.is_running) {
            return Progress {
                job: "Measuring noise in pairs".to_owned(),
                done: asked - (self.to_pair.len() + self.with_workers).min(asked),
                total: asked,
                kept: self.kept,
                ..Progress::default()
            };
        }
        let total = self.inputs.len();
        let pending = (self.inputs.iter())
            .filter(|input| matches!(input.state, FrameState::Pending))
            .count();
        Progress {
            job: "Measuring".to_owned(),
            done: total - pending,
            total,
            kept: self.kept,
            per_second: self.speed.per_second(),
            left_s: self.speed.left_s(Instant::now(), pending),
        }
    }

    /// Every frame of the folder, asked for or not.
    pub(super) fn all_paths(&self) -> std::vec::IntoIter<PathBuf> {
        let frames = self.inputs.iter().map(|input| input.path.clone());
        let all: Vec<PathBuf> = frames.chain(self.beyond.iter().cloned()).collect();
        all.into_iter()
    }

    /// Takes in frames that were written while the night is open, and measures them.
    pub(super) fn arrive(&mut self, shots: Vec<Shot>, run_number: u64) {
        for listed in shots {
            // Written again, or the raw file of a JPEG that came first.
            let is_it = |path: &PathBuf| *path == listed.path || listed.companions.contains(path);
            let known = self.inputs.iter().position(|input| is_it(&input.path));
            let shot = known.unwrap_or(self.inputs.len());
            let input = FrameInput {
                shot,
                name: listed.name,
                path: listed.path,
                facts: None,
                state: FrameState::Pending,
            };
            if let (Some(there), Some(key)) = (self.inputs.get_mut(shot), self.keys.get_mut(shot)) {
                (*there, *key) = (input, None);
            } else {
                self.inputs.push(input);
                self.keys.push(None);
            }
            if self.is_running {
                self.to_read.push_back(shot);
                self.to_measure.push_back(shot);
            }
        }
        self.is_stale = true;
        self.to_pair.clear();
        self.pairs_asked = None;
        self.resume(false, run_number);
    }

    /// Takes in that files lie elsewhere now.
    pub(super) fn moved(&mut self, moved: &[(PathBuf, PathBuf)]) {
        for input in &mut self.inputs {
            if let Some((_, to)) = moved.iter().find(|(from, _)| *from == input.path) {
                input.path.clone_from(to);
                self.is_stale = true;
            }
        }
    }

    pub(super) fn path_of(&self, shot: usize) -> Option<PathBuf> {
        self.inputs.get(shot).map(|input| input.path.clone())
    }

    /// Whether there is a frame of this night at `path`, asked for or not.
    pub(super) fn has_frame(&self, path: &Path) -> bool {
        let Ok(path) = path.canonicalize() else {
            return false;
        };
        let frames = self.inputs.iter().map(|input| &input.path);
        (frames.chain(&self.beyond)).any(|frame| frame.canonicalize().is_ok_and(|f| f == path))
    }

    /// The file of every shot.
    pub(super) fn shot_paths(&self) -> Arc<HashMap<usize, PathBuf>> {
        let paths = self
            .inputs
            .iter()
            .map(|input| (input.shot, input.path.clone()));
        Arc::new(paths.collect())
    }

    /// A picture or film of a camera, to be saved.
    pub(super) fn saving_job(
        &self,
        derived: &Derived,
        (set, frame): (usize, (usize, usize)),
        (what, work): (ExportWhat, trails::Work),
        (to, existing): (PathBuf, Existing),
    ) -> trails::Job {
        let set = derived.night.sets.get(set);
        trails::Job {
            id: self.id,
            what,
            work,
            paths: self.shot_paths(),
            options: self.run.options,
            frame,
            orientation: set.map_or_else(Default::default, |set| set.orientation),
            to,
            existing,
        }
    }

    /// The used frames of a camera, unrepaired, the brightest kept.
    pub(super) fn trails_recipe(&self, derived: &Derived, set: usize) -> Recipe {
        let night = &derived.night;
        let in_force = derived.judged.in_force(night, &self.decisions);
        let rows = night
            .sets
            .get(set)
            .map_or(&[][..], |set| set.frames.as_slice());
        let used = rows.iter().filter_map(|&at| {
            let row = night.rows.get(at)?;
            let is_used = in_force.get(at)?.is_used() && row.error.is_none();
            is_used.then_some(row)
        });
        let used: Vec<_> = used.collect();
        let size = used.first().map_or((0, 0), |row| {
            (row.facts.width_px as usize, row.facts.height_px as usize)
        });
        let exposures: Vec<Exposure> = (used.iter())
            .map(|row| Exposure {
                shot: row.shot,
                start_s: 0.0,
                end_s: 0.0,
                is_used: true,
                streaks: Vec::new(),
                excess: None,
            })
            .collect();
        Recipe::new(size, &exposures, Choices::default(), None, None)
    }

    /// Puts the night together, judges it and advises.
    pub(super) fn derive(&mut self) -> Derived {
        let mut night = night::assemble(&self.inputs, &self.options);
        if self.pairs_asked.is_some() && self.to_pair.is_empty() && self.with_workers == 0 {
            night::give_transfer(&mut night, &self.pairs);
        }
        let judging = &self.judging;
        let judged = verdict::judge(&night, judging.purpose, &judging.thresholds);
        let comparisons = (0..night.sets.len())
            .map(|set| advice::compare(&night, set, &judged))
            .collect();
        let next_time = (0..night.sets.len())
            .map(|set| advice::next_time(&night, set, &judged, &judging.advice))
            .collect();
        let derived = Derived {
            night: Arc::new(night),
            judged: Arc::new(judged),
            next_time: Arc::new(next_time),
            comparisons: Arc::new(comparisons),
        };
        self.latest = Some(derived.clone());
        self.is_stale = false;
        derived
    }

    /// Makes `decisions` the night's, and gives what changed, to keep it: each file's key with its
    /// verdict. Files that cannot be read have no key; their names are given too.
    pub(super) fn decide(
        &mut self,
        decisions: Decisions,
        store: &Store,
    ) -> (Vec<(ContentKey, Option<Verdict>)>, Vec<String>) {
        let (mut changes, mut without_key) = (Vec::new(), Vec::new());
        for (input, key) in self.inputs.iter().zip(&mut self.keys) {
            let (before, after) = (self.decisions.get(&input.shot), decisions.get(&input.shot));
            if before == after {
                continue;
            }
            *key = key.or_else(|| store.key_of(&input.path));
            match key {
                Some(key) => changes.push((*key, after.copied())),
                None => without_key.push(input.name.clone()),
            }
        }
        self.decisions = decisions;
        (changes, without_key)
    }

    /// How the night is remembered; `None` before it was first derived.
    pub(super) fn recent(&self) -> Option<Recent> {
        let derived = self.latest.as_ref()?;
        let (night, judged) = (&derived.night, &derived.judged);
        let in_force = judged.in_force(night, &self.decisions);
        let frames = &night.sets.first()?.frames;
        let mut used = 0;
        let mut ribbon = String::with_capacity(frames.len());
        for &row in frames {
            let (Some(row), Some(verdict)) = (night.rows.get(row), in_force.get(row)) else {
                continue;
            };
            let is_known = row.measure.is_some()
                || row.error.is_some()
                || self.decisions.contains_key(&row.shot);
            used += usize::from(is_known && verdict.is_used());
            ribbon.push(match verdict {
                _ if !is_known => '.',
                Verdict::Keep => 'k',
                Verdict::Doubtful => 'd',
                Verdict::Reject => 'r',
            });
        }
        let first = frames.iter().find_map(|&row| {
            let taken = night.rows.get(row)?.facts.taken_at?;
            Some(taken.local.date().to_string())
        });
        Some(Recent {
            title: self.title.clone(),
            paths: self.paths.clone(),
            day: first.unwrap_or_default(),
            purpose: self.judging.purpose,
            outcome: format!("{used} of {} used", frames.len()),
            ribbon,
        })
    }
}
