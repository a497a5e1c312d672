//! How long stars still pass as points through this lens, by the tolerance the user chose.

use super::facts::Facts;
use super::types::{AdviceOptions, SettingAdvice};
use crate::verdict::Purpose;
use crate::verdict::words::{figure, with_unit};

/// The row "As points": information for purposes whose exposure does not follow from it.
pub(super) fn row(facts: &Facts<'_>, options: AdviceOptions) -> Option<SettingAdvice> {
    if !matches!(facts.purpose, Purpose::Trails | Purpose::Timelapse) {
        return None;
    }
    let tonight = facts.exposure_s?;
    let limit = facts.npf_s(options.npf_k)?;
    let trail = facts.trail_px.map_or_else(String::new, |trail| {
        format!("; tonight’s trails: {}", with_unit(trail, "px"))
    });
    Some(SettingAdvice {
        setting: "As points",
        tonight: with_unit(tonight, "s"),
        next: format!("to {}", with_unit(limit, "s")),
        changed: false,
        why: format!("NPF, k = {}{trail}", figure(options.npf_k)),
        detail: String::new(),
    })
}
