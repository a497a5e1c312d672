//! What the wheel, dragging, dropping and Tab do.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use egui::{Event, Key, Modifiers, MouseWheelSource, MouseWheelUnit, Pos2, TouchPhase};
use egui::{pos2, vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use nightloupe::app::{Action, PictureState};
use nightloupe::engine::{Derived, Report};
use nightloupe::frame::{Colour, Orientation};
use nightloupe::night::Night;
use nightloupe::picture::{SkyStats, Stretch, Turn, View, render};
use nightloupe::sim::{Format, SimOptions, simulate};

use super::Window;

/// In the lanes of a window of 1440 × 900.
const LANES: Pos2 = pos2(500.0, 240.0);
/// In the picture of the frame there.
const FRAME: Pos2 = pos2(330.0, 700.0);

impl Window {
    fn turn_wheel(&mut self, at: Pos2, by: f32, modifiers: Modifiers) {
        self.harness.hover_at(at);
        self.harness.step();
        self.harness.event_modifiers(
            Event::MouseWheel {
                unit: MouseWheelUnit::Point,
                delta: vec2(0.0, by),
                phase: TouchPhase::Move,
                source: MouseWheelSource::Wheel,
                modifiers,
            },
            modifiers,
        );
        self.harness.run();
    }

    fn drag(&mut self, from: Pos2, to: Pos2) {
        self.harness.drag_at(from);
        self.harness.step();
        for part in [0.3, 0.7, 1.0] {
            self.harness.hover_at(from.lerp(to, part));
            self.harness.step();
        }
        self.harness.drop_at(to);
        self.harness.run();
    }

    fn shown_times(&self) -> (f64, f64) {
        self.model().night.as_ref().unwrap().shown_times()
    }
}

/// Three small simulated frames, measured, the first one's picture read.
fn simulated(width: f32, height: f32) -> (tempfile::TempDir, Window) {
    let folder = tempfile::tempdir().unwrap();
    let options = SimOptions {
        frames: 3,
        width: 480,
        height: 320,
        format: Format::Tiff,
        ..SimOptions::default()
    };
    simulate(folder.path(), &options, &|_, _| (), &AtomicBool::new(false)).unwrap();
    let mut window = Window::new(width, height);
    drop_on(&mut window, folder.path());
    window.wait(|model| {
        model.night.as_ref().is_some_and(|night| {
            let shot = night.chosen_row().map(|(_, row)| row.shot);
            let picture = shot.and_then(|shot| night.picture_of(shot));
            night.finished.is_some() && matches!(picture, Some(PictureState::Ready(_)))
        })
    });
    (folder, window)
}

#[derive(Debug)]
struct Dropped(PathBuf);

impl egui::DroppedFile for Dropped {
    fn path(&self) -> &Path {
        &self.0
    }

    fn bytes(&self) -> Result<Vec<u8>, String> {
        Err("only its path is wanted".to_owned())
    }
}

fn drop_on(window: &mut Window, folder: &Path) {
    let dropped = Arc::new(Dropped(folder.to_owned()));
    (window.harness.input_mut().dropped_files).push(dropped);
    window.harness.step();
}

#[test]
fn the_wheel_zooms_time_about_the_pointer_and_shift_pans() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    let (from, to) = window.shown_times();
    window.turn_wheel(LANES, 200.0, Modifiers::NONE);
    let (near_from, near_to) = window.shown_times();
    assert!(near_from > from && near_to < to);
    // The pointer's time stays: it divides both spans in the same proportion.
    let about = (near_from - from) / ((to - from) - (near_to - near_from));
    let pointer = f64::from(LANES.x - 142.0) / (1010.0 - 46.0 - 142.0);
    assert!((about - pointer).abs() < 0.02, "{about} {pointer}");
    window.turn_wheel(LANES, -60.0, Modifiers::SHIFT);
    let (pan_from, pan_to) = window.shown_times();
    assert!(pan_from > near_from);
    assert!((pan_to - pan_from - (near_to - near_from)).abs() < 1e-6);
}

#[test]
fn the_edge_of_a_choice_is_dragged() {
    let mut window = Window::with_invented(1440.0, 900.0, 360);
    window.drag(pos2(500.0, 240.0), pos2(540.0, 240.0));
    let range = |window: &Window| window.model().night.as_ref().unwrap().range.clone();
    let before = range(&window);
    let (first, last) = (before[0], *before.last().unwrap());
    // A frame is 2.3 points wide: the choice ends where the pointer let go, give or take one.
    window.drag(pos2(541.0, 240.0), pos2(600.0, 240.0));
    let after = range(&window);
    assert_eq!(after[0], first);
    assert!(*after.last().unwrap() > last + 20, "{after:?}");
}

#[test]
fn the_frame_zooms_by_the_wheel_and_pans_by_dragging() {
    let (_folder, mut window) = simulated(1440.0, 900.0);
    let fit = window.picture();
    window.turn_wheel(FRAME, 320.0, Modifiers::NONE);
    let near = window.picture();
    assert!(near != fit);
    window.save("frame-near");
    window.drag(FRAME, FRAME + vec2(60.0, 20.0));
    assert!(window.picture() != near);
    // X goes back, by way of 1:1.
    window.press(Key::X);
    window.press(Key::X);
    window.harness.remove_cursor();
    window.harness.run();
    let back = window.picture();
    let differ = (back.pixels.iter().zip(&fit.pixels)).filter(|(a, b)| a != b);
    assert_eq!(differ.count(), 0);
}

#[test]
fn marks_are_in_a_menu_where_there_is_little_room() {
    let (_folder, mut window) = simulated(1100.0, 720.0);
    let before = window.model().marks;
    window.click("Marks");
    window.click("Draw streaks");
    assert!(window.model().marks != before);
    window.press(Key::Escape);
    assert!(window.harness.query_by_label("Draw streaks").is_none());
}

#[test]
fn the_lens_is_typed_and_the_night_derived_again() {
    let (_folder, mut window) = simulated(1440.0, 900.0);
    window.click("Lens and camera…");
    let field = "Focal length, mm";
    window.harness.get_by_label(field).focus();
    window.harness.run();
    window.harness.get_by_label(field).type_text("35");
    window.harness.run();
    window.save("lens");
    // The files say their place, and the frames are of the end of dusk.
    let lane = window
        .harness
        .query_by_label_contains("twilight all the time");
    assert!(lane.is_some(), "the sky lane says so by name");
    let place = "Place, lat, lon";
    window.harness.get_by_label(place).focus();
    window.harness.run();
    window.harness.get_by_label(place).type_text("95, 10");
    window.harness.run();
    assert!(
        window
            .harness
            .query_by_label_contains("Place: latitude comes first")
            .is_some()
    );
    for _ in 0..6 {
        window.harness.key_press(Key::Backspace);
    }
    window.harness.get_by_label(place).type_text("60.1, 24.9");
    window.harness.run();
    window.harness.get_by_label(field).focus();
    window.harness.run();
    // From the last field Tab leads to the button.
    for _ in 0..7 {
        window.press(Key::Tab);
    }
    assert!(window.harness.get_by_label("Use these").is_focused());
    window.press(Key::Enter);
    window.wait(|model| {
        let (_, row) = model.night.as_ref().unwrap().chosen_row().unwrap();
        row.facts.focal_length_mm == Some(35.0)
    });
    let kept = window.model().night.as_ref().unwrap().usual_site;
    assert_eq!(
        kept.map(|site| site.to_string()),
        Some("60.1, 24.9".to_owned())
    );
    assert!(window.harness.query_by_label(field).is_none());
}

#[test]
fn files_without_a_focal_length_are_said_to_be() {
    for size in [(1440.0, 900.0), (1100.0, 720.0), (960.0, 640.0)] {
        let mut window = Window::with_invented(size.0, size.1, 360);
        let said = "No focal length in these files: no trails predicted.";
        assert!(window.harness.query_by_label(said).is_none());
        let open = window.model().night.as_ref().unwrap();
        let (id, mut derived) = (open.id, open.derived.clone());
        let mut night: Night = (*derived.night).clone();
        for group in &mut night.groups {
            group.settings.focal_length_mm = None;
        }
        derived = Derived {
            night: Arc::new(night),
            ..derived
        };
        let report = Action::Report(Box::new(Report::Derived { id, derived }));
        window.harness.state_mut().apply(report);
        window.harness.run();
        window.harness.get_by_label(said);
        let button = window.harness.get_by_label("Lens and camera…").rect();
        assert!(button.right() < size.0, "{button:?}");
        window.save(&format!("no-lens-{}", size.0));
    }
}

#[test]
fn tab_goes_from_the_top_to_the_foot() {
    for size in [(1440.0, 900.0), (1100.0, 720.0), (960.0, 640.0)] {
        let mut window = Window::with_invented(size.0, size.1, 360);
        let mut order: Vec<String> = Vec::new();
        for _ in 0..120 {
            window.harness.key_press(Key::Tab);
            window.harness.run();
            let focused = (window.harness.root().children_recursive())
                .find(egui_kittest::Node::is_focused)
                .map(|node| node.accesskit_node().label().unwrap_or_default());
            let name = focused.unwrap_or_default();
            if order.first() == Some(&name) {
                break;
            }
            order.push(name);
        }
        let stops = [
            "Open a folder of frames",
            "Page: Night",
            "Lens and camera…",
            "Lanes of the night",
            "Frame 1 of",
            "Previous",
            "Keep frame 1",
            "Frame 1 at",
            "Top left spot",
        ];
        let places: Vec<Option<usize>> = (stops.iter())
            .map(|stop| order.iter().position(|name| name.starts_with(stop)))
            .collect();
        assert!(places.iter().all(Option::is_some), "{places:?} {order:#?}");
        assert!(places.is_sorted(), "{places:?} {order:#?}");
        // The panel's findings come after the frame.
        let finding = &window.model().night.as_ref().unwrap().judged().findings[0];
        let finding = order.iter().position(|name| name.contains(&finding.title));
        assert!(finding > places[8], "{order:#?}");
        assert!(order.iter().all(|name| !name.is_empty()), "{order:#?}");
    }
}

#[test]
fn a_look_at_a_large_frame_is_quick() {
    let (width, height) = (6000, 4000);
    let grey = |i: usize| [4000 + (i * 7919 % 601) as u16; 3];
    let colour = Colour {
        width,
        height,
        rgb: (0..width * height).map(grey).collect(),
    };
    let (overview, scale) = nightloupe::picture::reduce_to(&colour, 2048);
    let turn = Turn::new(Orientation(1), width, height);
    let took = |what: &str, work: &dyn Fn()| {
        let started = Instant::now();
        for _ in 0..5 {
            work();
        }
        let each = started.elapsed() / 5;
        println!("{what}: {each:?}");
        each
    };
    let stretch = Stretch::new(SkyStats::of(&colour));
    let one = View {
        left: 2000,
        top: 1500,
        width: 700,
        height: 470,
        zoom: 1.0,
    };
    let fit = View::fit(width, height, 700, 470);
    let mut all = took("sky of the frame", &|| {
        drop(Stretch::new(SkyStats::of(&colour)));
    });
    all += took("fit", &|| {
        drop(render(&overview, scale, fit, &stretch, &turn));
    });
    all += took("1:1", &|| {
        drop(render(&colour, 1.0, one, &stretch, &turn));
    });
    // Many times what is aimed at on a free machine, so that a busy one does not fail it.
    assert!(all.as_millis() < 500, "{all:?}");
}
