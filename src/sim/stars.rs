//! A made-up sky of stars, and drawing them along their paths.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::canvas::{Canvas, Footprint, MAX_RADIUS};
use super::projection::{Mat3, Vec3, View};

/// Stars brighter than magnitude m in a square degree: 10^(0.45·(m − 8)), which gives the 5,000
/// of the naked eye and 40,000 to magnitude 8 over the whole sky.
const SLOPE: f64 = 0.45;
const ONE_PER_SQ_DEG_MAG: f64 = 8.0;

/// Electrons a second in green from a star of magnitude 0 through one square millimetre of lens:
/// a lens of modest transmission under a hazy sky.
const ZERO_MAG_E_PER_S_MM2: f64 = 1600.0;

/// Light lost per thickness of air, magnitudes.
const EXTINCTION_MAG: f64 = 0.10;

/// One star.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Star {
    /// Direction in star axes.
    pub(crate) direction: Vec3,
    /// Electrons a second above the air.
    pub(crate) e_per_s: f64,
    pub(crate) colour: [f32; 3],
}

/// Stars that can come into the frame in this night: those in the band of declinations that it
/// covers, down to `faintest_e_per_s`.
pub(crate) fn sow(
    view: &View,
    aperture_mm: f64,
    faintest_e_per_s: f64,
    reach: f64,
    seed: u64,
) -> Vec<Star> {
    let axis = view.star_at(&view.sky_to_camera(0.0), view.centre);
    let centre = axis[2].clamp(-1.0, 1.0).asin();
    let half_pi = std::f64::consts::FRAC_PI_2;
    let low = (centre - reach).max(-half_pi).sin();
    let high = (centre + reach).min(half_pi).sin();
    let zero = ZERO_MAG_E_PER_S_MM2 * aperture_mm * aperture_mm;
    let faintest_mag = 2.5 * (zero / faintest_e_per_s).log10();
    let area_sq_deg = std::f64::consts::TAU * (high - low) * 1f64.to_degrees().powi(2);
    let density = 10_f64.powf(SLOPE * (faintest_mag - ONE_PER_SQ_DEG_MAG));
    let count = (density * area_sq_deg) as usize;
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x57a2_5eed);
    (0..count)
        .map(|_| {
            let z: f64 = rng.random_range(low..high);
            let (s, c) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
            let flat = (1.0 - z * z).sqrt();
            let part: f64 = rng.random_range(1e-9..1.0);
            let mag = faintest_mag + part.log10() / SLOPE;
            let warmth: f32 = rng.sample(StandardNormal);
            Star {
                direction: [flat * c, flat * s, z],
                // None outshines the brightest of the real sky.
                e_per_s: zero * 10_f64.powf(-0.4 * mag.max(-1.5)),
                colour: [
                    (1.0 + 0.28 * warmth).max(0.35),
                    1.0,
                    (1.05 - 0.34 * warmth).max(0.3),
                ],
            }
        })
        .collect()
}

/// Share of light left at a sine of altitude; thickness of air after Kasten & Young 1989.
fn through_air(sin_altitude: f64) -> f64 {
    let altitude = sin_altitude.clamp(0.0, 1.0).asin().to_degrees();
    let thickness = 1.0 / (sin_altitude.max(0.0) + 0.505_72 * (altitude + 6.079_95).powf(-1.6364));
    10_f64.powf(-0.4 * EXTINCTION_MAG * (thickness - 1.0))
}

/// The moments of an exposure at which stars are stamped.
pub(crate) struct Path {
    nodes: Vec<(Mat3, [f64; 2])>,
    middle: (Mat3, [f64; 2]),
}

impl Path {
    /// `start_s` since the first frame; `longest_px` bounds the motion.
    ///
    /// The n moments are spread a little wider than the middles of n equal parts, by
    /// √(n²/(n² − 1)): then the variance along the trail is that of a true uniform trail, L²/12.
    /// Moments at most 0.75 px apart leave no ripple behind a star of 0.9 px σ (under 1e−12).
    pub(crate) fn new(
        view: &View,
        start_s: f64,
        exposure_s: f64,
        longest_px: f64,
        shift: impl Fn(f64) -> [f64; 2],
    ) -> Self {
        let n = (longest_px / 0.75).ceil().clamp(6.0, 600.0);
        let wider = (n * n / (n * n - 1.0)).sqrt();
        let node = |part: f64| {
            let t = exposure_s * part;
            (view.sky_to_camera(start_s + t), shift(t))
        };
        let count = n as usize;
        let nodes = (0..count)
            .map(|k| node(0.5 + wider * ((k as f64 + 0.5) / n - 0.5)))
            .collect();
        Self {
            nodes,
            middle: node(0.5),
        }
    }
}

/// What drawing a star needs to know of its frame.
pub(crate) struct StarLight<'a> {
    pub(crate) view: &'a View,
    pub(crate) path: &'a Path,
    pub(crate) exposure_s: f64,
    pub(crate) sigma_px: f64,
    /// Standard deviation of one pixel of sky at the frame's centre, electrons.
    pub(crate) noise_e: f64,
    /// The same at a pixel.
    pub(crate) noise_at: &'a dyn Fn(usize, usize) -> f64,
    /// Share of starlight let through at a pixel.
    pub(crate) through: &'a dyn Fn(usize, usize) -> f32,
}

/// A star that was drawn with its middle inside the frame.
pub(crate) struct Placed {
    pub(crate) pixel: [f64; 2],
    pub(crate) direction: Vec3,
    /// Flux over its matched-filter error, counting green pixels only.
    pub(crate) snr: f64,
}

/// Draws one star; `None` when its middle is outside the frame.
pub(crate) fn draw(
    star: &Star,
    light: &StarLight,
    canvas: &mut Canvas,
    print: &mut Footprint,
    points: &mut Vec<[f64; 2]>,
) -> Option<Placed> {
    let view = light.view;
    let (matrix, shift) = &light.path.middle;
    let pixel = view.star_to_pixel(matrix, star.direction, *shift)?;
    let (w, h) = (canvas.plane.width() as f64, canvas.plane.height() as f64);
    let edge = 40.0;
    if pixel[0] < -edge || pixel[1] < -edge || pixel[0] > w + edge || pixel[1] > h + edge {
        return None;
    }
    let inside = pixel[0] >= 0.0 && pixel[1] >= 0.0 && pixel[0] < w - 0.5 && pixel[1] < h - 0.5;
    let near = [pixel[0].clamp(0.0, w - 1.0), pixel[1].clamp(0.0, h - 1.0)];
    let up = view.to_horizon(view.ray(pixel))[2];
    let electrons = star.e_per_s
        * light.exposure_s
        * through_air(up)
        * view.vignetting(near)
        * f64::from((light.through)(near[0] as usize, near[1] as usize));
    // Faint stars end where nothing of them could be told from noise.
    let reach = if electrons < 40.0 * light.noise_e {
        3.2
    } else {
        5.5
    };
    let radius = (reach * light.sigma_px).min(MAX_RADIUS);
    points.clear();
    for (matrix, shift) in &light.path.nodes {
        points.extend(view.star_to_pixel(matrix, star.direction, *shift));
    }
    print.begin(points, radius);
    let share = 1.0 / points.len().max(1) as f32;
    for &point in points.iter() {
        print.stamp(point, light.sigma_px, radius, share);
    }
    canvas.add(print, electrons as f32, star.colour);
    let counted = if canvas.mosaic { 0.5 } else { 1.0 };
    inside.then(|| Placed {
        pixel,
        direction: star.direction,
        snr: electrons * (counted * print.sharpness()).sqrt()
            / (light.noise_at)(near[0] as usize, near[1] as usize),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::scenes::FELL;

    #[test]
    fn bright_stars_are_as_rare_as_the_law_says() {
        let view = View::new(&FELL, 6.0, 1600, 1067);
        let stars = sow(&view, 7.0, 8.0, 0.5, 9);
        let brighter = |times: f64| stars.iter().filter(|s| s.e_per_s > 8.0 * times).count() as f64;
        // One magnitude is a factor 10^0.4 in light and 10^0.45 in number.
        let ratio = brighter(1.0) / brighter(10_f64.powf(0.4));
        assert!((ratio / 10_f64.powf(SLOPE) - 1.0).abs() < 0.05, "{ratio}");
    }
}
