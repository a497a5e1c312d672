//! The window in egui: pages, chart, frame view, theme, widgets. It reads the model, turns input
//! into actions and draws; it decides nothing.

mod chart_tip;
mod chart_view;
mod compare_chart;
mod compare_crops;
mod compare_page;
mod compare_pair;
mod compare_panel;
mod compare_rows;
mod compare_table;
mod event_marks;
mod facts;
pub mod fold;
pub mod frame_block;
mod frame_marks;
mod frame_textures;
mod frame_view;
mod frame_window;
mod frame_words;
pub mod first_run;
pub mod frames_page;
mod glossary;
mod handing_over;
mod keys;
mod keys_page;
mod lane_bands;
mod lane_paint;
mod legend;
pub mod marks;
mod night_page;
mod panel;
mod range_bar;
mod result_film;
mod result_notes;
mod result_page;
mod result_panel;
mod result_picture;
mod result_run;
mod ribbon_view;
mod recent_nights;
mod sky_arcs;
mod sky_words;
mod spot_cells;
mod spot_models;
mod spots;
mod status;
pub mod supplied;
pub mod theme;
mod topbar;
mod warnings;
mod verdict_buttons;
mod whiskers;
pub mod widgets;

use std::sync::{Arc, OnceLock};

use egui::{Context, Ui};

use crate::app::{self, Action, Comfort, Model, Page, Theme};
use crate::engine::{Engine, OpenRequest};

pub use fold::Fold;
pub use theme::Tokens;

/// What every part of the window draws from.
#[derive(Debug, Clone, Copy)]
pub struct Cx<'a> {
    /// The state.
    pub model: &'a Model,
    /// The colours.
    pub t: &'a Tokens,
    /// What is folded away.
    pub fold: Fold,
}

/// The window.
pub struct App {
    engine: Engine,
    model: Model,
    /// What the context was last set to.
    comfort: Option<Comfort>,
    /// How large the window is when it neither fills the screen nor is hidden.
    size: Option<egui::Vec2>,
    /// The window's title as the system shows it.
    title: String,
    frame_block: frame_block::State,
    compare_page: compare_page::State,
    frames_page: frames_page::State,
    result_page: result_page::State,
    first_run: first_run::State,
    night_page: night_page::State,
    panel: panel::State,
}

/// Opens the window, on a night if one is asked for, and returns when it is closed.
///
/// # Errors
/// When there is no display or no way to draw on it, in words.
pub fn run(open: Option<OpenRequest>) -> Result<(), String> {
    // The engine comes first: it knows how large the window was, and opens what is asked for while
    // the window is being made.
    let context = Arc::new(OnceLock::<Context>::new());
    let engine = Engine::new(0, {
        let context = Arc::clone(&context);
        Arc::new(move || {
            if let Some(context) = context.get() {
                context.request_repaint();
            }
        })
    });
    let mut app = App::new(engine, open);
    app.hear();
    let (width, height) = app.model.comfort.window_points.unwrap_or((1440.0, 900.0));
    let options = eframe::NativeOptions {
        viewport: egui::ViewportBuilder::default()
            .with_app_id("nightloupe")
            .with_title("nightloupe")
            .with_inner_size([width, height])
            .with_min_inner_size([960.0, 640.0]),
        ..Default::default()
    };
    eframe::run_native(
        "nightloupe",
        options,
        Box::new(move |cx| {
            // Only this window sets it, once.
            drop(context.set(cx.egui_ctx.clone()));
            Ok(Box::new(app))
        }),
    )
    .map_err(|error| error.to_string())
}

impl App {
    /// A window on `engine`, opening a night if one is asked for.
    #[must_use]
    pub fn new(engine: Engine, open: Option<OpenRequest>) -> Self {
        let mut app = Self {
            engine,
            model: Model::default(),
            comfort: None,
            size: None,
            title: String::new(),
            frame_block: frame_block::State::default(),
            compare_page: compare_page::State::default(),
            frames_page: frames_page::State::default(),
            result_page: result_page::State::default(),
            first_run: first_run::State::default(),
            night_page: night_page::State::default(),
            panel: panel::State::default(),
        };
        app.apply(Action::Start);
        if let Some(request) = open {
            app.apply(Action::OpenRequest(Box::new(request)));
        }
        app
    }

    /// The state, for tests and for the window's title.
    #[must_use]
    pub const fn model(&self) -> &Model {
        &self.model
    }

    /// Applies an action and starts what it asks for.
    pub fn apply(&mut self, action: Action) {
        for effect in self.model.apply(action) {
            self.engine.run(effect);
        }
    }

    /// Takes in what the engine has said.
    fn hear(&mut self) {
        for report in self.engine.reports() {
            self.apply(Action::Report(Box::new(report)));
        }
    }

    /// Takes in what the engine has said and what was typed or dropped.
    pub fn take_in(&mut self, ctx: &Context) {
        self.hear();
        let dropped: Vec<_> = ctx.input(|input| {
            (input.raw.dropped_files.iter())
                .map(|file| file.path().to_path_buf())
                .collect()
        });
        if !dropped.is_empty() {
            self.apply(Action::Open(dropped));
        }
        for action in keys::actions(ctx, &self.model) {
            self.apply(action);
        }
    }

    /// Names the window after what it shows.
    fn put_title(&mut self, ctx: &Context) {
        let title = app::title(&self.model);
        if title != self.title {
            ctx.send_viewport_cmd(egui::ViewportCommand::Title(title.clone()));
            self.title = title;
        }
    }

    /// Draws the window into `ui` and applies what was done in it.
    pub fn draw(&mut self, ui: &mut Ui) {
        let ctx = ui.ctx().clone();
        let comfort = self.model.comfort;
        let system = ctx.system_theme().map(|theme| theme == egui::Theme::Dark);
        if let Some(is_dark) = system.filter(|_| !comfort.theme_chosen)
            && is_dark != (comfort.theme == Theme::Dark)
        {
            self.apply(Action::SystemIsDark(is_dark));
        }
        if self.comfort != Some(self.model.comfort) {
            theme::apply(&ctx, &self.model.comfort);
            ui.set_style(ctx.global_style());
            self.comfort = Some(self.model.comfort);
        }
        self.put_title(&ctx);
        let tokens = Tokens::of(self.model.comfort.theme);
        let mut actions = Vec::new();
        let area = ui.max_rect();
        let cx = Cx {
            model: &self.model,
            t: &tokens,
            fold: Fold::of(area.size()),
        };
        let (top, rest) = area.split_top_bottom_at_y(area.top() + 44.0);
        let (page, bottom) = rest.split_top_bottom_at_y(rest.bottom() - 28.0);
        inside(ui, "top", top, |ui| topbar::show(ui, cx, &mut actions));
        on_ground(ui, "page", page, tokens.bg, |ui| {
            if self.model.keys_shown {
                keys_page::show(ui, cx, &mut actions);
                return;
            }
            if self.model.night.is_none() {
                first_run::show(ui, cx, &mut self.first_run, &mut actions);
                return;
            }
            match self.model.page {
                Page::Night => {
                    let mut blocks = night_page::Blocks {
                        state: &mut self.night_page,
                        frame: &mut self.frame_block,
                        panel: &mut self.panel,
                    };
                    night_page::show(ui, cx, &mut blocks, &mut actions);
                }
                Page::Compare => {
                    compare_page::show(ui, cx, &mut self.compare_page, &mut actions);
                }
                Page::Result => {
                    result_page::show(ui, cx, &mut self.result_page, &mut actions);
                }
                Page::Frames => {
                    frames_page::show(
                        ui,
                        cx,
                        &mut self.frames_page,
                        &mut self.frame_block,
                        &mut actions,
                    );
                }
            }
        });
        inside(ui, "status", bottom, |ui| {
            status::show(ui, cx, &mut actions);
        });
        warnings::show(ui, cx, &mut actions);
        handing_over::show(ui, cx, &mut actions);
        theme::dim(&ctx, &self.model.comfort);
        keep_arrows(&ctx);
        for action in actions {
            self.apply(action);
        }
        if let Some(text) = self.model.take_copy() {
            ctx.copy_text(text);
        }
    }
}

impl eframe::App for App {
    fn logic(&mut self, ctx: &Context, _frame: &mut eframe::Frame) {
        self.take_in(ctx);
    }

    fn ui(&mut self, ui: &mut Ui, _frame: &mut eframe::Frame) {
        self.draw(ui);
        let viewport = ui.input(|input| input.viewport().clone());
        // In points without the text scale, as it is asked for at the start.
        let scale = ui.ctx().zoom_factor();
        let is_usual = viewport.maximized != Some(true) && viewport.fullscreen != Some(true);
        self.size = (viewport.inner_rect.filter(|_| is_usual)).map(|r| r.size() * scale);
    }

    fn on_exit(&mut self, _gl: Option<&eframe::glow::Context>) {
        if let Some(size) = self.size {
            self.apply(Action::KeepWindow(size.x.round(), size.y.round()));
        }
    }
}

/// Arrows step from frame to frame, whatever has the focus; Tab moves the focus.
fn keep_arrows(ctx: &Context) {
    if ctx.text_edit_focused() {
        return;
    }
    let filter = egui::EventFilter {
        horizontal_arrows: true,
        ..egui::EventFilter::default()
    };
    ctx.memory_mut(|memory| {
        if let Some(id) = memory.focused() {
            memory.set_focus_lock_filter(id, filter);
        }
    });
}

/// A card over the status line, at the window's right edge.
fn card_at_foot(ui: &Ui, cx: Cx<'_>, name: &str, add: impl FnOnce(&mut Ui)) {
    let frame = egui::Frame::new()
        .fill(cx.t.raise)
        .stroke(egui::Stroke::new(1.0, cx.t.line2))
        .corner_radius(egui::CornerRadius::same(6))
        .inner_margin(egui::Margin::same(12));
    egui::Area::new(egui::Id::unique(name))
        .order(egui::Order::Foreground)
        .anchor(egui::Align2::RIGHT_BOTTOM, egui::vec2(-12.0, -34.0))
        .show(ui.ctx(), |ui| {
            frame.show(ui, |ui| {
                ui.set_width(440.0);
                add(ui);
            });
        });
}

/// Draws `add` in `rect` of the window, clipped to it.
pub(crate) fn inside<R>(
    ui: &mut Ui,
    salt: &str,
    rect: egui::Rect,
    add: impl FnOnce(&mut Ui) -> R,
) -> R {
    within(ui, salt, rect, egui::UiStackInfo::default(), add)
}

/// The same on a ground of colour `fill`, which is painted, and which what scrolls fades into.
pub(crate) fn on_ground<R>(
    ui: &mut Ui,
    salt: &str,
    rect: egui::Rect,
    fill: egui::Color32,
    add: impl FnOnce(&mut Ui) -> R,
) -> R {
    ui.painter().rect_filled(rect, 0.0, fill);
    let ground = egui::Frame::new().fill(fill);
    let info = egui::UiStackInfo::new(egui::UiKind::Frame).with_frame(ground);
    within(ui, salt, rect, info, add)
}

fn within<R>(
    ui: &mut Ui,
    salt: &str,
    rect: egui::Rect,
    info: egui::UiStackInfo,
    add: impl FnOnce(&mut Ui) -> R,
) -> R {
    let builder = egui::UiBuilder::new()
        .id_salt(salt)
        .max_rect(rect)
        .ui_stack_info(info)
        .layout(egui::Layout::top_down(egui::Align::Min));
    let mut child = ui.new_child(builder);
    child.shrink_clip_rect(rect);
    add(&mut child)
}
