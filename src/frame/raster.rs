//! A decoded picture of one or more channels, before its light is known: the step that all
//! formats but raw share.

use super::hues::Other;
use super::tone::{LINEAR_8, LINEAR_16, srgb_to_linear};
use super::{Colour, GreenLayout, Hues, Light, Samples};
use crate::base::Plane;

/// Decoded samples, channels side by side in each pixel.
pub(super) enum Levels {
    /// 8-bit, full scale 255.
    Eight(Vec<u8>),
    /// 16-bit, full scale 65535.
    Sixteen(Vec<u16>),
    /// Already scaled: 0 black, 1 full scale. `step` is the least difference stored, 0 for floats.
    Float {
        /// The samples.
        data: Vec<f32>,
        /// The least step between stored levels.
        step: f32,
    },
}

impl Levels {
    /// Float samples, brought to a full scale of 1.
    ///
    /// Files of floats do not state their full scale. Writers use 1 (common practice of processing
    /// programs) or keep the numbers of the 16-bit file they came from, so: samples that stay
    /// below 2 are taken as they are, below 65536 as parts of 65535, and larger ones as parts of
    /// 2³² − 1. The bound is 2, not 1, since resampling overshoots at stars. What is not a number
    /// is black.
    pub(super) fn of_floats(mut data: Vec<f32>) -> Self {
        let mut largest = 0.0_f32;
        for sample in &mut data {
            if !sample.is_finite() {
                *sample = 0.0;
            }
            largest = largest.max(*sample);
        }
        let full = match largest {
            v if v < 2.0 => 1.0,
            v if v < 65_536.0 => 65_535.0,
            _ => u32::MAX as f32,
        };
        if full > 1.0 {
            for sample in &mut data {
                *sample /= full;
            }
        }
        Self::Float { data, step: 0.0 }
    }

    fn len(&self) -> usize {
        match self {
            Self::Eight(data) => data.len(),
            Self::Sixteen(data) => data.len(),
            Self::Float { data, .. } => data.len(),
        }
    }
}

/// A decoded picture.
pub(super) struct Raster {
    width: usize,
    height: usize,
    channels: usize,
    levels: Levels,
    light: Light,
    /// See [`Samples::quantised_pct`].
    pub(super) quantised_pct: Option<f32>,
}

impl Raster {
    /// A picture over `levels`; `None` when their number does not fit.
    ///
    /// One or two channels are grey (and alpha), three or four red, green, blue (and alpha).
    pub(super) fn new(
        width: usize,
        height: usize,
        channels: usize,
        levels: Levels,
        light: Light,
    ) -> Option<Self> {
        let expected = width.checked_mul(height)?.checked_mul(channels)?;
        let fits = (1..=4).contains(&channels) && levels.len() == expected;
        fits.then_some(Self {
            width,
            height,
            channels,
            levels,
            light,
            quantised_pct: None,
        })
    }

    /// The green (or grey) channel in linear light.
    pub(super) fn into_samples(self) -> Option<Samples> {
        let green = usize::from(self.channels >= 3);
        let hues = self.hues();
        let (count, light) = (self.channels, self.light);
        let quantised_pct = self.quantised_pct;
        let (data, step) = match (self.levels, light) {
            (Levels::Eight(data), Light::ToneMapped) => {
                let table = &*LINEAR_8;
                let data = pick(&data, count, green, |v| table[usize::from(v)]);
                (data, table[1])
            }
            (Levels::Eight(data), Light::Linear) => (
                pick(&data, count, green, |v| f32::from(v) / 255.0),
                1.0 / 255.0,
            ),
            (Levels::Sixteen(data), Light::ToneMapped) => {
                let table = LINEAR_16.as_slice();
                let data = pick(&data, count, green, |v| table[usize::from(v)]);
                (data, table[1])
            }
            (Levels::Sixteen(data), Light::Linear) => {
                let data = pick(&data, count, green, |v| f32::from(v) / 65_535.0);
                (data, 1.0 / 65_535.0)
            }
            (Levels::Float { data, step }, Light::ToneMapped) => {
                let data = pick(&data, count, green, |v| srgb_to_linear(f64::from(v)) as f32);
                (data, step / 12.92)
            }
            (Levels::Float { data, step }, Light::Linear) if count == 1 => (data, step),
            (Levels::Float { data, step }, Light::Linear) => {
                (pick(&data, count, green, |v| v), step)
            }
        };
        Some(Samples {
            green: Plane::from_vec(self.width, self.height, data)?,
            layout: GreenLayout::Every,
            light,
            clip_level: 1.0,
            step,
            hues,
            quantised_pct,
        })
    }

    fn hues(&self) -> Option<Hues> {
        if self.channels < 3 {
            return None;
        }
        Hues::collect((self.width, self.height), |color, x, y| {
            let channel = match color {
                Other::Red => 0,
                Other::Blue => 2,
            };
            let at = (y * self.width + x) * self.channels + channel;
            let level = match (&self.levels, self.light) {
                (Levels::Eight(data), Light::ToneMapped) => LINEAR_8[usize::from(*data.get(at)?)],
                (Levels::Eight(data), Light::Linear) => f32::from(*data.get(at)?) / 255.0,
                (Levels::Sixteen(data), Light::ToneMapped) => {
                    *LINEAR_16.get(usize::from(*data.get(at)?))?
                }
                (Levels::Sixteen(data), Light::Linear) => f32::from(*data.get(at)?) / 65_535.0,
                (Levels::Float { data, .. }, Light::ToneMapped) => {
                    srgb_to_linear(f64::from(*data.get(at)?)) as f32
                }
                (Levels::Float { data, .. }, Light::Linear) => *data.get(at)?,
            };
            Some(level)
        })
    }

    /// All colours in linear light.
    pub(super) fn into_colour(self) -> Colour {
        let count = self.channels;
        let rgb = match (self.levels, self.light) {
            (Levels::Eight(data), Light::ToneMapped) => {
                let table = LINEAR_8.map(to_u16);
                triples(&data, count, |v| table[usize::from(v)])
            }
            (Levels::Eight(data), Light::Linear) => triples(&data, count, |v| u16::from(v) * 257),
            (Levels::Sixteen(data), Light::ToneMapped) => {
                let table: Vec<u16> = LINEAR_16.iter().map(|v| to_u16(*v)).collect();
                triples(&data, count, |v| table[usize::from(v)])
            }
            (Levels::Sixteen(data), Light::Linear) => triples(&data, count, |v| v),
            (Levels::Float { data, .. }, Light::ToneMapped) => {
                triples(
                    &data,
                    count,
                    |v| to_u16(srgb_to_linear(f64::from(v)) as f32),
                )
            }
            (Levels::Float { data, .. }, Light::Linear) => triples(&data, count, to_u16),
        };
        Colour {
            width: self.width,
            height: self.height,
            rgb,
        }
    }
}

/// A level of 0 to 1 in 16 bits; what lies outside is clipped.
pub(super) fn to_u16(level: f32) -> u16 {
    (level.clamp(0.0, 1.0) * 65_535.0 + 0.5) as u16
}

fn pick<T: Copy>(data: &[T], count: usize, which: usize, map: impl Fn(T) -> f32) -> Vec<f32> {
    match count {
        1 => data.iter().map(|v| map(*v)).collect(),
        3 => data.as_chunks::<3>().0.iter().map(|p| map(p[1])).collect(),
        _ => data.chunks_exact(count).map(|p| map(p[which])).collect(),
    }
}

fn triples<T: Copy>(data: &[T], count: usize, map: impl Fn(T) -> u16) -> Vec<[u16; 3]> {
    if count < 3 {
        let grey = |p: &[T]| [map(p[0]); 3];
        data.chunks_exact(count).map(grey).collect()
    } else {
        let colour = |p: &[T]| [map(p[0]), map(p[1]), map(p[2])];
        data.chunks_exact(count).map(colour).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn raster(channels: usize, levels: Levels, light: Light) -> Raster {
        Raster::new(2, 1, channels, levels, light).unwrap()
    }

    #[test]
    fn green_of_eight_bit_goes_back_through_the_curve() {
        let data = vec![9, 0, 9, 9, 255, 9];
        let samples = raster(3, Levels::Eight(data), Light::ToneMapped)
            .into_samples()
            .unwrap();
        assert_eq!(samples.green.data(), &[0.0, 1.0]);
        assert!((samples.step - 1.0 / (255.0 * 12.92)).abs() < 1e-8);
    }

    #[test]
    fn full_scale_is_exactly_one() {
        let samples = raster(1, Levels::Sixteen(vec![0, 65_535]), Light::Linear)
            .into_samples()
            .unwrap();
        assert_eq!(samples.green.data(), &[0.0, 1.0]);
        assert!(samples.green.data()[1] >= samples.clip_level);
    }

    #[test]
    fn alpha_is_left_out() {
        let data = vec![1, 2, 3, 99, 4, 5, 6, 99];
        let colour = raster(4, Levels::Sixteen(data), Light::Linear).into_colour();
        assert_eq!(colour.rgb, vec![[1, 2, 3], [4, 5, 6]]);
        let data = vec![7, 99, 8, 99];
        let colour = raster(2, Levels::Sixteen(data), Light::Linear).into_colour();
        assert_eq!(colour.rgb, vec![[7; 3], [8; 3]]);
    }

    #[test]
    fn floats_find_their_full_scale() {
        let scaled = |data: &[f32]| match Levels::of_floats(data.to_vec()) {
            Levels::Float { data, .. } => data,
            _ => Vec::new(),
        };
        assert_eq!(scaled(&[-0.1, 0.5, 1.02]), vec![-0.1, 0.5, 1.02]);
        assert_eq!(scaled(&[0.0, 65_535.0]), vec![0.0, 1.0]);
        assert_eq!(
            scaled(&[f32::NAN, f32::INFINITY, 0.25]),
            vec![0.0, 0.0, 0.25]
        );
    }

    #[test]
    fn a_wrong_length_is_refused() {
        assert!(Raster::new(2, 2, 3, Levels::Eight(vec![0; 11]), Light::Linear).is_none());
    }
}
