//! Every frame in a table, and what the verdicts are handed on as.

mod columns;
mod heading;
mod line;
mod query;
mod rows;
mod side;
mod table;

use egui::{Rect, Stroke, TextEdit, Ui, pos2, vec2};

use crate::app::{Action, OpenNight};
use crate::ui::first_run::named;
use crate::ui::marks::MarkKind;
use crate::ui::theme::{self, size};
use crate::ui::widgets::{self, Button, Look};
use crate::ui::{Cx, frame_block, inside, night_page, supplied};
use crate::verdict::Verdict;
use query::Query;
use rows::{Asked, Show};

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub struct State {
    asked: Asked,
    table: table::State,
    supplied: supplied::State,
}

/// Heights of the title row and of the row of chips.
const TITLE: f32 = 40.0;
const CHIPS: f32 = 38.0;

/// Draws the page in all of `ui`, its title row and right panel included. `frame` is shared with
/// the night page so that a picture is on the card once.
pub fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    state: &mut State,
    frame: &mut frame_block::State,
    actions: &mut Vec<Action>,
) {
    let Some(night) = &cx.model.night else { return };
    let area = ui.max_rect();
    let side = if cx.fold.tiny {
        0.0
    } else {
        side::width(cx.fold)
    };
    let (left, right) = area.split_left_right_at_x(area.right() - side);
    let (title, rest) = left.split_top_bottom_at_y(left.top() + TITLE);
    let (chips, table) = rest.split_top_bottom_at_y(rest.top() + CHIPS);
    inside(ui, "frames title", title, |ui| {
        night_page::title_row(ui, cx, &mut state.supplied, actions);
    });
    let query = Query::parse(&state.asked.find);
    inside(ui, "frames chips", chips.shrink2(vec2(12.0, 0.0)), |ui| {
        chips_row(ui, cx, night, &mut state.asked);
    });
    let items = rows::items(night, &state.asked, &query);
    inside(ui, "frames table", table.shrink2(vec2(12.0, 0.0)), |ui| {
        if let Some(words) = nothing_to_show(night, &items, &query) {
            ui.add_space(16.0);
            widgets::text(ui, words, size::BODY, cx.t.ink2);
            return;
        }
        table::show(
            ui,
            cx,
            night,
            &mut state.table,
            &mut state.asked,
            &items,
            actions,
        );
    });
    if side > 0.0 {
        ui.painter().rect_filled(right, 0.0, cx.t.panel);
        (ui.painter()).vline(
            right.left() + 0.5,
            right.y_range(),
            Stroke::new(1.0, cx.t.line),
        );
        inside(ui, "frames side", right.shrink2(vec2(12.0, 0.0)), |ui| {
            side::show(ui, cx, frame, actions);
        });
    }
}

/// What stands in place of an empty table.
fn nothing_to_show(night: &OpenNight, items: &[rows::Item], query: &Query) -> Option<String> {
    if let Some(problem) = &query.problem {
        return Some(problem.clone());
    }
    if !items.is_empty() {
        return None;
    }
    Some(if night.frames().is_empty() {
        "No frames of the sky yet.".to_owned()
    } else if query.is_empty() {
        "No frame has this verdict.".to_owned()
    } else {
        "No frame is like that. Try fewer words, or another limit.".to_owned()
    })
}

/// Which verdicts are shown, folding, and the find field.
fn chips_row(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, asked: &mut Asked) {
    let row = ui.max_rect();
    let find_width = if cx.fold.narrow { 130.0 } else { 170.0 };
    let tally = night.tally;
    let verdict = |verdict: Verdict| Some(MarkKind::Verdict(verdict));
    let mut chips = vec![
        (Show::All, "all", night.frames().len(), None),
        (
            Show::Only(Verdict::Keep),
            "keep",
            tally.keep,
            verdict(Verdict::Keep),
        ),
        (
            Show::Only(Verdict::Doubtful),
            "doubtful",
            tally.doubtful,
            verdict(Verdict::Doubtful),
        ),
        (
            Show::Only(Verdict::Reject),
            "reject",
            tally.reject,
            verdict(Verdict::Reject),
        ),
    ];
    if tally.by_you > 0 || asked.show == Show::ByYou {
        chips.push((
            Show::ByYou,
            "set by you",
            tally.by_you,
            Some(MarkKind::ByYou),
        ));
    }
    let find = Rect::from_min_max(pos2(row.right() - find_width, row.top() + 5.0), row.max);
    let mut end = row.left();
    inside(ui, "chips", row.with_min_y(row.top() + 5.0), |ui| {
        ui.horizontal(|ui| {
            if !cx.fold.narrow {
                widgets::text(ui, "Show", size::BODY, cx.t.ink2);
            }
            for (show, label, count, mark) in chips {
                let count = count.to_string();
                let mut button = Button::new(label)
                    .key(&count)
                    .name(format!("Show {label}: {count} frames"))
                    .pressed(asked.show == show);
                if let Some(mark) = mark {
                    button = button.mark(mark);
                }
                if asked.show == show {
                    button = button.look(Look::Main);
                }
                if button.show(ui, cx.t).clicked() {
                    asked.show = show;
                }
            }
            end = ui.min_rect().right();
        });
    });
    let fold_words = if cx.fold.narrow {
        "Fold"
    } else {
        "Fold long runs"
    };
    let fold_width = if cx.fold.narrow { 62.0 } else { 122.0 };
    let fold = find.with_max_x(find.left() - 12.0);
    let fold = fold.with_min_x((fold.right() - fold_width).max(end + 8.0));
    inside(ui, "fold", fold.with_min_y(fold.top() + 2.0), |ui| {
        let name = "Fold long runs of equal frames";
        if widgets::check(ui, cx.t, fold_words, name, !asked.is_unfolded).clicked() {
            asked.is_unfolded = !asked.is_unfolded;
            asked.opened.clear();
        }
    });
    inside(ui, "find", find, |ui| {
        let edit = TextEdit::singleline(&mut asked.find)
            .id_salt("find")
            .hint_text(egui::RichText::new("find: width > 3").color(cx.t.ink3))
            .font(theme::words(size::BUTTON))
            .text_color(cx.t.ink)
            .desired_width(find_width - 16.0)
            .margin(egui::Margin::symmetric(8, 4));
        let response = ui.add(edit);
        named(ui, &response, "Find frames");
        let tip = "Words, and conditions such as width > 3 or sky < 12, joined by a space";
        response.on_hover_text(tip);
    });
}
