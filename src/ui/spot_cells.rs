//! The five spots beside the frame, at 1:1, laid out as they lie in it, and in the sixth cell what
//! they mean together.

use egui::{Color32, Rect, Role, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, pos2, vec2};

use super::Cx;
use super::frame_view::{self, Seen, State};
use super::spots::{self, Meaning, Spot};
use super::theme::{self, Tokens, size};
use crate::base::Spin2;

/// Between cells, points.
const GAP: f32 = 8.0;
/// Height of the words under a spot, points.
const PLATE: f32 = 20.0;

/// The cells of the five spots and of their meaning.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cells {
    pub spots: [Rect; 5],
    /// `None` in one row, where the spots' tips say what they mean together.
    pub meaning: Option<Rect>,
}

impl Cells {
    /// Three across and two down with the meaning between the two lower corners, or, with
    /// `one_row`, five across.
    pub(super) fn of(area: Rect, one_row: bool) -> Self {
        let (cols, rows) = if one_row { (5, 1) } else { (3, 2) };
        let gap = if one_row { GAP / 2.0 } else { GAP };
        let size = vec2(
            (area.width() - gap * (cols - 1) as f32) / cols as f32,
            (area.height() - gap * (rows - 1) as f32) / rows as f32,
        )
        .max(Vec2::splat(1.0));
        let cell = |i: usize| {
            let step = size + Vec2::splat(gap);
            let at = vec2((i % cols) as f32 * step.x, (i / cols) as f32 * step.y);
            Rect::from_min_size(area.min + at, size)
        };
        let bottom_right = if one_row { 4 } else { 5 };
        Self {
            spots: [cell(0), cell(1), cell(2), cell(3), cell(bottom_right)],
            meaning: (!one_row).then(|| cell(4)),
        }
    }

    /// Size of a spot's crop in frame px.
    pub(super) fn crop(&self, scale: f32) -> Vec2 {
        self.spots[0].size() * scale
    }
}

/// Draws the cells; a click looks at that place of the frame at 1:1.
pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, cells: &Cells, state: &mut State, seen: &Seen<'_>) {
    let Some(turn) = &seen.turn else { return };
    let spots = seen.spots(turn);
    let is_measured = seen.row.measure.is_some();
    let meaning = is_measured.then(|| {
        let measure = seen.row.measure.as_deref();
        spots::meaning(&spots, measure, width_ratio(seen))
    });
    let together = match (&meaning, cells.meaning) {
        (Some(meaning), None) => format!("\nTogether: {}", meaning.words()),
        _ => String::new(),
    };
    for (place, (spot, rect)) in spots.iter().zip(cells.spots).enumerate() {
        let response = ui.interact(rect, ui.scope_id().with(("spot", place)), Sense::click());
        let name = spoken(spot);
        response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &name));
        frame_view::show_crop(ui, cx, rect, state, seen, (place, spot));
        plate(ui, cx.t, rect, spot, is_measured);
        if response.hovered() || response.has_focus() {
            let width = if response.has_focus() { 2.0 } else { 1.0 };
            let stroke = Stroke::new(width, cx.t.ink);
            ui.painter()
                .rect_stroke(rect, 2.0, stroke, StrokeKind::Inside);
        }
        if response.clicked() {
            state.look_at(spot.shown);
        }
        response.on_hover_text(format!("{name}. Click to look there at 1:1.{together}"));
    }
    if let Some(meaning) = meaning {
        match cells.meaning {
            Some(rect) => tell(ui, cx.t, rect, &meaning),
            None => only_say(ui, &cells.spots, &meaning),
        }
    }
}

/// Says what the spots mean to a screen reader, where there is no room to write it.
fn only_say(ui: &Ui, spots: &[Rect; 5], meaning: &Meaning) {
    let row = spots
        .iter()
        .fold(Rect::NOTHING, |row, cell| row.union(*cell));
    // Above the cells, which have tips and clicks of their own.
    let edge = row.with_max_y(row.top() + 1.0);
    let response = ui.interact(edge, ui.scope_id().with("spots together"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, meaning.words()));
}

fn width_ratio(seen: &Seen<'_>) -> Option<f64> {
    let width = seen.row.measure.as_ref()?.fwhm_px?;
    let usual = seen.row.typical.fwhm_px.filter(|usual| *usual > 0.0)?;
    Some(width / usual)
}

/// "Top left spot, trails 8.3 px, predicted 8.3".
fn spoken(spot: &Spot) -> String {
    let mut letters = spot.name.chars();
    let name: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .chain(letters)
        .collect();
    let predicted = (spot.predicted)
        .map(|p| format!(", predicted {:.1}", p.length_px()))
        .unwrap_or_default();
    match spot.measured {
        Some(trail) => format!("{name} spot, trails {:.1} px{predicted}", trail.length_px()),
        None => format!("{name} spot, no trail measured{predicted}"),
    }
}

fn plate(ui: &Ui, t: &Tokens, rect: Rect, spot: &Spot, is_measured: bool) {
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    let plate = Rect::from_min_max(pos2(rect.left(), rect.bottom() - PLATE), rect.max);
    painter.rect_filled(plate, 0.0, Color32::from_black_alpha(176));
    let value = match spot.measured.map(Spin2::length_px) {
        Some(length) => format!("{length:.1} px"),
        None if is_measured => "no stars".to_owned(),
        None => String::new(),
    };
    let ink = match (spot.measured, spot.predicted) {
        (Some(m), Some(p)) if !spots::within_band(m.length_px(), p.length_px()) => t.over_doubt,
        _ => t.over,
    };
    let font = if spot.measured.is_some() {
        theme::numbers(size::SMALL - 0.5)
    } else {
        theme::words(size::SMALL)
    };
    let value = painter.layout_no_wrap(value, font, ink);
    let name = painter.layout_no_wrap(spot.name.to_owned(), theme::words(size::SMALL), t.over);
    let middle = plate.center().y;
    let edge = ((plate.width() - value.size().x) / 2.0).clamp(0.0, 6.0);
    let value_left = plate.right() - edge - value.size().x;
    // In a narrow cell the value matters more than the name: where it is can be seen.
    if plate.left() + 6.0 + name.size().x + 6.0 <= value_left {
        painter.galley(
            pos2(plate.left() + 6.0, middle - name.size().y / 2.0),
            name,
            t.over,
        );
    }
    painter.galley(pos2(value_left, middle - value.size().y / 2.0), value, ink);
}

/// What the spots mean, as large as it fits; the tip has it whole.
fn tell(ui: &mut Ui, t: &Tokens, rect: Rect, meaning: &Meaning) {
    let response = ui.interact(rect, ui.scope_id().with("spots together"), Sense::hover());
    let words = meaning.words();
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &words));
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    let width = (rect.width() - 8.0).max(20.0);
    for points in [13.0, 12.5, 12.0] {
        let seen = painter.layout(meaning.seen.clone(), theme::words(points), t.ink, width);
        let so = painter.layout(meaning.so.clone(), theme::words(points), t.ink2, width);
        let height = seen.size().y + so.size().y;
        if height <= rect.height() || points <= 12.0 {
            let top = (rect.center().y - height / 2.0).max(rect.top());
            let at = pos2(rect.left() + 4.0, top);
            let below = at + vec2(0.0, seen.size().y);
            painter.galley(at, seen, t.ink);
            painter.galley(below, so, t.ink2);
            break;
        }
    }
    response.on_hover_text(words);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_lie_where_they_are_in_the_frame() {
        let area = Rect::from_min_size(pos2(10.0, 20.0), vec2(316.0, 208.0));
        let cells = Cells::of(area, false);
        assert_eq!(cells.spots[0].min, area.min);
        assert_eq!(cells.spots[2].right(), area.right());
        assert_eq!(cells.spots[3].left_bottom(), area.left_bottom());
        assert_eq!(cells.spots[4].max, area.max);
        let meaning = cells.meaning.unwrap();
        assert_eq!(meaning.center().x, cells.spots[1].center().x);
        let row = Cells::of(area, true);
        assert!(row.meaning.is_none());
        assert_eq!(row.spots[4].max, area.max);
        assert!(row.spots.iter().all(|cell| cell.height() == 208.0));
    }
}
