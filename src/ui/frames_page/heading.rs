//! The heading of a column: its name, its unit, and what sorts by it.

use egui::{Role, Sense, Stroke, Ui, Vec2, WidgetInfo, pos2};

use super::rows::{Asked, SortBy};
use super::table::GAP;
use crate::ui::marks;
use crate::ui::theme::{self, Tokens};
use crate::ui::widgets;

/// Where a heading stands in its column: over what stands below it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Place {
    Left,
    /// From the left, points.
    Indented(f32),
    /// Numbers stand at the right.
    Right,
}

/// A heading; a click sorts by it, another the other way round, a third back to order of capture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Heading {
    pub(super) name: &'static str,
    pub(super) unit: &'static str,
    /// What the column tells.
    pub(super) tip: &'static str,
    /// What a click sorts by.
    pub(super) sort: Option<SortBy>,
    pub(super) place: Place,
}

impl Heading {
    pub(super) fn show(&self, ui: &mut Ui, t: &Tokens, asked: &mut Asked) {
        let is_sorted =
            self.sort == Some(asked.sort) && (asked.sort != SortBy::Frame || asked.is_descending);
        self.paint(ui, t, is_sorted.then_some(asked.is_descending));
        let Some(sort) = self.sort else { return };
        let rect = ui.max_rect();
        let response = ui.interact(rect, ui.scope_id().with("sort"), Sense::click());
        response.widget_info(|| {
            let name = format!("Sort by {}", self.name);
            WidgetInfo::selected(Role::Button, true, is_sorted, name)
        });
        widgets::focus_ring(ui, rect.shrink(3.0), &response, t);
        if response.clicked() {
            match (asked.sort == sort, asked.is_descending) {
                (false, _) => (asked.sort, asked.is_descending) = (sort, false),
                (true, false) => asked.is_descending = true,
                (true, true) => (asked.sort, asked.is_descending) = (SortBy::Frame, false),
            }
        }
        response.on_hover_text(format!("{}. Click to sort", self.tip));
    }

    /// Paints it, with a triangle when the table is sorted by it, descending or not.
    fn paint(&self, ui: &Ui, t: &Tokens, sorted: Option<bool>) {
        let rect = ui.max_rect();
        let painter = ui.painter();
        let ink = if sorted.is_some() { t.ink } else { t.ink2 };
        let name = painter.layout_no_wrap(self.name.to_owned(), theme::words(13.0), ink);
        let unit = painter.layout_no_wrap(self.unit.to_owned(), theme::words(10.5), ink);
        let before_unit = if self.unit.is_empty() { 0.0 } else { 4.0 };
        let width = name.size().x + before_unit + unit.size().x;
        let left = match self.place {
            Place::Left => rect.left(),
            Place::Indented(by) => rect.left() + by,
            Place::Right => rect.right() - width,
        };
        let middle = rect.center().y;
        if let Some(is_descending) = sorted {
            let towards = if is_descending { Vec2::DOWN } else { Vec2::UP };
            let x = if self.place == Place::Right {
                left - 8.0
            } else {
                left + width + 9.0
            };
            marks::triangle(painter, pos2(x, middle), 7.0, towards, t.ink);
        }
        let unit_at = pos2(
            left + name.size().x + before_unit,
            middle - unit.size().y / 2.0 + 1.0,
        );
        painter.galley(pos2(left, middle - name.size().y / 2.0), name, ink);
        painter.galley(unit_at, unit, ink);
        let across = rect.left() - GAP..=rect.right() + GAP;
        painter.hline(across, rect.bottom() - 0.5, Stroke::new(1.0, t.line2));
    }
}
