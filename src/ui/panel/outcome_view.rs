//! What you will get: what the used frames make, for the purpose.

use egui::{Align2, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use super::{Cx, PAD, heading};
use crate::advice::Outcome;
use crate::app::commands::command;
use crate::app::{Action, OpenNight};
use crate::chart::axis::number;
use crate::ui::facts;
use crate::ui::glossary;
use crate::ui::inside;
use crate::ui::status::duration;
use crate::ui::theme::{self, size};
use crate::ui::widgets::Button;
use crate::verdict::Purpose;

/// Height of the block, points.
pub(super) const HEIGHT: f32 = 102.0;
/// Height of the row with its button, points.
const SAVE: f32 = 34.0;

/// One number of the outcome.
struct Figure {
    term: &'static str,
    value: String,
    first: String,
    second: String,
}

fn used(outcome: &Outcome) -> Figure {
    Figure {
        term: "used",
        value: format!("{}", outcome.used),
        first: format!("of {} frames", outcome.total),
        second: "used".to_owned(),
    }
}

fn arc(outcome: &Outcome) -> Option<Figure> {
    let arc = outcome.arc_deg?;
    let possible = outcome.possible_arc_deg;
    Some(Figure {
        term: "arc",
        value: format!("{}°", number(arc, 1)),
        first: "of arc, of a".to_owned(),
        second: possible.map_or_else(String::new, |p| format!("possible {}°", number(p, 1))),
    })
}

fn film(outcome: &Outcome) -> Option<Figure> {
    let main = (outcome.film.iter().find(|film| film.rate == 24)).or(outcome.film.first())?;
    let others: Vec<String> = (outcome.film.iter())
        .filter(|film| film.rate != main.rate)
        .map(|film| format!("{} at {}", number(film.seconds, 1), film.rate))
        .collect();
    Some(Figure {
        term: "film",
        value: format!("{} s", number(main.seconds, 1)),
        first: format!("film at {} per s", main.rate),
        second: others.join(", "),
    })
}

fn gap(outcome: &Outcome) -> Option<Figure> {
    let gap = outcome.widest_gap_px?;
    Some(Figure {
        term: "gap",
        value: format!("{} px", number(gap, usize::from(gap < 20.0))),
        first: "widest gap,".to_owned(),
        second: "at most".to_owned(),
    })
}

fn open_time(outcome: &Outcome) -> Option<Figure> {
    let open_s = outcome.open_s?;
    Some(Figure {
        term: "open",
        value: duration(open_s),
        first: "shutter open".to_owned(),
        second: "in all".to_owned(),
    })
}

/// The figures, the one the purpose is about first.
fn figures(outcome: &Outcome, purpose: Purpose) -> Vec<Figure> {
    let used = Some(used(outcome));
    let ordered = match purpose {
        Purpose::Trails => [used, arc(outcome), film(outcome), gap(outcome)],
        Purpose::Timelapse => [film(outcome), used, arc(outcome), gap(outcome)],
        Purpose::Tracked => [open_time(outcome), used, None, None],
        Purpose::Still => [used, open_time(outcome), None, None],
    };
    ordered.into_iter().flatten().collect()
}

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    let head = area.with_max_y(area.top() + 32.0);
    let all_answered = (open.judged().findings.iter())
        .all(|finding| finding.offers.is_empty() || open.answer_to(finding).is_some());
    let hint = if all_answered {
        ""
    } else {
        "if you follow the findings"
    };
    heading(ui, cx, head, "What you will get", hint);
    let figures = figures(&open.outcome, cx.model.purpose);
    let columns = if cx.fold.narrow {
        2
    } else {
        figures.len().max(1)
    };
    let inner = area.shrink2(vec2(PAD, 0.0));
    // The film's second line is the longest and needs the widest column.
    let shares = if figures.len() == 4 && columns == 4 {
        vec![0.0, 0.235, 0.465, 0.795]
    } else {
        (0..columns).map(|i| i as f32 / columns as f32).collect()
    };
    for (index, figure) in figures.iter().enumerate() {
        let share = shares.get(index % columns).copied().unwrap_or(0.0);
        let left = inner.left() + share * inner.width();
        let top = head.bottom() + (index / columns) as f32 * 74.0;
        figure_view(
            ui,
            cx,
            Rect::from_min_size(pos2(left, top), vec2(90.0, 68.0)),
            figure,
        );
    }
    let rows = figures.len().div_ceil(columns);
    let top = head.bottom() + rows as f32 * 74.0 - 6.0;
    let rect = Rect::from_min_max(pos2(inner.left(), top), inner.max);
    inside(ui, "save", rect, |ui| {
        ui.horizontal(|ui| {
            if cx.model.purpose == Purpose::Trails {
                command_button(ui, cx, "save-trails", actions);
            }
            command_button(ui, cx, "hand-over", actions);
        });
    });
}

/// Height of all of it in a wide window, points.
pub(super) const fn height() -> f32 {
    HEIGHT + SAVE
}

/// What the used frames make, and what becomes of all of them.
fn command_button(ui: &mut Ui, cx: Cx<'_>, id: &str, actions: &mut Vec<Action>) {
    let Some(command) = command(id) else {
        return;
    };
    let action = (command.action)(cx.model);
    let button = Button::new(command.label).enabled(action.is_some());
    let response = button.show(ui, cx.t).on_hover_text(command.tip_with_key());
    if response.clicked() {
        actions.extend(action);
    }
}

fn figure_view(ui: &Ui, cx: Cx<'_>, rect: Rect, figure: &Figure) {
    let t = cx.t;
    let painter = ui.painter();
    let top = Align2::LEFT_TOP;
    painter.text(
        rect.min,
        top,
        &figure.value,
        theme::words(size::RESULT),
        t.ink,
    );
    let small = theme::words(size::SMALL);
    let first = rect.min + vec2(0.0, 29.0);
    painter.text(first, top, &figure.first, small.clone(), t.ink2);
    let second = rect.min + vec2(0.0, 45.0);
    painter.text(second, top, &figure.second, small, t.ink2);
    let id = ui.scope_id().with(("figure", &figure.first));
    let response = ui.interact(rect, id, Sense::hover());
    response.widget_info(|| {
        let name = format!("{} {} {}", figure.value, figure.first, figure.second);
        WidgetInfo::labeled(Role::Label, true, name)
    });
    response.on_hover_text(glossary::meaning(figure.term));
}

/// The outcome in one line.
pub(super) fn one_line(cx: Cx<'_>, open: &OpenNight) -> String {
    let outcome = &open.outcome;
    let mut parts = vec![format!("{} frames", outcome.used)];
    match cx.model.purpose {
        Purpose::Trails | Purpose::Timelapse => {
            parts.extend(
                outcome
                    .arc_deg
                    .map(|arc| format!("{}° of arc", number(arc, 1))),
            );
            let film = outcome.film.iter().find(|film| film.rate == 24);
            parts.extend(film.map(|film| format!("{} s of film", facts::short(film.seconds))));
        }
        Purpose::Still | Purpose::Tracked => {
            parts.extend(
                outcome
                    .open_s
                    .map(|open_s| format!("{} open", duration(open_s))),
            );
        }
    }
    format!("{}.", parts.join(", "))
}
