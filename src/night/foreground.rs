//! What of the frame is ground: what no star ever crosses while the sky turns, and what shines there
//! without moving.
//!
//! One frame tells ground from sky by level and stars, tile by tile; it errs where light falls on the
//! ground or mist lies before it. Over a night every part of the sky has had stars, and most frames
//! agree. So a cell is ground when most frames take it for ground and stars keep out of it, or when
//! stars keep out of it although there should have been many.

use std::collections::HashMap;

use super::baseline::Baseline;
use super::turn::optics;
use super::types::Night;
use crate::base::robust::{median, quantile};
use crate::measure::{FrameMeasure, Levels};
use crate::sky::turning::rate_px_per_s;

/// More frames than this tell no more of the ground.
const MOST_FRAMES: usize = 150;
/// A cell is taken for ground by a frame that finds less sky than this in it, percent.
const HALF: f64 = 50.0;
/// Where a usual cell has had this many stars, their absence says something …
const TELLING_STARS: f64 = 4.0;
/// … and ground has had fewer than this share of them.
const GROUND_SHARE: f64 = 0.12;
/// Where a usual cell has had this many, a cell without one is ground whatever frames take it for.
const SURE_STARS: f64 = 25.0;
/// Ground that covers more than this share of the frame is not believed.
const MOST_GROUND: f64 = 0.9;
/// Lamps are sought where stars move at least this far over the night, px.
const LAMP_MOTION_PX: f64 = 12.0;
/// Side of the squares in which what stands still is counted, px.
const LAMP_PX: f64 = 4.0;
/// A lamp is there in this share of the frames.
const LAMP_SHARE: f64 = 0.5;
/// Fewer frames tell no lamp.
const LAMP_FRAMES: usize = 8;
/// Cells of ground that are followed through the night.
const FOLLOWED: usize = 64;
/// Fewer cells of ground say nothing of the light on it.
const LEAST_CELLS: usize = 3;
/// Light on the ground is told from this quantile of the cells: headlights light one side.
const LIT_QUANTILE: f64 = 0.75;

/// The ground in the frames of one group.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Foreground {
    /// Cells across.
    pub cols: usize,
    /// Cells down.
    pub rows: usize,
    /// Whether each cell is ground; `cols * rows` cells, row order.
    pub ground: Vec<bool>,
    /// Where something shines that does not move with the sky, px.
    pub lamps_px: Vec<(f64, f64)>,
}

impl Foreground {
    /// Share of the frame that is ground, percent.
    #[must_use]
    pub fn ground_pct(&self) -> f64 {
        let cells = self.ground.iter().filter(|&&ground| ground).count();
        100.0 * cells as f64 / self.ground.len().max(1) as f64
    }

    /// Cells of ground with no sky beside them, or all cells of ground where there is no such.
    fn inner_cells(&self) -> Vec<usize> {
        let ground = |cell: usize| self.ground.get(cell) == Some(&true);
        let is_inner = |cell: &usize| {
            let (col, row) = (cell % self.cols, cell / self.cols);
            let rows = row.saturating_sub(1)..=(row + 1).min(self.rows - 1);
            let mut around = rows.flat_map(|row| {
                let cols = col.saturating_sub(1)..=(col + 1).min(self.cols - 1);
                cols.map(move |col| row * self.cols + col)
            });
            around.all(ground)
        };
        let all: Vec<usize> = (0..self.ground.len())
            .filter(|&cell| ground(cell))
            .collect();
        let inner: Vec<usize> = all.iter().copied().filter(is_inner).collect();
        if inner.is_empty() { all } else { inner }
    }
}

/// Finds the ground of every group, and the light on it in every frame.
pub(super) fn fill(night: &mut Night) {
    for group in 0..night.groups.len() {
        night.groups[group].foreground = find(night, group);
        light(night, group);
    }
}

fn find(night: &Night, group: usize) -> Option<Foreground> {
    let measures: Vec<&FrameMeasure> = measured(night, group);
    let (cols, rows) = common_grid(&measures)?;
    let every = measures.len().div_ceil(MOST_FRAMES).max(1);
    let measures: Vec<&FrameMeasure> = (measures.into_iter())
        .filter(|measure| has_grid(&measure.levels, (cols, rows)))
        .step_by(every)
        .collect();
    let lamps_px = lamps(night, group, &measures);
    let mut stars = vec![0.0_f64; cols * rows];
    let mut sky = vec![0.0_f64; cols * rows];
    for measure in &measures {
        for (sum, share) in sky.iter_mut().zip(&measure.levels.sky_pct) {
            *sum += f64::from(*share) / measures.len() as f64;
        }
        for star in &measure.stars {
            let (x, y) = (f64::from(star.x_px), f64::from(star.y_px));
            if lamps_px.iter().any(|&lamp| is_near(lamp, (x, y))) {
                continue;
            }
            let cell = cell_at((cols, rows), measure, x, y);
            if let Some(count) = stars.get_mut(cell) {
                *count += 1.0;
            }
        }
    }
    let taken_for_sky = |cell: usize| sky[cell] >= HALF;
    let mut usual: Vec<f64> = (0..cols * rows)
        .filter(|&cell| taken_for_sky(cell))
        .map(|cell| stars[cell])
        .collect();
    let usual = median(&mut usual).unwrap_or(0.0);
    let is_ground = |cell: usize| {
        let empty = usual < TELLING_STARS || stars[cell] < GROUND_SHARE * usual;
        let surely = usual >= SURE_STARS && stars[cell] == 0.0;
        (empty && !taken_for_sky(cell)) || surely
    };
    let ground: Vec<bool> = (0..cols * rows).map(is_ground).collect();
    let share = ground.iter().filter(|&&is| is).count() as f64 / ground.len().max(1) as f64;
    (share <= MOST_GROUND).then_some(Foreground {
        cols,
        rows,
        ground,
        lamps_px,
    })
}

fn measured(night: &Night, group: usize) -> Vec<&FrameMeasure> {
    (night.groups[group].rows.iter())
        .filter_map(|&row| night.rows[row].measure.as_deref())
        .collect()
}

fn common_grid(measures: &[&FrameMeasure]) -> Option<(usize, usize)> {
    let mut counts: HashMap<(usize, usize), usize> = HashMap::new();
    for levels in measures.iter().map(|measure| &measure.levels) {
        let grid = (levels.cols, levels.rows);
        if has_grid(levels, grid) {
            *counts.entry(grid).or_default() += 1;
        }
    }
    let most = counts
        .into_iter()
        .max_by_key(|&(grid, count)| (count, grid));
    most.map(|(grid, _)| grid)
}

fn has_grid(levels: &Levels, (cols, rows): (usize, usize)) -> bool {
    let cells = cols * rows;
    cells > 0
        && (levels.cols, levels.rows) == (cols, rows)
        && levels.level_pct.len() == cells
        && levels.sky_pct.len() == cells
}

fn cell_at((cols, rows): (usize, usize), measure: &FrameMeasure, x: f64, y: f64) -> usize {
    let part = |at: f64, cells: usize, length: usize| {
        ((at + 0.5).max(0.0) * cells as f64 / length.max(1) as f64) as usize
    };
    let col = part(x, cols, measure.width_px).min(cols - 1);
    let row = part(y, rows, measure.height_px).min(rows - 1);
    row * cols + col
}

fn is_near((x, y): (f64, f64), (other_x, other_y): (f64, f64)) -> bool {
    (x - other_x).hypot(y - other_y) <= LAMP_PX
}

/// Where something bright stands still in most frames although stars there move on.
fn lamps(night: &Night, index: usize, measures: &[&FrameMeasure]) -> Vec<(f64, f64)> {
    let group = &night.groups[index];
    let times: Vec<f64> = group
        .rows
        .iter()
        .filter_map(|&row| night.rows[row].time_s)
        .collect();
    let lasts = times.first().zip(times.last()).map_or(0.0, |(a, b)| b - a);
    let (Some(turn), Some(camera)) = (group.turn, optics(night, index)) else {
        return Vec::new();
    };
    if measures.len() < LAMP_FRAMES {
        return Vec::new();
    }
    let square = |x: f64, y: f64| ((x / LAMP_PX).floor() as i64, (y / LAMP_PX).floor() as i64);
    let mut seen: HashMap<(i64, i64), (usize, f64, f64)> = HashMap::new();
    for star in measures.iter().flat_map(|measure| &measure.stars) {
        let (x, y) = (f64::from(star.x_px), f64::from(star.y_px));
        let entry = seen.entry(square(x, y)).or_default();
        *entry = (entry.0 + 1, entry.1 + x, entry.2 + y);
    }
    let least = LAMP_SHARE * measures.len() as f64;
    let mut found: Vec<(f64, f64)> = seen
        .values()
        .filter(|(count, ..)| *count as f64 >= least)
        .map(|&(count, x, y)| (x / count as f64, y / count as f64))
        .filter(|&(x, y)| rate_px_per_s(&camera, turn.pole, x, y) * lasts >= LAMP_MOTION_PX)
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    found.dedup_by(|a, b| is_near(*a, *b));
    found
}

/// Level of the ground and light on it, for every row of a group.
fn light(night: &mut Night, group: usize) {
    let Some(foreground) = night.groups[group].foreground.clone() else {
        return;
    };
    let grid = (foreground.cols, foreground.rows);
    let inner = foreground.inner_cells();
    if inner.len() < LEAST_CELLS {
        return;
    }
    let every = inner.len().div_ceil(FOLLOWED);
    let followed: Vec<usize> = inner.iter().copied().step_by(every).collect();
    let rows = night.groups[group].rows.clone();
    let level = |row: usize, cell: usize| {
        let measure = night.rows[row].measure.as_deref()?;
        has_grid(&measure.levels, grid).then(|| f64::from(measure.levels.level_pct[cell]))
    };
    // Each cell against itself in the frames around: dusk fades everywhere, a lamp stays.
    let mut more: Vec<Vec<f64>> = vec![Vec::new(); rows.len()];
    for &cell in &followed {
        let levels: Vec<Option<f64>> = rows.iter().map(|&row| level(row, cell)).collect();
        let typical = Baseline::typical_levels(&levels);
        for ((more, level), typical) in more.iter_mut().zip(levels).zip(typical) {
            more.extend(level.zip(typical).map(|(level, typical)| level - typical));
        }
    }
    let told: Vec<(Option<f64>, Option<f64>)> = rows
        .iter()
        .zip(&mut more)
        .map(|(&row, more)| {
            let mut levels: Vec<f64> = inner.iter().filter_map(|&cell| level(row, cell)).collect();
            (median(&mut levels), quantile(more, LIT_QUANTILE))
        })
        .collect();
    for (&row, (level, light)) in rows.iter().zip(&told) {
        night.rows[row].derived.ground_level_pct = *level;
        night.rows[row].derived.ground_light_pct = *light;
    }
    let lights: Vec<Option<f64>> = told.iter().map(|(_, light)| *light).collect();
    night.groups[group].ground_light = Baseline::series_of(&lights);
}

#[cfg(test)]
mod tests {
    use super::super::tests::{change, run, starry};
    use super::super::{NightOptions, assemble};
    use super::*;
    use crate::base::Spin2;
    use crate::measure::{Star, StarErrors, StarFlags};

    const GRID: (usize, usize) = (36, 24);

    /// 40 frames with ground in the lower quarter, which a lamp lights from the left in frame 20 so
    /// that this frame takes it for sky; the sky fades and brightens again in a cloud.
    fn night() -> Night {
        let mut inputs = run(40);
        for (k, input) in inputs.iter_mut().enumerate() {
            change(input, |measure| {
                *measure = starry();
                let dusk = 8.0 + 6.0 * (-(k as f32) / 15.0).exp();
                let lit = k == 20;
                let (cols, rows) = GRID;
                measure.levels.cols = cols;
                measure.levels.rows = rows;
                for cell in 0..cols * rows {
                    let ground = cell / cols >= 18;
                    let lamp = if lit {
                        4.0 * (-((cell % cols) as f32) / 12.0).exp()
                    } else {
                        0.0
                    };
                    let level = if ground { 0.07 * dusk + lamp } else { dusk };
                    measure.levels.level_pct.push(level);
                    measure
                        .levels
                        .sky_pct
                        .push(if ground && !lit { 0 } else { 100 });
                }
                for n in 0..300_u32 {
                    let at = |prime: u32| (n * prime + k as u32 * 131) as f32;
                    measure.stars.push(Star {
                        x_px: at(977) % 1600.0,
                        y_px: at(613) % 780.0,
                        flux: 1.0,
                        peak: 0.2,
                        snr: 50.0,
                        fwhm_px: 2.4,
                        elongation: 1.2,
                        trail: Spin2::default(),
                        flags: StarFlags::default(),
                        errors: StarErrors::default(),
                    });
                }
            });
        }
        assemble(&inputs, &NightOptions::default())
    }

    #[test]
    fn ground_is_what_stars_keep_out_of() {
        let night = night();
        let foreground = night.groups[0].foreground.clone().unwrap();
        for (cell, ground) in foreground.ground.iter().enumerate() {
            assert_eq!(*ground, cell / GRID.0 >= 18, "cell {cell}");
        }
        assert!((foreground.ground_pct() - 25.0).abs() < 1e-9);
    }

    #[test]
    fn a_lamp_on_the_ground_shows_and_dusk_does_not() {
        let night = night();
        for (k, row) in night.rows.iter().enumerate() {
            let light = row.derived.ground_light_pct.unwrap();
            if k == 20 {
                // 4 % · exp(−x/12) is over 1.7 % on the left quarter and half that in the middle.
                assert!((1.5..4.0).contains(&light), "{light}");
            } else {
                assert!(light.abs() < 0.05, "frame {k}: {light}");
            }
        }
        assert!(night.groups[0].ground_light.unwrap().scatter < 0.01);
    }

    #[test]
    fn a_frame_without_ground_has_no_light_on_it() {
        let mut inputs = run(12);
        for input in &mut inputs {
            change(input, |measure| {
                measure.levels.cols = 4;
                measure.levels.rows = 3;
                measure.levels.level_pct = vec![8.0; 12];
                measure.levels.sky_pct = vec![100; 12];
            });
        }
        let night = assemble(&inputs, &NightOptions::default());
        assert!(
            night.groups[0]
                .foreground
                .as_ref()
                .unwrap()
                .ground
                .iter()
                .all(|is| !is)
        );
        assert_eq!(night.rows[5].derived.ground_light_pct, None);
        assert_eq!(night.rows[5].derived.ground_level_pct, None);
        // Frames of no levels at all.
        let night = assemble(&run(3), &NightOptions::default());
        assert_eq!(night.groups[0].foreground, None);
    }
}
