//! What the window does, without a window.

use std::path::PathBuf;
use std::sync::Arc;

use super::commands::command;
use super::*;
use crate::advice::NextTime;
use crate::engine::{Derived, Effect, HandOver, NightId, Preview, Progress, Report};
use crate::frame::Facts;
use crate::night::{self, Night, Row, Set, Typical};
use crate::verdict::{
    Decisions, Finding, Judged, Judgement, Offer, Purpose, Reason, Thresholds, Verdict,
};

fn row(shot: usize) -> Row {
    Row {
        shot,
        name: format!("{shot}.jpg"),
        path: PathBuf::from(format!("{shot}.jpg")),
        facts: Facts::default(),
        time_s: Some(shot as f64 * 10.0),
        set: 0,
        group: None,
        kind: None,
        measure: None,
        error: Some("damaged".to_owned()),
        derived: night::Derived::default(),
        typical: Typical::default(),
    }
}

/// A night of `count` frames, of which those at `doubtful` are in doubt, with one finding.
fn derived(count: usize, doubtful: &[usize]) -> Derived {
    let rows: Vec<Row> = (0..count).map(row).collect();
    let set = Set {
        rows: (0..count).collect(),
        frames: (0..count).collect(),
        interval_s: Some(10.0),
        ..Set::default()
    };
    let mut judgements = vec![Judgement::default(); count];
    for &place in doubtful {
        judgements[place].verdict = Verdict::Doubtful;
    }
    let finding = Finding {
        reason: Reason::Sky,
        verdict: Verdict::Doubtful,
        rows: doubtful.to_vec(),
        title: "Brighter sky".to_owned(),
        evidence: String::new(),
        detail: String::new(),
        offers: vec![Offer {
            label: "Reject these".to_owned(),
            cost: String::new(),
            verdict: Verdict::Reject,
            rows: doubtful.to_vec(),
            advised: true,
        }],
    };
    Derived {
        night: Arc::new(Night {
            rows,
            sets: vec![set],
            ..Night::default()
        }),
        judged: Arc::new(Judged {
            judgements,
            findings: vec![finding],
            ..Judged::default()
        }),
        next_time: Arc::new(vec![NextTime::default()]),
        comparisons: Arc::default(),
    }
}

fn report(model: &mut Model, report: Report) -> Vec<Effect> {
    model.apply(Action::Report(Box::new(report)))
}

fn opened(count: usize, doubtful: &[usize]) -> Model {
    let mut model = Model::default();
    let effects = model.apply(Action::Open(vec![PathBuf::from("/nights/a")]));
    assert!(matches!(effects.as_slice(), [Effect::Open(_)]));
    let id = model.opening.as_ref().unwrap().id;
    let title = "a".to_owned();
    let (paths, supplied) = (Vec::new(), Vec::new());
    let decisions = Decisions::default();
    report(
        &mut model,
        Report::Opened {
            id,
            title,
            paths,
            decisions,
            supplied,
            usual_site: None,
        },
    );
    let derived = derived(count, doubtful);
    report(&mut model, Report::Derived { id, derived });
    model
}

fn night(model: &Model) -> &OpenNight {
    model.night.as_ref().unwrap()
}

fn verdicts(model: &Model) -> String {
    (night(model).verdicts.iter())
        .map(|verdict| &verdict.word()[..1])
        .collect()
}

#[test]
fn advice_counts_at_once_and_a_verdict_lies_over_it() {
    let mut model = opened(6, &[2, 3]);
    assert_eq!(verdicts(&model), "kkddkk");
    model.apply(Action::NextDoubtful(true));
    assert_eq!(night(&model).chosen, 2);
    let effects = model.apply(Action::SetVerdict(Verdict::Reject));
    assert_eq!(verdicts(&model), "kkrdkk");
    let kept = effects.iter().any(|effect| {
        matches!(effect, Effect::KeepDecisions(kept) if kept.get(&2) == Some(&Verdict::Reject))
    });
    assert!(kept);
    assert_eq!(night(&model).tally.by_you, 1);
}

#[test]
fn undo_and_redo_name_their_step() {
    let mut model = opened(6, &[2, 3]);
    model.apply(Action::ChooseRange(1, 3));
    model.apply(Action::SetVerdict(Verdict::Reject));
    assert_eq!(verdicts(&model), "krrrkk");
    assert_eq!(model.undo_name(), Some("reject 2–4"));
    model.apply(Action::Undo);
    assert_eq!(verdicts(&model), "kkddkk");
    assert!(night(&model).decisions.is_empty());
    assert_eq!(model.redo_name(), Some("reject 2–4"));
    model.apply(Action::Redo);
    assert_eq!(verdicts(&model), "krrrkk");
    model.apply(Action::Undo);
    model.apply(Action::SetVerdict(Verdict::Keep));
    assert_eq!(model.redo_name(), None);
}

#[test]
fn a_finding_is_answered_and_taken_back() {
    let mut model = opened(6, &[2, 3]);
    model.apply(Action::Choose(3));
    model.apply(Action::SetVerdict(Verdict::Keep));
    let key = (Reason::Sky, 2);
    model.apply(Action::TakeOffer(key, 0));
    assert_eq!(verdicts(&model), "kkrrkk");
    assert!(night(&model).answers.contains_key(&key));
    model.apply(Action::TakeBack(key));
    // What the person had decided before comes back.
    assert_eq!(verdicts(&model), "kkdkkk");
    assert!(night(&model).answers.is_empty());
    model.apply(Action::Undo);
    assert_eq!(verdicts(&model), "kkrrkk");
}

#[test]
fn leaving_a_finding_changes_no_verdict_and_can_be_undone() {
    let mut model = opened(6, &[2, 3]);
    let key = (Reason::Sky, 2);
    let effects = model.apply(Action::Leave(key));
    assert!(
        !effects
            .iter()
            .any(|e| matches!(e, Effect::KeepDecisions(_)))
    );
    assert!(night(&model).answers.contains_key(&key));
    model.apply(Action::Undo);
    assert!(night(&model).answers.is_empty());
}

#[test]
fn the_tolerance_goes_round_and_is_advised_anew() {
    let mut model = opened(3, &[]);
    let mut seen = Vec::new();
    for _ in 0..3 {
        let effects = model.apply(Action::NextTolerance);
        seen.extend(effects.iter().filter_map(|effect| match effect {
            Effect::Derive { advice, .. } => Some(advice.npf_k),
            _ => None,
        }));
    }
    assert_eq!(seen, [3.0, 1.0, 2.0]);
}

#[test]
fn the_purpose_is_judged_again_and_undone() {
    let mut model = opened(3, &[]);
    let effects = model.apply(Action::SetPurpose(Purpose::Timelapse));
    let asks = |effects: &[Effect], wanted: Purpose| {
        (effects.iter()).any(|e| matches!(e, Effect::Derive { purpose, .. } if *purpose == wanted))
    };
    assert!(asks(&effects, Purpose::Timelapse));
    assert_eq!(model.undo_name(), Some("judge as time-lapse"));
    let effects = model.apply(Action::Undo);
    assert!(asks(&effects, Purpose::Trails));
    assert_eq!(model.purpose, Purpose::Trails);
}

#[test]
fn stepping_stays_in_the_night_and_extending_keeps_the_other_end() {
    let mut model = opened(6, &[]);
    model.apply(Action::Step(-1));
    assert_eq!(night(&model).chosen, 0);
    model.apply(Action::Choose(2));
    model.apply(Action::Extend(1));
    model.apply(Action::Extend(1));
    assert_eq!(night(&model).range, [2, 3, 4]);
    model.apply(Action::Extend(-1));
    assert_eq!(night(&model).range, [2, 3]);
    model.apply(Action::Escape);
    assert!(night(&model).range.is_empty());
    model.apply(Action::Last);
    assert_eq!(night(&model).chosen, 5);
}

#[test]
fn doubtful_frames_are_found_round_the_end() {
    let mut model = opened(6, &[1, 4]);
    model.apply(Action::Choose(4));
    model.apply(Action::NextDoubtful(true));
    assert_eq!(night(&model).chosen, 1);
    model.apply(Action::NextDoubtful(false));
    assert_eq!(night(&model).chosen, 4);
    model.apply(Action::SetVerdict(Verdict::Doubtful));
    model.apply(Action::NextDoubtful(true));
    model.apply(Action::NextDoubtful(true));
    // Frame 5 has been looked at: the person said so.
    assert_eq!(night(&model).chosen, 1);
}

#[test]
fn late_reports_of_another_night_are_dropped() {
    let mut model = opened(3, &[]);
    let derived = derived(9, &[]);
    report(
        &mut model,
        Report::Derived {
            id: NightId(999),
            derived,
        },
    );
    assert_eq!(night(&model).frames().len(), 3);
}

#[test]
fn the_chosen_frame_stays_when_more_frames_come_in() {
    let mut model = opened(3, &[]);
    model.apply(Action::Choose(2));
    let mut more = derived(5, &[]);
    // Two frames turn out to have been taken before the others.
    let night_so_far = Arc::make_mut(&mut more.night);
    for (place, row) in night_so_far.rows.iter_mut().enumerate() {
        row.shot = (place + 3) % 5;
    }
    let id = night(&model).id;
    report(&mut model, Report::Derived { id, derived: more });
    assert_eq!(night(&model).chosen_row().unwrap().1.shot, 2);
    assert_eq!(night(&model).chosen, 4);
}

#[test]
fn each_picture_is_asked_for_once_unless_another_came_between() {
    let mut model = opened(3, &[]);
    let asks = |effects: &[Effect]| {
        (effects.iter())
            .filter(|e| matches!(e, Effect::LoadPicture { .. }))
            .count()
    };
    assert_eq!(asks(&model.apply(Action::Step(1))), 1);
    assert_eq!(asks(&model.apply(Action::ToggleMarks)), 0);
    // The engine may have dropped the first for the second.
    assert_eq!(asks(&model.apply(Action::Step(-1))), 1);
    assert_eq!(asks(&model.apply(Action::ToggleMarks)), 0);
}

#[test]
fn a_drag_of_limits_is_one_step_and_is_remembered() {
    let mut model = opened(3, &[]);
    let usual = model.thresholds;
    let with = |trail_doubt_px| {
        let limits = Thresholds {
            trail_doubt_px,
            ..usual
        };
        Action::SetLimits(Box::new(limits))
    };
    model.apply(Action::SetVerdict(Verdict::Reject));
    for px in [1.5, 2.0, 2.5] {
        let effects = model.apply(with(px));
        assert!(effects.iter().any(|e| matches!(e, Effect::Derive { .. })));
        assert!(
            effects
                .iter()
                .any(|e| matches!(e, Effect::KeepPreference { .. }))
        );
    }
    assert!(model.apply(with(2.5)).is_empty(), "nothing changes");
    model.apply(with(1e9));
    assert!(
        model.thresholds.trail_doubt_px < 100.0,
        "held to its bounds"
    );
    model.apply(Action::Undo);
    assert_eq!(model.thresholds, usual);
    assert_eq!(night(&model).decisions.len(), 1);
    model.apply(Action::Redo);
    assert_ne!(model.thresholds, usual);
}

#[test]
fn zoom_stays_inside_the_night() {
    let mut model = opened(100, &[]);
    model.apply(Action::ZoomTo(-500.0, 200.0));
    assert_eq!(night(&model).zoom, Some((0.0, 700.0)));
    model.apply(Action::ZoomTo(100.0, 300.0));
    model.apply(Action::Choose(90));
    let (from, to) = night(&model).shown_times();
    assert!((from..=to).contains(&900.0));
    model.apply(Action::WholeNight);
    assert_eq!(night(&model).zoom, None);
}

#[test]
fn a_failed_opening_is_told_in_place_of_the_night() {
    let mut model = Model::default();
    model.apply(Action::TypePath("  \"/nights/none\" ".to_owned()));
    let effects = model.apply(Action::OpenTyped);
    let [Effect::Open(request)] = effects.as_slice() else {
        panic!("{effects:?}");
    };
    assert_eq!(request.paths, [PathBuf::from("/nights/none")]);
    let text = "There is nothing at this path.".to_owned();
    report(
        &mut model,
        Report::Trouble {
            text: text.clone(),
            fatal_to_open: true,
        },
    );
    assert_eq!(model.open_error, Some(text));
    assert!(model.opening.is_none());
}

#[test]
fn no_key_does_two_things_and_every_command_is_told() {
    let mut seen = std::collections::HashSet::new();
    for command in COMMANDS {
        assert!(!command.tip.is_empty());
        for key in command.keys {
            assert!(seen.insert(*key), "{} twice", key.words());
        }
    }
}

#[test]
fn without_a_night_only_the_window_obeys() {
    let model = Model::default();
    let able: Vec<_> = (COMMANDS.iter())
        .filter(|command| (command.action)(&model).is_some())
        .map(|command| command.id)
        .collect();
    let window = ["theme", "larger", "smaller", "night", "open", "keys"];
    assert_eq!(able[..2], ["escape", "purpose"]);
    assert_eq!(able[2..], window);
}

fn progress(done: usize, total: usize) -> Progress {
    Progress {
        job: "Measuring".to_owned(),
        done,
        total,
        ..Progress::default()
    }
}

#[test]
fn the_title_tells_how_far_it_is() {
    let mut model = Model::default();
    assert_eq!(title(&model), "nightloupe");
    model.apply(Action::OpenSample);
    assert_eq!(title(&model), "opening the sample night · nightloupe");
    let id = model.opening.as_ref().unwrap().id;
    let told = Report::Progress {
        id,
        progress: progress(7, 120),
    };
    report(&mut model, told);
    assert_eq!(
        title(&model),
        "7 of 120 · opening the sample night · nightloupe"
    );
    let fatal = Report::Trouble {
        text: "There is nothing there.".to_owned(),
        fatal_to_open: true,
    };
    report(&mut model, fatal);
    assert_eq!(title(&model), "could not open · nightloupe");

    let mut model = opened(3, &[]);
    let id = night(&model).id;
    assert_eq!(title(&model), "opening a · nightloupe");
    let told = Report::Progress {
        id,
        progress: progress(2, 3),
    };
    report(&mut model, told);
    assert_eq!(title(&model), "2 of 3 · a · nightloupe");
    let ended = Report::Finished {
        id,
        took_s: 1.0,
        cancelled: false,
    };
    report(&mut model, ended);
    assert_eq!(title(&model), "a · nightloupe");
}

#[test]
fn cancelling_an_opening_gives_the_first_page_back() {
    let mut model = Model::default();
    model.apply(Action::OpenSample);
    let effects = model.apply(Action::Cancel);
    assert_eq!(effects, [Effect::Cancel]);
    assert!(model.opening.is_none() && model.open_error.is_none());
}

#[test]
fn the_trails_picture_is_for_trails_once_nothing_runs() {
    let mut model = opened(3, &[]);
    let id = night(&model).id;
    let can = |model: &Model| (command("save-trails").unwrap().action)(model).is_some();
    assert!(can(&model));
    for (told, able) in [(Some(progress(1, 3)), false), (None, true)] {
        let told = Report::Building { id, progress: told };
        report(&mut model, told);
        assert_eq!(can(&model), able);
    }
    model.apply(Action::SetPurpose(Purpose::Tracked));
    assert!(!can(&model));
}

#[test]
fn a_hand_over_is_shown_before_it_is_done_and_taken_back_like_any_step() {
    let mut model = opened(3, &[1]);
    model.apply(Action::ToggleHandOver);
    let what = HandOver::SetAside;
    let asked = model.apply(Action::PlanHandOver(what));
    assert!(asked.contains(&Effect::PlanHandOver(what)));
    let id = model.night.as_ref().unwrap().id;
    assert!(
        !model
            .apply(Action::HandOver(what))
            .contains(&Effect::HandOver(what)),
        "not before it is shown"
    );
    let preview = Preview {
        sentence: "Move 1 rejected frame.".to_owned(),
        ..Preview::default()
    };
    report(&mut model, Report::Planned { id, what, preview });
    assert!(
        model
            .apply(Action::HandOver(what))
            .contains(&Effect::HandOver(what))
    );
    let done = |is_back, is_done| Report::HandedOver {
        id,
        what,
        is_back,
        is_done,
        sentence: "1 rejected frame moved.".to_owned(),
        troubles: vec!["a.dng stays: busy.".to_owned()],
        notes: Vec::new(),
    };
    report(&mut model, done(false, true));
    assert_eq!(model.night.as_ref().unwrap().handing, None);
    assert_eq!(model.undo_name(), Some("move rejected frames"));
    let told: Vec<bool> = model.notices.iter().map(|notice| notice.is_error).collect();
    assert_eq!(told, [true, false]);
    assert!(model.apply(Action::Undo).contains(&Effect::TakeBack(what)));
    report(&mut model, done(true, true));
    assert_eq!(model.undo_name(), None);
    assert!(model.apply(Action::Redo).contains(&Effect::HandOver(what)));
    report(&mut model, done(false, true));
    assert_eq!(model.undo_name(), Some("move rejected frames"), "once");
}
