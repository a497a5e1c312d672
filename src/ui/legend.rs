//! The legend of the ribbon: each entry says how many and chooses them.

use egui::{Align, Layout, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use super::marks::{self, MarkKind};
use super::theme::{self, size};
use super::{Cx, inside, widgets};
use crate::app::{Action, OpenNight};
use crate::verdict::Verdict;

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    rect: Rect,
    actions: &mut Vec<Action>,
) {
    inside(ui, "legend", rect, |ui| {
        ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
            ui.spacing_mut().item_spacing.x = 18.0;
            entries(ui, cx, open, actions);
            let hint = "drag to choose frames, scroll to zoom";
            let galley = (ui.painter()).layout_no_wrap(
                hint.to_owned(),
                theme::words(size::SMALL),
                cx.t.ink3,
            );
            if ui.available_width() > galley.size().x + 8.0 {
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                    widgets::text(ui, hint, size::SMALL, cx.t.ink3);
                });
            }
        });
    });
}

fn entries(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, actions: &mut Vec<Action>) {
    let tally = open.tally;
    for (verdict, count) in [
        (Verdict::Keep, tally.keep),
        (Verdict::Doubtful, tally.doubtful),
        (Verdict::Reject, tally.reject),
    ] {
        let words = (verdict.word(), format!("{} frames", verdict.word()));
        let of = |row: usize| {
            open.verdict_of(row) == verdict && (!open.is_pending(row) || open.is_set_by_you(row))
        };
        let mark = MarkKind::Verdict(verdict);
        entry(ui, cx, open, mark, (words.0, &words.1), count, &of, actions);
    }
    if tally.by_you > 0 {
        let of = |row: usize| open.is_set_by_you(row);
        let words = ("set by you", "frames set by you");
        entry(
            ui,
            cx,
            open,
            MarkKind::ByYou,
            words,
            tally.by_you,
            &of,
            actions,
        );
    }
    if tally.pending > 0 {
        let of = |row: usize| open.is_pending(row);
        let words = ("not measured", "frames not measured yet");
        entry(
            ui,
            cx,
            open,
            MarkKind::Pending,
            words,
            tally.pending,
            &of,
            actions,
        );
    }
}

#[expect(
    clippy::too_many_arguments,
    reason = "one entry of a legend, said once"
)]
fn entry(
    ui: &mut Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    mark: MarkKind,
    (label, named): (&str, &str),
    count: usize,
    of: &dyn Fn(usize) -> bool,
    actions: &mut Vec<Action>,
) {
    let t = cx.t;
    let painter = ui.painter();
    let words = painter.layout_no_wrap(label.to_owned(), theme::words(13.0), t.ink2);
    let number = painter.layout_no_wrap(format!("{count}"), theme::numbers(12.0), t.ink);
    let wanted = vec2(18.0 + words.size().x + 6.0 + number.size().x, 20.0);
    let (rect, response) = ui.allocate_exact_size(wanted, Sense::click());
    let name = format!("Show {count} {named}");
    response.widget_info(|| WidgetInfo::labeled(Role::Button, count > 0, &name));
    let painter = ui.painter();
    let ink = if response.hovered() { t.ink } else { t.ink2 };
    marks::paint(
        painter,
        pos2(rect.left(), rect.center().y - 9.0),
        14.0,
        mark,
        t,
    );
    let at = pos2(rect.left() + 18.0, rect.center().y - words.size().y / 2.0);
    let number_x = at.x + words.size().x + 6.0;
    painter.galley_with_override_text_color(at, words, ink);
    let at = pos2(number_x, rect.center().y - number.size().y / 2.0);
    painter.galley(at, number, t.ink);
    widgets::focus_ring(ui, rect, &response, t);
    if response.clicked() {
        let places = (open.frames().iter().enumerate())
            .filter(|&(_, &row)| of(row))
            .map(|(place, _)| place)
            .collect();
        actions.push(Action::ChoosePlaces(places));
    }
    response.on_hover_text(name);
}
