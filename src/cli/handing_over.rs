//! The commands that hand over and take back: export, restore.

use std::fmt::Write;
use std::fs;
use std::io;
use std::path::Path;

use super::args::{Export, Restore};
use super::follow::{self, Bar, Measured};
use super::output::say;
use super::{Exit, commands, lists};
use crate::base::atomic::{self, Existing};
use crate::engine::Progress;
use crate::export::handover::{self, Change, Done, FrameFiles, Links, Moves, Preview, Ratings};
use crate::export::report::{self, Report};
use crate::frame::{self, OpenOptions};

/// Shown of the files of a preview; the rest is counted.
const MOST_FILES: usize = 40;

pub(super) fn export(args: &Export) -> Result<Exit, String> {
    let measured = follow::measure(args.night.request(), args.night.workers())?;
    let files = || handover::files_of(&measured.table());
    let mut ends = Ends {
        is_well: !measured.has_unreadable(),
        ..Ends::default()
    };
    if args.list {
        ends.take(list(args, &measured));
    }
    if args.report {
        ends.take(report(args, &measured));
    }
    if args.links {
        ends.take(links(args, &files()));
    }
    if args.sidecars {
        ends.take(sidecars(args, &files()));
    }
    // Last, and with the rating files that were written just now.
    if args.set_aside {
        ends.take(set_aside(args, &files()));
    }
    Ok(ends.exit())
}

pub(super) fn restore(args: &Restore) -> Result<Exit, String> {
    let done = if args.ratings {
        handover::take_back_ratings(&args.folder, None, &mut quietly)?
    } else {
        handover::restore(&args.folder, &mut quietly)?
    };
    let mut ends = Ends {
        is_well: true,
        ..Ends::default()
    };
    ends.take(Ok(told(&done)));
    Ok(ends.exit())
}

/// How the parts of an export ended.
#[derive(Default)]
struct Ends {
    /// Some part was done.
    is_done: bool,
    /// Nothing is to complain of.
    is_well: bool,
}

impl Ends {
    /// Takes in whether a part is well, or why it was not done at all, which is said.
    fn take(&mut self, part: Result<bool, String>) {
        match part {
            Ok(is_well) => {
                self.is_done = true;
                self.is_well &= is_well;
            }
            Err(why) => {
                say(&format!("nightloupe: {why}"));
                self.is_well = false;
            }
        }
    }

    fn exit(&self) -> Exit {
        match (self.is_done, self.is_well) {
            (false, _) => Exit::NothingDone,
            (true, false) => Exit::SomeUnreadable,
            (true, true) => Exit::Well,
        }
    }
}

fn list(args: &Export, measured: &Measured) -> Result<bool, String> {
    if args.only_say {
        commands::print(&lists::preview(&args.to, measured)?)?;
    } else {
        lists::write(&args.to, measured)?;
    }
    Ok(true)
}

fn report(args: &Export, measured: &Measured) -> Result<bool, String> {
    let (page, chart) = (args.to.join("report.html"), args.to.join("chart.svg"));
    if args.only_say {
        let text = format!(
            "Write a report: {} and {}.\n",
            page.display(),
            chart.display()
        );
        commands::print(&text)?;
        return Ok(true);
    }
    for file in [&page, &chart] {
        if file.exists() {
            let file = file.display();
            return Err(format!(
                "{file} is there already and is left as it is. Name another folder."
            ));
        }
    }
    make(&args.to)?;
    let table = measured.table();
    let options = OpenOptions {
        linear: args.night.request().linear,
        ..OpenOptions::default()
    };
    let bar = Bar::new();
    let pictures = report::draw_all(
        &table,
        |path| frame::open_colour(path, &options).ok(),
        |done, total| {
            bar.show(&Progress {
                job: "Drawing the report".to_owned(),
                done,
                total,
                ..Progress::default()
            });
            true
        },
    );
    bar.end();
    let report = Report {
        title: &measured.title,
        table: &table,
        decisions: &measured.decisions,
        next_time: &measured.derived.next_time,
        pictures: &pictures,
        with_place: args.with_place,
    };
    write_new(&page, |out| report::write_report(&report, out))?;
    write_new(&chart, |out| {
        report::write_chart(&table, 0, &measured.title, out)
    })?;
    Ok(true)
}

fn write_new(
    file: &Path,
    fill: impl FnOnce(&mut dyn io::Write) -> io::Result<()>,
) -> Result<(), String> {
    let written = atomic::write(file, Existing::Keep, fill);
    written.map_err(|fault| format!("{} could not be written: {fault}", file.display()))?;
    say(&format!("{} written.", file.display()));
    Ok(())
}

fn links(args: &Export, files: &[FrameFiles]) -> Result<bool, String> {
    let links = Links::plan(files, &args.to.join("frames"));
    if args.only_say {
        return print(&links.preview());
    }
    if links.preview().is_empty {
        return Err(links.preview().in_words());
    }
    make(&args.to)?;
    let (done, _) = links.carry_out(&mut quietly)?;
    Ok(told(&done))
}

fn sidecars(args: &Export, files: &[FrameFiles]) -> Result<bool, String> {
    let mut ratings = Ratings::plan(files, None);
    if !ratings.can_be_written() {
        let elsewhere = args.to.join("ratings");
        say(&format!(
            "The frames' folder cannot be written: rating files go into {}.",
            elsewhere.display()
        ));
        ratings = Ratings::plan(files, Some(&elsewhere));
    }
    if args.only_say {
        return print(&ratings.preview());
    }
    Ok(told(&ratings.carry_out(&mut quietly)))
}

fn set_aside(args: &Export, files: &[FrameFiles]) -> Result<bool, String> {
    let moves = Moves::plan(files);
    if args.only_say {
        return print(&moves.preview());
    }
    if moves.preview().is_empty {
        say(&moves.preview().in_words());
        return Ok(true);
    }
    let done = moves.carry_out(&mut quietly);
    if done.moved.is_empty() {
        return Err(done.troubles.join("\n"));
    }
    let is_well = told(&done);
    for (folder, _) in moves.firsts() {
        say(&format!(
            "nightloupe restore {} brings them back.",
            folder.display()
        ));
    }
    Ok(is_well)
}

fn quietly(_: Change) {}

fn make(folder: &Path) -> Result<(), String> {
    let made = fs::create_dir_all(folder);
    made.map_err(|fault| format!("{} could not be made: {fault}", folder.display()))
}

fn print(preview: &Preview) -> Result<bool, String> {
    let mut text = preview.in_words() + "\n";
    for file in preview.files.iter().take(MOST_FILES) {
        let _ = writeln!(text, "  {file}");
    }
    if preview.files.len() > MOST_FILES {
        let _ = writeln!(text, "  and {} more", preview.files.len() - MOST_FILES);
    }
    commands::print(&text)?;
    Ok(true)
}

/// Says what was done; whether all of it was.
fn told(done: &Done) -> bool {
    say(&done.sentence);
    for note in done.troubles.iter().chain(&done.notes) {
        say(note);
    }
    done.troubles.is_empty()
}
