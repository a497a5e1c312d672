//! Paints what the window would show, on the processor: enough to look at and to check colours.
#![expect(
    clippy::float_cmp,
    reason = "whether a pixel lies on an edge is asked exactly, so that just one side owns it"
)]
#![expect(
    clippy::many_single_char_names,
    reason = "x, y, u and v are what graphics calls them"
)]

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use egui::epaint::{ImageData, Primitive, Vertex};
use egui::{Color32, ColorImage, Pos2, TextureId, TexturesDelta};
use egui_kittest::TestRenderer;

type Textures = Rc<RefCell<HashMap<TextureId, ColorImage>>>;

/// Keeps the textures the window made.
#[derive(Default, Clone)]
pub(crate) struct Raster {
    textures: Textures,
}

impl TestRenderer for Raster {
    fn handle_delta(&mut self, delta: &mut TexturesDelta) {
        let mut textures = self.textures.borrow_mut();
        for (id, changes) in &delta.set {
            for change in changes {
                let ImageData::Color(image) = &change.image;
                match change.pos {
                    None => {
                        textures.insert(*id, (**image).clone());
                    }
                    Some([left, top]) => {
                        let whole = textures.get_mut(id).unwrap();
                        let stride = whole.size[0];
                        for y in 0..image.size[1] {
                            let from = y * image.size[0];
                            let to = (top + y) * stride + left;
                            whole.pixels[to..to + image.size[0]]
                                .copy_from_slice(&image.pixels[from..from + image.size[0]]);
                        }
                    }
                }
            }
        }
        for id in &delta.free {
            textures.remove(id);
        }
        delta.set.clear();
        delta.free.clear();
    }
}

impl Raster {
    /// Paints one pass of the window, one pixel a point.
    pub(crate) fn paint(&self, ctx: &egui::Context, output: &egui::FullOutput) -> ColorImage {
        let size = ctx.content_rect().size();
        let (width, height) = (size.x as usize, size.y as usize);
        let mut picture = ColorImage::filled([width, height], Color32::BLACK);
        let textures = self.textures.borrow();
        for clipped in ctx.tessellate(output.shapes.clone(), 1.0) {
            let Primitive::Mesh(mesh) = clipped.primitive else {
                continue;
            };
            let texture = textures.get(&mesh.texture_id).unwrap();
            for corners in mesh.indices.chunks_exact(3) {
                let corner = |i: usize| mesh.vertices[corners[i] as usize];
                let triangle = [corner(0), corner(1), corner(2)];
                fill(&mut picture, texture, triangle, clipped.clip_rect);
            }
        }
        picture
    }
}

fn side(a: Pos2, b: Pos2, p: Pos2) -> f32 {
    (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x)
}

/// Whether the edge from `a` to `b` owns the pixels it passes through: top and left edges do, so
/// that neighbours never paint a pixel twice.
fn owns(a: Pos2, b: Pos2) -> bool {
    (a.y == b.y && b.x > a.x) || b.y < a.y
}

fn fill(picture: &mut ColorImage, texture: &ColorImage, mut t: [Vertex; 3], clip: egui::Rect) {
    if side(t[0].pos, t[1].pos, t[2].pos) < 0.0 {
        t.swap(1, 2);
    }
    let area = side(t[0].pos, t[1].pos, t[2].pos);
    if area <= 0.0 {
        return;
    }
    let [width, height] = picture.size;
    let low = |pick: fn(Pos2) -> f32| t.iter().map(|v| pick(v.pos)).fold(f32::INFINITY, f32::min);
    let high = |pick: fn(Pos2) -> f32| t.iter().map(|v| pick(v.pos)).fold(0.0, f32::max);
    let from_x = low(|p| p.x).max(clip.left()).max(0.0).floor() as usize;
    let to_x = (high(|p| p.x).min(clip.right()).ceil() as usize).min(width);
    let from_y = low(|p| p.y).max(clip.top()).max(0.0).floor() as usize;
    let to_y = (high(|p| p.y).min(clip.bottom()).ceil() as usize).min(height);
    for y in from_y..to_y {
        for x in from_x..to_x {
            let p = Pos2::new(x as f32 + 0.5, y as f32 + 0.5);
            if !clip.contains(p) {
                continue;
            }
            let parts = [
                side(t[1].pos, t[2].pos, p),
                side(t[2].pos, t[0].pos, p),
                side(t[0].pos, t[1].pos, p),
            ];
            let edges = [
                (t[1].pos, t[2].pos),
                (t[2].pos, t[0].pos),
                (t[0].pos, t[1].pos),
            ];
            let inside = (parts.iter().zip(edges))
                .all(|(&part, (a, b))| part > 0.0 || (part == 0.0 && owns(a, b)));
            if inside {
                let shares = parts.map(|part| part / area);
                let at = y * width + x;
                picture.pixels[at] = over(shade(texture, &t, shares), picture.pixels[at]);
            }
        }
    }
}

fn shade(texture: &ColorImage, t: &[Vertex; 3], shares: [f32; 3]) -> [f32; 4] {
    let mix = |pick: &dyn Fn(&Vertex) -> f32| -> f32 {
        t.iter().zip(shares).map(|(v, share)| pick(v) * share).sum()
    };
    let [width, height] = texture.size;
    let u = mix(&|v| v.uv.x) * width as f32 - 0.5;
    let v = mix(&|v| v.uv.y) * height as f32 - 0.5;
    let (left, top) = (u.floor(), v.floor());
    let texel = |x: f32, y: f32| {
        let x = (x.max(0.0) as usize).min(width - 1);
        let y = (y.max(0.0) as usize).min(height - 1);
        texture.pixels[y * width + x].to_array().map(f32::from)
    };
    let mut out = [0.0; 4];
    for (dx, dy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
        let weight_x = if dx > 0.0 { u - left } else { 1.0 - (u - left) };
        let weight_y = if dy > 0.0 { v - top } else { 1.0 - (v - top) };
        let sample = texel(left + dx, top + dy);
        for (slot, sample) in out.iter_mut().zip(sample) {
            *slot += sample * weight_x * weight_y;
        }
    }
    for (channel, slot) in out.iter_mut().enumerate() {
        *slot *= mix(&|v| f32::from(v.color.to_array()[channel])) / 255.0;
    }
    out
}

/// Colours are premultiplied and blended as they are encoded, as the window's own painter does.
fn over(source: [f32; 4], under: Color32) -> Color32 {
    let rest = 1.0 - source[3] / 255.0;
    let mut out = [0_u8; 4];
    for (slot, (s, d)) in out.iter_mut().zip(source.iter().zip(under.to_array())) {
        *slot = (s + f32::from(d) * rest).round().clamp(0.0, 255.0) as u8;
    }
    Color32::from_rgba_premultiplied(out[0], out[1], out[2], out[3])
}
