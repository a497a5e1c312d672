//! Recommendations on made columns: eight settings of one sky.

use super::types::{Column, Comparison, EqualTime, Value};
use super::{columns, compare, curves, recommend};
use crate::verdict::testkit::{Calm, put};
use crate::verdict::{Judged, Purpose};

#[expect(
    clippy::unnecessary_wraps,
    reason = "what a column holds may be unknown"
)]
fn known(value: f64) -> Option<Value> {
    Some(Value {
        value,
        error: Some(0.01 * value),
    })
}

/// ISO, signal-to-noise in 30 s and 15 s, clipped stars in 30 s and 15 s, read noise in e⁻.
const LADDER: [(u32, [f64; 2], [f64; 2], f64); 4] = [
    (800, [18.3, 15.2], [12.0, 10.0], 9.8),
    (1600, [19.7, 17.1], [31.0, 26.0], 5.6),
    (3200, [20.0, 17.7], [78.0, 67.0], 3.9),
    (6400, [20.1, 17.8], [190.0, 164.0], 3.6),
];
/// Light of the sky, e⁻ a pixel and second.
const SKY_E_PER_S: f64 = 11.6;

fn ladder(purpose: Purpose) -> Comparison {
    let mut columns = Vec::new();
    for (place, exposure_s) in [30.0, 15.0].into_iter().enumerate() {
        for (iso, snr, clipped, read) in LADDER {
            columns.push(Column {
                iso: Some(iso),
                exposure_s: Some(exposure_s),
                f_number: Some(2.8),
                rows: vec![0; 5],
                linear: true,
                sky_level_pct: known(5.5 * f64::from(iso) / 800.0 * exposure_s / 30.0),
                star_snr: known(snr[place]),
                equal_time: Some(EqualTime {
                    frames: 30.0 / exposure_s,
                    snr: known(snr[place] * (30.0 / exposure_s).sqrt()).unwrap(),
                }),
                clipped_stars: known(clipped[place]),
                trail_length_px: known(0.22 * exposure_s),
                width_px: known(2.6),
                gain_dn_per_e: known(f64::from(iso) / 320.0),
                read_noise_e: known(read),
                sky_e_per_s: known(SKY_E_PER_S),
                sky_limited_s: known(9.756 * read * read / SKY_E_PER_S),
                ..Column::default()
            });
        }
    }
    filled(columns, purpose)
}

fn filled(columns: Vec<Column>, purpose: Purpose) -> Comparison {
    let mut comparison = Comparison {
        varies: columns::varies(&columns),
        curves: curves::curves(&columns),
        columns,
        ..Comparison::default()
    };
    recommend::fill(&mut comparison, purpose);
    comparison
}

fn figures(comparison: &Comparison) -> Vec<String> {
    (comparison.reasons.iter())
        .map(|reason| {
            format!("{} {}", reason.figure, reason.unit)
                .trim()
                .to_owned()
        })
        .collect()
}

#[test]
fn a_single_frame_gets_the_knee_and_hears_of_the_stack() {
    let got = ladder(Purpose::Still);
    assert_eq!(got.headline, "Use ISO 1600, 30 s for one frame.");
    assert_eq!(
        got.better.as_deref(),
        Some("Better still: stack two of 15 s.")
    );
    assert_eq!(
        got.best.map(|at| got.name(at)).as_deref(),
        Some("ISO 1600, 30 s")
    );
    // By hand: 19.7 / 20.1, 17.1 / 19.7 − 1, 17.1 √2 / 19.7 − 1.
    assert_eq!(figures(&got), ["98 %", "−13 %", "+23 %", "31"]);
    assert!(
        got.reasons[1]
            .words
            .ends_with("with trails of 3.3 px, not 6.6")
    );
    // 2.6 px at 0.22 px/s.
    assert!(got.reasons[2].words.contains("its own width (12 s)"));
    assert!(
        got.reasons[3]
            .words
            .contains("ISO 3200 would clip 78 for 2 % more")
    );
    let knee = got.knee.unwrap();
    assert_eq!((knee.iso, knee.next.0), (1600, 3200));
    assert_eq!(
        got.curves.len(),
        3,
        "two exposures, one of them also stacked"
    );
}

#[test]
fn each_purpose_has_its_own_sentence_and_first_reason() {
    let trails = ladder(Purpose::Trails);
    assert_eq!(trails.headline, "Use ISO 1600, 30 s for star trails.");
    assert_eq!(figures(&trails)[0], "12 s");
    assert!(
        trails.reasons[0].words.contains("from 5.5 to 11 %"),
        "{trails:#?}"
    );
    let film = ladder(Purpose::Timelapse);
    assert_eq!(film.headline, "Use ISO 1600, 30 s for the film.");
    // For a stack, two of 15 s are 24.2 against 19.7 for one of 30 s.
    let stack = ladder(Purpose::Tracked);
    assert_eq!(stack.columns[stack.best.unwrap()].exposure_s, Some(15.0));
    assert!(
        stack.headline.ends_with("15 s and stack."),
        "{}",
        stack.headline
    );
    // The sky-limited exposure of ISO 3200 or 1600 is among the reasons.
    assert!(
        stack
            .reasons
            .iter()
            .any(|r| r.unit == "s" && r.words.contains("read noise"))
    );
}

#[test]
fn a_bright_sky_moves_trails_to_the_shorter_exposure() {
    let mut columns = ladder(Purpose::Trails).columns;
    for column in &mut columns {
        // 21 % at 30 s and ISO 1600, half of that at 15 s.
        column.sky_level_pct = column.sky_level_pct.map(|sky| sky.times(1.9));
        if column.exposure_s == Some(15.0) && column.iso > Some(1600) {
            column.star_snr = known(17.2);
        }
    }
    let got = filled(columns, Purpose::Trails);
    assert_eq!(got.columns[got.best.unwrap()].exposure_s, Some(15.0));
}

#[test]
fn tone_mapped_files_drive_no_advice_and_it_is_said() {
    let mut columns = ladder(Purpose::Still).columns;
    columns[2].linear = false;
    let got = filled(columns, Purpose::Still);
    assert_eq!(got.best, None);
    assert!(got.reasons.is_empty() && got.better.is_none());
    assert!(got.headline.contains("tone-mapped"));
    assert!(got.notes.iter().any(|note| note.contains("relative")));
}

#[test]
fn a_sky_that_changed_between_settings_is_said() {
    let mut columns = ladder(Purpose::Still).columns;
    assert!(filled(columns.clone(), Purpose::Still).notes.is_empty());
    columns[0].sky_level_pct = columns[0].sky_level_pct.map(|sky| sky.times(1.5));
    let notes = filled(columns, Purpose::Still).notes;
    assert!(notes[0].starts_with("The sky was 50 % brighter than usual at ISO 800, 30 s"));
}

#[test]
fn without_stars_read_noise_decides() {
    let mut columns = ladder(Purpose::Still).columns;
    for column in &mut columns {
        (column.star_snr, column.equal_time) = (None, None);
    }
    let got = filled(columns, Purpose::Still);
    // √(1 + 5.6²/348) = 1.044 at ISO 1600, 1.022 at 3200, 1.018 at 6400: the knee is at 1600.
    assert_eq!(got.knee.unwrap().iso, 1600);
    assert!(got.headline.starts_with("Use ISO 1600, 30 s"));
}

#[test]
fn one_setting_says_what_to_shoot() {
    let night = Calm::default().night(|_, _| ());
    let got = compare(&night, 0, &Judged::default());
    assert!(!got.has_several());
    assert!(
        got.headline
            .contains("All frames have one setting: ISO 1600, 30 s, f/2.8.")
    );
    assert!(compare(&night, 9, &Judged::default()).columns.is_empty());
    assert!(
        compare(&crate::night::Night::default(), 0, &Judged::default())
            .columns
            .is_empty()
    );
}

#[test]
fn groups_become_columns_with_errors_and_order() {
    let mut inputs = Vec::new();
    for (place, (iso, exposure)) in [(1600, 15.0), (800, 30.0), (1600, 30.0)].iter().enumerate() {
        let calm = Calm {
            frames: 6,
            seed: place as u64,
            exposure_s: *exposure,
            ..Calm::default()
        };
        for mut input in calm.inputs() {
            input.shot += 6 * place;
            input.name = format!("{}.dng", input.shot);
            let facts = input.facts.as_mut().unwrap();
            facts.iso = Some(*iso);
            let taken = facts.taken_at.as_mut().unwrap();
            taken.local += jiff::SignedDuration::from_secs(400 * place as i64);
            inputs.push(input);
        }
    }
    let night = put(&inputs, true);
    let got = compare(&night, 0, &Judged::default());
    let names: Vec<String> = (0..3).map(|at| got.name(at)).collect();
    assert_eq!(names, ["ISO 800, 30 s", "ISO 1600, 30 s", "ISO 1600, 15 s"]);
    let sky = got.columns[0].sky_level_pct.unwrap();
    assert!((sky.value - 10.5).abs() < 1.0);
    // 0.8 % of spread over six frames: 1.25 × 0.084 / √6, as far as six frames tell it.
    assert!((0.005..0.4).contains(&sky.error.unwrap()), "{sky:?}");
    assert!(got.columns[0].gain_dn_per_e.is_none());
    assert_eq!(got.columns[2].rows.len(), 6);
}
