//! What is drawn, at the sizes the layout is made for.

use nightloupe::app::{Action, Page, Theme};

use super::Window;

#[test]
fn a_measured_night_at_full_size() {
    let window = Window::with_invented(1440.0, 900.0, 360);
    window.save("night");
}

#[test]
fn a_measured_night_in_a_small_window() {
    let window = Window::with_invented(1100.0, 720.0, 360);
    window.save("night-small");
}

#[test]
fn a_night_being_measured() {
    let window = Window::with_invented(1440.0, 900.0, 140);
    window.save("measuring");
}

#[test]
fn a_range_is_chosen_by_dragging_in_the_lanes() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.harness.drag_at(egui::pos2(500.0, 240.0));
    window.harness.step();
    window.harness.hover_at(egui::pos2(520.0, 240.0));
    window.harness.step();
    window.harness.hover_at(egui::pos2(540.0, 240.0));
    window.harness.step();
    window.harness.drop_at(egui::pos2(540.0, 240.0));
    window.harness.run();
    let open = window.model().night.as_ref().unwrap();
    // 320 frames lie on 821 points from 142 on: 40 points are some eighteen frames.
    assert!((17..=19).contains(&open.range.len()), "{:?}", open.range);
    window.save("range");
}

#[test]
fn the_pointer_gets_a_line_and_a_tip() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    let before = window.picture();
    window.harness.hover_at(egui::pos2(505.0, 240.0));
    window.harness.run();
    assert!(window.picture() != before);
    window.save("hover");
}

#[test]
fn zoomed_in_every_frame_has_its_bar() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.harness.state_mut().apply(Action::Choose(158));
    window
        .harness
        .state_mut()
        .apply(Action::ZoomTo(4200.0, 6200.0));
    window.press(egui::Key::R);
    window.save("zoomed");
    window.press(egui::Key::Escape);
    window.click("Keys");
    window.save("keys");
}

#[test]
fn red_light_lights_only_red() {
    for page in Page::ALL {
        let mut window = Window::with_invented(1440.0, 900.0, 360);
        window
            .harness
            .state_mut()
            .apply(Action::SetTheme(Theme::Red));
        window.harness.state_mut().apply(Action::GoTo(page));
        window.harness.run();
        window.save("red");
        let other = (window.picture().pixels.iter())
            .filter(|colour| colour.g() > 0 || colour.b() > 0)
            .count();
        assert_eq!(other, 0, "{page:?}");
    }
}
