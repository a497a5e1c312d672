//! Sky brightness in absolute units, and its calibration by a reading of a sky meter.

use std::collections::BTreeMap;

use super::types::{Kind, Night, NightOptions, OpticsKey, Row};
use crate::base::robust::median;
use crate::frame::{Facts, Light};
use crate::measure::FrameMeasure;

/// How far off uncalibrated brightness may be, mag: makers rate ISO with up to half a stop of freedom,
/// lenses transmit less than their f-number says, and the zero point moves with the sky's spectrum.
const UNCALIBRATED_MAG: f64 = 0.7;
/// The same once calibrated: a tenth for the meter itself, 0.14 for a sky of another spectrum than on
/// the night of the reading (half the range of zero points of Bará et al. 2020), a tenth for the meter
/// having looked at another part of the sky and for what exposure and aperture are off by between
/// settings; added in squares, 0.2.
const CALIBRATED_MAG: f64 = 0.2;

/// Fills in the sky brightness of every row and what it was calibrated by.
pub(super) fn fill(night: &mut Night, options: &NightOptions) {
    let offsets = offsets(night, options);
    for group in &mut night.groups {
        group.sky_offset_mag = offsets.get(&group.settings.optics()).copied();
    }
    let Night { rows, groups, .. } = night;
    for row in rows {
        let (Some(raw), Some(group)) = (uncalibrated(row), row.group.and_then(|g| groups.get(g)))
        else {
            continue;
        };
        let offset = group.sky_offset_mag;
        row.derived.sky_mag_arcsec2 = Some(raw + offset.unwrap_or(0.0));
        let error = offset.map_or(UNCALIBRATED_MAG, |_| CALIBRATED_MAG);
        row.derived.sky_mag_error = Some(error);
    }
}

/// What to add to brightness, mag, by camera and lens: by the reading for this night where there is
/// one, else as kept. A reading without a frame of its own stands for the night's median.
fn offsets(night: &Night, options: &NightOptions) -> BTreeMap<OpticsKey, f64> {
    let mut offsets = options.sky_offsets.clone();
    let Some(reading) = options.meter_mag else {
        return offsets;
    };
    let mut levels: BTreeMap<OpticsKey, Vec<f64>> = BTreeMap::new();
    for row in night.rows.iter().filter(|row| row.kind == Some(Kind::Sky)) {
        if let (Some(raw), Some(group)) = (uncalibrated(row), row.group)
            && let Some(group) = night.groups.get(group)
        {
            levels.entry(group.settings.optics()).or_default().push(raw);
        }
    }
    for (optics, mut raw) in levels {
        offsets.extend(median(&mut raw).map(|raw| (optics, reading - raw)));
    }
    offsets
}

fn uncalibrated(row: &Row) -> Option<f64> {
    sky_mag_arcsec2(row.measure.as_deref()?, &row.facts)
}

/// Sky brightness, mag per square arcsecond, ±0.7; `None` unless levels are linear and exposure,
/// aperture and ISO are known.
///
/// L = (DN/DNsat)·(78/S)·N²/(q·t), q = 0.65, m = −2.5·log10(L/1.08e5); over the central tenth of the
/// frame, where vignetting is least. Sources: ISO 12232; Bará, Aubé, Barentine, Zamorano 2020.
fn sky_mag_arcsec2(measure: &FrameMeasure, facts: &Facts) -> Option<f64> {
    let level = measure.sky.centre_pct / 100.0;
    let (iso, f_number, exposure) = (facts.iso?, facts.f_number?, facts.exposure_s?);
    if measure.light != Light::Linear || level <= 0.0 || iso == 0 || exposure <= 0.0 {
        return None;
    }
    let luminance = level * (78.0 / f64::from(iso)) * f_number.powi(2) / (0.65 * exposure);
    let magnitude = -2.5 * (luminance / 1.08e5).log10();
    magnitude.is_finite().then_some(magnitude)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::night::tests::{facts, run};
    use crate::night::{FrameState, assemble};

    #[test]
    fn ten_per_cent_is_19_35() {
        // method.md: 10 % of saturation, ISO 1600, f/2.8, 30 s → 1.96e-3 cd/m² → 19.35.
        let mut measure = FrameMeasure::empty(100, 100, Light::Linear);
        measure.sky.centre_pct = 10.0;
        let facts = Facts {
            iso: Some(1600),
            f_number: Some(2.8),
            exposure_s: Some(30.0),
            ..Facts::default()
        };
        let got = sky_mag_arcsec2(&measure, &facts).unwrap();
        assert!((got - 19.35).abs() < 0.005, "{got}");

        measure.sky.centre_pct = 0.0;
        assert_eq!(sky_mag_arcsec2(&measure, &facts), None);
        measure.sky.centre_pct = 10.0;
        let unrated = Facts {
            iso: None,
            ..facts.clone()
        };
        assert_eq!(sky_mag_arcsec2(&measure, &unrated), None);
        measure.light = Light::ToneMapped;
        assert_eq!(sky_mag_arcsec2(&measure, &facts), None);
    }

    #[test]
    fn a_reading_moves_the_whole_night_and_shrinks_its_error() {
        let mut inputs = run(12);
        for input in &mut inputs {
            // The second half is twice as bright; the last frames are of another lens.
            let times = if input.shot < 6 { 1.0 } else { 2.0 };
            let lens = if input.shot < 9 {
                "Alder 24"
            } else {
                "Rowan 50"
            };
            facts(input).lens = Some(lens.to_owned());
            if let FrameState::Measured(measure) = &mut input.state {
                let mut brighter = (**measure).clone();
                brighter.sky.centre_pct = 8.0 * times;
                *measure = brighter.into();
            }
        }
        let magnitudes = |options: &NightOptions| -> Vec<(f64, f64)> {
            let night = assemble(&inputs, options);
            let of = |row: &Row| row.derived.sky_mag_arcsec2.zip(row.derived.sky_mag_error);
            night.rows.iter().filter_map(of).collect()
        };
        let raw = magnitudes(&NightOptions::default());
        assert_eq!(raw.len(), 12);
        assert!((raw[0].0 - raw[6].0 - 2.5 * 2_f64.log10()).abs() < 1e-9);
        assert!(raw.iter().all(|(_, error)| (error - 0.7).abs() < 1e-9));

        let read = magnitudes(&NightOptions {
            meter_mag: Some(21.3),
            ..NightOptions::default()
        });
        // Of the first lens six of nine frames are the darker ones: the reading stands for them.
        assert!((read[0].0 - 21.3).abs() < 1e-9 && (read[11].0 - 21.3).abs() < 1e-9);
        assert!(read.iter().all(|(_, error)| (error - 0.2).abs() < 1e-9));

        let mut kept = NightOptions::default();
        let night = assemble(&inputs, &kept);
        let optics = night.groups[0].settings.optics();
        kept.sky_offsets.insert(optics, 0.4);
        let kept = magnitudes(&kept);
        assert!((kept[0].0 - raw[0].0 - 0.4).abs() < 1e-9);
        assert!((kept[11].0 - raw[11].0).abs() < 1e-9, "another lens");
    }
}
