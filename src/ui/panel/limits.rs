//! The limits the verdicts go by, to be moved while the counts follow.

use std::sync::Arc;

use egui::{DragValue, Popup, Rect, RichText, Role, Ui, vec2};

use super::Cx;
use crate::app::{Action, OpenNight};
use crate::ui::inside;
use crate::ui::theme::{self, size};
use crate::ui::widgets::{self, Button, Look};
use crate::verdict::{Judged, KNOBS, Knob, Purpose, Tally, Thresholds, Trial};

/// What the usual limits make of a night, and beside which judging that was reckoned.
#[derive(Debug, Default)]
pub(super) struct State {
    usual: Option<(Arc<Judged>, Tally)>,
}

const LABEL: &str = "Limits…";

/// The button at the right end of the answer's last line, with its panel.
pub(super) fn button(
    ui: &mut Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    state: &mut State,
    answer: Rect,
    actions: &mut Vec<Action>,
) {
    let button = Button::new(LABEL).look(Look::Text);
    let wanted = button.measure(ui);
    let corner = answer.max - vec2(super::PAD, 4.0);
    let rect = Rect::from_min_max(corner - wanted, corner);
    let response = inside(ui, "limits", rect, |ui| button.show(ui, cx.t))
        .on_hover_text("From where on a frame is doubtful or to reject, for this purpose");
    Popup::menu(&response)
        .close_behavior(egui::PopupCloseBehavior::CloseOnClickOutside)
        .layout(egui::Layout::top_down(egui::Align::Min))
        .show(|ui| {
            ui.set_width(372.0);
            fields(ui, cx, open, state, actions);
        });
}

fn fields(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, state: &mut State, actions: &mut Vec<Action>) {
    let t = cx.t;
    let purpose = cx.model.purpose;
    let heading = format!("Limits for {}", purpose.label().to_lowercase());
    widgets::text(ui, heading, size::FINDING, t.ink);
    widgets::text(ui, counts(&open.tally), size::SMALL, t.ink);
    let limits = cx.model.thresholds;
    let usual = Thresholds::default();
    if limits != usual {
        let with_usual = state.usual(open, purpose);
        let text = format!("With the usual limits: {}", counts(&with_usual));
        widgets::text(ui, text, size::SMALL, t.ink2);
    }
    ui.add_space(4.0);
    let mut changed = limits;
    for knob in KNOBS.iter().filter(|knob| knob.purposes.contains(&purpose)) {
        field(ui, cx, knob, &usual, &mut changed);
    }
    ui.add_space(4.0);
    if Button::new("The usual limits")
        .enabled(limits != usual)
        .show(ui, t)
        .clicked()
    {
        changed = usual;
    }
    if changed != limits {
        actions.push(Action::SetLimits(Box::new(changed)));
    }
}

fn field(ui: &mut Ui, cx: Cx<'_>, knob: &Knob, usual: &Thresholds, changed: &mut Thresholds) {
    let t = cx.t;
    ui.horizontal(|ui| {
        let (rect, _) = ui.allocate_exact_size(vec2(238.0, 20.0), egui::Sense::hover());
        let font = theme::words(size::SMALL);
        let galley = ui
            .painter()
            .layout_no_wrap(knob.label.to_owned(), font, t.ink);
        let top = rect.center().y - galley.size().y / 2.0;
        ui.painter()
            .galley(egui::pos2(rect.left(), top), galley, t.ink);
        let mut value = (knob.get)(changed);
        let decimals = if knob.step < 0.1 {
            2
        } else {
            usize::from(knob.step < 1.0)
        };
        let drag = DragValue::new(&mut value)
            .range(knob.bounds.clone())
            .speed(knob.step)
            .max_decimals(3)
            .min_decimals(decimals);
        let widgets = &mut ui.visuals_mut().widgets;
        for look in [&mut widgets.inactive, &mut widgets.hovered] {
            // A field of its own on the panel, so that it is seen to be movable.
            look.weak_bg_fill = t.plot;
            look.bg_stroke = egui::Stroke::new(1.0, t.line2);
        }
        let response = ui.add_sized(vec2(58.0, 20.0), drag);
        let name = format!("{}, {}", knob.label, knob.unit);
        response.widget_info(|| egui::WidgetInfo {
            value: Some(value),
            ..egui::WidgetInfo::labeled(Role::SpinButton, true, &name)
        });
        let was = (knob.get)(usual);
        let response = response.on_hover_text(format!("Usually {was}; drag, or click to type"));
        if response.changed() {
            knob.set_within(changed, value);
        }
        let ink = if (value - was).abs() > 1e-9 {
            t.ink
        } else {
            t.ink3
        };
        ui.label(
            RichText::new(knob.unit)
                .font(theme::words(size::SMALL))
                .color(ink),
        );
    });
}

fn counts(tally: &Tally) -> String {
    format!(
        "{} to reject, {} doubtful, {} to keep",
        tally.reject, tally.doubtful, tally.keep
    )
}

impl State {
    /// The counts under the usual limits, reckoned once for each judging.
    fn usual(&mut self, open: &OpenNight, purpose: Purpose) -> Tally {
        let judged = &open.derived.judged;
        if let Some((beside, tally)) = &self.usual
            && Arc::ptr_eq(beside, judged)
        {
            return *tally;
        }
        let trial = Trial::new(open.night(), purpose);
        let usual = Thresholds::default();
        let tried = trial.tally(open.set, &usual, &open.decisions, &open.verdicts);
        self.usual = Some((Arc::clone(judged), tried.tally));
        tried.tally
    }
}
