//! Results of frames made by formula: a turning sky of stars, pauses, an aircraft, headlights.

use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::recipe::tests::{choices, exposures};
use super::*;
use crate::frame::Colour;
use crate::sky::Camera;

const SIZE: (usize, usize) = (400, 300);
const SKY: u16 = 1000;
/// σ of a star, px.
const SIGMA: f64 = 1.1;
const STAR: (f64, f64) = (380.0, 140.0);

/// 25° from the pole at 6000 px focal length: the star runs left, 0.185 px a second.
fn motion() -> SkyMotion {
    let camera = Camera::new(6000.0, SIZE.0 as f64, SIZE.1 as f64).unwrap();
    let (sin, cos) = 25f64.to_radians().sin_cos();
    SkyMotion::new(camera, [0.0, -sin, cos])
}

fn flat() -> Colour {
    Colour {
        width: SIZE.0,
        height: SIZE.1,
        rgb: vec![[SKY; 3]; SIZE.0 * SIZE.1],
    }
}

/// A frame open from `start_s` on for 30 s: one star that trails as the sky turns, by steps of 0.5 s.
fn trailed(start_s: f64) -> Colour {
    let motion = motion();
    let mut light = vec![0f64; SIZE.0 * SIZE.1];
    for step in 0..60 {
        let at = start_s + 0.5 * (f64::from(step) + 0.5);
        let (x, y) = motion.moved(STAR.0, STAR.1, at).unwrap();
        let (cx, cy) = (x.round() as usize, y.round() as usize);
        for py in cy - 8..=cy + 8 {
            for px in cx - 8..=cx + 8 {
                let (dx, dy) = (px as f64 - x, py as f64 - y);
                light[py * SIZE.0 + px] += (-(dx * dx + dy * dy) / (2.0 * SIGMA * SIGMA)).exp();
            }
        }
    }
    Colour {
        width: SIZE.0,
        height: SIZE.1,
        rgb: light
            .iter()
            .map(|l| [SKY + (400.0 * l) as u16; 3])
            .collect(),
    }
}

fn piece() -> Piece {
    Piece::whole(SIZE.0, SIZE.1, 400)
}

fn run(recipe: &Recipe, open: impl Fn(usize) -> Result<Colour, String> + Sync) -> Sides {
    let mut blocks = Blocks::new(piece());
    let steps = blocks.steps(recipe, &[]);
    let pass = Pass {
        piece: piece(),
        motion: recipe.motion,
        at_once: 2,
        open: &open,
        stopped: &|| false,
    };
    pass.run(&steps, &mut blocks, |_, _| ()).unwrap();
    blocks.sides(recipe)
}

/// Light above the sky at the star's place at a moment, between px.
fn light_at(picture: &Colour, seconds: f64) -> f64 {
    let (x, y) = motion().moved(STAR.0, STAR.1, seconds).unwrap();
    let (wx, wy) = (x.floor() as usize, y.floor() as usize);
    let (u, v) = (x.fract(), y.fract());
    let px = |dx: usize, dy: usize| f64::from(picture.rgb[(wy + dy) * SIZE.0 + wx + dx][1]);
    let upper = px(0, 0) * (1.0 - u) + px(1, 0) * u;
    let lower = px(0, 1) * (1.0 - u) + px(1, 1) * u;
    upper * (1.0 - v) + lower * v - f64::from(SKY)
}

/// A night whose frames are 30 s every 36 s: the star moves 5.5 px in a frame and 1.1 px in a pause.
fn paused(count: usize) -> Vec<Exposure> {
    let mut frames = exposures(count);
    for (n, frame) in frames.iter_mut().enumerate() {
        frame.start_s = 36.0 * n as f64;
        frame.end_s = frame.start_s + 30.0;
    }
    frames
}

fn recipe(frames: &[Exposure], chosen: Choices) -> Recipe {
    Recipe::new(SIZE, frames, chosen, Some(motion()), None)
}

#[test]
fn a_bridged_pause_keeps_its_light_and_the_sky_is_not_lifted() {
    let frames = paused(10);
    let open = |shot: usize| Ok(trailed(36.0 * shot as f64));
    let plain = recipe(&frames, choices(&[], Thin::AsTaken, Blend::Brightest));
    let bridged = recipe(
        &frames,
        choices(&[Repair::Bridge], Thin::AsTaken, Blend::Brightest),
    );
    let [plain, bridged] = [plain, bridged].map(|recipe| run(&recipe, open).used.unwrap());
    let peak = light_at(&plain, 36.0 * 4.0 + 15.0);
    // The middle of the pause after frame 4, and of a frame's trail.
    let middle = 36.0 * 4.0 + 33.0;
    let (before, after) = (
        light_at(&plain, middle) / peak,
        light_at(&bridged, middle) / peak,
    );
    // ½ erfc(g/(2√2 σ)) for the brightest, g = 1.1 px: 0.31 in the very middle, 0.49 half a px off it.
    assert!((0.28..0.52).contains(&before), "the dip: {before}");
    assert!(after > 0.9, "filled: {after}");
    let raised = (plain.rgb.iter().zip(&bridged.rgb))
        .filter(|(a, b)| a != b)
        .count();
    assert!(raised < 1500, "only along the trail: {raised} px");
    // A gap of a dropped frame stays.
    let mut dropped = frames;
    dropped[5].is_used = false;
    let chosen = choices(&[Repair::Bridge], Thin::AsTaken, Blend::Brightest);
    let torn = run(&recipe(&dropped, chosen), open).used.unwrap();
    let gap = light_at(&torn, 36.0 * 5.0 + 15.0) / peak;
    assert!(gap < 0.02, "{gap}");
}

#[test]
fn an_aircraft_is_painted_out_of_the_used_side_alone() {
    let mut frames = paused(9);
    frames[4].streaks.push(Outline {
        from: (10.0, 60.0),
        to: (390.0, 60.0),
        width_px: 3.0,
    });
    let open = |shot: usize| {
        let mut frame = trailed(36.0 * shot as f64);
        if shot == 4 {
            for y in 59..=61 {
                frame.rgb[y * SIZE.0 + 10..y * SIZE.0 + 391].fill([50_000; 3]);
            }
        }
        Ok(frame)
    };
    let chosen = choices(&[Repair::Paint], Thin::AsTaken, Blend::Brightest);
    let sides = run(&recipe(&frames, chosen), open);
    let brightest = |picture: &Colour| {
        picture.rgb[60 * SIZE.0..61 * SIZE.0]
            .iter()
            .map(|p| p[1])
            .max()
    };
    assert_eq!(brightest(&sides.all), Some(50_000));
    assert_eq!(brightest(&sides.used.unwrap()), Some(SKY));
}

#[test]
fn lit_ground_is_taken_from_the_frames_where_it_is_darkest() {
    // 24 frames in blocks of 8; in frame 9 headlights light the lower fifth.
    let frames = paused(24);
    let open = |shot: usize| {
        let mut frame = trailed(36.0 * shot as f64);
        for px in &mut frame.rgb[240 * SIZE.0..] {
            *px = [if shot == 9 { 30_000 } else { 100 + shot as u16 }; 3];
        }
        Ok(frame)
    };
    let mut seed = 3u32;
    let mut next = |side: f32| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        side * (seed >> 8) as f32 / (1 << 24) as f32
    };
    let stars: Vec<_> = (0..20_000).map(|_| (next(400.0), next(240.0))).collect();
    let ground = Arc::new(Ground::below_stars(SIZE, &stars, Edge::Bottom).unwrap());
    for blend in [Blend::Brightest, Blend::Average] {
        let chosen = choices(&[Repair::Ground], Thin::AsTaken, blend);
        let recipe = Recipe::new(SIZE, &frames, chosen, None, Some(&ground));
        let kept = run(&recipe, open).used.unwrap();
        let folded = fold(&recipe, open);
        for picture in [kept, folded] {
            // The mean of the first block, which is the darkest: 100 + 3.5.
            assert_eq!(picture.rgb[290 * SIZE.0 + 200][1], 104);
            assert!(picture.rgb[200 * SIZE.0 + 10][1] <= SKY + 1);
        }
    }
}

fn fold(recipe: &Recipe, open: impl Fn(usize) -> Result<Colour, String> + Sync) -> Colour {
    let mut folded = Folded::new(piece(), recipe, false);
    let steps = folded.steps(recipe);
    let pass = Pass {
        piece: piece(),
        motion: recipe.motion,
        at_once: 1,
        open: &open,
        stopped: &|| false,
    };
    pass.run(&steps, &mut folded, |_, _| ()).unwrap();
    folded.finish(recipe).1.unwrap()
}

#[test]
fn at_once_and_by_blocks_are_the_same() {
    let frames = paused(20);
    let open = |shot: usize| Ok(trailed(36.0 * shot as f64));
    for (repairs, thin, blend) in [
        (
            &[Repair::Bridge, Repair::Paint][..],
            Thin::AsTaken,
            Blend::Brightest,
        ),
        (&[], Thin::Pairs, Blend::Brightest),
        (&[], Thin::EverySecond, Blend::Average),
    ] {
        let recipe = recipe(&frames, choices(repairs, thin, blend));
        let (kept, folded) = (run(&recipe, open).used.unwrap(), fold(&recipe, open));
        let worst = (kept.rgb.iter().zip(&folded.rgb))
            .map(|(a, b)| a[1].abs_diff(b[1]))
            .max();
        assert!(worst <= Some(1), "{worst:?}");
    }
}

#[test]
fn pairs_are_twice_as_bright_and_every_second_leaves_gaps() {
    let frames = paused(8);
    let open = |shot: usize| Ok(trailed(36.0 * shot as f64));
    let [as_taken, pairs, second] = [Thin::AsTaken, Thin::Pairs, Thin::EverySecond].map(|thin| {
        run(&recipe(&frames, choices(&[], thin, Blend::Brightest)), open)
            .used
            .unwrap()
    });
    assert_eq!((as_taken.rgb[0][1], pairs.rgb[0][1]), (SKY, 2 * SKY));
    let skipped = 36.0 * 3.0 + 15.0;
    assert!(light_at(&second, skipped) < 0.02 * light_at(&as_taken, skipped));
}

#[test]
fn only_what_a_change_touches_is_opened_again() {
    let opened = AtomicUsize::new(0);
    let open = |_| {
        opened.fetch_add(1, Ordering::Relaxed);
        Ok(flat())
    };
    let mut frames = paused(40);
    let chosen = choices(&[], Thin::AsTaken, Blend::Brightest);
    let mut blocks = Blocks::new(piece());
    let mut build = |frames: &[Exposure], chosen: Choices| {
        let recipe = recipe(frames, chosen);
        let before = opened.load(Ordering::Relaxed);
        let steps = blocks.steps(&recipe, &[]);
        let pass = Pass {
            piece: piece(),
            motion: recipe.motion,
            at_once: 2,
            open: &open,
            stopped: &|| false,
        };
        pass.run(&steps, &mut blocks, |_, _| ()).unwrap();
        let sides = blocks.sides(&recipe);
        (opened.load(Ordering::Relaxed) - before, sides)
    };
    assert_eq!(build(&frames, chosen).0, 40);
    // The other blend is here already, and the same again costs nothing.
    let average = choices(&[], Thin::AsTaken, Blend::Average);
    assert_eq!(build(&frames, average).0, 0);
    frames[39].is_used = false;
    let (count, sides) = build(&frames, chosen);
    assert_eq!(
        (count, sides.frames_of_used, sides.frames_of_all),
        (7, 39, 40)
    );
}

#[test]
fn few_frames_are_in_memory_whatever_their_number() {
    // What is opened and not yet in the picture: the frame under way, its neighbour, one ahead.
    for count in [20, 80] {
        let frames = paused(count);
        let chosen = choices(
            &[Repair::Bridge, Repair::Paint],
            Thin::AsTaken,
            Blend::Brightest,
        );
        let recipe = recipe(&frames, chosen);
        let mut blocks = Blocks::new(piece());
        let steps = blocks.steps(&recipe, &[]);
        let done = Cell::new(0);
        let ahead = Cell::new(0);
        let open = |_| Ok(flat());
        let pass = Pass {
            piece: piece(),
            motion: recipe.motion,
            at_once: 2,
            open: &open,
            stopped: &|| false,
        };
        pass.run(&steps, &mut blocks, |blocks, opened| {
            done.set(opened);
            ahead.set(ahead.get().max(opened - blocks.frames_in()));
        })
        .unwrap();
        assert_eq!(done.get(), count);
        assert!(
            ahead.get() <= 3,
            "{} ahead of what is put together",
            ahead.get()
        );
    }
}

#[test]
fn what_does_not_open_is_left_out_and_stopping_keeps_whole_blocks() {
    let frames = paused(24);
    let chosen = choices(&[Repair::Bridge], Thin::AsTaken, Blend::Brightest);
    let recipe = recipe(&frames, chosen);
    let mut blocks = Blocks::new(piece());
    let opened = AtomicUsize::new(0);
    let open = |shot: usize| {
        opened.fetch_add(1, Ordering::Relaxed);
        match shot {
            3 => Err("damaged".to_owned()),
            5 => Ok(Colour {
                width: 2,
                height: 1,
                rgb: vec![[9; 3]; 2],
            }),
            _ => Ok(trailed(36.0 * shot as f64)),
        }
    };
    let stopped = || opened.load(Ordering::Relaxed) >= 12;
    let pass = Pass {
        piece: piece(),
        motion: recipe.motion,
        at_once: 1,
        open: &open,
        stopped: &stopped,
    };
    let steps = blocks.steps(&recipe, &[]);
    assert_eq!(pass.run(&steps, &mut blocks, |_, _| ()), Err(Stopped));
    let sides = blocks.sides(&recipe);
    assert_eq!(sides.frames_of_used, 6, "the first block, without two");
    let go_on = Pass {
        stopped: &|| false,
        ..pass
    };
    let steps = blocks.steps(&recipe, &[]);
    let left_out = go_on.run(&steps, &mut blocks, |_, _| ()).unwrap();
    assert_eq!(blocks.sides(&recipe).frames_of_used, 22);
    assert!(
        left_out.contains(&(3, "damaged".to_owned())),
        "{left_out:?}"
    );
}

#[test]
fn nothing_used_is_nothing() {
    let mut frames = paused(3);
    for frame in &mut frames {
        frame.is_used = false;
    }
    let chosen = choices(&[], Thin::AsTaken, Blend::Brightest);
    let sides = run(&recipe(&frames, chosen), |shot| {
        Ok(trailed(36.0 * shot as f64))
    });
    assert_eq!((sides.frames_of_all, sides.used), (3, None));
}
