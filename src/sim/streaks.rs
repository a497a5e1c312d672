//! Lines across a frame that are no stars.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::canvas::{Canvas, Footprint};
use super::plan::{StreakKind, StreakPlan};

/// Draws a streak. `full_e` is the light that fills a pixel; a streak's brightness is meant to be
/// seen, so it hangs on that and not on the lens.
pub(crate) fn draw(
    plan: StreakPlan,
    canvas: &mut Canvas,
    print: &mut Footprint,
    sigma_px: f64,
    full_e: f64,
    seed: u64,
) {
    let StreakPlan { kind, part, .. } = plan;
    let salt = match kind {
        StreakKind::Aircraft => 0,
        StreakKind::Satellite => 1,
        StreakKind::Meteor => 2,
        StreakKind::Insect(n) => 3 + n as u64,
    };
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x57ea_c000 ^ salt);
    let (w, h) = (canvas.plane.width() as f64, canvas.plane.height() as f64);
    let across = std::f64::consts::TAU.sqrt() * sigma_px;
    match kind {
        StreakKind::Aircraft => {
            let from = [-20.0, h * rng.random_range(0.12..0.3)];
            let to = [w + 20.0, h * rng.random_range(0.4..0.62)];
            let length = line_length(from, to);
            let every = (length / 24.0).max(30.0);
            let glow = move |at: f64| {
                let flash = ((at / every).fract() - 0.5).abs() * every;
                let strobe = 2.4 * (-0.5 * (flash / 1.6).powi(2)).exp();
                (0.16 + strobe, if strobe > 0.2 { WHITE } else { NAVIGATION })
            };
            line(
                canvas,
                print,
                (from, to, part),
                sigma_px,
                full_e * across,
                glow,
            );
            // The lamp on the other wing flies a few pixels beside.
            let beside = |p: [f64; 2]| [p[0] - 3.0, p[1] + 6.0];
            let lamp = |_: f64| (0.07, GREEN);
            line(
                canvas,
                print,
                (beside(from), beside(to), part),
                sigma_px,
                full_e * across,
                lamp,
            );
        }
        StreakKind::Satellite => {
            let from = [w * rng.random_range(0.55..0.7), h * 0.04];
            let to = [w * rng.random_range(0.15..0.3), h * 0.6];
            let length = line_length(from, to);
            let glow = move |at: f64| {
                let part = at / length;
                (0.075 * (0.65 + 0.35 * (3.0 * part).sin()), WHITE)
            };
            line(
                canvas,
                print,
                (from, to, part),
                sigma_px,
                full_e * across,
                glow,
            );
        }
        StreakKind::Meteor => {
            let from = [
                w * rng.random_range(0.55..0.7),
                h * rng.random_range(0.12..0.2),
            ];
            let to = [from[0] + w * 0.14, from[1] + h * 0.24];
            let length = line_length(from, to);
            let glow = move |at: f64| {
                let part = (at / length).clamp(0.0, 1.0);
                let swell = part.powf(1.3) * (1.0 - part).powf(0.35) * 0.55;
                let flare = 0.5 * (-0.5 * ((part - 0.84) / 0.035).powi(2)).exp();
                (swell + flare, if part < 0.5 { METEOR } else { WHITE })
            };
            line(
                canvas,
                print,
                (from, to, part),
                sigma_px * 1.1,
                full_e * across,
                glow,
            );
        }
        StreakKind::Insect(_) => {
            let from = [
                w * rng.random_range(0.1..0.8),
                h * rng.random_range(0.1..0.7),
            ];
            let angle: f64 = rng.random_range(0.0..std::f64::consts::PI);
            let long = w.hypot(h) * rng.random_range(0.07..0.13);
            let to = [from[0] + long * angle.cos(), from[1] + long * angle.sin()];
            let glow = |_: f64| (0.3, LAMPLIT);
            line(
                canvas,
                print,
                (from, to, part),
                2.0 * sigma_px,
                full_e * across,
                glow,
            );
        }
    }
}

const LAMPLIT: [f32; 3] = [1.3, 1.0, 0.5];
const WHITE: [f32; 3] = [1.0, 1.0, 1.0];
const NAVIGATION: [f32; 3] = [1.5, 0.8, 0.6];
const GREEN: [f32; 3] = [0.5, 1.2, 0.6];
const METEOR: [f32; 3] = [0.6, 1.25, 0.8];

fn line_length(from: [f64; 2], to: [f64; 2]) -> f64 {
    (to[0] - from[0]).hypot(to[1] - from[1])
}

/// The part of a line from one share of it to another, as stamps half a pixel apart; `glow` gives brightness per px along it and colour.
fn line(
    canvas: &mut Canvas,
    print: &mut Footprint,
    (from, to, [begins, ends]): ([f64; 2], [f64; 2], [f64; 2]),
    sigma_px: f64,
    electrons: f64,
    glow: impl Fn(f64) -> (f64, [f32; 3]),
) {
    let length = line_length(from, to);
    let count = (2.0 * length).ceil() as usize;
    let radius = 4.0 * sigma_px;
    for k in 0..count {
        let part = (k as f64 + 0.5) / count as f64;
        if part < begins || part > ends {
            continue;
        }
        let point = [0, 1].map(|i| from[i] + part * (to[i] - from[i]));
        let (brightness, colour) = glow(part * length);
        print.begin(&[point], radius);
        print.stamp(point, sigma_px, radius, 1.0);
        let here = electrons * brightness * length / count as f64;
        canvas.add(print, here as f32, colour);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Plane;

    #[test]
    fn every_kind_can_be_seen() {
        for kind in [
            StreakKind::Aircraft,
            StreakKind::Satellite,
            StreakKind::Meteor,
            StreakKind::Insect(0),
        ] {
            let kind = StreakPlan {
                kind,
                first: 4,
                part: [0.0, 1.0],
            };
            let mut canvas = Canvas {
                plane: Plane::new(400, 300),
                mosaic: false,
            };
            draw(kind, &mut canvas, &mut Footprint::new(), 0.9, 1000.0, 4);
            let bright = canvas.plane.data().iter().filter(|&&v| v > 30.0).count();
            assert!(bright > 60, "{kind:?}: {bright}");
        }
    }
}
