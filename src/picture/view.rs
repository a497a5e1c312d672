//! What a window of any size shows of a frame: the visible part at the zoom asked for.

use rayon::prelude::*;

use super::orient::Turn;
use super::stretch::Stretch;
use crate::frame::Colour;

/// An 8-bit picture in display orientation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rgba {
    /// Width in px.
    pub width: usize,
    /// Height in px.
    pub height: usize,
    /// Row order.
    pub px: Vec<[u8; 4]>,
}

/// A rectangle of the frame in sensor px, and how many screen px one of them gets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// Left edge, sensor px from the first px's outer edge.
    pub left: usize,
    /// Top edge.
    pub top: usize,
    /// Width in sensor px.
    pub width: usize,
    /// Height in sensor px.
    pub height: usize,
    /// Output px per sensor px, at most 1: larger zooms are left to the screen, which repeats px.
    pub zoom: f64,
}

impl View {
    /// All of a frame, no wider or higher than the given number of px.
    #[must_use]
    pub fn fit(width: usize, height: usize, max_width: usize, max_height: usize) -> Self {
        let zoom = (max_width as f64 / width.max(1) as f64)
            .min(max_height as f64 / height.max(1) as f64)
            .min(1.0);
        Self {
            left: 0,
            top: 0,
            width,
            height,
            zoom,
        }
    }

    /// This view cut to a frame of `width` × `height`.
    #[must_use]
    pub fn within(self, width: usize, height: usize) -> Self {
        let left = self.left.min(width);
        let top = self.top.min(height);
        Self {
            left,
            top,
            width: self.width.min(width - left),
            height: self.height.min(height - top),
            ..self
        }
    }
}

/// The part of `colour` that `view` asks for, stretched and turned. `colour` may be a reduced
/// copy: one of its px spans `scale` sensor px.
///
/// Below 1:1 an output px is half the mean and half the brightest px of the area it covers. The
/// mean alone dims a star that is narrower than the area until it drowns; the brightest alone
/// lifts the sky by its noise. Half of each keeps stars and trails in sight at Fit.
#[must_use]
pub fn render(colour: &Colour, scale: f64, view: View, stretch: &Stretch, turn: &Turn) -> Rgba {
    let part = Part::of(colour, scale, view);
    let mut px = vec![[0u8; 4]; part.out_width * part.out_height];
    px.par_chunks_mut(part.out_width.max(1))
        .enumerate()
        .for_each(|(row, out)| {
            for (column, px) in out.iter_mut().enumerate() {
                *px = stretch.px(part.sample(colour, column, row));
            }
        });
    let (width, px) = turn.picture(part.out_width, &px);
    let height = px.len().checked_div(width).unwrap_or(0);
    Rgba { width, height, px }
}

/// Which px of the source an output of which size is made from.
struct Part {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
    out_width: usize,
    out_height: usize,
}

impl Part {
    fn of(colour: &Colour, scale: f64, view: View) -> Self {
        let scale = scale.max(1.0);
        let down = |edge: usize| (edge as f64 / scale).floor() as usize;
        let up = |edge: usize| (edge as f64 / scale).ceil() as usize;
        let left = down(view.left).min(colour.width);
        let top = down(view.top).min(colour.height);
        let width = up(view.left + view.width).min(colour.width) - left;
        let height = up(view.top + view.height).min(colour.height) - top;
        // Never more output px than there are in the source: the screen enlarges as well.
        let zoom = (view.zoom * scale).min(1.0);
        let size = |side: usize| ((side as f64 * zoom).round() as usize).min(side);
        let least = |side: usize| size(side).max(usize::from(side > 0));
        Self {
            left,
            top,
            width,
            height,
            out_width: least(width),
            out_height: least(height),
        }
    }

    fn sample(&self, colour: &Colour, column: usize, row: usize) -> [u16; 3] {
        let x0 = self.left + column * self.width / self.out_width;
        let x1 = self.left + (column + 1) * self.width / self.out_width;
        let y0 = self.top + row * self.height / self.out_height;
        let y1 = self.top + (row + 1) * self.height / self.out_height;
        if x1 - x0 == 1 && y1 - y0 == 1 {
            return colour.rgb[y0 * colour.width + x0];
        }
        let (mut sum, mut brightest, mut peak) = ([0u64; 3], [0u16; 3], 0u32);
        for y in y0..y1 {
            for px in &colour.rgb[y * colour.width + x0..y * colour.width + x1] {
                let bright = u32::from(px[0]) + 2 * u32::from(px[1]) + u32::from(px[2]);
                if bright >= peak {
                    (peak, brightest) = (bright, *px);
                }
                for (total, &sample) in sum.iter_mut().zip(px) {
                    *total += u64::from(sample);
                }
            }
        }
        let count = ((x1 - x0) * (y1 - y0)) as u64;
        let mut mixed = [0u16; 3];
        for c in 0..3 {
            mixed[c] = u64::midpoint(sum[c] / count, u64::from(brightest[c])) as u16;
        }
        mixed
    }
}

#[cfg(test)]
mod tests {
    use super::super::stretch::SkyStats;
    use super::*;
    use crate::frame::Orientation;

    fn sky(width: usize, height: usize) -> Colour {
        Colour {
            width,
            height,
            rgb: vec![[6_000; 3]; width * height],
        }
    }

    fn stretch() -> Stretch {
        Stretch::new(SkyStats {
            level: [6_000.0 / 65_535.0; 3],
            noise: 0.003,
        })
    }

    #[test]
    fn a_lone_star_survives_fit() {
        let mut colour = sky(1200, 800);
        colour.rgb[400 * 1200 + 600] = [40_000; 3];
        let turn = Turn::new(Orientation(1), 1200, 800);
        let shown = render(
            &colour,
            1.0,
            View::fit(1200, 800, 120, 200),
            &stretch(),
            &turn,
        );
        assert_eq!((shown.width, shown.height), (120, 80));
        let star = shown.px[40 * 120 + 60][1];
        assert!(star > shown.px[0][1] + 60, "{star} over {}", shown.px[0][1]);
    }

    #[test]
    fn one_to_one_is_the_frames_own_px_turned() {
        let mut colour = sky(40, 20);
        colour.rgb[5 * 40 + 30] = [65_535; 3];
        let view = View {
            left: 28,
            top: 4,
            width: 6,
            height: 3,
            zoom: 1.0,
        };
        let plain = render(
            &colour,
            1.0,
            view,
            &stretch(),
            &Turn::new(Orientation(1), 40, 20),
        );
        assert_eq!((plain.width, plain.height), (6, 3));
        assert!(plain.px[6 + 2][0] > 250);
        // A quarter turn clockwise: sensor (2, 1) of 6 x 3 is shown at (3 - 1 - 1, 2).
        let turned = render(
            &colour,
            1.0,
            view,
            &stretch(),
            &Turn::new(Orientation(6), 40, 20),
        );
        assert_eq!((turned.width, turned.height), (3, 6));
        assert!(turned.px[2 * 3 + 1][0] > 250);
    }

    #[test]
    fn a_reduced_copy_stands_in_for_the_frame() {
        let colour = sky(500, 333);
        let view = View::fit(1500, 1000, 250, 250);
        let turn = Turn::new(Orientation(1), 1500, 1000);
        let shown = render(&colour, 3.0, view, &stretch(), &turn);
        assert_eq!((shown.width, shown.height), (250, 167));
    }

    #[test]
    fn a_view_past_the_edge_is_cut_and_nothing_is_nothing() {
        let view = View {
            left: 90,
            top: 500,
            width: 50,
            height: 50,
            zoom: 0.5,
        };
        let cut = view.within(100, 60);
        assert_eq!((cut.left, cut.width, cut.top, cut.height), (90, 10, 60, 0));
        let turn = Turn::new(Orientation(1), 100, 60);
        let shown = render(&sky(100, 60), 1.0, cut, &stretch(), &turn);
        assert!(shown.px.is_empty());
    }
}
