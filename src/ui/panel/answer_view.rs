//! The answer: how many of each, one sentence, and how they join.

use std::sync::Arc;

use egui::{Align2, Galley, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use super::{Cx, PAD};
use crate::app::OpenNight;
use crate::ui::glossary;
use crate::ui::marks::{self, MarkKind};
use crate::ui::theme::{self, size};
use crate::verdict::Verdict;

/// Height of the numbers, points.
const NUMBERS: f32 = 44.0;

fn sentence(ui: &Ui, cx: Cx<'_>, open: &OpenNight, width: f32) -> Arc<Galley> {
    let text = open.answer.sentence.clone();
    let font = theme::words(size::FINDING);
    ui.painter().layout(text, font, cx.t.ink, width - 2.0 * PAD)
}

/// How high the answer is in a panel of this width.
pub(super) fn height(ui: &Ui, cx: Cx<'_>, open: &OpenNight, width: f32) -> f32 {
    NUMBERS + sentence(ui, cx, open, width).size().y + 30.0
}

pub(super) fn show(ui: &Ui, cx: Cx<'_>, open: &OpenNight) {
    let area = ui.max_rect();
    let t = cx.t;
    let tally = open.tally;
    let (top, rest) = area.split_top_bottom_at_y(area.top() + NUMBERS);
    let cells = [
        (Verdict::Reject, tally.reject, "to\nreject", "reject"),
        (
            Verdict::Doubtful,
            tally.doubtful,
            "doubtful,\nusable",
            "doubtful",
        ),
        (Verdict::Keep, tally.keep, "to\nkeep", "keep"),
    ];
    let inner = top.shrink2(vec2(PAD, 0.0));
    let mut x = inner.left();
    for (index, (verdict, count, long, short)) in cells.into_iter().enumerate() {
        let words = if cx.fold.narrow { short } else { long };
        if !cx.fold.narrow {
            x = inner.left() + inner.width() * [0.0, 0.335, 0.7][index.min(2)];
        }
        let cell = pos2(x, inner.top());
        x = number(ui, cx, cell, verdict, count, words) + 8.0;
    }
    let painter = ui.painter();
    let sentence = sentence(ui, cx, open, area.width());
    let sum = open.answer.joins.clone();
    let name = format!(
        "{} to reject, {} doubtful but usable, {} to keep; {sum}. {}",
        tally.reject,
        tally.doubtful,
        tally.keep,
        sentence.text()
    );
    let y = rest.top() + 2.0;
    let below = y + sentence.size().y + 2.0;
    painter.galley(pos2(rest.left() + PAD, y), sentence, t.ink);
    let font = theme::words(13.0);
    painter.text(
        pos2(rest.left() + PAD, below),
        Align2::LEFT_TOP,
        sum,
        font,
        t.ink2,
    );
    let response = ui.interact(area, ui.scope_id().with("answer"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &name));
}

/// A mark, a number and its words; where they end comes back.
fn number(ui: &Ui, cx: Cx<'_>, at: egui::Pos2, verdict: Verdict, count: usize, words: &str) -> f32 {
    let t = cx.t;
    let painter = ui.painter();
    let (mark_size, number_size) = if cx.fold.narrow {
        (18.0, size::ANSWER - 2.0)
    } else {
        (24.0, size::ANSWER)
    };
    let row = Rect::from_min_size(at, vec2(10.0, NUMBERS));
    let mark_at = pos2(at.x - 2.0, row.center().y - mark_size * 0.62);
    marks::paint(painter, mark_at, mark_size, MarkKind::Verdict(verdict), t);
    let font = theme::words(number_size);
    let number = painter.layout_no_wrap(format!("{count}"), font, t.ink);
    let x = at.x + mark_size + if cx.fold.narrow { 3.0 } else { 6.0 };
    let number_at = pos2(x, row.center().y - number.size().y / 2.0);
    let words_x = x + number.size().x + if cx.fold.narrow { 4.0 } else { 7.0 };
    painter.galley(number_at, number, t.ink);
    let font = theme::words(13.0);
    let words = painter.layout_no_wrap(words.to_owned(), font, t.ink2);
    let words_at = pos2(words_x, row.center().y - words.size().y / 2.0 + 1.0);
    let end = words_x + words.size().x;
    painter.galley(words_at, words, t.ink2);
    let hit = Rect::from_min_max(at, pos2(end, row.bottom()));
    let id = ui.scope_id().with(verdict.word());
    let response = ui.interact(hit, id, Sense::hover());
    response.widget_info(|| {
        WidgetInfo::labeled(Role::Label, true, format!("{count} {}", verdict.word()))
    });
    response.on_hover_text(glossary::meaning(verdict.word()));
    end
}
