//! What the window remembers from one session to the next, each under its name in the store.

use crate::advice::AdviceOptions;
use crate::engine::Effect;
use crate::verdict::knobs;

use super::model::{Model, Theme};

const THEME: &str = "theme";
const BRIGHTNESS: &str = "red-light-brightness";
const TEXT_SCALE: &str = "text-scale";
const WINDOW: &str = "window";
const TOLERANCE: &str = "points-k";
const LIMITS: &str = "limits";

/// Least brightness of the red light, percent: below it nothing can be read.
pub const LEAST_BRIGHTNESS_PCT: u8 = 30;
/// Text scales offered, percent.
pub const TEXT_SCALES_PCT: [u16; 8] = [80, 90, 100, 115, 130, 150, 175, 200];

/// Smallest and largest window asked for, points: what is kept may come from another screen.
const WINDOW_SIDES: std::ops::RangeInclusive<f32> = 400.0..=16_000.0;

/// How the window is read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comfort {
    /// In this light.
    pub theme: Theme,
    /// Whether the person chose it; else it follows the system.
    pub theme_chosen: bool,
    /// How bright the red light is, percent.
    pub brightness_pct: u8,
    /// Size of text, percent.
    pub text_scale_pct: u16,
    /// Size of the window when it was last closed, points: width, height.
    pub window_points: Option<(f32, f32)>,
}

impl Default for Comfort {
    fn default() -> Self {
        Self {
            theme: Theme::default(),
            theme_chosen: false,
            brightness_pct: 100,
            text_scale_pct: 100,
            window_points: None,
        }
    }
}

impl Theme {
    /// All of them, in the order of the switch.
    pub const ALL: [Self; 3] = [Self::Day, Self::Dark, Self::Red];

    /// The word on the switch.
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::Day => "Day",
            Self::Dark => "Dark",
            Self::Red => "Red light",
        }
    }

    /// What it is for.
    #[must_use]
    pub const fn tip(self) -> &'static str {
        match self {
            Self::Day => "Bright surroundings (T for the next)",
            Self::Dark => "Indoors (T for the next)",
            Self::Red => "At the telescope: only red is lit (T for the next)",
        }
    }

    /// The next one, round and round.
    #[must_use]
    pub const fn next(self) -> Self {
        match self {
            Self::Day => Self::Dark,
            Self::Dark => Self::Red,
            Self::Red => Self::Day,
        }
    }
}

impl Model {
    /// Takes in what was kept. What can't be read is passed over: the window then is as for a
    /// stranger.
    pub(super) fn recall(&mut self, kept: &[(String, String)]) {
        for (name, value) in kept {
            match name.as_str() {
                THEME => {
                    if let Some(theme) = Theme::ALL.into_iter().find(|t| t.label() == value) {
                        self.comfort.theme = theme;
                        self.comfort.theme_chosen = true;
                    }
                }
                BRIGHTNESS => {
                    if let Ok(pct) = value.parse::<u8>() {
                        self.comfort.brightness_pct = pct.clamp(LEAST_BRIGHTNESS_PCT, 100);
                    }
                }
                TEXT_SCALE => {
                    if let Some(pct) = value.parse().ok().filter(|p| TEXT_SCALES_PCT.contains(p)) {
                        self.comfort.text_scale_pct = pct;
                    }
                }
                WINDOW => self.comfort.window_points = window_from(value),
                TOLERANCE => {
                    let k = value.parse().ok();
                    if let Some(npf_k) = k.filter(|k| AdviceOptions::NPF_KS.contains(k)) {
                        self.advice.npf_k = npf_k;
                    }
                }
                LIMITS => {
                    if let Ok(limits) = serde_json::from_str(value) {
                        self.thresholds = knobs::held(limits);
                    }
                }
                _ => tracing::debug!(name, "a preference of another version"),
            }
        }
    }

    /// Reads in another light, and remembers it.
    pub(super) fn set_theme(&mut self, theme: Theme, effects: &mut Vec<Effect>) {
        self.comfort.theme = theme;
        self.comfort.theme_chosen = true;
        effects.push(keep(THEME, &theme.label()));
    }

    /// Follows the system, until a theme is chosen.
    pub(super) const fn follow_system(&mut self, is_dark: bool) {
        if !self.comfort.theme_chosen {
            self.comfort.theme = if is_dark { Theme::Dark } else { Theme::Day };
        }
    }

    /// Dims or brightens the red light.
    pub(super) fn set_brightness(&mut self, pct: u8, effects: &mut Vec<Effect>) {
        self.comfort.brightness_pct = pct.clamp(LEAST_BRIGHTNESS_PCT, 100);
        effects.push(keep(BRIGHTNESS, &self.comfort.brightness_pct));
    }

    /// The next larger (or, false, smaller) text.
    pub(super) fn scale_text(&mut self, larger: bool, effects: &mut Vec<Effect>) {
        let now = self.comfort.text_scale_pct;
        let mut scales = TEXT_SCALES_PCT.into_iter();
        let next = if larger {
            scales.find(|&pct| pct > now)
        } else {
            scales.rfind(|&pct| pct < now)
        };
        if let Some(pct) = next {
            self.comfort.text_scale_pct = pct;
            effects.push(keep(TEXT_SCALE, &pct));
        }
    }

    /// Remembers the tolerance for trails that pass as points.
    pub(super) fn keep_tolerance(&self, effects: &mut Vec<Effect>) {
        effects.push(keep(TOLERANCE, &self.advice.npf_k));
    }

    /// Remembers the limits of the verdicts.
    pub(super) fn keep_limits(&self, effects: &mut Vec<Effect>) {
        if let Ok(limits) = serde_json::to_string(&self.thresholds) {
            effects.push(keep(LIMITS, &limits));
        }
    }

    /// Remembers how large the window is, points.
    pub(super) fn keep_window(&mut self, size: (f32, f32), effects: &mut Vec<Effect>) {
        if self.comfort.window_points != Some(size) {
            self.comfort.window_points = Some(size);
            effects.push(keep(WINDOW, &format!("{} {}", size.0, size.1)));
        }
    }
}

fn keep(name: &'static str, value: &impl ToString) -> Effect {
    let value = value.to_string();
    Effect::KeepPreference { name, value }
}

fn window_from(text: &str) -> Option<(f32, f32)> {
    let (width, height) = text.split_once(' ')?;
    let size = (width.parse().ok()?, height.parse().ok()?);
    (WINDOW_SIDES.contains(&size.0) && WINDOW_SIDES.contains(&size.1)).then_some(size)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::Action;

    /// What a session keeps, as the next one gets it.
    fn kept(effects: Vec<Effect>) -> Vec<(String, String)> {
        (effects.into_iter())
            .filter_map(|effect| match effect {
                Effect::KeepPreference { name, value } => Some((name.to_owned(), value)),
                _ => None,
            })
            .collect()
    }

    #[test]
    fn what_was_set_is_there_the_next_time() {
        let mut before = Model::default();
        let mut all = Vec::new();
        for action in [
            Action::NextTheme,
            Action::SetBrightness(55),
            Action::ScaleText(true),
            Action::NextTolerance,
            Action::KeepWindow(1100.0, 720.0),
        ] {
            all.extend(kept(before.apply(action)));
        }
        assert_eq!(all.len(), 5);
        let mut after = Model::default();
        after.recall(&all);
        assert_eq!(after.comfort.theme, Theme::Red);
        assert_eq!(after.comfort.brightness_pct, 55);
        assert_eq!(after.comfort.text_scale_pct, 115);
        assert_eq!(after.comfort.window_points, Some((1100.0, 720.0)));
        assert_eq!(after.advice.npf_k, before.advice.npf_k);
        assert_ne!(after.advice.npf_k, Model::default().advice.npf_k);
    }

    #[test]
    fn the_system_is_followed_until_a_theme_is_chosen() {
        let mut model = Model::default();
        model.apply(Action::SystemIsDark(false));
        assert_eq!(model.comfort.theme, Theme::Day);
        model.apply(Action::SetTheme(Theme::Red));
        model.apply(Action::SystemIsDark(true));
        assert_eq!(model.comfort.theme, Theme::Red);
    }

    #[test]
    fn nonsense_is_passed_over() {
        let mut model = Model::default();
        let kept = [
            (THEME, "plaid"),
            (BRIGHTNESS, "0"),
            (TEXT_SCALE, "7"),
            (WINDOW, "1e9 NaN"),
            (TOLERANCE, "-4"),
            (LIMITS, "{\"width_doubt\":-7}"),
            ("later", "x"),
        ];
        model.recall(&kept.map(|(name, value)| (name.to_owned(), value.to_owned())));
        let fresh = Model::default();
        assert_eq!(model.comfort.theme, fresh.comfort.theme);
        assert_eq!(model.comfort.brightness_pct, LEAST_BRIGHTNESS_PCT);
        assert_eq!(model.comfort.text_scale_pct, 100);
        assert_eq!(model.comfort.window_points, None);
        assert_eq!(model.advice, fresh.advice);
        let held = knobs::held(model.thresholds);
        assert_eq!(model.thresholds, held, "no limit below its bounds");
        assert!(model.thresholds.width_doubt > 1.0);
    }

    #[test]
    fn text_stops_growing_at_the_largest() {
        let mut model = Model::default();
        for _ in 0..20 {
            model.apply(Action::ScaleText(true));
        }
        assert_eq!(model.comfort.text_scale_pct, 200);
        assert!(model.apply(Action::ScaleText(true)).is_empty());
    }
}
