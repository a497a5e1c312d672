//! Tables read back by the crate that reads CSV, and the texts.

use super::*;
use crate::advice::{AdviceOptions, NextTime, next_time};
use crate::night::{FrameState, Night};
use crate::verdict::testkit::{Calm, lengthen, put};
use crate::verdict::{Decisions, Judged, Purpose, Thresholds, Verdict, judge};

/// Settling at the start, a damaged file, a pending one, two frames missing, a name like a formula.
fn eventful() -> Night {
    let mut inputs = Calm::default().inputs();
    for (input, by_px) in inputs.iter_mut().zip([8.0, 6.5, 5.2, 4.1]) {
        if let FrameState::Measured(m) = &mut input.state {
            lengthen(std::sync::Arc::make_mut(m), by_px);
        }
    }
    inputs[20].state = FrameState::Failed("damaged: the data end early, \"so\"".to_owned());
    inputs[30].state = FrameState::Pending;
    inputs[35].name = "=cmd(1).dng".to_owned();
    inputs.drain(60..62);
    put(&inputs, true)
}

fn advised(night: &Night, judged: &Judged) -> Vec<NextTime> {
    vec![next_time(night, 0, judged, &AdviceOptions::default())]
}

fn csv_of(table: &Table<'_>) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut bytes = Vec::new();
    write_csv(table, &mut bytes).unwrap();
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let rows: Result<Vec<_>, _> = reader.deserialize().collect();
    rows.unwrap()
}

#[test]
fn columns_are_those_of_the_table_in_its_order() {
    let names: Vec<&str> = COLUMNS.iter().map(|c| c.name).collect();
    let wanted = "file,taken_at,group,kind,exposure_s,iso,f_number,focal_length_mm,pixel_um,linear,\
                  star_count,fwhm_px,elongation,trail_length_px,trail_centre_px,trail_max_px,\
                  trail_angle_deg,expected_trail_px,sky_level_pct,sky_gradient_pct,\
                  sky_mag_arcsec2,noise_pct,saturated_pct,streak_count,transparency,shift_px,\
                  verdict,reasons,error";
    assert_eq!(names.join(","), wanted);
    assert!(COLUMNS.iter().all(|c| c.meaning.ends_with('.')));
}

#[test]
fn a_table_comes_back_as_it_was() {
    let night = eventful();
    let judged = judge(&night, Purpose::Trails, &Thresholds::default());
    let decisions: Decisions = [(50, Verdict::Reject)].into();
    let table = Table::new(&night, &judged, &decisions);
    let rows = csv_of(&table);
    assert_eq!(rows.len(), 118);
    for (row, read) in night.rows.iter().zip(&rows) {
        let width = row.measure.as_deref().and_then(|m| m.fwhm_px);
        let told = read["fwhm_px"].parse::<f64>().ok();
        assert_eq!(width.is_some(), told.is_some(), "{read:?}");
        if let (Some(width), Some(told)) = (width, told) {
            assert!((width - told).abs() <= 0.005_000_1);
        }
        assert!(!read["verdict"].is_empty());
        assert!(read.values().all(|v| v != "NaN" && v != "inf"));
    }
    assert_eq!(rows[0]["verdict"], "reject");
    assert_eq!(rows[0]["reasons"], "settling");
    assert_eq!(rows[0]["taken_at"], "2026-08-28T21:40:00+02:00");
    assert_eq!(rows[0]["exposure_s"], "30");
    assert_eq!(rows[0]["group"], "1");
    assert_eq!(rows[0]["linear"], "true");
    // A damaged frame: what the file said of itself, no values, an error, reject.
    assert_eq!(rows[20]["sky_level_pct"], "");
    assert_eq!(rows[20]["kind"], "");
    assert_eq!(rows[20]["error"], "damaged: the data end early, \"so\"");
    assert_eq!(
        (rows[20]["verdict"].as_str(), rows[20]["reasons"].as_str()),
        ("reject", "unreadable")
    );
    // Not measured yet: kept, nothing said.
    assert_eq!(
        (rows[30]["verdict"].as_str(), rows[30]["reasons"].as_str()),
        ("keep", "")
    );
    assert_eq!(rows[30]["star_count"], "");
    // The person's word.
    assert_eq!(rows[50]["verdict"], "reject");
    // After the gap.
    assert_eq!(
        (rows[60]["verdict"].as_str(), rows[60]["reasons"].as_str()),
        ("keep", "gap")
    );
    // No spreadsheet may run it.
    assert_eq!(rows[35]["file"], "'=cmd(1).dng");
}

#[test]
fn cells_never_start_a_formula_and_zero_has_no_sign() {
    for text in ["=1", "+1", "-1", "@x", "\tx"] {
        assert!(
            Cell::Text(text.to_owned()).csv().starts_with('\''),
            "{text}"
        );
    }
    assert_eq!(Cell::Text("a=1".to_owned()).csv(), "a=1");
    assert_eq!(Cell::Number(-0.000_4, 3).csv(), "0.000");
    assert_eq!(Cell::Number(-0.4, 1).csv(), "-0.4");
    assert_eq!(Cell::Number(1.0 / 8000.0, 6).csv(), "0.000125");
}

#[test]
fn json_has_the_same_names_and_values() {
    let night = eventful();
    let judged = judge(&night, Purpose::Trails, &Thresholds::default());
    let table = Table::new(&night, &judged, &Decisions::new());
    let mut bytes = Vec::new();
    write_json(&table, &advised(&night, &judged), &mut bytes).unwrap();
    let json: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
    let frames = json["frames"].as_array().unwrap();
    let rows = csv_of(&table);
    assert_eq!(frames.len(), rows.len());
    for (frame, row) in frames.iter().zip(&rows) {
        for column in &COLUMNS {
            let (value, cell) = (&frame[column.name], &row[column.name]);
            match value {
                serde_json::Value::Null => assert_eq!(cell, ""),
                serde_json::Value::String(text) => {
                    assert_eq!(cell.trim_start_matches('\''), text);
                }
                serde_json::Value::Number(n) => {
                    assert_eq!(cell.parse::<f64>().unwrap(), n.as_f64().unwrap());
                }
                other => assert_eq!(cell, &other.to_string()),
            }
        }
    }
    assert_eq!(json["purpose"], "trails");
    assert!(json["findings"].as_array().is_some_and(|f| !f.is_empty()));
    assert_eq!(json["findings"][0]["reason"], "settling");
    assert!(json["next_time"][0]["settings"].is_array());
    assert!(json["events"].as_array().is_some_and(|e| !e.is_empty()));
}

#[test]
fn lists_are_names_and_hold_every_sky_frame_once() {
    let night = eventful();
    let judged = judge(&night, Purpose::Trails, &Thresholds::default());
    let table = Table::new(&night, &judged, &Decisions::new());
    let list = |write: fn(&Table<'_>, &mut dyn std::io::Write) -> std::io::Result<()>| {
        let mut bytes = Vec::new();
        write(&table, &mut bytes).unwrap();
        String::from_utf8(bytes).unwrap()
    };
    let (used, rejected) = (list(write_used), list(write_rejected));
    assert_eq!(rejected.lines().count(), 5);
    assert_eq!(rejected.lines().next(), Some("marsh_0001.dng"));
    assert!(rejected.contains("marsh_0021.dng"), "unreadable");
    assert_eq!(used.lines().count(), 113);
    assert!(
        used.lines().any(|l| l == "=cmd(1).dng"),
        "a list is no spreadsheet"
    );
}

#[test]
fn texts_fit_their_width_and_tell_the_answer() {
    let night = eventful();
    for purpose in Purpose::ALL {
        let judged = judge(&night, purpose, &Thresholds::default());
        let table = Table::new(&night, &judged, &Decisions::new());
        let text = text::summary(&table, &Decisions::new(), &advised(&night, &judged));
        let widest = text.lines().map(|l| l.chars().count()).max().unwrap();
        assert!(widest <= text::WIDTH, "{widest}");
        assert!(text.contains(purpose.label()));
    }
    let judged = judge(&night, Purpose::Trails, &Thresholds::default());
    let table = Table::new(&night, &judged, &Decisions::new());
    let text = text::summary(&table, &Decisions::new(), &[]);
    assert!(text.contains("5 to reject, 0 doubtful but usable, 112 to keep, 1 not measured yet"));
    assert!(text.contains("Leave out 1–4 and 21 so far"), "{text}");
}
