//! Steps that can be taken back and done again, each with a name.

use crate::engine::HandOver;
use crate::verdict::{Purpose, Thresholds, Verdict};

use super::open_night::{Answer, FindingKey};

/// A change of one frame's decision: the shot, what it was, what it became.
pub type DecisionChange = (usize, Option<Verdict>, Option<Verdict>);

/// One thing the person did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Step {
    /// What it was, as told by Undo ("reject 1 to 4").
    pub name: String,
    /// Decisions it changed.
    pub decisions: Vec<DecisionChange>,
    /// The purpose it changed: before, after.
    pub purpose: Option<(Purpose, Purpose)>,
    /// The limits it changed: before, after.
    pub limits: Option<Box<(Thresholds, Thresholds)>>,
    /// The finding it answered: which, before, after.
    pub answer: Option<(FindingKey, Option<Answer>, Option<Answer>)>,
    /// The hand-over: which, and whether to do it (or take it back).
    pub hand_over: Option<(HandOver, bool)>,
}

impl Step {
    /// The step that undoes this one.
    #[must_use]
    pub fn reversed(&self) -> Self {
        Self {
            name: self.name.clone(),
            decisions: (self.decisions.iter())
                .map(|&(shot, before, after)| (shot, after, before))
                .collect(),
            purpose: self.purpose.map(|(before, after)| (after, before)),
            limits: (self.limits.as_deref()).map(|&(before, after)| Box::new((after, before))),
            answer: (self.answer.clone()).map(|(key, before, after)| (key, after, before)),
            hand_over: self.hand_over.map(|(what, is_done)| (what, !is_done)),
        }
    }
}

/// What was done, and what was taken back.
#[derive(Debug, Clone, Default)]
pub struct UndoStack {
    done: Vec<Step>,
    undone: Vec<Step>,
}

impl UndoStack {
    /// Remembers `step`; what was taken back before can't be done again after it.
    pub fn push(&mut self, step: Step) {
        self.done.push(step);
        self.undone.clear();
    }

    /// Remembers `step` as one with the step before it where both moved limits: a drag is one step.
    pub fn push_limits(&mut self, step: Step) {
        let goes_on = self.undone.is_empty() && step.limits.is_some();
        match (self.done.last_mut(), &step.limits) {
            (
                Some(Step {
                    limits: Some(last), ..
                }),
                Some(new),
            ) if goes_on => last.1 = new.1,
            _ => self.push(step),
        }
    }

    /// The step to take back, reversed.
    pub fn undo(&mut self) -> Option<Step> {
        let step = self.done.pop()?;
        let reversed = step.reversed();
        self.undone.push(step);
        Some(reversed)
    }

    /// The step to do again.
    pub fn redo(&mut self) -> Option<Step> {
        let step = self.undone.pop()?;
        self.done.push(step.clone());
        Some(step)
    }

    /// Name of what [`Self::undo`] would take back.
    #[must_use]
    pub fn undo_name(&self) -> Option<&str> {
        self.done.last().map(|step| step.name.as_str())
    }

    /// Name of what [`Self::redo`] would do again.
    #[must_use]
    pub fn redo_name(&self) -> Option<&str> {
        self.undone.last().map(|step| step.name.as_str())
    }
}
