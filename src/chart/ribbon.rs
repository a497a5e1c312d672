//! The ribbon: one bar a frame, or runs of equal neighbours where bars would be too narrow.

use super::axis::TimeAxis;
use crate::verdict::Verdict;

/// A frame of the ribbon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// When it began, s.
    pub time_s: f64,
    /// Its verdict, or `None` when it is not measured yet.
    pub verdict: Option<Verdict>,
}

/// What a piece of the ribbon stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PieceKind {
    /// Frames of one verdict.
    Judged(Verdict),
    /// Frames not measured yet.
    Pending,
}

/// A piece of the ribbon to paint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// Left end, px.
    pub left: f32,
    /// Right end, px.
    pub right: f32,
    /// First frame's place.
    pub first: usize,
    /// Last frame's place.
    pub last: usize,
    /// What it stands for.
    pub kind: PieceKind,
    /// Widened beyond its time so that it can be seen: wants `plot` colour on both sides.
    pub is_widened: bool,
}

/// Bars at least this wide are drawn one by one, px.
const WIDE: f64 = 4.0;
/// A doubtful or rejected frame is never narrower, px.
const LEAST: f32 = 5.0;
/// A pause longer than this many intervals is a hole: frames are missing.
const HOLE: f64 = 1.5;

/// Whether bars `interval_s` long are drawn one by one.
#[must_use]
pub fn is_wide(axis: TimeAxis, interval_s: f64) -> bool {
    axis.per_second() * interval_s >= WIDE
}

/// The pieces for `bars`, in order of time, `interval_s` from one to the next as a rule. Holes
/// are left where frames are missing. What comes later is painted over what comes before.
#[must_use]
pub fn pieces(bars: &[Bar], interval_s: f64, axis: TimeAxis) -> Vec<Piece> {
    let wide = is_wide(axis, interval_s);
    let mut pieces: Vec<Piece> = Vec::new();
    for (place, bar) in bars.iter().enumerate() {
        let kind = bar.verdict.map_or(PieceKind::Pending, PieceKind::Judged);
        let next = bars.get(place + 1).map(|next| next.time_s);
        let end_s = match next {
            Some(next) if next - bar.time_s <= HOLE * interval_s => next,
            _ => bar.time_s + interval_s,
        };
        let (left, right) = (axis.x(bar.time_s) as f32, axis.x(end_s) as f32);
        match pieces.last_mut() {
            Some(last) if !wide && last.kind == kind && left - last.right < 0.5 => {
                last.right = right;
                last.last = place;
            }
            _ => pieces.push(Piece {
                left,
                right: if wide { right - 1.0 } else { right },
                first: place,
                last: place,
                kind,
                is_widened: false,
            }),
        }
    }
    widen(&mut pieces);
    pieces
}

/// Widens doubtful and rejected pieces that would be too narrow to see, and puts them last so
/// that they are painted over their neighbours.
fn widen(pieces: &mut [Piece]) {
    for piece in pieces.iter_mut() {
        let needs_eye = matches!(
            piece.kind,
            PieceKind::Judged(Verdict::Doubtful | Verdict::Reject)
        );
        if needs_eye && piece.right - piece.left < LEAST - 1.0 {
            let centre = f32::midpoint(piece.left, piece.right);
            piece.left = centre - LEAST / 2.0;
            piece.right = centre + LEAST / 2.0;
            piece.is_widened = true;
        }
    }
    pieces.sort_by_key(|piece| piece.is_widened);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bars(verdicts: &str) -> Vec<Bar> {
        (verdicts.chars().enumerate())
            .filter(|(_, c)| *c != '_')
            .map(|(i, c)| Bar {
                time_s: i as f64 * 10.0,
                verdict: match c {
                    'k' => Some(Verdict::Keep),
                    'd' => Some(Verdict::Doubtful),
                    'r' => Some(Verdict::Reject),
                    _ => None,
                },
            })
            .collect()
    }

    fn axis(px_per_frame: f64) -> TimeAxis {
        TimeAxis {
            from_s: 0.0,
            to_s: 1000.0,
            left: 0.0,
            right: 100.0 * px_per_frame,
        }
    }

    #[test]
    fn narrow_neighbours_are_one_piece() {
        let pieces = pieces(&bars("kkkkddddrr.."), 10.0, axis(2.0));
        let kinds: Vec<_> = pieces.iter().map(|p| (p.first, p.last)).collect();
        // The rejected pair is 4 px wide: wide enough not to be widened.
        assert_eq!(kinds, [(0, 3), (4, 7), (8, 9), (10, 11)]);
        assert_eq!(pieces[3].kind, PieceKind::Pending);
    }

    #[test]
    fn wide_bars_stand_apart() {
        let pieces = pieces(&bars("kkd"), 10.0, axis(6.0));
        assert_eq!(pieces.len(), 3);
        assert!((pieces[1].left - pieces[0].right - 1.0).abs() < 1e-4);
    }

    #[test]
    fn a_lone_doubtful_frame_can_be_seen() {
        let pieces = pieces(&bars("kkkkkdkkkkk"), 10.0, axis(1.0));
        let lone = pieces.last().unwrap();
        assert_eq!((lone.first, lone.last), (5, 5));
        assert!(lone.is_widened);
        assert!((lone.right - lone.left - 5.0).abs() < 1e-4);
    }

    #[test]
    fn missing_frames_leave_a_hole() {
        let pieces = pieces(&bars("kkk____kkk"), 10.0, axis(2.0));
        assert_eq!(pieces.len(), 2);
        assert!(pieces[1].left - pieces[0].right > 7.0);
    }
}
