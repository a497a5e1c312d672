//! What the camera could not say, said by the person: a small panel that opens under its button.

use egui::{Popup, TextEdit, Ui, vec2};

use super::Cx;
use super::first_run::named;
use super::theme::{self, size};
use super::widgets::{self, Button, Look};
use crate::app::{Action, OpenNight};
use crate::engine::{CameraKey, Supplied};
use crate::frame::{clock_shift_words, parse_clock_shift};
use crate::night::PlaceFrom;
use crate::sky::{Site, SiteError};

/// What is typed, until it is kept.
#[derive(Debug, Default)]
pub struct State {
    /// For which camera the fields were filled.
    camera: Option<CameraKey>,
    /// As typed, in the order of [`FIELDS`].
    typed: Typed,
}

/// How many fields there are.
const COUNT: usize = 7;
/// The last field: not of the camera but of the person.
const PLACE: usize = COUNT - 1;

type Typed = [String; COUNT];

/// A field: its words, unit, and what it is for.
const FIELDS: [(&str, &str, &str); COUNT] = [
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
    (
        "Clock is off",
        "add to it",
        "What to add to the times the camera wrote: seconds, or hours:minutes:seconds; −37 when its \
         clock is 37 s fast",
    ),
    (
        "Sky meter",
        "mag/arcsec²",
        "What a sky meter read when the chosen frame was taken: sets sky brightness for this camera \
         and lens",
    ),
    (
        "Place",
        "lat, lon",
        "Where you shoot, such as 47.25, 12.5 or 23.7S 68.2W: tells twilight and the Moon",
    ),
];

/// What was typed, read.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Said {
    supplied: Supplied,
    /// A sky meter's reading at the chosen frame.
    reading: Option<f64>,
    /// Whether to forget all that was said for the camera.
    forgets: bool,
    site: Option<Site>,
}

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
    let response = Button::new(LABEL).look(look).show(ui, cx.t).on_hover_text(
        "Focal length, aperture, pixel pitch, clock and place, where the files do not say",
    );
    if response.clicked() || state.camera.as_ref() != Some(&camera) {
        state.typed = filled(Said {
            supplied: night.supplied.get(&camera).copied().unwrap_or_default(),
            reading: None,
            forgets: false,
            site: night.usual_site,
        });
        state.camera = Some(camera.clone());
    }
    Popup::menu(&response)
        .close_behavior(egui::PopupCloseBehavior::CloseOnClickOutside)
        .layout(egui::Layout::top_down(egui::Align::Min))
        .show(|ui| {
            ui.set_width(300.0);
            if let Some(said) = fields(ui, cx, state, night, &camera) {
                actions.push(Action::Supply(camera.clone(), said.supplied));
                actions.extend(calibration(night, said));
                if said.site != night.usual_site {
                    actions.push(Action::KeepSite(said.site));
                }
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
) -> Option<Said> {
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
            3 => facts
                .taken_at
                .and_then(|taken| taken.offset_s)
                .map(offset_words),
            4 => Some("right".to_owned()),
            5 => sky_brightness(night).map(|(mag, error)| format!("{mag:.1} ± {error:.1}")),
            _ => (night.night().place).map(|place| place.site.to_string()),
        });
        if place == PLACE {
            widgets::text(ui, place_words(night), size::SMALL, t.ink2);
        }
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
    let parsed = parse(&state.typed).and_then(|said| checked(night, said));
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
            kept = Some(Said {
                supplied: Supplied::default(),
                reading: None,
                forgets: true,
                site: night.usual_site,
            });
        }
    });
    kept
}

fn theme_number(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The sky brightness of the chosen frame with its error, mag per square arcsecond.
fn sky_brightness(night: &OpenNight) -> Option<(f64, f64)> {
    let derived = &night.chosen_row()?.1.derived;
    derived.sky_mag_arcsec2.zip(derived.sky_mag_error)
}

/// A reading needs a frame with a brightness to be set against.
fn checked(night: &OpenNight, said: Said) -> Result<Said, String> {
    if said.reading.is_some() && sky_brightness(night).is_none() {
        let why = "Sky meter: the chosen frame has no brightness; it takes a linear file with exposure, \
                   aperture and ISO.";
        return Err(why.to_owned());
    }
    Ok(said)
}

/// What a reading makes of the camera and lens; following the files again forgets it.
fn calibration(night: &OpenNight, said: Said) -> Option<Action> {
    let (_, row) = night.chosen_row()?;
    let group = night.night().groups.get(row.group?)?;
    let optics = group.settings.optics();
    if let Some(reading) = said.reading {
        let uncalibrated = row.derived.sky_mag_arcsec2? - group.sky_offset_mag.unwrap_or(0.0);
        return Some(Action::KeepSkyOffset(optics, Some(reading - uncalibrated)));
    }
    let forget = said.forgets && group.sky_offset_mag.is_some();
    forget.then_some(Action::KeepSkyOffset(optics, None))
}

/// Whose the place is, and whether this night follows it.
fn place_words(night: &OpenNight) -> &'static str {
    match night.night().place.map(|place| place.from) {
        Some(PlaceFrom::Given) => "Where you shoot; this night has another by command line.",
        Some(PlaceFrom::Frames) => "Where you shoot, for nights whose files do not say; these do.",
        _ => "Where you shoot: kept for all nights whose files do not say.",
    }
}

fn filled(said: Said) -> Typed {
    let number = |value: Option<f64>| value.map_or_else(String::new, theme_number);
    let supplied = said.supplied;
    [
        number(supplied.focal_length_mm),
        number(supplied.f_number),
        number(supplied.pixel_um),
        supplied.offset_s.map_or_else(String::new, offset_words),
        (supplied.clock_add_s).map_or_else(String::new, clock_shift_words),
        number(said.reading),
        said.site.map_or_else(String::new, |site| site.to_string()),
    ]
}

fn offset_words(seconds: i32) -> String {
    let sign = if seconds < 0 { '-' } else { '+' };
    let minutes = seconds.unsigned_abs() / 60;
    format!("{sign}{}:{:02}", minutes / 60, minutes % 60)
}

fn parse(typed: &Typed) -> Result<Said, String> {
    let [focal, aperture, pixel, zone, shift, meter, place] = typed;
    Ok(Said {
        supplied: Supplied {
            focal_length_mm: number(focal, "Focal length", 0.5, 20_000.0)?,
            f_number: number(aperture, "Aperture", 0.5, 200.0)?,
            pixel_um: number(pixel, "Pixel pitch", 0.3, 100.0)?,
            offset_s: offset(zone)?,
            clock_add_s: clock_shift(shift)?,
        },
        reading: number(meter, "Sky meter", 3.0, 24.0)?,
        forgets: false,
        site: site(place)?,
    })
}

fn clock_shift(typed: &str) -> Result<Option<f64>, String> {
    if typed.trim().is_empty() {
        return Ok(None);
    }
    let wrong = || "Clock is off: seconds such as -37, or 1:00:00.".to_owned();
    parse_clock_shift(typed).map(Some).ok_or_else(wrong)
}

fn site(typed: &str) -> Result<Option<Site>, String> {
    if typed.trim().is_empty() {
        return Ok(None);
    }
    (typed.parse().map(Some)).map_err(|fault: SiteError| format!("Place: {fault}."))
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

    fn typed(fields: [&str; COUNT]) -> Typed {
        fields.map(str::to_owned)
    }

    #[test]
    fn what_is_kept_fills_the_fields_again() {
        let fields = typed(["24", " 2,8", "4.3", "-3:30", "-37", "21.3", "23.7S 68.2W"]);
        let said = parse(&fields).unwrap();
        assert_eq!(said.supplied.f_number, Some(2.8));
        assert_eq!(said.supplied.offset_s, Some(-12_600));
        assert_eq!(said.supplied.clock_add_s, Some(-37.0));
        assert_eq!(said.reading, Some(21.3));
        assert_eq!(said.site, Site::new(-23.7, -68.2).ok());
        assert_eq!(parse(&filled(said)), Ok(said));
        let nothing = Said {
            supplied: Supplied::default(),
            reading: None,
            forgets: false,
            site: None,
        };
        assert_eq!(parse(&typed([""; COUNT])), Ok(nothing));
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
        for (place, text, name) in [
            (0, "0", "Focal length"),
            (1, "inf", "Aperture"),
            (4, "soon", "Clock is off"),
            (5, "bright", "Sky meter"),
            (6, "95, 10", "Place: latitude"),
        ] {
            let mut fields = typed([""; COUNT]);
            fields[place] = text.to_owned();
            let problem = parse(&fields).unwrap_err();
            assert!(problem.starts_with(name), "{problem}");
        }
    }
}
