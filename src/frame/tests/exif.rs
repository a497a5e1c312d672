//! Capture facts against exiftool's reading of the same files (tests/reference/make.sh).

use serde_json::Value;

use super::reference;
use crate::frame::{Facts, OpenOptions, Orientation, open, read_facts};

fn facts(name: &str) -> Facts {
    read_facts(&reference(&format!("exif/{name}")), &OpenOptions::default()).unwrap()
}

/// What exiftool reads, by file name.
fn exiftool() -> Vec<(String, Value)> {
    let text = std::fs::read_to_string(reference("exif/exiftool.json")).unwrap();
    let files: Vec<Value> = serde_json::from_str(&text).unwrap();
    let name = |file: &Value| {
        file["SourceFile"]
            .as_str()
            .unwrap()
            .trim_start_matches("./")
            .to_owned()
    };
    files.into_iter().map(|file| (name(&file), file)).collect()
}

fn near(ours: Option<f64>, theirs: &Value, what: &str) {
    // exiftool writes a fraction over 0 as a word, which is unknown here, as are zeros.
    let theirs = theirs.as_f64().filter(|v| *v != 0.0);
    match (ours, theirs) {
        (Some(a), Some(b)) => assert!((a - b).abs() < 1e-6 * b.abs().max(1.0), "{what}: {a} {b}"),
        (a, b) => assert_eq!(a, b, "{what}"),
    }
}

#[test]
fn every_file_reads_as_exiftool_reads_it() {
    let files = exiftool();
    assert_eq!(files.len(), 11);
    for (name, file) in files {
        let facts = facts(&name);
        let exposure = file.get("ExposureTime").or(file.get("ShutterSpeedValue"));
        near(
            facts.exposure_s,
            exposure.unwrap_or(&Value::Null),
            &format!("{name} exposure"),
        );
        let aperture = file.get("FNumber").or(file.get("ApertureValue"));
        near(
            facts.f_number,
            aperture.unwrap_or(&Value::Null),
            &format!("{name} aperture"),
        );
        let iso = file.get("RecommendedExposureIndex").unwrap_or(&file["ISO"]);
        near(facts.iso.map(f64::from), iso, &format!("{name} iso"));
        near(
            facts.focal_length_mm,
            &file["FocalLength"],
            &format!("{name} focal length"),
        );
        near(
            facts.focal_35mm,
            &file["FocalLengthIn35mmFormat"],
            &format!("{name} 35 mm"),
        );
        near(
            facts.gps.map(|g| g.latitude_deg),
            &file["GPSLatitude"],
            &format!("{name} latitude"),
        );
        let serial = file["SerialNumber"].as_str();
        assert_eq!(facts.serial.as_deref(), serial, "{name}");
        assert_eq!((facts.width_px, facts.height_px), (64, 48), "{name}");
    }
}

#[test]
fn a_full_set_in_jpeg_and_png() {
    for name in ["full.jpg", "full.png"] {
        let facts = facts(name);
        let taken = facts.taken_at.unwrap();
        assert_eq!(taken.iso8601(), "2026-03-01T21:04:05.07+01:00");
        assert!(taken.has_subseconds);
        assert_eq!(facts.camera.as_deref(), Some("Canon EOS 6D"));
        assert_eq!(facts.lens.as_deref(), Some("EF24mm f/1.4L II USM"));
        assert_eq!(facts.orientation, Orientation(6));
        // 25.4 mm / 3810.585 a inch.
        assert!((facts.pixel_um.unwrap() - 6.665_642).abs() < 1e-5);
        assert!((facts.gps.unwrap().longitude_deg - 12.5).abs() < 1e-9);
    }
}

#[test]
fn names_and_fallbacks() {
    let facts_of = facts;
    assert_eq!(
        facts_of("twice-named.jpg").camera.as_deref(),
        Some("NIKON D750")
    );
    assert!(!facts_of("twice-named.jpg").taken_at.unwrap().has_subseconds);
    let apex = facts_of("apex.jpg");
    assert_eq!(apex.exposure_s, Some(16.0));
    assert_eq!(apex.taken_at.unwrap().iso8601(), "2026-03-01T21:04:05");
    assert_eq!(facts_of("high-iso.jpg").iso, Some(102_400));
    let place = facts_of("south-west.jpg").gps.unwrap();
    assert!((place.latitude_deg + 23.7).abs() < 1e-9 && (place.longitude_deg + 68.2).abs() < 1e-9);
}

#[test]
fn what_a_camera_writes_for_nothing_is_unknown() {
    let facts = facts("unknown-lens.jpg");
    assert_eq!(facts.focal_length_mm, None);
    assert_eq!(facts.focal_35mm, None);
    assert_eq!(facts.f_number, None);
    assert_eq!(facts.lens, None);
    assert_eq!(facts.taken_at, None);
    assert_eq!(facts.exposure_s, Some(20.0));
}

#[test]
fn nonsense_is_unknown_and_no_error() {
    let facts = facts("nonsense.jpg");
    let empty = Facts {
        width_px: 64,
        height_px: 48,
        ..Facts::default()
    };
    assert_eq!(facts, empty);
    assert!(open(&reference("exif/nonsense.jpg"), &OpenOptions::default()).is_ok());
}

#[test]
fn pixel_pitch_follows_unit_and_size() {
    assert!((facts("millimetres.jpg").pixel_um.unwrap() - 4.0).abs() < 1e-9);
    assert!((facts("resized.jpg").pixel_um.unwrap() - 8.0).abs() < 1e-9);
    assert_eq!(
        facts("wrong-unit.jpg").pixel_um,
        None,
        "the 35 mm equivalent contradicts it"
    );
}
