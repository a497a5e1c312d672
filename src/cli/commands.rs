//! The commands that open a night and tell of it: measure, advise, compare.

use std::path::Path;

use super::args::{Advise, Compare, Measure};
use super::follow::{self, Measured};
use super::output::{data, data_to, is_stdout, say};
use super::{Exit, summary};
use crate::engine::OpenRequest;
use crate::export;

/// `--first` up to so many asks for a field check too: more frames are no first look.
const FIELD_CHECK: u32 = 20;

pub(super) fn measure(args: &Measure) -> Result<Exit, String> {
    let tables = [args.csv.as_deref(), args.json.as_deref()];
    if tables
        .iter()
        .flatten()
        .filter(|file| is_stdout(file))
        .count()
        > 1
    {
        return Err("Only one of --csv and --json can go to stdout.".to_owned());
    }
    for file in tables.into_iter().flatten() {
        check_writable(file)?;
    }
    let measured = follow::measure(args.night.request(), args.night.workers())?;
    for file in tables.into_iter().flatten() {
        refuse_to_replace_a_frame(file, &measured)?;
    }
    let table = measured.table();
    if let Some(file) = &args.csv {
        data_to(file, |out| export::write_csv(&table, out))?;
    }
    if let Some(file) = &args.json {
        let next_time = &measured.derived.next_time;
        data_to(file, |out| export::write_json(&table, next_time, out))?;
    }
    let mut text = summary::of_night(&measured);
    if args.night.first.is_some_and(|first| first <= FIELD_CHECK) {
        text.push_str(&summary::of_first_frames(&measured));
    }
    if tables.into_iter().flatten().any(is_stdout) {
        say(text.trim_end());
    } else {
        print(&text)?;
    }
    Ok(exit_of(&measured))
}

/// Measures what a window would have shown, and prints the summary.
pub(super) fn measure_instead(request: OpenRequest) -> Result<Exit, String> {
    let measured = follow::measure(request, 0)?;
    print(&summary::of_night(&measured))?;
    Ok(exit_of(&measured))
}

pub(super) fn advise(args: &Advise) -> Result<Exit, String> {
    let measured = follow::measure(args.night.request(), args.night.workers())?;
    let mut words = summary::of_advice(&measured);
    words.push_str(&summary::of_plans(&measured, &args.plan));
    print(&words)?;
    Ok(exit_of(&measured))
}

pub(super) fn compare(args: &Compare) -> Result<Exit, String> {
    if let Some(file) = &args.csv {
        check_writable(file)?;
    }
    let measured = follow::measure(args.night.request(), args.night.workers())?;
    if let Some(file) = &args.csv {
        refuse_to_replace_a_frame(file, &measured)?;
        let comparisons = &measured.derived.comparisons;
        data_to(file, |out| export::write_settings_csv(comparisons, out))?;
    }
    let text = summary::of_settings(&measured);
    if args.csv.as_deref().is_some_and(is_stdout) {
        say(text.trim_end());
    } else {
        print(&text)?;
    }
    Ok(exit_of(&measured))
}

pub(super) fn print(text: &str) -> Result<(), String> {
    data(|out| out.write_all(text.as_bytes()))
        .map_err(|fault| format!("stdout could not be written: {fault}"))
}

fn exit_of(measured: &Measured) -> Exit {
    if measured.has_unreadable() {
        Exit::SomeUnreadable
    } else {
        Exit::Well
    }
}

/// Says before measuring, rather than after, that a table has nowhere to go.
fn check_writable(file: &Path) -> Result<(), String> {
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if is_stdout(file) || (folder.is_dir() && !file.is_dir()) {
        return Ok(());
    }
    Err(if file.is_dir() {
        format!("{} is a folder; name a file in it.", file.display())
    } else {
        format!("There is no folder {} to save in.", folder.display())
    })
}

/// The table replaces a file of its name; a slip of the keyboard must not make that a frame.
fn refuse_to_replace_a_frame(file: &Path, measured: &Measured) -> Result<(), String> {
    let Ok(file) = file.canonicalize() else {
        return Ok(());
    };
    let rows = &measured.derived.night.rows;
    if rows
        .iter()
        .any(|row| row.path.canonicalize().is_ok_and(|frame| frame == file))
    {
        return Err(format!(
            "{} is a frame of this night and is left as it is. Name another file.",
            file.display()
        ));
    }
    Ok(())
}
