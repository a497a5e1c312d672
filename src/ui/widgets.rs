//! Buttons, segments, chips: each with an accessible name, a visible focus ring and no hue.

use egui::{Color32, CornerRadius, Rect, Response, Role, Sense, Stroke, StrokeKind, Ui, Vec2};
use egui::{WidgetInfo, pos2, vec2};

use super::marks::{self, MarkKind};
use super::theme::{self, Tokens, size};

/// How a button looks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Look {
    /// Raised, thin border.
    #[default]
    Plain,
    /// Filled: the one thing to do in its block.
    Main,
    /// Advised: a border of 2 px.
    Advised,
    /// The verdict in force: a border in its colour.
    InForce(Color32),
    /// Text with a line under it.
    Text,
}

/// A button.
#[derive(Debug, Clone)]
#[must_use]
pub struct Button<'a> {
    label: &'a str,
    name: Option<String>,
    key: Option<&'a str>,
    mark: Option<MarkKind>,
    look: Look,
    enabled: bool,
    large: bool,
    menu: bool,
    pressed: Option<bool>,
}

impl<'a> Button<'a> {
    /// A plain button named by its label.
    pub const fn new(label: &'a str) -> Self {
        Self {
            label,
            name: None,
            key: None,
            mark: None,
            look: Look::Plain,
            enabled: true,
            large: false,
            menu: false,
            pressed: None,
        }
    }

    /// Its name for a screen reader, when the label alone does not say enough.
    pub fn name(mut self, name: impl Into<String>) -> Self {
        self.name = Some(name.into());
        self
    }

    /// The key that does the same, shown small.
    pub const fn key(mut self, key: &'a str) -> Self {
        self.key = Some(key);
        self
    }

    /// A verdict mark before the label.
    pub const fn mark(mut self, mark: MarkKind) -> Self {
        self.mark = Some(mark);
        self
    }

    /// How it looks.
    pub const fn look(mut self, look: Look) -> Self {
        self.look = look;
        self
    }

    /// Whether it can be pressed now.
    pub const fn enabled(mut self, enabled: bool) -> Self {
        self.enabled = enabled;
        self
    }

    /// 32 points high.
    pub const fn large(mut self) -> Self {
        self.large = true;
        self
    }

    /// With a triangle: it opens a menu.
    pub const fn menu(mut self) -> Self {
        self.menu = true;
        self
    }

    /// A toggle, pressed or not.
    pub const fn pressed(mut self, pressed: bool) -> Self {
        self.pressed = Some(pressed);
        self
    }

    /// Its size when shown.
    #[must_use]
    pub fn measure(&self, ui: &Ui) -> Vec2 {
        self.parts(ui, Color32::WHITE).2
    }

    fn parts(
        &self,
        ui: &Ui,
        ink: Color32,
    ) -> (
        std::sync::Arc<egui::Galley>,
        Option<std::sync::Arc<egui::Galley>>,
        Vec2,
    ) {
        let points = if self.large { 15.0 } else { size::BUTTON };
        let painter = ui.painter();
        let label = painter.layout_no_wrap(self.label.to_owned(), theme::words(points), ink);
        let key = (self.key).map(|key| {
            painter.layout_no_wrap(key.to_owned(), theme::numbers(size::TICK - 0.5), ink)
        });
        let (pad, height) = match (self.look, self.large) {
            (Look::Text, _) => (2.0, 24.0),
            (_, true) => (16.0, 32.0),
            (_, false) => (9.0, 24.0),
        };
        let mut width = label.size().x + 2.0 * pad;
        width += key.as_ref().map_or(0.0, |key| key.size().x + 7.0);
        width += self.mark.map_or(0.0, |_| 18.0);
        width += if self.menu { 16.0 } else { 0.0 };
        (label, key, vec2(width, height))
    }

    /// Shows it.
    pub fn show(self, ui: &mut Ui, t: &Tokens) -> Response {
        let (_, _, wanted) = self.parts(ui, t.ink);
        let sense = if self.enabled {
            Sense::click()
        } else {
            Sense::hover()
        };
        let (rect, response) = ui.allocate_exact_size(wanted, sense);
        let name = self.name.clone().unwrap_or_else(|| self.label.to_owned());
        response.widget_info(|| {
            let mut info = WidgetInfo::labeled(Role::Button, self.enabled, &name);
            info.selected = self.pressed;
            info
        });
        if ui.is_rect_visible(rect) {
            self.paint(ui, rect, &response, t);
        }
        response
    }

    fn paint(&self, ui: &Ui, rect: Rect, response: &Response, t: &Tokens) {
        let over = self.enabled && (response.hovered() || response.is_pointer_button_down_on());
        let (fill, border, ink) = match self.look {
            _ if !self.enabled => (Color32::TRANSPARENT, Stroke::new(1.0, t.line), t.ink3),
            Look::Plain => (t.raise, Stroke::new(1.0, t.line2), t.ink),
            Look::Main => (t.prim, Stroke::NONE, t.prim_ink),
            Look::Advised => (t.raise, Stroke::new(2.0, t.ink), t.ink),
            Look::InForce(colour) => (t.raise, Stroke::new(1.5, colour), t.ink),
            Look::Text => (Color32::TRANSPARENT, Stroke::NONE, t.ink2),
        };
        let fill = match self.look {
            Look::Main | Look::Text => fill,
            _ if over => t.hover,
            _ => fill,
        };
        let ink = if over && self.look == Look::Text {
            t.ink
        } else {
            ink
        };
        let painter = ui.painter();
        painter.rect(
            rect,
            CornerRadius::same(4),
            fill,
            border,
            StrokeKind::Inside,
        );
        if over && self.look == Look::Main {
            let inner = rect.shrink(2.0);
            painter.rect_stroke(
                inner,
                CornerRadius::same(3),
                Stroke::new(1.0, t.prim_ink),
                StrokeKind::Inside,
            );
        }
        focus_ring(ui, rect, response, t);
        let (label, key, wanted) = self.parts(ui, ink);
        let mut x =
            rect.center().x - wanted.x / 2.0 + if self.look == Look::Text { 2.0 } else { 9.0 };
        if self.large {
            x = rect.center().x - wanted.x / 2.0 + 16.0;
        }
        if let Some(mark) = self.mark {
            marks::paint(painter, pos2(x, rect.center().y - 8.0), 14.0, mark, t);
            x += 18.0;
        }
        let top = rect.center().y - label.size().y / 2.0;
        let label_size = label.size();
        painter.galley(pos2(x, top), label, ink);
        if self.look == Look::Text {
            let y = top + label_size.y;
            painter.line_segment(
                [pos2(x, y), pos2(x + label_size.x, y)],
                Stroke::new(1.0, ink),
            );
        }
        x += label_size.x + 7.0;
        if let Some(key) = key {
            let top = rect.center().y - key.size().y / 2.0;
            let ink = if self.look == Look::Main { ink } else { t.ink2 };
            painter.galley_with_override_text_color(pos2(x, top), key, ink);
        }
        if self.menu {
            let centre = pos2(rect.right() - 14.0, rect.center().y);
            marks::triangle(painter, centre, 7.0, Vec2::DOWN, ink);
        }
    }
}

/// A ring about what the keyboard is on: 2 px, 2 px off.
pub fn focus_ring(ui: &Ui, rect: Rect, response: &Response, t: &Tokens) {
    if response.has_focus() {
        ui.painter().rect_stroke(
            rect.expand(2.0),
            CornerRadius::same(6),
            Stroke::new(2.0, t.ink),
            StrokeKind::Outside,
        );
    }
}

/// One of several, side by side. `name` names the group. The new choice comes back.
pub fn segments<T: Copy + PartialEq>(
    ui: &mut Ui,
    t: &Tokens,
    name: &str,
    options: &[(T, &str, &str)],
    chosen: T,
) -> Option<T> {
    segments_over(ui, t, name, options, chosen, 0.0)
}

/// Segments at least `least` wide in all; what is left over is shared out evenly.
pub fn segments_over<T: Copy + PartialEq>(
    ui: &mut Ui,
    t: &Tokens,
    name: &str,
    options: &[(T, &str, &str)],
    chosen: T,
    least: f32,
) -> Option<T> {
    let mut picked = None;
    let galleys: Vec<_> = (options.iter())
        .map(|&(value, label, _)| {
            let ink = if value == chosen { t.prim_ink } else { t.ink };
            let font = theme::words(size::BUTTON);
            (ui.painter()).layout_no_wrap(label.to_owned(), font, ink)
        })
        .collect();
    let height = 26.0;
    let natural: f32 = galleys.iter().map(|galley| galley.size().x + 22.0).sum();
    let width = natural.max(least);
    let pad = 22.0 + (width - natural) / options.len().max(1) as f32;
    let (rect, _) = ui.allocate_exact_size(vec2(width, height), Sense::hover());
    let mut x = rect.left();
    let painter = ui.painter().clone();
    painter.rect_filled(rect, CornerRadius::same(4), t.panel);
    for (index, (&(value, label, tip), galley)) in options.iter().zip(galleys).enumerate() {
        let cell = Rect::from_min_size(pos2(x, rect.top()), vec2(galley.size().x + pad, height));
        x = cell.right();
        let id = ui.scope_id().with((name, index));
        let response = ui.interact(cell, id, Sense::click());
        let is_chosen = value == chosen;
        response.widget_info(|| {
            WidgetInfo::selected(
                Role::RadioButton,
                true,
                is_chosen,
                format!("{name}: {label}"),
            )
        });
        let ink = if is_chosen { t.prim_ink } else { t.ink };
        if is_chosen {
            painter.rect_filled(cell, CornerRadius::same(4), t.prim);
        } else if response.hovered() {
            painter.rect_filled(cell, CornerRadius::same(4), t.hover);
        }
        if index > 0 {
            painter.vline(cell.left(), cell.y_range(), Stroke::new(1.0, t.line2));
        }
        painter.galley(cell.center() - galley.size() / 2.0, galley, ink);
        focus_ring(ui, cell, &response, t);
        if response.clicked() && !is_chosen {
            picked = Some(value);
        }
        if !tip.is_empty() {
            response.on_hover_text(tip);
        }
    }
    painter.rect_stroke(
        rect,
        CornerRadius::same(4),
        Stroke::new(1.0, t.line2),
        StrokeKind::Inside,
    );
    picked
}

/// A check box with its words.
pub fn check(ui: &mut Ui, t: &Tokens, label: &str, name: &str, ticked: bool) -> Response {
    let galley = (ui.painter()).layout_no_wrap(label.to_owned(), theme::words(13.0), t.ink);
    let wanted = vec2(galley.size().x + 22.0, 20.0);
    let (rect, response) = ui.allocate_exact_size(wanted, Sense::click());
    response.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, ticked, name));
    let square = Rect::from_min_size(pos2(rect.left(), rect.center().y - 7.0), Vec2::splat(14.0));
    let painter = ui.painter();
    let fill = if ticked { t.prim } else { t.plot };
    let border = if response.hovered() { t.ink } else { t.line2 };
    painter.rect(
        square,
        CornerRadius::same(3),
        fill,
        Stroke::new(1.0, border),
        StrokeKind::Inside,
    );
    if ticked {
        let at = |x: f32, y: f32| square.min + vec2(x, y);
        painter.line(
            vec![at(3.5, 7.5), at(6.0, 10.0), at(10.8, 4.2)],
            Stroke::new(1.6, t.prim_ink),
        );
    }
    let top = rect.center().y - galley.size().y / 2.0;
    painter.galley(pos2(rect.left() + 22.0, top), galley, t.ink);
    focus_ring(ui, rect, &response, t);
    response
}

/// Text that is not pressed: `points` high, in `ink`.
pub fn text(ui: &mut Ui, text: impl Into<String>, points: f32, ink: Color32) -> Response {
    ui.label(
        egui::RichText::new(text)
            .font(theme::words(points))
            .color(ink),
    )
}

/// A rule across, 1 px.
pub fn rule(ui: &mut Ui, t: &Tokens) {
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), 1.0), Sense::hover());
    (ui.painter()).hline(rect.x_range(), rect.center().y, Stroke::new(1.0, t.line));
}
