//! Long lines that are no stars: aircraft, satellites, meteors.
//!
//! First form: a streak is an object much longer than the frame's other objects and many times
//! longer than wide. Pieces on one line that a bright star or a gap parts are joined. Lines too
//! faint to make objects are not found.

use super::background::Mesh;
use super::blobs::Blob;
use super::types::Streak;
use crate::base::robust::quantile;
use crate::frame::Samples;

/// Least length of a streak, px.
const LEAST_LENGTH: f64 = 40.0;

/// Least length over width.
const LEAST_ASPECT: f64 = 5.0;

/// Pieces are joined over gaps up to this share of the longer one.
const GAP_SHARE: f64 = 0.5;

/// A straight piece with its ends.
#[derive(Debug, Clone, Copy)]
struct Piece {
    from: (f64, f64),
    to: (f64, f64),
    width: f64,
}

impl Piece {
    fn of(blob: &Blob) -> Self {
        let m = blob.moments;
        let angle = 0.5 * (2.0 * m.xy).atan2(m.xx - m.yy);
        let half = 0.5 * blob.length();
        let (dx, dy) = (half * angle.cos(), half * angle.sin());
        Self {
            from: (blob.x - dx, blob.y - dy),
            to: (blob.x + dx, blob.y + dy),
            width: blob.width(),
        }
    }

    fn length(&self) -> f64 {
        distance(self.from, self.to)
    }

    /// The line through both, from end to end, when they lie on one.
    fn joined(&self, other: &Self) -> Option<Self> {
        let ends = [self.from, self.to, other.from, other.to];
        let (mut from, mut to) = (self.from, self.to);
        for a in ends {
            for b in ends {
                if distance(a, b) > distance(from, to) {
                    (from, to) = (a, b);
                }
            }
        }
        let whole = distance(from, to);
        let gap = whole - self.length() - other.length();
        let off = ends
            .map(|end| off_line(end, from, to))
            .into_iter()
            .fold(0.0, f64::max);
        let near = gap <= GAP_SHARE * self.length().max(other.length());
        (near && off <= 2.0 + self.width.max(other.width)).then_some(Self {
            from,
            to,
            width: self.width.max(other.width),
        })
    }
}

fn distance(a: (f64, f64), b: (f64, f64)) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

fn off_line(p: (f64, f64), from: (f64, f64), to: (f64, f64)) -> f64 {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    ((p.0 - from.0) * dy - (p.1 - from.1) * dx).abs() / dx.hypot(dy).max(1e-9)
}

/// Takes the streaks' blobs out of `blobs`, and gives the streaks, longest first.
///
/// Long objects on tiles that are not sky (`is_sky`) are roofs and ridges: taken out, not given.
pub(super) fn take_streaks(
    blobs: &mut Vec<Blob>,
    samples: &Samples,
    mesh: &Mesh,
    is_sky: &[bool],
) -> Vec<Streak> {
    let mut lengths: Vec<f64> = blobs.iter().map(Blob::length).collect();
    // Where nine in ten are long, being long is the stars' way.
    let usual = if lengths.len() >= 10 {
        quantile(&mut lengths, 0.9).unwrap_or(0.0)
    } else {
        0.0
    };
    let least = LEAST_LENGTH.max(2.0 * usual);
    let is_piece =
        |blob: &Blob| blob.length() >= least && blob.length() >= LEAST_ASPECT * blob.width();
    let in_sky = |blob: &&Blob| {
        let tile = mesh.tile_at(blob.x, blob.y);
        is_sky.get(tile).copied().unwrap_or(true)
    };
    let mut pieces: Vec<Piece> = blobs
        .iter()
        .filter(|b| is_piece(b))
        .filter(in_sky)
        .map(Piece::of)
        .collect();
    blobs.retain(|blob| !is_piece(blob));
    pieces.sort_by(|a, b| b.length().total_cmp(&a.length()));
    let whole = join_pieces(pieces);
    // What else lies along a streak is a part of it, unless it stands well out of it as a star.
    blobs.retain(|blob| {
        !whole.iter().any(|w| {
            let along = distance((blob.x, blob.y), w.from) + distance((blob.x, blob.y), w.to);
            along <= w.length() + 2.0
                && blob.width() <= w.width
                && off_line((blob.x, blob.y), w.from, w.to) <= 0.5 * w.width
        })
    });
    whole
        .iter()
        .map(|piece| finish(piece, samples, mesh))
        .collect()
}

/// Joins what lies on one line until nothing more joins; longest first.
fn join_pieces(mut pieces: Vec<Piece>) -> Vec<Piece> {
    loop {
        let mut whole: Vec<Piece> = Vec::new();
        let before = pieces.len();
        for piece in pieces {
            let partner = whole
                .iter_mut()
                .find_map(|w| w.joined(&piece).map(|joined| (w, joined)));
            match partner {
                Some((slot, joined)) => *slot = joined,
                None => whole.push(piece),
            }
        }
        whole.sort_by(|a, b| b.length().total_cmp(&a.length()));
        if whole.len() == before {
            return whole;
        }
        pieces = whole;
    }
}

fn finish(piece: &Piece, samples: &Samples, mesh: &Mesh) -> Streak {
    let steps = piece.length().ceil().max(1.0) as usize;
    let (mut sum, mut count) = (0.0, 0.0);
    for i in 0..=steps {
        let part = i as f64 / steps as f64;
        let x = piece.from.0 + part * (piece.to.0 - piece.from.0);
        let y = piece.from.1 + part * (piece.to.1 - piece.from.1);
        if x < 0.0 || y < 0.0 {
            continue;
        }
        let value = samples.green.get(x.round() as usize, y.round() as usize);
        if let Some(value) = value.filter(|v| v.is_finite()) {
            sum += f64::from(value) - mesh.at(x, y);
            count += 1.0;
        }
    }
    let clamp = |(x, y): (f64, f64)| {
        let right = mesh.width.saturating_sub(1) as f64;
        let low = mesh.height.saturating_sub(1) as f64;
        (x.clamp(0.0, right) as f32, y.clamp(0.0, low) as f32)
    };
    let ((x0_px, y0_px), (x1_px, y1_px)) = (clamp(piece.from), clamp(piece.to));
    Streak {
        x0_px,
        y0_px,
        x1_px,
        y1_px,
        width_px: piece.width as f32,
        brightness: (sum / f64::max(count, 1.0)) as f32,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_on_one_line_join_and_others_do_not() {
        let piece = |from, to| Piece {
            from,
            to,
            width: 3.0,
        };
        let a = piece((0.0, 0.0), (100.0, 50.0));
        let b = piece((120.0, 60.0), (200.0, 100.0));
        let both = a.joined(&b).unwrap();
        assert!((both.length() - 200.0_f64.hypot(100.0)).abs() < 1e-9);
        let beside = piece((120.0, 80.0), (200.0, 120.0));
        assert!(a.joined(&beside).is_none());
        let far = piece((200.0, 100.0), (220.0, 110.0));
        assert!(a.joined(&far).is_none());
    }
}
