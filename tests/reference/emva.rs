//! Photon transfer against the package emva1288 1.0.2 on the same frames: `emva/make.py` made the
//! table, and makes the frames by the same integer arithmetic.
#![expect(
    clippy::cast_possible_truncation,
    reason = "samples are single precision"
)]

use nightloupe::base::Plane;
use nightloupe::frame::{GreenLayout, Light, Samples};
use nightloupe::measure::transfer::{Conditions, Dark, Level, fit};
use nightloupe::measure::{PairOf, Scratch, pair};

const TABLE: &str = include_str!("emva/table.csv");
const SIZE: (usize, usize) = (320, 200);
const GAIN: f64 = 0.80;
const DARK_E: f64 = 4.0;
const BLACK: f64 = 64.0;
/// Twelve bits.
const FULL: f64 = 4095.0;

/// What emva1288 makes of the frames, as the table's last line tells.
const OF_PACKAGE: (f64, f64) = (0.800_757, 3.9979);

const fn mixed(mut x: u64) -> u64 {
    x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

fn noise(seed: u64, index: u64) -> f64 {
    let words = (0..3).map(|part| mixed((seed << 32) + 3 * index + part + 1));
    let total: u64 = words
        .map(|word| (0..4).map(|k| word >> (16 * k) & 0xffff).sum::<u64>())
        .sum();
    (total as f64 - 12.0 * 65_535.0 / 2.0) / 65_536.0
}

fn frame(electrons: f64, seed: u64) -> Samples {
    let pixels = (SIZE.0 * SIZE.1) as u64;
    let spread = (electrons + DARK_E * DARK_E).sqrt();
    let data = (0..pixels).map(|index| {
        let counted = electrons + spread * noise(seed, index);
        ((BLACK + GAIN * counted + 0.5).floor() / FULL) as f32
    });
    Samples {
        green: Plane::from_vec(SIZE.0, SIZE.1, data.collect()).unwrap(),
        layout: GreenLayout::Every,
        light: Light::Linear,
        clip_level: 1.0,
        step: (1.0 / FULL) as f32,
        hues: None,
        quantised_pct: None,
    }
}

#[test]
fn the_same_frames_give_the_packages_numbers() {
    let rows = TABLE.lines().skip(1).filter(|line| !line.starts_with('#'));
    let mut levels = Vec::new();
    let mut dark = None;
    for (k, row) in (0..).zip(rows) {
        let cells: Vec<f64> = row.split(',').map(|cell| cell.parse().unwrap()).collect();
        let [electrons, mean, variance] = cells[..] else {
            panic!("{row}");
        };
        let (a, b) = (frame(electrons, 2 * k), frame(electrons, 2 * k + 1));
        // Even fields hold neither stars nor ground.
        let got = pair(&a, &b, PairOf::Dark, &mut Scratch::default());
        assert_eq!(got.fault, None);
        let of_pair = (FULL * got.level, got.temporal.times(FULL * FULL));
        assert!((of_pair.0 / mean - 1.0).abs() < 2e-5, "{row}: {of_pair:?}");
        assert!(
            (of_pair.1.value / variance - 1.0).abs() < 3e-3,
            "{row}: {of_pair:?}"
        );
        if electrons == 0.0 {
            dark = Some(Dark {
                mean: of_pair.0,
                variance: of_pair.1,
            });
        }
        levels.push(Level {
            mean: of_pair.0,
            variance: of_pair.1.value,
            share: of_pair.1.relative(),
        });
    }
    assert_eq!(levels.len(), 24);
    let conditions = Conditions {
        dark,
        full_scale: FULL,
        rounded: true,
    };
    let line = fit(&levels[1..], &conditions).unwrap();
    let (gain, read) = (line.gain, line.read_noise_e.unwrap());
    assert!(line.range.1 < 0.7 * FULL + BLACK, "{line:?}");
    assert!((gain.value / OF_PACKAGE.0 - 1.0).abs() < 2e-3, "{line:?}");
    assert!((read.value / OF_PACKAGE.1 - 1.0).abs() < 4e-3, "{line:?}");
    assert!((gain.value - GAIN).abs() < 2.5 * gain.error, "{line:?}");
    assert!((read.value - DARK_E).abs() < 2.5 * read.error, "{line:?}");
}
