//! The Compare page's state: what the crops show, and which two frames lie side by side.

use std::sync::Arc;

use crate::advice::Comparison;
use crate::engine::{Colour, CropPart, CropRequest, Effect};
use crate::export::settings_text;
use crate::night::FieldOf;

use super::action::Action;
use super::model::{Model, Page};
use super::open_night::OpenNight;

/// Side of a crop, px: a column's width on a screen of two px a point.
pub const CROP_SIDE: usize = 384;
/// Places of the frame that crops can show, as shares of its width and height on the sensor.
const FIELDS: [(f64, f64); 5] = [
    (0.5, 0.5),
    (0.25, 0.3),
    (0.75, 0.3),
    (0.25, 0.65),
    (0.75, 0.65),
];
/// Most frames stacked for equal total time: more would take a minute to read.
const MOST_STACKED: usize = 16;

/// How far a crop is.
#[derive(Debug, Clone)]
pub enum CropState {
    /// Asked for.
    Loading,
    /// Here.
    Ready(Arc<Colour>),
    /// Could not be read, and why.
    Failed(String),
}

/// The field of one column's crop.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// The frame it is cut from, or the middle one of a stack: a row of the night.
    pub row: usize,
    /// The crop's centre in that frame, px.
    pub centre: (f64, f64),
    /// Frames stacked; 1 for a single one.
    pub frames: usize,
    /// What is cut.
    pub request: CropRequest,
}

/// One of two pictures side by side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Side {
    /// The column.
    pub column: usize,
    /// Which of its frames, a place in its rows.
    pub frame: usize,
}

/// What the Compare page shows of an open night.
#[derive(Debug, Default)]
pub struct Comparing {
    /// Stack the shorter frames until the open time is the same.
    pub equal_time: bool,
    /// Crops as recorded, rather than brought to the same brightness.
    pub as_recorded: bool,
    /// Which of the places crops show.
    pub place: usize,
    /// The two pictures side by side; `None` shows the columns.
    pub pair: Option<[Side; 2]>,
    /// A field for each column, once all frames are measured.
    pub fields: Vec<Field>,
    /// Crops asked for.
    crops: Vec<(CropRequest, CropState)>,
    /// Whether `fields` is to be found anew.
    is_stale: bool,
}

impl Comparing {
    /// A crop, as far as it is.
    #[must_use]
    pub fn crop_of(&self, request: &CropRequest) -> Option<&CropState> {
        (self.crops.iter()).find_map(|(wish, state)| (wish == request).then_some(state))
    }

    /// Columns or frames changed: the fields are sought again, and the pair kept if it still is one.
    pub(super) fn derived_anew(&mut self, comparison: Option<&Comparison>) {
        self.is_stale = true;
        let columns = comparison.map_or(&[][..], |c| c.columns.as_slice());
        let is_there = |side: &Side| {
            (columns.get(side.column)).is_some_and(|column| side.frame < column.rows.len())
        };
        self.pair = self.pair.filter(|pair| pair.iter().all(is_there));
    }

    /// The place crops show, as shares of the frame's width and height on the sensor.
    #[must_use]
    pub fn place_share(&self) -> (f64, f64) {
        FIELDS.get(self.place).copied().unwrap_or(FIELDS[0])
    }

    pub(super) fn take_crop(&mut self, request: &CropRequest, crop: Result<Arc<Colour>, String>) {
        // One that is no longer wanted is dropped.
        if let Some((_, state)) = self.crops.iter_mut().find(|(wish, _)| wish == request) {
            *state = match crop {
                Ok(crop) => CropState::Ready(crop),
                Err(why) => CropState::Failed(why),
            };
        }
    }
}

impl OpenNight {
    /// The settings of the camera shown, side by side.
    #[must_use]
    pub fn comparison(&self) -> Option<&Comparison> {
        self.derived.comparisons.get(self.set)
    }

    /// The row of one of two pictures.
    #[must_use]
    pub fn row_of_side(&self, side: Side) -> Option<usize> {
        let column = self.comparison()?.columns.get(side.column)?;
        column.rows.get(side.frame).copied()
    }

    /// The same stars for every column: about one place of the middle frame of the first.
    fn find_fields(&self) -> Vec<Field> {
        let Some(comparison) = self.comparison() else {
            return Vec::new();
        };
        let night = self.night();
        let first = comparison
            .columns
            .first()
            .map(|column| middle(&column.rows));
        let size = first
            .and_then(|row| night.rows.get(row)?.measure.as_deref())
            .map(|m| (m.width_px as f64, m.height_px as f64));
        let (Some(first), Some((width, height))) = (first, size) else {
            return Vec::new();
        };
        let place = self.comparing.place_share();
        let anchor = (place.0 * width, place.1 * height);
        let of_first = FieldOf::row(night, first);
        let field = |rows: &[usize], frames: usize| {
            let centre_row = middle(rows);
            let stacked = around(rows, frames);
            let at = |row: usize| of_first.in_row(row).at(anchor.0, anchor.1);
            let part = |&row: &usize| {
                let (x, y) = at(row);
                let corner = |centre: f64| (centre - CROP_SIDE as f64 / 2.0).round() as i64;
                Some(CropPart {
                    shot: night.rows.get(row)?.shot,
                    left: corner(x),
                    top: corner(y),
                })
            };
            Field {
                row: centre_row,
                centre: at(centre_row),
                frames: stacked.len(),
                request: CropRequest {
                    parts: stacked.iter().filter_map(part).collect(),
                    side: CROP_SIDE,
                },
            }
        };
        (comparison.columns.iter().enumerate())
            .map(|(at, column)| {
                let frames = if self.comparing.equal_time {
                    comparison.frames_for_equal_time(at)
                } else {
                    1.0
                };
                field(
                    &column.rows,
                    (frames.round() as usize).clamp(1, MOST_STACKED),
                )
            })
            .collect()
    }
}

fn middle(rows: &[usize]) -> usize {
    rows.get(rows.len() / 2).copied().unwrap_or(0)
}

/// `count` rows about the middle one, as many as there are.
fn around(rows: &[usize], count: usize) -> &[usize] {
    let count = count.min(rows.len());
    let from = (rows.len() / 2)
        .saturating_sub(count / 2)
        .min(rows.len() - count);
    rows.get(from..from + count).unwrap_or(&[])
}

impl Model {
    /// Applies an action of the Compare page; passes over any other.
    pub(super) fn compare(&mut self, action: &Action) {
        let Some(night) = &mut self.night else {
            return;
        };
        let columns = night.comparison().map_or(0, |c| c.columns.len());
        let best = night.comparison().and_then(|c| c.best).unwrap_or(0);
        let frames = |night: &OpenNight, column: usize| {
            let column = night.comparison().and_then(|c| c.columns.get(column));
            column.map_or(0, |column| column.rows.len())
        };
        match *action {
            Action::CopyComparison => self.to_copy = night.comparison().map(settings_text),
            Action::ToggleEqualTime => {
                night.comparing.equal_time = !night.comparing.equal_time;
                night.comparing.is_stale = true;
            }
            Action::ShowAsRecorded(as_recorded) => night.comparing.as_recorded = as_recorded,
            Action::MoveCrop => {
                night.comparing.place = (night.comparing.place + 1) % FIELDS.len();
                night.comparing.is_stale = true;
            }
            Action::ToggleSideBySide if night.comparing.pair.is_some() => {
                night.comparing.pair = None;
            }
            Action::ToggleSideBySide if columns > 1 => night.show_beside(best, best),
            Action::ShowBeside(column) if column < columns && columns > 1 => {
                night.show_beside(column, best);
            }
            Action::SetSide(which, column) if column < columns => {
                let frame = frames(night, column) / 2;
                night.put_side(which, Side { column, frame });
            }
            Action::StepSide(which, by) => {
                let Some(side) = night.comparing.pair.and_then(|p| p.get(which).copied()) else {
                    return;
                };
                let last = frames(night, side.column).saturating_sub(1);
                let frame = side.frame.saturating_add_signed(by).min(last);
                night.put_side(which, Side { frame, ..side });
            }
            _ => {}
        }
    }

    /// Asks for the crops the Compare page shows when they are neither here nor on their way.
    pub(super) fn want_crops(&mut self, effects: &mut Vec<Effect>) {
        if self.page != Page::Compare {
            return;
        }
        let Some(night) = &mut self.night else {
            return;
        };
        // While frames come in, which one stands for its setting changes with each.
        if night.progress.is_some() || !night.comparing.is_stale {
            return;
        }
        night.comparing.is_stale = false;
        let several = night.comparison().is_some_and(Comparison::has_several);
        night.comparing.fields = if several {
            night.find_fields()
        } else {
            Vec::new()
        };
        let wishes = night
            .comparing
            .fields
            .iter()
            .map(|field| field.request.clone());
        let comparing = &night.comparing;
        let crops: Vec<(CropRequest, CropState)> = wishes
            .map(|wish| {
                let state = comparing.crop_of(&wish).cloned();
                (wish, state.unwrap_or(CropState::Loading))
            })
            .collect();
        let missing: Vec<CropRequest> = (crops.iter())
            .filter(|(_, state)| matches!(state, CropState::Loading))
            .map(|(wish, _)| wish.clone())
            .collect();
        night.comparing.crops = crops;
        if !missing.is_empty() {
            effects.push(Effect::LoadCrops(missing));
        }
    }
}

impl OpenNight {
    /// A column beside the best one, or the best one beside its neighbour.
    fn show_beside(&mut self, column: usize, best: usize) {
        let rows = |column: usize| {
            let column = self.comparison().and_then(|c| c.columns.get(column));
            column.map_or(0, |column| column.rows.len())
        };
        let other = match (column == best, rows(best + 1) > 0) {
            (false, _) => best,
            (true, true) => best + 1,
            (true, false) => best.saturating_sub(1),
        };
        let side = |column: usize| Side {
            column,
            frame: rows(column) / 2,
        };
        let pair = [side(column.min(other)), side(column.max(other))];
        self.comparing.pair = Some(pair);
    }

    fn put_side(&mut self, which: usize, side: Side) {
        if let Some(slot) = self
            .comparing
            .pair
            .as_mut()
            .and_then(|pair| pair.get_mut(which))
        {
            *slot = side;
        }
    }

    /// The shots of the two pictures side by side, while they are looked at.
    pub(super) fn pair_looked_at(&self, page: Page) -> Option<[usize; 2]> {
        let [left, right] = self.comparing.pair.filter(|_| page == Page::Compare)?;
        let shot = |side| Some(self.night().rows.get(self.row_of_side(side)?)?.shot);
        Some([shot(left)?, shot(right)?])
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::advice::compare::Column;
    use crate::engine::NightId;

    /// A window on a night of three settings with four frames each, the second best.
    fn window() -> Model {
        let column = |first: usize| Column {
            rows: (first..first + 4).collect(),
            ..Column::default()
        };
        let comparison = Comparison {
            columns: vec![column(0), column(4), column(8)],
            best: Some(1),
            ..Comparison::default()
        };
        let mut night = OpenNight::new(
            NightId(1),
            "ladder".to_owned(),
            Vec::new(),
            crate::verdict::Decisions::default(),
        );
        night.derived.comparisons = Arc::new(vec![comparison]);
        Model {
            night: Some(night),
            page: Page::Compare,
            ..Model::default()
        }
    }

    fn pair(model: &Model) -> Option<[(usize, usize); 2]> {
        let pair = model.night.as_ref()?.comparing.pair?;
        Some(pair.map(|side| (side.column, side.frame)))
    }

    #[test]
    fn two_lie_side_by_side_and_frames_stay_within_their_setting() {
        let mut model = window();
        model.compare(&Action::ToggleSideBySide);
        assert_eq!(pair(&model), Some([(1, 2), (2, 2)]));
        model.compare(&Action::StepSide(0, 9));
        model.compare(&Action::StepSide(1, -9));
        assert_eq!(pair(&model), Some([(1, 3), (2, 0)]));
        model.compare(&Action::SetSide(1, 0));
        model.compare(&Action::SetSide(1, 7));
        assert_eq!(pair(&model), Some([(1, 3), (0, 2)]));
        model.apply(Action::Escape);
        assert_eq!(pair(&model), None);
        model.compare(&Action::ShowBeside(0));
        assert_eq!(pair(&model), Some([(0, 2), (1, 2)]));
        model.compare(&Action::ToggleSideBySide);
        assert_eq!(pair(&model), None);
    }

    #[test]
    fn a_pair_of_settings_that_went_is_dropped() {
        let mut model = window();
        model.compare(&Action::ShowBeside(2));
        let night = model.night.as_mut().unwrap();
        let comparisons = Arc::clone(&night.derived.comparisons);
        night.comparing.derived_anew(comparisons.first());
        assert!(night.comparing.pair.is_some());
        night.comparing.derived_anew(None);
        assert!(night.comparing.pair.is_none());
    }

    #[test]
    fn a_stack_is_taken_about_the_middle() {
        let rows = [3, 4, 5, 6, 7];
        assert_eq!(around(&rows, 1), [5]);
        assert_eq!(around(&rows, 2), [4, 5]);
        assert_eq!(around(&rows, 9), rows);
        assert!(around(&[], 2).is_empty());
    }
}
