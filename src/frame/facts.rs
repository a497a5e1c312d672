//! What the camera wrote about the shot.

use jiff::SignedDuration;
use jiff::civil::DateTime;
use jiff::tz::Offset;
use serde::{Deserialize, Serialize};

/// When the shutter opened, as the camera's clock had it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct TakenAt {
    /// Date and time of day with the sub-seconds the file gives.
    pub local: DateTime,
    /// Whether the file gives sub-seconds; else the clock has whole seconds.
    pub has_subseconds: bool,
    /// Seconds east of UTC, where the file says.
    pub offset_s: Option<i32>,
}

impl TakenAt {
    /// Seconds since 1970-01-01 of the same clock reading (the offset is not applied).
    #[must_use]
    pub fn clock_s(&self) -> f64 {
        let zoned = Offset::UTC.to_timestamp(self.local);
        zoned.map_or(0.0, |stamp| stamp.as_nanosecond() as f64 / 1e9)
    }

    /// Puts the clock right by so many seconds; past the calendar's ends it stays.
    pub fn add(&mut self, seconds: f64) {
        let Ok(shift) = SignedDuration::try_from_secs_f64(seconds) else {
            return;
        };
        self.local = self.local.checked_add(shift).unwrap_or(self.local);
    }

    /// ISO 8601, with the offset where it is known.
    #[must_use]
    pub fn iso8601(&self) -> String {
        let offset = self.offset_s.map_or_else(String::new, |total| {
            let sign = if total < 0 { '-' } else { '+' };
            let minutes = total.unsigned_abs() / 60;
            format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
        });
        format!("{}{offset}", self.local)
    }
}

/// A place on Earth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Gps {
    /// North positive.
    pub latitude_deg: f64,
    /// East positive.
    pub longitude_deg: f64,
}

/// How the stored rows are turned for display: Exif Orientation 1 to 8.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Orientation(pub u8);

impl Default for Orientation {
    fn default() -> Self {
        Self(1)
    }
}

/// Capture facts. `None` is unknown: Exif's 0 mm, f/0 and empty lens names are read as unknown.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Facts {
    /// When the exposure began.
    pub taken_at: Option<TakenAt>,
    /// Marked exposure.
    pub exposure_s: Option<f64>,
    /// Aperture number.
    pub f_number: Option<f64>,
    /// ISO setting.
    pub iso: Option<u32>,
    /// True focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// Focal length that would frame the same on 36 × 24 mm, mm.
    pub focal_35mm: Option<f64>,
    /// Pixel pitch, µm, from the focal-plane resolution, or given.
    pub pixel_um: Option<f64>,
    /// Maker and model.
    pub camera: Option<String>,
    /// Body serial number, where written.
    pub serial: Option<String>,
    /// Lens model.
    pub lens: Option<String>,
    /// Place.
    pub gps: Option<Gps>,
    /// Display orientation.
    pub orientation: Orientation,
    /// Sensor width, px, as stored.
    pub width_px: u32,
    /// Sensor height, px, as stored.
    pub height_px: u32,
}

/// What tells one camera from another in a folder.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct CameraKey {
    /// Maker and model, or empty when unknown.
    pub camera: String,
    /// Serial number, or empty.
    pub serial: String,
}

/// What the user says where the camera could not (a manual lens, a telescope).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Supplied {
    /// Focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// Aperture number.
    pub f_number: Option<f64>,
    /// Pixel pitch, µm.
    pub pixel_um: Option<f64>,
    /// Seconds east of UTC of the camera's clock.
    pub offset_s: Option<i32>,
    /// What to add to the times the camera wrote, s: its clock was set wrong.
    pub clock_add_s: Option<f64>,
}

/// Diagonal of the 36 × 24 mm frame that 35 mm equivalents refer to.
const DIAGONAL_35MM: f64 = 43.266_615_305_567_87;

impl Facts {
    /// Facts of a file that states only its size.
    #[must_use]
    pub(super) fn sized(width: usize, height: usize) -> Self {
        Self {
            width_px: u32::try_from(width).unwrap_or(0),
            height_px: u32::try_from(height).unwrap_or(0),
            ..Self::default()
        }
    }

    /// Pixel pitch in µm by the two focal lengths: the sensor's diagonal is 43.27 mm · f / f₃₅.
    /// Good to half a millimetre of the 35 mm equivalent, which is written in whole millimetres:
    /// 2 % at 24 mm.
    #[must_use]
    pub fn pitch_from_35mm_um(&self) -> Option<f64> {
        let diagonal_px = f64::from(self.width_px).hypot(f64::from(self.height_px));
        let diagonal_mm = DIAGONAL_35MM * self.focal_length_mm? / self.focal_35mm?;
        (diagonal_px > 0.0).then(|| 1000.0 * diagonal_mm / diagonal_px)
    }

    /// Which camera this is from.
    #[must_use]
    pub fn camera_key(&self) -> CameraKey {
        CameraKey {
            camera: self.camera.clone().unwrap_or_default(),
            serial: self.serial.clone().unwrap_or_default(),
        }
    }

    /// These facts with what the user supplied. The user's word wins over the file's.
    #[must_use]
    pub fn with(mut self, supplied: &Supplied) -> Self {
        self.focal_length_mm = supplied.focal_length_mm.or(self.focal_length_mm);
        self.f_number = supplied.f_number.or(self.f_number);
        self.pixel_um = supplied.pixel_um.or(self.pixel_um);
        if let Some(taken) = &mut self.taken_at {
            taken.offset_s = supplied.offset_s.or(taken.offset_s);
            taken.add(supplied.clock_add_s.unwrap_or(0.0));
        }
        self
    }

    /// Focal length in pixels: 1000·f/p where both are known, else by the 35 mm equivalent, to
    /// the accuracy of [`Self::pitch_from_35mm_um`].
    #[must_use]
    pub fn focal_px(&self) -> Option<f64> {
        let pitch_um = self.pixel_um.or_else(|| self.pitch_from_35mm_um());
        Some(1000.0 * self.focal_length_mm? / pitch_um?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn offset_is_written_with_its_sign() {
        let mut taken = TakenAt {
            local: jiff::civil::date(2026, 3, 1).at(21, 4, 5, 250_000_000),
            has_subseconds: true,
            offset_s: Some(-(3 * 3600 + 1800)),
        };
        assert_eq!(taken.iso8601(), "2026-03-01T21:04:05.25-03:30");
        taken.offset_s = None;
        assert_eq!(taken.iso8601(), "2026-03-01T21:04:05.25");
    }

    #[test]
    fn a_wrong_clock_is_put_right() {
        let facts = Facts {
            taken_at: Some(TakenAt {
                local: jiff::civil::date(2025, 12, 31).at(23, 59, 30, 0),
                has_subseconds: false,
                offset_s: None,
            }),
            ..Facts::default()
        };
        let supplied = Supplied {
            clock_add_s: Some(37.5),
            offset_s: Some(0),
            ..Supplied::default()
        };
        let taken = facts.clone().with(&supplied).taken_at.unwrap();
        assert_eq!(taken.iso8601(), "2026-01-01T00:00:07.5+00:00");
        let absurd = Supplied {
            clock_add_s: Some(1e300),
            ..Supplied::default()
        };
        assert_eq!(facts.clone().with(&absurd), facts);
    }

    #[test]
    fn the_users_word_wins() {
        let facts = Facts {
            focal_length_mm: Some(50.0),
            ..Facts::default()
        };
        let supplied = Supplied {
            focal_length_mm: Some(24.0),
            pixel_um: Some(4.3),
            ..Supplied::default()
        };
        let facts = facts.with(&supplied);
        assert_eq!(facts.focal_length_mm, Some(24.0));
        assert!((facts.focal_px().unwrap() - 5581.395).abs() < 1e-3);
    }

    #[test]
    fn the_35mm_equivalent_stands_in_for_the_pitch() {
        let facts = Facts {
            focal_length_mm: Some(16.0),
            focal_35mm: Some(24.0),
            width_px: 6000,
            height_px: 4000,
            ..Facts::default()
        };
        // A sensor of 24 x 16 mm with 6000 x 4000 px.
        assert!((facts.pitch_from_35mm_um().unwrap() - 4.0).abs() < 1e-9);
        assert!((facts.focal_px().unwrap() - 4000.0).abs() < 1e-6);
    }
}
