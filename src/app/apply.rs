//! One place where the state changes: an action in, effects out.

use std::path::PathBuf;

use crate::engine::{CameraKey, Effect, Existing, OpenRequest, Supplied};
use crate::sky::Site;
use crate::verdict::Purpose;

use super::action::Action;
use super::model::{Model, Notice, Opening, Page, PictureZoom};
use super::open_night::OpenNight;

impl Model {
    /// Applies `action`; what has to be run for it comes back.
    pub fn apply(&mut self, action: Action) -> Vec<Effect> {
        let mut effects = Vec::new();
        self.change(action, &mut effects);
        self.want_crops(&mut effects);
        self.want_result(&mut effects);
        self.want_picture(&mut effects);
        effects
    }

    fn supply(&mut self, camera: CameraKey, supplied: Supplied, effects: &mut Vec<Effect>) {
        if let Some(night) = &mut self.night {
            night.supplied.insert(camera.clone(), supplied);
            effects.push(Effect::Supply { camera, supplied });
        }
    }

    fn keep_site(&mut self, site: Option<Site>, effects: &mut Vec<Effect>) {
        if let Some(night) = &mut self.night {
            night.usual_site = site;
        }
        effects.push(Effect::KeepSite(site));
    }

    fn change(&mut self, action: Action, effects: &mut Vec<Effect>) {
        if let Some(night) = &mut self.night
            && !matches!(action, Action::Report(_))
        {
            night.best_held = matches!(action, Action::HoldUpBest(true));
        }
        match action {
            // Done above: everything else a person does lets go of it.
            Action::HoldUpBest(_) => {}
            Action::Report(report) => self.hear(*report, effects),
            Action::Start => effects.push(Effect::ListRecents),
            Action::OpenRequest(request) => self.open(*request, effects),
            Action::Open(paths) => self.open_paths(paths, effects),
            Action::OpenTyped => self.open_typed(effects),
            Action::OpenSample => {
                let request = OpenRequest {
                    sample: true,
                    ..OpenRequest::default()
                };
                self.open(request, effects);
            }
            Action::ChooseFolder => effects.push(Effect::ChooseFolder),
            Action::TypePath(text) => self.typed_path = text,
            Action::TypeExport(text) => self.typed_export = text,
            Action::ClearRecents => effects.push(Effect::ClearRecents),
            Action::CloseNight => self.close_night(effects),
            Action::GoTo(page) => self.go_to(page),
            Action::SetPurpose(purpose) => self.set_purpose(purpose, effects),
            Action::NextPurpose => self.set_purpose(next_purpose(self.purpose), effects),
            Action::NextTolerance => {
                self.advice = self.advice.with_next_k();
                self.keep_tolerance(effects);
                self.derive_again(effects);
            }
            Action::SetTheme(theme) => self.set_theme(theme, effects),
            Action::NextTheme => self.set_theme(self.comfort.theme.next(), effects),
            Action::SystemIsDark(is_dark) => self.follow_system(is_dark),
            Action::SetBrightness(pct) => self.set_brightness(pct, effects),
            Action::ScaleText(larger) => self.scale_text(larger, effects),
            Action::KeepWindow(width, height) => self.keep_window((width, height), effects),
            Action::SetLimits(limits) => self.set_limits(*limits, effects),
            Action::SetVerdict(_)
            | Action::FollowAdvice
            | Action::TakeOffer(..)
            | Action::Leave(_)
            | Action::TakeBack(_)
            | Action::Undo
            | Action::Redo => self.decide(&action, effects),
            Action::ToggleMark(mark) => self.marks.toggle(mark),
            Action::ToggleMarks => self.marks.hidden = !self.marks.hidden,
            Action::SetPictureZoom(zoom) => self.zoom_picture(zoom),
            Action::TogglePictureZoom => self.zoom_picture(match self.picture_zoom {
                PictureZoom::Fit => PictureZoom::OneToOne,
                PictureZoom::OneToOne => PictureZoom::Fit,
            }),
            Action::ToggleFrameFills => {
                self.frame_fills = !self.frame_fills && self.night.is_some();
            }
            Action::Supply(camera, supplied) => self.supply(camera, supplied, effects),
            Action::KeepSite(site) => self.keep_site(site, effects),
            Action::KeepSkyOffset(optics, mag) => {
                effects.push(Effect::KeepSkyOffset { optics, mag });
            }
            Action::Cancel => self.cancel(effects),
            Action::Resume(failed_too) => {
                if let Some(night) = &mut self.night {
                    night.finished = None;
                    effects.push(Effect::Resume { failed_too });
                }
            }
            Action::ChooseExport(what) => effects.push(Effect::ChooseAndExport(what)),
            Action::ExportTyped(what) => {
                let to = PathBuf::from(self.typed_export.trim());
                if to.as_os_str().is_empty() {
                    self.tell("Type where to save first.", true);
                } else {
                    // Nobody was asked whether a file of that name may go.
                    let existing = Existing::Keep;
                    effects.push(Effect::Export { what, to, existing });
                }
            }
            Action::ToggleHandOver | Action::PlanHandOver(_) | Action::HandOver(_) => {
                self.hand_over(&action, effects);
            }
            Action::ToggleWatch => self.toggle_watch(effects),
            Action::CopyNextTime => {
                self.to_copy = (self.night.as_ref()).and_then(OpenNight::next_time_text);
            }
            Action::ToggleKeys => self.keys_shown = !self.keys_shown,
            Action::ToggleWarnings => self.warnings_shown = !self.warnings_shown,
            Action::DismissNotice(index) => {
                if index < self.notices.len() {
                    self.notices.remove(index);
                }
            }
            Action::Result(action) => self.result(action, effects),
            choosing => self.choose(choosing, effects),
        }
    }

    fn zoom_picture(&mut self, zoom: PictureZoom) {
        self.picture_zoom = zoom;
        if let Some(night) = &mut self.night {
            night.resulting.zoomed();
        }
    }

    fn open_paths(&mut self, paths: Vec<PathBuf>, effects: &mut Vec<Effect>) {
        if paths.is_empty() {
            return;
        }
        let request = OpenRequest {
            paths,
            ..OpenRequest::default()
        };
        self.open(request, effects);
    }

    fn open_typed(&mut self, effects: &mut Vec<Effect>) {
        let typed = self.typed_path.trim();
        // A path copied from a file manager may come as a file URL or in quotes.
        let typed = typed.strip_prefix("file://").unwrap_or(typed);
        let typed = typed.trim_matches(['"', '\'']);
        if typed.is_empty() {
            self.open_error = Some("Type or paste where the frames are first.".to_owned());
        } else {
            self.open_paths(vec![PathBuf::from(typed)], effects);
        }
    }

    fn open(&mut self, base: OpenRequest, effects: &mut Vec<Effect>) {
        if base.purpose != Purpose::default() {
            self.purpose = base.purpose;
        }
        let request = self.request(base);
        let what = if request.sample && request.paths.is_empty() {
            "the sample night".to_owned()
        } else {
            let names: Vec<_> = (request.paths.iter())
                .map(|path| path.display().to_string())
                .collect();
            match names.as_slice() {
                [one] => one.clone(),
                several => format!("{} files", several.len()),
            }
        };
        self.night = None;
        self.frame_fills = false;
        self.open_error = None;
        self.page = Page::Night;
        self.keys_shown = false;
        self.opening = Some(Opening {
            id: request.id,
            what,
            progress: None,
        });
        effects.push(Effect::Open(Box::new(request)));
    }

    /// Stops whatever runs; an opening is then no longer awaited.
    fn cancel(&mut self, effects: &mut Vec<Effect>) {
        self.opening = None;
        effects.push(Effect::Cancel);
    }

    fn close_night(&mut self, effects: &mut Vec<Effect>) {
        self.night = None;
        self.opening = None;
        self.page = Page::Night;
        effects.push(Effect::Cancel);
        effects.push(Effect::ListRecents);
    }

    fn go_to(&mut self, page: Page) {
        self.keys_shown = false;
        self.frame_fills = false;
        if page == Page::Night || self.night.is_some() {
            self.page = page;
        }
    }

    /// Something to tell the person.
    pub(super) fn tell(&mut self, text: impl Into<String>, is_error: bool) {
        // More would not be read.
        const MOST: usize = 20;
        let notice = Notice {
            text: text.into(),
            is_error,
        };
        self.notices.retain(|told| *told != notice);
        if self.notices.len() >= MOST {
            self.notices.remove(0);
        }
        self.notices.push(notice);
    }

    /// Asks for the chosen frame's picture, or the one likely wanted next, when it is neither here
    /// nor on its way.
    fn want_picture(&mut self, effects: &mut Vec<Effect>) {
        let page = self.page;
        let Some(night) = &mut self.night else {
            return;
        };
        let shot_at = |place| night.row_at(place).map(|(_, row)| row.shot);
        if let Some([left, right]) = night.pair_looked_at(page) {
            let asked = night.pictures.want(left, Some(right));
            effects.extend(asked.map(|shot| Effect::LoadPicture { shot }));
            return;
        }
        let Some(chosen) = shot_at(night.looked_at()) else {
            return;
        };
        let next = night.place_ahead().and_then(shot_at);
        if let Some(shot) = night.pictures.want(chosen, next) {
            effects.push(Effect::LoadPicture { shot });
        }
    }
}

fn next_purpose(purpose: Purpose) -> Purpose {
    let at = Purpose::ALL.iter().position(|&p| p == purpose).unwrap_or(0);
    Purpose::ALL[(at + 1) % Purpose::ALL.len()]
}
