//! Sample for sample, against the formulas that `tests/reference/make_samples.py` wrote.

use super::reference;
use crate::frame::tone::srgb_to_linear;
use crate::frame::{Frame, GreenLayout, Light, OpenOptions, open, open_colour, read_facts};

const WIDTH: usize = 64;
const HEIGHT: usize = 48;

fn read(name: &str) -> Frame {
    read_with(name, &OpenOptions::default())
}

fn read_with(name: &str, options: &OpenOptions) -> Frame {
    let path = reference(&format!("samples/{name}"));
    let frame = open(&path, options).unwrap_or_else(|e| panic!("{e}"));
    let facts = read_facts(&path, options).unwrap();
    assert_eq!(
        facts, frame.facts,
        "{name}: facts alone must read as facts with samples"
    );
    let colour = open_colour(&path, options).unwrap();
    let size = (frame.samples.green.width(), frame.samples.green.height());
    assert_eq!((colour.width, colour.height), size, "{name}");
    assert_eq!(
        (facts.width_px as usize, facts.height_px as usize),
        size,
        "{name}"
    );
    frame
}

fn deep(x: usize, y: usize) -> f64 {
    ((x * 997 + y * 1303) % 65_536) as f64 / 65_535.0
}

fn shallow(x: usize, y: usize) -> f64 {
    ((x * 7 + y * 11) % 256) as f64 / 255.0
}

/// Every sample of `frame` is what `level` says, to a third of a 16-bit step.
fn holds(name: &str, frame: &Frame, light: Light, level: impl Fn(usize, usize) -> f64) {
    assert_eq!(frame.samples.light, light, "{name}");
    assert_eq!(frame.samples.layout, GreenLayout::Every, "{name}");
    for y in 0..frame.samples.green.height() {
        for x in 0..frame.samples.green.width() {
            let stored = level(x, y);
            let want = if light == Light::Linear {
                stored
            } else {
                srgb_to_linear(stored)
            };
            let got = f64::from(frame.samples.green.get(x, y).unwrap());
            assert!(
                (got - want).abs() < 5e-6,
                "{name} at {x}, {y}: {got}, not {want}"
            );
        }
    }
}

#[test]
fn jpeg_decodes_as_libjpeg_does() {
    for name in ["full-chroma", "half-chroma", "progressive", "grey"] {
        let frame = read(&format!("{name}.jpg"));
        assert_eq!(frame.samples.light, Light::ToneMapped);
        let green = std::fs::read(reference(&format!("samples/{name}.green"))).unwrap();
        let worst = frame
            .samples
            .green
            .data()
            .iter()
            .zip(green)
            .map(|(got, theirs)| {
                // Back to the 8-bit level that was decoded.
                let level = (0..256).min_by(|a, b| {
                    let off = |l: i32| (srgb_to_linear(f64::from(l) / 255.0) as f32 - got).abs();
                    off(*a).total_cmp(&off(*b))
                });
                (level.unwrap() - i32::from(theirs)).abs()
            });
        // Decoders may round the transform differently, and spread halved chroma differently.
        let allowed = if name == "half-chroma" { 4 } else { 2 };
        assert!(worst.max().unwrap() <= allowed, "{name}");
    }
}

#[test]
fn png_of_every_kind() {
    let tone = Light::ToneMapped;
    holds("rgb8", &read("rgb8.png"), tone, |x, y| 1.0 - shallow(x, y));
    holds("grey8", &read("grey8.png"), tone, shallow);
    holds("grey16", &read("grey16.png"), Light::Linear, deep);
    holds("rgb16", &read("rgb16.png"), tone, |x, y| 1.0 - deep(x, y));
    holds(
        "rgb16 gAMA 1",
        &read("rgb16-linear.png"),
        Light::Linear,
        |x, y| 1.0 - deep(x, y),
    );
    holds("grey16 sRGB", &read("grey16-srgb.png"), tone, deep);
    holds("grey16 ICC", &read("grey16-gamma22.png"), tone, deep);
}

#[test]
fn tiff_of_every_kind() {
    let (tone, linear) = (Light::ToneMapped, Light::Linear);
    let inverse = |x, y| 1.0 - deep(x, y);
    holds("rgb8", &read("rgb8.tif"), tone, |x, y| 1.0 - shallow(x, y));
    holds("rgb16", &read("rgb16.tif"), tone, inverse);
    for name in [
        "grey16",
        "grey16-big-endian",
        "grey16-white-is-zero",
        "bigtiff",
        "grey32",
    ] {
        holds(name, &read(&format!("{name}.tif")), linear, deep);
    }
    for name in ["float", "float-16-bit-numbers"] {
        let frame = read(&format!("{name}.tif"));
        holds(name, &frame, linear, deep);
        assert_eq!(frame.samples.step, 0.0);
    }
    holds("grey16 ICC", &read("grey16-gamma22.tif"), tone, deep);
    for name in ["rgb16-linear", "rgb16-planes", "rgb16-tiles"] {
        holds(name, &read(&format!("{name}.tif")), linear, inverse);
    }
}

#[test]
fn the_users_word_on_light_wins() {
    let say = |linear| OpenOptions {
        linear: Some(linear),
        ..OpenOptions::default()
    };
    holds(
        "said",
        &read_with("rgb16.tif", &say(true)),
        Light::Linear,
        |x, y| 1.0 - deep(x, y),
    );
    holds(
        "said",
        &read_with("grey16.png", &say(false)),
        Light::ToneMapped,
        deep,
    );
}

#[test]
fn colours_are_all_three_in_order() {
    for name in [
        "rgb16-linear.png",
        "rgb16-planes.tif",
        "planes.fits",
        "linear.dng",
    ] {
        let path = reference(&format!("samples/{name}"));
        let colour = open_colour(&path, &OpenOptions::default()).unwrap();
        let red = (3 * 997 + 2 * 1303) as u16;
        let [r, g, b] = colour.rgb[2 * WIDTH + 3];
        let want = [red, 65_535 - red, red / 2];
        for (got, want) in [r, g, b].into_iter().zip(want) {
            assert!(
                got.abs_diff(want) <= 1,
                "{name}: {:?}, not {want:?}",
                colour.rgb[2 * WIDTH + 3]
            );
        }
    }
}

#[test]
fn fits_of_every_kind() {
    let linear = Light::Linear;
    holds("u16", &read("u16.fits"), linear, deep);
    holds("extension", &read("extension.fits"), linear, deep);
    holds("u8", &read("u8.fits"), linear, shallow);
    holds("f32", &read("f32.fits"), linear, deep);
    holds("planes", &read("planes.fits"), linear, |x, y| {
        1.0 - deep(x, y)
    });
    let halved = |x, y| (deep(x, y) * 65_535.0 / 2.0).floor() / 32_767.0;
    holds("i16", &read("i16.fits"), linear, halved);
    let wide = |x, y| deep(x, y) * 65_535.0 * 32_768.0 / 2_147_483_647.0;
    holds("i32", &read("i32.fits"), linear, wide);
    holds("bottom up", &read("u16-bottom-up.fits"), linear, |x, y| {
        deep(x, HEIGHT - 1 - y)
    });
    let gaps = |x, y| if (x, y) == (7, 5) { 0.0 } else { deep(x, y) };
    holds("gaps", &read("f64-gaps.fits"), linear, gaps);
}

#[test]
fn fits_facts() {
    let facts = read("u16.fits").facts;
    assert_eq!(
        facts.taken_at.unwrap().iso8601(),
        "2026-03-01T21:04:05.25+00:00"
    );
    assert_eq!(facts.exposure_s, Some(30.0));
    assert_eq!(facts.focal_length_mm, Some(135.0));
    assert_eq!(facts.f_number, Some(2.0));
    assert_eq!(facts.pixel_um, Some(3.76));
    assert_eq!(facts.camera.as_deref(), Some("A camera"));
    assert_eq!(
        facts.gps.map(|g| (g.latitude_deg, g.longitude_deg)),
        Some((47.25, 12.5))
    );
}

#[test]
fn a_fits_mosaic_keeps_its_true_greens_in_either_row_order() {
    for (name, row_of) in [
        ("bayer.fits", (|y| y) as fn(usize) -> usize),
        ("bayer-bottom-up.fits", |y| HEIGHT - 1 - y),
    ] {
        let frame = read(name);
        for y in 0..HEIGHT {
            for x in 0..WIDTH {
                // Red at even, even; blue at odd, odd of the stored rows.
                let green = (x + row_of(y)) % 2 == 1;
                assert_eq!(
                    frame.samples.layout.is_green(x, y),
                    green,
                    "{name} {x}, {y}"
                );
                if green {
                    let got = f64::from(frame.samples.green.get(x, y).unwrap());
                    assert!((got - deep(x, row_of(y))).abs() < 1e-6);
                }
            }
        }
        assert!((frame.samples.step - 1.0 / 65_535.0).abs() < 1e-9);
    }
}

/// The stored number at (`x`, `y`) of the whole mosaic, borders and all.
fn stored(x: usize, y: usize) -> f64 {
    ((x * 13 + y * 17 + 3900) % 4096) as f64
}

#[test]
fn a_dng_mosaic_with_borders_and_four_black_levels() {
    // The active area begins at (5, 3) of the file, the crop at (3, 1) of the active area.
    for (name, (dx, dy), (width, height)) in [
        ("active-area.dng", (0, 0), (64, 48)),
        ("crop.dng", (3, 1), (58, 45)),
    ] {
        let samples = read(name).samples;
        assert_eq!(
            (samples.green.width(), samples.green.height()),
            (width, height)
        );
        assert_eq!(samples.light, Light::Linear);
        for y in 0..height {
            for x in 0..width {
                // Place in the active area, where RGGB and the black levels begin.
                let (ax, ay) = (x + dx, y + dy);
                let green = (ax + ay) % 2 == 1;
                assert_eq!(samples.layout.is_green(x, y), green, "{name} {x}, {y}");
                if green {
                    let black = if ay % 2 == 0 { 110.0 } else { 120.0 };
                    let want = (stored(ax + 5, ay + 3) - black) / (4000.0 - black);
                    let got = f64::from(samples.green.get(x, y).unwrap());
                    assert!(
                        (got - want).abs() < 1e-6,
                        "{name} at {x}, {y}: {got}, not {want}"
                    );
                }
            }
        }
        assert!(
            samples.green.data().iter().any(|level| *level < 0.0),
            "below black is kept"
        );
        assert!(samples.clip_level < 1.0 && samples.clip_level > 0.999);
        assert!((samples.step - 1.0 / (4000.0 - 115.0)).abs() < 1e-8);
    }
}

#[test]
fn dng_facts() {
    let facts = read("crop.dng").facts;
    assert_eq!(facts.taken_at.unwrap().iso8601(), "2026-03-01T21:04:05.25");
    assert_eq!(facts.exposure_s, Some(30.0));
    assert_eq!(facts.iso, Some(1600));
    assert_eq!(facts.camera.as_deref(), Some("Example One"));
    assert!((facts.pixel_um.unwrap() - 4.0).abs() < 1e-9);
}

#[test]
fn dng_without_a_mosaic() {
    let mono = read("mono.dng");
    holds("mono", &mono, Light::Linear, |x, y| {
        (deep(x, y) * 65_535.0 - 1000.0) / 59_000.0
    });
    holds("linear", &read("linear.dng"), Light::Linear, |x, y| {
        1.0 - deep(x, y)
    });
}

#[test]
fn numbers_of_linear_integer_files_have_a_unit() {
    let full = |name: &str| read(name).samples.dn_full_scale();
    let near = |got: Option<f64>, want: f64| (got.unwrap() / want - 1.0).abs() < 1e-6;
    assert!(near(full("grey16.tif"), 65_535.0));
    assert!(near(full("u16.fits"), 65_535.0));
    // Through a tone curve, or as floats, they have none.
    assert_eq!(full("rgb8.tif"), None);
    assert_eq!(full("grey.jpg"), None);
    assert_eq!(full("float.tif"), None);
}
