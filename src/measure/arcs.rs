//! Minutes-long exposures: arcs of tens to hundreds of px round a pole.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::heldout::{SIZE, Spread, exposed, is_used};
use super::{Scratch, measure};
use crate::base::robust;
use crate::base::spin2::angle_between_deg;

/// A frame whose sky turns by `turn` radians about `pole`: what was made of it, and for each star
/// used its arc, px, and the offsets of length and angle.
fn turned(seed: u64, pole: (f64, f64), turn: f64) -> (super::FrameMeasure, Vec<[f64; 3]>) {
    let spread = Spread::new(2.4, 3.5);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut frame = vec![900.0; SIZE.0 * SIZE.1];
    for _ in 0..50 {
        let (x, y): (f64, f64) = (
            random.random_range(0.0..SIZE.0 as f64),
            random.random_range(0.0..SIZE.1 as f64),
        );
        let (dx, dy) = (x - pole.0, y - pole.1);
        let arc = turn * dx.hypot(dy);
        let level = 60.0 * 4.0_f64.powf(random.random::<f64>());
        // As bright for its length as the level says, in σ of the sky a px.
        let flux = level * 30.0 * (3.3 * (arc + 3.0)).sqrt();
        let steps = (arc / 0.2).ceil().max(1.0) as usize;
        for i in 0..steps {
            let by = turn * ((i as f64 + 0.5) / steps as f64 - 0.5);
            let (sin, cos) = by.sin_cos();
            let at = (pole.0 + dx * cos - dy * sin, pole.1 + dx * sin + dy * cos);
            spread.add(&mut frame, at, flux / steps as f64);
        }
    }
    let got = measure(
        &exposed(&frame, false, &mut random),
        &mut Scratch::default(),
    );
    let rows = got.stars.iter().filter(|s| is_used(s)).map(|s| {
        let (dx, dy) = (f64::from(s.x_px) - pole.0, f64::from(s.y_px) - pole.1);
        let arc = turn * dx.hypot(dy);
        let angle = (-dx).atan2(-dy).to_degrees();
        [
            arc,
            s.trail.length_px() - arc,
            angle_between_deg(s.trail.angle_deg(), angle),
        ]
    });
    let rows = rows.collect();
    (got, rows)
}

#[test]
fn arcs_have_their_length() {
    for (seed, pole, turn) in [
        (1, (320.0, 900.0), 0.09),
        (2, (320.0, 700.0), 0.3),
        (3, (100.0, 60.0), 0.2),
    ] {
        let (got, rows) = turned(seed, pole, turn);
        let mut arcs: Vec<f64> = rows.iter().map(|r| r[0]).collect();
        let want = robust::median(&mut arcs).unwrap();
        let trail = got.trail.unwrap();
        let what = format!("{turn}: {want:.2} {trail:?} {:?} {rows:.1?}", got.streaks);
        assert!((trail.length_px / want - 1.0).abs() < 0.01, "{what}");
        assert!(got.streaks.is_empty(), "{what}");
        // Where two cross, one may be followed along the other.
        let near = rows.iter().filter(|r| r[1].abs() < 0.015 * r[0].max(60.0));
        assert!(2 * near.count() > rows.len(), "{what}");
        let level = rows.iter().filter(|r| r[2] < 1.0).count();
        assert!(5 * level > 4 * rows.len(), "{what}");
    }
}
