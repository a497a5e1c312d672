//! What folds away when the window is small.

use egui::Vec2;

/// How far the window is folded, from its size in points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "independent steps, each a question a page asks"
)]
pub struct Fold {
    /// Under 1360 wide: the purpose is one drop-down, facts lose span, pause and camera.
    pub short_facts: bool,
    /// Under 1240 wide: narrow panel with tabs, marks in a menu, buttons without keys.
    pub narrow: bool,
    /// Under 820 high: lower lanes.
    pub low: bool,
    /// Under 700 high: three lanes folded, spots in one row.
    pub very_low: bool,
    /// Under 960 wide: the panel goes under a button.
    pub tiny: bool,
}

impl Fold {
    /// For a window of this size, points.
    #[must_use]
    pub fn of(window: Vec2) -> Self {
        Self {
            short_facts: window.x < 1360.0,
            narrow: window.x < 1240.0,
            low: window.y < 820.0,
            very_low: window.y < 700.0,
            tiny: window.x < 960.0,
        }
    }

    /// Width of the right panel, points.
    #[must_use]
    pub const fn panel_width(self) -> f32 {
        if self.narrow { 336.0 } else { 430.0 }
    }
}
