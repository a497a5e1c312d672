//! How well something read from the map is known, from how far each star pulls at it.
//!
//! The estimate is White's (1980, Econometrica 48, 817): a star's weight times what the map leaves of
//! it, carried to the number asked for, squared and summed. It is right too where stars scatter more
//! along a trail than across, or by more than their weights know. Each pull is as it would be had the
//! star no say itself (the jackknife; `MacKinnon` & White 1985, J. Econometrics 29, 305).

use super::{Datum, Form};
use crate::base::Spin2;

/// Something read from the map: by how much it changes with the vector at each of some places.
pub(super) type Target = Vec<(f64, f64, Spin2)>;

/// The mean length of the trails at places.
pub(super) fn mean_length(
    form: &Form,
    places: impl ExactSizeIterator<Item = (f64, f64)>,
) -> Target {
    let count = places.len().max(1) as f64;
    places
        .map(|(u, v)| {
            let at = form.at(u, v);
            // L⁴ = cos² + sin² of the vector.
            let cube = 2.0 * count * at.length_px().powi(3).max(1e-9);
            let by = Spin2 {
                cos: at.cos / cube,
                sin: at.sin / cube,
            };
            (u, v, by)
        })
        .collect()
}

/// The angle at a place, radians.
pub(super) fn angle(form: &Form, (u, v): (f64, f64)) -> Target {
    let at = form.at(u, v);
    let square = 2.0 * (at.cos.powi(2) + at.sin.powi(2)).max(1e-9);
    let by = Spin2 {
        cos: -at.sin / square,
        sin: at.cos / square,
    };
    vec![(u, v, by)]
}

/// Standard error of what is read.
pub(super) fn error(form: &Form, data: &[Datum], target: &Target) -> f64 {
    let mut gradient = Vec::new();
    for &(u, v, by) in target {
        let slopes = form.slopes(u, v);
        gradient.resize(slopes.len(), 0.0);
        for (sum, slope) in gradient.iter_mut().zip(slopes) {
            *sum += by.cos * slope.cos + by.sin * slope.sin;
        }
    }
    let carried = form.carried(&gradient);
    let pulls = data.iter().map(|datum| {
        let at = form.at(datum.u, datum.v);
        let (cos, sin) = (datum.spin.cos - at.cos, datum.spin.sin - at.sin);
        let slopes = form.slopes(datum.u, datum.v);
        let parts = carried.iter().zip(slopes);
        let pull: f64 = parts.map(|(c, s)| c * (s.cos * cos + s.sin * sin)).sum();
        // A star that has much of the say draws the map to itself and leaves little: put back.
        let say = datum.weight * form.variance(datum.u, datum.v, 1.0);
        (datum.weight * pull / (1.0 - say).max(0.3)).powi(2)
    });
    pulls.sum::<f64>().sqrt()
}
