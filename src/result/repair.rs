//! Repairs of one frame in the result: streaks painted out, a sky levelled. The files stay as they
//! are.

use rayon::prelude::*;

use super::grid::Grid;
use super::motion::{Moved, Shift};
use super::piece::Piece;
use crate::frame::Colour;
use crate::picture::SkyStats;

/// Where a streak lies, sensor px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outline {
    /// One end.
    pub from: (f32, f32),
    /// The other end.
    pub to: (f32, f32),
    /// Width as measured, px.
    pub width_px: f32,
}

/// How much wider than measured a streak is painted out: its wings are below what is measured.
const WIDER: f32 = 1.5;
/// And this much more to either side, px.
const MARGIN_PX: f32 = 4.0;
/// And past either end, as a share of the length: lamps fade in and out.
const LONGER: f32 = 0.02;

impl Outline {
    fn half_width_px(&self) -> f32 {
        0.5 * WIDER * self.width_px + MARGIN_PX
    }

    /// Whether a point of the sensor is painted out.
    #[must_use]
    pub fn covers(&self, x: f32, y: f32) -> bool {
        let (dx, dy) = (self.to.0 - self.from.0, self.to.1 - self.from.1);
        let length = dx.hypot(dy);
        let (px, py) = (x - self.from.0, y - self.from.1);
        if length <= 0.0 {
            return px.hypot(py) <= self.half_width_px();
        }
        let along = (px * dx + py * dy) / length;
        let across = (px * dy - py * dx) / length;
        let past = (LONGER * length).max(self.half_width_px());
        across.abs() <= self.half_width_px() && along >= -past && along <= length + past
    }

    /// Rows of a picture it may touch.
    fn rows(&self, piece: &Piece) -> std::ops::Range<usize> {
        let reach = self.half_width_px() + LONGER * (self.to.1 - self.from.1).abs();
        let row = |y: f32| piece.from_sensor(0.0, f64::from(y)).1;
        let low = row(self.from.1.min(self.to.1) - reach).floor().max(0.0) as usize;
        let high = row(self.from.1.max(self.to.1) + reach).ceil() + 1.0;
        low..(high.max(0.0) as usize).min(piece.size().1)
    }
}

/// A frame before or after the one that is repaired.
#[derive(Debug, Clone, Copy)]
pub struct Neighbour<'a> {
    /// Its picture.
    pub picture: &'a Colour,
    /// What moves its sky to where it is in the repaired frame; without it places stay.
    pub shift: Option<&'a Shift>,
}

impl Neighbour<'_> {
    fn at(&self, x: usize, y: usize) -> Option<[u16; 3]> {
        let moved = self
            .shift
            .and_then(|shift| Moved::new(self.picture, shift).at(x, y));
        moved.or_else(|| self.picture.rgb.get(y * self.picture.width + x).copied())
    }
}

/// Fills what `outlines` cover with what the frames before and after have in common there: their
/// stars, moved to where they are in this frame, and the sky. With one neighbour, with that; with
/// none nothing is changed.
pub fn paint_out(
    picture: &mut Colour,
    piece: &Piece,
    outlines: &[Outline],
    neighbours: &[Neighbour<'_>],
) {
    if neighbours.is_empty() {
        return;
    }
    let width = picture.width;
    for outline in outlines {
        for y in outline.rows(piece) {
            for x in 0..width {
                let (sx, sy) = piece.to_sensor(x as f64, y as f64);
                if !outline.covers(sx as f32, sy as f32) {
                    continue;
                }
                let seen = neighbours.iter().filter_map(|near| near.at(x, y));
                let shared = seen.reduce(|a, b| [0, 1, 2].map(|c| a[c].min(b[c])));
                if let (Some(px), Some(shared)) = (picture.rgb.get_mut(y * width + x), shared) {
                    *px = shared;
                }
            }
        }
    }
}

/// What a frame's sky has over that of its neighbours.
#[derive(Debug, Clone, PartialEq)]
pub struct Excess {
    /// Green, fraction of full scale.
    pub green: Grid,
    /// Red and blue of what is added, over green, against the same of the frame's own sky: 1 is more
    /// of the same colour.
    pub hue: [f32; 2],
}

/// Takes `excess` off the sky. Stars stay as bright above it as they are: what cloud took from them
/// is not given back.
pub fn level(picture: &mut Colour, piece: &Piece, excess: &Excess) {
    let sky = SkyStats::of(picture).level;
    // Numbers of red and blue in the picture against green, as its sky has them.
    let share = |c: usize| if sky[1] > 0.0 { sky[c] / sky[1] } else { 1.0 };
    let by = [
        share(0) as f32 * excess.hue[0],
        1.0,
        share(2) as f32 * excess.hue[1],
    ];
    let width = picture.width.max(1);
    picture
        .rgb
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, row)| {
            for (x, px) in row.iter_mut().enumerate() {
                let (sx, sy) = piece.to_sensor(x as f64, y as f64);
                let over = 65_535.0 * excess.green.at(sx, sy);
                for (sample, by) in px.iter_mut().zip(by) {
                    *sample = (f32::from(*sample) - over * by + 0.5).clamp(0.0, 65_535.0) as u16;
                }
            }
        });
}

#[cfg(test)]
mod tests {
    use super::super::motion::tests::motion;
    use super::*;

    const SIZE: (usize, usize) = (400, 300);

    fn sky(level: u16) -> Colour {
        Colour {
            width: SIZE.0,
            height: SIZE.1,
            rgb: vec![[level; 3]; SIZE.0 * SIZE.1],
        }
    }

    /// Adds a star.
    fn star(picture: &mut Colour, (x, y): (f64, f64)) {
        let (cx, cy) = (x.round() as usize, y.round() as usize);
        for py in cy - 6..=cy + 6 {
            for px in cx - 6..=cx + 6 {
                let (dx, dy) = (px as f64 - x, py as f64 - y);
                let light = 20_000.0 * (-(dx * dx + dy * dy) / (2.0 * 1.3 * 1.3)).exp();
                for sample in &mut picture.rgb[py * SIZE.0 + px] {
                    *sample += light as u16;
                }
            }
        }
    }

    #[test]
    fn a_streak_goes_and_the_star_under_it_stays() {
        let piece = Piece::whole(SIZE.0, SIZE.1, 400);
        let motion = motion(SIZE);
        let at = (200.0, 150.0);
        let mut truth = sky(1000);
        star(&mut truth, at);
        let [before, after] = [-60.0, 60.0].map(|seconds| {
            let mut near = sky(1000);
            star(&mut near, motion.moved(at.0, at.1, seconds).unwrap());
            near
        });
        let outline = Outline {
            from: (20.0, 100.0),
            to: (380.0, 200.0),
            width_px: 3.0,
        };
        let mut lit = truth.clone();
        for y in 0..SIZE.1 {
            for x in 0..SIZE.0 {
                let across = (y as f32 - 100.0 - (x as f32 - 20.0) / 3.6).abs();
                if across < 2.0 && (20..=380).contains(&x) {
                    lit.rgb[y * SIZE.0 + x] = [40_000; 3];
                }
            }
        }
        let shifts = [60.0, -60.0].map(|seconds| motion.shift(&piece, seconds));
        let near = [
            Neighbour {
                picture: &before,
                shift: Some(&shifts[0]),
            },
            Neighbour {
                picture: &after,
                shift: Some(&shifts[1]),
            },
        ];
        paint_out(&mut lit, &piece, &[outline], &near);
        let worst = (lit.rgb.iter().zip(&truth.rgb))
            .map(|(a, b)| a[1].abs_diff(b[1]))
            .max()
            .unwrap();
        assert!(worst < 700, "3 % of the star: {worst}");
        assert!(lit.rgb[150 * SIZE.0 + 200][1] > 20_000);
    }

    #[test]
    fn without_neighbours_nothing_changes() {
        let mut picture = sky(7);
        let outline = Outline {
            from: (0.0, 0.0),
            to: (50.0, 50.0),
            width_px: 5.0,
        };
        paint_out(
            &mut picture,
            &Piece::whole(SIZE.0, SIZE.1, 400),
            &[outline],
            &[],
        );
        assert_eq!(picture, sky(7));
    }

    #[test]
    fn a_cloud_goes_and_a_star_keeps_its_light() {
        let piece = Piece::whole(SIZE.0, SIZE.1, 400);
        let mut clear = sky(2000);
        star(&mut clear, (300.0, 100.0));
        // A cloud that grows from left to right by 1000 steps, as two cells tell it.
        let mut cloudy = clear.clone();
        for (i, px) in cloudy.rgb.iter_mut().enumerate() {
            let x = (i % SIZE.0) as f64;
            let share = ((x - 100.0) / 200.0).clamp(0.0, 1.0);
            for sample in px {
                *sample += (1000.0 * share).round() as u16;
            }
        }
        let excess = Excess {
            green: Grid::new(2, 1, vec![0.0, 1000.0 / 65_535.0], SIZE),
            hue: [1.0; 2],
        };
        level(&mut cloudy, &piece, &excess);
        let worst = (cloudy.rgb.iter().zip(&clear.rgb))
            .map(|(a, b)| a[1].abs_diff(b[1]))
            .max()
            .unwrap();
        assert!(worst <= 4, "{worst}");
    }
}
