//! What this camera's own gain and read noise say about exposure and ISO.

use super::facts::Facts;
use super::scales::exposure_from;
use crate::sky::limits::{SKY_LIMITED_SHARE, sky_limited_s};
use crate::verdict::words::{number, with_unit};

/// Longest exposure that is advised for read noise's sake, s.
const LONGEST_S: f64 = 300.0;

/// Read noise against the sky's own, at the main group's ISO.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sensor {
    /// Noise of a pixel in the dark, e⁻.
    pub(super) read_noise_e: f64,
    /// Light of the sky, e⁻ a pixel and second.
    pub(super) sky_e_per_s: f64,
}

impl Sensor {
    /// `None` where gain or read noise is not known, which is so for every tone-mapped file.
    pub(super) fn of(facts: &Facts<'_>) -> Option<Self> {
        let transfer = facts
            .group
            .transfer
            .as_ref()
            .filter(|_| facts.group.linear)?;
        let full_e = transfer.full_scale_e?.value;
        let read_noise_e = transfer.read_noise_e?.value;
        let sky_e_per_s = facts.sky_pct? / 100.0 * full_e / facts.exposure_s?;
        (sky_e_per_s > 0.0 && read_noise_e > 0.0).then_some(Self {
            read_noise_e,
            sky_e_per_s,
        })
    }

    /// The exposure past which read noise adds under 5 % to the sky's noise, s.
    pub(super) fn limit_s(self) -> f64 {
        sky_limited_s(self.read_noise_e, self.sky_e_per_s, SKY_LIMITED_SHARE)
    }

    /// What read noise adds to the sky's noise in an exposure, as a share.
    pub(super) fn adds(self, exposure_s: f64) -> f64 {
        (1.0 + self.read_noise_e.powi(2) / (self.sky_e_per_s * exposure_s)).sqrt() - 1.0
    }

    /// The marked exposure that is long enough.
    pub(super) fn exposure_s(self) -> f64 {
        exposure_from(self.limit_s()).min(LONGEST_S)
    }

    /// "Read noise (5.6 electrons) adds under 5 % to the sky’s noise past 26 s."
    pub(super) fn words(self) -> String {
        let limit = self.limit_s();
        let limit = if limit >= 10.0 { limit.round() } else { limit };
        format!(
            "Read noise ({} electrons) adds under 5 % to the sky’s noise past {}.",
            number(self.read_noise_e, 1),
            with_unit(limit, "s")
        )
    }
}
