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

use multiversion::multiversion;

use super::background::SkyPlane;
use super::exponent::{WIDE, exp};
use super::greens;
use crate::frame::Samples;

/// Rounds after which moments count as not settling.
const ROUNDS: usize = 40;

/// Samples with xᵀM⁻¹x above this are left out; their weight is below 1/1000.
const REACH2: f64 = 14.0;

/// Samples of a higher weight are the star's core: e⁻².
const CORE: f64 = 0.135_335_283_236_612_7;

/// Farthest row or column, px, that is read ahead.
const TOUCHED: f64 = 16.0;

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
    touch(samples, (x, y), start);
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
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
fn look(
    samples: &Samples,
    sky: SkyPlane,
    centre: (f64, f64),
    m: Moments,
    max_radius: f64,
) -> Option<Window> {
    let inverse = m.inverse()?;
    let (cx, cy) = centre;
    let plane = &samples.green;
    let reach_y = (REACH2 * m.yy).sqrt().min(max_radius);
    let (width, height) = (plane.width() as f64, plane.height() as f64);
    let first_row = (cy - reach_y).ceil();
    let last_row = (cy + reach_y).floor();
    let mut at_edge = first_row < 0.0 || last_row > height - 1.0;
    let mut lanes = Lanes::default();
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
        at_edge |= from < 0.0 || to > width - 1.0;
        let (from, to) = (from.max(0.0), to.min(width - 1.0));
        if from > to {
            continue;
        }
        let line = Line {
            dy,
            sky: sky.at(cx, y as f64),
            slope: sky.slope_x,
            xx: -0.5 * inverse.xx,
            x: -inverse.xy * dy,
            one: -0.5 * inverse.yy * dy * dy,
            clip: samples.clip_level,
        };
        for (first, step) in greens::columns(samples.layout, y, from as usize) {
            let mut x = first;
            while x <= to as usize {
                let values = samples_from(plane.row(y), x, step);
                let inside = (to - x as f64) / step as f64;
                lanes.add(&line, (x as f64 - cx, step as f64), inside, values);
                x += WIDE * step;
            }
        }
    }
    Some(lanes.window(at_edge))
}

/// Samples `step` apart from column `first` on; what lies beyond the row is no number.
#[inline(always)]
#[expect(
    clippy::inline_always,
    reason = "or its loop is not compiled to vectors"
)]
fn samples_from(row: &[f32], first: usize, step: usize) -> [f32; WIDE] {
    let row = row.get(first..).unwrap_or_default();
    if step == 1
        && let Some(values) = row.first_chunk()
    {
        return *values;
    }
    if step == 2
        && let Some(values) = row.first_chunk::<{ 2 * WIDE }>()
    {
        return std::array::from_fn(|i| values[2 * i]);
    }
    let mut values = [f32::NAN; WIDE];
    for (slot, value) in values.iter_mut().zip(row.iter().step_by(step)) {
        *slot = *value;
    }
    values
}

/// Reads the middle rows of a window once. These reads do not wait for each other, so memory's
/// delay is paid once and not row by row in the first look.
fn touch(samples: &Samples, (x, y): (f64, f64), m: Moments) {
    let reach = |variance: f64| (REACH2 * variance).sqrt().min(TOUCHED);
    let place = |at: f64| at.max(0.0) as usize;
    let (dx, dy) = (reach(m.xx), reach(m.yy));
    let mut sum = 0.0;
    for row in place(y - dy)..=place(y + dy) {
        for column in [place(x - dx), place(x + dx)] {
            sum += samples.green.get(column, row).unwrap_or(0.0);
        }
    }
    std::hint::black_box(sum);
}

/// What all samples of one row of a window share.
struct Line {
    dy: f64,
    /// The sky below the star's centre, and its change to the right.
    sky: f64,
    slope: f64,
    /// The weight's exponent as a polynomial of the distance from the centre along the row.
    xx: f64,
    x: f64,
    one: f64,
    clip: f32,
}

/// The sums of a window in lanes, so that one instruction adds to all of them.
#[derive(Default)]
struct Lanes {
    star: [[f64; WIDE]; 6],
    model: [[f64; WIDE]; 6],
    peak: [f64; WIDE],
    /// 1 where a sample of the core was clipped.
    clipped: [f64; WIDE],
}

impl Lanes {
    /// Adds samples `step` apart, the first at `dx` from the centre, up to the one numbered `last`;
    /// what is no number adds nothing.
    #[inline(always)]
    #[expect(
        clippy::inline_always,
        reason = "or its loop is not compiled to vectors"
    )]
    fn add(&mut self, line: &Line, (dx, step): (f64, f64), last: f64, values: [f32; WIDE]) {
        let [s_one, s_x, s_y, s_xx, s_xy, s_yy] = &mut self.star;
        let [m_one, m_x, m_y, m_xx, m_xy, m_yy] = &mut self.model;
        for (i, value) in values.into_iter().enumerate() {
            let x = dx + i as f64 * step;
            let counts = value.abs() <= f32::MAX && i as f64 <= last;
            let weight = exp(line.one + x * (line.x + x * line.xx));
            let weight = if counts { weight } else { 0.0 };
            let above = f64::from(value) - (line.sky + line.slope * x);
            let above = if counts { above } else { 0.0 };
            let star = weight * above;
            let model = weight * weight;
            let (star_x, model_x) = (star * x, model * x);
            let (star_y, model_y) = (star * line.dy, model * line.dy);
            s_one[i] += star;
            s_x[i] += star_x;
            s_y[i] += star_y;
            s_xx[i] += star_x * x;
            s_xy[i] += star_x * line.dy;
            s_yy[i] += star_y * line.dy;
            m_one[i] += model;
            m_x[i] += model_x;
            m_y[i] += model_y;
            m_xx[i] += model_x * x;
            m_xy[i] += model_x * line.dy;
            m_yy[i] += model_y * line.dy;
            let core = if weight > CORE { above } else { 0.0 };
            self.peak[i] = if core > self.peak[i] {
                core
            } else {
                self.peak[i]
            };
            let is_clipped = weight > CORE && value >= line.clip;
            self.clipped[i] = if is_clipped { 1.0 } else { self.clipped[i] };
        }
    }

    fn window(&self, at_edge: bool) -> Window {
        let sums = |of: &[[f64; WIDE]; 6]| {
            let [one, x, y, xx, xy, yy] = of.map(|lanes| lanes.iter().sum());
            Sums {
                one,
                x,
                y,
                xx,
                xy,
                yy,
            }
        };
        Window {
            star: sums(&self.star),
            model: sums(&self.model),
            peak: self.peak.iter().copied().fold(0.0, f64::max),
            clipped: self.clipped.iter().any(|&c| c > 0.0),
            at_edge,
        }
    }
}
