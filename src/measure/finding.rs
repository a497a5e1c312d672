//! Which stars of random frames are found, and what is found that is no star, against
//! signal-to-noise: flux over its matched-filter error in the sky's noise.
//!
//! Frames as in `heldout`, with stars down to a signal-to-noise of 1 as a real sky has them, as full
//! planes, mosaics and JPEG files. A few run with every test; `NIGHTLOUPE_FINDING=COUNT` runs that
//! many of each kind from `NIGHTLOUPE_SEED` on and prints the curves of docs/accuracy.md.

use std::fmt::Write as _;

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::heldout::{Motion, READ_E, SIZE, Spread, exposed};
use super::{FrameMeasure, Scratch, measure};
use crate::frame::{self, OpenOptions, Samples};

/// Lower ends of the bins of signal-to-noise.
const BINS: [f64; 9] = [5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 20.0, 40.0];

/// Number of stars against flux: N(over F) ~ F^-1.125, 10^0.45 a magnitude, as round the Milky Way.
const SLOPE: f64 = 1.125;

/// Fainter stars are not drawn.
const FAINTEST: f64 = 1.0;

/// A star of at least this share of another's light is no lesser neighbour of it.
const RIVAL: f64 = 0.25;

#[derive(Debug, Clone, Copy, PartialEq)]
enum File {
    Plane,
    Mosaic,
    Jpeg(u8),
}

/// A star that was drawn.
#[derive(Debug, Clone, Copy)]
struct Drawn {
    x: f64,
    y: f64,
    snr: f64,
    /// Light in its brightest pixel, as a share of the noise.
    peak: f64,
    length: f64,
    angle_deg: f64,
}

struct Made {
    samples: Samples,
    stars: Vec<Drawn>,
    fwhm_px: f64,
    /// Whether the noise is under a step between levels.
    coarse: bool,
    what: String,
}

/// Draws one star of unit flux into `unit`, which is empty before and after; gives Σp² over the
/// pixels that count.
struct Brush<'a> {
    spread: &'a Spread,
    fwhm: f64,
    motion: Motion,
    unit: Vec<f64>,
    mosaic: bool,
}

impl Brush<'_> {
    fn draw(&mut self, frame: &mut [f64], (x, y): (f64, f64), snr: f64, noise: f64) -> Drawn {
        let (length, angle_deg) = self.motion.trail((x, y));
        let reach = if snr < 40.0 {
            (2.5 * self.fwhm).ceil() as usize + 1
        } else {
            usize::MAX
        };
        let steps = ((length / 0.3).ceil() as usize).max(1);
        let (mut low, mut high) = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
        for i in 0..steps {
            let part = (i as f64 + 0.5) / steps as f64 - 0.5;
            let (x, y) = self.motion.at((x, y), part);
            self.spread
                .add_within(reach, &mut self.unit, (x, y), 1.0 / steps as f64);
            low = (low.0.min(x), low.1.min(y));
            high = (high.0.max(x), high.1.max(y));
        }
        let far = reach.min((8.0 * self.fwhm) as usize + 3) as f64 + 1.0;
        let span = |a: f64, b: f64, n: usize| {
            (a - far).max(0.0) as usize..((b + far).max(0.0) as usize + 1).min(n)
        };
        let (columns, rows) = (span(low.0, high.0, SIZE.0), span(low.1, high.1, SIZE.1));
        let (mut squares, mut peak) = (0.0, 0.0_f64);
        for row in rows.clone() {
            for column in columns.clone() {
                let p = self.unit[row * SIZE.0 + column];
                peak = peak.max(p);
                if !self.mosaic || (row + column) % 2 == 1 {
                    squares += p * p;
                }
            }
        }
        let flux = if squares > 0.0 {
            snr * noise / squares.sqrt()
        } else {
            0.0
        };
        for row in rows {
            for column in columns.clone() {
                let at = row * SIZE.0 + column;
                frame[at] += flux * self.unit[at];
                self.unit[at] = 0.0;
            }
        }
        Drawn {
            x,
            y,
            snr,
            peak: flux * peak / noise,
            length,
            angle_deg,
        }
    }
}

/// The frame that `seed` stands for.
fn make(seed: u64, file: File) -> Made {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let beta = if random.random_bool(0.3) {
        f64::INFINITY
    } else {
        random.random_range(2.5..4.5)
    };
    let fwhm = 1.5 * (4.0_f64).powf(random.random());
    let spread = Spread::new(fwhm, beta);
    // In 8 bits brighter skies have their noise under the steps between levels.
    let span: f64 = if matches!(file, File::Jpeg(_)) {
        100.0
    } else {
        400.0
    };
    let sky = 50.0 * span.powf(random.random());
    // Cameras put a night's sky at some per cent of full scale.
    let full = sky / random.random_range(0.02..0.15);
    let over_ten = 30.0 * 5.0_f64.powf(random.random());
    let length = if random.random_bool(0.2) {
        0.0
    } else {
        1.5 * (40.0_f64 / 1.5).powf(random.random())
    };
    let motion = Motion::random(&mut random, length, 0.7);
    let rounding = match file {
        File::Jpeg(_) => full * level_step(sky / full) / 12.0_f64.sqrt(),
        _ => 0.0,
    };
    let noise = (sky + READ_E * READ_E + rounding * rounding).sqrt();
    let mut frame = vec![sky; SIZE.0 * SIZE.1];
    let mut brush = Brush {
        fwhm: spread.fwhm_px,
        spread: &spread,
        motion,
        unit: vec![0.0; SIZE.0 * SIZE.1],
        mosaic: file != File::Plane,
    };
    let count = over_ten * (10.0 / FAINTEST).powf(SLOPE);
    let mut stars: Vec<Drawn> = (0..count as usize)
        .map(|_| {
            let place = (
                random.random_range(0.0..SIZE.0 as f64),
                random.random_range(0.0..SIZE.1 as f64),
            );
            let part: f64 = random.random_range(1e-9..1.0);
            let snr = (FAINTEST * part.powf(-1.0 / SLOPE)).min(3000.0);
            brush.draw(&mut frame, place, snr, noise)
        })
        .collect();
    stars.sort_by(|a, b| b.snr.total_cmp(&a.snr));
    let samples = match file {
        File::Plane | File::Mosaic => exposed(&frame, file == File::Mosaic, &mut random),
        File::Jpeg(quality) => jpeg(&frame, full, quality, &mut random),
    };
    Made {
        samples,
        stars,
        what: format!(
            "seed {seed}: beta {beta:.1} fwhm {:.2} sky {sky:.0} L {length:.2} {over_ten:.0} over 10 {} {file:?}",
            spread.fwhm_px,
            if matches!(motion, Motion::Even { .. }) {
                "even"
            } else {
                "turn"
            }
        ),
        fwhm_px: spread.fwhm_px,
        coarse: 12.0_f64.sqrt() * rounding > (sky + READ_E * READ_E).sqrt(),
    }
}

/// The sRGB curve, IEC 61966-2-1.
fn encoded(linear: f64) -> f64 {
    if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    }
}

/// Linear light between two of 256 levels at a level.
fn level_step(linear: f64) -> f64 {
    2e-4 / 255.0 / (encoded(linear + 1e-4) - encoded(linear - 1e-4))
}

/// The frame as a camera with a colour mosaic (RGGB) would save it, read back: white stars in a
/// grey sky, bilinear demosaicing, the sRGB curve, compression.
fn jpeg(frame: &[f64], full: f64, quality: u8, random: &mut ChaCha8Rng) -> Samples {
    let (width, height) = SIZE;
    // What the red and blue filters pass; the white balance takes it back.
    let passed = |x: usize, y: usize| [1.0, 0.5, 0.65][(x + y + 1) % 2 * (1 + y % 2)];
    let mosaic: Vec<f64> = frame
        .iter()
        .enumerate()
        .map(|(i, &e)| {
            let passed = passed(i % width, i / width);
            let e = e * passed;
            let n: f64 = random.sample(StandardNormal);
            (e + (e + READ_E * READ_E).sqrt() * n) / passed / full
        })
        .collect();
    let tone = |linear: f64| (255.0 * encoded(linear)).round().clamp(0.0, 255.0) as u8;
    let mut rgb = Vec::with_capacity(3 * width * height);
    for i in 0..width * height {
        let (x, y) = (i % width, i / width);
        // The mean of those of the nearest nine that have the colour.
        let mut sums = [(0.0, 0.0); 3];
        for row in y.saturating_sub(1)..(y + 2).min(height) {
            for column in x.saturating_sub(1)..(x + 2).min(width) {
                let colour = match (row % 2, column % 2) {
                    (0, 0) => 0,
                    (1, 1) => 2,
                    _ => 1,
                };
                let own = (x + y) % 2 == 1 && colour == 1;
                let corner = row != y && column != x;
                if (own && (row, column) != (y, x)) || (colour == 1 && !own && corner) {
                    continue;
                }
                if (x % 2, y % 2) == (column % 2, row % 2) && (row, column) != (y, x) {
                    continue;
                }
                sums[colour].0 += mosaic[row * width + column];
                sums[colour].1 += 1.0;
            }
        }
        rgb.extend(sums.map(|(sum, count)| tone(sum / f64::max(count, 1.0))));
    }
    let mut saved = tempfile::Builder::new().suffix(".jpg").tempfile().unwrap();
    JpegEncoder::new_with_quality(saved.as_file_mut(), quality)
        .write_image(&rgb, width as u32, height as u32, ExtendedColorType::Rgb8)
        .unwrap();
    let opened = frame::open(saved.path(), &OpenOptions::default());
    opened.unwrap().samples
}

/// How a star lies among the others.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Company {
    /// Distance of its trail to the nearest trail of a rival, in FWHM.
    rival: f64,
    /// Light of brighter ones at its middle over its own.
    drowned: f64,
}

impl Company {
    /// Whether nothing hides this star.
    fn is_alone(self) -> bool {
        self.rival >= 2.0 && self.drowned <= 0.5
    }
}

/// Distance of a place from a star's trail.
fn off_trail(place: (f64, f64), star: &Drawn) -> f64 {
    let (sin, cos) = star.angle_deg.to_radians().sin_cos();
    let (dx, dy) = (place.0 - star.x, place.1 - star.y);
    let along = (dx * cos - dy * sin).abs();
    let across = (dx * sin + dy * cos).abs();
    across.hypot((along - 0.5 * star.length).max(0.0))
}

/// Points along a star's trail.
fn points(star: &Drawn) -> impl Iterator<Item = (f64, f64)> {
    let (sin, cos) = star.angle_deg.to_radians().sin_cos();
    let steps = (star.length / 1.0).ceil().max(1.0) as usize;
    (0..=steps).map(move |i| {
        let along = star.length * (i as f64 / steps as f64 - 0.5);
        (star.x + along * cos, star.y - along * sin)
    })
}

fn company(made: &Made, index: usize) -> Company {
    let star = &made.stars[index];
    let mut out = Company {
        rival: f64::INFINITY,
        drowned: 0.0,
    };
    for (other, it) in made.stars.iter().enumerate() {
        if other == index || it.snr < RIVAL * star.snr {
            continue;
        }
        let apart = (it.x - star.x).hypot(it.y - star.y);
        if apart > 0.5 * (star.length + it.length) + 12.0 * made.fwhm_px {
            continue;
        }
        let near = points(star)
            .map(|p| off_trail(p, it))
            .fold(f64::INFINITY, f64::min)
            / made.fwhm_px;
        out.rival = out.rival.min(near);
        if it.snr > star.snr {
            // A Moffat profile of strong wings, beta 3.
            let light = (1.0 + 1.04 * near * near).powi(-3);
            out.drowned += it.peak * light / star.peak;
        }
    }
    out
}

/// Counts of one kind of frame.
#[derive(Default)]
struct Curve {
    there: [[u32; BINS.len()]; 2],
    found: [[u32; BINS.len()]; 2],
    listed: [u32; BINS.len()],
    false_ones: [u32; BINS.len()],
    /// Missed stars over 10 that stand alone, and false ones over 10.
    notes: String,
}

fn bin(snr: f64) -> Option<usize> {
    BINS.iter().rposition(|&bin| snr >= bin)
}

impl Curve {
    fn add(&mut self, made: &Made, got: &FrameMeasure) {
        let mut claimed: Vec<Option<usize>> = vec![None; got.stars.len()];
        for (index, star) in made.stars.iter().enumerate() {
            if star.snr < 2.0 {
                break;
            }
            let (sin, cos) = star.angle_deg.to_radians().sin_cos();
            let fits = |x: f64, y: f64| {
                let (dx, dy) = (x - star.x, y - star.y);
                let along = (dx * cos - dy * sin).abs();
                let across = (dx * sin + dy * cos).abs();
                (across <= 0.75 * made.fwhm_px + 1.0
                    && along <= 0.75 * made.fwhm_px + 1.0 + 0.3 * star.length)
                    .then_some(along.hypot(across))
            };
            let hit = got
                .stars
                .iter()
                .enumerate()
                .filter(|(k, _)| claimed[*k].is_none())
                .filter_map(|(k, s)| Some((k, fits(f64::from(s.x_px), f64::from(s.y_px))?)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            if let Some((k, _)) = hit {
                claimed[k] = Some(index);
            }
            let margin = 8.0 + 0.5 * star.length;
            let inside = star.x > margin
                && star.y > margin
                && star.x < SIZE.0 as f64 - margin
                && star.y < SIZE.1 as f64 - margin;
            let Some(bin) = bin(star.snr).filter(|_| inside) else {
                continue;
            };
            let company = company(made, index);
            self.there[0][bin] += 1;
            self.found[0][bin] += u32::from(hit.is_some());
            if company.is_alone() {
                self.there[1][bin] += 1;
                self.found[1][bin] += u32::from(hit.is_some());
                if hit.is_none() && star.snr >= 10.0 {
                    let _ = writeln!(
                        self.notes,
                        "  miss {:.1} at {:.0},{:.0} L {:.1} rival {:.1} drowned {:.2} | {}",
                        star.snr,
                        star.x,
                        star.y,
                        star.length,
                        company.rival,
                        company.drowned,
                        made.what
                    );
                }
            }
        }
        for (star, claimed) in got.stars.iter().zip(&claimed) {
            let Some(bin) = bin(f64::from(star.snr).max(BINS[0])) else {
                continue;
            };
            self.listed[bin] += 1;
            if claimed.is_none() {
                self.false_ones[bin] += 1;
                if star.snr >= 10.0 {
                    let _ = writeln!(
                        self.notes,
                        "  false {:.1} at {:.0},{:.0} {:?} | {}",
                        star.snr, star.x_px, star.y_px, star.flags, made.what
                    );
                }
            }
        }
    }

    fn from_ten(of: &[u32; BINS.len()]) -> f64 {
        let pairs = BINS.iter().zip(of);
        pairs
            .filter(|(bin, _)| **bin >= 10.0)
            .map(|(_, n)| f64::from(*n))
            .sum()
    }

    /// Share of those over 10 that stand alone that is found.
    fn alone(&self) -> f64 {
        Self::from_ten(&self.found[1]) / Self::from_ten(&self.there[1]).max(1.0)
    }

    fn every(&self) -> f64 {
        Self::from_ten(&self.found[0]) / Self::from_ten(&self.there[0]).max(1.0)
    }

    /// Share of those over 10 that is no star.
    fn false_share(&self) -> f64 {
        Self::from_ten(&self.false_ones) / Self::from_ten(&self.listed).max(1.0)
    }

    fn line(&self) -> String {
        let mut out = String::new();
        for bin in 0..BINS.len() {
            let share =
                |k: usize| 100.0 * f64::from(self.found[k][bin]) / f64::from(self.there[k][bin]);
            let _ = write!(
                out,
                " {:.1} ({:.0}) of {} |",
                share(1),
                share(0),
                self.there[1][bin]
            );
        }
        let sum = |of: &[u32]| f64::from(of.iter().sum::<u32>());
        let _ = write!(
            out,
            " {:.2} ({:.2}) | {:.2} % / {:.2} %",
            100.0 * self.alone(),
            100.0 * self.every(),
            100.0 * sum(&self.false_ones) / sum(&self.listed),
            100.0 * self.false_share()
        );
        out
    }
}

const KINDS: [File; 4] = [File::Plane, File::Mosaic, File::Jpeg(95), File::Jpeg(80)];

#[test]
fn stars_of_random_frames_are_found() {
    let asked = |name: &str| std::env::var(name).ok().and_then(|v| v.parse().ok());
    let count: Option<u64> = asked("NIGHTLOUPE_FINDING");
    let first: u64 = asked("NIGHTLOUPE_SEED").unwrap_or(760_000);
    let mut scratch = Scratch::default();
    for (k, file) in KINDS.into_iter().enumerate() {
        let mut curves = [Curve::default(), Curve::default()];
        let from = first + 1000 * k as u64;
        for seed in from..from + count.unwrap_or(3) {
            let made = make(seed, file);
            let got = measure(&made.samples, &mut scratch);
            curves[usize::from(made.coarse)].add(&made, &got);
        }
        for (curve, noise) in curves.iter().zip(["", ", noise under a level"]) {
            let line = format!("{file:?}{noise} |{}", curve.line());
            if count.is_some() {
                println!("{}{line}", curve.notes);
                continue;
            }
            // Under a level, what is there to be found is up to the compression.
            let found = curve.alone() >= 0.95 || !noise.is_empty();
            assert!(found, "{line}\n{}", curve.notes);
            assert!(
                curve.false_share() <= 0.03 || !noise.is_empty(),
                "{line}\n{}",
                curve.notes
            );
        }
    }
}
