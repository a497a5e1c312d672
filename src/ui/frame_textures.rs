//! Pictures on the graphics card: one stretch for a group of frames, textures made again only when
//! what they show changes.

use std::collections::HashMap;
use std::sync::Arc;

use egui::{ColorImage, Context, Painter, Rect, TextureHandle, TextureOptions, pos2};

use super::frame_window::FrameWindow;
use crate::app::Theme;
use crate::engine::{NightId, Picture};
use crate::picture::{Rgba, SkyStats, Stretch, Turn, View, render};

/// Largest side of a texture, px: every graphics card has it.
const TEXTURE_SIDE: usize = 2048;
/// Stretches kept; one is half a megabyte.
const STRETCHES_KEPT: usize = 6;

/// A place on the page where a picture goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Slot {
    /// The frame.
    Frame,
    /// One of the five spots.
    Spot(usize),
    /// The small picture of the table's side panel.
    Side,
    /// One of two pictures side by side.
    Half(usize),
}

/// Which stretch: frames of one group of one night share it, until more frames measured move the
/// group's usual level by a step.
/// The last is the group whose look is taken over, where it is not the frame's own.
type StretchKey = (NightId, Option<usize>, Option<i32>, Option<usize>);

/// Steps of the usual level that make a new stretch, as a share of it.
const LEVEL_STEP: f64 = 0.04;

/// What the textures of a slot show.
#[derive(Debug, Clone, PartialEq)]
struct Shown {
    stretch: StretchKey,
    shot: usize,
    red: bool,
    views: Vec<View>,
}

#[derive(Default)]
struct Place {
    shown: Option<Shown>,
    textures: Vec<TextureHandle>,
}

/// All of them.
#[derive(Default)]
pub(super) struct Textures {
    stretches: Vec<(StretchKey, Arc<Stretch>)>,
    places: HashMap<Slot, Place>,
}

impl std::fmt::Debug for Textures {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Textures")
            .field("places", &self.places.len())
            .finish_non_exhaustive()
    }
}

/// What to draw and how it is turned and stretched.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub night: NightId,
    pub picture: &'a Picture,
    pub turn: &'a Turn,
    /// The group the frame belongs to.
    pub group: Option<usize>,
    /// The group's usual green level, fraction of full scale, where it is known.
    pub usual_level: Option<f64>,
    /// Shown like the frames of another group: that group, and its sky in this frame's numbers.
    pub like: Option<(usize, SkyStats)>,
    pub theme: Theme,
}

impl Source<'_> {
    fn stretch_key(&self) -> StretchKey {
        let level = self.usual_level.filter(|level| *level > 0.0);
        let step = level.map(|level| (level.ln() / LEVEL_STEP).round() as i32);
        (
            self.night,
            self.group,
            step,
            self.like.map(|(group, _)| group),
        )
    }
}

impl Textures {
    /// Paints what `window` sees of the picture.
    pub(super) fn paint(
        &mut self,
        painter: &Painter,
        slot: Slot,
        window: &FrameWindow,
        source: Source<'_>,
    ) {
        let tiles = window.tiles(source.turn, TEXTURE_SIDE);
        let wanted = Shown {
            stretch: source.stretch_key(),
            shot: source.picture.shot,
            red: source.theme == Theme::Red,
            views: tiles.iter().map(|(view, _)| *view).collect(),
        };
        if self
            .places
            .get(&slot)
            .and_then(|place| place.shown.as_ref())
            != Some(&wanted)
        {
            self.make(painter.ctx(), slot, wanted, source);
        }
        self.paint_made(painter, slot, tiles.iter().map(|(_, rect)| *rect), 1.0);
    }

    /// Paints what the slot showed last, faded: while the next picture is on its way.
    pub(super) fn paint_last(
        &self,
        painter: &Painter,
        slot: Slot,
        window: &FrameWindow,
        turn: &Turn,
        opacity: f32,
    ) {
        let tiles = window.tiles(turn, TEXTURE_SIDE);
        self.paint_made(painter, slot, tiles.iter().map(|(_, rect)| *rect), opacity);
    }

    fn paint_made(
        &self,
        painter: &Painter,
        slot: Slot,
        rects: impl Iterator<Item = Rect>,
        opacity: f32,
    ) {
        let Some(place) = self.places.get(&slot) else {
            return;
        };
        let all = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        let tint = egui::Color32::WHITE.gamma_multiply(opacity);
        for (texture, rect) in place.textures.iter().zip(rects) {
            painter.image(texture.id(), rect, all, tint);
        }
    }

    fn make(&mut self, ctx: &Context, slot: Slot, wanted: Shown, source: Source<'_>) {
        let stretch = self.stretch(source);
        let place = self.places.entry(slot).or_default();
        place.textures.truncate(wanted.views.len());
        for (index, view) in wanted.views.iter().enumerate() {
            let image = image_of(view, source, &stretch);
            // Magnified px stay square; reduced pictures were reduced to the screen's own px.
            let options = TextureOptions::NEAREST;
            if let Some(texture) = place.textures.get_mut(index) {
                texture.set(image, options);
            } else {
                let texture = ctx.load_texture(format!("{slot:?} {index}"), image, options);
                place.textures.push(texture);
            }
        }
        place.shown = Some(wanted);
    }

    /// The group's stretch, made from the first of its frames looked at, taken to the group's
    /// usual level so that it hardly matters which that was.
    fn stretch(&mut self, source: Source<'_>) -> Arc<Stretch> {
        let key = source.stretch_key();
        if let Some((_, stretch)) = self.stretches.iter().find(|(kept, _)| *kept == key) {
            return Arc::clone(stretch);
        }
        let stats = source.like.map_or_else(
            || {
                let own = SkyStats::of(&source.picture.colour);
                own.at_green_level(source.usual_level.unwrap_or(0.0))
            },
            |(_, stats)| stats,
        );
        let stretch = Arc::new(Stretch::new(stats));
        if self.stretches.len() >= STRETCHES_KEPT {
            self.stretches.remove(0);
        }
        self.stretches.push((key, Arc::clone(&stretch)));
        stretch
    }
}

/// Renders a view from the frame itself, or from its overview where that is fine enough.
fn image_of(view: &View, source: Source<'_>, stretch: &Stretch) -> ColorImage {
    let picture = source.picture;
    let enough = view.zoom * picture.overview_scale <= 1.0;
    let (colour, scale) = if enough && picture.overview_scale > 1.0 {
        (&picture.overview, picture.overview_scale)
    } else {
        (&picture.colour, 1.0)
    };
    let view = view.within(picture.colour.width, picture.colour.height);
    let mut rgba = render(colour, scale, view, stretch, source.turn);
    if source.theme == Theme::Red {
        to_red(&mut rgba);
    }
    ColorImage::from_rgba_unmultiplied([rgba.width, rgba.height], rgba.px.as_flattened())
}

/// The red-light theme lights no green and no blue.
pub(super) fn to_red(rgba: &mut Rgba) {
    for px in &mut rgba.px {
        let [r, g, b, _] = px.map(f32::from);
        *px = [(0.36 * r + 0.52 * g + 0.18 * b).min(255.0) as u8, 0, 0, 255];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn red_light_keeps_brightness_and_nothing_else() {
        let mut rgba = Rgba {
            width: 2,
            height: 1,
            px: vec![[255, 255, 255, 255], [100, 50, 200, 255]],
        };
        to_red(&mut rgba);
        assert_eq!(rgba.px, [[255, 0, 0, 255], [98, 0, 0, 255]]);
    }
}
