//! The light of the sky without its stars, on a coarse grid: dark sky, glow at the horizon, dusk,
//! thin cloud.

use super::plan::{AddedLight, LightKind};
use super::projection::View;
use super::scenes::Scene;

/// Pixels between grid points: everything here is smooth over many more.
const STEP: usize = 16;

/// One point: sky light in red, green and blue, and the share of starlight that gets through.
type Point = [f32; 4];

/// Colours of the lights, red and blue against green.
const DARK: [f32; 3] = [0.86, 1.0, 1.22];
const TOWN: [f32; 3] = [1.45, 1.0, 0.62];
const DUSK: [f32; 3] = [0.62, 1.0, 1.75];

/// The parts of the sky's light that a night keeps: computed once.
pub(crate) struct Lights {
    cols: usize,
    rows: usize,
    /// Dark sky with its glow, 1 at the frame's centre.
    steady: Vec<[f32; 3]>,
    /// Dusk, 1 at its brightest in the middle of the frame.
    dusk: Vec<[f32; 3]>,
    /// Where each point looks: azimuth and altitude, radians.
    towards: Vec<[f64; 2]>,
    /// The same of the frame's centre.
    centre: [f64; 2],
    /// Loss of light off the axis.
    vignetting: Vec<f32>,
    seed: u64,
}

/// What one frame's sky is made of.
pub(crate) struct SkyOf<'a> {
    /// The dark sky at the centre, electrons.
    pub(crate) level_e: f64,
    /// Dusk, in units of it.
    pub(crate) twilight: f64,
    /// Mean loss of light in cloud.
    pub(crate) cloud_mag: f64,
    /// Moves the cloud, s.
    pub(crate) t_s: f64,
    /// Dims all stars.
    pub(crate) clarity: f64,
    /// Other lights.
    pub(crate) lights: &'a [AddedLight],
}

/// Colours of lights that come and go, red and blue against green.
const FLASH: [f32; 3] = [0.9, 1.0, 1.35];
const AURORA: [f32; 3] = [0.3, 1.0, 0.35];
const AIRGLOW: [f32; 3] = [0.55, 1.0, 0.5];
const MOONLIT: [f32; 3] = [0.85, 1.0, 1.3];

/// How much of a light there is in a direction, and its colour.
fn added(light: &AddedLight, [azimuth, altitude]: [f64; 2]) -> [f32; 3] {
    let (shape, colour) = match light.kind {
        LightKind::Flash => ((-altitude / 0.3).exp() + 0.3, FLASH),
        LightKind::Aurora => {
            let rays = 0.6
                + 0.4
                    * (17.0 * azimuth + 2.0 * light.phase).sin()
                    * (5.0 * azimuth - light.phase).sin();
            (
                rays * (-((altitude - 0.25) / 0.35).powi(2)).exp() + 0.25,
                AURORA,
            )
        }
        LightKind::Airglow => (1.0 + 0.35 * (9.0 * altitude + light.phase).sin(), AIRGLOW),
        LightKind::Moon => (1.0, MOONLIT),
    };
    colour.map(|part| part * (light.strength * shape) as f32)
}

impl Lights {
    pub(crate) fn new(scene: &Scene, view: &View, width: usize, height: usize, seed: u64) -> Self {
        let (cols, rows) = (width.div_ceil(STEP) + 2, height.div_ceil(STEP) + 2);
        let town_azimuth = scene.azimuth_deg.to_radians() - 0.16;
        let dusk_azimuth = 285_f64.to_radians();
        let mut steady = Vec::with_capacity(cols * rows);
        let mut dusk = Vec::with_capacity(cols * rows);
        let mut vignetting = Vec::with_capacity(cols * rows);
        let at = |pixel: [f64; 2]| {
            let [east, north, up] = view.to_horizon(view.ray(pixel));
            let altitude = up.max(0.0).asin();
            let azimuth = east.atan2(north);
            let airglow = 1.0 + 0.35 * scene.horizon_glow * (-altitude / 0.20).exp();
            let off = (azimuth - town_azimuth).cos() - 1.0;
            let town = scene.horizon_glow * (-altitude / 0.12 + 9.0 * off).exp();
            let light = [0, 1, 2].map(|c| DARK[c] * airglow as f32 + TOWN[c] * town as f32);
            let west = ((azimuth - dusk_azimuth).cos() - 1.0).exp() * (-altitude / 0.45).exp();
            (light, DUSK.map(|c| c * west as f32), [azimuth, altitude])
        };
        let (at_centre, dusk_at_centre, centre) = at(view.centre);
        let mut towards = Vec::with_capacity(cols * rows);
        for row in 0..rows {
            for col in 0..cols {
                let pixel = [(col * STEP) as f64, (row * STEP) as f64];
                let (light, west, direction) = at(pixel);
                towards.push(direction);
                steady.push(light.map(|v| v / at_centre[1]));
                dusk.push(west.map(|v| v / dusk_at_centre[1]));
                vignetting.push(view.vignetting(pixel) as f32);
            }
        }
        Self {
            cols,
            rows,
            steady,
            dusk,
            towards,
            centre,
            vignetting,
            seed,
        }
    }

    /// The sky of one frame.
    pub(crate) fn frame(&self, of: &SkyOf<'_>) -> SkyGrid {
        let &SkyOf {
            level_e,
            twilight,
            cloud_mag,
            t_s,
            clarity,
            lights,
        } = of;
        // Each light has its strength at the frame's centre.
        let at_centre: Vec<f32> = lights
            .iter()
            .map(|light| {
                let unit = AddedLight {
                    strength: 1.0,
                    ..*light
                };
                added(&unit, self.centre)[1].max(0.05)
            })
            .collect();
        let mut points = Vec::with_capacity(self.steady.len());
        for row in 0..self.rows {
            for col in 0..self.cols {
                let i = row * self.cols + col;
                let through = if cloud_mag > 0.0 {
                    let x = col as f64 / 22.0 - t_s / 95.0;
                    let y = row as f64 / 12.0 + t_s / 400.0;
                    let thickness = (2.2 * self.billows(x, y) - 0.1).max(0.0);
                    10_f64.powf(-0.4 * cloud_mag * thickness)
                } else {
                    1.0
                };
                // Cloud throws the light of towns back down.
                let veil = (0.75 * (1.0 - through)) as f32;
                let scale = level_e as f32 * self.vignetting[i];
                let mut more = [0.0_f32; 3];
                for (light, unit) in lights.iter().zip(&at_centre) {
                    let here = added(light, self.towards[i]);
                    more = [0, 1, 2].map(|c| more[c] + here[c] / unit);
                }
                let sky = [0, 1, 2].map(|c| {
                    let own = self.steady[i][c] + twilight as f32 * self.dusk[i][c] + more[c];
                    scale * (own + veil * (0.5 * own + 0.5 * TOWN[c]))
                });
                points.push([sky[0], sky[1], sky[2], (through * clarity) as f32]);
            }
        }
        SkyGrid {
            cols: self.cols,
            points,
        }
    }

    /// Smooth noise of five octaves in about [0, 1], mean one half.
    fn billows(&self, x: f64, y: f64) -> f64 {
        let (mut sum, mut weight, mut scale) = (0.0, 0.5, 1.0);
        for octave in 0..5 {
            sum += weight * self.lattice(x * scale, y * scale, octave);
            weight *= 0.5;
            scale *= 2.03;
        }
        sum / 0.968_75
    }

    fn lattice(&self, x: f64, y: f64, octave: u64) -> f64 {
        let (x0, y0) = (x.floor(), y.floor());
        let corner = |dx: f64, dy: f64| {
            let key = ((x0 + dx) as i64 as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)
                ^ ((y0 + dy) as i64 as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f)
                ^ (self.seed + octave).wrapping_mul(0x1656_67b1_9e37_79f9);
            let mixed = (key ^ (key >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            ((mixed ^ (mixed >> 32)) >> 11) as f64 / (1_u64 << 53) as f64
        };
        let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
        let (u, v) = (smooth(x - x0), smooth(y - y0));
        let top = corner(0.0, 0.0) * (1.0 - u) + corner(1.0, 0.0) * u;
        let bottom = corner(0.0, 1.0) * (1.0 - u) + corner(1.0, 1.0) * u;
        top * (1.0 - v) + bottom * v
    }
}

/// One frame's sky, linear between grid points.
pub(crate) struct SkyGrid {
    cols: usize,
    points: Vec<Point>,
}

impl SkyGrid {
    /// One value at a pixel: 0 to 2 the sky's light in red, green, blue (electrons of an
    /// unfiltered pixel), 3 the share of starlight that gets through.
    pub(crate) fn at(&self, which: usize, x: usize, y: usize) -> f32 {
        let (col, row) = (x / STEP, y / STEP);
        let (u, v) = (
            (x % STEP) as f32 / STEP as f32,
            (y % STEP) as f32 / STEP as f32,
        );
        let i = row * self.cols + col;
        let p = |k: usize| self.points.get(k).map_or(0.0, |point| point[which]);
        let top = p(i) + u * (p(i + 1) - p(i));
        let bottom = p(i + self.cols) + u * (p(i + self.cols + 1) - p(i + self.cols));
        top + v * (bottom - top)
    }

    /// Writes row `y` of one colour into the pixels `start, start + by, …`, times `scale`.
    pub(crate) fn fill(
        &self,
        which: usize,
        y: usize,
        out: &mut [f32],
        start: usize,
        by: usize,
        scale: f32,
    ) {
        let (row, v) = (y / STEP, (y % STEP) as f32 / STEP as f32);
        let line = |col: usize| {
            let p = |k: usize| self.points.get(k).map_or(0.0, |point| point[which]);
            let (top, bottom) = (p(row * self.cols + col), p((row + 1) * self.cols + col));
            scale * (top + v * (bottom - top))
        };
        let mut left = line(0);
        for (cell, block) in out.chunks_mut(STEP).enumerate() {
            let right = line(cell + 1);
            let slope = (right - left) / STEP as f32;
            for (i, to) in block.iter_mut().enumerate().skip(start).step_by(by) {
                *to = left + slope * i as f32;
            }
            left = right;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::scenes::FELL;

    #[test]
    fn filling_a_row_agrees_with_single_pixels() {
        let view = View::new(&FELL, 6.0, 200, 100);
        let grid = Lights::new(&FELL, &view, 200, 100, 5).frame(&SkyOf {
            level_e: 400.0,
            twilight: 0.3,
            cloud_mag: 0.8,
            t_s: 900.0,
            clarity: 1.0,
            lights: &[],
        });
        let mut row = vec![0.0; 200];
        grid.fill(1, 37, &mut row, 0, 1, 1.0);
        for x in [0, 15, 16, 113, 199] {
            assert!((row[x] - grid.at(1, x, 37)).abs() < 1e-2, "{x}");
        }
    }

    #[test]
    fn the_centre_has_the_stated_level() {
        let view = View::new(&FELL, 6.0, 1600, 1067);
        let lights = Lights::new(&FELL, &view, 1600, 1067, 5);
        let level = |added: &[AddedLight]| {
            let grid = lights.frame(&SkyOf {
                level_e: 345.0,
                twilight: 0.0,
                cloud_mag: 0.0,
                t_s: 0.0,
                clarity: 1.0,
                lights: added,
            });
            grid.at(1, 800, 533) / 345.0
        };
        assert!((level(&[]) - 1.0).abs() < 0.01);
        for kind in [
            LightKind::Flash,
            LightKind::Aurora,
            LightKind::Airglow,
            LightKind::Moon,
        ] {
            let light = AddedLight {
                kind,
                strength: 0.5,
                phase: 1.0,
            };
            assert!((level(&[light]) - 1.5).abs() < 0.03, "{kind:?}");
        }
    }
}
