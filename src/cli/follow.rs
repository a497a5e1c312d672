//! Opening a night with the engine and waiting until it is measured.

use std::sync::Arc;

use crossbeam_channel::bounded;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::output::say;
use crate::engine::{Derived, Effect, Engine, OpenRequest, Progress, Report, Wake};
use crate::export::Table;
use crate::verdict::Decisions;

/// A night, measured.
pub(super) struct Measured {
    pub(super) title: String,
    pub(super) derived: Derived,
    /// What the person decided in the window.
    pub(super) decisions: Decisions,
    pub(super) took_s: f64,
    /// Frames that had been measured before.
    pub(super) kept: usize,
}

impl Measured {
    /// The measurement table.
    pub(super) fn table(&self) -> Table<'_> {
        Table::new(&self.derived.night, &self.derived.judged, &self.decisions)
    }

    /// Whether some frame could not be read.
    pub(super) fn has_unreadable(&self) -> bool {
        self.derived
            .night
            .rows
            .iter()
            .any(|row| row.error.is_some())
    }
}

/// Opens and measures; a progress bar shows on stderr if that is a terminal.
///
/// # Errors
/// Why there is nothing to measure, in a sentence.
pub(super) fn measure(request: OpenRequest, workers: usize) -> Result<Measured, String> {
    let (ring, woken) = bounded(1);
    // A full queue means that we are about to look anyway.
    let wake: Wake = Arc::new(move || {
        let _ = ring.try_send(());
    });
    let engine = Engine::new(workers, wake);
    let is_sample = request.sample;
    engine.run(Effect::Open(Box::new(request)));
    let bar = Bar::new();
    let (mut opened, mut latest, mut kept) = (None, None, 0);
    loop {
        for report in engine.reports() {
            match report {
                Report::Opened {
                    title,
                    paths,
                    decisions,
                    ..
                } => {
                    if let Some(folder) = paths.first().filter(|_| is_sample) {
                        let kept = folder.display();
                        bar.say(&format!("The sample night is kept in {kept}."));
                    }
                    opened = Some((title, decisions));
                }
                Report::Derived { derived, .. } => latest = Some(derived),
                Report::Progress { progress, .. } => {
                    kept = progress.kept;
                    bar.show(&progress);
                }
                Report::Finished { took_s, .. } => {
                    bar.end();
                    let unlikely = || "The night ended before it was opened.".to_owned();
                    let (title, decisions) = opened.ok_or_else(unlikely)?;
                    return Ok(Measured {
                        title,
                        derived: latest.ok_or_else(unlikely)?,
                        decisions,
                        took_s,
                        kept,
                    });
                }
                Report::Trouble {
                    text,
                    fatal_to_open,
                } => {
                    if fatal_to_open {
                        bar.end();
                        return Err(text);
                    }
                    bar.say(&text);
                }
                Report::Building { .. }
                | Report::Picture { .. }
                | Report::Crop { .. }
                | Report::Result { .. }
                | Report::ResultDetail { .. }
                | Report::ResultStopped { .. }
                | Report::Film(_)
                | Report::Chosen(_)
                | Report::Saved { .. }
                | Report::Planned { .. }
                | Report::Watching { .. }
                | Report::HandedOver { .. }
                | Report::Recents(_)
                | Report::Preferences(_) => {}
            }
        }
        if woken.recv().is_err() {
            return Err("The engine ended early.".to_owned());
        }
    }
}

/// A progress bar; draws nothing unless stderr is a terminal.
pub(super) struct Bar(ProgressBar);

impl Bar {
    pub(super) fn new() -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
        let style = ProgressStyle::with_template("{prefix} {wide_bar} {pos}/{len} {msg}");
        Self(match style {
            Ok(style) => bar.with_style(style.progress_chars("━━╌")),
            Err(_) => bar,
        })
    }

    pub(super) fn show(&self, progress: &Progress) {
        self.0.set_length(progress.total as u64);
        self.0.set_prefix(progress.job.clone());
        self.0.set_position(progress.done as u64);
        self.0.set_message(words_of(progress));
    }

    /// Says something without tearing the bar.
    pub(super) fn say(&self, text: &str) {
        self.0.suspend(|| say(text));
    }

    pub(super) fn end(&self) {
        self.0.finish_and_clear();
    }
}

fn words_of(progress: &Progress) -> String {
    let speed = progress
        .per_second
        .map(|per_second| format!("{per_second:.1} a second"));
    let left = progress
        .left_s
        .map(|seconds| format!("{} left", time(seconds)));
    let parts: Vec<String> = speed.into_iter().chain(left).collect();
    parts.join(", ")
}

/// A time in seconds or minutes, as rough as it is known.
fn time(seconds: f64) -> String {
    if seconds < 90.0 {
        format!("{:.0} s", seconds.ceil())
    } else {
        format!("{:.0} min", (seconds / 60.0).ceil())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn progress_in_words() {
        let mut progress = Progress::default();
        assert_eq!(words_of(&progress), "");
        progress.per_second = Some(9.87);
        progress.left_s = Some(61.2);
        assert_eq!(words_of(&progress), "9.9 a second, 62 s left");
        progress.left_s = Some(91.0);
        assert_eq!(words_of(&progress), "9.9 a second, 2 min left");
    }
}
