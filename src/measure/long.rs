//! Long trails, read by their profile, and what each star's numbers do not know.
//!
//! Moments feel the middle of a trail as much as its ends; the profile (profile.rs) is blind to the
//! middle and reads the ends. From [`LONG`] σ on it is the sharper of the two: at 40 px by more than
//! twice. Fits cost more than moments, so a fair sample of a frame's long trails is fitted.

use super::background::Mesh;
use super::lens::{self, Lens, Reading};
use super::path::Wave;
use super::profile::{self, Fitted, Ground, Trailed};
use super::shape::Shape;
use super::types::StarErrors;
use crate::base::robust::median;
use crate::frame::Samples;

/// Trails longer than this many σ of the core are fitted.
pub(super) const LONG: f64 = 6.5;

/// Most trails fitted in a frame, …
const MOST_FITS: usize = 200;

/// … and most of those that may bend, whose fits cost more.
const MOST_BENT_FITS: usize = 80;

/// Paths longer than this, px, may bend.
const MAY_BEND_PX: f64 = 30.0;

/// What may bend and is longer than this many times the frame's usual trail is several stars in a
/// row or a streak: no path of a star is sought in it. On a wide lens the corners trail three times
/// as long as the centre.
const LONGEST_TIMES: f64 = 4.0;

/// A path that bends is followed to its ends in up to this many goes.
const MOST_REACHES: usize = 4;

/// A bend counts when it stands clear of its error by this much.
const CLEAR_BEND: f64 = 4.0;

/// How many more trails of a frame are fitted, and up to what length.
#[derive(Debug)]
pub(super) struct Allowance {
    straight: usize,
    bent: usize,
    longest_px: f64,
}

impl Allowance {
    /// For a frame with these good shapes.
    pub(super) fn of(lens: &Lens, good: &[Shape]) -> Self {
        let read = |shape: &Shape| lens.read(shape.moments).trail.length_px();
        let mut lengths: Vec<f64> = good.iter().map(read).collect();
        Self {
            straight: MOST_FITS,
            bent: MOST_BENT_FITS,
            longest_px: median(&mut lengths).map_or(f64::INFINITY, |usual| LONGEST_TIMES * usual),
        }
    }
}

/// What became of a star's profile.
#[derive(Debug)]
pub(super) enum Profile {
    /// Short enough for its moments.
    Short,
    /// Fitted; how its light lies beside its path.
    Fitted(Fitted, Option<Box<Wave>>),
    /// Long enough to bend, and not followed to its ends: moments would see its middle only.
    Lost,
}

/// The profile of the trail that these moments hint at.
pub(super) fn fitted(
    samples: &Samples,
    (mesh, noise): (&Mesh, &Mesh),
    lens: &Lens,
    shape: &Shape,
    allowance: &mut Allowance,
) -> Profile {
    let start = lens::guess(shape, &lens.read(shape.moments));
    let core = shape.moments.axes().1.max(0.0).sqrt();
    if start.length < LONG * core || shape.at_edge || shape.clipped {
        return Profile::Short;
    }
    let may_bend = start.length >= MAY_BEND_PX;
    if may_bend && start.length > allowance.longest_px {
        return Profile::Lost;
    }
    let left = if may_bend {
        &mut allowance.bent
    } else {
        &mut allowance.straight
    };
    if *left == 0 {
        return if may_bend {
            Profile::Lost
        } else {
            Profile::Short
        };
    }
    *left -= 1;
    let ground = Ground {
        samples,
        sky: mesh.plane_at(shape.x, shape.y),
        spread: &lens.spread,
        noise: noise.at(shape.x, shape.y),
        photon: lens::photon(mesh, noise, (shape.x, shape.y)),
    };
    let straight = |core: f64| profile::fit(&ground, start, core, profile::STRAIGHT);
    let settled = |fit: &Fitted| fit.settled;
    let with_wave = |fit: Fitted| {
        let core = lens.core(fit.trail.scale);
        let wave = Wave::of(&ground, &fit, core, shape.snr as f32);
        Profile::Fitted(fit, wave.map(Box::new))
    };
    if !may_bend {
        let fit = straight(core).filter(settled);
        return fit.map_or(Profile::Short, with_wave);
    }
    let Some(bent) = followed(&ground, lens, start, core).filter(settled) else {
        return Profile::Lost;
    };
    let doubt = CLEAR_BEND * bent.variances[6].max(0.0).sqrt();
    if bent.trail.curvature.abs() > doubt {
        return with_wave(bent);
    }
    let even = straight(lens.core(bent.trail.scale)).filter(settled);
    with_wave(even.unwrap_or(bent))
}

/// The bent path through the middle that the moments show, followed to its ends.
///
/// The moments of such a path are wide by its bulge: a first fit from there, blurred, finds the bend,
/// the next look no further beside it than its own light reaches.
fn followed(ground: &Ground<'_>, lens: &Lens, start: Trailed, core: f64) -> Option<Fitted> {
    let mut fit = profile::fit(ground, start, core, profile::CURVED)?;
    for _ in 0..MOST_REACHES {
        let before = fit.trail;
        fit = profile::fit(ground, before, lens.core(before.scale), profile::CURVED)?;
        if fit.trail.length <= 1.05 * before.length {
            break;
        }
    }
    Some(fit)
}

/// Standard errors of a fitted trail.
pub(super) fn fit_errors(fit: &Fitted, fwhm_px: f64) -> StarErrors {
    // Where the profile does not fit, what it does not fit by counts as noise.
    let trust = fit.chi2.max(1.0).sqrt();
    let [x, y, flux, length, angle, scale, _] = fit.variances.map(|v| trust * v.max(0.0).sqrt());
    StarErrors {
        place_px: (0.5 * (x * x + y * y)).sqrt() as f32,
        flux: flux as f32,
        length_px: length as f32,
        angle_deg: angle.to_degrees().min(90.0) as f32,
        fwhm_px: (scale * fwhm_px) as f32,
        misfit: fit.chi2.sqrt() as f32,
    }
}

/// Standard errors of what settled moments say.
///
/// They are the normal equations of a least-squares Gaussian, whose covariance in even noise is in
/// closed form: with ν the signal-to-noise, ln a and ln b each to √2/ν, the flux to √2/ν, the place to
/// √2 a/ν along, the angle to 2ab/((a² − b²)ν). `photon` (`profile::Ground`) adds the star's own light.
pub(super) fn moment_errors(
    lens: &Lens,
    shape: &Shape,
    reading: &Reading,
    noise: f64,
    photon: f64,
) -> StarErrors {
    let own = 1.0 + photon * shape.peak.max(0.0) / (2.0 * noise * noise).max(1e-30);
    let rate = own.sqrt() / shape.snr.max(1.0);
    let root2 = std::f64::consts::SQRT_2;
    let (a2, b2) = shape.moments.axes();
    let (a2, b2) = (a2.max(1e-6), b2.max(1e-6));
    let length = reading.trail.length_px();
    // By how much L changes with ln a and ln b, each alone.
    let step = 0.01;
    let of = |da: f64, db: f64| lens.length(a2 * (2.0 * da).exp(), b2 * (2.0 * db).exp());
    let by_a = (of(step, 0.0) - of(-step, 0.0)) / (2.0 * step);
    let by_b = (of(0.0, step) - of(0.0, -step)) / (2.0 * step);
    // Below its own error a length is no more than that.
    let square = 12.0 * 2.0 * root2 * b2 * root2 * rate;
    let by_axes = root2 * rate * by_a.hypot(by_b);
    let angle = 2.0 * (a2 * b2).sqrt() / (a2 - b2).max(1e-9) * rate;
    StarErrors {
        place_px: (root2 * rate * (0.5 * (a2 + b2)).sqrt()) as f32,
        flux: (root2 * rate * reading.light * shape.flux) as f32,
        length_px: if length * length > square {
            by_axes
        } else {
            square.sqrt()
        } as f32,
        angle_deg: angle.to_degrees().min(90.0) as f32,
        fwhm_px: (root2 * rate * reading.fwhm) as f32,
        misfit: 0.0,
    }
}
