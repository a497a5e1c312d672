//! What is drawn, at the sizes the layout is made for.

use egui_kittest::kittest::Queryable;
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
        window.save(&format!("red-{}", page.label().to_lowercase()));
        let other = (window.picture().pixels.iter())
            .filter(|colour| colour.g() > 0 || colour.b() > 0)
            .count();
        assert_eq!(other, 0, "{page:?}");
    }
}

/// Sum of all reds.
fn red_of(window: &Window) -> u64 {
    (window.picture().pixels.iter())
        .map(|colour| u64::from(colour.r()))
        .sum()
}

#[test]
fn red_light_can_be_turned_down() {
    let mut window = Window::with_invented(1100.0, 720.0, 360);
    window.press(egui::Key::T);
    assert_eq!(window.model().comfort.theme, Theme::Red);
    let full = red_of(&window);
    window.harness.get_by_label("Brightness").focus();
    window.press(egui::Key::ArrowLeft);
    let pct = window.model().comfort.brightness_pct;
    assert!((30..100).contains(&pct), "{pct}");
    window.harness.state_mut().apply(Action::SetBrightness(40));
    window.harness.run();
    let dimmed = red_of(&window) as f64 / full as f64;
    assert!((0.36..0.44).contains(&dimmed), "{dimmed}");
}

#[test]
fn by_day_and_in_large_type() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    let dark = red_of(&window);
    window.harness.get_by_label("Light: Day").click();
    window.harness.run();
    assert!(red_of(&window) > 3 * dark);
    window.save("day");
    for _ in 0..2 {
        let modifiers = egui::Modifiers::COMMAND;
        window
            .harness
            .key_press_modifiers(modifiers, egui::Key::Plus);
        window.harness.run();
    }
    assert_eq!(window.model().comfort.text_scale_pct, 130);
    assert!((window.harness.ctx.zoom_factor() - 1.3).abs() < 1e-6);
    window.save("day-large");
}
