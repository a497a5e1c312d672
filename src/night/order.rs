//! Which camera a frame is from, and the order of capture.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::types::{Derived, FrameInput, FrameState, Night, NightOptions, Row, Set, Typical};
use crate::frame::{CameraKey, Facts, Orientation, Supplied, TakenAt};

/// Fills `night` with its rows in order and its sets, the one with the most frames first.
pub(super) fn arrange(inputs: &[FrameInput], options: &NightOptions) -> Night {
    let mut named: Vec<&FrameInput> = inputs.iter().collect();
    named
        .sort_by(|a, b| alphanumeric_sort::compare_str(&a.name, &b.name).then(a.shot.cmp(&b.shot)));

    let mut by_camera: BTreeMap<CameraKey, Vec<&FrameInput>> = BTreeMap::new();
    for (input, camera) in named.iter().zip(cameras(&named)) {
        by_camera.entry(camera).or_default().push(input);
    }
    let mut cameras: Vec<_> = by_camera.into_iter().collect();
    cameras.sort_by_key(|(_, frames)| Reverse(frames.len()));

    let mut night = Night::default();
    for (set, (camera, frames)) in cameras.into_iter().enumerate() {
        let first = night.rows.len();
        let rows = frames
            .into_iter()
            .map(|input| row(input, set, &camera, options));
        night.rows.extend(rows);
        night.sets.push(Set {
            orientation: majority(&night.rows[first..]),
            clock_added_s: clock_added_s(&camera, options),
            camera,
            rows: (first..night.rows.len()).collect(),
            ..Set::default()
        });
    }
    let clocks = Clocks::of(&night.rows);
    for set in &night.sets {
        if let (Some(&first), Some(&last)) = (set.rows.first(), set.rows.last()) {
            sort_by_time(&mut night.rows[first..=last], clocks);
        }
    }
    let is_pending = |input: &&FrameInput| matches!(input.state, FrameState::Pending);
    night.pending = inputs.iter().filter(is_pending).count();
    set_times(&mut night, clocks);
    night
}

/// The camera of each frame. A frame that does not name one (unreadable, or its facts stripped or
/// not read yet) goes with the frame before it by name, or with the first that has one.
fn cameras(named: &[&FrameInput]) -> Vec<CameraKey> {
    let known = |input: &&FrameInput| {
        let facts = input.facts.as_ref()?;
        facts.camera.is_some().then(|| facts.camera_key())
    };
    let mut last = named.iter().find_map(known).unwrap_or_default();
    named
        .iter()
        .map(|input| {
            if let Some(camera) = known(input) {
                last = camera;
            }
            last.clone()
        })
        .collect()
}

fn row(input: &FrameInput, set: usize, camera: &CameraKey, options: &NightOptions) -> Row {
    let mut facts = input.facts.clone().unwrap_or_default();
    // Times are put right once: what was said for all cameras stands for what was said for this one.
    let clock_add_s = clock_added_s(camera, options);
    let with_clock = |supplied: &Supplied, clock_add_s| Supplied {
        clock_add_s,
        ..*supplied
    };
    if let Some(supplied) = options.supplied.get(camera) {
        facts = facts.with(&with_clock(supplied, None));
    }
    let facts = facts.with(&with_clock(&options.supplied_for_all, clock_add_s));
    let (measure, error) = match &input.state {
        FrameState::Pending => (None, None),
        FrameState::Measured(measure) => (Some(measure.clone()), None),
        FrameState::Failed(error) => (None, Some(error.clone())),
    };
    Row {
        shot: input.shot,
        name: input.name.clone(),
        path: input.path.clone(),
        facts,
        time_s: None,
        set,
        group: None,
        kind: None,
        measure,
        error,
        derived: Derived::default(),
        typical: Typical::default(),
    }
}

/// What to add to a camera's times, where that is anything.
fn clock_added_s(camera: &CameraKey, options: &NightOptions) -> Option<f64> {
    let of_camera = options.supplied.get(camera).and_then(|s| s.clock_add_s);
    let added = options.supplied_for_all.clock_add_s.or(of_camera);
    added.filter(|seconds| seconds.abs() > 0.0)
}

/// Sorts rows that stand in order of name by their clock. A row with no time stays behind the
/// frame it follows by name (or before the first); equal times keep the order of names, which
/// whole-second clocks need.
fn sort_by_time(rows: &mut [Row], clocks: Clocks) {
    let clock = |row: &Row| {
        row.facts
            .taken_at
            .as_ref()
            .map(|taken| clocks.seconds(taken))
    };
    let Some(mut last) = rows.iter().find_map(clock) else {
        return;
    };
    let mut keys = BTreeMap::new();
    for row in rows.iter() {
        last = clock(row).unwrap_or(last);
        keys.insert(row.shot, last);
    }
    // A stable sort: rows of equal keys stay as they are.
    rows.sort_by(|a, b| {
        let key = |row: &Row| keys.get(&row.shot).copied().unwrap_or(0.0);
        key(a).total_cmp(&key(b))
    });
}

/// How clock readings compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Clocks {
    /// Every frame says its offset: compared as UTC, so that the end of summer time reorders nothing.
    Zoned,
    /// Some frame does not: compared as they read.
    AsRead,
}

impl Clocks {
    fn of(rows: &[Row]) -> Self {
        let mut taken = rows.iter().filter_map(|row| row.facts.taken_at);
        if taken.all(|taken| taken.offset_s.is_some()) {
            Self::Zoned
        } else {
            Self::AsRead
        }
    }

    fn seconds(self, taken: &TakenAt) -> f64 {
        match self {
            Self::Zoned => taken.clock_s() - f64::from(taken.offset_s.unwrap_or(0)),
            Self::AsRead => taken.clock_s(),
        }
    }
}

/// The orientation most rows share; the lowest of equals.
fn majority(rows: &[Row]) -> Orientation {
    let mut counts: BTreeMap<Orientation, usize> = BTreeMap::new();
    let known = |row: &&Row| row.facts != Facts::default();
    for row in rows.iter().filter(known) {
        *counts.entry(row.facts.orientation).or_default() += 1;
    }
    counts
        .into_iter()
        .max_by_key(|&(orientation, count)| (count, Reverse(orientation)))
        .map(|(orientation, _)| orientation)
        .unwrap_or_default()
}

/// Times since the night's first frame.
fn set_times(night: &mut Night, clocks: Clocks) {
    let earliest = night
        .rows
        .iter()
        .filter_map(|row| row.facts.taken_at)
        .min_by(|a, b| clocks.seconds(a).total_cmp(&clocks.seconds(b)));
    let Some(earliest) = earliest else { return };
    let start = clocks.seconds(&earliest);
    night.start_clock_s = Some(earliest.clock_s());
    for row in &mut night.rows {
        let taken = row.facts.taken_at.as_ref();
        row.time_s = taken.map(|taken| clocks.seconds(taken) - start);
    }
}
