//! The registry of scenes: one entry each. Places, camera and nights are invented.

use serde::Serialize;

/// A thing that goes wrong, or right, in a night.
///
/// Times are fractions of the night's frames in [0, 1], so a scene means the same for any number
/// of frames. Lengths are px of motion on the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Fault {
    /// The tripod gives way after it was touched: an offset that dies away exponentially.
    Settling {
        /// Offset when the first shutter opens.
        from_px: [f64; 2],
        /// Time in which it falls to 1/e.
        tau_s: f64,
    },
    /// The end of dusk: light that dies away exponentially, strongest at the western horizon.
    Twilight {
        /// Light added to the sky at the start, in units of the dark sky's level at the centre.
        excess: f64,
        /// Time in which it falls to 1/e.
        tau_s: f64,
    },
    /// A patchy sheet of thin cloud that drifts through.
    Cloud {
        /// First frame.
        from: f64,
        /// Last frame.
        to: f64,
        /// Loss of starlight at its thickest moment, mean over the frame.
        depth_mag: f64,
    },
    /// A steady line with strobe flashes, right across the frame.
    Aircraft {
        /// First frame.
        at: f64,
        /// Frames that it takes; between them the shutter is closed.
        frames: usize,
    },
    /// A thin even line.
    Satellite {
        /// First frame.
        at: f64,
        /// Frames that it takes.
        frames: usize,
    },
    /// A short line that swells and ends in a flare.
    Meteor {
        /// Frame.
        at: f64,
    },
    /// The tripod is knocked and stays where it was pushed.
    Knock {
        /// Frame.
        at: f64,
        /// The push.
        shift_px: [f64; 2],
        /// Share of the exposure that has passed when it happens; 0 is before the frame.
        during: f64,
    },
    /// A pause: frames that were never taken.
    Gap {
        /// The frame after the pause.
        at: f64,
        /// Length of the pause, beyond the usual one.
        pause_s: f64,
    },
    /// Headlights sweep over the ground.
    StrayLight {
        /// Frame.
        at: f64,
        /// Ground level in units of the sky's level.
        strength: f64,
    },
    /// Dew settles on the lens until the end: stars swell and fade.
    Dew {
        /// First frame.
        from: f64,
        /// Width at the end in units of the width before.
        width: f64,
        /// Starlight lost at the end.
        loss_mag: f64,
    },
    /// The focus ring is touched: stars are wider at once, and keep their light.
    Defocus {
        /// First frame.
        from: f64,
        /// First frame that is sharp again.
        to: f64,
        /// Width in units of the width before.
        width: f64,
    },
    /// The focus creeps to the end, and stars keep their light.
    FocusDrift {
        /// First frame.
        from: f64,
        /// Width at the end in units of the width before.
        width: f64,
    },
    /// A distant flash below the horizon.
    Lightning {
        /// Frame.
        at: f64,
        /// Light added at the centre, in units of the dark sky there.
        strength: f64,
    },
    /// Curtains of green light that change from frame to frame.
    Aurora {
        /// First frame.
        from: f64,
        /// Last frame.
        to: f64,
        /// Light added at the centre at its brightest, in units of the dark sky there.
        strength: f64,
    },
    /// Faint green bands that come and go slowly.
    Airglow {
        /// First frame.
        from: f64,
        /// Last frame.
        to: f64,
        /// Light added at the centre at its brightest, in units of the dark sky there.
        strength: f64,
    },
    /// Insects fly through lamplight near the lens.
    Insects {
        /// Frame.
        at: f64,
        /// How many.
        count: usize,
    },
    /// A lamp that burns all night; no fault of any frame.
    Lamp {
        /// Where, in shares of the frame's width and height.
        place: [f64; 2],
    },
    /// The Moon stands in the frame and moves with the sky.
    Moon {
        /// Where it stands half-way through the night, in shares of the frame's width and height.
        place: [f64; 2],
        /// Light it adds to the sky at the centre, in units of the dark sky there.
        glow: f64,
    },
    /// A panning head turns the camera between frames; no fault of any frame.
    Pan {
        /// By so much from frame to frame.
        px_per_frame: [f64; 2],
    },
    /// A gust shakes the camera through one exposure.
    Wind {
        /// Frame.
        at: f64,
        /// Root-mean-square of the shaking along its axis.
        rms_px: f64,
    },
    /// The mount does not follow quite right: a steady drift.
    Drift {
        /// Speed.
        px_per_min: [f64; 2],
    },
}

/// A place, a camera on it, a sky above it and what happens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Scene {
    /// Its name on the command line.
    pub name: &'static str,
    /// The invented place, used as a folder name.
    pub place: &'static str,
    /// One line for a list of scenes.
    pub summary: &'static str,
    /// What such frames are taken for: `trails`, `timelapse`, `still` or `tracked`.
    pub purpose: &'static str,
    /// Geographic latitude, north positive: it fixes where the pole is.
    pub latitude_deg: f64,
    /// Longitude, east positive.
    pub longitude_deg: f64,
    /// The camera's clock when the first shutter opens.
    pub start_local: &'static str,
    /// The clock's offset from UTC.
    pub utc_offset_min: i32,
    /// Where the lens points, from north through east.
    pub azimuth_deg: f64,
    /// Where the lens points, above the level.
    pub altitude_deg: f64,
    /// Whether a mount follows the sky.
    pub tracked: bool,
    /// Focal length.
    pub focal_mm: f64,
    /// Aperture number.
    pub f_number: f64,
    /// Time the shutter is open; the marked value is the same.
    pub exposure_s: f64,
    /// Time from one opening to the next.
    pub interval_s: f64,
    /// ISO settings, each for an equal run of frames.
    pub isos: &'static [u32],
    /// Exposures, each for an equal share of the night in which all ISO settings are gone through;
    /// empty for `exposure_s` throughout. None is longer than that, and the pause between frames stays.
    pub exposures_s: &'static [f64],
    /// Light of the dark sky at the frame's centre: electrons a second in a green pixel at f/2.8.
    pub sky_e_per_s: f64,
    /// How much brighter the sky is at the horizon than overhead, as a share.
    pub horizon_glow: f64,
    /// Width (FWHM) of a star from lens and air, before the pixel's own width.
    pub star_fwhm_px: f64,
    /// Share of pixels that are hot.
    pub hot_share: f64,
    /// Frames with the cap on at the end of each ISO's run, at most a third of it: the run's last. A
    /// run of fewer than three times as many has none.
    pub darks: usize,
    /// Height of the ground in the frame, as a share of the frame's height; 0 for none.
    pub ground: f64,
    /// Quality of the camera's JPEG files, 1 to 100.
    pub jpeg_quality: u8,
    /// What happens.
    pub faults: &'static [Fault],
}

/// The scene of `--sample`.
pub const DEFAULT_SCENE: &str = "fell";

/// All scenes, in the order they are listed.
pub const SCENES: &[Scene] = &[FELL, CALM, TRACKED, ISO_LADDER, SOUTHERN, WARM];

/// The scene of that name.
#[must_use]
pub fn scene(name: &str) -> Option<&'static Scene> {
    SCENES.iter().find(|scene| scene.name == name)
}

/// A night on a fixed tripod with a little of everything.
pub const FELL: Scene = Scene {
    name: "fell",
    place: "Yarrowick Fell",
    summary: "fixed tripod at dusk: settling, cloud, aircraft, meteor, knocks, headlights, dew",
    purpose: "trails",
    latitude_deg: 54.5,
    longitude_deg: -2.8,
    start_local: "2025-10-18T19:50:00",
    utc_offset_min: 60,
    azimuth_deg: 312.0,
    altitude_deg: 17.0,
    tracked: false,
    focal_mm: 20.0,
    f_number: 2.8,
    exposure_s: 30.0,
    interval_s: 32.0,
    isos: &[1600],
    exposures_s: &[],
    sky_e_per_s: 8.5,
    horizon_glow: 0.9,
    star_fwhm_px: 2.15,
    hot_share: 6e-5,
    darks: 0,
    ground: 0.17,
    jpeg_quality: 93,
    faults: &[
        Fault::Settling {
            from_px: [-8.0, -7.0],
            tau_s: 52.0,
        },
        Fault::Twilight {
            excess: 0.85,
            tau_s: 400.0,
        },
        Fault::Aircraft {
            at: 0.285,
            frames: 1,
        },
        Fault::Satellite {
            at: 0.345,
            frames: 1,
        },
        Fault::StrayLight {
            at: 0.41,
            strength: 0.7,
        },
        Fault::Cloud {
            from: 0.46,
            to: 0.555,
            depth_mag: 0.75,
        },
        Fault::Gap {
            at: 0.605,
            pause_s: 64.0,
        },
        Fault::Meteor { at: 0.66 },
        Fault::Knock {
            at: 0.715,
            shift_px: [3.4, -1.8],
            during: 0.0,
        },
        Fault::Knock {
            at: 0.775,
            shift_px: [6.5, 4.0],
            during: 0.6,
        },
        Fault::Dew {
            from: 0.86,
            width: 1.9,
            loss_mag: 1.1,
        },
    ],
};

/// The same place with nothing wrong: what a good frame must not be blamed for.
pub const CALM: Scene = Scene {
    name: "calm",
    summary: "fixed tripod, dark sky, nothing goes wrong",
    start_local: "2025-10-19T22:10:00",
    faults: &[],
    ..FELL
};

/// A mount that follows the sky.
pub const TRACKED: Scene = Scene {
    name: "tracked",
    place: "Hollin Knoll",
    summary: "tracking mount at 50 mm: a slow drift and one gust of wind",
    purpose: "tracked",
    start_local: "2025-11-20T21:30:00",
    utc_offset_min: 0,
    azimuth_deg: 150.0,
    altitude_deg: 48.0,
    tracked: true,
    focal_mm: 50.0,
    exposure_s: 60.0,
    interval_s: 63.0,
    isos: &[800],
    horizon_glow: 0.4,
    ground: 0.0,
    faults: &[
        Fault::Drift {
            px_per_min: [0.45, 0.15],
        },
        Fault::Wind {
            at: 0.55,
            rms_px: 2.0,
        },
    ],
    ..FELL
};

/// One sky at five ISO settings.
pub const ISO_LADDER: Scene = Scene {
    name: "iso-ladder",
    summary: "the same sky at ISO 400 to 6400, to compare settings; dark frames from 30 frames on",
    purpose: "still",
    start_local: "2025-10-19T23:40:00",
    isos: &[400, 800, 1600, 3200, 6400],
    darks: 2,
    faults: &[],
    ..FELL
};

/// The other pole, and in the frame.
pub const SOUTHERN: Scene = Scene {
    name: "southern",
    place: "Tembarra Pan",
    summary: "southern sky with its pole in the frame, one satellite",
    latitude_deg: -31.5,
    longitude_deg: 20.6,
    start_local: "2026-05-16T20:15:00",
    utc_offset_min: 120,
    azimuth_deg: 187.0,
    altitude_deg: 26.0,
    focal_mm: 14.0,
    exposure_s: 50.0,
    interval_s: 51.0,
    sky_e_per_s: 5.0,
    horizon_glow: 0.35,
    ground: 0.12,
    faults: &[Fault::Satellite { at: 0.4, frames: 1 }],
    ..FELL
};

/// A sensor that never cools down.
pub const WARM: Scene = Scene {
    name: "warm",
    place: "Almirez Steps",
    summary: "a warm night: many hot pixels, bright sky, a cloud",
    latitude_deg: 36.8,
    longitude_deg: -2.6,
    start_local: "2025-08-21T23:05:00",
    utc_offset_min: 120,
    azimuth_deg: 60.0,
    altitude_deg: 24.0,
    exposure_s: 20.0,
    interval_s: 21.0,
    isos: &[3200],
    sky_e_per_s: 20.0,
    hot_share: 1.2e-3,
    faults: &[Fault::Cloud {
        from: 0.6,
        to: 0.8,
        depth_mag: 1.2,
    }],
    ..FELL
};
