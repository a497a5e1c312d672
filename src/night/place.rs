//! Where a night was shot.

use std::collections::BTreeMap;

use super::types::{Night, NightOptions, Place, PlaceFrom};
use crate::sky::Site;

/// The place said for this night, else the one most frames have written, else the user's usual one.
///
/// Most frames, as a receiver's first fix of a night is often the last one of the day before.
pub(super) fn tell(night: &Night, options: &NightOptions) -> Option<Place> {
    let given = options.site.map(|site| (site, PlaceFrom::Given));
    let written = || written(night).map(|site| (site, PlaceFrom::Frames));
    let usual = || options.usual_site.map(|site| (site, PlaceFrom::Usual));
    let (site, from) = given.or_else(written).or_else(usual)?;
    Some(Place { site, from })
}

fn written(night: &Night) -> Option<Site> {
    // To a tenth of a degree: fixes of one place scatter.
    let about = |site: &Site| {
        let tenths = |degrees: f64| (degrees * 10.0).round() as i32;
        (tenths(site.latitude_deg), tenths(site.longitude_deg))
    };
    let gps = night.rows.iter().filter_map(|row| row.facts.gps);
    let sites: Vec<Site> = gps
        .filter_map(|gps| Site::new(gps.latitude_deg, gps.longitude_deg).ok())
        .collect();
    let mut counts: BTreeMap<(i32, i32), usize> = BTreeMap::new();
    for site in &sites {
        *counts.entry(about(site)).or_default() += 1;
    }
    let most = counts.into_iter().max_by_key(|&(_, count)| count)?.0;
    sites.into_iter().find(|site| about(site) == most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Facts, Gps};
    use crate::night::{FrameInput, FrameState, assemble};

    fn night(places: &[(f64, f64)], options: &NightOptions) -> Option<Place> {
        let inputs: Vec<FrameInput> = places
            .iter()
            .enumerate()
            .map(|(shot, &(latitude_deg, longitude_deg))| FrameInput {
                shot,
                name: format!("{shot}.jpg"),
                path: "x".into(),
                facts: Some(Facts {
                    gps: latitude_deg.is_finite().then_some(Gps {
                        latitude_deg,
                        longitude_deg,
                    }),
                    ..Facts::default()
                }),
                state: FrameState::Pending,
            })
            .collect();
        assemble(&inputs, options).place
    }

    #[test]
    fn a_word_wins_over_frames_and_those_over_the_usual_place() {
        let nowhere = (f64::NAN, 0.0);
        let site = |latitude, longitude| Site::new(latitude, longitude).ok();
        let usual = NightOptions {
            usual_site: site(60.1, 24.9),
            ..NightOptions::default()
        };
        let given = NightOptions {
            site: site(-23.7, -68.2),
            ..usual.clone()
        };
        let of = |places: &[(f64, f64)], options| night(places, options).map(|p| (p.site, p.from));
        let frames = [nowhere, (10.0, 20.0), (47.25, 12.5), (47.251, 12.502)];
        let told = |site: Option<Site>, from| site.map(|site| (site, from));
        assert_eq!(of(&frames, &given), told(given.site, PlaceFrom::Given));
        assert_eq!(
            of(&frames, &usual),
            told(site(47.25, 12.5), PlaceFrom::Frames),
            "where most frames are"
        );
        assert_eq!(
            of(&[nowhere], &usual),
            told(usual.usual_site, PlaceFrom::Usual)
        );
        assert_eq!(of(&[nowhere], &NightOptions::default()), None);
    }
}
