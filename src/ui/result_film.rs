//! The film: the used frames one after the other, large or beside the trails, with its flicker.

use egui::{
    Align2, ColorImage, Context, Popup, Rect, Role, Sense, Shape, Stroke, TextureHandle,
    TextureOptions, Ui, WidgetInfo, pos2, vec2,
};

use super::frame_textures::to_red;
use super::result_page::{instead, tip};
use super::theme::{self, size};
use super::widgets::{self, Button, Look};
use super::{Cx, result_picture};
use crate::app::commands::command;
use crate::app::film_levels::{flicker_pct, gains};
use crate::app::{Action, FILM_RATES, OpenNight, ResultAction, Theme};
use crate::chart::axis::{Span, number};
use crate::engine::{FilmFiles, NightId};
use crate::picture::{SkyStats, Stretch, Turn};

/// Height of the flicker curve, points.
const CURVE: f32 = 26.0;

/// What the player keeps from one pass to the next.
#[derive(Default)]
pub(super) struct State {
    /// Since when it plays, s, and from which frame.
    since: Option<(f64, usize)>,
    stretch: Option<(NightId, u64, Stretch)>,
    made: Option<(Made, TextureHandle)>,
}

impl std::fmt::Debug for State {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("State")
            .field("since", &self.since)
            .finish_non_exhaustive()
    }
}

/// What the texture shows.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Made {
    night: NightId,
    shot: usize,
    gain: f32,
    red: bool,
}

impl State {
    /// Moves a playing film on; frames that are not here yet are waited for.
    pub(super) fn play(&mut self, ctx: &Context, night: &OpenNight, actions: &mut Vec<Action>) {
        let resulting = &night.resulting;
        if !resulting.playing {
            self.since = None;
            return;
        }
        let frames = resulting.film_frames();
        let now = ctx.input(|input| input.time);
        let (began, from) = *self.since.get_or_insert((now, resulting.film_at));
        let steps = ((now - began) * f64::from(resulting.rate)) as usize;
        let wanted = from + steps;
        // As far as frames are here.
        let is_here = |at: &usize| {
            (frames.get(*at)).is_some_and(|frame| resulting.film.contains_key(&frame.shot))
        };
        let reached = (resulting.film_at + 1..=wanted).take_while(is_here).last();
        let at = reached.unwrap_or(resulting.film_at);
        if at != resulting.film_at {
            actions.push(ResultAction::FilmTo(at).into());
        }
        if at < wanted {
            self.since = Some((now, at));
        }
        if at + 1 >= frames.len() {
            actions.push(ResultAction::Play.into());
        }
        ctx.request_repaint();
    }

    /// The frame on show, as a texture with its size as displayed; `None` while it is read.
    fn frame(&mut self, ui: &Ui, cx: Cx<'_>, night: &OpenNight) -> Option<&TextureHandle> {
        let resulting = &night.resulting;
        let frame = resulting.film_frames().get(resulting.film_at)?;
        let usual = resulting.sources.usual_level;
        let wanted = Made {
            night: night.id,
            shot: frame.shot,
            gain: frame.gain,
            red: cx.model.comfort.theme == Theme::Red,
        };
        let is_made = self.made.as_ref().is_some_and(|(made, _)| *made == wanted);
        if let (false, Some(Ok(film))) = (is_made, resulting.film.get(&frame.shot)) {
            let key = usual.to_bits();
            let is_other = |(id, of, _): &(NightId, u64, Stretch)| (*id, *of) != (night.id, key);
            if self.stretch.as_ref().is_none_or(is_other) {
                let stats = SkyStats::of(&film.decode(1.0).ok()?).at_green_level(usual);
                self.stretch = Some((night.id, key, Stretch::new(stats)));
            }
            let (_, _, stretch) = self.stretch.as_ref()?;
            let orientation = night.shown_set()?.orientation;
            let (width, height) = resulting.sources.frame;
            let turn = Turn::new(orientation, width, height);
            let mut rgba = film.show(frame.gain, stretch, &turn).ok()?;
            if wanted.red {
                to_red(&mut rgba);
            }
            let image = ColorImage::from_rgba_unmultiplied(
                [rgba.width, rgba.height],
                rgba.px.as_flattened(),
            );
            if let Some((made, texture)) = &mut self.made {
                texture.set(image, TextureOptions::LINEAR);
                *made = wanted;
            } else {
                let texture = ui.ctx().load_texture("film", image, TextureOptions::LINEAR);
                self.made = Some((wanted, texture));
            }
        }
        // What was shown last stays until the next is here.
        let made = self
            .made
            .as_ref()
            .filter(|(made, _)| made.night == night.id);
        made.map(|(_, texture)| texture)
    }
}

/// The film in the place of the large picture.
pub(super) fn large(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    state: &mut State,
    actions: &mut Vec<Action>,
) {
    let has_film = !night.resulting.film_frames().is_empty() && night.progress.is_none();
    if !has_film || night.resulting.film.is_empty() {
        instead(ui, cx, night, actions);
        return;
    }
    let area = ui.max_rect();
    let rect = picture(ui, cx, night, state, area);
    let painter = ui.painter().with_clip_rect(area);
    let at = rect.left_bottom() + vec2(10.0, -10.0);
    result_picture::label(&painter, cx, at, Align2::LEFT_BOTTOM, &frame_words(night));
}

/// "frame 201, 23:26:40".
fn frame_words(night: &OpenNight) -> String {
    let resulting = &night.resulting;
    let place = resulting
        .film_frames()
        .get(resulting.film_at)
        .and_then(|frame| {
            let exposures = resulting.sources.exposures.iter();
            let at = exposures
                .enumerate()
                .find(|(_, exposure)| exposure.shot == frame.shot)?
                .0;
            resulting.sources.places.get(at).copied()
        });
    place.map_or_else(String::new, |place| {
        let time = night
            .times
            .get(place)
            .map_or_else(String::new, |t| night.clock(*t));
        let comma = if time.is_empty() { "" } else { ", " };
        format!("frame {}{comma}{time}", place + 1)
    })
}

/// Draws the frame on show in `area`; where it went comes back.
fn picture(ui: &Ui, cx: Cx<'_>, night: &OpenNight, state: &mut State, area: Rect) -> Rect {
    let (at, of) = (night.resulting.film_at, night.resulting.film_frames().len());
    let texture = state
        .frame(ui, cx, night)
        .map(|texture| (texture.id(), texture.size_vec2()));
    let size = texture.map_or(vec2(3.0, 2.0), |(_, size)| size);
    let shape = size * (area.width() / size.x).min(area.height() / size.y);
    let rect = Rect::from_min_size(pos2(area.center().x - shape.x / 2.0, area.top()), shape);
    ui.painter().rect_filled(rect, 2.0, cx.t.plot);
    if let Some((id, _)) = texture {
        let all = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        ui.painter().image(id, rect, all, egui::Color32::WHITE);
    }
    let id = ui.scope_id().with("film");
    let response = ui.interact(rect, id, Sense::hover());
    response.widget_info(|| {
        let name = format!("Film, {} of {of}: {}", (at + 1).min(of), frame_words(night));
        WidgetInfo::labeled(Role::Image, true, name)
    });
    rect
}

/// The block at the foot of the panel.
pub(super) fn block(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    is_large: bool,
    state: &mut State,
    actions: &mut Vec<Action>,
) {
    let resulting = &night.resulting;
    let frames = resulting.film_frames().len();
    widgets::text(ui, "The same night as film", size::HEADING, cx.t.ink);
    if frames == 0 || night.progress.is_some() {
        let words = "No frame is used, or none is measured yet.";
        widgets::text(ui, words, size::BODY, cx.t.ink2);
        return;
    }
    if !is_large {
        let (width, height) = resulting.sources.frame;
        let orientation = night
            .shown_set()
            .map_or_else(Default::default, |set| set.orientation);
        let (width, height) = Turn::new(orientation, width, height).size();
        let wide = ui.available_width();
        let high = (wide * (height / width.max(1.0)) as f32).min(112.0);
        let (area, _) = ui.allocate_exact_size(vec2(wide, high), Sense::hover());
        picture(ui, cx, night, state, area);
    }
    play_row(ui, cx, night, frames, actions);
    ui.horizontal(|ui| {
        let rates = FILM_RATES.map(|rate| (rate, rate.to_string()));
        let rates: Vec<_> = (rates.iter())
            .map(|(rate, label)| (*rate, label.as_str(), "Frames a second"))
            .collect();
        let picked = widgets::segments(ui, cx.t, "Frames a second", &rates, resulting.rate);
        actions.extend(picked.map(|rate| ResultAction::Rate(rate).into()));
        let length = frames as f64 / f64::from(resulting.rate);
        let words = format!("per second: {} s of film", number(length, 1));
        widgets::text(ui, words, size::SMALL, cx.t.ink2);
    });
    flicker(ui, cx, night, actions);
    save_row(ui, cx, night, actions);
}

fn play_row(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, frames: usize, actions: &mut Vec<Action>) {
    let resulting = &night.resulting;
    ui.horizontal(|ui| {
        let label = if resulting.playing { "Stop" } else { "Play" };
        let button = Button::new(label)
            .look(Look::Main)
            .name(format!("{label} the film"));
        if button.show(ui, cx.t).on_hover_text(tip("play")).clicked() {
            actions.push(ResultAction::Play.into());
        }
        let rate = f64::from(resulting.rate);
        let time = format!(
            "{} of {} s",
            number((resulting.film_at + 1) as f64 / rate, 1),
            number(frames as f64 / rate, 1)
        );
        let font = theme::numbers(size::SMALL);
        let clock = ui.painter().layout_no_wrap(time, font, cx.t.ink2);
        let wide = (ui.available_width() - clock.size().x - 8.0).max(40.0);
        let (rect, response) = ui.allocate_exact_size(vec2(wide, 24.0), Sense::click_and_drag());
        response.widget_info(|| {
            let name = format!("Film, frame {} of {frames}", resulting.film_at + 1);
            WidgetInfo::slider(true, (resulting.film_at + 1) as f64, name)
        });
        let line = rect.center().y;
        let share = |at: usize| at as f32 / frames.saturating_sub(1).max(1) as f32;
        let read = resulting
            .film_frames()
            .iter()
            .take_while(|frame| resulting.film.contains_key(&frame.shot))
            .count();
        let painter = ui.painter();
        painter.hline(rect.x_range(), line, Stroke::new(2.0, cx.t.line2));
        let to = rect.left() + rect.width() * share(read.saturating_sub(1));
        painter.hline(rect.left()..=to, line, Stroke::new(4.0, cx.t.ink2));
        let x = rect.left() + rect.width() * share(resulting.film_at);
        painter.vline(x, rect.y_range(), Stroke::new(2.0, cx.t.ink));
        widgets::focus_ring(ui, rect, &response, cx.t);
        if let Some(pointer) = response.interact_pointer_pos() {
            let share = ((pointer.x - rect.left()) / rect.width()).clamp(0.0, 1.0);
            let at = (share * frames.saturating_sub(1) as f32).round() as usize;
            if at != resulting.film_at {
                actions.push(ResultAction::FilmTo(at).into());
            }
        }
        let (at, _) = ui.allocate_exact_size(clock.size(), Sense::hover());
        ui.painter().galley(at.min, clock, cx.t.ink2);
    });
}

/// How the sky's brightness runs through the film, as taken and evened out.
fn flicker(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, actions: &mut Vec<Action>) {
    let resulting = &night.resulting;
    let sources = &resulting.sources;
    let exposures = &resulting.chosen;
    let levels: Vec<Option<f64>> = (exposures.iter().zip(&sources.levels))
        .filter(|(exposure, _)| exposure.is_used)
        .map(|(_, level)| *level)
        .collect();
    let gains = gains(&levels);
    let as_taken = flicker_pct(&levels, &vec![1.0; gains.len()]);
    let even = flicker_pct(&levels, &gains);
    let words = match as_taken.zip(even) {
        Some((taken, even)) => {
            format!(
                "steps of {} %, evened {} %",
                number(taken, 1),
                number(even, 1)
            )
        }
        None => "the sky's level is not known".to_owned(),
    };
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 8.0;
        let name = format!("Even out flicker, {words}");
        let check = widgets::check(ui, cx.t, "Even out flicker", &name, resulting.levelled);
        let tip = "Each frame's light times a factor that brings its sky to the smooth course of the \
                   frames around it";
        if check.on_hover_text(tip).clicked() {
            actions.push(ResultAction::ToggleLevelled.into());
        }
        widgets::text(ui, words.clone(), size::SMALL, cx.t.ink2);
    });
    let known = levels.iter().flatten().copied();
    let Some(span) = Span::around(known, 0.1) else {
        return;
    };
    let (rect, response) =
        ui.allocate_exact_size(vec2(ui.available_width(), CURVE), Sense::hover());
    response.widget_info(|| {
        let name = format!("Sky brightness through the film, {words}");
        WidgetInfo::labeled(Role::Image, true, name)
    });
    ui.painter().rect_filled(rect, 0.0, cx.t.plot);
    let last = levels.len().saturating_sub(1).max(1) as f32;
    let curve = |factor: &dyn Fn(usize) -> f64| -> Vec<egui::Pos2> {
        (levels.iter().enumerate())
            .filter_map(|(at, level)| {
                let share = span.share((*level)? * factor(at)) as f32;
                let x = rect.left() + rect.width() * at as f32 / last;
                Some(pos2(x, rect.bottom() - 2.0 - (rect.height() - 4.0) * share))
            })
            .collect()
    };
    let taken = curve(&|_| 1.0);
    ui.painter()
        .add(Shape::line(taken, Stroke::new(1.0, cx.t.ink3)));
    if resulting.levelled {
        let even = curve(&|at| gains.get(at).map_or(1.0, |gain| f64::from(*gain)));
        ui.painter()
            .add(Shape::line(even, Stroke::new(1.5, cx.t.ink)));
    }
    response.on_hover_text("Sky level through the film; the bright line is evened out");
}

fn save_row(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, actions: &mut Vec<Action>) {
    let files = night.resulting.film_files;
    ui.horizontal(|ui| {
        let kind = if files.png { "PNG" } else { "JPEG" };
        let large = if files.full_size {
            "full size"
        } else {
            "1920 px"
        };
        let label = format!("{kind}, {large}");
        let menu = Button::new(&label)
            .menu()
            .name(format!("Film is saved as {label}"));
        let menu = menu
            .show(ui, cx.t)
            .on_hover_text("Size and kind of the film's pictures");
        Popup::menu(&menu).show(|ui| {
            for (full_size, png, words) in [
                (false, false, "JPEG, at most 1920 px"),
                (true, false, "JPEG, full size"),
                (false, true, "PNG, at most 1920 px"),
                (true, true, "PNG, full size"),
            ] {
                let choice = FilmFiles { full_size, png };
                if ui.selectable_label(files == choice, words).clicked() {
                    actions.push(ResultAction::FilmFiles(choice).into());
                }
            }
        });
        let action = command("save-film").and_then(|command| (command.action)(cx.model));
        let button = Button::new("Save film…").enabled(action.is_some());
        let tip = "A new folder of numbered pictures, for any program that makes films of them";
        if button.show(ui, cx.t).on_hover_text(tip).clicked() {
            actions.extend(action);
        }
    });
}
