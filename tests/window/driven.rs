//! What a person does, by the names a screen reader says.

use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::kittest::{NodeT, Queryable};
use nightloupe::app::{Action, Model, Page};
use nightloupe::sim::{Format, SimOptions, simulate};
use nightloupe::verdict::{Purpose, Verdict};

use super::Window;

/// Every control on show, with its name.
fn controls(window: &Window) -> Vec<(Role, String)> {
    (window.harness.root().children_recursive())
        .map(|node| node.accesskit_node())
        .filter(|node| {
            matches!(
                node.role(),
                Role::Button
                    | Role::RadioButton
                    | Role::CheckBox
                    | Role::Slider
                    | Role::TextInput
                    | Role::ProgressIndicator
            )
        })
        .map(|node| (node.role(), node.label().unwrap_or_default()))
        .collect()
}

fn assert_all_named(window: &Window, least: usize) {
    let controls = controls(window);
    assert!(controls.len() >= least, "{controls:#?}");
    for (role, name) in &controls {
        assert!(
            !name.trim().is_empty(),
            "a {role:?} has no name: {controls:#?}"
        );
    }
}

#[test]
fn every_control_has_a_name() {
    for (width, height) in [(1440.0, 900.0), (1100.0, 720.0), (960.0, 640.0)] {
        let mut window = Window::with_invented(width, height, 360);
        assert_all_named(&window, 25);
        window.harness.state_mut().apply(Action::GoTo(Page::Frames));
        window.harness.run();
        assert_all_named(&window, 5);
        window.harness.state_mut().apply(Action::ToggleKeys);
        window.press(Key::T);
        assert_all_named(&window, 6);
    }
    let window = Window::new(1440.0, 900.0);
    assert_all_named(&window, 4);
}

#[test]
fn no_two_buttons_share_a_name() {
    let window = Window::with_invented(1440.0, 900.0, 360);
    let mut seen = std::collections::HashSet::new();
    for (role, name) in controls(&window) {
        assert!(seen.insert((role, name.clone())), "twice: {name}");
    }
}

#[test]
fn a_doubtful_frame_is_decided_by_key_and_by_button_and_undone() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.press(Key::N);
    let (place, row) = window.chosen();
    assert_eq!(window.verdict(row), Verdict::Doubtful);
    window.press(Key::R);
    assert_eq!(window.verdict(row), Verdict::Reject);
    window.harness.get_by_label("Undo").click();
    window.harness.run();
    assert_eq!(window.verdict(row), Verdict::Doubtful);
    window.harness.key_press_modifiers(Modifiers::SHIFT, Key::Z);
    window.harness.run();
    assert_eq!(window.verdict(row), Verdict::Reject);
    let keep = format!("Keep frame {}", place + 1);
    window.harness.get_by_label(&keep).click();
    window.harness.run();
    assert_eq!(window.verdict(row), Verdict::Keep);
    window.press(Key::Z);
    assert_eq!(window.verdict(row), Verdict::Reject);
}

#[test]
fn the_purpose_pages_and_keys_are_reached_by_name() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.click("Judge as: Time-lapse");
    assert_eq!(window.model().purpose, Purpose::Timelapse);
    window.click("Page: Frames");
    assert_eq!(window.model().page, Page::Frames);
    window.press(Key::Num1);
    assert_eq!(window.model().page, Page::Night);
    window.click("Keys");
    assert!(window.model().keys_shown);
    window.press(Key::Escape);
    assert!(!window.model().keys_shown);
}

#[test]
fn a_finding_is_answered_and_taken_back_by_name() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    let (title, offer, rows) = {
        let open = window.model().night.as_ref().unwrap();
        let finding = &open.judged().findings[0];
        let offer = finding.offers.iter().find(|offer| offer.advised).unwrap();
        (finding.title.clone(), offer.clone(), offer.rows.clone())
    };
    let before = window.model().night.as_ref().unwrap().verdicts.clone();
    window.click(&format!("{}, {title}", offer.label));
    assert!(rows.iter().all(|&row| window.verdict(row) == offer.verdict));
    window.click(&format!("Take back, {title}"));
    assert_eq!(window.model().night.as_ref().unwrap().verdicts, before);
}

#[test]
fn limits_are_moved_and_taken_back_by_name() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.click("Limits…");
    window.save("limits");
    let label = "Stars wider, doubtful, ×";
    window.harness.get_by_label(label).focus();
    window.harness.run();
    let before = window.model().thresholds.width_doubt;
    window.press(Key::ArrowUp);
    let moved = window.model().thresholds.width_doubt;
    assert!(moved > before, "{before} {moved}");
    window.press(Key::Escape);
    window.press(Key::Z);
    let back = window.model().thresholds.width_doubt;
    assert!((back - before).abs() < 1e-12);
}

#[test]
fn another_night_is_planned_by_name() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.click("Plan another night…");
    for (field, text) in [
        ("Hours of another night, h", "3"),
        ("Evening of another night, date", "2026-01-17"),
    ] {
        window.harness.get_by_label(field).focus();
        window.harness.run();
        window.harness.get_by_label(field).type_text(text);
        window.harness.run();
    }
    window.save("plan");
    window.harness.get_by_label_contains(" in 3 h");
}

#[test]
fn the_ribbon_is_one_stop_and_arrows_step_in_it() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    let (place, _) = window.chosen();
    window.harness.get_by_role(Role::Slider).focus();
    window.harness.run();
    window.press(Key::ArrowRight);
    window.press(Key::ArrowRight);
    assert_eq!(window.chosen().0, place + 2);
    assert!(window.harness.get_by_role(Role::Slider).is_focused());
}

#[test]
fn letters_typed_in_a_field_give_no_verdict() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.click("Page: Frames");
    let field = "File to save to, in place of the dialog";
    window.harness.get_by_label(field).focus();
    window.harness.run();
    window.harness.get_by_label(field).type_text("krd");
    window.press(Key::R);
    let open = window.model().night.as_ref().unwrap();
    assert!(open.decisions.is_empty());
    assert_eq!(window.model().typed_export, "krd");
}

#[test]
fn making_the_sample_night_shows_how_far_it_is_and_can_be_called_off() {
    let mut window = Window::new(1440.0, 900.0);
    window.click("Make a sample night");
    window.wait(|model| (model.opening.as_ref()).is_some_and(|opening| opening.progress.is_some()));
    let bar = window.harness.get_by_role(Role::ProgressIndicator);
    let job = bar.accesskit_node().label();
    assert_eq!(job.as_deref(), Some("Making the sample night"));
    window.save("making-the-sample");
    window.click("Cancel the opening");
    assert!(window.model().opening.is_none());
    assert!(window.model().open_error.is_none());
    window.harness.get_by_label("Make a sample night");
}

#[test]
fn the_trails_picture_is_offered_for_star_trails_only() {
    let name = "Save trails picture…";
    for (width, height) in [(1440.0, 900.0), (1440.0, 820.0)] {
        let mut window = Window::with_invented(width, height, 360);
        window.save(&format!("trails-picture-{height}"));
        window.harness.get_by_label(name);
        window.click("Judge as: Tracked stack");
        assert!(window.harness.query_by_label(name).is_none());
    }
}

/// From a folder of frames to a table on disk, with nothing but the window.
#[test]
fn a_night_is_opened_measured_decided_and_saved() {
    let folder = tempfile::tempdir().unwrap();
    let frames = folder.path().join("night");
    let options = SimOptions {
        frames: 6,
        width: 480,
        height: 320,
        format: Format::Tiff,
        ..SimOptions::default()
    };
    simulate(&frames, &options, &|_, _| (), &AtomicBool::new(false)).unwrap();

    let mut window = Window::new(1440.0, 900.0);
    let place = frames.display().to_string();
    window.harness.state_mut().apply(Action::TypePath(place));
    window.harness.run();
    window.click("Go: open the place typed");
    window.wait(|model| {
        model
            .night
            .as_ref()
            .is_some_and(|night| night.finished.is_some())
    });
    assert_eq!(window.model().night.as_ref().unwrap().frames().len(), 6);

    window.press(Key::R);
    let table = folder.path().join("table.csv");
    window.click("Page: Frames");
    let to = table.display().to_string();
    window.harness.state_mut().apply(Action::TypeExport(to));
    window.harness.run();
    window.click("Save table…");
    window.wait(|model| {
        model
            .notices
            .iter()
            .any(|notice| notice.text.contains("saved"))
    });
    let text = std::fs::read_to_string(&table).unwrap();
    let mut lines = csv::Reader::from_reader(text.as_bytes());
    let at = lines
        .headers()
        .unwrap()
        .iter()
        .position(|h| h == "verdict")
        .unwrap();
    let verdicts: Vec<String> = (lines.records())
        .map(|record| record.unwrap()[at].to_owned())
        .collect();
    assert_eq!(verdicts.len(), 6);
    assert_eq!(verdicts[0], "reject");
}

#[test]
fn the_best_frame_is_held_up_while_its_key_is_down() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    let open = window.model().night.as_ref().unwrap();
    let (best, before) = (open.best_place().unwrap(), open.chosen);
    assert_ne!(best, before);
    let title = |window: &Window, place: usize| {
        let begins = format!("Frame {} of", place + 1);
        let named = |node: &egui_kittest::Node<'_>| {
            let label = node.accesskit_node().label();
            label.is_some_and(|label| label.starts_with(&begins))
        };
        window
            .harness
            .root()
            .children_recursive()
            .any(|node| named(&node))
    };
    window.harness.key_down(Key::G);
    window.harness.run();
    assert!(title(&window, best));
    window.harness.key_up(Key::G);
    window.harness.run();
    assert!(title(&window, before));
    assert_eq!(window.chosen().0, before);
    // A verdict never goes to a frame that is not seen.
    window.harness.state_mut().apply(Action::HoldUpBest(true));
    window
        .harness
        .state_mut()
        .apply(Action::SetVerdict(Verdict::Reject));
    let open = window.model().night.as_ref().unwrap();
    assert!(!open.best_held);
    assert_eq!(open.verdict_of(window.chosen().1), Verdict::Reject);
}

/// What a sky meter read is typed once, and all frames of that camera and lens follow.
#[test]
fn a_meters_reading_is_typed_and_kept() {
    let folder = tempfile::tempdir().unwrap();
    let options = SimOptions {
        frames: 3,
        width: 480,
        height: 320,
        format: Format::Dng,
        ..SimOptions::default()
    };
    simulate(folder.path(), &options, &|_, _| (), &AtomicBool::new(false)).unwrap();
    let mut window = Window::new(1440.0, 900.0);
    (window.harness.state_mut()).apply(Action::Open(vec![folder.path().to_owned()]));
    let finished = |model: &Model| model.night.as_ref().is_some_and(|n| n.finished.is_some());
    window.wait(finished);
    let error = |model: &Model| {
        let (_, row) = model.night.as_ref()?.chosen_row()?;
        row.derived.sky_mag_error
    };
    assert_eq!(error(window.model()), Some(0.7));
    window.click("Lens and camera…");
    let field = "Sky meter, mag/arcsec²";
    window.harness.get_by_label(field).focus();
    window.harness.run();
    window.harness.get_by_label(field).type_text("21.4");
    window.harness.run();
    window.save("meter");
    window.click("Use these");
    window.wait(|model| error(model) == Some(0.2));
    let (_, row) = window.model().night.as_ref().unwrap().chosen_row().unwrap();
    assert!((row.derived.sky_mag_arcsec2.unwrap() - 21.4).abs() < 1e-6);
}

#[test]
fn a_pass_over_two_thousand_frames_is_short() {
    let mut window = Window::with_frames(1440.0, 900.0, 2000, 2000);
    let started = Instant::now();
    window.harness.run_steps(20);
    let each = started.elapsed() / 20;
    println!("a pass over 2000 frames: {each:?}");
    // Many times what is aimed at on a free machine, so that a busy one does not fail it.
    assert!(each < Duration::from_millis(100), "{each:?}");
}

#[test]
fn nothing_is_asked_for_while_nothing_happens() {
    let window = Window::with_invented(1440.0, 900.0, 360);
    let output = window.harness.output();
    let delay = output.viewport_output[&egui::ViewportId::ROOT].repaint_delay;
    assert_eq!(delay, Duration::MAX);
}
