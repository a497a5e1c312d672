//! Centroid, flux and adaptive moments of one star, from true samples only.
//!
//! Adaptive moments weigh the star by an elliptical Gaussian that is matched to it by iteration
//! (Bernstein & Jarvis 2002, AJ 123, 583, §3): M settles where the moments W under the weight are
//! M/2. The step M ← (W⁻¹ − M⁻¹)⁻¹ has the same end as M ← 2W and is there at once for a Gaussian;
//! where noise makes it unsafe, 2W is taken. A weight that follows the star to where it ends does
//! not cut it at an isophote, so L does not read low.
//!
//! Sums over few samples are not the integrals that this reasons with, least of all on the greens of
//! a mosaic. So the same sums are taken of the matched Gaussian itself at the same samples, and what
//! they miss of the integral's M/2 is put back. At the end the star's and the Gaussian's sums
//! agree, which are the normal equations of the least-squares fit of that Gaussian.

use super::background::SkyPlane;
use crate::frame::Samples;

/// Rounds after which moments count as not settling.
const ROUNDS: usize = 40;

/// Samples with xᵀM⁻¹x above this are left out; their weight is below 1/1000.
const REACH2: f64 = 14.0;

/// Relative change of M at which it has settled.
const SETTLED: f64 = 1e-4;

/// Second moments in px², x right and y down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moments {
    /// ⟨x²⟩.
    pub(super) xx: f64,
    /// ⟨xy⟩.
    pub(super) xy: f64,
    /// ⟨y²⟩.
    pub(super) yy: f64,
}

impl Moments {
    /// Determinant.
    pub(super) fn det(self) -> f64 {
        self.xx * self.yy - self.xy * self.xy
    }

    /// The larger and the smaller principal moment.
    pub(super) fn axes(self) -> (f64, f64) {
        let mean = 0.5 * (self.xx + self.yy);
        let half = (0.5 * (self.xx - self.yy)).hypot(self.xy);
        (mean + half, mean - half)
    }

    /// Along the direction `angle_deg`, anticlockwise from right as seen.
    pub(super) fn along(self, angle_deg: f64) -> f64 {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        cos * cos * self.xx - 2.0 * sin * cos * self.xy + sin * sin * self.yy
    }

    /// Square of the distance (`dx`, `dy`) in units of the ellipse's σ; `None` when degenerate.
    pub(super) fn distance2(self, dx: f64, dy: f64) -> Option<f64> {
        let i = self.inverse()?;
        Some(i.xx * dx * dx + 2.0 * i.xy * dx * dy + i.yy * dy * dy)
    }

    fn inverse(self) -> Option<Self> {
        let det = self.det();
        (det > 1e-12).then(|| Self {
            xx: self.yy / det,
            xy: -self.xy / det,
            yy: self.xx / det,
        })
    }

    fn twice(self) -> Self {
        Self {
            xx: 2.0 * self.xx,
            xy: 2.0 * self.xy,
            yy: 2.0 * self.yy,
        }
    }
}

/// One star's shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape {
    /// Centroid, px.
    pub(super) x: f64,
    /// Centroid, px.
    pub(super) y: f64,
    /// Settled moments.
    pub(super) moments: Moments,
    /// Flux above the sky, full scale · px, of the matched elliptical Gaussian.
    pub(super) flux: f64,
    /// Highest true sample above the sky within the core.
    pub(super) peak: f64,
    /// Flux over its matched-filter error.
    pub(super) snr: f64,
    /// Whether the moments settled.
    pub(super) settled: bool,
    /// Whether a sample of the core is clipped.
    pub(super) clipped: bool,
    /// Whether the window leaves the frame.
    pub(super) at_edge: bool,
}

/// Weighted sums of a brightness times 1, x, y, x², xy, y² from the centre.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    one: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Sums {
    fn add(&mut self, w: f64, dx: f64, dy: f64) {
        self.one += w;
        self.x += w * dx;
        self.y += w * dy;
        self.xx += w * dx * dx;
        self.xy += w * dx * dy;
        self.yy += w * dy * dy;
    }

    /// Mean place and moments round it; `None` unless there is light.
    fn moments(&self) -> Option<(f64, f64, Moments)> {
        if self.one <= 0.0 {
            return None;
        }
        let (x, y) = (self.x / self.one, self.y / self.one);
        let moments = Moments {
            xx: self.xx / self.one - x * x,
            xy: self.xy / self.one - x * y,
            yy: self.yy / self.one - y * y,
        };
        Some((x, y, moments))
    }
}

/// What the window holds under the present weight.
#[derive(Debug, Default)]
struct Window {
    /// Of the star above the sky.
    star: Sums,
    /// Of the weight itself, as if it were the star.
    model: Sums,
    peak: f64,
    clipped: bool,
    at_edge: bool,
}

/// Measures the star near (`x`, `y`) with first guess `start`; `noise` is σ of one sample there.
///
/// `max_radius` bounds the window in px. `None` when nothing above the sky is there.
pub(super) fn measure_shape(
    samples: &Samples,
    sky: SkyPlane,
    (x, y): (f64, f64),
    start: Moments,
    noise: f64,
    max_radius: f64,
) -> Option<Shape> {
    let (mut cx, mut cy, mut m) = (x, y, start);
    let mut settled = false;
    for _ in 0..ROUNDS {
        let window = look(samples, sky, (cx, cy), m, max_radius)?;
        let (sx, sy, star) = window.star.moments()?;
        let (mx, my, model) = window.model.moments()?;
        let (dx, dy) = (sx - mx, sy - my);
        let seen = Moments {
            xx: star.xx - model.xx + 0.5 * m.xx,
            xy: star.xy - model.xy + 0.5 * m.xy,
            yy: star.yy - model.yy + 0.5 * m.yy,
        };
        // Under a matched weight the centroid moves by half of what is missing.
        cx += 2.0 * dx;
        cy += 2.0 * dy;
        let next = next_moments(m, seen)?;
        let change = (next.xx - m.xx).abs() + (next.yy - m.yy).abs() + (next.xy - m.xy).abs();
        let size = m.xx + m.yy;
        m = next;
        let (long, short) = m.axes();
        if (cx - x).hypot(cy - y) > max_radius || short < 0.02 || long > max_radius * max_radius {
            break;
        }
        if change < SETTLED * size && dx.abs() + dy.abs() < 1e-3 {
            settled = true;
            break;
        }
    }
    let shape = measure_held(samples, sky, (cx, cy), m, noise, max_radius)?;
    Some(Shape { settled, ..shape })
}

/// What light a weight of moments `m` that is held at (`cx`, `cy`) sees; its shape is not settled.
pub(super) fn measure_held(
    samples: &Samples,
    sky: SkyPlane,
    (cx, cy): (f64, f64),
    m: Moments,
    noise: f64,
    max_radius: f64,
) -> Option<Shape> {
    let window = look(samples, sky, (cx, cy), m, max_radius)?;
    if window.star.one <= 0.0 || window.model.one <= 0.0 || m.det() <= 0.0 {
        return None;
    }
    let amplitude = window.star.one / window.model.one;
    Some(Shape {
        x: cx,
        y: cy,
        moments: m,
        flux: amplitude * 2.0 * std::f64::consts::PI * m.det().sqrt(),
        peak: window.peak,
        snr: if noise > 0.0 {
            window.star.one / (noise * window.model.one.sqrt())
        } else {
            f64::from(f32::MAX)
        },
        settled: false,
        clipped: window.clipped,
        at_edge: window.at_edge,
    })
}

/// The next weight from the present one and the moments seen under it.
fn next_moments(weight: Moments, seen: Moments) -> Option<Moments> {
    let direct = seen.inverse().zip(weight.inverse()).and_then(|(s, w)| {
        Moments {
            xx: s.xx - w.xx,
            xy: s.xy - w.xy,
            yy: s.yy - w.yy,
        }
        .inverse()
    });
    let (_, short) = seen.axes();
    let plain = (short > 0.0).then(|| seen.twice());
    let Some(direct) = direct else { return plain };
    let (long, short) = direct.axes();
    let (was_long, was_short) = weight.axes();
    // The direct step may overshoot where light is not Gaussian; a factor of two is trusted.
    if short > 0.5 * was_short && long < 2.0 * was_long {
        Some(direct)
    } else {
        plain
    }
}

/// Looks at the true samples of an elliptical window.
fn look(
    samples: &Samples,
    sky: SkyPlane,
    (cx, cy): (f64, f64),
    m: Moments,
    max_radius: f64,
) -> Option<Window> {
    let inverse = m.inverse()?;
    let plane = &samples.green;
    let reach_y = (REACH2 * m.yy).sqrt().min(max_radius);
    let (width, height) = (plane.width() as f64, plane.height() as f64);
    let first_row = (cy - reach_y).ceil();
    let last_row = (cy + reach_y).floor();
    let mut window = Window {
        at_edge: first_row < 0.0 || last_row > height - 1.0,
        ..Window::default()
    };
    let mut row = first_row.max(0.0);
    while row <= last_row.min(height - 1.0) {
        let y = row as usize;
        let dy = row - cy;
        row += 1.0;
        // xᵀM⁻¹x ≤ reach² solved for x in this row.
        let middle = -inverse.xy * dy / inverse.xx;
        let room = REACH2 - dy * dy * (inverse.yy - inverse.xy * inverse.xy / inverse.xx);
        if room <= 0.0 {
            continue;
        }
        let half = (room / inverse.xx).sqrt().min(max_radius);
        let (from, to) = ((cx + middle - half).ceil(), (cx + middle + half).floor());
        if from < 0.0 || to > width - 1.0 {
            window.at_edge = true;
        }
        let (from, to) = (from.max(0.0), to.min(width - 1.0));
        if from > to {
            continue;
        }
        let span = (from as usize)..=(to as usize);
        let Some(values) = plane.row(y).get(span.clone()) else {
            continue;
        };
        let sky = (sky.at(from, y as f64), sky.slope_x);
        add_row(
            &mut window,
            samples,
            values,
            *span.start(),
            y,
            sky,
            (cx, dy),
            inverse,
        );
    }
    Some(window)
}

/// Adds one row of the window. The weight's exponent is quadratic in x, so the weight follows by
/// two multiplications a sample instead of an exponential.
#[expect(clippy::too_many_arguments, reason = "the inner loop of `look`")]
fn add_row(
    window: &mut Window,
    samples: &Samples,
    values: &[f32],
    first: usize,
    y: usize,
    sky: (f64, f64),
    (cx, dy): (f64, f64),
    inverse: Moments,
) {
    let exponent =
        |dx: f64| -0.5 * (inverse.xx * dx * dx + 2.0 * inverse.xy * dx * dy + inverse.yy * dy * dy);
    let start = first as f64 - cx;
    let mut weight = exponent(start).exp();
    let mut ratio = (exponent(start + 1.0) - exponent(start)).exp();
    let ratio_of_ratio = (-inverse.xx).exp();
    let core = (-2.0_f64).exp();
    for (i, &value) in values.iter().enumerate() {
        if samples.layout.is_green(first + i, y) && value.is_finite() {
            let dx = start + i as f64;
            let above = f64::from(value) - (sky.0 + sky.1 * i as f64);
            window.star.add(weight * above, dx, dy);
            window.model.add(weight * weight, dx, dy);
            if weight > core {
                window.peak = window.peak.max(above);
                window.clipped |= value >= samples.clip_level;
            }
        }
        weight *= ratio;
        ratio *= ratio_of_ratio;
    }
}
