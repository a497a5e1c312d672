//! Which frame, which frames, which part of the night.

use crate::engine::Effect;
use crate::verdict::Verdict;

use super::action::Action;
use super::model::{Model, Page};
use super::open_night::OpenNight;
use super::pictures::Heading;

/// The least part of a night the lanes show, s.
const LEAST_ZOOM_S: f64 = 60.0;

impl Model {
    pub(super) fn choose(&mut self, action: Action, _effects: &mut Vec<Effect>) {
        if matches!(action, Action::Escape) {
            self.escape();
            return;
        }
        self.compare(&action);
        let purpose = self.purpose;
        let Some(night) = &mut self.night else {
            return;
        };
        match action {
            Action::ChooseSet(set) if set < night.night().sets.len() => {
                night.set = set;
                night.chosen = 0;
                night.range.clear();
                night.zoom = None;
                night.settle(purpose);
            }
            Action::Choose(place) => night.choose_one(place),
            Action::Step(by) => {
                night.choose_one(night.moved(by));
                night.pictures.heading = Heading::Steps(by.signum());
            }
            Action::Extend(by) => night.extend_to(night.head().saturating_add_signed(by)),
            Action::ExtendTo(place) => night.extend_to(place),
            Action::First => night.choose_one(0),
            Action::Last => night.choose_one(usize::MAX),
            Action::NextDoubtful(onward) => {
                if let Some(place) = night.next_doubtful(onward) {
                    night.choose_one(place);
                }
                night.pictures.heading = Heading::Doubtful(onward);
            }
            Action::ChooseRange(from, to) => {
                let (low, high) = (from.min(to), from.max(to));
                let high = high.min(night.frames().len().saturating_sub(1));
                night.range = (low..=high).collect();
                night.anchor = from.min(high);
                // The end that stays is shown: the moving one would load a picture a pixel.
                night.chosen = night.anchor;
            }
            Action::ChoosePlaces(places) => night.choose_places(places),
            Action::ShowFinding(key) => {
                let rows = (night.judged().findings.iter())
                    .find(|finding| night.key_of(finding) == key)
                    .map(|finding| finding.rows.clone())
                    .unwrap_or_default();
                let places = rows.iter().filter_map(|&row| night.place_of(row)).collect();
                night.choose_places(places);
            }
            Action::ZoomTo(from, to) => night.zoom_to(from, to),
            Action::ZoomBy(factor) => {
                let (from, to) = night.shown_times();
                let about = (night.chosen_time())
                    .filter(|time| (from..=to).contains(time))
                    .unwrap_or(f64::midpoint(from, to));
                night.zoom_to(
                    about - (about - from) * factor,
                    about + (to - about) * factor,
                );
            }
            Action::WholeNight => night.zoom = None,
            _ => {}
        }
    }

    fn escape(&mut self) {
        if self.keys_shown {
            self.keys_shown = false;
        } else if self.warnings_shown {
            self.warnings_shown = false;
        } else if self
            .night
            .as_mut()
            .is_some_and(|night| night.handing.take().is_some())
        {
            // Closed; what is under way goes on.
        } else if self.frame_fills {
            self.frame_fills = false;
        } else if let Some(night) = &mut self.night {
            if self.page == Page::Compare && night.comparing.pair.take().is_some() {
                return;
            }
            night.range.clear();
        }
    }
}

impl OpenNight {
    fn last_place(&self) -> usize {
        self.frames().len().saturating_sub(1)
    }

    fn moved(&self, by: isize) -> usize {
        self.chosen.saturating_add_signed(by).min(self.last_place())
    }

    /// Chooses one frame and drops a choice of several.
    fn choose_one(&mut self, place: usize) {
        self.chosen = place.min(self.last_place());
        self.anchor = self.chosen;
        self.range.clear();
        self.bring_into_view();
    }

    fn choose_places(&mut self, mut places: Vec<usize>) {
        places.retain(|&place| place <= self.last_place());
        places.sort_unstable();
        places.dedup();
        if let Some(&first) = places.first() {
            self.chosen = first;
            self.anchor = first;
        }
        self.range = if places.len() > 1 { places } else { Vec::new() };
        self.bring_into_view();
    }

    /// The end of the choice that moves.
    fn head(&self) -> usize {
        match (self.range.first(), self.range.last()) {
            (Some(&first), Some(&last)) if self.anchor == first => last,
            (Some(&first), Some(_)) => first,
            _ => self.chosen,
        }
    }

    /// Lengthens (or shortens) the choice to `place`; its other end stays.
    fn extend_to(&mut self, place: usize) {
        let place = place.min(self.last_place());
        self.range = (self.anchor.min(place)..=self.anchor.max(place)).collect();
        self.chosen = place;
        self.bring_into_view();
    }

    /// The frame the person will likely choose next.
    pub(super) fn place_ahead(&self) -> Option<usize> {
        match self.pictures.heading {
            Heading::Steps(by) => self.chosen.checked_add_signed(by),
            Heading::Doubtful(onward) => self.next_doubtful(onward),
        }
    }

    /// The next frame in doubt, round the end to the start.
    fn next_doubtful(&self, onward: bool) -> Option<usize> {
        let count = self.frames().len();
        (1..=count)
            .map(|by| {
                let by = if onward { by } else { count - by % count };
                (self.chosen + by) % count
            })
            .find(|&place| {
                (self.frames().get(place)).is_some_and(|&row| {
                    self.verdict_of(row) == Verdict::Doubtful
                        && !self.is_pending(row)
                        && !self.is_set_by_you(row)
                })
            })
    }

    /// First and last moment of the frames shown, s: from the first start to the last end.
    #[must_use]
    pub fn whole_times(&self) -> (f64, f64) {
        let (Some(&low), Some(&high)) = (self.times.first(), self.times.last()) else {
            return (0.0, 1.0);
        };
        let step = (self.shown_set())
            .and_then(|set| set.interval_s)
            .unwrap_or(1.0);
        (low, high + step.max(1.0))
    }

    /// First and last moment the lanes show, s.
    #[must_use]
    pub fn shown_times(&self) -> (f64, f64) {
        self.zoom.unwrap_or_else(|| self.whole_times())
    }

    fn zoom_to(&mut self, from: f64, to: f64) {
        let (low, high) = self.whole_times();
        if !(from.is_finite() && to.is_finite()) {
            return;
        }
        let length = (to - from).max(LEAST_ZOOM_S);
        if length >= high - low {
            self.zoom = None;
            return;
        }
        let from = from.clamp(low, high - length);
        self.zoom = Some((from, from + length));
    }

    /// Moves a zoomed view so that the chosen frame is in it.
    fn bring_into_view(&mut self) {
        let (Some((from, to)), Some(time)) = (self.zoom, self.chosen_time()) else {
            return;
        };
        if !(from..=to).contains(&time) {
            let half = (to - from) / 2.0;
            self.zoom_to(time - half, time + half);
        }
    }
}
