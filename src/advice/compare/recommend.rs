//! Which setting to use for the purpose, and why, with numbers.

use super::curves::{is_alike, knee};
use super::reasons;
use super::types::{Column, Comparison, Knee, Reason, aperture_words};
use crate::base::robust::median;
use crate::verdict::Purpose;
use crate::verdict::words::{number, with_unit};

/// A sky over this, percent of full scale, leaves stars little room (see the advice on ISO).
const BRIGHT_SKY_PCT: f64 = 20.0;
/// A stack is called better from this share on.
const BETTER: f64 = 0.05;
/// Settings whose sky differs by more than this were not taken of the same sky.
const SAME_SKY: f64 = 0.2;
/// Most reasons.
const MOST_REASONS: usize = 4;

/// What a column's frames are worth, on any scale: signal-to-noise of the stars they share, or where
/// too few match, the share of the noise that is the sky's own.
pub(super) fn worth(column: &Column) -> Option<f64> {
    let by_noise = || column.read_noise_adds().map(|adds| 1.0 / (1.0 + adds));
    (column.star_snr.map(|snr| snr.value)).or_else(by_noise)
}

/// Fills the recommendation.
pub(super) fn fill(comparison: &mut Comparison, purpose: Purpose) {
    comparison.notes = notes(comparison);
    if !comparison.has_several() {
        comparison.headline = to_shoot(comparison.columns.first());
        return;
    }
    if comparison.columns.iter().any(|column| !column.linear) {
        comparison.headline =
            String::from("No setting is recommended: these files are tone-mapped.");
        return;
    }
    let Some(exposure) = best_exposure(&comparison.columns, purpose) else {
        comparison.headline =
            String::from("No setting is recommended: too few stars match between the settings.");
        return;
    };
    let (best, knee) = best_iso(&comparison.columns, exposure);
    comparison.knee = knee;
    comparison.best = Some(best);
    comparison.headline = headline(comparison, best, purpose);
    let stack = (purpose == Purpose::Still)
        .then(|| better_stack(&comparison.columns, best))
        .flatten();
    comparison.better = stack.map(|at| better_words(&comparison.columns, at));
    let mut all: Vec<Reason> = reasons::all(comparison, best, stack, purpose);
    all.truncate(MOST_REASONS);
    comparison.reasons = all;
}

/// The column that stands for the exposure the purpose asks for.
fn best_exposure(columns: &[Column], purpose: Purpose) -> Option<usize> {
    // One column an exposure: the one its knee is at.
    let mut heads: Vec<usize> = Vec::new();
    for (at, column) in columns.iter().enumerate() {
        let is_new = |&head: &usize| columns.get(head).is_some_and(|h| is_alike(h, column));
        if worth(column).is_some() && !heads.iter().any(is_new) {
            heads.push(best_iso(columns, at).0);
        }
    }
    let of = |at: &usize| columns.get(*at);
    let exposure = |at: &usize| of(at).and_then(|c| c.exposure_s).unwrap_or(0.0);
    let worth_of = |at: &usize| of(at).and_then(worth).unwrap_or(0.0);
    // Without stars nothing says what a longer exposure gains in a frame: the longest is taken.
    let by_stars = heads.iter().filter_map(of).all(|c| c.star_snr.is_some());
    let in_frame = |at: &usize| if by_stars { worth_of(at) } else { exposure(at) };
    let stacked = |at: &usize| {
        let frame = worth_of(at);
        if by_stars {
            frame / exposure(at).max(1e-9).sqrt()
        } else {
            frame
        }
    };
    let room = |at: &usize| {
        let sky = of(at).and_then(|c| c.sky_level_pct);
        sky.is_none_or(|sky| sky.value <= BRIGHT_SKY_PCT)
    };
    let most = |of: &dyn Fn(&usize) -> f64, from: &[usize]| {
        from.iter().copied().max_by(|a, b| of(a).total_cmp(&of(b)))
    };
    let with_room: Vec<usize> = heads.iter().copied().filter(room).collect();
    let roomy = if with_room.is_empty() {
        &heads
    } else {
        &with_room
    };
    match purpose {
        Purpose::Still => most(&in_frame, &heads),
        Purpose::Timelapse => most(&in_frame, roomy),
        // Fewest gaps.
        Purpose::Trails => most(&exposure, roomy),
        Purpose::Tracked => {
            let top = heads.iter().map(stacked).fold(0.0, f64::max);
            let as_good = |at: &&usize| stacked(at) >= (1.0 - Knee::NOTHING) * top;
            let shortest = |a: &&usize, b: &&usize| exposure(a).total_cmp(&exposure(b));
            heads.iter().filter(as_good).min_by(shortest).copied()
        }
    }
}

/// At the exposure of column `like`: the column at the knee, or of the highest worth where the knee
/// is not reached.
fn best_iso(columns: &[Column], like: usize) -> (usize, Option<Knee>) {
    let Some(first) = columns.get(like) else {
        return (like, None);
    };
    let curve: Vec<(u32, f64, usize)> = (columns.iter().enumerate())
        .filter(|(_, column)| is_alike(column, first))
        .filter_map(|(at, column)| Some((column.iso?, worth(column)?, at)))
        .collect();
    let found = knee(&curve);
    let top = curve.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let best = found.map_or_else(|| top.map_or(like, |top| top.2), |knee| knee.column);
    (best, found)
}

/// The shorter exposure whose frames, stacked for as long as the best one's, are clearly better.
fn better_stack(columns: &[Column], best: usize) -> Option<usize> {
    let of_best = columns.get(best)?;
    let alone = of_best.star_snr?.value;
    let longest = of_best.exposure_s?;
    (columns.iter().enumerate())
        .filter(|(_, column)| column.iso == of_best.iso)
        .filter_map(|(at, column)| {
            let frames = longest / column.exposure_s?;
            let gain = column.star_snr?.value * frames.sqrt() / alone - 1.0;
            (frames > 1.4 && gain >= BETTER).then_some((at, gain))
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(at, _)| at)
}

fn headline(comparison: &Comparison, best: usize, purpose: Purpose) -> String {
    let Some(column) = comparison.columns.get(best) else {
        return String::new();
    };
    let aperture = column.f_number.filter(|_| comparison.varies.aperture);
    let parts = [
        column.iso.map(|iso| format!("ISO {iso}")),
        column.exposure_s.map(|s| with_unit(s, "s")),
        aperture.map(aperture_words),
    ];
    let setting: Vec<String> = parts.into_iter().flatten().collect();
    let setting = setting.join(", ");
    match purpose {
        Purpose::Still => format!("Use {setting} for one frame."),
        Purpose::Trails => format!("Use {setting} for star trails."),
        Purpose::Timelapse => format!("Use {setting} for the film."),
        Purpose::Tracked => format!("Use {setting} and stack."),
    }
}

fn better_words(columns: &[Column], at: usize) -> String {
    let short = columns.get(at);
    let frames = short.and_then(|c| c.equal_time).map_or(2.0, |e| e.frames);
    let each = short.and_then(|c| c.exposure_s).unwrap_or(0.0);
    format!(
        "Better still: stack {} of {}.",
        count(frames),
        with_unit(each, "s")
    )
}

/// "two", "3", "1.5".
pub(super) fn count(frames: f64) -> String {
    let near = (frames - frames.round()).abs() < 0.07 * frames;
    match frames.round() as u64 {
        1 if near => "one".to_owned(),
        2 if near => "two".to_owned(),
        n if near => n.to_string(),
        _ => number(frames, 1),
    }
}

/// What to shoot so that there is something to compare.
fn to_shoot(only: Option<&Column>) -> String {
    let Some(only) = only else {
        return "Nothing is measured yet.".to_owned();
    };
    let exposure = only.exposure_s.map(|s| with_unit(s, "s"));
    let tonight = [
        only.iso.map(|iso| format!("ISO {iso}")),
        exposure.clone(),
        only.f_number.map(aperture_words),
    ];
    let tonight: Vec<String> = tonight.into_iter().flatten().collect();
    let tonight = match tonight.as_slice() {
        [] => "the same settings".to_owned(),
        some => some.join(", "),
    };
    format!(
        "All frames have one setting: {tonight}. To compare, shoot the same sky five times each at \
         ISO 400, 800, 1600, 3200 and 6400, and once more at half the \
         exposure; and two frames with the cap on at each ISO."
    )
}

fn notes(comparison: &Comparison) -> Vec<String> {
    let mut notes = Vec::new();
    let columns = &comparison.columns;
    if columns.iter().any(|column| !column.linear) {
        notes.push(
            "These files went through the camera's tone curve: levels and noise are relative, and \
             so is signal-to-noise. They are shown and drive no advice; shoot raw to compare."
                .to_owned(),
        );
        return notes;
    }
    notes.extend(changed_sky(comparison));
    if comparison.has_several() && columns.iter().all(|column| column.gain_dn_per_e.is_none()) {
        notes.push(
            "Gain and read noise are not known: two frames with the cap on at each ISO tell them."
                .to_owned(),
        );
    }
    notes
}

/// Whether the sky itself was as bright in all settings: level over ISO, exposure and aperture.
fn changed_sky(comparison: &Comparison) -> Option<String> {
    let light: Vec<(usize, f64)> = (comparison.columns.iter().enumerate())
        .filter_map(|(at, column)| {
            let aperture = column.f_number.unwrap_or(1.0);
            let exposed = f64::from(column.iso?) * column.exposure_s? / aperture.powi(2);
            Some((at, column.sky_level_pct?.value / exposed))
        })
        .filter(|(_, light)| *light > 0.0)
        .collect();
    let usual = median(&mut light.iter().map(|(_, light)| *light).collect::<Vec<_>>())?;
    let off = |light: f64| light / usual - 1.0;
    let (at, light) = (light.into_iter())
        .max_by(|a, b| off(a.1).abs().total_cmp(&off(b.1).abs()))
        .filter(|(_, light)| off(*light).abs() > SAME_SKY)?;
    let word = if off(light) > 0.0 {
        "brighter"
    } else {
        "darker"
    };
    Some(format!(
        "The sky was {} % {word} than usual at {}: that setting is not quite comparable.",
        number(100.0 * off(light).abs(), 0),
        comparison.name(at)
    ))
}
