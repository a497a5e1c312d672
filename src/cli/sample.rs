//! The sample command: a simulated night written where the user says.

use std::sync::atomic::AtomicBool;

use super::Exit;
use super::args::{FormatWord, Sample};
use super::follow::Bar;
use super::output::say;
use crate::engine::Progress;
use crate::sim::{self, Format, SCENES, SimOptions};
use crate::verdict::words::frames;

pub(super) fn write(args: &Sample) -> Result<Exit, String> {
    let options = options(args)?;
    let bar = Bar::new();
    let told = |done, total| {
        bar.show(&Progress {
            job: "Making frames".to_owned(),
            done,
            total,
            ..Progress::default()
        });
    };
    // Nothing calls it off but the end of the process, which leaves only a hidden folder behind.
    let made = sim::simulate(&args.folder, &options, &told, &AtomicBool::new(false));
    bar.end();
    let made = made.map_err(|fault| fault.to_string())?;
    let (folder, count) = (made.folder.display(), frames(made.truth.frames.len()));
    say(&if made.reused {
        format!("{folder} holds these {count} already.")
    } else {
        format!(
            "{folder}: {count}, and what is true about them in {}.",
            sim::TRUTH_FILE
        )
    });
    Ok(Exit::Well)
}

fn options(args: &Sample) -> Result<SimOptions, String> {
    let mut options = SimOptions::default();
    if let Some(name) = &args.scene {
        options.scene = *sim::scene(name).ok_or_else(|| {
            let all: Vec<String> = (SCENES.iter())
                .map(|scene| format!("  {:<12}{}", scene.name, scene.summary))
                .collect();
            format!("There is no scene {name}. There are:\n{}", all.join("\n"))
        })?;
    }
    if let Some((width, height)) = args.size {
        (options.width, options.height) = (width, height);
    }
    options.frames = args.frames.unwrap_or(options.frames);
    options.seed = args.seed.unwrap_or(options.seed);
    options.format = args.format.map_or(options.format, |word| match word {
        FormatWord::Jpeg => Format::Jpeg,
        FormatWord::Dng => Format::Dng,
        FormatWord::Tiff => Format::Tiff,
    });
    Ok(options)
}
