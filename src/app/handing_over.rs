//! Handing over: asked for, shown what it will do, done, and taken back like any other step.

use crate::engine::{Effect, HandOver, Preview, Report};

use super::action::Action;
use super::model::Model;
use super::undo::Step;

/// What the card that hands over shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Handing {
    /// What there is to choose from.
    Choosing,
    /// What one would do is being found out.
    Asked(HandOver),
    /// What it will do.
    Planned(HandOver, Preview),
    /// It is being done.
    Running(HandOver),
}

/// What a hand-over is called by Undo.
const fn name(what: HandOver) -> &'static str {
    match what {
        HandOver::Ratings => "write rating files",
        HandOver::SetAside => "move rejected frames",
        HandOver::Links => "number the used frames",
    }
}

impl Model {
    pub(super) fn hand_over(&mut self, action: &Action, effects: &mut Vec<Effect>) {
        let Some(night) = &mut self.night else {
            return;
        };
        match (action, &night.handing) {
            (Action::ToggleHandOver, None) => night.handing = Some(Handing::Choosing),
            (Action::ToggleHandOver, Some(_)) => night.handing = None,
            (Action::PlanHandOver(what), _) => {
                night.handing = Some(Handing::Asked(*what));
                effects.push(Effect::PlanHandOver(*what));
            }
            // Only what was shown is done.
            (Action::HandOver(what), Some(Handing::Planned(shown, preview)))
                if shown == what && !preview.is_empty =>
            {
                night.handing = Some(Handing::Running(*what));
                effects.push(Effect::HandOver(*what));
            }
            _ => {}
        }
    }

    pub(super) fn hear_of_hand_over(&mut self, report: Report) {
        match report {
            Report::Planned { id, what, preview } => {
                let night = self.night_of(id);
                if let Some(night) = night.filter(|n| n.handing == Some(Handing::Asked(what))) {
                    night.handing = Some(Handing::Planned(what, preview));
                }
            }
            Report::HandedOver {
                id,
                what,
                is_back,
                is_done,
                sentence,
                troubles,
                notes,
            } => {
                let Some(night) = self.night_of(id) else {
                    return;
                };
                let was_asked = night.handing == Some(Handing::Running(what));
                if was_asked {
                    night.handing = None;
                }
                if was_asked && is_done && !is_back {
                    night.undo.push(Step {
                        name: name(what).to_owned(),
                        hand_over: Some((what, true)),
                        ..Step::default()
                    });
                }
                for trouble in troubles {
                    self.tell(trouble, true);
                }
                for note in notes.into_iter().chain([sentence]) {
                    if !note.is_empty() {
                        self.tell(note, false);
                    }
                }
            }
            _ => {}
        }
    }
}
