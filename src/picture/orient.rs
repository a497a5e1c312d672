//! From the sensor to the display: Exif orientation for sizes, points, angles and pictures.
//!
//! All positions have the centre of the first px at (0, 0), y down; angles run anticlockwise from
//! image right. Source of the eight cases: Exif 2.32, tag 0x0112.

use crate::frame::Orientation;

/// How a frame of one size is turned for display.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// Sensor width, px.
    width: f64,
    /// Sensor height, px.
    height: f64,
    /// Whether rows become columns (5 to 8).
    swap: bool,
    /// Whether display x runs against the sensor axis it comes from.
    flip_x: bool,
    /// Whether display y runs against the sensor axis it comes from.
    flip_y: bool,
}

impl Turn {
    /// For a sensor of `width` × `height` px. Values other than 1 to 8 mean "as stored".
    #[must_use]
    pub fn new(orientation: Orientation, width: usize, height: usize) -> Self {
        let (swap, flip_x, flip_y) = match orientation.0 {
            2 => (false, true, false),
            3 => (false, true, true),
            4 => (false, false, true),
            5 => (true, false, false),
            6 => (true, true, false),
            7 => (true, true, true),
            8 => (true, false, true),
            _ => (false, false, false),
        };
        Self {
            width: width as f64,
            height: height as f64,
            swap,
            flip_x,
            flip_y,
        }
    }

    /// Width and height as displayed, px.
    #[must_use]
    pub const fn size(&self) -> (f64, f64) {
        if self.swap {
            (self.height, self.width)
        } else {
            (self.width, self.height)
        }
    }

    /// A point of the sensor as displayed.
    #[must_use]
    pub fn to_display(&self, x: f64, y: f64) -> (f64, f64) {
        let (width, height) = self.size();
        let (x, y) = if self.swap { (y, x) } else { (x, y) };
        (
            if self.flip_x { width - 1.0 - x } else { x },
            if self.flip_y { height - 1.0 - y } else { y },
        )
    }

    /// A point of the display on the sensor: the inverse of [`Self::to_display`].
    #[must_use]
    pub fn to_sensor(&self, x: f64, y: f64) -> (f64, f64) {
        let (width, height) = self.size();
        let x = if self.flip_x { width - 1.0 - x } else { x };
        let y = if self.flip_y { height - 1.0 - y } else { y };
        if self.swap { (y, x) } else { (x, y) }
    }

    /// A headless direction on the sensor as displayed, in [0, 180) degrees.
    #[must_use]
    pub fn angle_to_display(&self, angle_deg: f64) -> f64 {
        // Image y runs down, so an anticlockwise angle has −sin as its y.
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        let (x, y) = if self.swap { (-sin, cos) } else { (cos, -sin) };
        let x = if self.flip_x { -x } else { x };
        let y = if self.flip_y { -y } else { y };
        let turned = (-y).atan2(x).to_degrees().rem_euclid(180.0);
        // rem_euclid may round a tiny negative up to 180 itself.
        if turned >= 180.0 { 0.0 } else { turned }
    }

    /// A picture in sensor rows, turned: its width as displayed and its px.
    ///
    /// `px` is a piece of the frame of `width` px a row; the piece is turned by itself, so cut it
    /// out in sensor coordinates first.
    #[must_use]
    pub fn picture<T: Copy>(&self, width: usize, px: &[T]) -> (usize, Vec<T>) {
        if width == 0 || px.is_empty() {
            return (0, Vec::new());
        }
        let height = px.len() / width;
        let piece = Self {
            width: width as f64,
            height: height as f64,
            ..*self
        };
        let (out_width, out_height) = piece.size();
        let (out_width, out_height) = (out_width as usize, out_height as usize);
        let mut out = Vec::with_capacity(px.len());
        for y in 0..out_height {
            for x in 0..out_width {
                let (from_x, from_y) = piece.to_sensor(x as f64, y as f64);
                out.push(px[from_y as usize * width + from_x as usize]);
            }
        }
        (out_width, out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The letter F as Exif draws it in its eight cases, stored rows first.
    const UPRIGHT: &[u8] = b"####\
                             #...\
                             ###.\
                             #...\
                             #...";

    fn stored(orientation: u8) -> (usize, Vec<u8>) {
        let rows: &[&str] = match orientation {
            1 => &["####", "#...", "###.", "#...", "#..."],
            2 => &["####", "...#", ".###", "...#", "...#"],
            3 => &["...#", "...#", ".###", "...#", "####"],
            4 => &["#...", "#...", "###.", "#...", "####"],
            5 => &["#####", "#.#..", "#.#..", "#...."],
            6 => &["#....", "#.#..", "#.#..", "#####"],
            7 => &["....#", "..#.#", "..#.#", "#####"],
            _ => &["#####", "..#.#", "..#.#", "....#"],
        };
        (rows[0].len(), rows.concat().into_bytes())
    }

    #[test]
    fn every_orientation_shows_an_upright_f() {
        for orientation in 1..=8 {
            let (width, px) = stored(orientation);
            let turn = Turn::new(Orientation(orientation), width, px.len() / width);
            let (shown_width, shown) = turn.picture(width, &px);
            assert_eq!(shown_width, 4, "{orientation}");
            assert_eq!(shown, UPRIGHT, "{orientation}");
        }
    }

    #[test]
    fn points_and_angles_follow_the_picture() {
        for orientation in 1..=8 {
            let turn = Turn::new(Orientation(orientation), 600, 400);
            let (start, end) = ((120.0, 90.0), (123.0, 85.0));
            let (sx, sy) = turn.to_display(start.0, start.1);
            let (ex, ey) = turn.to_display(end.0, end.1);
            let on_sensor = f64::atan2(5.0, 3.0).to_degrees();
            let shown = (sy - ey).atan2(ex - sx).to_degrees().rem_euclid(180.0);
            let turned = turn.angle_to_display(on_sensor);
            assert!(
                (turned - shown).abs() < 1e-9,
                "{orientation}: {turned} {shown}"
            );
            let back = turn.to_sensor(sx, sy);
            assert!((back.0 - 120.0).abs() < 1e-12 && (back.1 - 90.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_level_trail_stays_in_range() {
        let turn = Turn::new(Orientation(3), 10, 10);
        assert!(turn.angle_to_display(0.0) < 180.0);
    }
}
