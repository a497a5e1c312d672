//! The colours, as one struct with a value for each light the window is read in, and the fonts.

use egui::{Color32, CornerRadius, FontFamily, FontId, Stroke, TextStyle, Visuals};

use crate::app::{Comfort, Theme};
use crate::verdict::Verdict;

/// Every colour the window paints with. Hue means a verdict and nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tokens {
    /// Window.
    pub bg: Color32,
    /// Top bar, right panel, status line.
    pub panel: Color32,
    /// Lanes, ribbon, fields.
    pub plot: Color32,
    /// Buttons, tips.
    pub raise: Color32,
    /// Under the pointer; the chosen row or range.
    pub hover: Color32,
    /// Rules and grid.
    pub line: Color32,
    /// Borders of controls.
    pub line2: Color32,
    /// Main text, the chosen frame's line, the width line.
    pub ink: Color32,
    /// Second text.
    pub ink2: Color32,
    /// Hints, tick numbers.
    pub ink3: Color32,
    /// Verdict keep.
    pub keep: Color32,
    /// Verdict doubtful.
    pub doubt: Color32,
    /// Verdict reject.
    pub rej: Color32,
    /// Main button, chosen segment, time chip.
    pub prim: Color32,
    /// Text on `prim`.
    pub prim_ink: Color32,
    /// Predicted length.
    pub band: Color32,
    /// Twilight and Moon.
    pub shade: Color32,
    /// Marks drawn on a picture.
    pub over: Color32,
    /// On a picture: within what is predicted.
    pub over_keep: Color32,
    /// On a picture: outside of it; streaks.
    pub over_doubt: Color32,
}

const fn rgb(hex: u32) -> Color32 {
    Color32::from_rgb((hex >> 16) as u8, (hex >> 8) as u8, hex as u8)
}

const DARK: Tokens = Tokens {
    bg: rgb(0x0012_1316),
    panel: rgb(0x001A_1B1F),
    plot: rgb(0x000E_0F11),
    raise: rgb(0x0028_2A30),
    hover: rgb(0x0030_333A),
    line: rgb(0x0033_363D),
    line2: rgb(0x0078_7D88),
    ink: rgb(0x00F0_EEE8),
    ink2: rgb(0x00BD_BEC1),
    ink3: rgb(0x0092_959C),
    keep: rgb(0x007C_BFCC),
    doubt: rgb(0x00ED_B740),
    rej: rgb(0x00F4_785A),
    prim: rgb(0x00E9_E6DE),
    prim_ink: rgb(0x0016_171A),
    band: rgb(0x003A_4449),
    shade: rgb(0x0022_242A),
    over: rgb(0x00F0_EEE8),
    over_keep: rgb(0x009B_E0EC),
    over_doubt: rgb(0x00FF_C94A),
};

const DAY: Tokens = Tokens {
    bg: rgb(0x00E7_E4DC),
    panel: rgb(0x00F5_F3EE),
    plot: rgb(0x00FD_FCFA),
    raise: rgb(0x00FF_FFFF),
    hover: rgb(0x00E4_E0D6),
    line: rgb(0x00CD_C8BD),
    line2: rgb(0x0082_7E75),
    ink: rgb(0x001A_1B1E),
    ink2: rgb(0x0044_464B),
    ink3: rgb(0x0060_6268),
    keep: rgb(0x001A_6B80),
    doubt: rgb(0x0087_5800),
    rej: rgb(0x00B0_351A),
    prim: rgb(0x0026_282D),
    prim_ink: rgb(0x00FA_F9F6),
    band: rgb(0x00C3_D2D4),
    shade: rgb(0x00EC_E9E2),
    over: rgb(0x00F0_EEE8),
    over_keep: rgb(0x009B_E0EC),
    over_doubt: rgb(0x00FF_C94A),
};

const RED: Tokens = Tokens {
    bg: rgb(0x0000_0000),
    panel: rgb(0x000C_0000),
    plot: rgb(0x0000_0000),
    raise: rgb(0x0026_0000),
    hover: rgb(0x0032_0000),
    line: rgb(0x0048_0000),
    line2: rgb(0x00CC_0000),
    ink: rgb(0x00FF_0000),
    ink2: rgb(0x00F0_0000),
    ink3: rgb(0x00E8_0000),
    keep: rgb(0x00CC_0000),
    doubt: rgb(0x00EE_0000),
    rej: rgb(0x00FF_0000),
    prim: rgb(0x00F0_0000),
    prim_ink: rgb(0x0000_0000),
    band: rgb(0x005E_0000),
    shade: rgb(0x001C_0000),
    over: rgb(0x00FF_0000),
    over_keep: rgb(0x00E0_0000),
    over_doubt: rgb(0x00FF_0000),
};

impl Tokens {
    /// The colours for a light.
    #[must_use]
    pub const fn of(theme: Theme) -> Self {
        match theme {
            Theme::Dark => DARK,
            Theme::Day => DAY,
            Theme::Red => RED,
        }
    }

    /// A verdict's colour.
    #[must_use]
    pub const fn verdict(&self, verdict: Verdict) -> Color32 {
        match verdict {
            Verdict::Keep => self.keep,
            Verdict::Doubtful => self.doubt,
            Verdict::Reject => self.rej,
        }
    }

    /// What egui's own widgets paint with.
    #[must_use]
    pub fn visuals(&self, theme: Theme) -> Visuals {
        let mut v = if theme == Theme::Day {
            Visuals::light()
        } else {
            Visuals::dark()
        };
        v.override_text_color = None;
        v.weak_text_color = Some(self.ink3);
        v.panel_fill = self.bg;
        v.window_fill = self.raise;
        v.window_stroke = Stroke::new(1.0, self.line2);
        v.window_corner_radius = CornerRadius::same(6);
        v.menu_corner_radius = CornerRadius::same(6);
        v.window_shadow = egui::Shadow::NONE;
        v.popup_shadow = egui::Shadow::NONE;
        v.extreme_bg_color = self.plot;
        v.text_edit_bg_color = Some(self.plot);
        v.faint_bg_color = self.panel;
        v.code_bg_color = self.plot;
        v.hyperlink_color = self.ink;
        v.warn_fg_color = self.ink;
        v.error_fg_color = self.ink;
        v.selection.bg_fill = self.hover;
        v.selection.stroke = Stroke::new(1.0, self.ink);
        v.text_cursor.stroke = Stroke::new(1.5, self.ink);
        v.text_cursor.blink = false;
        let widget = |w: &mut egui::style::WidgetVisuals, fill, border, ink| {
            w.bg_fill = fill;
            w.weak_bg_fill = fill;
            w.bg_stroke = Stroke::new(1.0, border);
            w.fg_stroke = Stroke::new(1.0, ink);
            w.corner_radius = CornerRadius::same(4);
            w.expansion = 0.0;
        };
        widget(
            &mut v.widgets.noninteractive,
            self.panel,
            self.line,
            self.ink,
        );
        widget(&mut v.widgets.inactive, self.raise, self.line2, self.ink);
        widget(&mut v.widgets.hovered, self.hover, self.ink2, self.ink);
        widget(&mut v.widgets.active, self.hover, self.ink, self.ink);
        widget(&mut v.widgets.open, self.hover, self.line2, self.ink);
        v
    }
}

/// Words: Ubuntu-Light at `size` points.
#[must_use]
pub const fn words(size: f32) -> FontId {
    FontId::new(size, FontFamily::Proportional)
}

/// Numbers: Hack at `size` points.
#[must_use]
pub const fn numbers(size: f32) -> FontId {
    FontId::new(size, FontFamily::Monospace)
}

/// Sizes of type, points.
pub mod size {
    /// Title of the night.
    pub const TITLE: f32 = 20.0;
    /// Numbers of the answer.
    pub const ANSWER: f32 = 26.0;
    /// Numbers of the outcome.
    pub const RESULT: f32 = 22.0;
    /// Headings.
    pub const HEADING: f32 = 17.0;
    /// Page switch.
    pub const PAGE: f32 = 16.0;
    /// Titles of findings, the answer's sentence.
    pub const FINDING: f32 = 15.0;
    /// Body.
    pub const BODY: f32 = 14.0;
    /// Buttons.
    pub const BUTTON: f32 = 13.5;
    /// Small.
    pub const SMALL: f32 = 12.5;
    /// Tick numbers of the lanes.
    pub const TICK: f32 = 11.0;
}

/// Applies what the person reads best to a context: colours, type, spacing, no motion.
pub fn apply(ctx: &egui::Context, comfort: &Comfort) {
    let theme = comfort.theme;
    // The commands' table has the keys for the size of text, and the store remembers it.
    ctx.options_mut(|options| options.zoom_with_keyboard = false);
    ctx.set_zoom_factor(f32::from(comfort.text_scale_pct) / 100.0);
    let visuals = Tokens::of(theme).visuals(theme);
    ctx.set_theme(if theme == Theme::Day {
        egui::Theme::Light
    } else {
        egui::Theme::Dark
    });
    ctx.all_styles_mut(|style| {
        style.visuals = visuals.clone();
        style.animation_time = 0.0;
        style.spacing.item_spacing = egui::vec2(6.0, 6.0);
        style.spacing.button_padding = egui::vec2(9.0, 3.0);
        style.spacing.interact_size.y = 24.0;
        style.spacing.tooltip_width = 320.0;
        style.interaction.selectable_labels = false;
        style.interaction.tooltip_delay = 0.4;
        style.text_styles = [
            (TextStyle::Small, words(size::SMALL)),
            (TextStyle::Body, words(size::BODY)),
            (TextStyle::Button, words(size::BUTTON)),
            (TextStyle::Heading, words(size::HEADING)),
            (TextStyle::Monospace, numbers(size::SMALL)),
        ]
        .into();
    });
}

/// Dims the whole window, pictures and tips too, when the red light is turned down.
pub fn dim(ctx: &egui::Context, comfort: &Comfort) {
    if comfort.theme != Theme::Red || comfort.brightness_pct >= 100 {
        return;
    }
    let veil = Color32::from_black_alpha(255 - (f32::from(comfort.brightness_pct) * 2.55) as u8);
    let over_all = egui::LayerId::new(egui::Order::Debug, egui::Id::unique("veil"));
    ctx.layer_painter(over_all)
        .rect_filled(ctx.content_rect(), 0.0, veil);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn luminance(colour: Color32) -> f64 {
        let linear = |byte: u8| {
            let c = f64::from(byte) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(colour.r()) + 0.7152 * linear(colour.g()) + 0.0722 * linear(colour.b())
    }

    /// Contrast ratio, WCAG 2.2 (relative luminance).
    fn contrast(a: Color32, b: Color32) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn every_pair_in_use_can_be_read() {
        for (theme, text_least) in [(Theme::Dark, 4.5), (Theme::Day, 4.5), (Theme::Red, 4.0)] {
            let t = Tokens::of(theme);
            for ground in [t.bg, t.panel, t.plot, t.raise] {
                for text in [t.ink, t.ink2, t.ink3] {
                    let ratio = contrast(text, ground);
                    assert!(
                        ratio >= text_least - 0.05,
                        "{theme:?} {text:?} on {ground:?}: {ratio}"
                    );
                }
                for mark in [t.keep, t.doubt, t.rej, t.line2] {
                    let ratio = contrast(mark, ground);
                    assert!(ratio >= 3.0, "{theme:?} {mark:?} on {ground:?}: {ratio}");
                }
            }
            for text in [t.ink, t.ink2] {
                assert!(contrast(text, t.hover) >= text_least - 0.05);
            }
            assert!(contrast(t.prim_ink, t.prim) >= 4.5);
        }
    }

    #[test]
    fn red_light_is_only_red() {
        let t = RED;
        let all = [
            t.bg,
            t.panel,
            t.plot,
            t.raise,
            t.hover,
            t.line,
            t.line2,
            t.ink,
            t.ink2,
            t.ink3,
            t.keep,
            t.doubt,
            t.rej,
            t.prim,
            t.prim_ink,
            t.band,
            t.shade,
            t.over,
            t.over_keep,
            t.over_doubt,
        ];
        assert!(all.iter().all(|c| c.g() == 0 && c.b() == 0));
    }
}
