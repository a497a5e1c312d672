//! The table itself: only the rows in sight are drawn, whatever the number of frames.

use egui::{Role, Sense, Ui, Vec2, WidgetInfo};
use egui_extras::{Column as Width, TableBuilder};

use super::columns::COLUMNS;
use super::heading::{Heading, Place};
use super::line::Line;
use super::rows::{Asked, Item, SortBy};
use crate::app::{Action, OpenNight};
use crate::ui::Cx;

/// What the table keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {
    /// The chosen frame when it was last in sight, to follow it when keys move it.
    followed: Option<usize>,
}

const ROW: f32 = 25.0;
const HEADER: f32 = 28.0;
/// Columns of numbers are this much narrower in a narrow window.
const NARROW: f32 = 0.82;
/// Between columns, points.
pub(super) const GAP: f32 = 6.0;
/// The time stands this far in, so that it does not touch the number of the frame.
pub(super) const TIME_IN: f32 = 6.0;

/// Draws the table in all of `ui`.
pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    state: &mut State,
    asked: &mut Asked,
    items: &[Item],
    actions: &mut Vec<Action>,
) {
    ui.spacing_mut().item_spacing = Vec2::new(GAP, 0.0);
    // A bar with room of its own: a floating one would lie on the last column's numbers.
    ui.spacing_mut().scroll = egui::style::ScrollStyle::solid();
    ui.spacing_mut().scroll.bar_width = 8.0;
    let shown: Vec<usize> = (0..COLUMNS.len())
        .filter(|&column| !(cx.fold.narrow && COLUMNS[column].is_spare))
        .collect();
    let squeeze = if cx.fold.narrow { NARROW } else { 1.0 };
    let mut table = TableBuilder::new(ui)
        .id_salt("frames")
        .sense(Sense::click())
        .auto_shrink(false)
        .column(Width::exact(50.0).clip(false))
        .column(Width::exact(74.0).clip(false))
        .column(Width::exact(98.0).clip(false))
        .column(Width::remainder().at_least(90.0).clip(true));
    for &column in &shown {
        table = table.column(Width::exact(COLUMNS[column].width * squeeze).clip(false));
    }
    if state.followed != Some(night.chosen) {
        state.followed = Some(night.chosen);
        if let Some(row) = items.iter().position(|item| holds(*item, night.chosen)) {
            table = table.scroll_to_row(row, None);
        }
    }
    table
        .header(HEADER, |mut header| {
            for heading in headings(&shown) {
                header.col(|ui| heading.show(ui, cx.t, asked));
            }
        })
        .body(|body| {
            body.rows(ROW, items.len(), |mut row| {
                let Some(&item) = items.get(row.index()) else {
                    return;
                };
                let is_chosen = holds(item, night.chosen);
                let is_in_range = night.range.iter().any(|&place| holds(item, place));
                row.set_selected(is_chosen || is_in_range);
                let line = Line {
                    night,
                    t: cx.t,
                    item,
                    is_chosen,
                };
                row.col(|ui| line.frame_cell(ui));
                row.col(|ui| line.time_cell(ui));
                row.col(|ui| line.verdict_cell(ui));
                row.col(|ui| line.why_cell(ui));
                for &column in &shown {
                    row.col(|ui| line.number_cell(ui, column));
                }
                let response = row.response();
                response.widget_info(|| {
                    WidgetInfo::selected(Role::Row, true, is_chosen, line.spoken(&shown))
                });
                if response.clicked() {
                    let extend = response.ctx.input(|input| input.modifiers.shift);
                    line.clicked(extend, &mut asked.opened, actions);
                    if let Item::Frame(place) = item {
                        state.followed = Some(place);
                    }
                }
                if response.double_clicked() {
                    actions.push(Action::GoTo(crate::app::Page::Night));
                }
            });
        });
}

/// The four of every table, then the columns of numbers shown.
fn headings(shown: &[usize]) -> Vec<Heading> {
    let words = |name, tip, sort| Heading {
        name,
        unit: "",
        tip,
        sort,
        place: Place::Left,
    };
    let mut all = vec![
        Heading {
            place: Place::Right,
            ..words("frame", "In order of capture", Some(SortBy::Frame))
        },
        Heading {
            place: Place::Indented(TIME_IN),
            ..words("time", "Start of the exposure", None)
        },
        words("verdict", "Keep, doubtful, reject", Some(SortBy::Verdict)),
        words("why", "What speaks for the verdict", None),
    ];
    all.extend(shown.iter().map(|&index| {
        let column = &COLUMNS[index];
        Heading {
            name: column.name,
            unit: column.unit,
            tip: column.meaning,
            sort: Some(SortBy::Column(index)),
            place: Place::Right,
        }
    }));
    all
}

fn holds(item: Item, place: usize) -> bool {
    match item {
        Item::Frame(frame) => frame == place,
        Item::Run(first, last) => (first..=last).contains(&place),
    }
}
