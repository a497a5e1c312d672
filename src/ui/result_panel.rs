//! The right panel of the Result page: what leaving frames out did, how the rest is combined, saving,
//! and the film.

use egui::{Align2, Role, ScrollArea, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::result_page::tip;
use super::theme::{self, size};
use super::widgets::{self, Button, Look};
use super::{Cx, result_film};
use crate::app::commands::command;
use crate::app::result_table::left_words;
use crate::app::{Action, OpenNight, ResultAction, ResultTable, SideNumbers};
use crate::chart::axis::number;
use crate::result::{Blend, Repair, Thin};

/// Inside the panel's edge, points.
const PAD: f32 = 12.0;
/// Height of a row of the table, points.
const ROW: f32 = 23.0;
/// Where the two columns begin, shares of the width.
const COLUMNS: [f32; 2] = [0.46, 0.72];

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    is_film: bool,
    film: &mut result_film::State,
    actions: &mut Vec<Action>,
) {
    let inner = ui.max_rect().shrink2(vec2(PAD, 0.0));
    super::inside(ui, "result words", inner, |ui| {
        ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
            ui.set_max_width(inner.width());
            ui.spacing_mut().item_spacing.y = 4.0;
            ui.add_space(8.0);
            let table = &night.resulting.table;
            numbers(ui, cx, night, table);
            ui.add_space(4.0);
            widgets::rule(ui, cx.t);
            combined(ui, cx, night, table, actions);
            save_row(ui, cx, actions);
            ui.add_space(4.0);
            widgets::rule(ui, cx.t);
            result_film::block(ui, cx, night, is_film, film, actions);
            ui.add_space(8.0);
        });
    });
}

/// A row's name, both values, and what it means.
struct Line {
    name: &'static str,
    values: [String; 2],
    tip: &'static str,
}

fn numbers(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, table: &ResultTable) {
    if night.progress.is_some() {
        let heading = "What leaving frames out does";
        widgets::text(ui, heading, size::HEADING, cx.t.ink);
        let words = "Told once the night is measured.";
        widgets::text(ui, words, size::BODY, cx.t.ink2);
        return;
    }
    let (all, used) = (&table.all, &table.used);
    let left_out = all.frames.saturating_sub(used.frames);
    let heading = match left_out {
        0 => "Nothing is left out".to_owned(),
        n => format!(
            "What leaving out {} did",
            crate::verdict::words::plural(n, "frame", "frames")
        ),
    };
    widgets::text(ui, heading, size::HEADING, cx.t.ink);
    let head = Line {
        name: "",
        values: ["all".to_owned(), "used".to_owned()],
        tip: "",
    };
    ui.scope(|ui| {
        ui.spacing_mut().item_spacing.y = 0.0;
        row(ui, cx, &head, false);
        for line in lines(night, all, used) {
            row(ui, cx, &line, true);
        }
    });
    for sentence in &table.sentences {
        widgets::text(ui, sentence.clone(), size::SMALL + 0.5, cx.t.ink);
    }
    let other = night.resulting.sources.other_size;
    if other > 0 {
        let frames = crate::verdict::words::plural(other, "frame", "frames");
        let words = format!("{frames} of another size cannot go in.");
        widgets::text(ui, words, size::SMALL + 0.5, cx.t.ink);
    }
    let shown = night.resulting.shown.as_ref();
    if let Some((count, why)) = shown.and_then(|shown| {
        let (_, why) = shown.left_out.first()?;
        Some((shown.left_out.len(), why))
    }) {
        let frames = crate::verdict::words::plural(count, "frame", "frames");
        let words = format!("{frames} could not be read: {why}");
        widgets::text(ui, words, size::SMALL + 0.5, cx.t.ink);
    }
}

fn lines(night: &OpenNight, all: &SideNumbers, used: &SideNumbers) -> Vec<Line> {
    let unknown = || "not known".to_owned();
    let px = |value: Option<f64>| {
        value.map_or_else(unknown, |v| {
            format!("{} px", number(v, usize::from(v < 20.0)))
        })
    };
    let both = |of: &dyn Fn(&SideNumbers) -> String| [of(all), of(used)];
    let left = |side: &SideNumbers| {
        if side.is_bridged {
            "bridged".to_owned()
        } else {
            match side.gap_left {
                Some(share) if share < 0.05 => "dark".to_owned(),
                Some(share) => format!("{:.0} %", 100.0 * share),
                None => unknown(),
            }
        }
    };
    let mut lines = vec![
        Line {
            name: "Frames",
            values: both(&|side| side.frames.to_string()),
            tip: "Frames put together",
        },
        Line {
            name: "Length of arc",
            values: both(&|side| {
                side.arc_deg
                    .map_or_else(unknown, |arc| format!("{}°", number(arc, 1)))
            }),
            tip: "How far the sky turns from the first frame's start to the last one's end",
        },
        Line {
            name: "Widest gap",
            values: both(&|side| px(side.gap_px)),
            tip: "The longest time with no shutter open times the largest speed of a star in the frame",
        },
        Line {
            name: "Light left in it",
            values: both(&left),
            tip: "Brightness in the middle of that gap against the trail's: half of erfc(g / (2√2 σ)) \
                  where the brightest is kept, all of it in an average",
        },
        Line {
            name: "Width at the end",
            values: both(&|side| px(side.width_at_end_px)),
            tip: "Width of the stars across their trails over the last ten frames: dew shows here",
        },
        Line {
            name: "Streaks",
            values: both(&|side| side.streaks.to_string()),
            tip: "Frames with the streak of an aircraft or satellite, less those painted out",
        },
    ];
    if all.meteors > 0 {
        lines.push(Line {
            name: "Meteors",
            values: both(&|side| side.meteors.to_string()),
            tip: "Frames with a meteor; it is never painted out",
        });
    }
    let masks = night.resulting.choices.repairs.has(Repair::Ground)
        && night.resulting.sources.ground.is_some();
    if all.lit > 0 || masks {
        let lit = |side: &SideNumbers| match side.lit {
            0 => "dark".to_owned(),
            n => format!("lit in {n}"),
        };
        let used = if masks {
            "darkest".to_owned()
        } else {
            lit(used)
        };
        lines.push(Line {
            name: "Ground",
            values: [lit(all), used],
            tip: "Frames in which light fell on the ground",
        });
    }
    lines.push(Line {
        name: "Sky glow",
        values: both(&|side| {
            side.glow_pct.map_or_else(unknown, |glow| format!("{} %", number(glow, usize::from(glow < 10.0))))
        }),
        tip: "Sky of the brightest frame where the brightest is kept, else the mean; percent of full \
              scale, relative in a JPEG",
    });
    lines
}

fn row(ui: &mut Ui, cx: Cx<'_>, line: &Line, with_rule: bool) {
    let height = if with_rule { ROW } else { 18.0 };
    let (rect, response) =
        ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::hover());
    let painter = ui.painter();
    if with_rule {
        painter.hline(rect.x_range(), rect.top(), Stroke::new(1.0, cx.t.line));
        response.widget_info(|| {
            let [all, used] = &line.values;
            WidgetInfo::labeled(
                Role::Label,
                true,
                format!("{}: all {all}, used {used}", line.name),
            )
        });
    }
    let at = |share: f32| pos2(rect.left() + share * rect.width(), rect.center().y);
    let words = theme::words(size::BODY);
    painter.text(
        at(0.0),
        Align2::LEFT_CENTER,
        line.name,
        words.clone(),
        cx.t.ink2,
    );
    for ((value, share), ink) in line.values.iter().zip(COLUMNS).zip([cx.t.ink2, cx.t.ink]) {
        let (font, ink) = if with_rule {
            (words.clone(), ink)
        } else {
            (theme::words(size::SMALL), cx.t.ink3)
        };
        painter.text(at(share), Align2::LEFT_CENTER, value, font, ink);
    }
    if !line.tip.is_empty() {
        response.on_hover_text(line.tip);
    }
}

fn combined(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    table: &ResultTable,
    actions: &mut Vec<Action>,
) {
    let choices = night.resulting.choices;
    widgets::text(ui, "How it is combined", size::HEADING, cx.t.ink);
    ui.horizontal(|ui| {
        widgets::text(ui, "Each pixel", size::BODY, cx.t.ink2);
        let blends = [
            (
                Blend::Brightest,
                "Brightest",
                "The most light any frame had there: trails",
            ),
            (
                Blend::Average,
                "Average",
                "The mean of all: less noise, faint trails",
            ),
        ];
        let picked = widgets::segments(ui, cx.t, "Each pixel", &blends, choices.blend);
        actions.extend(picked.map(|blend| ResultAction::Blend(blend).into()));
    });
    ui.spacing_mut().interact_size.y = 20.0;
    for repair in Repair::ALL {
        let (label, tip) = repair_words(repair);
        let effect = effect_words(night, table, repair);
        let can = effect.is_ok() || choices.repairs.has(repair);
        let effect = effect.unwrap_or_else(|why| why);
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 8.0;
            let name = format!("{label}, {effect}");
            let ticked = choices.repairs.has(repair);
            let check = ui.add_enabled_ui(can, |ui| widgets::check(ui, cx.t, label, &name, ticked));
            if check.inner.on_hover_text(tip).clicked() {
                actions.push(ResultAction::Toggle(repair).into());
            }
            let mut job = egui::text::LayoutJob::simple_singleline(
                effect.clone(),
                theme::words(size::SMALL),
                cx.t.ink2,
            );
            job.wrap.max_width = ui.available_width();
            job.wrap.max_rows = 1;
            job.wrap.break_anywhere = true;
            ui.label(job).on_hover_text(effect);
        });
    }
    ui.add_space(2.0);
    ui.horizontal(|ui| {
        widgets::text(ui, "Try", size::BODY, cx.t.ink2)
            .on_hover_text("Other settings tried on these frames: evidence for Next time");
        let tries = [
            (Thin::AsTaken, "As taken", "The frames as they were taken"),
            (
                Thin::EverySecond,
                "Every second",
                "Every second frame left out: as with an interval twice as long",
            ),
            (
                Thin::Pairs,
                "Pairs summed",
                "Neighbours summed two by two: as with an exposure twice as long",
            ),
        ];
        let picked = widgets::segments(ui, cx.t, "Try", &tries, choices.thin);
        actions.extend(picked.map(|thin| ResultAction::Thin(thin).into()));
    });
}

const fn repair_words(repair: Repair) -> (&'static str, &'static str) {
    match repair {
        Repair::Bridge => (
            "Bridge the pauses",
            "In the result only: short pauses are filled with what the frames before and after have in \
             common once the sky is turned to the middle of the pause. Gaps of dropped frames stay",
        ),
        Repair::Level => (
            "Level the sky",
            "In the result only: frames whose sky thin cloud brightened are brought to their \
             neighbours' sky",
        ),
        Repair::Paint => (
            "Paint out streaks",
            "In the result only: filled from the frames before and after. A meteor stays",
        ),
        Repair::Ground => (
            "Darkest ground",
            "In the result only: below where stars were seen, the ground is taken from the stretch of \
             frames where it is darkest",
        ),
    }
}

/// What a repair does here, or why it does nothing.
fn effect_words(night: &OpenNight, table: &ResultTable, repair: Repair) -> Result<String, String> {
    let sources = &night.resulting.sources;
    let choices = night.resulting.choices;
    let places = |has: &dyn Fn(&crate::result::Exposure) -> bool| -> Vec<usize> {
        let exposures = sources.exposures.iter().zip(&sources.places);
        exposures
            .filter(|(exposure, _)| has(exposure))
            .map(|(_, place)| *place)
            .collect()
    };
    match repair {
        Repair::Bridge if sources.motion.is_none() => {
            Err("the sky's motion is not known".to_owned())
        }
        Repair::Bridge if choices.blend == Blend::Average => Err("only with Brightest".to_owned()),
        Repair::Bridge if choices.thin != Thin::AsTaken => Err("only as taken".to_owned()),
        Repair::Bridge => Ok(table.pause.map_or_else(
            || "how wide they are is not known".to_owned(),
            |(gap, left)| format!("{} px, {}", number(gap, 1), left_words(left)),
        )),
        Repair::Level => match places(&|exposure| exposure.excess.is_some()).as_slice() {
            [] => Err("no frame's sky stands out".to_owned()),
            some => Ok(listed(some)),
        },
        Repair::Paint => match places(&|exposure| !exposure.streaks.is_empty()).as_slice() {
            [] => Err("no streaks".to_owned()),
            some => Ok(listed(some)),
        },
        Repair::Ground => sources.ground.as_ref().map_or_else(
            || Err("no ground found".to_owned()),
            |ground| Ok(format!("{:.0} % of the picture", 100.0 * ground.share)),
        ),
    }
}

/// "frame 93", "frames 93 and 201", "14 frames".
fn listed(places: &[usize]) -> String {
    match places {
        [one] => format!("frame {}", one + 1),
        [one, two] => format!("frames {} and {}", one + 1, two + 1),
        [one, two, three] => format!("frames {}, {} and {}", one + 1, two + 1, three + 1),
        more => format!("{} frames", more.len()),
    }
}

fn save_row(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    ui.add_space(2.0);
    ui.horizontal_wrapped(|ui| {
        for (id, label, look) in [
            ("save-result", "Save picture…", Look::Main),
            ("save-list", "Save list of frames…", Look::Plain),
        ] {
            let action = command(id).and_then(|command| (command.action)(cx.model));
            let look = if action.is_some() { look } else { Look::Plain };
            let button = Button::new(label).look(look).enabled(action.is_some());
            if button.show(ui, cx.t).on_hover_text(tip(id)).clicked() {
                actions.extend(action);
            }
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_frames_are_named_and_many_counted() {
        assert_eq!(listed(&[92]), "frame 93");
        assert_eq!(listed(&[92, 200]), "frames 93 and 201");
        assert_eq!(listed(&[0, 1, 2, 3]), "4 frames");
    }
}
