//! Random frames, held out from tuning, against their truth: lenses from Gaussian to strong wings,
//! sharp to wide, dark to bright skies, full planes and mosaics, even trails and turning fields.
//!
//! A few run with every test; `NIGHTLOUPE_HELD_OUT=COUNT` runs that many and prints the table of
//! docs/accuracy.md (in release, with `--nocapture`). The drawing shares nothing with the measuring.

use std::fmt::Write as _;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::{FrameMeasure, Path, Scratch, Star, measure};
use crate::base::spin2::angle_between_deg;
use crate::base::{Plane, robust};
use crate::frame::{GreenLayout, Light, Samples};

pub(super) const SIZE: (usize, usize) = (640, 480);

/// Electrons at full scale.
pub(super) const FULL_E: f64 = 60_000.0;

pub(super) const READ_E: f64 = 3.0;

/// Table steps a pixel.
const FINE: usize = 8;

/// A lens's light as a pixel of the sensor sees it, against the distance of the pixel's middle.
pub(super) struct Spread {
    reach: usize,
    side: usize,
    table: Vec<f32>,
    /// Full width at half maximum as sampled, px.
    pub(super) fwhm_px: f64,
    /// Sum of squares over the pixels.
    sharpness: f64,
}

impl Spread {
    /// A Moffat profile of exponent `beta` (a Gaussian for an infinite one), of `fwhm` px before
    /// the pixel's own width.
    pub(super) fn new(fwhm: f64, beta: f64) -> Self {
        let reach = (8.0 * fwhm).ceil() as usize + 2;
        let n = 2 * (reach * FINE + FINE) + 1;
        let middle = (n / 2) as f64;
        let alpha2 = if beta.is_finite() {
            (fwhm / 2.0).powi(2) / (2.0_f64.powf(1.0 / beta) - 1.0)
        } else {
            0.0
        };
        let sigma2 = (fwhm / 2.354_820_045).powi(2);
        let light = |r2: f64| {
            if beta.is_finite() {
                (1.0 + r2 / alpha2).powf(-beta)
            } else {
                (-0.5 * r2 / sigma2).exp()
            }
        };
        let mut fine = vec![0.0_f64; n * n];
        for (i, cell) in fine.iter_mut().enumerate() {
            let (x, y) = (
                ((i % n) as f64 - middle) / FINE as f64,
                ((i / n) as f64 - middle) / FINE as f64,
            );
            *cell = light(x * x + y * y);
        }
        let total = fine.iter().sum::<f64>() / (FINE * FINE) as f64;
        // The pixel's square: a trapezoid of FINE steps along each axis.
        let boxed = |at: &dyn Fn(usize) -> f64, i: usize| {
            let half = FINE / 2;
            let inner: f64 = (i - half + 1..i + half).map(at).sum();
            (inner + 0.5 * (at(i - half) + at(i + half))) / FINE as f64
        };
        let edge = FINE / 2;
        let mut across = vec![0.0; n * n];
        for y in 0..n {
            for x in edge..n - edge {
                across[y * n + x] = boxed(&|i| fine[y * n + i], x);
            }
        }
        let mut table = vec![0.0_f32; n * n];
        for y in edge..n - edge {
            for x in edge..n - edge {
                table[y * n + x] = (boxed(&|i| across[i * n + x], y) / total) as f32;
            }
        }
        let row: Vec<f64> = (n / 2..n)
            .map(|x| f64::from(table[n / 2 * n + x]))
            .collect();
        let k = row.iter().position(|&v| v < 0.5 * row[0]).unwrap();
        let part = (row[k - 1] - 0.5 * row[0]) / (row[k - 1] - row[k]);
        let pixels = (0..n).step_by(FINE).flat_map(|y| {
            let table = &table;
            (0..n)
                .step_by(FINE)
                .map(move |x| f64::from(table[y * n + x]).powi(2))
        });
        Self {
            reach,
            side: n,
            fwhm_px: 2.0 * (k as f64 - 1.0 + part) / FINE as f64,
            sharpness: pixels.sum(),
            table,
        }
    }

    pub(super) fn add(&self, frame: &mut [f64], place: (f64, f64), electrons: f64) {
        self.add_within(self.reach, frame, place, electrons);
    }

    /// As [`Spread::add`], no farther than `reach` px: enough for what is faint.
    pub(super) fn add_within(
        &self,
        reach: usize,
        frame: &mut [f64],
        (x, y): (f64, f64),
        electrons: f64,
    ) {
        let reach = self.reach.min(reach) as i64;
        let (cx, cy) = (x.round() as i64, y.round() as i64);
        let middle = (self.side / 2) as f64;
        let place = |pixel: i64, at: f64| {
            let fine = (pixel as f64 - at) * FINE as f64 + middle;
            (fine.floor() as usize, fine.fract())
        };
        for row in (cy - reach).max(0)..=(cy + reach).min(SIZE.1 as i64 - 1) {
            let (j, v) = place(row, y);
            for column in (cx - reach).max(0)..=(cx + reach).min(SIZE.0 as i64 - 1) {
                let (i, u) = place(column, x);
                let at = |i: usize, j: usize| f64::from(self.table[j * self.side + i]);
                let value = (1.0 - v) * ((1.0 - u) * at(i, j) + u * at(i + 1, j))
                    + v * ((1.0 - u) * at(i, j + 1) + u * at(i + 1, j + 1));
                frame[row as usize * SIZE.0 + column as usize] += electrons * value;
            }
        }
    }
}

/// Motion of every star during the exposure.
#[derive(Debug, Clone, Copy)]
pub(super) enum Motion {
    /// The same for all, px.
    Even { dx: f64, dy: f64 },
    /// A turn about an axis (per unit length `focal` px), seen through a rectilinear lens.
    Turn { axis: [f64; 3], focal: f64 },
}

impl Motion {
    /// Even or a turn, by chance; `length` px at the centre, of a turn what a star a quarter turn from
    /// the pole would do there. The pole is at least `nearest` radians off.
    pub(super) fn random(random: &mut ChaCha8Rng, length: f64, nearest: f64) -> Self {
        let turn = random.random_range(0.0..std::f64::consts::TAU);
        if random.random_bool(0.5) || length == 0.0 {
            return Self::Even {
                dx: length * turn.cos(),
                dy: length * turn.sin(),
            };
        }
        let focal = SIZE.0 as f64 * random.random_range(0.7..2.5);
        let from_pole: f64 = random.random_range(nearest..1.57);
        let axis = [
            from_pole.sin() * turn.cos(),
            from_pole.sin() * turn.sin(),
            from_pole.cos(),
        ];
        Self::Turn {
            axis: axis.map(|a| a * length / focal),
            focal,
        }
    }

    /// Place after `part` of the exposure, from its middle, of the star then at (x, y).
    pub(super) fn at(self, (x, y): (f64, f64), part: f64) -> (f64, f64) {
        match self {
            Self::Even { dx, dy } => (x + part * dx, y + part * dy),
            Self::Turn { axis, focal } => {
                let centre = (SIZE.0 as f64 / 2.0 - 0.5, SIZE.1 as f64 / 2.0 - 0.5);
                let p = [(x - centre.0) / focal, (y - centre.1) / focal, 1.0];
                // Rodrigues' rotation about `axis`, whose length is the whole angle.
                let whole = axis.iter().map(|a| a * a).sum::<f64>().sqrt();
                let k = axis.map(|a| a / whole);
                let (sin, cos) = (part * whole).sin_cos();
                let cross = [
                    k[1] * p[2] - k[2] * p[1],
                    k[2] * p[0] - k[0] * p[2],
                    k[0] * p[1] - k[1] * p[0],
                ];
                let dot = k[0] * p[0] + k[1] * p[1] + k[2] * p[2];
                let q: [f64; 3] =
                    std::array::from_fn(|i| p[i] * cos + cross[i] * sin + k[i] * dot * (1.0 - cos));
                (
                    centre.0 + focal * q[0] / q[2],
                    centre.1 + focal * q[1] / q[2],
                )
            }
        }
    }

    /// Length along the path and direction in the middle, of the star that is then at `place`.
    pub(super) fn trail(self, place: (f64, f64)) -> (f64, f64) {
        let points: Vec<(f64, f64)> = (0..=16)
            .map(|i| self.at(place, f64::from(i) / 16.0 - 0.5))
            .collect();
        let length = points
            .windows(2)
            .map(|w| (w[1].0 - w[0].0).hypot(w[1].1 - w[0].1))
            .sum();
        let (a, b) = (points[7], points[9]);
        (length, (a.1 - b.1).atan2(b.0 - a.0).to_degrees())
    }
}

struct Made {
    samples: Samples,
    what: String,
    motion: Motion,
    fwhm_px: f64,
    length_px: f64,
    mosaic: bool,
}

/// The frame that `seed` stands for.
fn make(seed: u64) -> Made {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let beta = if random.random_bool(0.3) {
        f64::INFINITY
    } else {
        random.random_range(2.5..4.5)
    };
    let fwhm = 1.5 * (4.0_f64).powf(random.random());
    let spread = Spread::new(fwhm, beta);
    let sky = 50.0 * 400.0_f64.powf(random.random());
    let count = random.random_range(60..180);
    let length = if random.random_bool(0.12) {
        0.0
    } else {
        1.5 * (20.0_f64 / 1.5).powf(random.random())
    };
    let motion = Motion::random(&mut random, length, 0.5);
    let noise = (sky + READ_E * READ_E).sqrt();
    let mosaic = random.random_bool(0.5);
    let mut frame = vec![sky; SIZE.0 * SIZE.1];
    for _ in 0..count {
        let place = (
            random.random_range(0.0..SIZE.0 as f64),
            random.random_range(0.0..SIZE.1 as f64),
        );
        let (length, _) = motion.trail(place);
        let snr = 12.0 * 40.0_f64.powf(random.random::<f64>().powi(2));
        // The trail's light counts as spread over its length.
        let pixels =
            1.0 / spread.sharpness + length / (spread.sharpness * std::f64::consts::PI).sqrt();
        let pixels = if mosaic { 2.0 * pixels } else { pixels };
        let flux = snr * noise * pixels.sqrt();
        let steps = ((length / 0.12).ceil() as usize).max(1);
        for i in 0..steps {
            let part = (i as f64 + 0.5) / steps as f64 - 0.5;
            spread.add(&mut frame, motion.at(place, part), flux / steps as f64);
        }
    }
    Made {
        samples: exposed(&frame, mosaic, &mut random),
        what: format!(
            "seed {seed}: beta {beta:.1} fwhm {:.2} sky {sky:.0} L {length:.2} mosaic {mosaic} {}",
            spread.fwhm_px,
            if matches!(motion, Motion::Even { .. }) {
                "even"
            } else {
                "turn"
            }
        ),
        motion,
        fwhm_px: spread.fwhm_px,
        length_px: length,
        mosaic,
    }
}

/// Shot noise as a Gaussian of the Poisson variance, read noise, steps of 14 bits.
pub(super) fn exposed(frame: &[f64], mosaic: bool, random: &mut ChaCha8Rng) -> Samples {
    let step = FULL_E / 16_384.0;
    let mut data: Vec<f32> = frame
        .iter()
        .map(|&e| {
            let n: f64 = random.sample(StandardNormal);
            let value = e + (e + READ_E * READ_E).sqrt() * n;
            (((value / step).round() * step) / FULL_E).min(1.0) as f32
        })
        .collect();
    let layout = if mosaic {
        GreenLayout::Mosaic {
            width: 2,
            height: 2,
            green: 0b0110,
        }
    } else {
        GreenLayout::Every
    };
    if mosaic {
        let old = data.clone();
        for (i, value) in data.iter_mut().enumerate() {
            let (x, y) = (i % SIZE.0, i / SIZE.0);
            if (x + y) % 2 == 0 {
                let sides = [(x + 1 < SIZE.0, i + 1), (x > 0, i.wrapping_sub(1))];
                let ends = [
                    (y + 1 < SIZE.1, i + SIZE.0),
                    (y > 0, i.wrapping_sub(SIZE.0)),
                ];
                let near: Vec<f32> = (sides.iter().chain(&ends))
                    .filter(|n| n.0)
                    .map(|n| old[n.1])
                    .collect();
                *value = near.iter().sum::<f32>() / near.len() as f32;
            }
        }
    }
    Samples {
        green: Plane::from_vec(SIZE.0, SIZE.1, data).unwrap(),
        layout,
        light: Light::Linear,
        clip_level: 0.99,
        step: 1.0 / 16_384.0,
        hues: None,
        quantised_pct: None,
    }
}

/// Whether this star went into the frame's shape.
pub(super) fn is_used(star: &Star) -> bool {
    let f = star.flags;
    star.snr >= 10.0 && !f.clipped && !f.at_edge && !f.unsettled
}

/// One frame's results against its truth.
struct Row {
    what: String,
    mosaic: bool,
    moving: bool,
    want_px: f64,
    length_off: f64,
    length_error: f64,
    centre_off: f64,
    angle_off: Option<f64>,
    angle_error: f64,
    /// Least scatter of the angle if one motion is true of all stars, degrees: each star's own, which
    /// `one_star` holds to Cramér's and Rao's bound, as if it were known.
    angle_bound: f64,
    width_ratio: f64,
    width_error: f64,
    path: Option<Path>,
}

fn row(made: &Made, got: &FrameMeasure) -> Option<Row> {
    let trail = got.trail?;
    let used: Vec<&Star> = got.stars.iter().filter(|s| is_used(s)).collect();
    let mut lengths: Vec<f64> = used
        .iter()
        .map(|s| made.motion.trail((f64::from(s.x_px), f64::from(s.y_px))).0)
        .collect();
    let want_px = robust::median(&mut lengths)?;
    let centre = (SIZE.0 as f64 / 2.0 - 0.5, SIZE.1 as f64 / 2.0 - 0.5);
    let (centre_px, angle_deg) = made.motion.trail(centre);
    Some(Row {
        what: format!("{} used {}", made.what, used.len()),
        mosaic: made.mosaic,
        moving: made.length_px > 0.0,
        want_px,
        length_off: trail.length_px - want_px,
        length_error: trail.length_error_px,
        centre_off: trail.centre_px - centre_px,
        angle_off: trail
            .angle_deg
            .filter(|_| centre_px >= 4.0)
            .map(|a| angle_between_deg(a, angle_deg)),
        angle_error: trail.angle_error_deg.unwrap_or(0.0),
        angle_bound: used
            .iter()
            .map(|s| f64::from(s.errors.angle_deg).powi(-2))
            .sum::<f64>()
            .powf(-0.5),
        width_ratio: got.fwhm_px? / made.fwhm_px,
        width_error: got.fwhm_error_px? / made.fwhm_px,
        path: got.path,
    })
}

/// Within the goal of 0.1 px or 1 %.
fn is_near(off: f64, want: f64) -> bool {
    off.abs() <= (0.01 * want).max(0.1)
}

fn share(rows: &[&Row], is: impl Fn(&Row) -> bool) -> f64 {
    100.0 * rows.iter().filter(|r| is(r)).count() as f64 / rows.len().max(1) as f64
}

fn table(rows: &[Row]) -> String {
    let mut out = String::new();
    for (name, wanted) in [
        ("full plane", Some(false)),
        ("mosaic", Some(true)),
        ("all", None),
    ] {
        let of = |r: &&Row| wanted.is_none_or(|m| r.mosaic == m);
        let still: Vec<&Row> = rows.iter().filter(of).filter(|r| !r.moving).collect();
        let moving: Vec<&Row> = rows
            .iter()
            .filter(of)
            .filter(|r| r.moving && r.want_px >= 1.5)
            .collect();
        let n = moving.len() as f64;
        let bias = moving.iter().map(|r| r.length_off).sum::<f64>() / n;
        let rms = (moving.iter().map(|r| r.length_off.powi(2)).sum::<f64>() / n).sqrt();
        let angles: Vec<f64> = moving.iter().filter_map(|r| r.angle_off).collect();
        let angle_rms = (angles.iter().map(|a| a * a).sum::<f64>() / angles.len() as f64).sqrt();
        let wide = moving
            .iter()
            .map(|r| (r.width_ratio - 1.0).powi(2))
            .sum::<f64>()
            / n;
        let _ = writeln!(
            out,
            "{name}: L=0 {} frames, <0.5 in {:.0} %; L>=1.5 {} frames: bias {bias:+.3} rms {rms:.3} \
             near {:.0} %, centre near {:.0} %, error covers {:.0} % (pull {:.2}), angle rms {angle_rms:.3} \
             within 0.15 {:.0} %, width rms {:.1} % within 2 % {:.0} %",
            still.len(),
            share(&still, |r| r.want_px + r.length_off < 0.5),
            moving.len(),
            share(&moving, |r| is_near(r.length_off, r.want_px)),
            share(&moving, |r| is_near(r.centre_off, r.want_px + r.centre_off)),
            share(&moving, |r| r.length_off.abs() <= r.length_error),
            (moving
                .iter()
                .map(|r| (r.length_off / r.length_error).powi(2))
                .sum::<f64>()
                / n)
                .sqrt(),
            100.0 * angles.iter().filter(|a| **a <= 0.15).count() as f64 / angles.len() as f64,
            100.0 * wide.sqrt(),
            share(&moving, |r| (r.width_ratio - 1.0).abs() < 0.02),
        );
    }
    out
}

#[test]
fn random_frames_read_their_truth() {
    let count = std::env::var("NIGHTLOUPE_HELD_OUT")
        .ok()
        .and_then(|v| v.parse().ok());
    let first = std::env::var("NIGHTLOUPE_SEED")
        .ok()
        .and_then(|v| v.parse().ok());
    let first: u64 = first.unwrap_or(700_000);
    let mut scratch = Scratch::default();
    let mut rows = Vec::new();
    let mut text = String::new();
    for seed in first..first + count.unwrap_or(6) {
        let made = make(seed);
        let got = measure(&made.samples, &mut scratch);
        let Some(row) = row(&made, &got) else {
            let _ = writeln!(text, "{} no trail: {:?}", made.what, got.remarks);
            continue;
        };
        let _ = writeln!(
            text,
            "{} want {:.3} off {:+.3} ({:.3}) centre {:+.3} angle {:.3} ({:.3}, bound {:.3}) width {:.4} ({:.4}) {:?}",
            row.what,
            row.want_px,
            row.length_off,
            row.length_error,
            row.centre_off,
            row.angle_off.unwrap_or(0.0),
            row.angle_error,
            row.angle_bound,
            row.width_ratio,
            row.width_error,
            row.path.map(|p| (p.kind, p.shake_px, p.sigma, p.stars)),
        );
        rows.push(row);
    }
    if count.is_some() {
        println!("{text}{}", table(&rows));
        return;
    }
    let moving: Vec<&Row> = rows
        .iter()
        .filter(|r| r.moving && r.want_px >= 1.5)
        .collect();
    assert!(moving.len() >= 3, "{text}");
    for row in moving {
        let (off, error) = (row.length_off.abs(), row.length_error);
        assert!(
            off < 0.1_f64.max(0.01 * row.want_px) + 3.0 * error,
            "{text}"
        );
        assert!((row.width_ratio - 1.0).abs() < 0.03, "{text}");
    }
}
