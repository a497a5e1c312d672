//! The Compare page: a ladder of settings, simulated, opened and looked at.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use egui::Key;
use egui_kittest::kittest::NodeT;
use nightloupe::app::{Action, CropState, Model, Page, PictureState, Theme};
use nightloupe::sim::scenes::ISO_LADDER;
use nightloupe::sim::{Format, Scene, SimOptions, simulate};
use nightloupe::verdict::Purpose;

use super::Window;

/// Four ISO settings at 30 s and then at 15 s, three frames each, under one sky.
fn shoot(folder: &Path) {
    let scene = Scene {
        isos: &[800, 1600, 3200, 6400],
        exposures_s: &[30.0, 15.0],
        ..ISO_LADDER
    };
    let options = SimOptions {
        scene,
        frames: 24,
        width: 900,
        height: 600,
        format: Format::Dng,
        ..SimOptions::default()
    };
    let run = AtomicBool::new(false);
    simulate(folder, &options, &|_, _| (), &run).unwrap();
}

fn crops_are_here(model: &Model) -> bool {
    let comparing = &model.night.as_ref().unwrap().comparing;
    let is_here = |request| matches!(comparing.crop_of(request), Some(CropState::Ready(_)));
    !comparing.fields.is_empty() && comparing.fields.iter().all(|field| is_here(&field.request))
}

fn pair_is_here(model: &Model) -> bool {
    let night = model.night.as_ref().unwrap();
    night.comparing.pair.is_some_and(|pair| {
        pair.iter().all(|side| {
            let row = night.row_of_side(*side).unwrap();
            let state = night.picture_of(night.night().rows[row].shot);
            matches!(state, Some(PictureState::Ready(_)))
        })
    })
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

#[test]
fn settings_are_compared_by_name_and_key() {
    let folder = tempfile::tempdir().unwrap();
    let ladder = folder.path().join("Ladder");
    shoot(&ladder);
    let mut window = Window::new(1440.0, 900.0);
    let app = window.harness.state_mut();
    app.apply(Action::SetPurpose(Purpose::Still));
    app.apply(Action::Open(vec![ladder]));
    window.wait(|model| (model.night.as_ref()).is_some_and(|night| night.finished.is_some()));
    window.press(Key::Num2);
    assert_eq!(window.model().page, Page::Compare);
    window.wait(crops_are_here);
    window.save("compare");

    let night = window.model().night.as_ref().unwrap();
    let comparison = night.comparison().unwrap().clone();
    assert_eq!(comparison.columns.len(), 8);
    assert!(comparison.stars >= 30, "{}", comparison.stars);
    let best = comparison.best.unwrap();
    // Half the light over a shorter trail: √½ · √(1.92/1.29) = 0.86 for σ 1 px and trails of 5.7 and
    // 2.8 px (the sky's noise under a uniform trail); stacked two by two √2 times that.
    let snr = |column: usize| comparison.columns[column].star_snr.unwrap().value;
    let ratio = snr(5) / snr(1);
    assert!((ratio / 0.86 - 1.0).abs() < 0.1, "{ratio}");
    assert_eq!(comparison.columns[best].exposure_s, Some(30.0));
    assert!(comparison.better.as_ref().unwrap().contains("two of 15 s"));
    // The page says what the advice says, and every cell has a name.
    assert_eq!(told(&window, "best here").len(), 1);
    assert!(!told(&window, &comparison.headline).is_empty());
    let noise = format!("{}: Signal-to-noise: ", comparison.name(best));
    assert_eq!(told(&window, &noise).len(), 1);
    // Crops of the same field lie where the sky has turned to.
    let first = &night.comparing.fields[0];
    let last = night.comparing.fields.last().unwrap();
    let moved = (first.centre.0 - last.centre.0).hypot(first.centre.1 - last.centre.1);
    assert!(moved > 20.0, "{moved}");

    window.press(Key::E);
    window.wait(crops_are_here);
    let stacked = |model: &Model| -> Vec<usize> {
        let fields = &model.night.as_ref().unwrap().comparing.fields;
        fields.iter().map(|field| field.frames).collect()
    };
    assert_eq!(stacked(window.model()), [1, 1, 1, 1, 2, 2, 2, 2]);
    window.save("compare-equal-time");
    window.click("Equal total time");
    window.click("Crops: As recorded");
    window.wait(crops_are_here);
    window.save("compare-as-recorded");
    window.click("Crops: Same brightness");

    window.harness.set_size(egui::vec2(1100.0, 720.0));
    window.harness.run();
    window.save("compare-small");
    window
        .harness
        .state_mut()
        .apply(Action::SetTheme(Theme::Red));
    window.harness.run();
    let picture = window.picture();
    assert!(
        picture
            .pixels
            .iter()
            .all(|colour| colour.g() == 0 && colour.b() == 0)
    );
    window
        .harness
        .state_mut()
        .apply(Action::SetTheme(Theme::Day));
    window.harness.set_size(egui::vec2(1440.0, 900.0));
    window.harness.run();
    window.save("compare-day");
    window
        .harness
        .state_mut()
        .apply(Action::SetTheme(Theme::Dark));

    window.click("Copy the comparison as text");
    two_frames_side_by_side(&mut window, &comparison.name(best));
}

fn two_frames_side_by_side(window: &mut Window, best: &str) {
    window.click("Side by side");
    window.wait(pair_is_here);
    window.save("compare-pair");
    assert!(!told(window, best).is_empty());
    window.click("Both at 1:1");
    window.press(Key::M);
    window.wait(pair_is_here);
    window.save("compare-pair-close");
    let side = |window: &Window, which: usize| {
        window
            .model()
            .night
            .as_ref()
            .unwrap()
            .comparing
            .pair
            .unwrap()[which]
    };
    let before = side(window, 1);
    window.click("Next frame on the right");
    assert_eq!(side(window, 1).frame, before.frame + 1);
    window.wait(pair_is_here);
    // Another setting on the right, by its menu.
    let name = {
        let night = window.model().night.as_ref().unwrap();
        night.comparison().unwrap().name(before.column)
    };
    window.click(&format!("Setting on the right: {name}"));
    window.click("ISO 6400, 30 s");
    assert_eq!(side(window, 1).column, 3);
    window.press(Key::Escape);
    let night = window.model().night.as_ref().unwrap();
    assert!(night.comparing.pair.is_none());
}

#[test]
fn a_night_of_one_setting_says_what_to_shoot() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.click("Page: Compare");
    assert!(
        !told(
            &window,
            "All frames have one setting: ISO 1600, 30 s, f/2.8"
        )
        .is_empty()
    );
    window.save("compare-nothing");
    // Keys of the comparison do nothing here.
    window.press(Key::P);
    assert!(
        window
            .model()
            .night
            .as_ref()
            .unwrap()
            .comparing
            .pair
            .is_none()
    );
}
