//! Events over the lanes: brackets and ticks with their names.

use std::sync::Arc;

use egui::{Galley, Rect, Response, Role, Sense, Stroke, Ui, WidgetInfo, pos2};

use super::chart_view::{self, Places};
use super::theme::{self, size};
use super::{Cx, chart_tip};
use crate::app::{Action, OpenNight};
use crate::chart::labels::{Said, pack};
use crate::chart::{Placed, Wanted, clock};
use crate::verdict::{Event, News, Verdict};

/// Height of a row of names, points.
const ROW: f32 = 22.0;

struct Entry<'a> {
    event: &'a Event,
    first: usize,
    last: usize,
    long: Arc<Galley>,
    short: Arc<Galley>,
    wanted: Wanted,
}

/// Draws them; a click chooses their frames. Whether the pointer is on one comes back.
pub(super) fn show(
    ui: &Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    places: &Places,
    canvas: &Response,
    actions: &mut Vec<Action>,
) -> bool {
    let entries = entries(ui, cx, open, places);
    let wanted: Vec<Wanted> = entries.iter().map(|entry| entry.wanted.clone()).collect();
    let row = places.events;
    let placed = pack(&wanted, row.left(), row.right() + 40.0);
    let mut is_on_one = false;
    for (index, (entry, place)) in entries.iter().zip(&placed).enumerate() {
        paint(ui, cx, entry, place, row);
        let hit = hit_rect(entry, place, row);
        let named = ui.interact(hit, canvas.id.with(("event", index)), Sense::hover());
        let name = format!(
            "{}, {}",
            entry.long.text(),
            frames_words(entry.first, entry.last)
        );
        named.widget_info(|| WidgetInfo::labeled(Role::Label, true, &name));
        let Some(at) = canvas.hover_pos().filter(|at| hit.contains(*at)) else {
            continue;
        };
        is_on_one = true;
        let verdict = entry.event.verdict;
        let lines = [
            (entry.long.text().to_owned(), cx.t.ink),
            (frames_words(entry.first, entry.last), cx.t.ink2),
            (verdict.word().to_owned(), cx.t.verdict(verdict)),
        ];
        chart_tip::tip(ui, cx, at, &lines);
        if canvas.clicked() {
            actions.push(Action::ChoosePlaces((entry.first..=entry.last).collect()));
        }
    }
    is_on_one
}

fn frames_words(first: usize, last: usize) -> String {
    if first == last {
        format!("frame {}", first + 1)
    } else {
        format!("frames {} to {}", first + 1, last + 1)
    }
}

fn entries<'a>(ui: &Ui, cx: Cx<'_>, open: &'a OpenNight, places: &Places) -> Vec<Entry<'a>> {
    let font = theme::words(size::SMALL);
    let layout = |text: String| (ui.painter()).layout_no_wrap(text, font.clone(), cx.t.ink);
    let mut entries: Vec<Entry<'a>> = (open.judged().events.iter())
        .filter_map(|event| {
            let (first, last) = (open.place_of(event.first)?, open.place_of(event.last)?);
            let is_span = last > first;
            let from = *open.times.get(first)?;
            let to = chart_view::end_of(open, last)?;
            let (left, right) = if is_span {
                (places.axis.x(from) as f32, places.axis.x(to) as f32)
            } else {
                let x = chart_view::middle_x(open, first, places.axis)?;
                (x, x)
            };
            let (edge_left, edge_right) = (places.events.left(), places.events.right());
            if right < edge_left || left > edge_right {
                return None;
            }
            let (left, right) = (left.max(edge_left), right.min(edge_right));
            let long = layout(with_time(open, event, first, last));
            let short = layout(event.label.clone());
            let wanted = Wanted {
                left,
                right,
                is_span,
                long: long.size().x,
                short: short.size().x,
            };
            Some(Entry {
                event,
                first,
                last,
                long,
                short,
                wanted,
            })
        })
        .collect();
    entries.sort_by(|a, b| a.wanted.left.total_cmp(&b.wanted.left));
    entries
}

/// The label with its clock time.
fn with_time(open: &OpenNight, event: &Event, first: usize, last: usize) -> String {
    let times = (open.times.get(first), open.times.get(last));
    let (Some(start), (Some(&from), Some(&to))) = (open.night().start_clock_s, times) else {
        return event.label.clone();
    };
    let from = clock::to_the_minute(start, from);
    let to = clock::to_the_minute(start, to);
    let label = &event.label;
    if last > first && last + 1 == open.frames().len() {
        format!("{label} from {from}")
    } else if from == to {
        format!("{label} {from}")
    } else {
        format!("{label} {from}–{to}")
    }
}

fn galley<'a>(entry: &'a Entry<'_>, place: &Placed) -> Option<&'a Arc<Galley>> {
    match place.said {
        Said::Long => Some(&entry.long),
        Said::Short => Some(&entry.short),
        Said::Nothing => None,
    }
}

fn hit_rect(entry: &Entry<'_>, place: &Placed, row: Rect) -> Rect {
    let top = row.top() + ROW * place.row as f32;
    let width = galley(entry, place).map_or(0.0, |galley| galley.size().x);
    let left = entry.wanted.left.min(place.text_left);
    let right = entry.wanted.right.max(place.text_left + width);
    Rect::from_min_max(pos2(left - 2.0, top), pos2(right + 2.0, top + ROW))
}

fn paint(ui: &Ui, cx: Cx<'_>, entry: &Entry<'_>, place: &Placed, row: Rect) {
    let painter = ui.painter();
    let is_good = entry.event.reason.info().news == News::Good;
    let colour = match entry.event.verdict {
        _ if is_good => cx.t.ink,
        Verdict::Keep => cx.t.ink2,
        verdict => cx.t.verdict(verdict),
    };
    let stroke = Stroke::new(1.5, colour);
    let top = row.top() + ROW * place.row as f32;
    if entry.wanted.is_span {
        let y = top + 17.0;
        let (left, right) = (
            entry.wanted.left,
            entry.wanted.right.max(entry.wanted.left + 4.0),
        );
        painter.hline(left..=right, y, stroke);
        painter.vline(left + 0.75, y..=y + 4.0, stroke);
        painter.vline(right - 0.75, y..=y + 4.0, stroke);
    } else {
        painter.vline(entry.wanted.left, top + 2.0..=row.bottom(), stroke);
    }
    if let Some(galley) = galley(entry, place) {
        let at = pos2(place.text_left, top + 0.5);
        painter.galley(at, Arc::clone(galley), cx.t.ink);
    }
}
