//! The bar at the top: open, pages, purpose, undo, keys.

use egui::{Align, Layout, Popup, Rect, Role, Sense, Slider, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::theme::{self, size};
use super::widgets::{self, Button, Look};
use super::{Cx, inside};
use crate::app::commands::command;
use crate::app::preferences::LEAST_BRIGHTNESS_PCT;
use crate::app::{Action, Page, Theme};
use crate::verdict::Purpose;

/// What each purpose is about.
const fn tip(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Trails => "Gaps matter most (W for the next)",
        Purpose::Timelapse => "Jumps and flicker matter most (W for the next)",
        Purpose::Still => "Find the best single frame (W for the next)",
        Purpose::Tracked => "Round stars matter most (W for the next)",
    }
}

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    ui.painter().rect_filled(area, 0.0, cx.t.panel);
    ui.painter().hline(
        area.x_range(),
        area.bottom() - 0.5,
        Stroke::new(1.0, cx.t.line),
    );
    let inner = area.shrink2(vec2(12.0, 0.0));
    let left = inside(ui, "left", inner, |ui| {
        ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
            open_and_pages(ui, cx, actions);
            ui.min_rect().right()
        })
        .inner
    });
    let right = inside(ui, "purpose", inner, |ui| purpose(ui, cx, left, actions));
    let rest = Rect::from_min_max(pos2(right, inner.top()), inner.max);
    inside(ui, "right", rest, |ui| {
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            ends(ui, cx, actions);
        });
    });
}

fn open_and_pages(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let open = Button::new("Open…")
        .look(Look::Main)
        .name("Open a folder of frames")
        .show(ui, cx.t);
    if open.on_hover_text("Open a folder of frames (O)").clicked() {
        actions.push(Action::ChooseFolder);
    }
    ui.add_space(12.0);
    for page in Page::ALL {
        page_switch(ui, cx, page, actions);
    }
}

fn page_switch(ui: &mut Ui, cx: Cx<'_>, page: Page, actions: &mut Vec<Action>) {
    let command = command(match page {
        Page::Night => "night",
        Page::Compare => "compare",
        Page::Result => "result",
        Page::Frames => "frames",
    });
    let key = command
        .and_then(|c| c.keys.first())
        .map_or_else(String::new, |chord| chord.words());
    let is_here = cx.model.page == page;
    let can_go = page == Page::Night || cx.model.night.is_some();
    let ink = match (is_here, can_go) {
        (true, _) => cx.t.ink,
        (false, true) => cx.t.ink2,
        (false, false) => cx.t.ink3,
    };
    let label =
        (ui.painter()).layout_no_wrap(page.label().to_owned(), theme::words(size::PAGE), ink);
    let key = ui
        .painter()
        .layout_no_wrap(key, theme::numbers(size::TICK), cx.t.ink3);
    let wanted = vec2(label.size().x + key.size().x + 36.0, 44.0);
    let sense = if can_go {
        Sense::click()
    } else {
        Sense::hover()
    };
    let (rect, response) = ui.allocate_exact_size(wanted, sense);
    response.widget_info(|| {
        let name = format!("Page: {}", page.label());
        WidgetInfo::selected(Role::RadioButton, can_go, is_here, name)
    });
    let x = rect.left() + 14.0;
    let key_x = x + label.size().x + 8.0;
    let painter = ui.painter();
    let hover = can_go && !is_here && response.hovered();
    let at = pos2(x, rect.center().y - label.size().y / 2.0);
    painter.galley_with_override_text_color(at, label, if hover { cx.t.ink } else { ink });
    let at = pos2(key_x, rect.center().y - key.size().y / 2.0);
    painter.galley(at, key, cx.t.ink3);
    if is_here {
        let line = Rect::from_min_max(pos2(rect.left(), rect.bottom() - 3.0), rect.max);
        painter.rect_filled(line, 0.0, cx.t.ink);
    }
    widgets::focus_ring(ui, rect.shrink2(vec2(3.0, 8.0)), &response, cx.t);
    if response.clicked() {
        actions.push(Action::GoTo(page));
    }
    if let Some(command) = command {
        response.on_hover_text(command.tip_with_key());
    }
}

/// The purpose, in the middle where it fits; where it ends comes back.
fn purpose(ui: &mut Ui, cx: Cx<'_>, left: f32, actions: &mut Vec<Action>) -> f32 {
    let area = ui.max_rect();
    if cx.model.night.is_none() {
        return left + 12.0;
    }
    // As in the middle of the window as what stands left of it allows.
    let width = if cx.fold.short_facts { 170.0 } else { 430.0 };
    let x = (area.center().x - width / 2.0).max(left + 24.0);
    let rect = Rect::from_min_max(pos2(x, area.top()), pos2(x + width, area.bottom()));
    inside(ui, "choice", rect, |ui| {
        ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
            if cx.fold.short_facts {
                purpose_menu(ui, cx, actions);
            } else {
                widgets::text(ui, "Judge as", size::BODY, cx.t.ink2);
                let options: Vec<_> = (Purpose::ALL.into_iter())
                    .map(|p| (p, p.label(), tip(p)))
                    .collect();
                let picked = widgets::segments(ui, cx.t, "Judge as", &options, cx.model.purpose);
                actions.extend(picked.map(Action::SetPurpose));
            }
        });
    });
    rect.right() + 12.0
}

fn purpose_menu(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let label = format!("Judge as: {}", cx.model.purpose.label());
    let button = Button::new(&label).menu().show(ui, cx.t);
    let button = button.on_hover_text(tip(cx.model.purpose));
    Popup::menu(&button).show(|ui| {
        for purpose in Purpose::ALL {
            let is_chosen = purpose == cx.model.purpose;
            let choice = ui.selectable_label(is_chosen, purpose.label());
            if choice.on_hover_text(tip(purpose)).clicked() {
                actions.push(Action::SetPurpose(purpose));
            }
        }
    });
}

/// The light the window is read in, from the right; a menu where room is short.
fn light(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let comfort = cx.model.comfort;
    if cx.fold.narrow {
        let button = Button::new(comfort.theme.label()).name("Light").menu();
        let button = button.show(ui, cx.t).on_hover_text(comfort.theme.tip());
        Popup::menu(&button).show(|ui| {
            for theme in Theme::ALL {
                let choice = ui.selectable_label(theme == comfort.theme, theme.label());
                if choice.on_hover_text(theme.tip()).clicked() {
                    actions.push(Action::SetTheme(theme));
                }
            }
        });
    } else {
        let options = Theme::ALL.map(|theme| (theme, theme.label(), theme.tip()));
        let picked = widgets::segments(ui, cx.t, "Light", &options, comfort.theme);
        actions.extend(picked.map(Action::SetTheme));
    }
    if comfort.theme == Theme::Red {
        let mut pct = comfort.brightness_pct;
        ui.spacing_mut().slider_width = 56.0;
        // The rail is painted in this: it carries meaning, so it has to be seen.
        ui.visuals_mut().widgets.inactive.bg_fill = cx.t.line2;
        let slider = Slider::new(&mut pct, LEAST_BRIGHTNESS_PCT..=100).show_value(false);
        let slider = ui.add(slider);
        let tip = format!("How bright the red light is: {pct} %");
        let label = widgets::text(ui, "Brightness", size::SMALL, cx.t.ink2);
        if slider.labelled_by(label.id).on_hover_text(tip).changed() {
            actions.push(Action::SetBrightness(pct));
        }
    }
}

/// What stands at the right end, from the right.
fn ends(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let keys = Button::new("Keys")
        .pressed(cx.model.keys_shown)
        .show(ui, cx.t);
    if keys.on_hover_text("All keys (?)").clicked() {
        actions.push(Action::ToggleKeys);
    }
    light(ui, cx, actions);
    if cx.model.night.is_none() {
        return;
    }
    ui.add_space(6.0);
    let redo = Button::new("Redo").enabled(cx.model.redo_name().is_some());
    let redo = redo.show(ui, cx.t);
    if redo.clicked() {
        actions.push(Action::Redo);
    }
    if let Some(name) = cx.model.redo_name() {
        redo.on_hover_text(format!("Do again: {name} (Shift Z)"));
    }
    let undo = Button::new("Undo").enabled(cx.model.undo_name().is_some());
    let undo = undo.show(ui, cx.t);
    if undo.clicked() {
        actions.push(Action::Undo);
    }
    if let Some(name) = cx.model.undo_name() {
        undo.on_hover_text(format!("Take back: {name} (Z)"));
    }
}
