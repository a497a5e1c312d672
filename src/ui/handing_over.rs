//! The card that hands over: what can be saved or done, and what each would do before it is done.

use egui::Ui;

use super::theme::size;
use super::widgets::{self, Button, Look};
use super::{Cx, card_at_foot};
use crate::app::commands::command;
use crate::app::{Action, Handing, OpenNight};
use crate::engine::{HandOver, Preview};

/// Files named in a preview; the rest is counted.
const MOST_FILES: usize = 8;

/// The card over the foot of the window, while it is asked for.
pub(super) fn show(ui: &Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let Some((open, handing)) =
        (cx.model.night.as_ref()).and_then(|open| Some((open, open.handing.as_ref()?)))
    else {
        return;
    };
    card_at_foot(ui, cx, "hand over", |ui| {
        heading(ui, cx, actions);
        match handing {
            Handing::Choosing => choices(ui, cx, open, actions),
            Handing::Asked(_) => note(ui, cx, "Finding out what that would do…"),
            Handing::Planned(what, preview) => {
                planned(ui, cx, *what, preview, actions);
            }
            Handing::Running(_) => note(ui, cx, "Under way…"),
        }
    });
}

fn heading(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    ui.horizontal(|ui| {
        widgets::text(ui, "Hand over", size::HEADING, cx.t.ink);
        let right = egui::Layout::right_to_left(egui::Align::Center);
        ui.with_layout(right, |ui| {
            let close = Button::new("Close").name("Close hand over");
            if close.show(ui, cx.t).clicked() {
                actions.push(Action::ToggleHandOver);
            }
        });
    });
}

fn note(ui: &mut Ui, cx: Cx<'_>, words: &str) {
    widgets::rule(ui, cx.t);
    widgets::text(ui, words, size::BODY, cx.t.ink2);
}

/// The words on a hand-over's button, and what it does.
fn words_of(what: HandOver, open: &OpenNight) -> (String, &'static str) {
    match what {
        HandOver::Ratings => (
            "Write rating files…".to_owned(),
            "A small rating file beside each rejected frame, for programs that read XMP",
        ),
        HandOver::SetAside => (
            format!("Move the {} into a folder…", open.tally.reject),
            "Rejected frames with all their files; asks first, can be undone",
        ),
        HandOver::Links => (
            format!("Number the {} used frames…", open.tally.used()),
            "Numbered links in a folder beside this one, for film and stacking programs",
        ),
    }
}

fn choices(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, actions: &mut Vec<Action>) {
    widgets::rule(ui, cx.t);
    for id in [
        "save-list",
        "save-rejects",
        "save-table",
        "save-report",
        "save-chart",
    ] {
        if let Some(command) = command(id) {
            let action = (command.action)(cx.model);
            // The same command may have a button elsewhere.
            let name = format!("Hand over: {}", command.label);
            let button = Button::new(command.label)
                .name(name)
                .enabled(action.is_some());
            row(ui, cx, button, command.tip, || actions.extend(action));
        }
    }
    widgets::rule(ui, cx.t);
    let is_free = open.progress.is_none();
    for what in [HandOver::Ratings, HandOver::SetAside, HandOver::Links] {
        let (label, tip) = words_of(what, open);
        let any = match what {
            HandOver::Links => open.tally.used() > 0,
            HandOver::Ratings | HandOver::SetAside => open.tally.reject > 0,
        };
        let button = Button::new(&label).enabled(is_free && any);
        row(ui, cx, button, tip, || {
            actions.push(Action::PlanHandOver(what));
        });
    }
    let ending = "Nothing is moved or written before you have seen what will be.";
    widgets::text(ui, ending, size::SMALL, cx.t.ink2);
}

/// A button with its tip in words beside it.
fn row(ui: &mut Ui, cx: Cx<'_>, button: Button<'_>, tip: &str, then: impl FnOnce()) {
    if button.show(ui, cx.t).clicked() {
        then();
    }
    widgets::text(ui, tip, size::SMALL, cx.t.ink2);
}

fn planned(ui: &mut Ui, cx: Cx<'_>, what: HandOver, preview: &Preview, actions: &mut Vec<Action>) {
    widgets::rule(ui, cx.t);
    widgets::text(ui, preview.sentence.clone(), size::BODY, cx.t.ink);
    for file in preview.files.iter().take(MOST_FILES) {
        widgets::text(ui, file.clone(), size::SMALL, cx.t.ink2);
    }
    if preview.files.len() > MOST_FILES {
        let more = format!("and {} more", preview.files.len() - MOST_FILES);
        widgets::text(ui, more, size::SMALL, cx.t.ink2);
    }
    for note in &preview.notes {
        widgets::text(ui, note.clone(), size::SMALL, cx.t.ink);
    }
    widgets::rule(ui, cx.t);
    ui.horizontal(|ui| {
        let label = match what {
            HandOver::Ratings => "Write them",
            HandOver::SetAside => "Move them",
            HandOver::Links => "Number them",
        };
        let go = Button::new(label)
            .look(Look::Main)
            .enabled(!preview.is_empty);
        if go
            .show(ui, cx.t)
            .on_hover_text("Undo (Z) takes it back")
            .clicked()
        {
            actions.push(Action::HandOver(what));
        }
        if Button::new("Leave it").show(ui, cx.t).clicked() {
            actions.push(Action::ToggleHandOver);
        }
    });
}
