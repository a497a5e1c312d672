//! Long lines that are no stars: aircraft, satellites, meteors.
//!
//! A streak is an object, with all that touches it, much longer than the frame's other objects and
//! many times longer than wide. Stars in a row look like one: where stars trail, a short line along
//! their trails is believed to be them, and a short line that is broken by gaps as deep as between
//! stars too. So is one at the edge of the ground. Pieces on one line that a bright star or a gap
//! parts are joined. Lines too faint to make objects are not found.

use std::collections::BTreeMap;

use super::background::Mesh;
use super::blobs::Blob;
use super::matched::Guide;
use super::types::Streak;
use crate::base::robust::quantile;
use crate::base::spin2::angle_between_deg;
use crate::frame::Samples;

/// Least length of a streak, px.
const LEAST_LENGTH: f64 = 40.0;

/// Least length over width.
const LEAST_ASPECT: f64 = 5.0;

/// Pieces are joined over gaps up to this share of the longer one.
const GAP_SHARE: f64 = 0.95;

/// Shorter than this share of the frame's diagonal, a line must show that it is no row of stars.
const SHORT_SHARE: f64 = 0.06;

/// A line this near to the direction of the stars' trails, degrees, is along them …
const ALONG_DEG: f64 = 15.0;

/// … and a row of stars unless it is longer than this many of them.
const STARS_IN_A_ROW: f64 = 6.0;

/// Room that a star takes on a line beside its trail, px.
const STAR_PX: f64 = 7.0;

/// Parts of a streak are at most this many times as wide as the whole.
const PART_WIDTH: f64 = 1.25;

/// A dip below this share of the lesser of the peaks on its sides is a gap.
const DIP_SHARE: f64 = 0.5;

/// The frame that streaks are looked for in.
pub(super) struct Sight<'a> {
    /// The frame.
    pub(super) samples: &'a Samples,
    /// Its sky.
    pub(super) mesh: &'a Mesh,
    /// Tiles that are sky.
    pub(super) is_sky: &'a [bool],
    /// How stars trail, where they do.
    pub(super) guide: Option<&'a Guide>,
}

impl Sight<'_> {
    /// Whether the tile at a place, and with `around` all that touch it, are sky.
    fn sky_at(&self, (x, y): (f64, f64), around: bool) -> bool {
        let tile = self.mesh.tile_at(x, y);
        let (col, row) = (tile % self.mesh.cols, tile / self.mesh.cols);
        let by = usize::from(around);
        let rows = row.saturating_sub(by)..=(row + by).min(self.mesh.rows - 1);
        let mut near = rows.flat_map(|r| {
            let cols = col.saturating_sub(by)..=(col + by).min(self.mesh.cols - 1);
            cols.map(move |c| r * self.mesh.cols + c)
        });
        near.all(|tile| self.is_sky.get(tile).copied().unwrap_or(true))
    }

    /// Light above the sky along a line, a value a px, each the mean of three across it.
    fn profile(&self, piece: &Piece) -> Vec<f64> {
        let steps = piece.length().ceil().max(1.0);
        let (ux, uy) = (
            (piece.to.0 - piece.from.0) / steps,
            (piece.to.1 - piece.from.1) / steps,
        );
        let mut i = 0.0;
        let mut out = Vec::new();
        while i <= steps {
            let (x, y) = (piece.from.0 + i * ux, piece.from.1 + i * uy);
            let beside = [-1.0, 0.0, 1.0].map(|by| (x - by * uy, y + by * ux));
            let seen = beside.into_iter().filter_map(|(x, y)| {
                let inside = x > -0.5 && y > -0.5;
                let value = self
                    .samples
                    .green
                    .get(x.round().max(0.0) as usize, y.round().max(0.0) as usize);
                value
                    .filter(|v| inside && v.is_finite())
                    .map(|v| f64::from(v) - self.mesh.at(x, y))
            });
            let (sum, count) = seen.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
            if count > 0.0 {
                out.push(sum / count);
            }
            i += 1.0;
        }
        out
    }

    /// Whether this line is one thing and no row of stars or edge of the ground.
    fn is_streak(&self, piece: &Piece) -> bool {
        let middle = piece.middle();
        if !self.sky_at(middle, false) {
            return false;
        }
        let diagonal = (self.mesh.width as f64).hypot(self.mesh.height as f64);
        let long = piece.length() >= SHORT_SHARE * diagonal;
        if let Some(guide) = self.guide {
            let trail = guide.trail(middle.0, middle.1);
            let along = angle_between_deg(trail.angle_deg(), piece.angle_deg()) < ALONG_DEG;
            if along && piece.length() < STARS_IN_A_ROW * (trail.length_px() + STAR_PX) {
                return false;
            }
        }
        long || (self.sky_at(piece.from, true)
            && self.sky_at(piece.to, true)
            && self.sky_at(middle, true)
            && dips(&self.profile(piece)) == 0)
    }
}

/// Gaps in a profile: how often it falls below [`DIP_SHARE`] of a peak and rises again as high
/// above it.
fn dips(profile: &[f64]) -> usize {
    // Single noisy pixels make no dip.
    let smooth: Vec<f64> = profile
        .windows(3)
        .map(|w| w.iter().sum::<f64>() / 3.0)
        .collect();
    let (mut count, mut peak, mut low) = (0, 0.0_f64, f64::INFINITY);
    for value in smooth {
        if low.is_finite() && low < DIP_SHARE * peak.min(value) {
            count += 1;
            (peak, low) = (value, f64::INFINITY);
        }
        peak = if low.is_finite() {
            peak
        } else {
            peak.max(value)
        };
        if value < peak {
            low = low.min(value);
        }
        if value > peak {
            (peak, low) = (value, f64::INFINITY);
        }
    }
    count
}

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

    fn middle(&self) -> (f64, f64) {
        (
            0.5 * (self.from.0 + self.to.0),
            0.5 * (self.from.1 + self.to.1),
        )
    }

    /// Anticlockwise from image right, y down.
    fn angle_deg(&self) -> f64 {
        let (dx, dy) = (self.to.0 - self.from.0, self.to.1 - self.from.1);
        (-dy).atan2(dx).to_degrees().rem_euclid(180.0)
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
/// Long objects on tiles that are not sky are roofs and ridges: taken out, not given.
pub(super) fn take_streaks(blobs: &mut Vec<Blob>, sight: &Sight) -> Vec<Streak> {
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
    // What touches is one line even where lamps flash on it.
    let mut components: BTreeMap<usize, Blob> = BTreeMap::new();
    for blob in blobs.iter() {
        components
            .entry(blob.component)
            .and_modify(|whole| *whole = whole.with(blob))
            .or_insert(*blob);
    }
    let lines: BTreeMap<usize, Blob> = components
        .into_iter()
        .filter(|(_, whole)| is_piece(whole))
        .collect();
    let singles = blobs
        .iter()
        .filter(|blob| !lines.contains_key(&blob.component) && is_piece(blob));
    let (mut pieces, mut ground) = (Vec::new(), Vec::new());
    for blob in lines.values().chain(singles) {
        let piece = Piece::of(blob);
        if sight.is_streak(&piece) {
            pieces.push(piece);
        } else if !sight.sky_at(piece.middle(), false) {
            ground.push(piece);
        }
    }
    pieces.sort_by(|a, b| b.length().total_cmp(&a.length()));
    let whole = join_pieces(pieces);
    // What else lies along a streak is a part of it, unless it stands well out of it as a star.
    blobs.retain(|blob| {
        !whole.iter().chain(&ground).any(|w| {
            let along = distance((blob.x, blob.y), w.from) + distance((blob.x, blob.y), w.to);
            along <= w.length() + 2.0
                && blob.width() <= PART_WIDTH * w.width.max(3.0)
                && off_line((blob.x, blob.y), w.from, w.to) <= 0.5 * w.width.max(3.0)
        })
    });
    whole.iter().map(|piece| finish(piece, sight)).collect()
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

fn finish(piece: &Piece, sight: &Sight) -> Streak {
    let mesh = sight.mesh;
    let profile = sight.profile(piece);
    let brightness = profile.iter().sum::<f64>() / profile.len().max(1) as f64;
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
        brightness: brightness as f32,
        parts: parts(&profile),
        beat_px: beat(&profile).unwrap_or(0.0) as f32,
    }
}

/// Means of equal parts of a profile.
fn parts(profile: &[f64]) -> [f32; Streak::PARTS] {
    std::array::from_fn(|part| {
        let edge = |part: usize| part * profile.len() / Streak::PARTS;
        let own = profile.get(edge(part)..edge(part + 1)).unwrap_or(&[]);
        (own.iter().sum::<f64>() / own.len().max(1) as f64) as f32
    })
}

/// Least flashes that make a beat.
const LEAST_FLASHES: usize = 5;

/// A flash outshines the line by so many times.
const FLASH: f64 = 2.0;

/// This share of the steps between flashes must be even, to a fifth.
const EVEN_SHARE: f64 = 0.7;

/// Flashes nearer to each other than this are noise or stars, px.
const LEAST_BEAT_PX: f64 = 10.0;

/// They follow each other over this share of the line.
const BEAT_SPAN: f64 = 0.5;

/// The distance between flashes along a line, where they follow each other evenly. Stars that the
/// line crosses outshine it too, but anywhere.
fn beat(profile: &[f64]) -> Option<f64> {
    let mut sorted = profile.to_vec();
    let line = quantile(&mut sorted, 0.4)?.max(1e-6);
    let bright = |i: usize| profile.get(i).is_some_and(|&v| v > (1.0 + FLASH) * line);
    // Each run of bright samples is one flash, at its brightest.
    let mut flashes: Vec<f64> = Vec::new();
    let mut run: Option<usize> = None;
    for i in 0..=profile.len() {
        match (bright(i), run) {
            (true, None) => run = Some(i),
            (false, Some(from)) => {
                flashes.push(0.5 * (from + i - 1) as f64);
                run = None;
            }
            _ => {}
        }
    }
    (flashes.len() >= LEAST_FLASHES).then_some(())?;
    let steps: Vec<f64> = flashes.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let usual = quantile(&mut steps.clone(), 0.5).filter(|step| *step >= LEAST_BEAT_PX)?;
    let span = flashes.last()? - flashes.first()?;
    (span >= BEAT_SPAN * profile.len() as f64).then_some(())?;
    let even = |step: &&f64| (*step / usual - 1.0).abs() < 0.2;
    let share = steps.iter().filter(even).count() as f64 / steps.len() as f64;
    (share >= EVEN_SHARE).then_some(usual)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_between_stars_are_dips_and_a_meteor_has_none() {
        let row = [
            1.0, 9.0, 9.0, 9.0, 1.0, 1.0, 1.0, 8.0, 8.0, 8.0, 1.0, 1.0, 1.0,
        ];
        let three: Vec<f64> = row.iter().chain(&row).chain(&row).copied().collect();
        assert_eq!(dips(&three), 5);
        let even: Vec<f64> = (0..60).map(|i| 10.0 + f64::from(i % 3)).collect();
        assert_eq!(dips(&even), 0);
        let swells: Vec<f64> = (0..60).map(|i| f64::from(i * (60 - i))).collect();
        assert_eq!(dips(&swells), 0);
        assert_eq!(dips(&[]), 0);
    }

    #[test]
    fn lamps_flash_evenly_and_stars_do_not() {
        let line = |flashes: &[usize]| -> Vec<f64> {
            let lit = |i: usize| flashes.iter().any(|&f| i.abs_diff(f) <= 1);
            (0..400).map(|i| if lit(i) { 9.0 } else { 1.0 }).collect()
        };
        let even: Vec<usize> = (0..9).map(|k| 20 + 43 * k).collect();
        assert!((beat(&line(&even)).unwrap() - 43.0).abs() < 1.0);
        assert_eq!(beat(&line(&[20, 31, 90, 210, 222, 380])), None);
        assert_eq!(beat(&line(&[20, 120, 220, 320])), None, "four are chance");
        assert_eq!(beat(&line(&[20, 40, 60, 80, 100])), None, "only one end");
        assert_eq!(beat(&[]), None);
        let rises: Vec<f64> = (0..160).map(f64::from).collect();
        let told = parts(&rises);
        assert!((told[0] - 4.5).abs() < 1e-6 && (told[15] - 154.5).abs() < 1e-6);
    }

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
