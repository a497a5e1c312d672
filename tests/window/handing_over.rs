//! Handing over from the window: seen before it is done, and taken back.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use egui::Key;
use egui_kittest::kittest::Queryable;
use nightloupe::app::{Action, Handing};
use nightloupe::engine::ExportWhat;
use nightloupe::sim::{Format, SimOptions, simulate};

use super::Window;

fn names_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = (fs::read_dir(folder).unwrap())
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// A window on a small night whose first frame is rejected.
fn window_on(frames: &Path) -> Window {
    let options = SimOptions {
        frames: 6,
        width: 480,
        height: 320,
        format: Format::Tiff,
        ..SimOptions::default()
    };
    simulate(frames, &options, &|_, _| (), &AtomicBool::new(false)).unwrap();
    let mut window = Window::new(1440.0, 900.0);
    let paths = vec![frames.to_owned()];
    window.harness.state_mut().apply(Action::Open(paths));
    window.wait(|model| (model.night.as_ref()).is_some_and(|night| night.finished.is_some()));
    window.press(Key::R);
    window
}

/// Chooses one of the hand-overs and does it; what was said.
fn hand_over(window: &mut Window, choose: &str, go: &str, said: &str) -> String {
    window.press(Key::H);
    window.click(choose);
    window.wait(|model| {
        let handing = model
            .night
            .as_ref()
            .and_then(|night| night.handing.as_ref());
        matches!(handing, Some(Handing::Planned(..)))
    });
    window.click(go);
    wait_for(window, said)
}

fn wait_for(window: &mut Window, said: &str) -> String {
    let words = said.to_owned();
    window.wait(move |model| {
        model
            .notices
            .iter()
            .any(|notice| notice.text.contains(&words))
    });
    let notices = &window.model().notices;
    notices
        .iter()
        .find(|notice| notice.text.contains(said))
        .unwrap()
        .text
        .clone()
}

#[test]
fn rejected_frames_are_moved_shown_and_brought_back() {
    let folder = tempfile::tempdir().unwrap();
    let frames = folder.path().join("night");
    let mut window = window_on(&frames);
    let before = names_in(&frames);
    let rejected = window.model().night.as_ref().unwrap().tally.reject;
    let label = format!("Move the {rejected} into a folder…");
    hand_over(&mut window, &label, "Move them", "moved into");
    let aside = frames.join("nightloupe-set-aside");
    assert_eq!(names_in(&aside).len(), rejected + 1, "with the journal");
    assert_eq!(window.model().undo_name(), Some("move rejected frames"));
    // The frame is still part of the open night, from where it lies now.
    window.wait(|model| {
        let night = model.night.as_ref().unwrap();
        night
            .chosen_row()
            .is_some_and(|(_, row)| row.path.parent().unwrap().ends_with("nightloupe-set-aside"))
    });
    window.press(Key::Z);
    wait_for(&mut window, "brought back");
    assert_eq!(names_in(&frames), before);
}

#[test]
fn rating_files_and_numbered_links_are_made_and_taken_back() {
    let folder = tempfile::tempdir().unwrap();
    let frames = folder.path().join("night");
    let mut window = window_on(&frames);
    let before = names_in(&frames);
    hand_over(&mut window, "Write rating files…", "Write them", "written");
    let now = names_in(&frames);
    assert!(
        now.iter()
            .any(|name| Path::new(name).extension().is_some_and(|e| e == "xmp")),
        "{now:?}"
    );
    let used = window.model().night.as_ref().unwrap().tally.used();
    let label = format!("Number the {used} used frames…");
    hand_over(&mut window, &label, "Number them", "numbered in");
    assert_eq!(names_in(&folder.path().join("night used")).len(), used);
    window.press(Key::Z);
    wait_for(&mut window, "removed from");
    window.press(Key::Z);
    wait_for(&mut window, "taken back");
    assert_eq!(names_in(&frames), before);
    assert_eq!(names_in(folder.path()), ["night"]);
}

#[test]
fn a_report_is_saved_with_its_pictures() {
    let folder = tempfile::tempdir().unwrap();
    let frames = folder.path().join("night");
    let mut window = window_on(&frames);
    let save = |window: &mut Window, what: ExportWhat, to: &PathBuf| {
        let to = to.display().to_string();
        window.harness.state_mut().apply(Action::TypeExport(to));
        window.harness.state_mut().apply(Action::ExportTyped(what));
    };
    let (page, chart) = (
        folder.path().join("page.html"),
        folder.path().join("chart.svg"),
    );
    save(&mut window, ExportWhat::Report, &page);
    wait_for(&mut window, "The report is saved");
    let text = fs::read_to_string(&page).unwrap();
    assert!(text.contains("<svg") && text.contains("data:image/jpeg;base64,/9j/"));
    save(&mut window, ExportWhat::Chart { set: 0 }, &chart);
    wait_for(&mut window, "The chart is saved");
    assert!(fs::read_to_string(&chart).unwrap().contains("<svg"));
}

#[test]
fn the_card_names_its_controls_and_closes() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.click("Hand over…");
    for name in [
        "Hand over: Save list…",
        "Hand over: Save table…",
        "Hand over: Save report…",
        "Write rating files…",
        "Close hand over",
    ] {
        window.harness.get_by_label(name);
    }
    window.save("handing-over");
    window.press(Key::Escape);
    assert!(window.harness.query_by_label("Close hand over").is_none());
}
