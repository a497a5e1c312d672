//! Rendered nights that look odd and are good.

use nightloupe::sim::{Fault, Scene, scene};
use nightloupe::verdict::Verdict;

use super::night::Run;

/// Reasons that none of these nights has any of.
const NEVER: [&str; 6] = ["aircraft", "cloud", "dew", "knock", "meteor", "wind"];

fn is_left_alone(what: &str, scene: Scene, seed: u64) {
    let frames = 16;
    let run = Run::of(scene, frames, seed);
    let mut odd = Vec::new();
    for (n, _, judgement) in run.frames() {
        let codes = run.codes(n);
        let named = codes.iter().any(|code| NEVER.contains(code));
        // Moonlight may make a frame doubtful; nothing may reject one.
        let wronged = match judgement.verdict {
            Verdict::Keep => false,
            Verdict::Doubtful => !codes.contains(&"moonlight"),
            Verdict::Reject => true,
        };
        if named || wronged {
            odd.push(format!("{n}: {codes:?}"));
        }
    }
    assert!(odd.is_empty(), "{what}: {odd:#?}");
}

fn calm() -> Scene {
    *scene("calm").unwrap()
}

#[test]
fn lamps_planets_and_a_moon_through_trees() {
    let lamp = |x, y| Fault::Lamp { place: [x, y] };
    let faults = vec![
        lamp(0.2, 0.9),
        lamp(0.7, 0.93),
        Fault::Moon {
            place: [0.5, 0.86],
            glow: 0.3,
        },
    ];
    let scene = Scene {
        ground: 0.2,
        faults: faults.leak(),
        ..calm()
    };
    is_left_alone("lamps and the Moon", scene, 71);
}

#[test]
fn a_panning_head() {
    let faults = vec![Fault::Pan {
        px_per_frame: [9.0, 0.0],
    }];
    let scene = Scene {
        ground: 0.0,
        faults: faults.leak(),
        ..calm()
    };
    is_left_alone("a pan", scene, 72);
}

#[test]
fn a_pole_near_a_corner() {
    // The pole stands 31.5° up in the south; here it is near the upper right corner.
    let southern = *scene("southern").unwrap();
    let scene = Scene {
        azimuth_deg: 172.0,
        altitude_deg: 24.0,
        faults: &[],
        ..southern
    };
    is_left_alone("a pole near a corner", scene, 73);
}
