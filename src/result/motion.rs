//! The sky's motion between two moments, as places of a picture.

use rayon::prelude::*;

use super::piece::Piece;
use crate::frame::Colour;
use crate::night::{Group, SkyTurn};
use crate::sky::Camera;
use crate::sky::projection::Ray;
use crate::sky::turning::{arc_deg, turned_by};

/// How the sky moves over the frames: lens, and the pole it turns right-handed about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkyMotion {
    camera: Camera,
    pole: Ray,
}

impl SkyMotion {
    /// By a lens and a pole.
    #[must_use]
    pub const fn new(camera: Camera, pole: Ray) -> Self {
        Self { camera, pole }
    }

    /// By the turning fitted to a group, where it was.
    #[must_use]
    pub fn of(group: &Group) -> Option<Self> {
        let turn = group.turn.filter(SkyTurn::is_plausible)?;
        let (width, height) = group.settings.size_px;
        let camera = Camera::new(turn.focal_px, f64::from(width), f64::from(height))?;
        Some(Self::new(camera, turn.pole))
    }

    /// The pole's place on the sensor, px; it may be far outside. `None` when it is behind.
    #[must_use]
    pub fn pole_px(&self) -> Option<(f64, f64)> {
        // Either end of the axis may be the one in front of the lens.
        let opposite = self.pole.map(|part| -part);
        self.camera
            .pixel(self.pole)
            .or_else(|| self.camera.pixel(opposite))
    }

    /// Where a star at a place of the sensor is `seconds` later, px.
    #[must_use]
    pub fn moved(&self, x: f64, y: f64, seconds: f64) -> Option<(f64, f64)> {
        let angle = arc_deg(seconds).to_radians().sin_cos();
        self.camera
            .pixel(turned_by(self.camera.ray(x, y), self.pole, angle))
    }

    /// What moves a picture's sky on by `seconds` (below 0: back).
    #[must_use]
    pub fn shift(&self, piece: &Piece, seconds: f64) -> Shift {
        let (width, height) = piece.size();
        let count = |side: usize| side.div_ceil(Shift::STEP) + 1;
        let (cols, rows) = (count(width), count(height));
        let node = |at: usize| {
            let place = |n: usize| (n * Shift::STEP) as f64;
            let (x, y) = piece.to_sensor(place(at % cols), place(at / cols));
            let from = self.moved(x, y, -seconds)?;
            let (x, y) = piece.from_sensor(from.0, from.1);
            Some([x as f32, y as f32])
        };
        Shift {
            cols,
            nodes: (0..cols * rows)
                .map(|at| node(at).unwrap_or([f32::NAN; 2]))
                .collect(),
        }
    }
}

/// For every px of a picture where the star now there was before, on a grid: the motion is so smooth
/// that straight lines between nodes are within 0.01 px.
#[derive(Debug, Clone)]
pub struct Shift {
    cols: usize,
    nodes: Vec<[f32; 2]>,
}

impl Shift {
    /// Px between nodes.
    const STEP: usize = 32;

    /// Where the star now at (`x`, `y`) was, px of the picture; not a number where the lens does not
    /// look.
    fn from(&self, x: usize, y: usize) -> [f32; 2] {
        let first = y / Self::STEP * self.cols + x / Self::STEP;
        let part = |at: usize| (at % Self::STEP) as f32 / Self::STEP as f32;
        let (u, v) = (part(x), part(y));
        let node = |at: usize| self.nodes.get(at).copied().unwrap_or([f32::NAN; 2]);
        let mix = |a: [f32; 2], b: [f32; 2], t: f32| [0, 1].map(|k| a[k] + (b[k] - a[k]) * t);
        let next = first + self.cols;
        // At the last row or column there is no further node, and no need of one.
        let right = |at: usize| if u > 0.0 { node(at + 1) } else { node(at) };
        let upper = mix(node(first), right(first), u);
        if v == 0.0 {
            return upper;
        }
        mix(upper, mix(node(next), right(next), u), v)
    }
}

/// A picture whose sky is moved: sampled where it is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Moved<'a> {
    picture: &'a Colour,
    shift: &'a Shift,
}

impl<'a> Moved<'a> {
    /// The picture `picture` with its sky moved by `shift`.
    #[must_use]
    pub const fn new(picture: &'a Colour, shift: &'a Shift) -> Self {
        Self { picture, shift }
    }

    /// The place in the picture as whole px with what is left, where 4 × 4 px lie about it.
    fn place(&self, x: usize, y: usize) -> Option<(usize, usize, [f32; 2])> {
        let [fx, fy] = self.shift.from(x, y);
        let (right, bottom) = (self.picture.width as f32, self.picture.height as f32);
        // Not a number fails these.
        if !(fx >= 1.0 && fy >= 1.0 && fx < right - 2.0 && fy < bottom - 2.0) {
            return None;
        }
        let (wx, wy) = (fx.floor(), fy.floor());
        Some((wx as usize, wy as usize, [fx - wx, fy - wy]))
    }

    /// The largest of the four samples about the place (`x`, `y`) comes from, by channel: no more than
    /// this, but for a little overshoot, is there.
    #[must_use]
    pub fn at_most(&self, x: usize, y: usize) -> Option<[u16; 3]> {
        let (wx, wy, _) = self.place(x, y)?;
        let mut most = [0; 3];
        for row in wy..wy + 2 {
            let first = row * self.picture.width + wx;
            for px in self.picture.rgb.get(first..first + 2)? {
                for (most, &sample) in most.iter_mut().zip(px) {
                    *most = (*most).max(sample);
                }
            }
        }
        Some(most)
    }

    /// The moved picture at (`x`, `y`) by cubic convolution (Keys 1981, a = −½), which keeps the peak
    /// of a star of 2.6 px FWHM to 4 %, where straight lines take up to 12 %. `None` where it comes
    /// from off the frame.
    #[must_use]
    pub fn at(&self, x: usize, y: usize) -> Option<[u16; 3]> {
        let (wx, wy, [u, v]) = self.place(x, y)?;
        let (across, down) = (weights(u), weights(v));
        let mut sum = [0f32; 3];
        for (row, weight_y) in (wy - 1..).zip(down) {
            let first = row * self.picture.width + wx - 1;
            let samples = self.picture.rgb.get(first..first + 4)?;
            for (px, weight_x) in samples.iter().zip(across) {
                let weight = weight_x * weight_y;
                for (sum, &sample) in sum.iter_mut().zip(px) {
                    *sum += weight * f32::from(sample);
                }
            }
        }
        Some(sum.map(|value| (value + 0.5).clamp(0.0, 65_535.0) as u16))
    }
}

/// Weights of the four samples about a place `t` past the second.
fn weights(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        -0.5 * t3 + t2 - 0.5 * t,
        1.5 * t3 - 2.5 * t2 + 1.0,
        -1.5 * t3 + 2.0 * t2 + 0.5 * t,
        0.5 * t3 - 0.5 * t2,
    ]
}

/// What two moved pictures have in common, by channel: a star is in both, an aircraft or a hot pixel
/// in one.
#[must_use]
pub fn common(a: &Moved<'_>, b: &Moved<'_>, x: usize, y: usize) -> Option<[u16; 3]> {
    let (a, b) = (a.at(x, y)?, b.at(x, y)?);
    Some([0, 1, 2].map(|c| a[c].min(b[c])))
}

/// Raises `best` to what the two moved pictures have in common, where that is more.
///
/// The two are looked at closely only where the samples nearby could be more: of a sky that some
/// frames went into already that is a px in a few hundred.
pub fn raise_to_common(best: &mut [[u16; 3]], a: &Moved<'_>, b: &Moved<'_>) {
    best.par_chunks_mut(a.picture.width.max(1))
        .enumerate()
        .for_each(|(y, row)| {
            for (x, px) in row.iter_mut().enumerate() {
                let Some((near_a, near_b)) = a.at_most(x, y).zip(b.at_most(x, y)) else {
                    continue;
                };
                if (0..3).all(|c| near_a[c].min(near_b[c]) <= px[c]) {
                    continue;
                }
                if let Some(shared) = common(a, b, x, y) {
                    for (px, shared) in px.iter_mut().zip(shared) {
                        *px = (*px).max(shared);
                    }
                }
            }
        });
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A camera that looks 25° from the pole.
    pub(in crate::result) fn motion(size: (usize, usize)) -> SkyMotion {
        let camera = Camera::new(900.0, size.0 as f64, size.1 as f64).unwrap();
        let (sin, cos) = 25f64.to_radians().sin_cos();
        SkyMotion::new(camera, [0.0, -sin, cos])
    }

    #[test]
    fn weights_sum_to_one_and_pass_through_the_samples() {
        for t in [0.0, 0.3, 0.5, 0.99] {
            assert!((weights(t).iter().sum::<f32>() - 1.0).abs() < 1e-6);
        }
        assert_eq!(weights(0.0), [0.0, 1.0, 0.0, 0.0]);
    }

    #[test]
    fn a_moved_star_is_where_the_sky_has_turned_to() {
        let size = (400, 300);
        let motion = motion(size);
        let piece = Piece::whole(size.0, size.1, 400);
        let (x, y) = (120.0, 200.0);
        let star = |x: f64, y: f64| {
            let px = |i: usize| {
                let (dx, dy) = ((i % 400) as f64 - x, (i / 400) as f64 - y);
                let light = 20_000.0 * (-(dx * dx + dy * dy) / (2.0 * 1.1 * 1.1)).exp();
                [1000 + light as u16; 3]
            };
            Colour {
                width: 400,
                height: 300,
                rgb: (0..400 * 300).map(px).collect(),
            }
        };
        let before = star(x, y);
        for seconds in [90.0, -300.0] {
            let (mx, my) = motion.moved(x, y, seconds).unwrap();
            assert!((mx - x).hypot(my - y) > 2.0);
            let truth = star(mx, my);
            let shift = motion.shift(&piece, seconds);
            let moved = Moved::new(&before, &shift);
            let at = (my.round() as usize) * 400 + mx.round() as usize;
            let found = moved.at(at % 400, at / 400).unwrap();
            let wanted = f64::from(truth.rgb[at][0]);
            assert!(
                (f64::from(found[0]) / wanted - 1.0).abs() < 0.04,
                "{found:?} {wanted}"
            );
        }
    }

    #[test]
    fn a_part_moves_as_the_whole_does() {
        let motion = motion((800, 600));
        let part = Piece::about((800, 600), (500.0, 400.0), 200, 150);
        let whole = Piece::whole(800, 600, 800);
        let (a, b) = (motion.shift(&part, 200.0), motion.shift(&whole, 200.0));
        let [px, py] = a.from(50, 60);
        let [wx, wy] = b.from(part.left + 50, part.top + 60);
        assert!((px + part.left as f32 - wx).abs() < 0.02);
        assert!((py + part.top as f32 - wy).abs() < 0.02);
    }
}
