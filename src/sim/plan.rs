//! A scene's faults spread over the frames of one night.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::options::SimOptions;
use super::scenes::Fault;
use super::truth::FaultTruth;

/// A line across the frame that is no star.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum StreakKind {
    Aircraft,
    Satellite,
    Meteor,
    /// One of several short lines.
    Insect(usize),
}

/// A line, or the part of it that falls into one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StreakPlan {
    pub(crate) kind: StreakKind,
    /// Frame in which the whole line begins: chance hangs on it.
    pub(crate) first: usize,
    /// From where to where along the whole line, 0 to 1.
    pub(crate) part: [f64; 2],
}

/// Light that is added to the sky, in units of the dark sky at the centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct AddedLight {
    pub(crate) kind: LightKind,
    pub(crate) strength: f64,
    /// Moves its pattern.
    pub(crate) phase: f64,
}

/// What lights the sky, each with its colour and shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LightKind {
    Flash,
    Aurora,
    Airglow,
    Moon,
}

/// Everything about one frame but its pixels.
#[derive(Debug, Clone)]
pub(crate) struct FramePlan {
    pub(crate) index: usize,
    /// Opening of the shutter since the first one.
    pub(crate) start_s: f64,
    pub(crate) iso: u32,
    /// Time the shutter is open.
    pub(crate) exposure_s: f64,
    /// Whether the cap is on.
    pub(crate) capped: bool,
    pub(crate) motion: Motion,
    /// Standard deviation of a star's light before the pixel's own width.
    pub(crate) sigma_px: f64,
    /// Share of starlight that dew lets through.
    pub(crate) clarity: f64,
    /// Mean loss of starlight in cloud.
    pub(crate) cloud_mag: f64,
    /// Dusk, in units of the dark sky at the centre.
    pub(crate) twilight: f64,
    /// Headlights: ground level in units of the sky.
    pub(crate) headlights: f64,
    pub(crate) streaks: Vec<StreakPlan>,
    pub(crate) lights: Vec<AddedLight>,
    /// The Moon's place half-way through the night, shares of the frame's size.
    pub(crate) moon: Option<[f64; 2]>,
    /// Lamps, in shares of the frame's size.
    pub(crate) lamps: Vec<[f64; 2]>,
    /// Pause before the frame beyond the usual one.
    pub(crate) pause_s: f64,
    pub(crate) faults: Vec<FaultTruth>,
}

/// How the frame's centre is displaced on the sensor while the shutter is open.
#[derive(Debug, Clone, Default)]
pub(crate) struct Motion {
    /// Lasting displacement from knocks before.
    offset: [f64; 2],
    /// Displacements that die away: at the opening, and time to 1/e.
    dying: Vec<([f64; 2], f64)>,
    /// A push at a time after the opening.
    push: Option<(f64, [f64; 2])>,
    /// px per second.
    drift: [f64; 2],
    /// Amplitude, angular frequency and phase of swings along one axis.
    swings: Vec<([f64; 2], f64, f64)>,
}

impl Motion {
    /// Displacement `t_s` after the opening, px.
    pub(crate) fn at(&self, t_s: f64) -> [f64; 2] {
        [0, 1].map(|i| {
            let dying: f64 = self
                .dying
                .iter()
                .map(|(a, tau)| a[i] * (-t_s / tau).exp())
                .sum();
            let push = match self.push {
                Some((at, by)) if t_s >= at => by[i],
                _ => 0.0,
            };
            let swing: f64 = self
                .swings
                .iter()
                .map(|(a, w, p)| a[i] * (w * t_s + p).sin())
                .sum();
            self.offset[i] + dying + push + self.drift[i] * t_s + swing
        })
    }

    /// Whether the camera is quite still.
    fn is_still(&self) -> bool {
        self.dying.is_empty() && self.push.is_none() && self.swings.is_empty()
    }

    /// An upper bound of the way made during the exposure, px.
    pub(crate) fn way_px(&self, exposure_s: f64) -> f64 {
        if self.is_still() {
            return self.drift[0].hypot(self.drift[1]) * exposure_s;
        }
        let points = (0..=200).map(|i| self.at(exposure_s * f64::from(i) / 200.0));
        let points: Vec<_> = points.collect();
        points
            .windows(2)
            .map(|pair| (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]))
            .sum()
    }
}

/// The frames of a night.
pub(crate) fn plan(options: &SimOptions) -> Vec<FramePlan> {
    let scene = &options.scene;
    let mut start_s = 0.0;
    let mut frames = Vec::with_capacity(options.frames);
    for index in 0..options.frames {
        let isos = scene.isos.len().max(1);
        let runs = isos * scene.exposures_s.len().max(1);
        let run = index * runs / options.frames;
        let exposure_s = (scene.exposures_s.get(run / isos)).map_or(scene.exposure_s, |s| *s);
        // Where the next run begins, and this one began.
        let begin = |run: usize| (run * options.frames).div_ceil(runs);
        let left_in_run = begin(run + 1) - index;
        let has_darks = begin(run + 1) - begin(run) >= 3 * scene.darks;
        let mut frame = FramePlan {
            index,
            start_s,
            iso: scene.isos.get(run % isos).copied().unwrap_or(1600),
            exposure_s,
            capped: has_darks && left_in_run <= scene.darks,
            motion: Motion::default(),
            sigma_px: scene.star_fwhm_px / FWHM_PER_SIGMA,
            clarity: 1.0,
            cloud_mag: 0.0,
            twilight: 0.0,
            headlights: 0.0,
            streaks: Vec::new(),
            lights: Vec::new(),
            moon: None,
            lamps: Vec::new(),
            pause_s: 0.0,
            faults: Vec::new(),
        };
        for fault in scene.faults {
            frame.apply(fault, options);
        }
        // The clock ticks on from where a pause has moved it.
        start_s = frame.start_s + scene.interval_s - (scene.exposure_s - exposure_s);
        frames.push(frame);
    }
    frames
}

fn sum(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] + b[0], a[1] + b[1]]
}

/// Full width at half maximum of a Gaussian over its standard deviation.
pub(crate) const FWHM_PER_SIGMA: f64 = 2.354_82;

impl FramePlan {
    #[expect(
        clippy::too_many_lines,
        reason = "one arm a fault: a table of what each does to a frame"
    )]
    fn apply(&mut self, fault: &Fault, options: &SimOptions) {
        let count = options.frames;
        let frame_of = |at: f64| ((at * count as f64) as usize).min(count - 1);
        match *fault {
            Fault::Settling { from_px, tau_s } => {
                let left = (-self.start_s / tau_s).exp();
                let open = from_px.map(|v| v * left);
                let size = open[0].hypot(open[1]);
                if size > 0.02 {
                    self.motion.dying.push((open, tau_s));
                    let moved = size * (1.0 - (-self.exposure_s / tau_s).exp());
                    self.note_if(moved > 0.3, "settling", moved, "px during the exposure");
                }
            }
            Fault::Twilight { excess, tau_s } => {
                self.twilight = excess * (-self.start_s / tau_s).exp();
                let level = self.twilight;
                self.note_if(level > 0.05, "twilight", level, "of the dark sky");
            }
            Fault::Cloud {
                from,
                to,
                depth_mag,
            } => {
                let (first, last) = (frame_of(from), frame_of(to));
                if (first..=last).contains(&self.index) {
                    let middle = (self.index - first) as f64 + 0.5;
                    let part = middle / (last - first + 1) as f64;
                    let depth = depth_mag * (std::f64::consts::PI * part).sin().powi(2);
                    self.cloud_mag += depth;
                    self.note_if(depth > 0.05, "cloud", depth, "mag");
                }
            }
            Fault::Aircraft { at, frames } => {
                self.pass(
                    frame_of(at),
                    frames,
                    StreakKind::Aircraft,
                    "aircraft",
                    options,
                );
            }
            Fault::Satellite { at, frames } => {
                self.pass(
                    frame_of(at),
                    frames,
                    StreakKind::Satellite,
                    "satellite",
                    options,
                );
            }
            Fault::Meteor { at } => {
                self.pass(frame_of(at), 1, StreakKind::Meteor, "meteor", options);
            }
            Fault::Insects { at, count } => {
                let first = frame_of(at);
                if self.index == first {
                    let line = |n| StreakPlan {
                        kind: StreakKind::Insect(n),
                        first,
                        part: [0.0, 1.0],
                    };
                    self.streaks.extend((0..count).map(line));
                    self.note_if(true, "insects", count as f64, "streaks");
                }
            }
            Fault::Lightning { at, strength } => {
                if self.index == frame_of(at) {
                    self.light(LightKind::Flash, strength, 0.0);
                    self.note_if(true, "lightning", strength, "of the dark sky");
                }
            }
            Fault::Aurora { from, to, strength } => {
                let (first, last) = (frame_of(from), frame_of(to));
                if (first..=last).contains(&self.index) {
                    let mut rng = ChaCha8Rng::seed_from_u64(options.seed ^ 0x00a0_407a);
                    rng.set_stream(self.index as u64);
                    let now = strength * rng.random_range(0.5..1.0);
                    self.light(LightKind::Aurora, now, rng.random_range(0.0..9.0));
                    self.note_if(true, "aurora", now, "of the dark sky");
                }
            }
            Fault::Airglow { from, to, strength } => {
                let (first, last) = (frame_of(from), frame_of(to));
                if (first..=last).contains(&self.index) {
                    let part = ((self.index - first) as f64 + 0.5) / (last - first + 1) as f64;
                    let now = strength * (std::f64::consts::PI * part).sin().powi(2);
                    self.light(LightKind::Airglow, now, 2.0 * part);
                    self.note_if(now > 0.05, "airglow", now, "of the dark sky");
                }
            }
            Fault::Moon { place, glow } => {
                self.moon = Some(place);
                self.light(LightKind::Moon, glow, 0.0);
                self.note_if(true, "moonlight", glow, "of the dark sky");
            }
            Fault::Lamp { place } => self.lamps.push(place),
            Fault::Pan { px_per_frame } => {
                let by = px_per_frame.map(|px| px * self.index as f64);
                self.motion.offset = sum(self.motion.offset, by);
            }
            Fault::Defocus { from, to, width } => {
                if (frame_of(from)..frame_of(to)).contains(&self.index) {
                    self.sigma_px *= width;
                    self.note_if(true, "defocus", width, "of the sharp width");
                }
            }
            Fault::FocusDrift { from, width } => {
                let first = frame_of(from);
                if self.index >= first {
                    let part = (self.index - first + 1) as f64 / (count - first) as f64;
                    let now = 1.0 + (width - 1.0) * part;
                    self.sigma_px *= now;
                    self.note_if(now > 1.05, "focus-drift", now, "of the sharp width");
                }
            }
            Fault::Knock {
                at,
                shift_px,
                during,
            } => {
                self.knock(frame_of(at), shift_px, during * self.exposure_s);
            }
            Fault::Gap { at, pause_s } => {
                if self.index == frame_of(at) && self.index > 0 {
                    self.start_s += pause_s;
                    self.pause_s = pause_s;
                    self.note_if(true, "gap", pause_s, "s");
                }
            }
            Fault::StrayLight { at, strength } => {
                if self.index == frame_of(at) {
                    self.headlights = strength;
                    self.note_if(true, "stray-light", strength, "of the sky, on the ground");
                }
            }
            Fault::Dew {
                from,
                width,
                loss_mag,
            } => {
                let first = frame_of(from);
                if self.index >= first {
                    let part = (self.index - first + 1) as f64 / (count - first) as f64;
                    self.sigma_px *= 1.0 + (width - 1.0) * part;
                    self.clarity *= 10_f64.powf(-0.4 * loss_mag * part);
                    self.note_if(part > 0.05, "dew", loss_mag * part, "mag");
                }
            }
            Fault::Wind { at, rms_px } => {
                if self.index == frame_of(at) {
                    self.shake(rms_px, options.seed);
                    self.note_if(true, "wind", rms_px, "px rms");
                }
            }
            Fault::Drift { px_per_min } => {
                let drift = px_per_min.map(|v| v / 60.0);
                self.motion.drift = sum(self.motion.drift, drift);
                self.motion.offset = sum(self.motion.offset, drift.map(|v| v * self.start_s));
            }
        }
    }

    fn note_if(&mut self, noticeable: bool, reason: &str, strength: f64, unit: &str) {
        if noticeable {
            self.faults.push(FaultTruth {
                reason: reason.to_owned(),
                strength,
                unit: unit.to_owned(),
            });
        }
    }

    /// The part of a pass over several frames that falls into this one.
    fn pass(
        &mut self,
        first: usize,
        frames: usize,
        kind: StreakKind,
        reason: &str,
        options: &SimOptions,
    ) {
        let Some(nth) = self.index.checked_sub(first).filter(|&nth| nth < frames) else {
            return;
        };
        let scene = &options.scene;
        let whole = (frames - 1) as f64 * scene.interval_s + scene.exposure_s;
        let from = nth as f64 * scene.interval_s;
        self.streaks.push(StreakPlan {
            kind,
            first,
            part: [from / whole, (from + self.exposure_s) / whole],
        });
        self.note_if(true, reason, 1.0, "streak");
    }

    fn light(&mut self, kind: LightKind, strength: f64, phase: f64) {
        self.lights.push(AddedLight {
            kind,
            strength,
            phase,
        });
    }

    fn knock(&mut self, at: usize, shift_px: [f64; 2], after_s: f64) {
        if self.index < at {
            return;
        }
        if self.index == at {
            let size = shift_px[0].hypot(shift_px[1]);
            let when = if after_s > 0.0 {
                "px during the exposure"
            } else {
                "px before it"
            };
            self.note_if(true, "knock", size, when);
            if after_s > 0.0 {
                self.motion.push = Some((after_s, shift_px));
                return;
            }
        }
        self.motion.offset = sum(self.motion.offset, shift_px);
    }

    /// A gust: swings at several frequencies of a tripod, along one axis.
    fn shake(&mut self, rms_px: f64, seed: u64) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x51de_ab1e);
        rng.set_stream(self.index as u64);
        let axis: f64 = rng.random_range(0.0..std::f64::consts::PI);
        let frequencies = [0.23, 0.71, 1.9, 4.3];
        let raw = frequencies.map(|_| {
            let swing: f64 = rng.sample(StandardNormal);
            swing
        });
        let power: f64 = raw.iter().map(|a| a * a / 2.0).sum::<f64>().max(1e-9);
        for (a, hertz) in raw.into_iter().zip(frequencies) {
            let amplitude = rms_px * a / power.sqrt();
            let phase = rng.random_range(0.0..std::f64::consts::TAU);
            let along = [amplitude * axis.cos(), amplitude * axis.sin()];
            self.motion
                .swings
                .push((along, std::f64::consts::TAU * hertz, phase));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_knock_during_a_frame_lasts() {
        let options = SimOptions::default();
        let frames = plan(&options);
        let during = frames.iter().find(|f| f.motion.push.is_some()).unwrap();
        let open = during.motion.at(0.0);
        let close = during.motion.at(30.0);
        let next = frames[during.index + 1].motion.at(0.0);
        assert!((close[0] - open[0] - 6.5).abs() < 1e-3);
        assert!((next[0] - close[0]).hypot(next[1] - close[1]) < 1e-3);
    }

    #[test]
    fn the_pause_moves_all_later_frames() {
        let frames = plan(&SimOptions::default());
        let steps: Vec<f64> = frames
            .windows(2)
            .map(|w| w[1].start_s - w[0].start_s)
            .collect();
        let long: Vec<_> = steps.iter().filter(|&&s| (s - 32.0).abs() > 1e-6).collect();
        assert_eq!(long.len(), 1);
        assert!((long[0] - 96.0).abs() < 1e-6);
    }

    #[test]
    fn exposures_are_gone_through_with_every_iso() {
        let mut options = SimOptions {
            frames: 8,
            ..SimOptions::default()
        };
        options.scene.isos = &[800, 1600];
        options.scene.exposures_s = &[30.0, 15.0];
        let frames = plan(&options);
        let settings: Vec<(u32, f64)> = frames.iter().map(|f| (f.iso, f.exposure_s)).collect();
        assert_eq!(
            settings[..4],
            [(800, 30.0), (800, 30.0), (1600, 30.0), (1600, 30.0)]
        );
        assert_eq!(settings[6], (1600, 15.0));
        // The pause of 2 s stays.
        assert!((frames[7].start_s - frames[6].start_s - 17.0).abs() < 1e-9);
    }

    #[test]
    fn any_number_of_frames_has_a_plan() {
        for frames in [1, 2, 7] {
            let options = SimOptions {
                frames,
                ..SimOptions::default()
            };
            assert_eq!(plan(&options).len(), frames);
        }
    }
}
