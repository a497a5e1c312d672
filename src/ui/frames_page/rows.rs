//! Which rows the table has: chosen by verdict and find field, long runs folded, or sorted.

use std::collections::BTreeSet;

use super::columns::COLUMNS;
use super::query::Query;
use crate::app::OpenNight;
use crate::verdict::{Reason, Verdict};

/// Runs of more frames than this fold to one row.
const LONG: usize = 12;

/// Which frames are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Show {
    /// All.
    #[default]
    All,
    /// Those of one verdict.
    Only(Verdict),
    /// Those the person decided.
    ByYou,
}

/// By what the table is sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum SortBy {
    /// Order of capture.
    #[default]
    Frame,
    /// Verdict.
    Verdict,
    /// A column of numbers.
    Column(usize),
}

/// A row of the table. Frames are named by their place in the set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Item {
    /// One frame.
    Frame(usize),
    /// Frames from one place to another, both in it, of one verdict and reason.
    Run(usize, usize),
}

/// What is asked of the table.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Asked {
    pub show: Show,
    pub find: String,
    pub sort: SortBy,
    pub is_descending: bool,
    /// Whether long runs stay unfolded.
    pub is_unfolded: bool,
    /// First places of runs opened one by one.
    pub opened: BTreeSet<usize>,
}

/// What makes neighbours alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Alike {
    pub verdict: Option<Verdict>,
    pub reason: Option<Reason>,
    pub by_you: bool,
}

/// What the frame at `place` is like, for folding.
pub(super) fn alike(night: &OpenNight, place: usize) -> Option<Alike> {
    let (index, row) = night.row_at(place)?;
    let by_you = night.is_set_by_you(index);
    let pending = night.is_pending(index) && !by_you;
    let leading = night
        .judged()
        .judgements
        .get(index)
        .and_then(|j| j.evidence.first());
    Some(Alike {
        verdict: (!pending).then(|| night.verdict_of(index)),
        reason: match &row.error {
            Some(_) => Some(Reason::Unreadable),
            None => leading.map(|e| e.reason),
        },
        by_you,
    })
}

/// The table's rows.
pub(super) fn items(night: &OpenNight, asked: &Asked, query: &Query) -> Vec<Item> {
    let mut places: Vec<usize> = (0..night.frames().len())
        .filter(|&place| is_asked_for(night, asked.show, query, place))
        .collect();
    if asked.sort != SortBy::Frame {
        sort(night, asked, &mut places);
        return places.into_iter().map(Item::Frame).collect();
    }
    let mut items = folded(night, asked, &places);
    if asked.is_descending {
        items.reverse();
    }
    items
}

fn is_asked_for(night: &OpenNight, show: Show, query: &Query, place: usize) -> bool {
    let Some((index, row)) = night.row_at(place) else {
        return false;
    };
    let shown = match show {
        Show::All => true,
        Show::ByYou => night.is_set_by_you(index),
        Show::Only(verdict) => {
            night.verdict_of(index) == verdict
                && (!night.is_pending(index) || night.is_set_by_you(index))
        }
    };
    shown && query.takes(row, || told(night, place))
}

/// All that is written about a frame, in lower case, for finding words.
fn told(night: &OpenNight, place: usize) -> String {
    let Some((index, row)) = night.row_at(place) else {
        return String::new();
    };
    let mut told = vec![(place + 1).to_string(), row.name.clone()];
    if !night.is_pending(index) {
        told.push(night.verdict_of(index).word().to_owned());
    }
    if night.is_set_by_you(index) {
        told.push("set by you".to_owned());
    }
    let judgement = night.judged().judgements.get(index);
    for piece in judgement.map_or(&[][..], |judgement| &judgement.evidence) {
        let info = piece.reason.info();
        told.extend([info.code, info.label, info.title].map(str::to_owned));
    }
    if let Some(error) = &row.error {
        told.push(format!("unreadable {error}"));
    }
    told.join(" ").to_lowercase()
}

fn sort(night: &OpenNight, asked: &Asked, places: &mut [usize]) {
    let key = |place: usize| -> Option<f64> {
        let (index, row) = night.row_at(place)?;
        match asked.sort {
            SortBy::Frame => Some(place as f64),
            SortBy::Verdict => {
                (!night.is_pending(index)).then(|| f64::from(night.verdict_of(index) as u8))
            }
            SortBy::Column(column) => (COLUMNS.get(column)?.value)(row),
        }
    };
    // Frames without the value come last, whichever way it is sorted.
    places.sort_by(|&a, &b| match (key(a), key(b)) {
        (Some(a), Some(b)) if asked.is_descending => b.total_cmp(&a),
        (Some(a), Some(b)) => a.total_cmp(&b),
        (a, b) => b.is_some().cmp(&a.is_some()),
    });
}

fn folded(night: &OpenNight, asked: &Asked, places: &[usize]) -> Vec<Item> {
    let likes: Vec<_> = places
        .iter()
        .map(|&place| (place, alike(night, place)))
        .collect();
    let mut items = Vec::new();
    for run in likes.chunk_by(|a, b| a.0 + 1 == b.0 && a.1 == b.1) {
        let (Some(first), Some(last)) = (run.first(), run.last()) else {
            continue;
        };
        if run.len() > LONG && !asked.is_unfolded && !asked.opened.contains(&first.0) {
            items.push(Item::Run(first.0, last.0));
        } else {
            items.extend(run.iter().map(|(place, _)| Item::Frame(*place)));
        }
    }
    items
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::engine::{Derived, NightId};
    use crate::frame::Light;
    use crate::measure::FrameMeasure;
    use crate::night::{Night, Set};
    use crate::ui::frames_page::columns::test_row;
    use crate::verdict::{Decisions, Evidence, Judged, Judgement};

    /// A night whose frames have these verdicts (k, d, r) and as many stars as their number.
    fn night(verdicts: &str) -> OpenNight {
        let count = verdicts.len();
        let row = |shot: usize| {
            let mut measure = FrameMeasure::empty(10, 10, Light::Linear);
            measure.star_count = shot as u32 + 1;
            test_row(shot, measure)
        };
        let judgement = |letter: char| {
            let verdict = match letter {
                'k' => Verdict::Keep,
                'd' => Verdict::Doubtful,
                _ => Verdict::Reject,
            };
            let evidence = (verdict != Verdict::Keep).then_some(Evidence {
                reason: Reason::Sky,
                sign: Reason::Sky,
                weighs: verdict,
                quantity: "sky level",
                unit: "%",
                measured: 14.0,
                baseline: 10.0,
                threshold: 12.0,
            });
            Judgement {
                verdict,
                evidence: evidence.into_iter().collect(),
                rank: None,
            }
        };
        let mut open = OpenNight::new(NightId(1), "Test".into(), Vec::new(), Decisions::new());
        open.verdicts = verdicts
            .chars()
            .map(|letter| judgement(letter).verdict)
            .collect();
        open.derived = Derived {
            night: Arc::new(Night {
                rows: (0..count).map(row).collect(),
                sets: vec![Set {
                    frames: (0..count).collect(),
                    rows: (0..count).collect(),
                    ..Set::default()
                }],
                ..Night::default()
            }),
            judged: Arc::new(Judged {
                judgements: verdicts.chars().map(judgement).collect(),
                ..Judged::default()
            }),
            next_time: Arc::default(),
            comparisons: Arc::default(),
        };
        open
    }

    fn of(night: &OpenNight, asked: &Asked) -> Vec<Item> {
        items(night, asked, &Query::parse(&asked.find))
    }

    #[test]
    fn long_runs_fold_and_open_one_by_one() {
        let night = night("kkkkkkkkkkkkkdddkkkkkkkkkkkkk");
        let mut asked = Asked::default();
        let folded = of(&night, &asked);
        let three = [13, 14, 15].map(Item::Frame);
        assert_eq!(folded[0], Item::Run(0, 12));
        assert_eq!(folded[1..4], three);
        assert_eq!(folded[4], Item::Run(16, 28));
        asked.opened.insert(16);
        assert_eq!(of(&night, &asked).len(), 1 + 3 + 13);
        asked.is_unfolded = true;
        assert_eq!(of(&night, &asked).len(), 29);
    }

    #[test]
    fn twelve_do_not_fold() {
        assert_eq!(of(&night("kkkkkkkkkkkk"), &Asked::default()).len(), 12);
    }

    #[test]
    fn a_hidden_frame_breaks_a_run() {
        let night = night(&"k".repeat(40));
        let asked = Asked {
            find: "stars > 20".to_owned(),
            ..Asked::default()
        };
        assert_eq!(of(&night, &asked), [Item::Run(20, 39)]);
    }

    #[test]
    fn sorting_unfolds_and_verdicts_choose() {
        let night = night(&format!("{}dr", "k".repeat(20)));
        let asked = Asked {
            sort: SortBy::Column(5),
            is_descending: true,
            ..Asked::default()
        };
        let sorted = of(&night, &asked);
        assert_eq!((sorted.len(), sorted[0]), (22, Item::Frame(21)));
        let asked = Asked {
            show: Show::Only(Verdict::Doubtful),
            ..Asked::default()
        };
        assert_eq!(of(&night, &asked), [Item::Frame(20)]);
        let asked = Asked {
            find: "sky reject".to_owned(),
            ..Asked::default()
        };
        assert_eq!(of(&night, &asked), [Item::Frame(21)]);
    }
}
