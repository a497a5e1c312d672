//! The program's own mark, drawn: arcs about a pole over a horizon.

use super::view::Rgba;

const GROUND: [f64; 3] = [18.0, 19.0, 22.0];
const ARC: [f64; 3] = [240.0, 238.0, 232.0];
const KEEP: [f64; 3] = [124.0, 191.0, 204.0];
const DOUBT: [f64; 3] = [237.0, 183.0, 64.0];
const REJECT: [f64; 3] = [244.0, 120.0, 90.0];

/// One arc: radius, start and length in degrees (anticlockwise from right), colour.
const ARCS: [(f64, f64, f64, [f64; 3]); 6] = [
    (0.12, 40.0, 150.0, ARC),
    (0.22, 100.0, 130.0, KEEP),
    (0.22, 300.0, 90.0, ARC),
    (0.32, 20.0, 120.0, ARC),
    (0.32, 175.0, 60.0, DOUBT),
    (0.42, 60.0, 100.0, KEEP),
];

/// The mark as a square of `side` px on a clear ground.
///
/// Drawn from distances, so it is as sharp at any size.
#[must_use]
pub fn icon(side: usize) -> Rgba {
    let px = (0..side * side)
        .map(|at| {
            let place = |step: usize| (step as f64 + 0.5) / side as f64;
            shade(place(at % side), place(at / side), 1.0 / side as f64)
        })
        .collect();
    Rgba {
        width: side,
        height: side,
        px,
    }
}

/// The colour at (x, y) in [0, 1]², with edges one px wide.
fn shade(x: f64, y: f64, px: f64) -> [u8; 4] {
    let cover = |distance: f64| (0.5 - distance / px).clamp(0.0, 1.0);
    let mut colour = GROUND;
    let mut paint = |ink: [f64; 3], part: f64| {
        for (below, over) in colour.iter_mut().zip(ink) {
            *below += (over - *below) * part;
        }
    };
    for (radius, start, length, ink) in ARCS {
        paint(ink, cover(arc_distance(x, y, radius, start, length)));
    }
    // The horizon: what stands on it is kept, what hangs below is not.
    paint(GROUND, cover(0.70 - y));
    paint(ARC, cover(box_distance(x, y, [0.16, 0.74, 0.84, 0.765])));
    paint(REJECT, cover(box_distance(x, y, [0.62, 0.765, 0.76, 0.85])));
    let alpha = cover(rounded_distance(x, y, 0.18));
    let byte = |value: f64| value.round() as u8;
    [
        byte(colour[0]),
        byte(colour[1]),
        byte(colour[2]),
        byte(255.0 * alpha),
    ]
}

/// Distance outside an arc of 0.036 thickness with round ends about the pole.
fn arc_distance(x: f64, y: f64, radius: f64, start_deg: f64, length_deg: f64) -> f64 {
    let (dx, dy) = (x - 0.5, 0.46 - y);
    let along = (dy.atan2(dx).to_degrees() - start_deg).rem_euclid(360.0);
    let to_line = if along <= length_deg {
        (dx.hypot(dy) - radius).abs()
    } else {
        let end = |deg: f64| {
            let (sin, cos) = deg.to_radians().sin_cos();
            (dx - radius * cos).hypot(dy - radius * sin)
        };
        end(start_deg).min(end(start_deg + length_deg))
    };
    to_line - 0.018
}

/// Distance outside a box given as left, top, right, bottom; inside it is negative.
fn box_distance(x: f64, y: f64, [left, top, right, bottom]: [f64; 4]) -> f64 {
    (left - x).max(x - right).max(top - y).max(y - bottom)
}

/// Distance outside the unit square with rounded corners.
fn rounded_distance(x: f64, y: f64, radius: f64) -> f64 {
    let over = |v: f64| ((v - 0.5).abs() - 0.5 + radius).max(0.0);
    over(x).hypot(over(y)) - radius
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The file in assets is this drawing. After changing it, run with `NIGHTLOUPE_DRAW_ICON=1`.
    #[test]
    fn the_asset_is_this_drawing() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/icon.png");
        if std::env::var_os("NIGHTLOUPE_DRAW_ICON").is_some() {
            let replace = crate::base::atomic::Existing::Replace;
            super::super::write_png8(&path, replace, &icon(256)).unwrap();
        }
        let asset = image::open(path).unwrap().to_rgba8();
        assert_eq!((asset.width(), asset.height()), (256, 256));
        assert!(asset.into_raw() == icon(256).px.as_flattened());
    }

    #[test]
    fn corners_are_clear_and_the_middle_is_not() {
        let mark = icon(64);
        assert_eq!(mark.px[0][3], 0);
        assert_eq!(mark.px[32 * 64 + 32][3], 255);
    }
}
