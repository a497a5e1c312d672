//! Keep, Doubtful, Reject: for the chosen frame or range, the one in force with its border.

use egui::{Response, Ui};

use super::Cx;
use super::frame_block::mark_of;
use super::frame_view::Seen;
use super::widgets::{Button, Look};
use crate::app::Action;
use crate::verdict::{Verdict, drop_cost};

const ALL: [(Verdict, &str, &str); 3] = [
    (Verdict::Keep, "Keep", "K"),
    (Verdict::Doubtful, "Doubtful", "D"),
    (Verdict::Reject, "Reject", "R"),
];

fn button(label: &'static str, key: &'static str, with_key: bool) -> Button<'static> {
    let button = Button::new(label);
    if with_key { button.key(key) } else { button }
}

/// Width of the three, points, with room for the mark of the one in force.
pub(super) fn width(ui: &Ui, with_keys: bool) -> f32 {
    let buttons = ALL.map(|(_, label, key)| button(label, key, with_keys).measure(ui).x);
    buttons.iter().sum::<f32>() + 2.0 * 6.0 + 18.0
}

/// Shows them side by side.
pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    seen: &Seen<'_>,
    with_keys: bool,
    actions: &mut Vec<Action>,
) {
    let night = seen.night;
    let known = !night.is_pending(seen.index) || night.is_set_by_you(seen.index);
    let in_force = known.then(|| night.verdict_of(seen.index));
    for (verdict, label, key) in ALL {
        let pressed = in_force == Some(verdict);
        let mut button = button(label, key, with_keys)
            .name(format!("{label} frame {}", seen.number))
            .pressed(pressed);
        if pressed {
            button = button
                .mark(mark_of(verdict))
                .look(Look::InForce(cx.t.verdict(verdict)));
        }
        let response = button.show(ui, cx.t);
        if tip(response, cx, seen, verdict).clicked() {
            actions.push(Action::SetVerdict(verdict));
        }
    }
}

/// What it does and what it costs; the cost is computed only when asked for.
fn tip(response: Response, cx: Cx<'_>, seen: &Seen<'_>, verdict: Verdict) -> Response {
    response.on_hover_ui(|ui| {
        let text = match verdict {
            Verdict::Keep => "Use it (K)".to_owned(),
            Verdict::Doubtful => "Use it, but look again (D)".to_owned(),
            Verdict::Reject => {
                let night = seen.night;
                let cost = drop_cost(night.night(), night.set, &night.verdicts, &[seen.index]);
                format!("Leave it out: {} (R)", cost.words(cx.model.purpose))
            }
        };
        ui.label(text);
    })
}
