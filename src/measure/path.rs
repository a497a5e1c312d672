//! Whether the stars' paths are even, by what their profile fits leave in common.
//!
//! A camera that shakes moves all its stars alike, at the same times. So what a long trail's straight
//! profile leaves is asked, star by star, how far its light lies to the side of the path at each part
//! of the exposure, as Legendre polynomials of that part; place and angle of the fit are the first two,
//! the next four are the shake. One motion of the camera, in the frame's axes, is then sought behind
//! them all: what one star shows alone is a neighbour, what all show is the camera. How the sky's own
//! turning bends each path is known from the field map and taken off.
//!
//! Moving along the trail only makes it brighter here and fainter there, as a cloud does: it is not
//! looked at. Trails shorter than a few widths show no path.

use super::field::{SmoothField, quadratic};
use super::profile::{self, Fitted, Ground, Trailed};
use super::types::{Path, PathKind};
use crate::base::linalg::solve;
use crate::base::robust::median;

/// Polynomials that a straight fit has taken: place and angle.
const TAKEN: usize = 2;

/// Polynomials of the shake.
const TERMS: usize = 4;

/// All of them.
const ALL: usize = TAKEN + TERMS;

/// The shake's numbers: each polynomial along x and along y.
const NUMBERS: usize = 2 * TERMS;

/// Below this signal-to-noise a star shows nothing of its path.
const LEAST_SNR: f32 = 30.0;

/// Fewer stars than this tell no path.
const LEAST_STARS: usize = 8;

/// A path is wavy when its shake stands clear of chance by this many σ …
const CLEAR: f64 = 6.0;

/// … and is at least this large, px rms: less harms nothing, and lenses and demosaicing may do it.
const LEAST_PX: f64 = 0.15;

/// What is thought of the shake before any star has spoken, px: where all trails run one way, nothing
/// tells of moving along them.
const PRIOR_PX: f64 = 5.0;

/// Stars that lie further from the common shake than this many of the usual are others' neighbours.
const CUT: f64 = 3.5;

/// How one star's light lies beside its straight path: polynomials of the place along it, px, positive
/// towards a quarter turn clockwise from its angle as seen, with their information.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wave {
    trail: Trailed,
    off_px: [f64; TERMS],
    information: [[f64; TERMS]; TERMS],
}

impl Wave {
    /// Of a fitted star; `None` where it is too faint to tell.
    pub(super) fn of(ground: &Ground<'_>, fit: &Fitted, core: f64, snr: f32) -> Option<Self> {
        if snr < LEAST_SNR {
            return None;
        }
        let trail = fit.trail;
        let mut normal = [[0.0; ALL]; ALL];
        let mut right = [0.0; ALL];
        profile::across(ground, trail, core, |place, slope, left, weight| {
            let basis = legendre((2.0 * place / trail.length).clamp(-1.0, 1.0));
            for i in 0..ALL {
                right[i] += weight * slope * basis[i] * left;
                for j in 0..ALL {
                    normal[i][j] += weight * slope * slope * basis[i] * basis[j];
                }
            }
        })?;
        let off = solve(normal, right)?;
        // The information on the shake once place and angle have taken theirs (Schur's complement).
        let mut information = [[0.0; TERMS]; TERMS];
        let trust = 1.0 / fit.chi2.max(1.0);
        let [a, b, c] = [normal[0][0], normal[0][1], normal[1][1]];
        let det = a * c - b * b;
        for i in 0..TERMS {
            for j in 0..TERMS {
                let [p, q] = [normal[TAKEN + i][0], normal[TAKEN + i][1]];
                let [r, s] = [normal[TAKEN + j][0], normal[TAKEN + j][1]];
                let taken = (p * (c * r - b * s) + q * (a * s - b * r)) / det;
                information[i][j] = trust * (normal[TAKEN + i][TAKEN + j] - taken);
            }
        }
        let mut off_px: [f64; TERMS] = std::array::from_fn(|i| off[TAKEN + i]);
        // A bend that was fitted is the second polynomial: −κu²/2 to the side.
        off_px[0] -= trail.curvature * trail.length.powi(2) / 12.0;
        let is_sound = det > 0.0 && (0..TERMS).all(|i| information[i][i] > 0.0);
        is_sound.then_some(Self {
            trail,
            off_px,
            information,
        })
    }

    /// This star's say about the camera, with the sky's motion there: its direction, and by how much
    /// that turns along the trail, radians anticlockwise.
    fn say(&self, (dx, dy): (f64, f64), turned: f64) -> Say {
        let mut off_px = self.off_px;
        let forward = dx * self.trail.angle.cos() - dy * self.trail.angle.sin() >= 0.0;
        // The sky's own bend, which is the same whichever way the star goes along it.
        off_px[0] += turned * self.trail.length / 12.0;
        let sign = if forward { 1.0 } else { -1.0 };
        if !forward {
            // Backwards the time runs the other way and the sides change: odd ones stay.
            off_px[0] = -off_px[0];
            off_px[2] = -off_px[2];
        }
        let mut information = self.information;
        for (i, line) in information.iter_mut().enumerate() {
            for (j, cell) in line.iter_mut().enumerate() {
                *cell *= if (i + j) % 2 == 1 { sign } else { 1.0 };
            }
        }
        // The sky's direction, not the star's own: noise in that would tell of moving along it.
        let length = dx.hypot(dy).max(1e-9);
        Say {
            side: (-dy / length, dx / length),
            off_px,
            information,
        }
    }
}

/// One star's say about the camera's shake.
#[derive(Debug, Clone, Copy)]
struct Say {
    /// The side to which its path shows it, in the frame's axes.
    side: (f64, f64),
    off_px: [f64; TERMS],
    information: [[f64; TERMS]; TERMS],
}

impl Say {
    /// Square of what a shake leaves of this star, in units of its noise, a polynomial.
    fn left2(&self, shake: &[f64; NUMBERS]) -> f64 {
        let left: [f64; TERMS] = std::array::from_fn(|i| self.off_px[i] - self.of_shake(shake, i));
        let line = |i: usize| -> f64 { (0..TERMS).map(|j| self.information[i][j] * left[j]).sum() };
        (0..TERMS).map(|i| left[i] * line(i)).sum::<f64>() / TERMS as f64
    }

    fn of_shake(&self, shake: &[f64; NUMBERS], term: usize) -> f64 {
        self.side.0 * shake[term] + self.side.1 * shake[TERMS + term]
    }
}

/// The path common to these stars; `None` where too few tell one.
pub(super) fn common(waves: &[Wave], map: Option<&SmoothField>) -> Option<Path> {
    let says: Vec<Say> = waves.iter().filter_map(|wave| placed(wave, map)).collect();
    if says.len() < LEAST_STARS {
        return None;
    }
    let mut kept = says.clone();
    let (mut shake, mut normal) = solved(&kept)?;
    for _ in 0..4 {
        let mut sizes: Vec<f64> = says.iter().map(|say| say.left2(&shake)).collect();
        let all = sizes.clone();
        // The median of χ² of four over four is 0.84.
        let usual = median(&mut sizes)? / 0.84;
        let most = CUT * CUT * usual.max(1e-12);
        let before = kept.len();
        let within = says.iter().zip(&all).filter(|(_, size)| **size <= most);
        kept = within.map(|(say, _)| *say).collect();
        (shake, normal) = solved(&kept)?;
        if kept.len() == before {
            break;
        }
    }
    if kept.len() < LEAST_STARS {
        return None;
    }
    let freedom = (TERMS * kept.len()).saturating_sub(NUMBERS).max(1) as f64;
    let left: f64 = kept
        .iter()
        .map(|say| TERMS as f64 * say.left2(&shake))
        .sum();
    let noise2 = (left / freedom).max(1.0);
    let strength = quadratic(&normal, &shake);
    // χ² of eight beyond what chance gives it, as so many σ of one number.
    let sigma = (strength / noise2 - NUMBERS as f64).max(0.0).sqrt();
    let shake_px = rms(&shake, &normal, noise2)?;
    let is_wavy = sigma >= CLEAR && shake_px >= LEAST_PX;
    Some(Path {
        kind: if is_wavy {
            PathKind::Wavy
        } else {
            PathKind::Even
        },
        shake_px,
        sigma,
        stars: kept.len() as u32,
    })
}

/// Root of the mean square of a shake over the exposure, px, with what its errors add taken off.
fn rms(shake: &[f64; NUMBERS], normal: &[[f64; NUMBERS]; NUMBERS], noise2: f64) -> Option<f64> {
    let mut sum = 0.0;
    for (i, number) in shake.iter().enumerate() {
        let mut unit = [0.0; NUMBERS];
        *unit.get_mut(i)? = 1.0;
        // What noise alone makes of the number; what only the prior holds it makes nothing of.
        let carried = solve(held(normal), unit)?;
        let variance = noise2 * quadratic(normal, &carried);
        let order = i % TERMS + TAKEN;
        sum += (number * number - variance) / (2 * order + 1) as f64;
    }
    Some(sum.max(0.0).sqrt())
}

/// The information with what is thought beforehand.
fn held(normal: &[[f64; NUMBERS]; NUMBERS]) -> [[f64; NUMBERS]; NUMBERS] {
    let mut held = *normal;
    for (i, line) in held.iter_mut().enumerate() {
        line[i] += PRIOR_PX.powi(-2);
    }
    held
}

/// A star's say, with the sky's motion read off the map; `None` where its direction is not known.
fn placed(wave: &Wave, map: Option<&SmoothField>) -> Option<Say> {
    let Some(map) = map else {
        // With no map, all go the way the trails lean.
        let (sin, cos) = wave.trail.angle.sin_cos();
        let direction = if cos >= 0.0 { (cos, -sin) } else { (-cos, sin) };
        return Some(wave.say(direction, 0.0));
    };
    let (x, y) = (wave.trail.x, wave.trail.y);
    let direction = map.direction(x, y)?;
    let (cos, sin) = (wave.trail.angle.cos(), wave.trail.angle.sin());
    let half = 0.5 * wave.trail.length;
    let angle = |part: f64| {
        let spin = map.at(x + part * half * cos, y - part * half * sin);
        0.5 * spin.sin.atan2(spin.cos)
    };
    let turn = angle(1.0) - angle(-1.0);
    // Angles of a line are the same half a turn on.
    let half_turns = (turn / std::f64::consts::PI).round();
    Some(wave.say(direction, turn - half_turns * std::f64::consts::PI))
}

/// The shake nearest to these stars, and the information on it.
fn solved(says: &[Say]) -> Option<([f64; NUMBERS], [[f64; NUMBERS]; NUMBERS])> {
    let mut normal = [[0.0; NUMBERS]; NUMBERS];
    let mut right = [0.0; NUMBERS];
    for say in says {
        let side = [say.side.0, say.side.1];
        for i in 0..NUMBERS {
            let (axis, term) = (i / TERMS, i % TERMS);
            for other in 0..TERMS {
                right[i] += side[axis] * say.information[term][other] * say.off_px[other];
            }
            for j in 0..NUMBERS {
                let by = side[axis] * side[j / TERMS];
                normal[i][j] += by * say.information[term][j % TERMS];
            }
        }
    }
    Some((solve(held(&normal), right)?, normal))
}

/// Legendre polynomials of orders 0 to 5.
fn legendre(t: f64) -> [f64; ALL] {
    let mut out = [1.0, t, 0.0, 0.0, 0.0, 0.0];
    for n in 1..ALL - 1 {
        let order = n as f64;
        out[n + 1] = ((2.0 * order + 1.0) * t * out[n] - order * out[n - 1]) / (order + 1.0);
    }
    out
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::super::heldout::{SIZE, Spread, exposed};
    use super::super::{Scratch, measure};
    use super::*;

    /// A frame of 110 stars that go `length` px at 25°, and to and fro by `shake` px, rms, `swings`
    /// times; turning about a pole `radius` px away when that is finite.
    fn frame(seed: u64, length: f64, (shake, swings): (f64, f64), radius: f64) -> Option<Path> {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let spread = Spread::new(2.4, 3.2);
        let mut electrons = vec![600.0; SIZE.0 * SIZE.1];
        let pole = (SIZE.0 as f64 / 2.0, SIZE.1 as f64 / 2.0 + radius);
        for _ in 0..110 {
            let (x, y) = (
                random.random_range(0.0..SIZE.0 as f64),
                random.random_range(0.0..SIZE.1 as f64),
            );
            let flux = 4_000.0 * 20.0_f64.powf(random.random());
            let steps = 10 * length as usize;
            for i in 0..steps {
                let t = (i as f64 + 0.5) / steps as f64 - 0.5;
                let swing = std::f64::consts::SQRT_2
                    * shake
                    * (std::f64::consts::TAU * swings * t + 0.7).sin();
                let (sin, cos) = if radius.is_finite() {
                    (length / radius * t).sin_cos()
                } else {
                    (0.0, 1.0)
                };
                let way = if radius.is_finite() {
                    let (dx, dy) = (x - pole.0, y - pole.1);
                    (dx * cos - dy * sin + pole.0, dx * sin + dy * cos + pole.1)
                } else {
                    (x + t * length * 0.906, y - t * length * 0.423)
                };
                let place = (way.0 + 0.3 * swing, way.1 + 0.954 * swing);
                spread.add(&mut electrons, place, flux / steps as f64);
            }
        }
        let samples = exposed(&electrons, seed % 2 == 1, &mut random);
        measure(&samples, &mut Scratch::default()).path
    }

    #[test]
    fn a_shake_common_to_all_stars_is_seen() {
        for (seed, length, shake, radius) in [
            (1, 14.0, (0.5, 1.2), f64::INFINITY),
            (2, 22.0, (0.8, 1.0), f64::INFINITY),
            // The pole beside the frame's centre: stars run every way, the camera one.
            (3, 20.0, (0.7, 1.3), 260.0),
        ] {
            let path = frame(seed, length, shake, radius).unwrap();
            assert_eq!(path.kind, PathKind::Wavy, "{seed}: {path:?}");
            assert!(
                (0.3 * shake.0..1.3 * shake.0).contains(&path.shake_px),
                "{seed}: {path:?}"
            );
        }
    }

    #[test]
    fn even_paths_and_arcs_are_even() {
        for (seed, length, radius) in [(4, 14.0, f64::INFINITY), (5, 22.0, 260.0), (6, 60.0, 400.0)]
        {
            let path = frame(seed, length, (0.0, 1.0), radius).unwrap();
            assert_eq!(path.kind, PathKind::Even, "{seed}: {path:?}");
        }
        assert_eq!(frame(7, 2.0, (0.0, 1.0), f64::INFINITY), None);
    }
}
