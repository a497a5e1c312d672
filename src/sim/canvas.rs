//! The plane of mean electrons, and light added to it through the lens's point spread.

use crate::base::Plane;

use super::camera::{NEUTRAL, bayer};

/// Mean electrons in every pixel of one exposure.
pub(crate) struct Canvas {
    pub(crate) plane: Plane,
    /// Whether pixels lie under a colour mosaic.
    pub(crate) mosaic: bool,
}

impl Canvas {
    /// How much of light of a colour (red, green, blue) the pixel counts.
    pub(crate) fn response(&self, x: usize, y: usize, colour: [f32; 3]) -> f32 {
        if self.mosaic {
            let c = bayer(x, y);
            colour[c] * NEUTRAL[c]
        } else {
            colour[1]
        }
    }

    /// Adds `electrons` of a colour, spread as the footprint says.
    pub(crate) fn add(&mut self, print: &Footprint, electrons: f32, colour: [f32; 3]) {
        let (w, h) = (self.plane.width(), self.plane.height());
        for row in 0..print.height {
            let Some(y) = print
                .y0
                .checked_add_unsigned(row as u32)
                .and_then(|y| usize::try_from(y).ok())
            else {
                continue;
            };
            if y >= h {
                continue;
            }
            let first = usize::try_from(-print.x0.min(0)).unwrap_or(0);
            let x0 = usize::try_from(print.x0.max(0)).unwrap_or(0);
            if x0 >= w || first >= print.width {
                continue;
            }
            let scale = [0, 1].map(|i| electrons * self.response(x0 + i, y, colour));
            let source = &print.data[row * print.width + first..(row + 1) * print.width];
            for (i, (to, from)) in self.plane.row_mut(y)[x0..]
                .iter_mut()
                .zip(source)
                .enumerate()
            {
                *to += scale[i & 1] * from;
            }
        }
    }
}

/// The light of one source, in shares of its whole, over a rectangle of pixels.
pub(crate) struct Footprint {
    x0: i32,
    y0: i32,
    width: usize,
    height: usize,
    data: Vec<f32>,
    integral: Integral,
}

impl Footprint {
    pub(crate) fn new() -> Self {
        Self {
            x0: 0,
            y0: 0,
            width: 0,
            height: 0,
            data: Vec::new(),
            integral: Integral::new(),
        }
    }

    /// Clears it to cover all of `path` with `radius` px around.
    pub(crate) fn begin(&mut self, path: &[[f64; 2]], radius: f64) {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for point in path {
            for i in 0..2 {
                low[i] = low[i].min(point[i]);
                high[i] = high[i].max(point[i]);
            }
        }
        let margin = radius + 1.0;
        self.x0 = (low[0] - margin).floor() as i32;
        self.y0 = (low[1] - margin).floor() as i32;
        self.width = ((high[0] + margin).ceil() as i32 - self.x0 + 1).max(0) as usize;
        self.height = ((high[1] + margin).ceil() as i32 - self.y0 + 1).max(0) as usize;
        self.data.clear();
        self.data.resize(self.width * self.height, 0.0);
    }

    /// Adds a Gaussian of standard deviation `sigma` px at a point, integrated over each pixel and
    /// cut at `radius` px.
    pub(crate) fn stamp(&mut self, point: [f64; 2], sigma: f64, radius: f64, share: f32) {
        let reach = radius.ceil() as i32;
        let count = (2 * reach + 1) as usize;
        let mut weights = [[0.0_f32; MAX_SPAN]; 2];
        let mut first = [0_i32; 2];
        for axis in 0..2 {
            first[axis] = point[axis].round() as i32 - reach;
            let edge = (f64::from(first[axis]) - 0.5 - point[axis]) / sigma;
            let mut below = self.integral.at(edge as f32);
            let step = (1.0 / sigma) as f32;
            for (i, weight) in weights[axis].iter_mut().take(count).enumerate() {
                let above = self.integral.at(edge as f32 + step * (i + 1) as f32);
                *weight = above - below;
                below = above;
            }
        }
        let left = (first[0] - self.x0).max(0) as usize;
        let top = (first[1] - self.y0).max(0) as usize;
        for (j, &wy) in weights[1].iter().take(count).enumerate() {
            let at = (top + j) * self.width + left;
            let Some(row) = self.data.get_mut(at..at + count) else {
                continue;
            };
            let scale = share * wy;
            for (to, &wx) in row.iter_mut().zip(&weights[0]) {
                *to += scale * wx;
            }
        }
    }

    /// Sum of the squared shares: one over the number of pixels the light counts as.
    pub(crate) fn sharpness(&self) -> f64 {
        self.data.iter().map(|&v| f64::from(v * v)).sum()
    }
}

/// Widest stamp, px.
const MAX_SPAN: usize = 96;

/// Largest radius a stamp may have, px.
pub(crate) const MAX_RADIUS: f64 = 46.0;

/// The Gaussian integral in a table: an exact value every 1/128 σ, lines between (error < 2e−6).
struct Integral {
    table: Vec<f32>,
}

const TABLE_REACH: f32 = 6.5;
const TABLE_STEPS: f32 = 128.0;

impl Integral {
    fn new() -> Self {
        let count = (2.0 * TABLE_REACH * TABLE_STEPS) as usize + 2;
        let at = |i: usize| {
            let z = i as f64 / f64::from(TABLE_STEPS) - f64::from(TABLE_REACH);
            (0.5 * libm::erfc(-z / std::f64::consts::SQRT_2)) as f32
        };
        Self {
            table: (0..count).map(at).collect(),
        }
    }

    fn at(&self, z: f32) -> f32 {
        let place = (z.clamp(-TABLE_REACH, TABLE_REACH) + TABLE_REACH) * TABLE_STEPS;
        let i = place as usize;
        let part = place - i as f32;
        match self.table.get(i..i + 2) {
            Some(&[a, b]) => a + part * (b - a),
            _ => 1.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stamp_keeps_light_centre_and_width() {
        let mut print = Footprint::new();
        let (at, sigma) = ([20.3, 11.8], 1.3);
        print.begin(&[at], 8.0);
        print.stamp(at, sigma, 8.0, 1.0);
        let (mut sum, mut x, mut xx) = (0.0, 0.0, 0.0);
        for (i, &v) in print.data.iter().enumerate() {
            let px = f64::from(print.x0) + (i % print.width) as f64;
            sum += f64::from(v);
            x += f64::from(v) * px;
            xx += f64::from(v) * px * px;
        }
        let variance = xx / sum - (x / sum).powi(2);
        assert!((sum - 1.0).abs() < 1e-4, "{sum}");
        assert!((x / sum - at[0]).abs() < 1e-3, "{}", x / sum);
        assert!(
            (variance - (sigma * sigma + 1.0 / 12.0)).abs() < 2e-3,
            "{variance}"
        );
    }
}
