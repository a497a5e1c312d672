//! What the user should know about a night as a whole, in sentences.

use std::collections::BTreeMap;

use super::auto_iso;
use super::gaps::ANOTHER_NIGHT_S;
use super::groups::size_px;
use super::types::{Group, Kind, Night, Row};
use crate::frame::clock_shift_words;

/// Cameras whose clock was reset begin at a year up to this one.
pub(super) const RESET_YEAR: i16 = 2000;

/// The warnings, weightiest first.
pub(super) fn collect(night: &Night) -> Vec<String> {
    if night.rows.is_empty() {
        return Vec::new();
    }
    [
        unreadable(night),
        cameras(night),
        sizes(night),
        several_nights(night),
        auto_iso::warning(night).or_else(|| settings_changed(night)),
        no_lens(night),
        no_times(night),
        clock_reset(night),
        clock_back(night),
        no_zone(night),
        odd_exposure(night),
        clock_added(night),
        no_heavens(night),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn unreadable(night: &Night) -> Option<String> {
    let failed = night.rows.iter().filter(|row| row.error.is_some()).count();
    (failed == night.rows.len())
        .then(|| "No frame could be read; the table says why for each file.".to_owned())
}

fn cameras(night: &Night) -> Option<String> {
    if night.sets.len() < 2 {
        return None;
    }
    let list: Vec<String> = night
        .sets
        .iter()
        .map(|set| {
            let name = if set.camera.camera.is_empty() {
                "unnamed camera"
            } else {
                &set.camera.camera
            };
            format!("{name} ({})", frames(set.rows.len()))
        })
        .collect();
    Some(format!(
        "Frames of {} cameras: {}. Each camera is judged by itself.",
        night.sets.len(),
        list.join(", ")
    ))
}

fn sizes(night: &Night) -> Option<String> {
    let mut counts: BTreeMap<(usize, (u32, u32)), usize> = BTreeMap::new();
    for row in night.rows.iter().filter(|row| row.error.is_none()) {
        if let Some(size) = size_px(row) {
            *counts.entry((row.set, size)).or_default() += 1;
        }
    }
    if counts.len() <= night.sets.len() {
        return None;
    }
    let mut list: Vec<_> = counts
        .into_iter()
        .map(|((_, size), count)| (count, size))
        .collect();
    list.sort_by(|a, b| b.cmp(a));
    let words: Vec<String> = list
        .iter()
        .map(|(count, (width, height))| format!("{width} × {height} ({})", frames(*count)))
        .collect();
    Some(format!(
        "Frames differ in size: {}. Only frames of one size are compared with each other.",
        words.join(", ")
    ))
}

/// Nights are judged well together, but arcs and films are of one.
fn several_nights(night: &Night) -> Option<String> {
    let nights = |set: &super::types::Set| {
        let rows = set.rows.iter().filter_map(|&row| night.rows[row].time_s);
        let times: Vec<f64> = rows.collect();
        1 + times
            .windows(2)
            .filter(|pair| pair[1] - pair[0] > ANOTHER_NIGHT_S)
            .count()
    };
    let most = night.sets.iter().map(nights).max()?;
    (most > 1).then(|| {
        format!(
            "These frames are of {most} nights. Open each by itself: arc, film and gaps are told as if \
             they were one."
        )
    })
}

fn settings_changed(night: &Night) -> Option<String> {
    for set in &night.sets {
        let groups = sky_groups(night, set.rows.iter().map(|&row| &night.rows[row]));
        if groups.len() < 2 {
            continue;
        }
        let what: Vec<&str> = [
            ("exposure", differs(&groups, |g| g.settings.exposure_s)),
            ("ISO", differs(&groups, |g| g.settings.iso)),
            ("aperture", differs(&groups, |g| g.settings.f_number)),
            (
                "focal length",
                differs(&groups, |g| g.settings.focal_length_mm),
            ),
            ("lens", differs(&groups, |g| g.settings.lens.clone())),
        ]
        .into_iter()
        .filter_map(|(word, differs)| differs.then_some(word))
        .collect();
        if what.is_empty() {
            // Only the size or pixel pitch differs, which has its own sentence.
            continue;
        }
        return Some(format!(
            "Settings change during the night ({}): {} groups. Frames are compared within their group only.",
            what.join(", "),
            groups.len()
        ));
    }
    None
}

fn sky_groups<'a>(night: &'a Night, rows: impl Iterator<Item = &'a Row>) -> Vec<&'a Group> {
    let mut seen: Vec<usize> = rows
        .filter(|row| row.kind == Some(Kind::Sky))
        .filter_map(|row| row.group)
        .collect();
    seen.sort_unstable();
    seen.dedup();
    seen.into_iter().map(|group| &night.groups[group]).collect()
}

fn differs<T: PartialEq>(groups: &[&Group], of: impl Fn(&Group) -> T) -> bool {
    groups.windows(2).any(|pair| of(pair[0]) != of(pair[1]))
}

/// What is missing to predict trails, and how to supply it.
fn no_lens(night: &Night) -> Option<String> {
    let readable = || {
        night
            .rows
            .iter()
            .filter(|row| row.group.is_some() && row.is_judged())
    };
    let (no_focal, no_pixel) = (
        readable()
            .filter(|row| row.facts.focal_length_mm.is_none())
            .count(),
        readable()
            .filter(|row| row.facts.pixel_um.is_none())
            .count(),
    );
    let (what, supply) = match (no_focal > 0, no_pixel > 0) {
        (true, true) => (
            "focal length and pixel pitch are",
            "--focal-mm and --pixel-um",
        ),
        (true, false) => ("focal length is", "--focal-mm"),
        (false, true) => ("pixel pitch is", "--pixel-um"),
        (false, false) => return None,
    };
    Some(format!(
        "In {} the {what} not written, so their trails cannot be predicted. Supply {supply}, or fill \
         in the fields in the window.",
        frames(no_focal.max(no_pixel))
    ))
}

fn no_times(night: &Night) -> Option<String> {
    let readable = || night.rows.iter().filter(|row| row.group.is_some());
    let timed = readable().filter(|row| row.time_s.is_some()).count();
    let untimed = readable().count() - timed;
    if untimed == 0 {
        None
    } else if timed == 0 {
        Some("No frame says when it was taken: frames are in order of name, and gaps cannot be seen.".to_owned())
    } else {
        Some(format!(
            "{} not say when taken: each stands behind the frame before it by name.",
            if untimed == 1 {
                "1 frame does".to_owned()
            } else {
                format!("{untimed} frames do")
            }
        ))
    }
}

fn clock_reset(night: &Night) -> Option<String> {
    let first = night.rows.iter().find(|row| {
        row.facts
            .taken_at
            .is_some_and(|taken| taken.local.year() <= RESET_YEAR)
    })?;
    let year = first.facts.taken_at?.local.year();
    Some(format!(
        "The camera clock reads {year} in {}: it seems to have been reset. Intervals hold; date and time of day do not.",
        first.name
    ))
}

/// A clock set back by an hour during the night makes two hours overlap: by name the frames go on,
/// by the clock they go back.
fn clock_back(night: &Night) -> Option<String> {
    for set in &night.sets {
        let mut by_name: Vec<&Row> = set.rows.iter().map(|&row| &night.rows[row]).collect();
        by_name.sort_by(|a, b| {
            alphanumeric_sort::compare_str(&a.name, &b.name).then(a.shot.cmp(&b.shot))
        });
        let mut timed = by_name
            .into_iter()
            .filter_map(|row| Some((row.time_s?, row)))
            .peekable();
        while let Some((time, _)) = timed.next() {
            if let Some(&(next, row)) = timed.peek()
                && (-3600.0..-2700.0).contains(&(next - time))
            {
                return Some(format!(
                    "The camera clock goes back by an hour at {}: order and gaps around it are not to be trusted.",
                    row.name
                ));
            }
        }
    }
    None
}

fn no_zone(night: &Night) -> Option<String> {
    let unzoned = night.rows.iter().any(|row| {
        row.facts
            .taken_at
            .is_some_and(|taken| taken.offset_s.is_none())
    });
    unzoned.then(|| "The camera clock has no time zone; taken as local time.".to_owned())
}

/// What is missing to tell twilight and the Moon.
fn no_heavens(night: &Night) -> Option<String> {
    let has_zone = no_zone(night).is_none();
    let missing = match (night.place.is_some(), has_zone) {
        (true, true) => return None,
        _ if night.start_clock_s.is_none() || clock_reset(night).is_some() => return None,
        (false, true) => "the frames do not say their place. Give it with --site",
        (true, false) => "the clock's time zone is not known. Give it with --utc-offset",
        (false, false) => "neither place nor time zone is known. Give --site and --utc-offset",
    };
    Some(format!(
        "Twilight and the Moon cannot be told: {missing}, or in the window under Lens and camera."
    ))
}

/// That times are not what a camera wrote.
fn clock_added(night: &Night) -> Option<String> {
    let (added, set) = (night.sets.iter()).find_map(|set| Some((set.clock_added_s?, set)))?;
    let whose = if night.sets.len() > 1 {
        format!("The clock of {}", set.camera.camera)
    } else {
        "The camera's clock".to_owned()
    };
    let added = clock_shift_words(added);
    Some(format!(
        "{whose} was put right by {added} (hours, minutes, seconds) in all its times."
    ))
}

/// Trails that the marked exposure cannot explain.
fn odd_exposure(night: &Night) -> Option<String> {
    let turn = night
        .groups
        .iter()
        .filter_map(|group| group.turn)
        .find(|t| !t.is_plausible())?;
    Some(format!(
        "Trails are {:.2} times as long as the marked exposure makes them: the focal length, the \
         pixel pitch or the exposure is not what the files say, or the camera moved all night. \
         Trails are compared with the marked exposure.",
        turn.length_ratio
    ))
}

fn frames(count: usize) -> String {
    if count == 1 {
        "1 frame".to_owned()
    } else {
        format!("{count} frames")
    }
}
