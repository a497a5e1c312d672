//! What the person asks for while a night is open.

use std::path::PathBuf;
use std::sync::Arc;

use super::super::films::Film;
use super::super::session::Session;
use super::super::{
    CropRequest, Derived, Effect, Existing, ExportWhat, NightId, Report, ResultRequest, crops,
    dialogs, pictures::Request, results, saving, trails,
};
use super::{Conductor, Note};
use crate::engine::handing_over::{Job, Work};
use crate::frame::{CameraKey, Supplied};
use crate::night::OpticsKey;
use crate::sky::Site;
use crate::verdict::Decisions;

/// The preference that holds where the user shoots.
const SITE: &str = "site";

impl Conductor {
    pub(super) fn supply(&mut self, camera: CameraKey, supplied: Supplied) {
        let done = self.store.keep_supplied(&camera, &supplied);
        self.tell_fault("Supplied facts could not be kept", done);
        if let Some(session) = &mut self.session {
            session.options.supplied.insert(camera, supplied);
            self.is_asked = true;
        }
    }

    pub(super) fn keep_site(&mut self, site: Option<Site>) {
        let words = site.map_or_else(String::new, |site| site.to_string());
        let done = self.store.keep_preference(SITE, &words);
        self.tell_fault("Your place could not be kept", done);
        if let Some(session) = &mut self.session {
            session.options.usual_site = site;
            self.is_asked = true;
        }
    }

    pub(super) fn keep_sky_offset(&mut self, optics: OpticsKey, mag: Option<f64>) {
        let done = self.store.keep_sky_offset(&optics, mag);
        self.tell_fault("The sky calibration could not be kept", done);
        if let Some(session) = &mut self.session {
            let offsets = &mut session.options.sky_offsets;
            offsets.remove(&optics);
            offsets.extend(mag.map(|mag| (optics, mag)));
            // What is typed now comes after what the command line said.
            session.options.meter_mag = None;
            self.is_asked = true;
        }
    }

    /// Keeps what a meter's reading for this night makes of its cameras and lenses.
    pub(super) fn keep_readings(&self) {
        let Some(session) = self
            .session
            .as_ref()
            .filter(|s| s.options.meter_mag.is_some())
        else {
            return;
        };
        let derived = session.latest.as_ref();
        for group in derived.iter().flat_map(|derived| &derived.night.groups) {
            if let Some(mag) = group.sky_offset_mag {
                let done = self
                    .store
                    .keep_sky_offset(&group.settings.optics(), Some(mag));
                self.tell_fault("The sky calibration could not be kept", done);
            }
        }
    }

    /// Where the user shoots, kept from before.
    pub(super) fn usual_site(&self) -> Option<Site> {
        let kept = self.store.preferences();
        let kept = self.tell_fault("Your place could not be read back", kept);
        let (_, words) = kept.into_iter().find(|(name, _)| name == SITE)?;
        words.parse().ok()
    }

    pub(super) fn decide(&mut self, decisions: Decisions) {
        let Some(session) = &mut self.session else {
            return;
        };
        let (changes, without_key) = session.decide(decisions, &self.store);
        let done = self.store.keep_decisions(&changes);
        self.tell_fault("Decisions could not be kept", done);
        if let Some(name) = without_key.first() {
            self.outbox.trouble(format!(
                "The decision on {name} holds until you close the night, but could not be kept: \
                 the file cannot be read."
            ));
        }
        self.remember();
    }

    pub(super) fn load_picture(&self, shot: usize) {
        let Some(session) = &self.session else {
            return;
        };
        match session.path_of(shot) {
            Some(path) => self.pictures.ask(Request {
                id: session.id,
                shot,
                path,
                options: session.run.options,
            }),
            None => self.outbox.push(Report::Picture {
                id: session.id,
                shot,
                picture: Err("there is no such frame".to_owned()),
            }),
        }
    }

    /// Asks for crops; one that names a frame there is not is passed over.
    pub(super) fn load_crops(&self, wishes: Vec<CropRequest>) {
        let Some(session) = &self.session else {
            return;
        };
        let with_paths = wishes.into_iter().filter_map(|wish| {
            let paths = (wish.parts.iter()).map(|part| session.path_of(part.shot));
            Some((wish.clone(), paths.collect::<Option<Vec<_>>>()?))
        });
        self.crops.ask(crops::Job {
            id: session.id,
            options: session.run.options,
            wishes: with_paths.collect(),
        });
    }

    pub(super) fn choose_and_export(&self, what: ExportWhat) {
        let Some(session) = &self.session else {
            return;
        };
        let own = self.own.clone();
        let folder = saving::folder(&session.root, what);
        dialogs::choose_file(
            folder,
            &saving::file_name(&session.title, what),
            move |to| {
                // The dialog has asked before it names a file that is there.
                let existing = Existing::Replace;
                let effect = Effect::Export { what, to, existing };
                if own.send(Note::Effect(effect)).is_err() {
                    tracing::debug!("a file was chosen after the engine was closed");
                }
            },
        );
    }

    pub(super) fn export(&mut self, what: ExportWhat, to: PathBuf, existing: Existing) {
        if self.session.as_ref().is_some_and(|s| s.is_stale) {
            self.derive();
        }
        self.answer();
        let Some(session) = &self.session else {
            return;
        };
        let Some(derived) = &session.latest else {
            return;
        };
        if session.has_frame(&to) {
            return self.outbox.trouble(format!(
                "{} is a frame of this night and is left as it is. Name another file.",
                to.display()
            ));
        }
        if matches!(
            what,
            ExportWhat::TrailsPicture { .. } | ExportWhat::Result | ExportWhat::Film
        ) {
            let started = if session.is_running {
                Err("Measuring still runs: save this when it is done.".to_owned())
            } else {
                self.job_of(session, derived, what, (to, existing))
                    .and_then(|job| self.trails.start(job))
            };
            return started.unwrap_or_else(|why| self.outbox.trouble(why));
        }
        if what == ExportWhat::Report {
            return self.hand_over(Work::Report { to, existing });
        }
        let night = (derived, session.title.as_str());
        let saved = saving::save(what, &to, existing, night, &session.decisions);
        self.outbox.push(match saved {
            Ok(()) => Report::Saved { what, to },
            Err(fault) => saving::not_saved(&to, &fault),
        });
    }

    /// What is to be built and saved.
    fn job_of(
        &self,
        session: &Session,
        derived: &Derived,
        what: ExportWhat,
        to: (PathBuf, Existing),
    ) -> Result<trails::Job, String> {
        let asked = || {
            let asked = self.result.as_deref();
            asked.ok_or("Look at the result first (3); what is shown there is saved.")
        };
        let (at, work) = match what {
            ExportWhat::Result => {
                let request = asked()?;
                let recipe = Box::new(request.recipe.clone());
                let at = (request.set, recipe.frame);
                (at, trails::Work::Picture(recipe))
            }
            ExportWhat::Film => {
                let request = asked()?;
                let film = Film {
                    frames: request.film.clone(),
                    files: request.film_files,
                    orientation: (derived.night.sets.get(request.set))
                        .map_or_else(Default::default, |set| set.orientation),
                };
                (
                    (request.set, request.recipe.frame),
                    trails::Work::Film(film),
                )
            }
            ExportWhat::TrailsPicture { set } => {
                let recipe = Box::new(session.trails_recipe(derived, set));
                ((set, recipe.frame), trails::Work::Picture(recipe))
            }
            _ => return Err("This is no picture.".to_owned()),
        };
        Ok(session.saving_job(derived, at, (what, work), to))
    }

    /// Builds a result for the screen.
    pub(super) fn build_result(&mut self, request: Arc<ResultRequest>) {
        let Some(session) = &self.session else {
            return;
        };
        self.result = Some(Arc::clone(&request));
        self.results.ask(results::Order {
            id: session.id,
            request,
            paths: session.shot_paths(),
            options: session.run.options,
        });
    }

    /// Plans, does or takes back what the verdicts lead to on the disk.
    pub(super) fn hand_over(&mut self, work: Work) {
        self.answer();
        let Some(session) = &self.session else {
            return;
        };
        let Some(derived) = session.latest.clone() else {
            return;
        };
        if session.is_running {
            let text = "Measuring still runs: hand over when it is done, or cancel it.";
            return self.outbox.trouble(text);
        }
        let (id, own) = (session.id, self.own.clone());
        let job = Job {
            id,
            title: session.title.clone(),
            root: session.root.clone(),
            derived,
            decisions: session.decisions.clone(),
            options: session.run.options,
            work,
        };
        let moved = move |moved: Vec<(PathBuf, PathBuf)>| {
            if !moved.is_empty() && own.send(Note::Moved(id, moved)).is_err() {
                tracing::debug!("files were moved after the engine was closed");
            }
        };
        if let Err(why) = self.handing.start(job, Box::new(moved)) {
            self.outbox.trouble(why);
        }
    }

    /// Frames lie elsewhere now.
    pub(super) fn moved(&mut self, id: NightId, moved: &[(PathBuf, PathBuf)]) {
        if let Some(session) = self.session.as_mut().filter(|session| session.id == id) {
            session.moved(moved);
            self.is_asked = true;
        }
    }

    pub(super) fn list_recents(&mut self) {
        self.answer();
        let recents = self.store.recents();
        let recents = self.tell_fault("Recent nights could not be read back", recents);
        self.outbox.push(Report::Recents(recents));
    }
}
