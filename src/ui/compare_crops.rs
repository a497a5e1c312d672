//! The crops of a comparison: the same stars of every setting, at 1:1, through one stretch.

use egui::{Align2, ColorImage, Rect, Role, Sense, TextureHandle, TextureOptions, Ui};
use egui::{Vec2, WidgetInfo, pos2, vec2};

use super::Cx;
use super::frame_marks::diamond;
use super::frame_textures::to_red;
use super::theme::{self, size};
use crate::app::{CROP_SIDE, CropState, Field, OpenNight, Theme};
use crate::engine::{Colour, CropRequest, NightId};
use crate::picture::{Rgba, SkyStats, Stretch, Turn};

/// What a texture shows; another is made when it changes.
#[derive(Debug, Clone, PartialEq)]
struct Shown {
    night: NightId,
    request: CropRequest,
    /// The column whose sky sets the stretch.
    like: usize,
    as_recorded: bool,
    red: bool,
}

/// The crops on the graphics card, by column.
#[derive(Default)]
pub(super) struct Crops {
    made: Vec<Option<(Shown, TextureHandle)>>,
}

impl std::fmt::Debug for Crops {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Crops")
            .field("made", &self.made.len())
            .finish()
    }
}

/// Draws the crop of column `at` in `rect`.
pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    rect: Rect,
    night: &OpenNight,
    at: usize,
    crops: &mut Crops,
) {
    let name = (night.comparison()).map_or_else(String::new, |comparison| comparison.name(at));
    let field = night.comparing.fields.get(at);
    let state = field.and_then(|field| night.comparing.crop_of(&field.request));
    let response = ui.interact(rect, ui.scope_id().with(("crop", at)), Sense::hover());
    response.widget_info(|| {
        let how = match state {
            Some(CropState::Ready(_)) => "",
            Some(CropState::Failed(_)) => ", could not be read",
            _ => ", being read",
        };
        WidgetInfo::labeled(Role::Image, true, format!("Crop of {name} at 1:1{how}"))
    });
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 2.0, cx.t.plot);
    let words = match (field, state) {
        (Some(field), Some(CropState::Ready(colour))) => {
            let Some(texture) = crops.texture(ui, cx, night, at, field, colour) else {
                return;
            };
            let points = CROP_SIDE as f32 / ui.pixels_per_point();
            let share = rect.size() / points;
            let half = share.min(Vec2::splat(1.0)) / 2.0;
            let seen = Rect::from_min_max(
                pos2(0.5 - half.x, 0.5 - half.y),
                pos2(0.5 + half.x, 0.5 + half.y),
            );
            let place = Rect::from_center_size(rect.center(), seen.size() * points);
            painter.image(texture.id(), place, seen, egui::Color32::WHITE);
            marks(&painter, cx, rect, night, field, ui.pixels_per_point());
            return;
        }
        (_, Some(CropState::Failed(why))) => why.clone(),
        (None, _) if night.progress.is_some() => "after measuring".to_owned(),
        _ => "reading…".to_owned(),
    };
    let width = (rect.width() - 12.0).max(20.0);
    let galley = painter.layout(words, theme::words(size::SMALL), cx.t.ink2, width);
    let at = Align2::CENTER_CENTER.anchor_size(rect.center(), galley.size());
    painter.galley(at.min, galley, cx.t.ink2);
}

/// Diamonds about the stars whose cores are at full scale.
fn marks(
    painter: &egui::Painter,
    cx: Cx<'_>,
    rect: Rect,
    night: &OpenNight,
    field: &Field,
    scale: f32,
) {
    let measure = (night.night().rows.get(field.row)).and_then(|row| row.measure.as_deref());
    let (Some(measure), Some(set)) = (measure, night.shown_set()) else {
        return;
    };
    let turn = Turn::new(set.orientation, CROP_SIDE, CROP_SIDE);
    let half = CROP_SIDE as f64 / 2.0;
    for star in measure.stars.iter().filter(|star| star.flags.clipped) {
        let x = f64::from(star.x_px) - (field.centre.0 - half).round();
        let y = f64::from(star.y_px) - (field.centre.1 - half).round();
        let (x, y) = turn.to_display(x, y);
        let off = vec2((x + 0.5 - half) as f32, (y + 0.5 - half) as f32) / scale;
        let centre = rect.center() + off;
        if rect.contains(centre) {
            diamond(painter, centre, star.fwhm_px * 1.5 / scale, cx.t);
        }
    }
}

impl Crops {
    fn texture(
        &mut self,
        ui: &Ui,
        cx: Cx<'_>,
        night: &OpenNight,
        at: usize,
        field: &Field,
        colour: &Colour,
    ) -> Option<&TextureHandle> {
        let like = reference(night)?;
        let wanted = Shown {
            night: night.id,
            request: field.request.clone(),
            like,
            as_recorded: night.comparing.as_recorded,
            red: cx.model.comfort.theme == Theme::Red,
        };
        if self.made.len() <= at {
            self.made.resize_with(at + 1, || None);
        }
        let slot = self.made.get_mut(at)?;
        if slot.as_ref().is_none_or(|(shown, _)| *shown != wanted) {
            let image = image_of(night, at, colour, &wanted)?;
            let texture =
                (ui.ctx()).load_texture(format!("crop {at}"), image, TextureOptions::NEAREST);
            *slot = Some((wanted, texture));
        }
        slot.as_ref().map(|(_, texture)| texture)
    }
}

/// The column whose sky sets the stretch of all: the best one, or the first that is here; as recorded
/// the one with the middling sky, so that none is blown out and none is black.
fn reference(night: &OpenNight) -> Option<usize> {
    let is_here = |at: &usize| crop_of(night, *at).is_some();
    let mut here: Vec<usize> = (0..night.comparing.fields.len()).filter(is_here).collect();
    if night.comparing.as_recorded {
        let sky = |at: &usize| level(night, *at).unwrap_or(0.0);
        here.sort_by(|a, b| sky(a).total_cmp(&sky(b)));
        return here.get(here.len() / 2).copied();
    }
    let best = night.comparison()?.best.filter(is_here);
    best.or_else(|| here.first().copied())
}

/// A column's sky level, percent.
pub(super) fn level(night: &OpenNight, column: usize) -> Option<f64> {
    let sky = night.comparison()?.columns.get(column)?.sky_level_pct?;
    (sky.value > 0.0).then_some(sky.value)
}

fn crop_of(night: &OpenNight, at: usize) -> Option<&Colour> {
    let field = night.comparing.fields.get(at)?;
    match night.comparing.crop_of(&field.request)? {
        CropState::Ready(colour) => Some(colour),
        _ => None,
    }
}

/// The crop through the stretch of the reference, turned for display.
fn image_of(night: &OpenNight, at: usize, colour: &Colour, shown: &Shown) -> Option<ColorImage> {
    let mut stats = SkyStats::of(crop_of(night, shown.like)?);
    if shown.as_recorded {
        stats = stats.down_to_black();
    }
    let brighter = match (level(night, at), level(night, shown.like)) {
        (Some(own), Some(like)) if !shown.as_recorded => own / like,
        _ => 1.0,
    };
    let stretch = Stretch::new(stats.amplified(brighter));
    let turn = Turn::new(night.shown_set()?.orientation, colour.width, colour.height);
    let (width, px) = turn.picture(colour.width, &stretch.apply(&colour.rgb));
    let height = px.len().checked_div(width)?;
    let mut rgba = Rgba { width, height, px };
    if shown.red {
        to_red(&mut rgba);
    }
    Some(ColorImage::from_rgba_unmultiplied(
        [width, height],
        rgba.px.as_flattened(),
    ))
}
