//! What the engine says, taken into the model.

use crate::engine::{Derived, Effect, ExportWhat, NightId, Report};

use super::model::Model;
use super::open_night::OpenNight;
use super::pictures::PictureState;
use super::resulting::Shown;

impl Model {
    pub(super) fn hear(&mut self, report: Report, effects: &mut Vec<Effect>) {
        match report {
            Report::Opened {
                id,
                title,
                paths,
                decisions,
                supplied,
                usual_site,
            } => {
                if !self.is_current(id) {
                    return;
                }
                let mut night = OpenNight::new(id, title, paths, decisions);
                night.supplied = supplied.into_iter().collect();
                night.usual_site = usual_site;
                self.opening = None;
                self.open_error = None;
                self.night = Some(night);
            }
            Report::Derived { id, derived } => self.hear_derived(id, derived),
            Report::Progress { id, progress } => {
                if let Some(night) = self.night_of(id) {
                    night.kept = progress.kept;
                    night.progress = Some(progress);
                } else if let Some(opening) = self.opening.as_mut().filter(|o| o.id == id) {
                    opening.progress = Some(progress);
                }
            }
            Report::Building { id, progress } => {
                if let Some(night) = self.night_of(id) {
                    night.building = progress;
                }
            }
            Report::Finished {
                id,
                took_s,
                cancelled,
            } => {
                if let Some(night) = self.night_of(id) {
                    night.progress = None;
                    night.finished = Some((took_s, cancelled));
                    effects.push(Effect::ListRecents);
                }
            }
            Report::Picture { id, shot, picture } => {
                if let Some(night) = self.night_of(id) {
                    let state = match picture {
                        Ok(picture) => PictureState::Ready(picture),
                        Err(why) => PictureState::Failed(why),
                    };
                    night.pictures.take(shot, &state);
                }
            }
            Report::Crop { id, request, crop } => {
                if let Some(night) = self.night_of(id) {
                    night.comparing.take_crop(&request, crop);
                }
            }
            result @ (Report::Result { .. }
            | Report::ResultDetail { .. }
            | Report::ResultStopped { .. }
            | Report::Film(_)) => self.hear_result(result),
            Report::Chosen(paths) => {
                for effect in self.apply(super::Action::Open(paths)) {
                    effects.push(effect);
                }
            }
            Report::Saved { what, to } => {
                let what = match what {
                    ExportWhat::UsedList => "The list of used frames",
                    ExportWhat::RejectedList => "The list of rejected frames",
                    ExportWhat::Table => "The table",
                    ExportWhat::Report => "The report",
                    ExportWhat::Chart { .. } => "The chart",
                    ExportWhat::TrailsPicture { .. } => "The trails picture",
                    ExportWhat::Result => "The picture",
                    ExportWhat::Film => "The film's frames are",
                };
                self.tell(format!("{what} is saved: {}", to.display()), false);
            }
            Report::Watching { id, watching } => self.hear_of_watch(id, watching),
            report @ (Report::Planned { .. } | Report::HandedOver { .. }) => {
                self.hear_of_hand_over(report);
            }
            Report::Recents(recents) => self.recents = Some(recents),
            Report::Preferences(kept) => self.recall(&kept),
            Report::Trouble {
                text,
                fatal_to_open,
            } => {
                if fatal_to_open && self.opening.is_some() {
                    self.opening = None;
                    self.open_error = Some(text);
                } else {
                    self.tell(text, true);
                }
            }
        }
    }

    /// Takes in what is told of results.
    fn hear_result(&mut self, report: Report) {
        match report {
            Report::Result {
                id,
                request,
                sides,
                is_done,
                left_out,
                took_s,
            } => {
                if let Some(night) = self.night_of(id) {
                    night.resulting.take(Shown {
                        request,
                        sides,
                        is_done,
                        left_out,
                        took_s,
                    });
                }
            }
            Report::ResultDetail { id, request, sides } => {
                if let Some(night) = self.night_of(id) {
                    night.resulting.close = Some((request, sides));
                }
            }
            Report::ResultStopped { id } => {
                if let Some(night) = self.night_of(id) {
                    night.resulting.stopped = true;
                }
            }
            Report::Film(picture) => {
                if let Some(night) = self.night_of(picture.id) {
                    night.resulting.take_film(picture);
                }
            }
            _ => {}
        }
    }

    fn hear_derived(&mut self, id: NightId, derived: Derived) {
        let purpose = self.purpose;
        let Some(night) = self.night_of(id) else {
            return;
        };
        night.take_derived(derived, purpose);
        let (alerts, check) = (night.alerts(), night.first_check());
        for alert in alerts {
            self.tell(alert, true);
        }
        if let Some(check) = check {
            self.tell(check, false);
        }
    }

    fn is_current(&self, id: NightId) -> bool {
        self.opening
            .as_ref()
            .is_some_and(|opening| opening.id == id)
    }
}
