//! What the camera could not say, said by the person: a small panel that opens under its button.

use egui::{Popup, TextEdit, Ui, vec2};

use super::Cx;
use super::first_run::named;
use super::theme::{self, size};
use super::widgets::{self, Button, Look};
use crate::app::{Action, OpenNight};
use crate::engine::{CameraKey, Supplied};

/// What is typed, until it is kept.
#[derive(Debug, Default)]
pub struct State {
    /// For which camera the fields were filled.
    camera: Option<CameraKey>,
    /// Focal length, f-number, pixel pitch, offset, as typed.
    typed: [String; 4],
}

/// A field: its words, unit, and what it is for.
const FIELDS: [(&str, &str, &str); 4] = [
    (
        "Focal length",
        "mm",
        "The lens’s own, not its 35 mm equivalent",
    ),
    (
        "Aperture",
        "f/",
        "The f-number set on the lens or telescope",
    ),
    (
        "Pixel pitch",
        "µm",
        "From the camera’s data sheet; sets how long trails must be",
    ),
    (
        "Clock",
        "from UTC",
        "The camera clock’s zone, such as +2, −3:30 or 0",
    ),
];

/// The button's words.
const LABEL: &str = "Lens and camera…";

/// Room for the quiet button and what is before it.
pub(super) fn width(ui: &Ui) -> f32 {
    Button::new(LABEL).look(Look::Text).measure(ui).x + 24.0
}

/// Shows the button; its panel has the fields. What is typed wins over what the file says.
pub(super) fn button(
    ui: &mut Ui,
    cx: Cx<'_>,
    state: &mut State,
    look: Look,
    actions: &mut Vec<Action>,
) {
    let Some(night) = &cx.model.night else { return };
    let Some(camera) = night.shown_set().map(|set| set.camera.clone()) else {
        return;
    };
    let response = Button::new(LABEL)
        .look(look)
        .show(ui, cx.t)
        .on_hover_text("Focal length, aperture, pixel pitch and clock, where the files do not say");
    if response.clicked() || state.camera.as_ref() != Some(&camera) {
        state.typed = filled(&night.supplied.get(&camera).copied().unwrap_or_default());
        state.camera = Some(camera.clone());
    }
    Popup::menu(&response)
        .close_behavior(egui::PopupCloseBehavior::CloseOnClickOutside)
        .layout(egui::Layout::top_down(egui::Align::Min))
        .show(|ui| {
            ui.set_width(300.0);
            if let Some(supplied) = fields(ui, cx, state, night, &camera) {
                actions.push(Action::Supply(camera.clone(), supplied));
                ui.close();
            }
        });
}

fn fields(
    ui: &mut Ui,
    cx: Cx<'_>,
    state: &mut State,
    night: &OpenNight,
    camera: &CameraKey,
) -> Option<Supplied> {
    let t = cx.t;
    let name = if camera.camera.is_empty() {
        "this camera"
    } else {
        camera.camera.as_str()
    };
    widgets::text(ui, format!("For {name}"), size::FINDING, t.ink);
    let about = "Leave a field empty to follow the files. Kept for this camera.";
    widgets::text(ui, about, size::SMALL, t.ink2);
    let said = night.chosen_row().map(|(_, row)| &row.facts);
    for (place, (label, unit, tip)) in FIELDS.iter().enumerate() {
        let hint = said.and_then(|facts| match place {
            0 => facts.focal_length_mm.map(theme_number),
            1 => facts.f_number.map(theme_number),
            2 => facts.pixel_um.map(theme_number),
            _ => facts
                .taken_at
                .and_then(|taken| taken.offset_s)
                .map(offset_words),
        });
        ui.horizontal(|ui| {
            let (rect, _) = ui.allocate_exact_size(vec2(96.0, 24.0), egui::Sense::hover());
            let galley =
                ui.painter()
                    .layout_no_wrap((*label).to_owned(), theme::words(13.5), t.ink);
            let top = rect.center().y - galley.size().y / 2.0;
            ui.painter()
                .galley(egui::pos2(rect.left(), top), galley, t.ink);
            let hint =
                egui::RichText::new(hint.unwrap_or_else(|| "unknown".to_owned())).color(t.ink3);
            let Some(typed) = state.typed.get_mut(place) else {
                return;
            };
            let edit = TextEdit::singleline(typed)
                .id_salt(*label)
                .hint_text(hint)
                .font(theme::numbers(size::SMALL))
                .text_color(t.ink)
                .align(egui::Align2::LEFT_CENTER)
                .desired_width(90.0);
            let response = ui.add(edit);
            named(ui, &response, &format!("{label}, {unit}"));
            response.on_hover_text(*tip);
            widgets::text(ui, *unit, size::SMALL, t.ink2);
        });
    }
    let parsed = parse(&state.typed);
    if let Err(problem) = &parsed {
        widgets::text(ui, problem, size::SMALL, t.ink);
    }
    let mut kept = None;
    ui.horizontal(|ui| {
        let keep = Button::new("Use these")
            .look(Look::Main)
            .enabled(parsed.is_ok())
            .show(ui, t);
        if keep.clicked() {
            kept = parsed.as_ref().ok().copied();
        }
        if Button::new("Follow the files").show(ui, t).clicked() {
            kept = Some(Supplied::default());
        }
    });
    kept
}

fn theme_number(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn filled(supplied: &Supplied) -> [String; 4] {
    let number = |value: Option<f64>| value.map_or_else(String::new, theme_number);
    [
        number(supplied.focal_length_mm),
        number(supplied.f_number),
        number(supplied.pixel_um),
        supplied.offset_s.map_or_else(String::new, offset_words),
    ]
}

fn offset_words(seconds: i32) -> String {
    let sign = if seconds < 0 { '-' } else { '+' };
    let minutes = seconds.unsigned_abs() / 60;
    format!("{sign}{}:{:02}", minutes / 60, minutes % 60)
}

fn parse(typed: &[String; 4]) -> Result<Supplied, String> {
    let [focal, aperture, pixel, clock] = typed;
    Ok(Supplied {
        focal_length_mm: number(focal, "Focal length", 0.5, 20_000.0)?,
        f_number: number(aperture, "Aperture", 0.5, 200.0)?,
        pixel_um: number(pixel, "Pixel pitch", 0.3, 100.0)?,
        offset_s: offset(clock)?,
    })
}

fn number(typed: &str, name: &str, least: f64, most: f64) -> Result<Option<f64>, String> {
    // A decimal comma is what many keyboards give.
    let typed = typed.trim().replace(',', ".");
    if typed.is_empty() {
        return Ok(None);
    }
    match typed.parse::<f64>() {
        Ok(value) if (least..=most).contains(&value) => Ok(Some(value)),
        _ => Err(format!("{name}: a number from {least} to {most}.")),
    }
}

/// "+2", "-3:30", "+0530", "0" as seconds east of UTC.
fn offset(typed: &str) -> Result<Option<i32>, String> {
    let typed = typed.trim().replace('−', "-");
    if typed.is_empty() {
        return Ok(None);
    }
    let wrong = || "Clock: hours from UTC, such as +2 or -3:30.".to_owned();
    let (sign, rest) = match typed.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, typed.strip_prefix('+').unwrap_or(&typed)),
    };
    let (hours, minutes) = match rest.split_once(':') {
        Some(parts) => parts,
        None if rest.len() == 4 && rest.is_ascii() => rest.split_at(2),
        None => (rest, "0"),
    };
    let hours: i32 = hours.parse().map_err(|_| wrong())?;
    let minutes: i32 = minutes.parse().map_err(|_| wrong())?;
    let inside = (0..=14).contains(&hours) && (0..60).contains(&minutes);
    if inside {
        Ok(Some(sign * (hours * 3600 + minutes * 60)))
    } else {
        Err(wrong())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(fields: [&str; 4]) -> [String; 4] {
        fields.map(str::to_owned)
    }

    #[test]
    fn what_is_kept_fills_the_fields_again() {
        let supplied = parse(&typed(["24", " 2,8", "4.3", "-3:30"])).unwrap();
        assert_eq!(supplied.f_number, Some(2.8));
        assert_eq!(supplied.offset_s, Some(-12_600));
        assert_eq!(parse(&filled(&supplied)), Ok(supplied));
        assert_eq!(parse(&typed(["", "", "", ""])), Ok(Supplied::default()));
    }

    #[test]
    fn offsets_in_the_ways_people_write_them() {
        for (text, seconds) in [("+2", 7200), ("0", 0), ("−1", -3600), ("+0545", 20_700)] {
            assert_eq!(offset(text), Ok(Some(seconds)), "{text}");
        }
        assert!(offset("25").is_err() && offset("noon").is_err() && offset("+1:99").is_err());
    }

    #[test]
    fn nonsense_is_named() {
        let problem = parse(&typed(["0", "", "", ""])).unwrap_err();
        assert!(problem.starts_with("Focal length"), "{problem}");
        assert!(parse(&typed(["", "inf", "", ""])).is_err());
    }
}
