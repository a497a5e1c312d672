//! Another night, planned from this one.

use std::sync::Arc;

use egui::{Popup, TextEdit, Ui, vec2};

use super::Cx;
use crate::advice::{AdviceOptions, Plan, PlanAsked, PlanLens, plan};
use crate::app::OpenNight;
use crate::ui::first_run;
use crate::ui::theme::{self, size};
use crate::ui::widgets::{self, Button, Look};
use crate::verdict::Judged;

/// Its fields: name, unit, what stands there while it is empty, what it is for.
const FIELDS: [(&str, &str, &str, &str); 4] = [
    ("Hours", "h", "2", "How long to shoot"),
    (
        "Evening",
        "date",
        "2026-01-17",
        "When: tells how long it is dark and where the Moon is",
    ),
    (
        "Focal length",
        "mm",
        "as tonight",
        "Another lens: its own focal length",
    ),
    ("Aperture", "f/", "as tonight", "Another aperture"),
];

/// Hours planned where none are typed.
const HOURS: f64 = 2.0;

/// What is typed, and the plan it made.
#[derive(Debug, Default)]
pub(super) struct State {
    typed: [String; FIELDS.len()],
    /// The plan, for what it was made beside which judging.
    made: Option<(Arc<Judged>, PlanAsked, AdviceOptions, Option<Plan>)>,
}

/// The button; its panel has the fields and the plan.
pub(super) fn button(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, state: &mut State) {
    let response = Button::new("Plan another night…")
        .look(Look::Text)
        .show(ui, cx.t)
        .on_hover_text("Frames, arc, film, batteries, dark hours and Moon for a night to come");
    Popup::menu(&response)
        .close_behavior(egui::PopupCloseBehavior::CloseOnClickOutside)
        .layout(egui::Layout::top_down(egui::Align::Min))
        .show(|ui| {
            ui.set_width(400.0);
            fields(ui, cx, state);
            ui.add_space(6.0);
            told(ui, cx, open, state);
        });
}

fn fields(ui: &mut Ui, cx: Cx<'_>, state: &mut State) {
    let t = cx.t;
    widgets::text(ui, "Another night", size::FINDING, t.ink);
    for ((label, unit, hint, tip), typed) in FIELDS.iter().zip(&mut state.typed) {
        ui.horizontal(|ui| {
            let (rect, _) = ui.allocate_exact_size(vec2(96.0, 24.0), egui::Sense::hover());
            let font = theme::words(13.5);
            let galley = ui
                .painter()
                .layout_no_wrap((*label).to_owned(), font, t.ink);
            let top = rect.center().y - galley.size().y / 2.0;
            ui.painter()
                .galley(egui::pos2(rect.left(), top), galley, t.ink);
            let edit = TextEdit::singleline(typed)
                .id_salt(*label)
                .hint_text(egui::RichText::new(*hint).color(t.ink3))
                .font(theme::numbers(size::SMALL))
                .text_color(t.ink)
                .desired_width(100.0);
            let response = ui.add(edit);
            let name = format!("{label} of another night, {unit}");
            first_run::named(ui, &response, &name);
            response.on_hover_text(*tip);
            widgets::text(ui, *unit, size::SMALL, t.ink2);
        });
    }
}

fn told(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, state: &mut State) {
    let t = cx.t;
    let asked = match asked(&state.typed) {
        Ok(asked) => asked,
        Err(problem) => {
            widgets::text(ui, problem, size::SMALL, t.ink);
            return;
        }
    };
    let Some(plan) = state.plan(open, cx.model.advice, asked) else {
        let problem = "These frames do not say how long they were exposed.";
        widgets::text(ui, problem, size::SMALL, t.ink);
        return;
    };
    for (label, text) in plan.lines() {
        ui.horizontal_top(|ui| {
            let (rect, term) = ui.allocate_exact_size(vec2(88.0, 16.0), egui::Sense::hover());
            term.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Label, true, label));
            let font = theme::words(size::SMALL);
            let galley = ui.painter().layout_no_wrap(label.to_owned(), font, t.ink2);
            ui.painter().galley(rect.min, galley, t.ink2);
            let text = egui::RichText::new(text).font(theme::words(size::SMALL));
            ui.add(egui::Label::new(text.color(t.ink)).wrap());
        });
    }
    for note in &plan.notes {
        let note = egui::RichText::new(note).font(theme::words(size::SMALL));
        ui.add(egui::Label::new(note.color(t.ink2)).wrap());
    }
}

impl State {
    /// The plan for what is asked, made once.
    fn plan(
        &mut self,
        open: &OpenNight,
        options: AdviceOptions,
        asked: PlanAsked,
    ) -> Option<&Plan> {
        let judged = &open.derived.judged;
        let is_made = self.made.as_ref().is_some_and(|(beside, made, by, _)| {
            Arc::ptr_eq(beside, judged) && *made == asked && *by == options
        });
        if !is_made {
            let plan = plan(open.night(), open.set, judged, options, &asked);
            self.made = Some((Arc::clone(judged), asked, options, plan));
        }
        self.made.as_ref()?.3.as_ref()
    }
}

/// Reads what is typed; the error names the field.
fn asked(typed: &[String; FIELDS.len()]) -> Result<PlanAsked, String> {
    let [hours, date, focal, aperture] = typed.each_ref().map(|text| text.trim());
    let number = |text: &str, field: &str, most: f64| match text {
        "" => Ok(None),
        text => (text.replace(',', ".").parse::<f64>().ok())
            .filter(|value| *value > 0.0 && *value <= most)
            .map(Some)
            .ok_or_else(|| format!("{field}: a number above 0, up to {most}, is wanted.")),
    };
    let date = match date {
        "" => None,
        text => Some((text.parse()).map_err(|_| "Evening: write it like 2026-01-17.".to_owned())?),
    };
    Ok(PlanAsked {
        hours: number(hours, "Hours", 72.0)?.unwrap_or(HOURS),
        date,
        lens: PlanLens {
            focal_mm: number(focal, "Focal length", 10_000.0)?,
            f_number: number(aperture, "Aperture", 100.0)?,
            ..PlanLens::default()
        },
        ..PlanAsked::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_is_read_or_named() {
        let typed = |fields: [&str; 4]| fields.map(str::to_owned);
        assert_eq!(asked(&typed([""; 4])).unwrap().hours, HOURS);
        let read = asked(&typed([" 3,5 ", "2026-01-17", "35", ""])).unwrap();
        assert_eq!((read.hours, read.lens.focal_mm), (3.5, Some(35.0)));
        assert!(read.date.is_some() && read.lens.f_number.is_none());
        for (place, text, name) in [
            (0, "200", "Hours"),
            (1, "soon", "Evening"),
            (2, "-5", "Focal length"),
            (3, "inf", "Aperture"),
        ] {
            let mut fields = typed([""; 4]);
            fields[place] = text.to_owned();
            assert!(asked(&fields).unwrap_err().starts_with(name), "{text}");
        }
    }
}
