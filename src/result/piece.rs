//! Which part of the frames a picture shows, and how much smaller.

use crate::frame::Colour;
use crate::picture::reduce_by;

/// A rectangle of the sensor, shown by the mean of squares of `factor` × `factor` px.
///
/// The whole frame made small is quick to put together; a part at full size is what 1:1 needs, and
/// neither grows with the megapixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    /// First column, sensor px.
    pub left: usize,
    /// First row.
    pub top: usize,
    /// Width, sensor px.
    pub width: usize,
    /// Height, sensor px.
    pub height: usize,
    /// Sensor px to a side of one px of the picture, at least 1.
    pub factor: usize,
}

impl Piece {
    /// All of a frame of `width` × `height` px, its longer side at most `most` px in the picture.
    #[must_use]
    pub fn whole(width: usize, height: usize, most: usize) -> Self {
        Self {
            left: 0,
            top: 0,
            width,
            height,
            factor: width.max(height).div_ceil(most.max(1)).max(1),
        }
    }

    /// Full size about a point of the sensor, `width` × `height` px as far as the frame has them.
    #[must_use]
    pub fn about(frame: (usize, usize), centre: (f64, f64), width: usize, height: usize) -> Self {
        let (width, height) = (width.min(frame.0), height.min(frame.1));
        let first = |centre: f64, side: usize, all: usize| {
            ((centre - side as f64 / 2.0).max(0.0) as usize).min(all - side)
        };
        Self {
            left: first(centre.0, width, frame.0),
            top: first(centre.1, height, frame.1),
            width,
            height,
            factor: 1,
        }
    }

    /// Width and height of the picture, px.
    #[must_use]
    pub const fn size(&self) -> (usize, usize) {
        (
            self.width.div_ceil(self.factor),
            self.height.div_ceil(self.factor),
        )
    }

    /// Px of the picture.
    #[must_use]
    pub const fn area(&self) -> usize {
        let (width, height) = self.size();
        width * height
    }

    /// Whether a point of the sensor lies in it.
    #[must_use]
    pub fn holds(&self, x: f64, y: f64) -> bool {
        let within =
            |at: f64, first: usize, side: usize| at >= first as f64 && at < (first + side) as f64;
        within(x, self.left, self.width) && within(y, self.top, self.height)
    }

    /// Its part of a frame: `None` when the frame is smaller than that.
    #[must_use]
    pub fn of(&self, frame: Colour) -> Option<Colour> {
        let (right, bottom) = (self.left + self.width, self.top + self.height);
        if right > frame.width || bottom > frame.height {
            return None;
        }
        let cut = if (self.width, self.height) == (frame.width, frame.height) {
            frame
        } else {
            let rows = frame.rgb.chunks_exact(frame.width);
            let rows = rows.skip(self.top).take(self.height);
            Colour {
                width: self.width,
                height: self.height,
                rgb: rows
                    .filter_map(|row| row.get(self.left..right))
                    .flatten()
                    .copied()
                    .collect(),
            }
        };
        Some(if self.factor == 1 {
            cut
        } else {
            reduce_by(&cut, self.factor)
        })
    }

    /// Where the centre of a px of the picture lies on the sensor; the first px's is (0, 0) in both.
    #[must_use]
    pub fn to_sensor(&self, x: f64, y: f64) -> (f64, f64) {
        let along = |at: f64, first: usize| (at + 0.5) * self.factor as f64 - 0.5 + first as f64;
        (along(x, self.left), along(y, self.top))
    }

    /// The inverse of [`Self::to_sensor`].
    #[must_use]
    pub fn from_sensor(&self, x: f64, y: f64) -> (f64, f64) {
        let along = |at: f64, first: usize| (at - first as f64 + 0.5) / self.factor as f64 - 0.5;
        (along(x, self.left), along(y, self.top))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp() -> Colour {
        let px = |i: usize| [(i % 6) as u16 * 10, (i / 6) as u16 * 10, 0];
        Colour {
            width: 6,
            height: 4,
            rgb: (0..24).map(px).collect(),
        }
    }

    #[test]
    fn a_part_is_cut_and_the_whole_is_reduced() {
        let part = Piece::about((6, 4), (5.0, 3.0), 3, 2);
        assert_eq!((part.left, part.top, part.size()), (3, 2, (3, 2)));
        assert_eq!(part.of(ramp()).unwrap().rgb[4], [40, 30, 0]);
        let whole = Piece::whole(6, 4, 3);
        assert_eq!((whole.factor, whole.size()), (2, (3, 2)));
        assert_eq!(whole.of(ramp()).unwrap().rgb[0], [5, 5, 0]);
        assert_eq!(Piece::whole(7, 4, 9).of(ramp()), None);
    }

    #[test]
    fn places_go_both_ways() {
        let whole = Piece::whole(600, 400, 200);
        // The middle of the first square of 3 × 3 px.
        assert_eq!(whole.to_sensor(0.0, 0.0), (1.0, 1.0));
        assert_eq!(whole.from_sensor(1.0, 4.0), (0.0, 1.0));
        let part = Piece::about((600, 400), (300.0, 200.0), 100, 100);
        assert_eq!(part.from_sensor(250.0, 150.0), (0.0, 0.0));
        assert!(part.holds(349.9, 150.0) && !part.holds(350.0, 150.0));
    }
}
