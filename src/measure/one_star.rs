//! Single stars against their truth and against what physics allows (Cramér 1946; Rao 1945): no
//! unbiased reading scatters less than the inverse of the Fisher information.
//!
//! `NIGHTLOUPE_ONE_STAR=FRAMES` draws that many frames for each line and prints the table of
//! docs/accuracy.md.

use std::fmt::Write as _;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::heldout::{READ_E, SIZE, Spread, exposed, is_used};
use super::{Scratch, Star, measure};
use crate::base::linalg::solve;
use crate::base::robust;
use crate::base::spin2::angle_between_deg;

const SKY_E: f64 = 900.0;

/// What a line of the table is about.
#[derive(Debug, Clone, Copy)]
struct Case {
    fwhm: f64,
    beta: f64,
    length: f64,
    snr: f64,
    mosaic: bool,
}

/// Draws an even trail; with `flux` electrons.
fn draw(
    spread: &Spread,
    frame: &mut [f64],
    (x, y): (f64, f64),
    (length, angle_deg): (f64, f64),
    flux: f64,
) {
    let steps = ((length / 0.1).ceil() as usize).max(1);
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    for i in 0..steps {
        let along = length * ((i as f64 + 0.5) / steps as f64 - 0.5);
        let place = (x + along * cos, y - along * sin);
        spread.add(frame, place, flux / steps as f64);
    }
}

/// Pixels that count: all, or the greens.
fn counts(mosaic: bool, at: usize) -> bool {
    !mosaic || (at % SIZE.0 + at / SIZE.0) % 2 == 1
}

/// The flux in electrons that has this signal-to-noise, and the least scatter of L, px.
fn bound(case: Case, angle_deg: f64) -> (f64, f64) {
    let place = (SIZE.0 as f64 / 2.0 + 0.21, SIZE.1 as f64 / 2.0 - 0.37);
    let picture = |dx: f64, dy: f64, dl: f64, da: f64, df: f64| {
        let mut frame = vec![0.0; SIZE.0 * SIZE.1];
        let spread = Spread::new(case.fwhm + df, case.beta);
        let at = (place.0 + dx, place.1 + dy);
        draw(
            &spread,
            &mut frame,
            at,
            (case.length + dl, angle_deg + da),
            1.0,
        );
        frame
    };
    let middle = picture(0.0, 0.0, 0.0, 0.0, 0.0);
    let step = 0.05;
    let changes = [
        (step, 0.0, 0.0, 0.0, 0.0),
        (0.0, step, 0.0, 0.0, 0.0),
        (0.0, 0.0, 2.0 * step, 0.0, 0.0),
        (0.0, 0.0, 0.0, 2.0, 0.0),
        (0.0, 0.0, 0.0, 0.0, step),
    ];
    let mut slopes: Vec<Vec<f64>> = changes
        .iter()
        .map(|&(a, b, c, d, e)| {
            let (up, down) = (picture(a, b, c, d, e), picture(-a, -b, -c, -d, -e));
            up.iter().zip(down).map(|(u, d)| u - d).collect()
        })
        .collect();
    slopes.push(middle.clone());
    let sky = SKY_E + READ_E * READ_E;
    let light = middle.iter().enumerate();
    let squares: f64 = light
        .filter(|(at, _)| counts(case.mosaic, *at))
        .map(|(_, v)| v * v)
        .sum();
    let flux = case.snr * (sky / squares).sqrt();
    let mut information = [[0.0; 6]; 6];
    for (at, &value) in middle.iter().enumerate() {
        if value > 0.0 && counts(case.mosaic, at) {
            let variance = sky + flux * value;
            for (line, a) in information.iter_mut().zip(&slopes) {
                for (cell, b) in line.iter_mut().zip(&slopes) {
                    *cell += flux * flux * a[at] * b[at] / variance;
                }
            }
        }
    }
    let covariance = solve(information, [0.0, 0.0, 1.0, 0.0, 0.0, 0.0]).unwrap();
    // The slope is the change over two steps of L, 4 × `step` in all.
    (flux, covariance[2].sqrt() * 4.0 * step)
}

/// Offsets and stated errors of the stars of some frames.
#[derive(Default)]
struct Seen {
    length: Vec<(f64, f64)>,
    angle: Vec<(f64, f64)>,
    place: Vec<(f64, f64)>,
    flux: Vec<(f64, f64)>,
    width: Vec<(f64, f64)>,
}

fn look(case: Case, flux: f64, frames: u64, first: u64) -> Seen {
    let spread = Spread::new(case.fwhm, case.beta);
    let mut seen = Seen::default();
    let pitch = 28.0 + 8.0 * case.fwhm + case.length;
    for seed in first..first + frames {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let angle: f64 = random.random_range(0.0..180.0);
        let mut frame = vec![SKY_E; SIZE.0 * SIZE.1];
        let mut places = Vec::new();
        let (cols, rows) = (SIZE.0 as f64 / pitch, SIZE.1 as f64 / pitch);
        for i in 0..(cols as usize * rows as usize) {
            let (col, row) = (i % cols as usize, i / cols as usize);
            let x = (col as f64 + 0.5) * pitch + random.random_range(-4.0..4.0);
            let y = (row as f64 + 0.5) * pitch + random.random_range(-4.0..4.0);
            draw(&spread, &mut frame, (x, y), (case.length, angle), flux);
            places.push((x, y));
        }
        let samples = exposed(&frame, case.mosaic, &mut random);
        let got = measure(&samples, &mut Scratch::default());
        for (x, y) in places {
            let off = |s: &&Star| (f64::from(s.x_px) - x).hypot(f64::from(s.y_px) - y);
            let near = got
                .stars
                .iter()
                .filter(|s| is_used(s))
                .min_by(|a, b| off(a).total_cmp(&off(b)));
            let Some(star) = near.filter(|s| off(s) < 3.0) else {
                continue;
            };
            let e = star.errors;
            seen.length
                .push((star.trail.length_px() - case.length, f64::from(e.length_px)));
            let turn = angle_between_deg(star.trail.angle_deg(), angle);
            seen.angle.push((turn, f64::from(e.angle_deg)));
            seen.place
                .push((f64::from(star.x_px) - x, f64::from(e.place_px)));
            seen.place
                .push((f64::from(star.y_px) - y, f64::from(e.place_px)));
            let full_e = super::heldout::FULL_E;
            seen.flux.push((
                f64::from(star.flux) * full_e - flux,
                f64::from(e.flux) * full_e,
            ));
            seen.width.push((
                f64::from(star.fwhm_px) - spread.fwhm_px,
                f64::from(e.fwhm_px),
            ));
        }
    }
    seen
}

/// Share of offsets within their stated errors, percent.
fn covered(pairs: &[(f64, f64)]) -> f64 {
    let within = pairs.iter().filter(|(off, error)| off.abs() <= *error);
    100.0 * within.count() as f64 / pairs.len().max(1) as f64
}

/// Bias and scatter about the truth of the middle 99 %: one star in a hundred has company.
fn bias_and_rms(pairs: &[(f64, f64)]) -> (f64, f64) {
    let mut sizes: Vec<f64> = pairs.iter().map(|p| p.0.abs()).collect();
    let most = robust::quantile(&mut sizes, 0.99).unwrap_or(0.0);
    let kept: Vec<f64> = pairs
        .iter()
        .map(|p| p.0)
        .filter(|o| o.abs() <= most)
        .collect();
    let n = kept.len().max(1) as f64;
    let bias = kept.iter().sum::<f64>() / n;
    (bias, (kept.iter().map(|o| o * o).sum::<f64>() / n).sqrt())
}

fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    for (fwhm, beta, mosaic) in [
        (2.2, f64::INFINITY, false),
        (2.2, 3.5, false),
        (2.2, 3.5, true),
        (4.5, 3.0, false),
    ] {
        for (snr, lengths) in [
            (200.0, [2.0, 4.0, 8.0, 20.0]),
            (50.0, [4.0, 12.0, 20.0, 40.0]),
        ] {
            cases.extend(lengths.map(|length| Case {
                fwhm,
                beta,
                length,
                snr,
                mosaic,
            }));
        }
    }
    cases
}

#[test]
fn one_star_reads_as_well_as_physics_allows() {
    let count = std::env::var("NIGHTLOUPE_ONE_STAR")
        .ok()
        .and_then(|v| v.parse().ok());
    let all = cases();
    let chosen: Vec<Case> = if count.is_some() {
        all
    } else {
        // Gaussian and winged, short and long.
        [2, 7, 9, 13]
            .iter()
            .filter_map(|&i| all.get(i).copied())
            .collect()
    };
    let mut text = String::new();
    for case in chosen {
        let bounds: Vec<(f64, f64)> = [10.0, 40.0].map(|angle| bound(case, angle)).to_vec();
        let flux = 0.5 * (bounds[0].0 + bounds[1].0);
        let least = 0.5 * (bounds[0].1 + bounds[1].1);
        let seen = look(case, flux, count.unwrap_or(1), 810_000);
        let (bias, rms) = bias_and_rms(&seen.length);
        let (width_bias, width_rms) = bias_and_rms(&seen.width);
        let _ = writeln!(
            text,
            "{case:?}: {} stars, L {bias:+.3} / {rms:.3}, bound {least:.3}, ratio {:.2}; width \
             {width_bias:+.3} / {width_rms:.3}; covered: L {:.0} angle {:.0} place {:.0} flux {:.0} \
             width {:.0} %",
            seen.length.len(),
            rms / least,
            covered(&seen.length),
            covered(&seen.angle),
            covered(&seen.place),
            covered(&seen.flux),
            covered(&seen.width),
        );
        if count.is_none() {
            assert!(seen.length.len() >= 8, "{text}");
            assert!(rms < 2.0 * least && bias.abs() < least, "{text}");
            assert!((40.0..=95.0).contains(&covered(&seen.length)), "{text}");
        }
    }
    if count.is_some() {
        println!("{text}");
    }
}
