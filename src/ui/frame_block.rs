//! The chosen frame: what it is, its verdict, the picture with marks, five spots.

use egui::{Popup, Rect, Ui, Vec2, pos2, vec2};

pub use super::frame_view::State;
use super::frame_view::{self, Seen};
use super::marks::{self, MarkKind};
use super::spot_cells::{self, Cells};
use super::theme::{self, size};
use super::verdict_buttons;
use super::widgets::{self, Button};
use super::{Cx, frame_words, inside, sky_words, whiskers};
use crate::app::{Action, Mark, PictureZoom};
use crate::verdict::Verdict;

/// At the left and right of the block.
const PAD: f32 = 12.0;
/// The column of check boxes.
const CHECKS: f32 = 124.0;
/// Heights of the first two lines and of the facts.
const LINE: f32 = 28.0;
const FACTS: f32 = 24.0;

/// Draws the block in all of `ui`.
pub fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let Some(night) = &cx.model.night else { return };
    let area = ui.max_rect().shrink2(vec2(PAD, 0.0));
    let Some(seen) = Seen::looked_at(night) else {
        no_frames(ui, cx, area);
        return;
    };
    let (title, rest) = area.split_top_bottom_at_y(area.top() + 4.0 + LINE);
    inside(
        ui,
        "frame title",
        title.with_min_y(area.top() + 4.0),
        |ui| {
            title_line(ui, cx, &seen, actions);
        },
    );
    if cx.model.frame_fills {
        let rect = rest
            .with_min_y(rest.top() + 4.0)
            .with_max_y(rest.bottom() - PAD);
        frame_view::show(ui, cx, rect, state, &seen, actions);
        return;
    }
    let (why, rest) = rest.split_top_bottom_at_y(rest.top() + LINE);
    inside(ui, "frame why", why, |ui| why_line(ui, cx, &seen, actions));
    let (content, facts) = rest.split_top_bottom_at_y(rest.bottom() - FACTS);
    let content = content.with_min_y(content.top() + 4.0);
    inside(ui, "frame content", content, |ui| {
        show_content(ui, cx, state, &seen, actions);
    });
    let line = frame_words::facts(night, seen.row, cx.fold.short_facts);
    let galley = line.layout(ui.painter(), 13.0, facts.width(), cx.t);
    let at = pos2(facts.left(), facts.center().y - galley.size().y / 2.0);
    let response = ui.interact(facts, ui.scope_id().with("facts"), egui::Sense::hover());
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::Label, true, format!("Facts: {}", line.plain()))
    });
    ui.painter().galley(at, galley, cx.t.ink2);
    let told = sky_words::tell(seen.row);
    if !told.is_empty() {
        response.on_hover_text(told.join("\n"));
    }
}

fn no_frames(ui: &mut Ui, cx: Cx<'_>, area: Rect) {
    let words = if cx
        .model
        .night
        .as_ref()
        .is_some_and(|n| n.progress.is_some())
    {
        "Reading what the frames say about themselves…"
    } else {
        "There is no frame of the sky here to show."
    };
    inside(ui, "no frames", area.shrink2(vec2(0.0, 16.0)), |ui| {
        widgets::text(ui, words, size::BODY, cx.t.ink2);
    });
}

/// "Frame 201 of 360 is doubtful", stepping, the three verdicts.
fn title_line(ui: &mut Ui, cx: Cx<'_>, seen: &Seen<'_>, actions: &mut Vec<Action>) {
    let row = ui.max_rect();
    let step_keys = !cx.fold.narrow;
    let steps = [
        (
            if cx.fold.narrow { "Prev" } else { "Previous" },
            "Previous",
            None,
            Action::Step(-1),
        ),
        ("Next", "Next", None, Action::Step(1)),
        (
            "Next doubtful",
            "Next doubtful",
            step_keys.then_some("N"),
            Action::NextDoubtful(true),
        ),
    ];
    let steps = steps.map(|(label, name, key, action)| {
        let button = Button::new(label).name(name);
        (
            if let Some(key) = key {
                button.key(key)
            } else {
                button
            },
            action,
        )
    });
    let steps_width: f32 = steps
        .iter()
        .map(|(button, _)| button.measure(ui).x + 6.0)
        .sum();
    let verdicts_width = verdict_buttons::width(ui, step_keys);
    let gap = if cx.fold.narrow { 10.0 } else { 20.0 };
    let left = row.right() - steps_width - gap - verdicts_width;
    let title = Rect::from_min_max(row.min, pos2(left - 8.0, row.bottom()));
    paint_title(ui, cx, seen, title);
    inside(ui, "frame buttons", row.with_min_x(left), |ui| {
        ui.horizontal(|ui| {
            let tips = [
                "The frame before (←)",
                "The frame after (→)",
                "Next frame that needs you (N)",
            ];
            for ((button, action), tip) in steps.into_iter().zip(tips) {
                if button.show(ui, cx.t).on_hover_text(tip).clicked() {
                    actions.push(action);
                }
            }
            ui.add_space(gap);
            verdict_buttons::show(ui, cx, seen, step_keys, actions);
        });
    });
}

fn paint_title(ui: &mut Ui, cx: Cx<'_>, seen: &Seen<'_>, rect: Rect) {
    let night = seen.night;
    let pending = night.is_pending(seen.index) && !night.is_set_by_you(seen.index);
    let mark = if pending {
        MarkKind::Pending
    } else {
        MarkKind::Verdict(night.verdict_of(seen.index))
    };
    let painter = ui.painter().with_clip_rect(rect.expand2(vec2(2.0, 4.0)));
    let t = cx.t;
    marks::paint(
        &painter,
        pos2(rect.left(), rect.center().y - 9.0),
        15.0,
        mark,
        t,
    );
    let state = if night.best_held && night.best_place().is_some() {
        "is the best for a single picture"
    } else {
        frame_words::state_words(night, seen.index, seen.row)
    };
    let of = format!(" of {}", night.frames().len());
    let spoken = format!("Frame {}{of} {state}", seen.number);
    let layout = |parts: &[(&str, egui::Color32)]| {
        let mut job = egui::text::LayoutJob::default();
        for (text, ink) in parts {
            let format = egui::text::TextFormat::simple(theme::words(size::HEADING), *ink);
            job.append(text, 0.0, format);
        }
        painter.layout_job(job)
    };
    let frame = format!("Frame {}", seen.number);
    let state = format!(" {state}");
    let mut galley = layout(&[(&frame, t.ink), (&of, t.ink2), (&state, t.ink)]);
    let mut at = rect.left() + 26.0;
    if at + galley.size().x > rect.right() {
        galley = layout(&[(&frame, t.ink), (&state, t.ink)]);
        at = rect.left() + 22.0;
    }
    let top = rect.center().y - galley.size().y / 2.0;
    let end = at + galley.size().x;
    painter.galley(pos2(at, top), galley, t.ink);
    if night.is_set_by_you(seen.index) && end + 22.0 < rect.right() {
        let at = pos2(end + 8.0, rect.center().y - 8.0);
        marks::paint(&painter, at, 14.0, MarkKind::ByYou, t);
    }
    let response = ui.interact(rect, ui.scope_id().with("title"), egui::Sense::hover());
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Heading, true, &spoken));
    response.on_hover_text(format!("{spoken}: {}", seen.row.name));
}

/// Why, and the offer of its finding that we would take.
fn why_line(ui: &mut Ui, cx: Cx<'_>, seen: &Seen<'_>, actions: &mut Vec<Action>) {
    let row = ui.max_rect();
    let words = frame_words::why(seen.night, seen.index, seen.row);
    let offer = advised_offer(cx, seen);
    let button =
        (offer.as_ref()).map(|(label, _, _)| Button::new(label).look(widgets::Look::Advised));
    let button_width = button
        .as_ref()
        .map_or(0.0, |button| button.measure(ui).x + 10.0);
    let painter = ui.painter().clone();
    let ink = cx.t.ink2;
    // One line; what does not fit ends in "…", and the tip has it whole.
    let mut job =
        egui::text::LayoutJob::simple_singleline(words.clone(), theme::words(size::BODY), ink);
    job.wrap.max_width = (row.width() - button_width).max(40.0);
    job.wrap.max_rows = 1;
    let galley = painter.layout_job(job);
    let end = galley.size().x;
    let rect = Rect::from_min_size(row.min, vec2(end.max(1.0), row.height()));
    let top = row.center().y - galley.size().y / 2.0;
    painter.galley(pos2(row.left(), top), galley, ink);
    let response = ui.interact(rect, ui.scope_id().with("why"), egui::Sense::hover());
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Label, true, &words));
    response.on_hover_text(words.clone());
    let (Some(button), Some((_, tip, action))) = (button, offer.as_ref()) else {
        return;
    };
    let at = row
        .with_min_x(row.left() + end + 10.0)
        .with_min_y(row.top() + 2.0);
    inside(ui, "frame offer", at.expand2(vec2(0.0, 3.0)), |ui| {
        ui.add_space(3.0);
        if button.show(ui, cx.t).on_hover_text(tip.as_str()).clicked() {
            actions.push(action.clone());
        }
    });
}

/// The advised offer of an open finding this frame belongs to: label, tip, action. Not for what
/// is advised already, since that counts at once.
fn advised_offer(cx: Cx<'_>, seen: &Seen<'_>) -> Option<(String, String, Action)> {
    if cx.fold.narrow {
        return None;
    }
    let night = seen.night;
    let finding = (night.judged().findings.iter())
        .find(|f| f.rows.contains(&seen.index) && night.answer_to(f).is_none())?;
    let (place, offer) = finding.offers.iter().enumerate().find(|(_, offer)| {
        offer.advised
            && offer
                .rows
                .iter()
                .any(|&row| night.verdict_of(row) != offer.verdict)
    })?;
    let action = Action::TakeOffer(night.key_of(finding), place);
    Some((offer.label.clone(), offer.cost.clone(), action))
}

fn show_content(
    ui: &mut Ui,
    cx: Cx<'_>,
    state: &mut State,
    seen: &Seen<'_>,
    actions: &mut Vec<Action>,
) {
    let area = ui.max_rect();
    let (checks, rest) = if cx.fold.narrow {
        (None, area)
    } else {
        let (checks, right) = area.split_left_right_at_x(area.left() + CHECKS);
        (Some(checks), right.with_min_x(right.left() + 12.0))
    };
    let aspect = seen.turn.as_ref().map_or(1.5, |turn| {
        let (width, height) = turn.size();
        (width / height.max(1.0)) as f32
    });
    // The height rules, but the spots keep at least half of the width.
    let width = (rest.height() * aspect.clamp(0.5, 3.0)).min(rest.width() * 0.48);
    let frame = Rect::from_min_size(rest.min, vec2(width.max(1.0), rest.height().max(1.0)));
    let spots = rest.with_min_x(frame.right() + 12.0);
    let times = whisker_times(ui, cx, state, seen, frame);
    if let Some(checks) = checks {
        inside(ui, "frame checks", checks, |ui| {
            widgets::text(ui, "Draw on the frame", size::SMALL, cx.t.ink3);
            show_checks(ui, cx, times, actions);
            ui.add_space(6.0);
            zoom_switch(ui, cx, state, actions);
        });
    }
    frame_view::show(ui, cx, frame, state, seen, actions);
    let one_row = cx.fold.very_low || rest.height() < 150.0;
    let cells = Cells::of(spots, one_row);
    let crop = cells.crop(ui.pixels_per_point());
    frame_view::show_spot_places(ui, cx, frame, state, seen, crop);
    spot_cells::show(ui, cx, &cells, state, seen);
    if cx.fold.narrow {
        marks_menu(ui, cx, state, times, frame, actions);
    }
}

/// How many times longer than trails whiskers are in the look in force.
fn whisker_times(
    ui: &Ui,
    cx: Cx<'_>,
    state: &mut State,
    seen: &Seen<'_>,
    frame: Rect,
) -> Option<u32> {
    let (turn, measure) = (seen.turn.as_ref()?, seen.row.measure.as_deref()?);
    let window = state.window(frame, turn, ui.pixels_per_point(), cx.model.picture_zoom);
    Some(whiskers::times(&window, measure))
}

fn show_checks(ui: &mut Ui, cx: Cx<'_>, times: Option<u32>, actions: &mut Vec<Action>) {
    ui.spacing_mut().item_spacing.y = 3.0;
    for mark in Mark::ALL {
        let label = match (mark, times) {
            (Mark::Trails, Some(1)) => "trails".to_owned(),
            (Mark::Trails, Some(times)) => format!("trails, {times} × long"),
            _ => mark.label().to_owned(),
        };
        let name = format!("Draw {}", mark.label());
        let ticked = cx.model.marks.is_drawn(mark);
        let response = widgets::check(ui, cx.t, &label, &name, ticked);
        if response.on_hover_text(tip_of(mark)).clicked() {
            actions.push(Action::ToggleMark(mark));
        }
    }
}

const fn tip_of(mark: Mark) -> &'static str {
    match mark {
        Mark::Ground => {
            "The edge of what does not turn with the sky, told over the night, in steps of its cells; \
             squares: lamps that stand still"
        }
        Mark::Trails => {
            "Lines along the trails of stars bright enough to tell. In the keep colour: as the sky’s \
             turning predicts, to 10 % and the star’s own noise; in the doubt colour: not. S hides \
             and shows all"
        }
        Mark::Streaks => "Long lines that are no stars: aircraft, satellites, meteors",
        Mark::Clipped => "Stars whose core is at full scale; at Fit the largest five",
        Mark::Pole => "The point the sky turns about, when it is in the frame",
    }
}

fn zoom_switch(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let options = [
        (Some(PictureZoom::Fit), "Fit", "All of the frame (X)"),
        (
            Some(PictureZoom::OneToOne),
            "1:1",
            "One sample, one pixel of the screen (X)",
        ),
    ];
    let picked = widgets::segments(ui, cx.t, "Frame size", &options, state.zoom_in_force());
    if let Some(Some(zoom)) = picked {
        state.forget_own_zoom();
        actions.push(Action::SetPictureZoom(zoom));
    }
}

/// In a narrow window the check boxes and the zoom hide in a menu in the picture's corner.
fn marks_menu(
    ui: &mut Ui,
    cx: Cx<'_>,
    state: &mut State,
    times: Option<u32>,
    frame: Rect,
    actions: &mut Vec<Action>,
) {
    let button = Button::new("Marks").menu();
    let wanted: Vec2 = button.measure(ui);
    let corner = pos2(frame.left() + 6.0, frame.bottom() - 6.0 - wanted.y);
    let rect = Rect::from_min_size(corner, wanted).expand(2.0);
    let response = inside(ui, "marks menu", rect, |ui| button.show(ui, cx.t));
    Popup::menu(&response).show(|ui| {
        show_checks(ui, cx, times, actions);
        ui.add_space(4.0);
        zoom_switch(ui, cx, state, actions);
    });
}

/// The mark that goes with a verdict.
pub(super) const fn mark_of(verdict: Verdict) -> MarkKind {
    MarkKind::Verdict(verdict)
}
