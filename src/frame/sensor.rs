//! Sensor data as it was read out, with its black and white levels: the step that raw formats and
//! FITS share.

use super::hues::Other;
use super::mosaic::{GREEN, Pattern};
use super::raster::to_u16;
use super::{Colour, GreenLayout, Hues, Light, Samples};
use crate::base::Plane;

/// Where the picture lies in what was read out (the rest is border the light does not reach).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Area {
    pub(super) x: usize,
    pub(super) y: usize,
    pub(super) width: usize,
    pub(super) height: usize,
}

/// Stored numbers.
pub(super) enum Stored {
    Integer(Vec<u16>),
    Float(Vec<f32>),
}

/// Black levels in a repeating pattern of `width` × `height`, `channels` values each, the first of
/// which belongs to the first sample of the [`Area`].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Black {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) levels: Vec<f32>,
}

/// Sensor data.
pub(super) struct Sensor {
    /// Numbers in rows of `stride` pixels, `channels` each.
    pub(super) stored: Stored,
    /// The least difference between stored numbers: 1 for integers, 0 for floats.
    pub(super) stored_step: f32,
    pub(super) stride: usize,
    pub(super) channels: usize,
    pub(super) area: Area,
    pub(super) black: Black,
    /// The number that full scale is stored as.
    pub(super) white: f32,
    /// The colour mosaic, beginning at the first sample of the area; `None` for a monochrome or an
    /// already demosaiced picture.
    pub(super) pattern: Option<Pattern>,
    /// Factors that make grey out of red, green and blue, where the camera says.
    pub(super) balance: Option<[f32; 3]>,
}

/// A stored number as a float.
trait Number: Copy {
    fn float(self) -> f32;
}

impl Number for u16 {
    fn float(self) -> f32 {
        f32::from(self)
    }
}

impl Number for f32 {
    /// What is not a number is black, since one of them would spoil a whole tile's statistics.
    fn float(self) -> f32 {
        if self.is_finite() { self } else { 0.0 }
    }
}

impl Sensor {
    /// Whether the numbers suffice for the area and the levels make sense.
    pub(super) fn is_sound(&self) -> bool {
        let Area {
            x,
            y,
            width,
            height,
        } = self.area;
        let count = match &self.stored {
            Stored::Integer(data) => data.len(),
            Stored::Float(data) => data.len(),
        };
        let rows = y.checked_add(height);
        let needed = rows
            .and_then(|rows| rows.checked_mul(self.stride))
            .and_then(|pixels| pixels.checked_mul(self.channels));
        let black = &self.black;
        let levels = black
            .width
            .checked_mul(black.height)
            .and_then(|n| n.checked_mul(self.channels));
        width > 0
            && height > 0
            && x.checked_add(width).is_some_and(|end| end <= self.stride)
            && needed.is_some_and(|needed| needed <= count)
            && (1..=4).contains(&self.channels)
            && levels.is_some_and(|levels| levels > 0 && levels == black.levels.len())
            && black.levels.iter().all(|level| self.white - level > 0.0)
    }

    /// The green samples, scaled so that black is 0 and white is 1.
    pub(super) fn into_samples(self) -> Option<Samples> {
        if !self.is_sound() {
            return None;
        }
        let (width, height) = (self.area.width, self.area.height);
        let step = self.step();
        let hues = self.hues();
        let mut data = Vec::with_capacity(width * height);
        let layout = match &self.pattern {
            None => {
                let green = usize::from(self.channels >= 3);
                (0..height).for_each(|y| self.push_row(y, green, &mut data));
                GreenLayout::Every
            }
            Some(pattern) => {
                let fill = pattern.nearest(GREEN);
                let reach = fill.reach();
                let mut means = Vec::with_capacity(width);
                // Rows are filled as soon as the rows they look at are there, while those are
                // still in the processor's cache.
                for y in 0..height + reach {
                    if y < height {
                        self.push_row(y, 0, &mut data);
                    }
                    let Some(ready) = y.checked_sub(reach) else {
                        continue;
                    };
                    let known = (width, (y + 1).min(height));
                    fill.row(&data, known, ready, |x, mean| means.push((x, mean)));
                    for (x, mean) in means.drain(..) {
                        data[ready * width + x] = mean;
                    }
                }
                pattern.green_layout()
            }
        };
        Some(Samples {
            green: Plane::from_vec(width, height, data)?,
            layout,
            light: Light::Linear,
            // White is clipped; half a step lower, since rounding may leave it under 1.
            clip_level: 1.0 - step.max(1e-6) / 2.0,
            step,
            hues,
            quantised_pct: None,
        })
    }

    fn hues(&self) -> Option<Hues> {
        let (width, height) = (self.area.width, self.area.height);
        let channel_of = |color| match color {
            Other::Red => 0,
            Other::Blue => 2,
        };
        match &self.pattern {
            Some(pattern) => Hues::collect((width, height), |color, x, y| {
                let (x, y) = pattern.next(channel_of(color), x, y)?;
                (x < width && y < height).then(|| self.scaled(x, y, 0))?
            }),
            None if self.channels >= 3 => Hues::collect((width, height), |color, x, y| {
                self.scaled(x, y, usize::from(channel_of(color)))
            }),
            None => None,
        }
    }

    /// One sample of the area, black 0 and white 1.
    fn scaled(&self, x: usize, y: usize, channel: usize) -> Option<f32> {
        let (area, black) = (self.area, &self.black);
        let at = ((area.y + y) * self.stride + area.x + x) * self.channels + channel;
        let value = match &self.stored {
            Stored::Integer(data) => data.get(at)?.float(),
            Stored::Float(data) => data.get(at)?.float(),
        };
        let place = (y % black.height) * black.width + x % black.width;
        let level = black.levels.get(place * self.channels + channel)?;
        Some((value - level) / (self.white - level))
    }

    /// All colours, balanced, by the mean of the nearest samples of each: bilinear for Bayer.
    pub(super) fn into_colour(self) -> Option<Colour> {
        if !self.is_sound() {
            return None;
        }
        let (width, height) = (self.area.width, self.area.height);
        let rgb = match &self.pattern {
            Some(pattern) => self.demosaiced(pattern),
            None if self.channels < 3 => {
                let mut data = Vec::with_capacity(width * height);
                (0..height).for_each(|y| self.push_row(y, 0, &mut data));
                data.into_iter().map(|level| [to_u16(level); 3]).collect()
            }
            None => self.balanced_channels(),
        };
        Some(Colour { width, height, rgb })
    }

    /// The least difference of stored numbers, as a part of full scale.
    fn step(&self) -> f32 {
        let levels = &self.black.levels;
        let mean = levels.iter().sum::<f32>() / levels.len() as f32;
        self.stored_step / (self.white - mean)
    }

    /// Appends row `y` of the area, scaled, one channel of it.
    fn push_row(&self, y: usize, channel: usize, out: &mut Vec<f32>) {
        match &self.stored {
            Stored::Integer(data) => self.push_scaled(data, y, channel, out),
            Stored::Float(data) => self.push_scaled(data, y, channel, out),
        }
    }

    fn push_scaled<T: Number>(&self, data: &[T], y: usize, channel: usize, out: &mut Vec<f32>) {
        let area = self.area;
        let start = ((area.y + y) * self.stride + area.x) * self.channels;
        let row = &data[start..start + area.width * self.channels];
        let repeat = self.black.width * self.channels;
        let blacks = &self.black.levels[y % self.black.height * repeat..][..repeat];
        let scale = |value: T, black: f32| (value.float() - black) / (self.white - black);
        let first = blacks[0];
        if self.channels == 1
            && blacks
                .iter()
                .all(|black| (*black - first).abs() < f32::EPSILON)
        {
            let factor = 1.0 / (self.white - first);
            out.extend(row.iter().map(|value| (value.float() - first) * factor));
        } else {
            let pixels = row.iter().skip(channel).step_by(self.channels);
            let blacks = blacks.iter().skip(channel).step_by(self.channels).cycle();
            out.extend(
                pixels
                    .zip(blacks)
                    .map(|(value, black)| scale(*value, *black)),
            );
        }
    }

    fn demosaiced(&self, pattern: &Pattern) -> Vec<[u16; 3]> {
        let (width, height) = (self.area.width, self.area.height);
        let mut mosaic = Vec::with_capacity(width * height);
        (0..height).for_each(|y| self.push_row(y, 0, &mut mosaic));
        let balance = self
            .balance
            .unwrap_or_else(|| grey_world(&mosaic, width, pattern));
        let fills = [0, 1, 2].map(|color| pattern.nearest(color));
        let mut rgb = vec![[0_u16; 3]; width * height];
        for (y, row) in rgb.chunks_exact_mut(width).enumerate() {
            for (x, pixel) in row.iter_mut().enumerate() {
                let color = usize::from(pattern.color(x, y));
                if let (Some(level), Some(factor)) = (pixel.get_mut(color), balance.get(color)) {
                    *level = to_u16(mosaic[y * width + x] * factor);
                }
            }
            for (color, fill) in fills.iter().enumerate() {
                let factor = balance[color];
                fill.row(&mosaic, (width, height), y, |x, mean| {
                    row[x][color] = to_u16(mean * factor);
                });
            }
        }
        rgb
    }

    fn balanced_channels(&self) -> Vec<[u16; 3]> {
        let (width, height) = (self.area.width, self.area.height);
        let balance = self.balance.unwrap_or([1.0; 3]);
        let mut rgb = Vec::with_capacity(width * height);
        let mut planes = [const { Vec::new() }; 3];
        for y in 0..height {
            for (channel, plane) in planes.iter_mut().enumerate() {
                plane.clear();
                self.push_row(y, channel, plane);
            }
            let [red, green, blue] = &planes;
            let pixels = red.iter().zip(green).zip(blue);
            rgb.extend(pixels.map(|((r, g), b)| {
                [
                    to_u16(r * balance[0]),
                    to_u16(g * balance[1]),
                    to_u16(b * balance[2]),
                ]
            }));
        }
        rgb
    }
}

/// Factors that make the picture grey on average, from every fourth row pair; at most 4, so that a
/// dark frame's noise is not blown up.
fn grey_world(mosaic: &[f32], width: usize, pattern: &Pattern) -> [f32; 3] {
    let mut sums = [(0.0_f64, 0_u32); 3];
    for (y, row) in mosaic
        .chunks_exact(width)
        .enumerate()
        .filter(|(y, _)| y / 6 % 4 == 0)
    {
        for (x, level) in row.iter().enumerate() {
            if let Some((sum, count)) = sums.get_mut(usize::from(pattern.color(x, y))) {
                *sum += f64::from(*level);
                *count += 1;
            }
        }
    }
    let mean = |(sum, count): (f64, u32)| {
        if count == 0 {
            0.0
        } else {
            sum / f64::from(count)
        }
    };
    let green = mean(sums[1]);
    sums.map(|sum| {
        let factor = green / mean(sum);
        if factor.is_finite() && factor > 0.0 {
            factor.clamp(0.25, 4.0) as f32
        } else {
            1.0
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sensor(stored: Vec<u16>, stride: usize, area: Area) -> Sensor {
        Sensor {
            stored: Stored::Integer(stored),
            stored_step: 1.0,
            stride,
            channels: 1,
            area,
            black: Black {
                width: 1,
                height: 1,
                levels: vec![100.0],
            },
            white: 1100.0,
            pattern: None,
            balance: None,
        }
    }

    fn area(x: usize, y: usize, width: usize, height: usize) -> Area {
        Area {
            x,
            y,
            width,
            height,
        }
    }

    #[test]
    fn black_is_zero_white_is_clipped_and_noise_goes_below() {
        let samples = sensor(vec![100, 1100, 90, 600], 2, area(0, 0, 2, 2))
            .into_samples()
            .unwrap();
        let data = samples.green.data();
        assert!(data[0].abs() < 1e-7 && (data[2] + 0.01).abs() < 1e-7);
        assert!((data[3] - 0.5).abs() < 1e-6);
        assert!(data[1] >= samples.clip_level && 1099.0 / 1100.0 < samples.clip_level);
        assert!((samples.step - 0.001).abs() < 1e-9);
    }

    #[test]
    fn each_place_of_the_mosaic_has_its_own_black() {
        let mut raw = sensor(vec![10, 20, 30, 40], 2, area(0, 0, 2, 2));
        raw.black = Black {
            width: 2,
            height: 2,
            levels: vec![10.0, 20.0, 30.0, 40.0],
        };
        let samples = raw.into_samples().unwrap();
        assert!(samples.green.data().iter().all(|level| level.abs() < 1e-7));
    }

    #[test]
    fn the_border_is_cut_off() {
        let stored = (0..12).map(|v| 100 + 100 * v).collect();
        let samples = sensor(stored, 4, area(1, 1, 2, 2)).into_samples().unwrap();
        let expected = [0.5, 0.6, 0.9, 1.0];
        for (got, want) in samples.green.data().iter().zip(expected) {
            assert!((got - want).abs() < 1e-6);
        }
    }

    #[test]
    fn an_area_outside_the_data_is_refused() {
        assert!(
            sensor(vec![0; 4], 2, area(1, 0, 2, 2))
                .into_samples()
                .is_none()
        );
        assert!(
            sensor(vec![0; 4], 2, area(0, 1, 2, 2))
                .into_samples()
                .is_none()
        );
        assert!(
            sensor(vec![0; 4], 2, area(usize::MAX, 0, 2, 2))
                .into_colour()
                .is_none()
        );
        let mut raw = sensor(vec![0; 4], 2, area(0, 0, 2, 2));
        raw.white = 100.0;
        assert!(raw.into_samples().is_none(), "white must be above black");
    }

    #[test]
    fn true_greens_stay_and_the_rest_is_filled() {
        let stored = (0..36).map(|v| 100 + 10 * v).collect();
        let mut raw = sensor(stored, 6, area(0, 0, 6, 6));
        raw.pattern = Pattern::new(2, 2, vec![0, 1, 1, 2]);
        let samples = raw.into_samples().unwrap();
        // Numbers rise by 0.01 a place, so the mean of four neighbours is the place itself.
        for y in 1..5 {
            for x in 1..5 {
                let want = 0.01 * (6 * y + x) as f32;
                assert!((samples.green.get(x, y).unwrap() - want).abs() < 1e-6);
            }
        }
        assert!(samples.layout.is_green(1, 0) && !samples.layout.is_green(0, 0));
    }

    #[test]
    fn a_grey_scene_is_grey_once_balanced() {
        // Red reads half, blue a quarter of green.
        let place = |i: usize| match (i % 8 % 2, i / 8 % 2) {
            (0, 0) => 100 + 200,
            (1, 1) => 100 + 100,
            _ => 100 + 400,
        };
        let mut raw = sensor((0..64).map(place).collect(), 8, area(0, 0, 8, 8));
        raw.pattern = Pattern::new(2, 2, vec![0, 1, 1, 2]);
        raw.balance = Some([2.0, 1.0, 4.0]);
        let colour = raw.into_colour().unwrap();
        let grey = to_u16(0.4);
        assert!(
            colour
                .rgb
                .iter()
                .flatten()
                .all(|level| level.abs_diff(grey) <= 1)
        );
    }

    #[test]
    fn nothing_but_numbers_comes_out() {
        let mut raw = sensor(Vec::new(), 2, area(0, 0, 2, 1));
        raw.stored = Stored::Float(vec![f32::NAN, 1100.0]);
        raw.stored_step = 0.0;
        let samples = raw.into_samples().unwrap();
        assert!(samples.green.data().iter().all(|level| level.is_finite()));
        assert!(samples.step.abs() < f32::EPSILON);
    }
}
