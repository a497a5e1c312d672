//! The command line: arguments, the subcommands, what they print. Data goes to stdout, talk and
//! progress to stderr.
//!
//! In: arguments. Out: an exit code, and text. What is computed belongs to the rooms above; the
//! window is started by `main`, which gets the request from here.

mod args;
mod commands;
mod follow;
mod handing_over;
mod lists;
mod output;
mod sample;
mod summary;

use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;
use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::prelude::*;

use crate::engine::{NightId, OpenRequest};
use args::{Cli, Command};

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Exit {
    /// All well.
    Well,
    /// Some frame could not be read; the rest is done.
    SomeUnreadable,
    /// Wrong usage, or nothing was done.
    NothingDone,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(match exit {
            Exit::Well => 0,
            Exit::SomeUnreadable => 1,
            Exit::NothingDone => 2,
        })
    }
}

/// What the command line asks for.
#[derive(Debug)]
pub enum Asked {
    /// The window, on a night if one is named.
    Window(Option<Box<OpenRequest>>),
    /// Nothing more: it is done, and this is the exit code.
    Done(ExitCode),
}

/// Reads the command line; runs it if it is a command.
#[must_use]
pub fn run() -> Asked {
    start_logging();
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(stop) => return Asked::Done(explain(&stop)),
    };
    let done = match &cli.command {
        None => return Asked::Window(window_request(&cli)),
        Some(Command::Measure(args)) => commands::measure(args),
        Some(Command::Advise(args)) => commands::advise(args),
        Some(Command::Compare(args)) => commands::compare(args),
        Some(Command::Export(args)) => handing_over::export(args),
        Some(Command::Restore(args)) => handing_over::restore(args),
        Some(Command::Sample(args)) => sample::write(args),
    };
    Asked::Done(end(done))
}

/// What to do where no window can open: say so, and measure.
#[must_use]
pub fn without_window(request: Option<OpenRequest>, why: &str) -> ExitCode {
    let Some(request) = request else {
        output::say(&format!(
            "{why} Name a folder to measure it here, or see nightloupe --help."
        ));
        return Exit::NothingDone.into();
    };
    output::say(&format!("{why} Measuring here instead."));
    end(commands::measure_instead(request))
}

fn end(done: Result<Exit, String>) -> ExitCode {
    done.unwrap_or_else(|why| {
        output::say(&format!("nightloupe: {why}"));
        Exit::NothingDone
    })
    .into()
}

/// Prints what clap has to say: help and version on stdout, wrong usage on stderr.
fn explain(stop: &clap::Error) -> ExitCode {
    // A closed pipe (`--help | head`) is no error.
    if let Err(fault) = stop.print() {
        tracing::debug!(%fault, "help could not be printed");
    }
    match stop.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => Exit::Well.into(),
        _ => Exit::NothingDone.into(),
    }
}

fn window_request(cli: &Cli) -> Option<Box<OpenRequest>> {
    (cli.sample || !cli.paths.is_empty()).then(|| {
        Box::new(OpenRequest {
            id: NightId::default(),
            paths: cli.paths.clone(),
            sample: cli.sample,
            ..OpenRequest::default()
        })
    })
}

/// `NIGHTLOUPE_LOG` says what is logged to stderr; only errors unless it is set. Panics of foreign
/// decoders are caught and become a frame's error, so they are logged rather than splashed.
fn start_logging() {
    let asked = std::env::var("NIGHTLOUPE_LOG").ok();
    let filter: Targets = asked.and_then(|text| text.parse().ok()).unwrap_or_else(|| {
        Targets::new()
            .with_default(tracing::Level::ERROR)
            .with_target("rawler", LevelFilter::OFF)
    });
    tracing_subscriber::registry()
        .with(tracing_subscriber::fmt::layer().with_writer(std::io::stderr))
        .with(filter)
        .init();
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        let thread = std::thread::current();
        if thread.name().is_some_and(is_guarded) {
            tracing::info!(%panic, "caught");
        } else {
            before(panic);
        }
    }));
}

/// Whether panics on a thread of this name are caught by the engine.
fn is_guarded(thread: &str) -> bool {
    thread.starts_with("nightloupe-measure")
        || matches!(
            thread,
            "nightloupe-picture"
                | "nightloupe-crops"
                | "nightloupe-trails"
                | "nightloupe-hand-over"
        )
}
