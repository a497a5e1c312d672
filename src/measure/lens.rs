//! What the frame's lens does to a point of light, learnt from its bright stars, and what a star's
//! settled moments mean behind it.
//!
//! Real stars have wings. Read as Gaussians they look up to a sixth too wide and, because a trail
//! draws its wings out too, up to half a pixel too long. So the wings κ of the frame's spread
//! (spread.rs) are found by maximum likelihood over the profile fits of its brightest stars, all of
//! which share it; from there on moments are turned into length and width by what they settle at on
//! that spread, tabulated once a frame.

use super::background::Mesh;
use super::long;
use super::profile::{self, Fitted, Free, Ground, Trailed};
use super::shape::{Moments, Shape};
use super::spread::{MOST_WINGS, Spread};
use crate::base::Spin2;
use crate::base::robust::median;
use crate::frame::Samples;

/// Most stars that say what the wings are.
const MOST_SPEAKERS: usize = 24;

/// Fewest of them.
const LEAST_SPEAKERS: usize = 3;

/// Below this signal-to-noise a star says nothing of wings.
const LEAST_SNR: f64 = 25.0;

/// What is thought of κ before any star has spoken: 0, within this.
const PRIOR: f64 = 0.3;

/// Where the search begins: between a Gaussian and the wings of common lenses.
const FIRST_WINGS: f64 = 0.15;

/// Change of κ by which its effect is felt.
const NUDGE: f64 = 0.05;

/// Below this many σ of length a fit takes length and angle as known.
const SHORT: f64 = 2.5;

/// Longest trail in the table, in σ of the core.
const LONGEST: f64 = 400.0;

/// Lines of the table.
const LINES: usize = 48;

/// What moments mean at one ratio of the axes.
#[derive(Debug, Clone, Copy)]
struct Line {
    /// ln of long over short, both squared.
    log_ratio: f64,
    /// L² over the difference of the squares.
    length: f64,
    /// FWHM over the short axis.
    width: f64,
    /// Scale of the spread over the short axis.
    scale: f64,
    /// All the light over that of the matched Gaussian.
    light: f64,
}

/// The lens as this frame's stars show it.
#[derive(Debug)]
pub(super) struct Lens {
    /// A star at rest.
    pub(super) spread: Spread,
    /// By how much the middle length that moments give would change were κ off by its own standard
    /// error, px: common to all stars, so their scatter does not show it.
    pub(super) doubt_px: f64,
    /// The same of the middle width, as a share of it.
    pub(super) width_doubt: f64,
    lines: Vec<Line>,
}

/// A star's moments, read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    pub(super) trail: Spin2,
    pub(super) fwhm: f64,
    pub(super) scale: f64,
    /// All the light over that of the matched Gaussian.
    pub(super) light: f64,
}

impl Lens {
    /// The lens behind `shapes`, those of the frame's good stars.
    pub(super) fn learn(samples: &Samples, mesh: &Mesh, noise: &Mesh, shapes: &[Shape]) -> Self {
        let gaussian = Self::with(0.0, shapes);
        let mut order: Vec<&Shape> = shapes.iter().filter(|s| s.snr >= LEAST_SNR).collect();
        order.sort_by(|a, b| b.snr.total_cmp(&a.snr));
        order.truncate(MOST_SPEAKERS);
        let mut speakers: Vec<Speaker> = order
            .iter()
            .map(|shape| Speaker::new(shape, &gaussian))
            .collect();
        if speakers.len() < LEAST_SPEAKERS {
            return gaussian.doubting(&Self::with(PRIOR, shapes), shapes);
        }
        let mut known = 0.0;
        let (mut wings, mut spread) = (FIRST_WINGS, Spread::new(FIRST_WINGS));
        for round in 0..8 {
            let before = wings;
            // At the upper end the change is felt downwards.
            let nudge = if wings + NUDGE > MOST_WINGS {
                -NUDGE
            } else {
                NUDGE
            };
            let stronger = Spread::new(wings + nudge);
            let (mut pull, mut information) = (0.0, PRIOR.powi(-2));
            for speaker in &mut speakers {
                let ground = Ground {
                    samples,
                    sky: mesh.plane_at(speaker.trail.x, speaker.trail.y),
                    spread: &spread,
                    noise: noise.at(speaker.trail.x, speaker.trail.y),
                    photon: photon(mesh, noise, (speaker.trail.x, speaker.trail.y)),
                };
                if let Some((p, i)) = speaker.pull(&ground, (&stronger, nudge)) {
                    pull += p;
                    information += i;
                }
            }
            known = information;
            pull -= wings / (PRIOR * PRIOR);
            // The likelihood is far from a parabola at first: short steps there.
            let most = if round < 3 { 0.15 } else { 0.05 };
            wings = (wings + (pull / information).clamp(-most, most)).clamp(0.0, MOST_WINGS);
            spread = Spread::new(wings);
            if (wings - before).abs() < 5e-3 {
                break;
            }
        }
        let lens = Self::with(wings, shapes);
        let off = known.max(PRIOR.powi(-2)).sqrt().recip();
        let side = if wings + off > MOST_WINGS { -off } else { off };
        lens.doubting(&Self::with(wings + side, shapes), shapes)
    }

    /// With what another lens, as likely as not, would read otherwise.
    fn doubting(self, other: &Self, shapes: &[Shape]) -> Self {
        let width = |lens: &Self, shape: &Shape| lens.read(shape.moments).fwhm;
        let mut apart: Vec<f64> = shapes
            .iter()
            .map(|shape| (width(other, shape) / width(&self, shape).max(1e-6) - 1.0).abs())
            .collect();
        Self {
            doubt_px: self.apart(other, shapes),
            width_doubt: median(&mut apart).unwrap_or(0.0),
            ..self
        }
    }

    /// Middle difference of the lengths that two lenses read of these moments, px; none where
    /// profiles are fitted, whose ends lie where they lie.
    fn apart(&self, other: &Self, shapes: &[Shape]) -> f64 {
        let length = |lens: &Self, shape: &Shape| lens.read(shape.moments).trail.length_px();
        let mut apart: Vec<f64> = shapes
            .iter()
            .map(|shape| {
                let here = length(self, shape);
                let is_short = here * here < long::LONG.powi(2) * shape.moments.axes().1;
                if is_short {
                    (here - length(other, shape)).abs()
                } else {
                    0.0
                }
            })
            .collect();
        median(&mut apart).unwrap_or(0.0)
    }

    /// The lens with these wings and a scale as its stars' own.
    fn with(wings: f64, shapes: &[Shape]) -> Self {
        let spread = Spread::new(wings);
        let mut short: Vec<f64> = shapes.iter().map(|s| s.moments.axes().1).collect();
        let mut long: Vec<f64> = shapes.iter().map(|s| s.moments.axes().0).collect();
        let across = median(&mut short).filter(|v| *v > 0.1).unwrap_or(1.3);
        let along = median(&mut long).unwrap_or(across).max(across);
        // Near enough to find the scale, which hardly depends on it.
        let length = (8.0 * (along - across)).sqrt();
        let scale = spread.scale_of(across, length);
        let mut lines = Vec::with_capacity(LINES);
        let mut guess = (across, across);
        for i in 0..LINES {
            let part = i as f64 / (LINES - 1) as f64;
            let length = across.sqrt() * (0.2 * (LONGEST / 0.2).powf(part));
            let (a, b) = spread.settled(scale, length, guess);
            guess = (a, b);
            lines.push(Line {
                log_ratio: (a / b).ln(),
                length: length * length / (a - b),
                width: spread.fwhm(scale) / b.sqrt(),
                scale: scale / b.sqrt(),
                light: spread.whole_light(scale, length, (a, b)),
            });
        }
        Self {
            spread,
            doubt_px: 0.0,
            width_doubt: 0.0,
            lines,
        }
    }

    /// L, px, of a trail whose moments settle at these along and across, px².
    pub(super) fn length(&self, along: f64, across: f64) -> f64 {
        let moments = Moments {
            xx: along.max(across),
            xy: 0.0,
            yy: across.min(along),
        };
        self.read(moments).trail.length_px()
    }

    /// σ across, px, at which the moments of a star of this scale settle.
    pub(super) fn core(&self, scale: f64) -> f64 {
        let middle = self.lines.get(LINES / 2);
        middle.map_or(scale, |line| scale / line.scale.max(1e-6))
    }

    /// What these moments say.
    pub(super) fn read(&self, moments: Moments) -> Reading {
        let (long, short) = moments.axes();
        let short = short.max(1e-6);
        let log_ratio = (long / short).ln();
        let at = self.lines.partition_point(|l| l.log_ratio < log_ratio);
        let below = self.lines.get(at.saturating_sub(1));
        let above = self.lines.get(at).or(self.lines.last());
        let (Some(below), Some(above)) = (below, above) else {
            return Reading {
                trail: Spin2::default(),
                fwhm: 0.0,
                scale: 0.0,
                light: 1.0,
            };
        };
        let room = above.log_ratio - below.log_ratio;
        let part = if room > 0.0 {
            ((log_ratio - below.log_ratio) / room).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let between = |of: fn(&Line) -> f64| of(below) + part * (of(above) - of(below));
        let length = between(|l| l.length);
        Reading {
            // Linear in the moments near L = 0, so noise that points every way averages to
            // nothing. The plane's y runs down, angles run anticlockwise as seen.
            trail: Spin2 {
                cos: length * (moments.xx - moments.yy),
                sin: -length * 2.0 * moments.xy,
            },
            fwhm: between(|l| l.width) * short.sqrt(),
            scale: between(|l| l.scale) * short.sqrt(),
            light: between(|l| l.light),
        }
    }
}

/// Variance that a unit of light adds, full scale: all of the sky's noise were it photons. Read
/// noise makes this an upper bound; it only weighs samples.
pub(super) fn photon(mesh: &Mesh, noise: &Mesh, (x, y): (f64, f64)) -> f64 {
    let sigma = noise.at(x, y);
    sigma * sigma / mesh.at(x, y).max(sigma)
}

/// A guess of the trail from settled moments.
pub(super) fn guess(shape: &Shape, reading: &Reading) -> Trailed {
    Trailed {
        x: shape.x,
        y: shape.y,
        flux: reading.light * shape.flux,
        length: reading.trail.length_px().max(0.3),
        angle: reading.trail.angle_deg().to_radians(),
        scale: reading.scale,
        curvature: 0.0,
    }
}

/// A star that says what the wings are.
struct Speaker {
    trail: Trailed,
    core: f64,
    free: Free,
}

impl Speaker {
    fn new(shape: &Shape, lens: &Lens) -> Self {
        let trail = guess(shape, &lens.read(shape.moments));
        let core = shape.moments.axes().1.max(0.0).sqrt();
        let is_short = trail.length < SHORT * core;
        Self {
            trail,
            core,
            free: if is_short {
                profile::SHORT
            } else {
                profile::STRAIGHT
            },
        }
    }

    /// Pull and information on the wings, each fit going on from the last.
    fn pull(&mut self, ground: &Ground<'_>, stronger: (&Spread, f64)) -> Option<(f64, f64)> {
        let fitted: Fitted = profile::fit(ground, self.trail, self.core, self.free)?;
        if !fitted.settled {
            return None;
        }
        self.trail = fitted.trail;
        // What does not fit has a neighbour or is no star: it says less.
        let trust = 1.0 / fitted.chi2.max(1.0);
        let (pull, information) =
            profile::pull_on_wings(ground, &fitted, self.core, self.free, stronger)?;
        Some((trust * pull, trust * information))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::spin2::angle_between_deg;

    /// a²/b² against L/σ for a sampled Gaussian trail without noise, tried independently.
    const TABLE: [(f64, f64); 14] = [
        (0.0, 1.0),
        (0.5, 1.021),
        (1.0, 1.085),
        (1.5, 1.197),
        (2.0, 1.363),
        (3.0, 1.881),
        (4.0, 2.675),
        (6.0, 5.106),
        (8.0, 8.62),
        (10.0, 13.18),
        (15.0, 29.10),
        (20.0, 51.41),
        (30.0, 115.2),
        (40.0, 204.5),
    ];

    fn along_x(long: f64, short: f64) -> Moments {
        Moments {
            xx: long,
            xy: 0.0,
            yy: short,
        }
    }

    #[test]
    fn inverts_the_table() {
        let lens = Lens::with(0.0, &[]);
        for (length, ratio) in TABLE {
            let got = lens.read(along_x(2.0 * ratio, 2.0)).trail.length_px() / 2.0_f64.sqrt();
            // The table is rounded to 0.001; near 0 that is 0.1 in L.
            let slack = if length < 0.9 {
                0.02
            } else {
                0.004 * length.max(1.0)
            };
            assert!((got - length).abs() < slack, "{length}: {got}");
        }
    }

    #[test]
    fn reads_back_what_settles_behind_wings() {
        for wings in [0.0, 0.2, 0.4] {
            let lens = Lens::with(wings, &[]);
            let spread = Spread::new(wings);
            for (scale, length) in [(0.95, 2.0), (1.1, 5.0), (1.2, 14.0), (1.1, 90.0)] {
                let start = (scale * scale + length * length / 10.0, scale * scale);
                let (a, b) = spread.settled(scale, length, start);
                let got = lens.read(along_x(a, b));
                let off = got.trail.length_px() / length - 1.0;
                assert!(off.abs() < 0.004, "{wings} {length}: {off}");
                let off = got.fwhm / spread.fwhm(scale) - 1.0;
                // The pixel's share is the frame's, not this star's.
                assert!(off.abs() < 0.02, "{wings} {length}: width {off}");
            }
        }
    }

    #[test]
    fn angle_runs_anticlockwise_with_y_down() {
        // Long axis from lower left to upper right: x right and y up, so xy < 0 in the plane.
        let lens = Lens::with(0.0, &[]);
        let spin = lens
            .read(Moments {
                xx: 2.0,
                xy: -1.0,
                yy: 2.0,
            })
            .trail;
        assert!(angle_between_deg(spin.angle_deg(), 45.0) < 1e-9);
        assert!(spin.length_px() > 0.0);
    }
}
