//! What is drawn, at the sizes the layout is made for.

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
