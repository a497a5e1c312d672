//! What is said about a night as a whole.

use jiff::civil::date;

use super::tests::{facts, put, run, taken};
use super::*;
use crate::frame::{Supplied, TakenAt};

#[test]
fn what_the_clock_and_the_lens_do_not_say() {
    let mut inputs = run(4);
    for input in &mut inputs {
        let second = input.shot as i8;
        let facts = facts(input);
        facts.focal_length_mm = None;
        facts.pixel_um = None;
        facts.taken_at = Some(TakenAt {
            local: date(1980, 1, 1).at(0, 1, second, 0),
            has_subseconds: false,
            offset_s: None,
        });
    }
    let said = put(&inputs).warnings.join("\n");
    for words in [
        "4 frames the focal length and pixel pitch",
        "--focal-mm",
        "no time zone",
        "1980",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let options = NightOptions {
        supplied_for_all: Supplied {
            focal_length_mm: Some(24.0),
            pixel_um: Some(4.3),
            offset_s: Some(3600),
            ..Supplied::default()
        },
        ..NightOptions::default()
    };
    let night = assemble(&inputs, &options);
    assert_eq!(night.groups[0].settings.focal_length_mm, Some(24.0));
    assert_eq!(
        night.warnings.len(),
        1,
        "only the reset clock: {:?}",
        night.warnings
    );
}

#[test]
fn a_clock_set_back_is_said() {
    let mut inputs = run(20);
    for (k, input) in inputs.iter_mut().enumerate() {
        let back = if k >= 10 { 3600.0 } else { 0.0 };
        facts(input).taken_at = Some(TakenAt {
            offset_s: None,
            ..taken(32.0 * k as f64 - back, true)
        });
    }
    let said = put(&inputs).warnings.join("\n");
    assert!(
        said.contains("goes back by an hour at frame_11.tif"),
        "{said}"
    );
    // With offsets the frames are in order and nothing is wrong.
    for (k, input) in inputs.iter_mut().enumerate() {
        let offset = if k >= 10 { 0 } else { 3600 };
        if let Some(taken) = facts(input).taken_at.as_mut() {
            taken.offset_s = Some(offset);
        }
    }
    let night = put(&inputs);
    assert!(night.warnings.is_empty(), "{:?}", night.warnings);
    assert_eq!(night.rows[19].shot, 19);
}

#[test]
fn mixed_sizes_are_said() {
    let mut inputs = run(5);
    facts(&mut inputs[4]).width_px = 800;
    let night = put(&inputs);
    assert_eq!(night.groups.len(), 2);
    let said = night.warnings.join("\n");
    assert!(
        said.contains("1600 × 1067 (4 frames), 800 × 1067 (1 frame)"),
        "{said}"
    );
}

#[test]
fn changed_settings_are_groups_and_a_warning() {
    let mut inputs = run(30);
    for input in &mut inputs[20..] {
        facts(input).iso = Some(3200);
    }
    facts(&mut inputs[5]).exposure_s = Some(30.1);
    let night = put(&inputs);
    assert_eq!(night.groups.len(), 2);
    assert_eq!(night.groups[1].rows, (20..30).collect::<Vec<_>>());
    assert_eq!(night.sets[0].main_group, Some(0));
    let said = night.warnings.join("\n");
    assert!(
        said.contains("Settings change during the night (ISO): 2 groups"),
        "{said}"
    );
}

#[test]
fn auto_iso_is_said_instead_of_the_many_groups() {
    let mut inputs = run(12);
    for (k, input) in inputs.iter_mut().enumerate() {
        facts(input).iso = Some([1600, 2000, 1600, 2500, 2500, 1600, 3200][k * k % 7]);
    }
    let night = put(&inputs);
    let said = night.warnings.join("\n");
    assert!(said.contains("between 1600 and 2500"), "{said}");
    assert!(!said.contains("Settings change"), "{said}");
    assert!(night.rows.iter().all(|row| row.group.is_some()));
}

#[test]
fn a_clock_put_right_is_put_right_once_and_said() {
    let inputs = run(4);
    let camera = inputs[0]
        .facts
        .as_ref()
        .map(crate::frame::Facts::camera_key);
    let by = |clock_add_s| Supplied {
        clock_add_s,
        ..Supplied::default()
    };
    let mut options = NightOptions::default();
    options
        .supplied
        .extend(camera.map(|key| (key, by(Some(-3600.0)))));
    let seconds = |options: &NightOptions| {
        let night = assemble(&inputs, options);
        let clock = night.rows[0].facts.taken_at.unwrap().clock_s();
        (
            clock - put(&inputs).rows[0].facts.taken_at.unwrap().clock_s(),
            night,
        )
    };
    let (moved, night) = seconds(&options);
    assert!((moved + 3600.0).abs() < 1e-6, "{moved}");
    let said = night.warnings.join("\n");
    assert!(said.contains("put right by −1:00:00"), "{said}");
    // The command line's word stands for the kept one; it does not come on top.
    options.supplied_for_all = by(Some(60.0));
    let (moved, _) = seconds(&options);
    assert!((moved - 60.0).abs() < 1e-6, "{moved}");
}
