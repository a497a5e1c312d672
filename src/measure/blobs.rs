//! From pixels above the floor to single objects.
//!
//! Runs that touch make a component; within it, light is flooded from the highest pixel down. A
//! second peak stays apart only if the saddle between lies clearly below it, so the ripple of noise
//! along a trail does not break it into many stars.

use super::detect::{Found, Run};
use super::shape::Moments;

/// A lesser peak stands alone when it rises above its saddle by this many σ …
const RISE_SIGMA: f32 = 4.0;

/// … and by this share of its own height.
const RISE_SHARE: f32 = 0.2;

/// One object.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Blob {
    /// Mean place of its pixels, px.
    pub(super) x: f64,
    /// Mean place of its pixels, px.
    pub(super) y: f64,
    /// Column of its highest filtered pixel.
    pub(super) peak_x: usize,
    /// Row of its highest filtered pixel.
    pub(super) peak_y: usize,
    /// Significance there.
    pub(super) peak: f32,
    /// Sum of significance over its pixels.
    pub(super) sum: f32,
    /// Pixels.
    pub(super) area: usize,
    /// Second moments of its pixels, all alike, px².
    pub(super) moments: Moments,
    /// Number of the component it was parted from: objects with the same one touch.
    pub(super) component: usize,
}

impl Blob {
    /// Length of the line whose pixels scatter like this one's, px.
    pub(super) fn length(&self) -> f64 {
        (12.0 * self.moments.axes().0).sqrt()
    }

    /// This and another as one object.
    pub(super) fn with(&self, other: &Self) -> Self {
        let (a, b) = (self.area as f64, other.area as f64);
        let mean = |p: f64, q: f64| (a * p + b * q) / (a + b).max(1.0);
        // Steiner's theorem: moments about the common centre.
        let (dx, dy) = (other.x - self.x, other.y - self.y);
        let apart = a * b / (a + b).max(1.0).powi(2);
        let (m, o) = (self.moments, other.moments);
        let higher = if self.peak >= other.peak { self } else { other };
        Self {
            x: mean(self.x, other.x),
            y: mean(self.y, other.y),
            sum: self.sum + other.sum,
            area: self.area + other.area,
            moments: Moments {
                xx: mean(m.xx, o.xx) + apart * dx * dx,
                xy: mean(m.xy, o.xy) + apart * dx * dy,
                yy: mean(m.yy, o.yy) + apart * dy * dy,
            },
            ..*higher
        }
    }

    /// Width of the same, px.
    pub(super) fn width(&self) -> f64 {
        (12.0 * self.moments.axes().1.max(0.0)).sqrt()
    }
}

/// Work space.
#[derive(Debug, Default)]
pub(super) struct Flood {
    parents: Vec<usize>,
    /// For each run the next of its component, and for each component's first run its last.
    chain: Vec<(usize, usize)>,
    pixels: Vec<Pixel>,
    /// Height, upside down, above place: in ascending order the highest comes first.
    descending: Vec<u64>,
    basins: Vec<Basin>,
}

#[derive(Debug, Clone, Copy)]
struct Pixel {
    x: usize,
    y: usize,
    height: f32,
    basin: Option<usize>,
    /// The first pixel of the rows above and below that is no further left than its neighbour.
    above: usize,
    below: usize,
}

#[derive(Debug, Clone, Copy)]
struct Basin {
    parent: usize,
    peak: f32,
    peak_x: usize,
    peak_y: usize,
    count: f64,
    sum: f32,
    // Sums of x, y, xx, xy, yy from the first pixel, so that nothing is lost in a large frame.
    sums: [f64; 5],
}

/// All objects whose peak is above `level` σ, in order of their topmost pixel.
pub(super) fn blobs(found: &Found, level: f32, flood: &mut Flood) -> Vec<Blob> {
    join_runs(&found.runs, &mut flood.parents);
    chain_runs(flood);
    let mut out = Vec::new();
    for first in 0..found.runs.len() {
        // A component is named by the first of its runs.
        if flood.parents.get(first) != Some(&first) {
            continue;
        }
        flood.pixels.clear();
        let mut highest = 0.0_f32;
        let mut next = Some(first);
        while let Some(index) = next {
            let (Some(run), Some(link)) = (found.runs.get(index), flood.chain.get(index)) else {
                break;
            };
            let heights = found.significance.get(run.at..run.at + (run.x1 - run.x0));
            for (x, &height) in (run.x0..run.x1).zip(heights.unwrap_or_default()) {
                highest = highest.max(height);
                flood.pixels.push(Pixel {
                    x,
                    y: run.y,
                    height,
                    basin: None,
                    above: 0,
                    below: 0,
                });
            }
            next = Some(link.0).filter(|&next| next != index);
        }
        if highest >= level {
            flood_component(flood);
            out.extend(finish(&flood.basins, level, first));
        }
    }
    out
}

/// Chains the runs of each component in their order.
fn chain_runs(flood: &mut Flood) {
    flood.chain.clear();
    for run in 0..flood.parents.len() {
        flood.chain.push((run, run));
        let root = root_of(&mut flood.parents, run);
        // A root is the first run of its component, so it is here already.
        let Some(last) = flood.chain.get_mut(root).map(|head| &mut head.1) else {
            continue;
        };
        let before = std::mem::replace(last, run);
        if let Some(link) = flood.chain.get_mut(before) {
            link.0 = run;
        }
        if let Some(parent) = flood.parents.get_mut(run) {
            *parent = root;
        }
    }
}

/// Unites runs of neighbouring rows that touch, corners included.
fn join_runs(runs: &[Run], parents: &mut Vec<usize>) {
    parents.clear();
    parents.extend(0..runs.len());
    let mut above = 0;
    for (index, run) in runs.iter().enumerate() {
        while let Some(other) = runs.get(above).filter(|_| above < index) {
            let passed = other.y + 1 < run.y || (other.y + 1 == run.y && other.x1 < run.x0);
            if !passed {
                break;
            }
            above += 1;
        }
        let mut at = above;
        while let Some(other) = runs.get(at).filter(|o| o.y + 1 == run.y && o.x0 <= run.x1) {
            if other.x1 >= run.x0 {
                let (a, b) = (root_of(parents, index), root_of(parents, at));
                if let Some(parent) = parents.get_mut(a.max(b)) {
                    *parent = a.min(b);
                }
            }
            at += 1;
        }
    }
}

fn root_of(parents: &mut [usize], index: usize) -> usize {
    let mut at = index;
    while let Some(&parent) = parents.get(at).filter(|&&parent| parent != at) {
        let grand = parents.get(parent).copied().unwrap_or(parent);
        if let Some(slot) = parents.get_mut(at) {
            *slot = grand;
        }
        at = parent;
    }
    at
}

/// Floods `flood.pixels` (in row order) from the highest down.
fn flood_component(flood: &mut Flood) {
    flood.basins.clear();
    flood.descending.clear();
    let pixels = &mut flood.pixels;
    link_rows(pixels);
    // Ties by place, so that the same frame always gives the same objects. Heights are positive, and
    // the bits of positive floats are in their order.
    let keys = pixels.iter().zip(0_u64..);
    let keys = keys.map(|(pixel, index)| u64::from(!pixel.height.to_bits()) << 32 | index);
    flood.descending.extend(keys);
    flood.descending.sort_unstable();
    let origin = pixels.first().map_or((0, 0), |p| (p.x, p.y));
    for &key in &flood.descending {
        let index = (key & u64::from(u32::MAX)) as usize;
        let Some(pixel) = pixels.get(index).copied() else {
            continue;
        };
        let mut home: Option<usize> = None;
        for neighbour in neighbours(pixels, index, pixel) {
            let Some(basin) = pixels.get(neighbour).and_then(|p| p.basin) else {
                continue;
            };
            let other = basin_root(&mut flood.basins, basin);
            home = Some(match home {
                None => other,
                Some(home) => meet(&mut flood.basins, home, other, pixel.height),
            });
        }
        let home = home.unwrap_or_else(|| {
            flood.basins.push(Basin {
                parent: flood.basins.len(),
                peak: pixel.height,
                peak_x: pixel.x,
                peak_y: pixel.y,
                count: 0.0,
                sum: 0.0,
                sums: [0.0; 5],
            });
            flood.basins.len() - 1
        });
        if let Some(pixel) = pixels.get_mut(index) {
            pixel.basin = Some(home);
        }
        if let Some(basin) = flood.basins.get_mut(home) {
            let (dx, dy) = (
                pixel.x as f64 - origin.0 as f64,
                pixel.y as f64 - origin.1 as f64,
            );
            basin.count += 1.0;
            basin.sum += pixel.height;
            for (sum, term) in basin
                .sums
                .iter_mut()
                .zip([dx, dy, dx * dx, dx * dy, dy * dy])
            {
                *sum += term;
            }
        }
    }
    // Sums were from the component's first pixel.
    for basin in &mut flood.basins {
        let [sx, sy, sxx, sxy, syy] = basin.sums;
        let (ox, oy, n) = (origin.0 as f64, origin.1 as f64, basin.count);
        basin.sums = [
            sx + n * ox,
            sy + n * oy,
            sxx - sx * sx / n.max(1.0),
            sxy - sx * sy / n.max(1.0),
            syy - sy * sy / n.max(1.0),
        ];
    }
}

/// Finds for each pixel, in row order, where its neighbours of the rows above and below begin.
fn link_rows(pixels: &mut [Pixel]) {
    let (mut above, mut below) = (0, 0);
    for index in 0..pixels.len() {
        let Some((x, y)) = pixels.get(index).map(|p| (p.x.saturating_sub(1), p.y)) else {
            break;
        };
        let until = |from: usize, row: Option<usize>| {
            let is_before = |p: &&Pixel| row.is_some_and(|row| (p.y, p.x) < (row, x));
            let later = pixels.get(from..).unwrap_or_default();
            from + later.iter().take_while(is_before).count()
        };
        above = until(above, y.checked_sub(1));
        below = until(below.max(index), Some(y + 1));
        if let Some(pixel) = pixels.get_mut(index) {
            (pixel.above, pixel.below) = (above, below);
        }
    }
}

/// Indices of the eight neighbours of a pixel.
fn neighbours(pixels: &[Pixel], index: usize, pixel: Pixel) -> impl Iterator<Item = usize> {
    let beside = [index.wrapping_sub(1), index + 1]
        .into_iter()
        .filter(move |&at| {
            let is = |p: &Pixel| p.y == pixel.y && p.x.abs_diff(pixel.x) == 1;
            pixels.get(at).is_some_and(is)
        });
    let rows = [
        (pixel.above, pixel.y.wrapping_sub(1)),
        (pixel.below, pixel.y + 1),
    ];
    let others = rows.into_iter().flat_map(move |(from, y)| {
        let near = move |at: &usize| {
            let is = |p: &Pixel| p.y == y && p.x <= pixel.x + 1;
            pixels.get(*at).is_some_and(is)
        };
        (from..from + 3).take_while(near)
    });
    beside.chain(others)
}

fn basin_root(basins: &mut [Basin], index: usize) -> usize {
    let mut at = index;
    while let Some(parent) = basins
        .get(at)
        .map(|b| b.parent)
        .filter(|&parent| parent != at)
    {
        let grand = basins.get(parent).map_or(parent, |b| b.parent);
        if let Some(basin) = basins.get_mut(at) {
            basin.parent = grand;
        }
        at = parent;
    }
    at
}

/// Two basins meet at `saddle`: the lesser joins the higher unless it stands clear of it. Gives the
/// one that goes on here.
fn meet(basins: &mut [Basin], a: usize, b: usize, saddle: f32) -> usize {
    let peak = |i: usize| basins.get(i).map_or(0.0, |basin| basin.peak);
    let (high, low) = if peak(a) >= peak(b) { (a, b) } else { (b, a) };
    if high == low {
        return high;
    }
    let lesser = peak(low);
    if lesser - saddle > RISE_SIGMA.max(RISE_SHARE * lesser) {
        return high;
    }
    if let Some(gone) = basins.get(low).copied() {
        if let Some(basin) = basins.get_mut(high) {
            basin.count += gone.count;
            basin.sum += gone.sum;
            for (sum, term) in basin.sums.iter_mut().zip(gone.sums) {
                *sum += term;
            }
        }
        if let Some(basin) = basins.get_mut(low) {
            basin.parent = high;
        }
    }
    high
}

fn finish(basins: &[Basin], level: f32, component: usize) -> impl Iterator<Item = Blob> {
    let roots = basins.iter().enumerate().filter(move |(index, basin)| {
        basin.parent == *index && basin.peak >= level && basin.count > 0.0
    });
    roots.map(move |(_, basin)| {
        let [sx, sy, cxx, cxy, cyy] = basin.sums;
        let n = basin.count;
        // Each pixel is a square of its own, with variance 1/12.
        let own = 1.0 / 12.0;
        Blob {
            x: sx / n,
            y: sy / n,
            peak_x: basin.peak_x,
            peak_y: basin.peak_y,
            peak: basin.peak,
            sum: basin.sum,
            area: n as usize,
            moments: Moments {
                xx: cxx / n + own,
                xy: cxy / n,
                yy: cyy / n + own,
            },
            component,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs from a picture of digits; '.' is below the floor.
    fn found(picture: &[&str]) -> Found {
        let mut found = Found::default();
        for (y, line) in picture.iter().enumerate() {
            let mut open: Option<Run> = None;
            for (x, c) in line.bytes().enumerate() {
                if c.is_ascii_digit() {
                    let at = found.significance.len();
                    open.get_or_insert(Run {
                        y,
                        x0: x,
                        x1: x,
                        at,
                    })
                    .x1 = x + 1;
                    found.significance.push(f32::from(c - b'0') * 3.0);
                } else {
                    found.runs.extend(open.take());
                }
            }
            found.runs.extend(open);
        }
        found
    }

    #[test]
    fn corners_touch_and_a_u_is_one() {
        let u = found(&["3..3", "3..3", ".33."]);
        let got = blobs(&u, 5.0, &mut Flood::default());
        assert_eq!(got.len(), 1);
        assert_eq!(got[0].area, 6);
        assert!((got[0].x - 1.5).abs() < 1e-12);
    }

    #[test]
    fn ripple_stays_one_and_a_deep_saddle_parts() {
        let ripple = found(&["87878787"]);
        assert_eq!(blobs(&ripple, 5.0, &mut Flood::default()).len(), 1);
        let pair = found(&["2992299."]);
        let got = blobs(&pair, 5.0, &mut Flood::default());
        assert_eq!(got.len(), 2);
        assert_eq!(got.iter().map(|b| b.area).sum::<usize>(), 7);
    }

    #[test]
    fn parts_together_are_the_whole() {
        let picture = ["2992299.", "2992299.", ".2......"];
        let parts = blobs(&found(&picture), 5.0, &mut Flood::default());
        assert_eq!(parts.len(), 2);
        assert_eq!(parts[0].component, parts[1].component);
        let both = parts[0].with(&parts[1]);
        let low = ["5555555.", "5555555.", ".5......"];
        let whole = blobs(&found(&low), 5.0, &mut Flood::default())[0];
        assert_eq!(both.area, whole.area);
        assert!((both.x - whole.x).abs() < 1e-12 && (both.y - whole.y).abs() < 1e-12);
        assert!((both.moments.xx - whole.moments.xx).abs() < 0.1);
        assert!((both.moments.xy - whole.moments.xy).abs() < 0.1);
    }

    #[test]
    fn a_line_has_its_length() {
        let line = found(&["5555555555555555555555555555555555555555"]);
        let got = blobs(&line, 5.0, &mut Flood::default());
        assert!((got[0].length() - 40.0).abs() < 1e-9);
        assert!((got[0].width() - 1.0).abs() < 1e-9);
    }

    #[test]
    fn low_components_are_dropped() {
        assert!(blobs(&found(&["11", "11"]), 5.0, &mut Flood::default()).is_empty());
    }
}
