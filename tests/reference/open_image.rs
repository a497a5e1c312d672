//! An open real image against what sep 1.4.1, photutils 3.0.0 and scipy 1.17.1 say of it.
//!
//! `open_image/make.py` says where the image is from and made the table beside it.

use std::path::Path;

use nightloupe::frame::{self, OpenOptions};
use nightloupe::measure::{FrameMeasure, Scratch, Star, measure};

const TABLE: &str = include_str!("open_image/table.csv");

/// The two pixels that tell the scale, x and y.
const PIXELS: [(u8, u8); 2] = [(0, 0), (232, 73)];

/// What the image says by our own measuring, and its values from our levels: offset and scale.
struct Ours {
    frame: FrameMeasure,
    offset: f64,
    scale: f64,
}

fn ours() -> Ours {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/reference/open_image/sky.fits"
    );
    let samples = frame::open(Path::new(path), &OpenOptions::default())
        .unwrap()
        .samples;
    let pixels: Vec<(f64, f64)> = rows("pixel")
        .zip(PIXELS)
        .map(|(row, (x, y))| {
            let off = (row[0] - f64::from(x)).abs() + (row[1] - f64::from(y)).abs();
            assert!(off < 0.5, "the table's pixel is another");
            let level = samples.green.get(x.into(), y.into()).unwrap();
            (f64::from(level), row[2])
        })
        .collect();
    let scale = (pixels[1].1 - pixels[0].1) / (pixels[1].0 - pixels[0].0);
    Ours {
        frame: measure(&samples, &mut Scratch::default()),
        offset: pixels[0].1 - scale * pixels[0].0,
        scale,
    }
}

fn rows(kind: &'static str) -> impl Iterator<Item = Vec<f64>> {
    TABLE.lines().filter_map(move |line| {
        let values = line.strip_prefix(kind)?.strip_prefix(',')?;
        Some(values.split(',').map(|v| v.parse().unwrap()).collect())
    })
}

fn nearest(stars: &[Star], x: f64, y: f64) -> Option<(&Star, f64)> {
    stars
        .iter()
        .map(|s| (s, (f64::from(s.x_px) - x).hypot(f64::from(s.y_px) - y)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

#[test]
fn sky_and_noise_agree() {
    let ours = ours();
    let sky = rows("sky").next().unwrap();
    let level = ours.offset + ours.scale * ours.frame.sky.level_pct / 100.0;
    // Of a sky with a slope one takes the mean and the other the median: a twentieth of the noise.
    assert!((level - sky[0]).abs() < 0.05 * sky[1], "{level}");
    let noise = ours.scale * ours.frame.noise_pct.unwrap() / 100.0;
    assert!((noise / sky[1] - 1.0).abs() < 0.015, "{noise}");
}

#[test]
fn what_the_other_finds_alone_and_whole_is_found() {
    let ours = ours();
    let mut looked_at = 0;
    for row in rows("object") {
        let inside = |v: f64| (8.0..247.0).contains(&v);
        if row[2] == 0.0 && inside(row[0]) && inside(row[1]) {
            // Isophotal places of faint lopsided galaxies differ by some tenths.
            let (_, off) = nearest(&ours.frame.stars, row[0], row[1]).unwrap();
            assert!(off < 0.5, "{row:?}: {off}");
            looked_at += 1;
        }
    }
    assert!(looked_at >= 18, "{looked_at}");
}

#[test]
fn places_and_second_moments_agree() {
    let ours = ours();
    for row in rows("star") {
        let [windowed_x, windowed_y, _, x, y, xx, xy, yy] = row[..] else {
            panic!("eight columns")
        };
        // A least-squares Gaussian is what our moments settle at: a hundredth of a pixel, where
        // the one has a free level and the other a mesh.
        let (star, off) = nearest(&ours.frame.stars, x, y).unwrap();
        assert!(off < 0.01, "{row:?}: {off}");
        // A narrower round window sees less of what is lopsided.
        let (_, off) = nearest(&ours.frame.stars, windowed_x, windowed_y).unwrap();
        assert!(off < 0.12, "{row:?}: {off}");
        let (mean, half) = (0.5 * (xx + yy), (0.5 * (xx - yy)).hypot(xy));
        let elongation = ((mean + half) / (mean - half)).sqrt();
        let ratio = f64::from(star.elongation) / elongation;
        assert!((ratio - 1.0).abs() < 0.02, "{row:?}: {ratio}");
    }
}

#[test]
fn flux_and_width_of_points_of_light_agree() {
    let ours = ours();
    for row in rows("width") {
        let (star, off) = nearest(&ours.frame.stars, row[0], row[1]).unwrap();
        assert!(off < 0.05, "{off}");
        let flux = rows("star")
            .find(|s| (s[0] - row[0]).hypot(s[1] - row[1]) < 1.0)
            .unwrap()[2];
        // The aperture leaves out a hundredth of the light.
        let ratio = ours.scale * f64::from(star.flux) / flux;
        assert!((ratio - 1.0).abs() < 0.015, "{ratio}");
        // The lens's profile is learned from all that is there, and half of it is galaxies, whose
        // wings make a point of light read a few parts in a hundred narrow; what the two fits differ
        // by among themselves is as large.
        for width in &row[2..] {
            let ratio = f64::from(star.fwhm_px) / width;
            assert!((0.92..1.04).contains(&ratio), "{ratio}");
        }
    }
}
