//! One frame: mean light, noise, file, truth.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::camera::{self, BLACK_DN, NEUTRAL, PIXEL_UM, RANGE_DN};
use super::canvas::{Canvas, Footprint};
use super::develop::{self, Curves};
use super::exif;
use super::glow::{Lights, SkyGrid, SkyOf};
use super::ground::Ground;
use super::options::{Format, SimOptions};
use super::plan::{FWHM_PER_SIGMA, FramePlan};
use super::projection::View;
use super::stars::{self, Path, Placed, Star, StarLight};
use super::streaks;
use super::truth::{FrameTruth, StarTruth, TrailTruth};
use crate::base::{Plane, robust};

/// Everything that all frames of a night share.
pub(crate) struct Studio {
    pub(crate) options: SimOptions,
    pub(crate) view: View,
    lights: Lights,
    ground: Option<Ground>,
    stars: Vec<Star>,
    /// Hot pixels: index and electrons a second.
    hot: Vec<(usize, f32)>,
    curves: Curves,
}

/// A frame as its file's bytes, and what is true about it.
pub(crate) struct Shot {
    pub(crate) bytes: Vec<u8>,
    pub(crate) truth: FrameTruth,
}

impl Studio {
    pub(crate) fn new(options: &SimOptions) -> Self {
        let SimOptions {
            scene,
            width,
            height,
            seed,
            ..
        } = *options;
        let view = View::new(&scene, PIXEL_UM, width, height);
        let corner = (width as f64).hypot(height as f64) / 2.0 + 60.0;
        // Stars under the noise are drawn too, down to about 0.8 σ: a real sky is uneven.
        let sky_e = scene.sky_e_per_s * speed(options) * scene.exposure_s;
        let faintest = 5.0 * sky_e.max(20.0).sqrt() / scene.exposure_s;
        let reach = (corner / view.focal_px).atan();
        let aperture = scene.focal_mm / scene.f_number;
        Self {
            lights: Lights::new(&scene, &view, width, height, seed),
            ground: Ground::new(scene.ground, width, height, seed),
            stars: stars::sow(&view, aperture, faintest, reach, seed),
            hot: hot_pixels(scene.hot_share, width * height, seed),
            curves: Curves::new(),
            options: *options,
            view,
        }
    }

    /// Renders a frame and packs it into its file.
    pub(crate) fn shoot(&self, frame: &FramePlan) -> Result<Shot, ::exif::Error> {
        let options = &self.options;
        let scene = &options.scene;
        let (w, h) = (options.width, options.height);
        let level_e = scene.sky_e_per_s * speed(options) * frame.exposure_s;
        let sky = self.sky_of(frame, if frame.capped { 0.0 } else { level_e });
        let mut canvas = Canvas {
            plane: Plane::new(w, h),
            mosaic: options.format != Format::Tiff,
        };
        fill_sky(&mut canvas, &sky);
        let placed = if frame.capped {
            Vec::new()
        } else {
            self.draw_stars(frame, &sky, &mut canvas)
        };
        let mut print = Footprint::new();
        let gain = camera::gain_dn_per_e(frame.iso);
        let full = RANGE_DN / gain;
        for streak in &frame.streaks {
            let seed = options.seed ^ (streak.first as u64) << 8;
            streaks::draw(*streak, &mut canvas, &mut print, frame.sigma_px, full, seed);
        }
        if let Some(at) = frame.moon.and_then(|place| self.moon_px(frame, place)) {
            let radius = MOON_RADIUS_RAD * self.view.focal_px;
            disc(&mut canvas, at, radius, 40.0 * full);
        }
        if let Some(ground) = &self.ground {
            ground.paint(&mut canvas, &sky, frame.headlights);
        }
        for place in &frame.lamps {
            let at = [place[0] * w as f64, place[1] * h as f64];
            disc(&mut canvas, at, 2.0, 3.0 * full);
        }
        for &(at, rate) in &self.hot {
            if let Some(pixel) = canvas.plane.data_mut().get_mut(at) {
                *pixel += rate * frame.exposure_s as f32;
            }
        }
        let mut rng = ChaCha8Rng::seed_from_u64(options.seed ^ 0x0a01_5e00);
        rng.set_stream(frame.index as u64);
        let numbers = camera::expose(canvas.plane.data(), frame.iso, &mut rng);

        let mut truth = self.truth(frame, &sky, &placed);
        let bytes = match options.format {
            Format::Dng => exif::dng(options, frame, &numbers)?,
            Format::Tiff => exif::tiff(options, frame, &stretch(&numbers))?,
            Format::Jpeg => {
                let rgb = self.curves.develop(&numbers, w, h);
                let quiet = |x: usize, y: usize| self.is_quiet(&canvas, &sky, x, y);
                let noise =
                    develop::saved_noise(&rgb, &canvas.plane, gain, scene.jpeg_quality, &quiet);
                truth.noise_pct = noise.map(|share| 100.0 * share);
                let block = exif::block(options, frame)?;
                develop::encode(&rgb, w, h, scene.jpeg_quality, block)
                    .map_err(std::io::Error::other)?
            }
        };
        truth.bytes = bytes.len() as u64;
        Ok(Shot { bytes, truth })
    }

    fn sky_of(&self, frame: &FramePlan, level_e: f64) -> SkyGrid {
        self.lights.frame(&SkyOf {
            level_e,
            twilight: frame.twilight,
            cloud_mag: frame.cloud_mag,
            t_s: frame.start_s,
            clarity: frame.clarity,
            lights: &frame.lights,
        })
    }

    /// Where the Moon stands in a frame: it moves with the stars.
    fn moon_px(&self, frame: &FramePlan, place: [f64; 2]) -> Option<[f64; 2]> {
        let options = &self.options;
        let pixel = [
            place[0] * options.width as f64,
            place[1] * options.height as f64,
        ];
        let half = 0.5 * options.frames as f64 * options.scene.interval_s;
        let star = self.view.star_at(&self.view.sky_to_camera(half), pixel);
        let now = self
            .view
            .sky_to_camera(frame.start_s + 0.5 * frame.exposure_s);
        self.view.star_to_pixel(&now, star, frame.motion.at(0.0))
    }

    /// The stars whose middle lies in the sky of a frame, brightest first.
    pub(crate) fn stars_in(&self, frame: &FramePlan) -> Vec<StarTruth> {
        let options = &self.options;
        let scene = &options.scene;
        let level_e = scene.sky_e_per_s * speed(options) * frame.exposure_s;
        let sky = self.sky_of(frame, level_e);
        let mut canvas = Canvas {
            plane: Plane::new(options.width, options.height),
            mosaic: options.format != Format::Tiff,
        };
        let mut stars: Vec<StarTruth> = self
            .draw_stars(frame, &sky, &mut canvas)
            .iter()
            .map(|star| StarTruth {
                x_px: star.pixel[0],
                y_px: star.pixel[1],
                snr: star.snr,
                motion_px: self.motion_of(frame, star.direction, Moves::All),
            })
            .collect();
        stars.sort_by(|a, b| b.snr.total_cmp(&a.snr));
        stars
    }

    fn draw_stars(&self, frame: &FramePlan, sky: &SkyGrid, canvas: &mut Canvas) -> Vec<Placed> {
        let (w, h) = (self.options.width, self.options.height);
        let exposure_s = frame.exposure_s;
        let longest = self.longest_by_sky(frame) + frame.motion.way_px(exposure_s);
        let path = Path::new(&self.view, frame.start_s, exposure_s, longest, |t| {
            frame.motion.at(t)
        });
        let through = |x: usize, y: usize| sky.at(3, x, y);
        let read = camera::read_noise_e(frame.iso);
        let noise_at = |x: usize, y: usize| f64::from(sky.at(1, x, y)).sqrt().hypot(read);
        let light = StarLight {
            view: &self.view,
            path: &path,
            exposure_s,
            sigma_px: frame.sigma_px,
            noise_e: noise_at(w / 2, h / 2),
            noise_at: &noise_at,
            through: &through,
        };
        let mut print = Footprint::new();
        let mut points = Vec::new();
        let mut placed = Vec::new();
        for star in &self.stars {
            if let Some(one) = stars::draw(star, &light, canvas, &mut print, &mut points)
                && self.is_sky(one.pixel[0] as usize, one.pixel[1] as usize)
            {
                placed.push(one);
            }
        }
        placed
    }

    fn is_sky(&self, x: usize, y: usize) -> bool {
        self.ground
            .as_ref()
            .is_none_or(|ground| !ground.covers(x, y))
    }

    /// Whether a pixel is sky in which no star or streak adds a third of the noise.
    fn is_quiet(&self, canvas: &Canvas, sky: &SkyGrid, x: usize, y: usize) -> bool {
        if !self.is_sky(x, y) {
            return false;
        }
        let here = canvas.plane.get(x, y).unwrap_or(0.0);
        let colour = camera::bayer(x, y);
        let empty = sky.at(colour, x, y) * NEUTRAL[colour];
        here - empty < 0.3 * empty.max(1.0).sqrt()
    }

    fn longest_by_sky(&self, frame: &FramePlan) -> f64 {
        self.grid(|_, _| true)
            .map(|pixel| self.motion_at(frame, pixel, Moves::SkyOnly))
            .fold(0.0, |longest, by| longest.max(by[0].hypot(by[1])))
    }

    /// Points spread over the frame, its corners among them, where `wanted`.
    fn grid(&self, wanted: impl Fn(usize, usize) -> bool) -> impl Iterator<Item = [f64; 2]> {
        let (w, h) = (self.options.width - 1, self.options.height - 1);
        (0..=GRID_PARTS * (GRID_PARTS + 2)).filter_map(move |i| {
            let (x, y) = (
                i % (GRID_PARTS + 1) * w / GRID_PARTS,
                i / (GRID_PARTS + 1) * h / GRID_PARTS,
            );
            (y <= h && wanted(x, y)).then_some([x as f64, y as f64])
        })
    }

    /// Motion in px, from the opening to the closing of the shutter, of the star that is at a
    /// pixel half-way.
    fn motion_at(&self, frame: &FramePlan, pixel: [f64; 2], moves: Moves) -> [f64; 2] {
        let t = frame.exposure_s;
        let middle = self.view.sky_to_camera(frame.start_s + t / 2.0);
        self.motion_of(frame, self.view.star_at(&middle, pixel), moves)
    }

    fn motion_of(&self, frame: &FramePlan, star: [f64; 3], moves: Moves) -> [f64; 2] {
        let t = frame.exposure_s;
        let at = |part: f64| {
            let shift = match moves {
                Moves::SkyOnly => [0.0, 0.0],
                Moves::All => frame.motion.at(part * t),
            };
            let matrix = self.view.sky_to_camera(frame.start_s + part * t);
            self.view.star_to_pixel(&matrix, star, shift)
        };
        match (at(0.0), at(1.0)) {
            (Some(a), Some(b)) => [b[0] - a[0], b[1] - a[1]],
            _ => [0.0, 0.0],
        }
    }

    fn trail(&self, frame: &FramePlan, placed: &[Placed], moves: Moves) -> TrailTruth {
        let size = |by: [f64; 2]| by[0].hypot(by[1]);
        let mut lengths: Vec<f64> = placed
            .iter()
            .filter(|star| star.snr >= 5.0)
            .map(|star| size(self.motion_of(frame, star.direction, moves)))
            .collect();
        let centre_px = size(self.motion_at(frame, self.view.centre, moves));
        TrailTruth {
            median_px: robust::median(&mut lengths).unwrap_or(centre_px),
            centre_px,
            max_px: self
                .grid(|x, y| self.is_sky(x, y))
                .map(|pixel| size(self.motion_at(frame, pixel, moves)))
                .fold(0.0, f64::max),
        }
    }

    fn truth(&self, frame: &FramePlan, sky: &SkyGrid, placed: &[Placed]) -> FrameTruth {
        let options = &self.options;
        let exposure_s = frame.exposure_s;
        let gain = camera::gain_dn_per_e(frame.iso);
        let (mut levels, mut clear) = (Vec::new(), Vec::new());
        for y in (1..options.height).step_by(7) {
            for x in (1..options.width).step_by(7) {
                if self.is_sky(x, y) {
                    levels.push(f64::from(sky.at(1, x, y)));
                    clear.push(f64::from(sky.at(3, x, y)));
                }
            }
        }
        let level_e = robust::median(&mut levels).unwrap_or(0.0);
        let demosaic = if options.format == Format::Jpeg {
            develop::DEMOSAIC_VARIANCE
        } else {
            0.0
        };
        let variance = frame.sigma_px.powi(2) + 1.0 / 12.0 + demosaic;
        let by = self.motion_at(frame, self.view.centre, Moves::All);
        let angle = (-by[1]).atan2(by[0]).to_degrees().rem_euclid(180.0);
        let shifts: Vec<[f64; 2]> = (0..40)
            .map(|k| frame.motion.at(exposure_s * (f64::from(k) + 0.5) / 40.0))
            .collect();
        let brighter = |snr: f64| placed.iter().filter(|star| star.snr >= snr).count();
        FrameTruth {
            file: options.file_name(frame.index),
            bytes: 0,
            taken_at: format!("{}{}", exif::clock(options, frame), exif::offset(options)),
            start_s: frame.start_s,
            exposure_s,
            iso: frame.iso,
            kind: if frame.capped { "dark" } else { "sky" }.to_owned(),
            gain_dn_per_e: gain,
            read_noise_e: camera::read_noise_e(frame.iso),
            expected: self.trail(frame, placed, Moves::SkyOnly),
            trail: self.trail(frame, placed, Moves::All),
            trail_angle_deg: (by[0].hypot(by[1]) > 0.05).then_some(angle),
            fwhm_px: FWHM_PER_SIGMA * variance.sqrt(),
            sky_level_pct: 100.0 * level_e * gain / RANGE_DN,
            noise_pct: Some(100.0 * camera::noise_share(level_e, frame.iso)),
            stars_snr5: brighter(5.0),
            stars_snr10: brighter(10.0),
            transparency: robust::median(&mut clear).unwrap_or(1.0),
            shift_px: [0, 1].map(|i| shifts.iter().map(|s| s[i]).sum::<f64>() / 40.0),
            faults: frame.faults.clone(),
        }
    }
}

/// Half of the Moon's mean apparent diameter of 31 arc minutes.
const MOON_RADIUS_RAD: f64 = 0.0045;

/// A bright disc and the halo of light that a lens scatters about it, which falls with the square of
/// the distance.
fn disc(canvas: &mut Canvas, at: [f64; 2], radius_px: f64, level_e: f64) {
    const HALO: f64 = 0.004;
    let reach = 25.0 * radius_px;
    let (w, h) = (canvas.plane.width(), canvas.plane.height());
    let span = |centre: f64, side: usize| {
        let from = (centre - reach).max(0.0) as usize;
        from.min(side)..((centre + reach + 1.0).max(0.0) as usize).min(side)
    };
    for y in span(at[1], h) {
        for x in span(at[0], w) {
            let away = (x as f64 - at[0]).hypot(y as f64 - at[1]);
            let inside = (radius_px + 0.5 - away).clamp(0.0, 1.0);
            let halo = HALO * (radius_px / away.max(radius_px)).powi(2);
            let light = level_e * inside.max(halo);
            let light = light as f32 * canvas.response(x, y, [1.0, 1.0, 0.95]);
            if let Some(pixel) = canvas.plane.row_mut(y).get_mut(x) {
                *pixel += light;
            }
        }
    }
}

/// Parts of a frame's side between grid points.
const GRID_PARTS: usize = 24;

/// Whose motion counts.
#[derive(Debug, Clone, Copy)]
enum Moves {
    SkyOnly,
    All,
}

/// Light against that at f/2.8.
fn speed(options: &SimOptions) -> f64 {
    (2.8 / options.scene.f_number).powi(2)
}

fn fill_sky(canvas: &mut Canvas, sky: &SkyGrid) {
    let mosaic = canvas.mosaic;
    for y in 0..canvas.plane.height() {
        let row = canvas.plane.row_mut(y);
        if mosaic {
            for x in 0..2 {
                let colour = camera::bayer(x, y);
                sky.fill(colour, y, row, x, 2, NEUTRAL[colour]);
            }
        } else {
            sky.fill(1, y, row, 0, 1, 1.0);
        }
    }
}

/// 14-bit numbers with a black level to 16 bits without one.
fn stretch(numbers: &[u16]) -> Vec<u16> {
    let scale = 65_535.0 / RANGE_DN as f32;
    let level = |&dn: &u16| (f32::from(dn.saturating_sub(BLACK_DN)) * scale).round() as u16;
    numbers.iter().map(level).collect()
}

/// Hot pixels: most are warm, few are very hot.
fn hot_pixels(share: f64, pixels: usize, seed: u64) -> Vec<(usize, f32)> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x0407_b175);
    (0..(share * pixels as f64) as usize)
        .map(|_| {
            let size: f32 = rng.sample(StandardNormal);
            (rng.random_range(0..pixels), 14.0 * (1.1 * size).exp())
        })
        .collect()
}
