//! Verdicts the person gives, answers to findings, and taking both back.

use crate::engine::{Derived, Effect};
use crate::verdict::{Finding, Purpose, Thresholds, Verdict, knobs};

use super::action::Action;
use super::answer::numbers_of;
use super::model::Model;
use super::open_night::{Answer, FindingKey, OpenNight};
use super::undo::{DecisionChange, Step};

impl Model {
    /// Judges for another purpose; can be taken back.
    pub(super) fn set_purpose(&mut self, purpose: Purpose, effects: &mut Vec<Effect>) {
        if purpose == self.purpose {
            return;
        }
        let step = Step {
            name: format!("judge as {}", purpose.label().to_lowercase()),
            purpose: Some((self.purpose, purpose)),
            ..Step::default()
        };
        self.perform(&step, effects);
        if let Some(night) = &mut self.night {
            night.undo.push(step);
        }
    }

    pub(super) fn decide(&mut self, action: &Action, effects: &mut Vec<Effect>) {
        let Some(night) = &mut self.night else {
            return;
        };
        let (step, is_new) = match action {
            Action::SetVerdict(verdict) => (night.verdict_step(Some(*verdict)), true),
            Action::FollowAdvice => (night.verdict_step(None), true),
            Action::TakeOffer(key, offer) => (night.offer_step(*key, *offer), true),
            Action::Leave(key) => (night.leave_step(*key), true),
            Action::TakeBack(key) => (night.take_back_step(*key), true),
            Action::Undo => (night.undo.undo(), false),
            Action::Redo => (night.undo.redo(), false),
            _ => (None, false),
        };
        let Some(step) = step else {
            return;
        };
        if is_new {
            night.undo.push(step.clone());
        }
        self.perform(&step, effects);
    }

    /// Judges by other limits; what lies outside their bounds is held to them.
    pub(super) fn set_limits(&mut self, limits: Thresholds, effects: &mut Vec<Effect>) {
        let limits = knobs::held(limits);
        let Some(night) = self.night.as_mut().filter(|_| limits != self.thresholds) else {
            return;
        };
        let step = Step {
            name: "other limits".to_owned(),
            limits: Some(Box::new((self.thresholds, limits))),
            ..Step::default()
        };
        night.undo.push_limits(step.clone());
        self.perform(&step, effects);
    }

    /// Asks for verdicts and advice as the window is set now.
    pub(super) fn derive_again(&self, effects: &mut Vec<Effect>) {
        if self.night.is_some() {
            effects.push(Effect::Derive {
                purpose: self.purpose,
                thresholds: Box::new(self.thresholds),
                advice: self.advice,
            });
        }
    }

    /// Makes the changes of `step`.
    pub(super) fn perform(&mut self, step: &Step, effects: &mut Vec<Effect>) {
        if let Some((_, purpose)) = step.purpose {
            self.purpose = purpose;
            self.derive_again(effects);
        }
        if let Some(limits) = &step.limits {
            self.thresholds = limits.1;
            self.keep_limits(effects);
            self.derive_again(effects);
        }
        let purpose = self.purpose;
        let Some(night) = &mut self.night else {
            return;
        };
        for &(shot, _, after) in &step.decisions {
            match after {
                Some(verdict) => night.decisions.insert(shot, verdict),
                None => night.decisions.remove(&shot),
            };
        }
        if let Some((key, _, after)) = &step.answer {
            match after {
                Some(answer) => night.answers.insert(*key, answer.clone()),
                None => night.answers.remove(key),
            };
        }
        match step.hand_over {
            Some((what, true)) => effects.push(Effect::HandOver(what)),
            Some((what, false)) => effects.push(Effect::TakeBack(what)),
            None => {}
        }
        if !step.decisions.is_empty() {
            night.settle(purpose);
            effects.push(Effect::KeepDecisions(night.decisions.clone()));
        }
    }
}

impl OpenNight {
    pub(super) fn take_derived(&mut self, derived: Derived, purpose: Purpose) {
        // Rows come in as they are read: what is chosen stays the same shot.
        let chosen = self.chosen_row().map(|(_, row)| row.shot);
        let range: Vec<usize> = (self.range.iter())
            .filter_map(|&place| Some(self.row_at(place)?.1.shot))
            .collect();
        self.derived = derived;
        let place_of_shot = |shot: usize| {
            let rows = &self.derived.night.rows;
            (self.frames().iter()).position(|&row| rows.get(row).is_some_and(|r| r.shot == shot))
        };
        let chosen = chosen.and_then(place_of_shot);
        let range = range.into_iter().filter_map(place_of_shot).collect();
        self.chosen = chosen.unwrap_or(self.chosen);
        self.range = range;
        self.settle(purpose);
    }

    pub(super) fn change_of(&self, row: usize, after: Option<Verdict>) -> Option<DecisionChange> {
        let shot = self.night().rows.get(row)?.shot;
        let before = self.decisions.get(&shot).copied();
        (before != after).then_some((shot, before, after))
    }

    /// The places a verdict goes to: the choice, else the chosen frame.
    #[must_use]
    pub fn chosen_places(&self) -> Vec<usize> {
        if self.range.is_empty() {
            vec![self.chosen]
        } else {
            self.range.clone()
        }
    }

    fn verdict_step(&self, after: Option<Verdict>) -> Option<Step> {
        let places = self.chosen_places();
        let decisions: Vec<_> = (places.iter())
            .filter_map(|&place| self.change_of(*self.frames().get(place)?, after))
            .collect();
        let word = after.map_or("follow the advice for", Verdict::word);
        (!decisions.is_empty()).then(|| Step {
            name: format!("{word} {}", numbers_of(&places)),
            decisions,
            ..Step::default()
        })
    }

    fn finding(&self, key: FindingKey) -> Option<&Finding> {
        (self.judged().findings.iter()).find(|finding| self.key_of(finding) == key)
    }

    fn offer_step(&self, key: FindingKey, offer: usize) -> Option<Step> {
        let offer = self.finding(key)?.offers.get(offer)?;
        let decisions: Vec<_> = (offer.rows.iter())
            .filter_map(|&row| self.change_of(row, Some(offer.verdict)))
            .collect();
        let done = match offer.verdict {
            Verdict::Keep => "kept",
            Verdict::Doubtful => "kept as doubtful",
            Verdict::Reject => "rejected",
        };
        let answer = Answer {
            done: format!("{done} {}", offer.rows.len()),
            before: decisions
                .iter()
                .map(|&(shot, before, _)| (shot, before))
                .collect(),
        };
        Some(Step {
            name: lower_first(&offer.label),
            decisions,
            answer: Some((key, self.answers.get(&key).cloned(), Some(answer))),
            ..Step::default()
        })
    }

    fn leave_step(&self, key: FindingKey) -> Option<Step> {
        let finding = self.finding(key)?;
        let answer = Answer {
            done: "left as it is".to_owned(),
            before: Vec::new(),
        };
        Some(Step {
            name: format!("leave “{}”", lower_first(&finding.title)),
            answer: Some((key, self.answers.get(&key).cloned(), Some(answer))),
            ..Step::default()
        })
    }

    fn take_back_step(&self, key: FindingKey) -> Option<Step> {
        let answer = self.answers.get(&key)?;
        let decisions = (answer.before.iter())
            .map(|&(shot, before)| (shot, self.decisions.get(&shot).copied(), before))
            .filter(|(_, now, before)| now != before)
            .collect();
        Some(Step {
            name: "take back".to_owned(),
            decisions,
            answer: Some((key, Some(answer.clone()), None)),
            ..Step::default()
        })
    }

    /// Next time as plain text, a setting a line; `None` when there is no advice.
    #[must_use]
    pub fn next_time_text(&self) -> Option<String> {
        let next = self.next_time()?;
        let mut lines = vec![format!("Next time, after {}", self.title)];
        lines.extend(next.settings.iter().map(|row| {
            let (setting, tonight) = (row.setting, &row.tonight);
            format!("{setting}: {} (tonight {tonight}) – {}", row.next, row.why)
        }));
        lines.extend(next.notes.iter().cloned());
        (!next.settings.is_empty()).then(|| lines.join("\n") + "\n")
    }
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_lowercase().chain(letters).collect(),
        None => String::new(),
    }
}
