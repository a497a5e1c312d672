//! The Result page: a simulated night put together, repaired, run through as a film, and saved.

use std::sync::atomic::AtomicBool;

use egui::Key;
use egui_kittest::kittest::NodeT;
use nightloupe::app::{Action, Model, Page, ResultAction, ResultView, RunEnd, Theme};
use nightloupe::engine::ExportWhat;
use nightloupe::sim::{SimOptions, simulate};

use super::Window;

const FRAMES: usize = 24;

fn opened(size: (f32, f32)) -> (tempfile::TempDir, Window) {
    let folder = tempfile::tempdir().unwrap();
    let night = folder.path().join("Result");
    let options = SimOptions {
        frames: FRAMES,
        width: 900,
        height: 600,
        ..SimOptions::default()
    };
    let run = AtomicBool::new(false);
    simulate(&night, &options, &|_, _| (), &run).unwrap();
    let mut window = Window::new(size.0, size.1);
    let app = window.harness.state_mut();
    app.apply(Action::Open(vec![night]));
    window.wait(|model| (model.night.as_ref()).is_some_and(|night| night.finished.is_some()));
    (folder, window)
}

fn is_built(model: &Model) -> bool {
    let night = model.night.as_ref().unwrap();
    night.resulting.is_current() && night.building.is_none()
}

/// Names on show that hold `words`.
fn told(window: &Window, words: &str) -> Vec<String> {
    (window.harness.root().children_recursive())
        .filter_map(|node| {
            let node = node.accesskit_node();
            node.label().or_else(|| node.value())
        })
        .filter(|name| name.contains(words))
        .collect()
}

fn check(window: &mut Window, begins: &str) {
    let name = told(window, begins);
    let name = name
        .iter()
        .find(|name| name.starts_with(begins) && name.contains(", "));
    let name = name.unwrap_or_else(|| panic!("no {begins}")).clone();
    window.click(&name);
}

#[test]
fn a_result_is_built_looked_at_repaired_and_saved() {
    let (folder, mut window) = opened((1440.0, 900.0));
    window.press(Key::Num3);
    assert_eq!(window.model().page, Page::Result);
    window.wait(is_built);
    window.save("result");
    let shown = |window: &Window| {
        let night = window.model().night.as_ref().unwrap();
        let shown = night.resulting.shown.as_ref().unwrap();
        (
            shown.sides.frames_of_all as usize,
            shown.sides.frames_of_used as usize,
        )
    };
    let used = window.model().night.as_ref().unwrap().tally.used();
    assert_eq!(shown(&window), (FRAMES, used));
    assert!(!told(&window, &format!("Frames: all {FRAMES}, used {used}")).is_empty());

    // The divider by the arrows, Home and End.
    let name = "Divider, 50 percent, all frames left, used frames right";
    assert_eq!(told(&window, name).len(), 1);
    window.press(Key::ArrowLeft);
    window.press(Key::ArrowLeft);
    assert_eq!(told(&window, "Divider, 48 percent").len(), 1);
    window.press(Key::Home);
    assert_eq!(told(&window, "Divider, 0 percent").len(), 1);
    window.press(Key::End);
    assert_eq!(told(&window, "Divider, 100 percent").len(), 1);

    // Another blend is here at once; a repair is built.
    window.click("Each pixel: Average");
    window.wait(is_built);
    window.click("Each pixel: Brightest");
    check(&mut window, "Paint out streaks");
    check(&mut window, "Bridge the pauses");
    window.wait(is_built);
    let recipe = |window: &Window| {
        let night = window.model().night.as_ref().unwrap();
        night
            .resulting
            .shown
            .as_ref()
            .unwrap()
            .request
            .recipe
            .clone()
    };
    assert!(recipe(&window).bridges() > FRAMES / 2);
    window.click("Try: Pairs summed");
    window.wait(is_built);
    assert_eq!(recipe(&window).parts(), used.div_ceil(2));
    window.click("Try: As taken");
    window.wait(is_built);
    window.click("Zoom: 1:1");
    window.wait(|model| {
        let night = model.night.as_ref().unwrap();
        night.building.is_none() && night.resulting.close.is_some()
    });
    window.save("result-close");
    window.press(Key::X);

    // Saved where it was asked for; what is there stays.
    let to = folder.path().join("picture.tif");
    let app = window.harness.state_mut();
    app.apply(Action::TypeExport(to.display().to_string()));
    app.apply(Action::ExportTyped(ExportWhat::Result));
    window.wait(|model| model.notices.iter().any(|n| n.text.contains("picture.tif")));
    assert_eq!(image::image_dimensions(&to).unwrap(), (900, 600));
}

#[test]
fn the_run_is_moved_and_made_the_verdict_and_taken_back() {
    let (_folder, mut window) = opened((1100.0, 720.0));
    window.press(Key::Num3);
    window.wait(is_built);
    let run = |window: &Window| window.model().night.as_ref().unwrap().run().unwrap();
    window.click("Longest run");
    window.wait(is_built);
    assert_eq!(run(&window), (0, FRAMES - 1));
    // The end is held with the pointer or Tab; arrows move it then.
    window
        .harness
        .state_mut()
        .apply(Action::Result(ResultAction::Hold(Some(RunEnd::Last))));
    window.press(Key::ArrowLeft);
    window.press(Key::ArrowLeft);
    assert_eq!(run(&window), (0, FRAMES - 3));
    window.wait(is_built);
    window.save("result-run");
    let before = window.model().night.as_ref().unwrap().verdicts.clone();
    window.click("Make it the verdict");
    let night = window.model().night.as_ref().unwrap();
    assert_eq!(night.judged_run(), Some((0, FRAMES - 3)));
    window.press(Key::Z);
    assert_eq!(window.model().night.as_ref().unwrap().verdicts, before);
}

#[test]
fn the_film_plays_and_every_theme_holds() {
    let (_folder, mut window) = opened((1440.0, 900.0));
    window.press(Key::Num3);
    window.wait(is_built);
    window.click("Show: Film");
    let view = |window: &Window| {
        let night = window.model().night.as_ref().unwrap();
        night.resulting.view_for(window.model().purpose)
    };
    assert_eq!(view(&window), ResultView::Film);
    window.save("result-film");
    window.press(Key::ArrowRight);
    let at = |window: &Window| window.model().night.as_ref().unwrap().resulting.film_at;
    assert_eq!(at(&window), 1);
    window.click("Frames a second: 30");
    window.harness.key_press(Key::Space);
    for _ in 0..400 {
        window.harness.step();
        if at(&window) > 3 {
            break;
        }
    }
    assert!(at(&window) > 3);
    for _ in 0..2000 {
        window.harness.step();
        if !window.model().night.as_ref().unwrap().resulting.playing {
            break;
        }
    }
    assert!(
        !window.model().night.as_ref().unwrap().resulting.playing,
        "it ends"
    );
    for theme in [Theme::Red, Theme::Day] {
        window.harness.state_mut().apply(Action::SetTheme(theme));
        for view in ["Show: Trails", "Show: Film"] {
            window.click(view);
            window.harness.run();
            if theme == Theme::Red {
                let picture = window.picture();
                let lit = picture
                    .pixels
                    .iter()
                    .filter(|c| c.g() > 0 || c.b() > 0)
                    .count();
                assert_eq!(lit, 0, "{view}");
                window.save("result-red");
            } else {
                window.save("result-day");
            }
        }
    }
}

#[test]
fn without_a_measured_or_used_frame_the_page_says_so() {
    let mut window = Window::with_invented(1440.0, 900.0, 100);
    window.press(Key::Num3);
    window.harness.run();
    window.save("result-measuring");
    assert!(!told(&window, "once the night is measured").is_empty());
}
