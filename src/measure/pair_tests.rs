//! Pairs of made frames whose light, gain and noise are known. All chance comes from fixed seeds.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::Scratch;
use super::greens::BAYER;
use super::pair::{PairFault, PairMeasure, PairOf, pair};
use super::transfer::{Conditions, Dark, Level, Line, fit};
use crate::base::Plane;
use crate::frame::{GreenLayout, Light, Samples};

const WIDTH: usize = 900;
const HEIGHT: usize = 600;
/// Numbers from black to white.
const FULL: f64 = 15_871.0;
/// DN/e⁻.
const GAIN: f64 = 2.0;
/// e⁻.
const READ: f64 = 3.0;

/// A sensor and what it looks at.
struct Made {
    layout: GreenLayout,
    /// Light at the left and right edge, e⁻.
    light: (f64, f64),
    /// Light of faint stars on the sky, e⁻, at places that move by some px from frame to frame.
    stars: f64,
    /// Fixed pattern, e⁻.
    fixed: f64,
    /// Waver of rows, e⁻.
    rows: f64,
}

impl Default for Made {
    fn default() -> Self {
        Self {
            layout: BAYER,
            light: (150.0, 450.0),
            stars: 0.0,
            fixed: 0.0,
            rows: 0.0,
        }
    }
}

impl Made {
    /// One frame: `brighter` times the light, stars moved by `moved` px.
    fn frame(&self, seed: u64, brighter: f64, moved: f64) -> Samples {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut pattern = ChaCha8Rng::seed_from_u64(7);
        let mut light = Plane::new(WIDTH, HEIGHT);
        for y in 0..HEIGHT {
            for (x, value) in light.row_mut(y).iter_mut().enumerate() {
                let along = x as f64 / WIDTH as f64;
                *value = (brighter * (self.light.0 + along * (self.light.1 - self.light.0))) as f32;
            }
        }
        if self.stars > 0.0 {
            self.draw_stars(&mut light, moved);
        }
        let black_noise = f64::from(READ as f32);
        for y in 0..HEIGHT {
            let row_offset = self.rows * rng.sample::<f64, _>(StandardNormal);
            for value in light.row_mut(y) {
                let e = f64::from(*value);
                let noise: f64 = rng.sample(StandardNormal);
                let same: f64 = pattern.sample(StandardNormal);
                let counted = e + (e + black_noise * black_noise).sqrt() * noise;
                let counted = counted + row_offset + self.fixed * same;
                *value = ((GAIN * counted).round() / FULL) as f32;
            }
        }
        Samples {
            green: light,
            layout: self.layout,
            light: Light::Linear,
            clip_level: 1.0,
            step: (1.0 / FULL) as f32,
            hues: None,
            quantised_pct: None,
        }
    }

    /// One star in 400 px, from far below the noise to clearly above it.
    fn draw_stars(&self, light: &mut Plane, moved: f64) {
        let mut rng = ChaCha8Rng::seed_from_u64(99);
        for _ in 0..WIDTH * HEIGHT / 400 {
            let x = rng.random_range(0.0..WIDTH as f64) + moved;
            let y = rng.random_range(0.0..HEIGHT as f64);
            let flux = self.stars * rng.random_range(0.05_f64..1.0).powi(-1);
            for py in (y as usize).saturating_sub(5)..(y as usize + 6).min(HEIGHT) {
                let columns = (x as usize).saturating_sub(5)..(x as usize + 6).min(WIDTH);
                let row = light.row_mut(py);
                for (px, value) in row
                    .iter_mut()
                    .enumerate()
                    .take(columns.end)
                    .skip(columns.start)
                {
                    let away = (px as f64 - x).powi(2) + (py as f64 - y).powi(2);
                    let share = (-away / (2.0 * 1.3)).exp() / (std::f64::consts::TAU * 1.3);
                    *value += (flux * share) as f32;
                }
            }
        }
    }

    fn pair(&self, seed: u64, of: PairOf) -> PairMeasure {
        let frames = [(0, 1.0, 0.0), (1, 1.0, 7.8)];
        let [a, b] = frames.map(|(k, by, moved)| self.frame(2 * seed + k, by, moved));
        pair(&a, &b, of, &mut Scratch::default())
    }
}

/// Variances in e⁻².
fn to_e2(variance: f64) -> f64 {
    variance * (FULL / GAIN).powi(2)
}

fn line_of(pair: &PairMeasure, dark: Option<&PairMeasure>) -> Line {
    let levels: Vec<Level> = pair
        .levels
        .iter()
        .map(|level| Level {
            mean: FULL * level.level,
            variance: FULL * FULL * level.variance.value,
            share: level.variance.relative(),
        })
        .collect();
    let dark = dark.map(|dark| Dark {
        mean: FULL * dark.level,
        variance: dark.temporal.times(FULL * FULL),
    });
    let conditions = Conditions {
        dark,
        full_scale: FULL,
        rounded: true,
    };
    fit(&levels, &conditions).unwrap()
}

#[test]
fn gain_and_read_noise_of_one_pair_and_two_darks() {
    let cap = Made {
        light: (0.0, 0.0),
        ..Made::default()
    };
    for (seed, layout) in [(11, BAYER), (12, GreenLayout::Every)] {
        for stars in [0.0, 60.0] {
            let made = Made {
                layout,
                stars,
                ..Made::default()
            };
            let sky = made.pair(seed, PairOf::Sky);
            let dark = cap.pair(seed + 50, PairOf::Dark);
            assert_eq!((sky.fault, dark.fault), (None, None));
            let line = line_of(&sky, Some(&dark));
            let (gain, read) = (line.gain, line.read_noise_e.unwrap());
            let what = format!("{layout:?}, stars {stars}: {line:?}");
            assert!((gain.value - GAIN).abs() < 3.0 * gain.error, "{what}");
            assert!((read.value - READ).abs() < 3.0 * read.error, "{what}");
            assert!(gain.relative() < 0.02 && read.relative() < 0.02, "{what}");
            assert!(
                (line_of(&sky, None).gain.value / GAIN - 1.0).abs() < 0.06,
                "{what}"
            );
        }
    }
}

#[test]
fn light_of_unseen_stars_is_taken_off() {
    let made = Made {
        stars: 60.0,
        ..Made::default()
    };
    let sky = made.pair(21, PairOf::Sky);
    let error = sky.temporal.error;
    let quiet = sky.level * FULL / GAIN + READ * READ + 1.0 / 12.0 / GAIN / GAIN;
    let got = to_e2(sky.temporal.value);
    assert!((got - quiet).abs() < 3.0 * to_e2(error), "{got} of {quiet}");
    assert!(sky.fixed.value < 4.0 * sky.fixed.error, "{:?}", sky.fixed);
}

#[test]
fn a_change_of_light_between_the_frames_is_no_noise() {
    let made = Made::default();
    let (a, b) = (made.frame(31, 1.0, 0.0), made.frame(32, 1.06, 0.0));
    let sky = pair(&a, &b, PairOf::Sky, &mut Scratch::default());
    let quiet = sky.level * FULL / GAIN + READ * READ;
    let got = to_e2(sky.temporal.value);
    assert!((got / quiet - 1.0).abs() < 0.02, "{got} of {quiet}");
}

#[test]
fn fixed_pattern_is_told_from_noise() {
    let made = Made {
        fixed: 6.0,
        ..Made::default()
    };
    let sky = made.pair(41, PairOf::Sky);
    let (got, error) = (to_e2(sky.fixed.value), to_e2(sky.fixed.error));
    assert!((got - 36.0).abs() < 3.0 * error, "{got} ± {error}");
    assert!(error < 5.0);
    let line = line_of(&sky, None);
    assert!((line.gain.value / GAIN - 1.0).abs() < 0.06, "{line:?}");
}

#[test]
fn rows_that_waver_are_told() {
    let shows = |made: &Made, seed: u64| {
        let sky = made.pair(seed, PairOf::Sky);
        (sky.rows.unwrap(), sky.columns.unwrap())
    };
    let (rows, columns) = shows(&Made::default(), 51);
    assert!(!rows.shows() && !columns.shows(), "{rows:?} {columns:?}");
    let wavering = Made {
        rows: 3.0,
        ..Made::default()
    };
    let (rows, columns) = shows(&wavering, 52);
    assert!(rows.shows() && !columns.shows(), "{rows:?} {columns:?}");
    let got = to_e2(rows.excess).sqrt();
    assert!((got / 3.0 - 1.0).abs() < 0.15, "{got}");
}

#[test]
fn what_tells_nothing_says_why() {
    let made = Made::default();
    let (a, b) = (made.frame(61, 1.0, 0.0), made.frame(62, 1.0, 0.0));
    let mut scratch = Scratch::default();
    let mut why = |a: &Samples, b: &Samples, of| pair(a, b, of, &mut scratch).fault;
    assert_eq!(why(&a, &a, PairOf::Sky), Some(PairFault::Copies));
    let mut mapped = b.clone();
    mapped.light = Light::ToneMapped;
    assert_eq!(why(&a, &mapped, PairOf::Sky), Some(PairFault::ToneMapped));
    let mut other = b.clone();
    other.layout = GreenLayout::Every;
    assert_eq!(why(&a, &other, PairOf::Sky), Some(PairFault::Unlike));
    let full = |samples: &Samples| {
        let mut full = samples.clone();
        full.green.data_mut().fill(1.0);
        full.green.data_mut()[0] = 0.5;
        full
    };
    let blown = (full(&a), b.clone());
    assert_eq!(
        why(&blown.0, &blown.1, PairOf::Sky),
        Some(PairFault::TooFew)
    );
    // Developed: each pixel a mean of neighbours, all taken for true.
    let developed = |samples: &Samples| {
        let mut smooth = samples.clone();
        smooth.layout = GreenLayout::Every;
        let data = samples.green.data();
        for (out, near) in smooth.green.data_mut().iter_mut().zip(data.windows(2)) {
            *out = 0.5 * (near[0] + near[1]);
        }
        smooth
    };
    assert_eq!(
        why(&developed(&a), &developed(&b), PairOf::Sky),
        Some(PairFault::Tied)
    );
    let cap = Made {
        light: (0.0, 0.0),
        ..Made::default()
    };
    let cut = |seed: u64| {
        let mut dark = cap.frame(seed, 1.0, 0.0);
        dark.green
            .data_mut()
            .iter_mut()
            .for_each(|v| *v = v.max(0.0));
        dark
    };
    assert_eq!(
        why(&cut(63), &cut(64), PairOf::Dark),
        Some(PairFault::BlackCut)
    );
}
