//! What can be said on the command line.

use std::path::PathBuf;
use std::str::FromStr;

use clap::{ArgGroup, Args, Parser, Subcommand, ValueEnum};

use crate::engine::{OpenRequest, Supplied};
use crate::frame::parse_clock_shift;
use crate::sky::Site;
use crate::verdict::Purpose;

const AFTER_HELP: &str = "\
Examples:
  nightloupe                               open the window
  nightloupe ~/nights/ridge                open it on a night
  nightloupe --sample                      look around in a simulated night
  nightloupe measure ~/nights/ridge        measure, and say which frames to leave out
  nightloupe measure ridge --csv table.csv the same, with every number in a table
  nightloupe advise ridge                  what to set next time, and why
  nightloupe compare ladder                settings side by side: which was best, and why
  nightloupe export ridge --to out --list  lists of the frames to use and to leave out
  nightloupe restore ridge                 bring back frames that were set aside

A folder called like a command is opened as ./measure. Frames are never changed or deleted, and only
moved, into a subfolder, by export --set-aside.
NIGHTLOUPE_LOG=debug tells more on stderr.";

const MEASURE_HELP: &str = "\
Examples:
  nightloupe measure ridge
  nightloupe measure ridge --purpose timelapse --csv ridge.csv
  nightloupe measure ridge --csv - | cut -d, -f1,7,12
  nightloupe measure card --first 5        a field check: focus, exposure, tilt, sky, gaps
  nightloupe measure scope --focal-mm 530 --pixel-um 3.76 --purpose tracked

What was measured once is kept, and read back when the same frames come again, also from another
folder. The table has one row a frame in order of capture; a cell is empty where a value can't be
measured. With --csv - or --json - the table goes to stdout and the summary to stderr.

Exit code: 0 all well, 1 some frame could not be read (the rest is done), 2 nothing done.";

const ADVISE_HELP: &str = "\
Examples:
  nightloupe advise ridge
  nightloupe advise ridge --purpose timelapse
  nightloupe advise ridge --plan-hours 4 --plan-date 2026-01-17 --plan-focal-mm 35

With --plan-hours another night is planned from this one: frames, arc, film, room on the card, and with
a date when it is dark and where the Moon is.

Exit code: 0 all well, 1 some frame could not be read (the rest is done), 2 nothing done.";

const COMPARE_HELP: &str = "\
Examples:
  nightloupe compare ladder
  nightloupe compare ladder --purpose still --csv settings.csv
  nightloupe compare ladder --csv - | cut -d, -f2,8

Shoot the same sky at each setting, five frames or more, and two frames with the cap on at each ISO.
Frames of one setting make one row. Signal-to-noise is that of the same stars at every setting. With
--csv - the table goes to stdout and the words to stderr.

Exit code: 0 all well, 1 some frame could not be read (the rest is done), 2 nothing done.";

const EXPORT_HELP: &str = "\
Examples:
  nightloupe export ridge --to ridge-lists --list
  nightloupe export ridge --to out --sidecars --set-aside --only-say
  nightloupe export ridge --to film --links --purpose timelapse

What you decided in the window counts before what is advised. With --only-say, what would be done is
printed and nothing is done.

--list writes used.txt and rejected.txt, names one a line, in order of capture.
--sidecars writes an XMP rating of -1 (rejected) beside each rejected frame; what another program wrote
  in a rating file stays. Where the folder cannot be written they go into DIR/ratings.
--links numbers the used frames in the new folder DIR/frames: as links, or copies where links cannot be.
--report writes report.html, one page with charts, findings, settings and small pictures, to print or to
  send, and chart.svg. Where the night was shot is left out unless --with-place.
--set-aside moves rejected frames, with the JPEG and rating files of the same name, into the subfolder
  nightloupe-set-aside; restore brings them back. Dark, bias and flat frames are never moved.

What is there already is left as it is, and said.

Exit code: 0 all well, 1 something could not be read, written or moved (the rest is done), 2 nothing
done.";

const RESTORE_HELP: &str = "\
Examples:
  nightloupe restore ridge
  nightloupe restore ridge --ratings

Brings back what export --set-aside or the window moved, also after a crash, from the journal in the
subfolder nightloupe-set-aside. Nothing is overwritten: a file whose place is taken stays where it is.

Exit code: 0 all well, 1 something could not be brought back (the rest is), 2 nothing done.";

const SAMPLE_HELP: &str = "\
Examples:
  nightloupe sample ~/nights/try
  nightloupe sample small --frames 12 --size 800x533 --seed 7

The frames are invented, and what is true about each is written beside them as JSON: the place of
the pole, how long the trails are, what goes wrong and when. The same seed gives the same night.";

/// Which frames of a night to leave out, what happened in them, and what to set next time.
///
/// nightloupe measures trails, star widths, sky and noise in every frame of a night, plots the
/// night, and judges the frames for what they are to become. Without a command it opens its window.
#[derive(Debug, Parser)]
#[command(
    name = "nightloupe",
    version,
    after_help = AFTER_HELP,
    args_conflicts_with_subcommands = true,
    infer_long_args = false
)]
pub(super) struct Cli {
    #[command(subcommand)]
    pub(super) command: Option<Command>,

    /// Folders or files to open in the window
    #[arg(value_name = "PATH")]
    pub(super) paths: Vec<PathBuf>,

    /// Open a simulated night, made once and kept in the cache folder
    #[arg(long, conflicts_with = "paths")]
    pub(super) sample: bool,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Measure every frame and say which to leave out
    ///
    /// Measures every frame of a night and prints a summary: what was shot, how the frames are
    /// judged, what was found and in which frames. --csv and --json save all the numbers.
    #[command(after_help = MEASURE_HELP)]
    Measure(Measure),
    /// Say what to set next time, with the reasons
    ///
    /// Measures like `measure`, then prints one line for each setting: what it was, what to set
    /// next time, and the measured reason.
    #[command(after_help = ADVISE_HELP)]
    Advise(Advise),
    /// Lay settings side by side and say which was best
    ///
    /// Measures like `measure`, then prints one row for each setting the frames were shot with (ISO,
    /// exposure, aperture) and which to use for the purpose, with the reasons.
    #[command(after_help = COMPARE_HELP)]
    Compare(Compare),
    /// Write what the verdicts lead to into a folder
    ///
    /// Measures like `measure`, then hands over what was decided to whatever program comes next:
    /// lists, rating files, numbered links, and rejected frames set aside.
    #[command(after_help = EXPORT_HELP)]
    Export(Export),
    /// Bring back frames that were set aside
    ///
    /// Undoes a set-aside from its journal.
    #[command(after_help = RESTORE_HELP)]
    Restore(Restore),
    /// Write a simulated night to try things on
    ///
    /// Writes frames as a camera would have, of a night that never was.
    #[command(after_help = SAMPLE_HELP)]
    Sample(Sample),
}

#[derive(Debug, Args)]
pub(super) struct Measure {
    #[command(flatten)]
    pub(super) night: NightArgs,

    /// Save the table as CSV; a file there is replaced; - is stdout
    #[arg(long, value_name = "FILE")]
    pub(super) csv: Option<PathBuf>,

    /// Save the table as JSON; a file there is replaced; - is stdout
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct Advise {
    #[command(flatten)]
    pub(super) night: NightArgs,

    #[command(flatten)]
    pub(super) plan: PlanArgs,
}

/// Another night to plan.
#[derive(Debug, Args)]
#[expect(
    clippy::struct_field_names,
    reason = "each is the name of its option on the command line"
)]
pub(super) struct PlanArgs {
    /// Plan another night of so many hours
    #[arg(long, value_name = "H", value_parser = hours)]
    pub(super) plan_hours: Option<f64>,

    /// Its evening, for Sun and Moon
    #[arg(long, value_name = "YYYY-MM-DD", requires = "plan_hours", value_parser = date)]
    pub(super) plan_date: Option<jiff::civil::Date>,

    /// Where, if not where this night was shot
    #[arg(long, value_name = "LAT,LON", requires = "plan_hours", value_parser = Site::from_str, allow_hyphen_values = true)]
    pub(super) plan_site: Option<Site>,

    /// Another focal length, in mm
    #[arg(long, value_name = "MM", requires = "plan_hours", value_parser = positive)]
    pub(super) plan_focal_mm: Option<f64>,

    /// Another aperture
    #[arg(long, value_name = "N", requires = "plan_hours", value_parser = positive)]
    pub(super) plan_f_number: Option<f64>,

    /// Another pixel pitch, in µm
    #[arg(long, value_name = "UM", requires = "plan_hours", value_parser = positive)]
    pub(super) plan_pixel_um: Option<f64>,

    /// Another frame size, in pixels
    #[arg(long, value_name = "WxH", requires = "plan_hours", value_parser = size)]
    pub(super) plan_size: Option<(usize, usize)>,
}

#[derive(Debug, Args)]
pub(super) struct Compare {
    #[command(flatten)]
    pub(super) night: NightArgs,

    /// Save the table as CSV; a file there is replaced; - is stdout
    #[arg(long, value_name = "FILE")]
    pub(super) csv: Option<PathBuf>,
}

#[derive(Debug, Args)]
#[command(group(ArgGroup::new("what").required(true).multiple(true)))]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a switch of the command line, and any may be given with any"
)]
pub(super) struct Export {
    #[command(flatten)]
    pub(super) night: NightArgs,

    /// Folder to write into; made if it is not there
    #[arg(long, value_name = "DIR", required = true)]
    pub(super) to: PathBuf,

    /// Write used.txt and rejected.txt
    #[arg(long, group = "what")]
    pub(super) list: bool,

    /// Rate rejected frames -1 in XMP files beside them
    #[arg(long, group = "what")]
    pub(super) sidecars: bool,

    /// Number the used frames in DIR/frames
    #[arg(long, group = "what")]
    pub(super) links: bool,

    /// Write the night as one page, report.html, and its chart
    #[arg(long, group = "what")]
    pub(super) report: bool,

    /// Say in the report where the night was shot
    #[arg(long, requires = "report")]
    pub(super) with_place: bool,

    /// Move rejected frames into a subfolder of their folder
    #[arg(long, group = "what")]
    pub(super) set_aside: bool,

    /// Say what would be done, and do nothing
    #[arg(long)]
    pub(super) only_say: bool,
}

#[derive(Debug, Args)]
pub(super) struct Restore {
    /// The folder that frames were moved out of
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,

    /// Take back rating files written into DIR, instead of bringing back frames
    #[arg(long)]
    pub(super) ratings: bool,
}

#[derive(Debug, Args)]
pub(super) struct Sample {
    /// Folder to write into; made if it is not there
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,

    /// Which invented night
    #[arg(long, value_name = "NAME")]
    pub(super) scene: Option<String>,

    /// How many frames
    #[arg(long, value_name = "N")]
    pub(super) frames: Option<usize>,

    /// Size in pixels
    #[arg(long, value_name = "WxH", value_parser = size)]
    pub(super) size: Option<(usize, usize)>,

    /// Where all chance comes from; the same seed gives the same night
    #[arg(long, value_name = "S")]
    pub(super) seed: Option<u64>,

    /// Kind of file
    #[arg(long, value_enum, value_name = "KIND")]
    pub(super) format: Option<FormatWord>,
}

/// Which night, and what is known about it.
#[derive(Debug, Args)]
pub(super) struct NightArgs {
    /// Folders (read without their subfolders) or files
    #[arg(value_name = "PATH", required_unless_present = "sample")]
    pub(super) paths: Vec<PathBuf>,

    /// Take a simulated night, made once and kept in the cache folder
    #[arg(long, conflicts_with = "paths")]
    pub(super) sample: bool,

    /// What the frames are for
    #[arg(long, value_enum, value_name = "WHAT", default_value_t = PurposeWord::Trails)]
    pub(super) purpose: PurposeWord,

    /// Frames measured at the same time; as many as there are cores unless told
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(super) jobs: Option<u16>,

    /// Only the first N frames, by name
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub(super) first: Option<u32>,

    /// Measure again what was measured before
    #[arg(long)]
    pub(super) fresh: bool,

    /// Zone of the camera's clock, if the frames do not say
    #[arg(long, value_name = "±HH:MM", value_parser = offset_s, allow_hyphen_values = true)]
    pub(super) utc_offset: Option<i32>,

    /// What a sky meter read that night, mag per square arcsecond; kept for the camera and lens
    #[arg(long, value_name = "MAG", value_parser = reading)]
    pub(super) meter: Option<f64>,

    /// What to add to the camera's times: seconds, or H:MM:SS; negative when its clock is fast
    #[arg(long, value_name = "±TIME", value_parser = clock_shift_s, allow_hyphen_values = true)]
    pub(super) clock_add: Option<f64>,

    /// Where the night was shot, in degrees, north and east positive; else as the frames say
    #[arg(long, value_name = "LAT,LON", value_parser = Site::from_str, allow_hyphen_values = true)]
    pub(super) site: Option<Site>,

    /// Pixel pitch in micrometres, if the frames do not say
    #[arg(long, value_name = "X", value_parser = positive)]
    pub(super) pixel_um: Option<f64>,

    /// Focal length in millimetres: for a telescope or a lens without contacts
    #[arg(long, value_name = "X", value_parser = positive)]
    pub(super) focal_mm: Option<f64>,

    /// Aperture number: for a telescope or a lens without contacts
    #[arg(long, value_name = "X", value_parser = positive)]
    pub(super) f_number: Option<f64>,

    /// Whether levels in TIFF and PNG files are proportional to light; else as each file says
    #[arg(long, value_enum, value_name = "yes|no")]
    pub(super) linear: Option<YesNo>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum PurposeWord {
    /// One picture of star trails: gaps matter most
    Trails,
    /// A film: jumps and flicker matter most
    Timelapse,
    /// The best single frame
    Still,
    /// A stack of tracked frames: round stars matter most
    Tracked,
}

impl From<PurposeWord> for Purpose {
    fn from(word: PurposeWord) -> Self {
        match word {
            PurposeWord::Trails => Self::Trails,
            PurposeWord::Timelapse => Self::Timelapse,
            PurposeWord::Still => Self::Still,
            PurposeWord::Tracked => Self::Tracked,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum YesNo {
    Yes,
    No,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum FormatWord {
    /// As from a camera, tone curve and all
    Jpeg,
    /// Raw, 16-bit colour mosaic
    Dng,
    /// Linear, 16-bit grey
    Tiff,
}

impl NightArgs {
    pub(super) fn request(&self) -> OpenRequest {
        OpenRequest {
            paths: self.paths.clone(),
            sample: self.sample,
            fresh: self.fresh,
            first: self.first.map(|first| first as usize),
            linear: self.linear.map(|word| word == YesNo::Yes),
            supplied_for_all: Supplied {
                focal_length_mm: self.focal_mm,
                f_number: self.f_number,
                pixel_um: self.pixel_um,
                offset_s: self.utc_offset,
                clock_add_s: self.clock_add,
            },
            site: self.site,
            meter_mag: self.meter,
            purpose: self.purpose.into(),
            ..OpenRequest::default()
        }
    }

    pub(super) fn workers(&self) -> usize {
        self.jobs.map_or(0, usize::from)
    }
}

fn hours(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value <= 72.0 => Ok(value),
        _ => Err("a number above 0, at most 72, is wanted".to_owned()),
    }
}

fn date(text: &str) -> Result<jiff::civil::Date, String> {
    text.parse()
        .map_err(|_| "write it like 2026-01-17".to_owned())
}

fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() && value > 0.0 => Ok(value),
        _ => Err("a number above 0 is wanted".to_owned()),
    }
}

/// Sky readings from a bright dusk to darker than any sky.
fn reading(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if (3.0..=24.0).contains(&value) => Ok(value),
        _ => Err("a number from 3 to 24 is wanted, such as 21.3".to_owned()),
    }
}

fn clock_shift_s(text: &str) -> Result<f64, String> {
    parse_clock_shift(text).ok_or_else(|| "write seconds like -37, or +1:00:00".to_owned())
}

fn size(text: &str) -> Result<(usize, usize), String> {
    let parsed = text
        .split_once(['x', 'X', '×'])
        .and_then(|(width, height)| {
            Some((width.trim().parse().ok()?, height.trim().parse().ok()?))
        });
    parsed.ok_or_else(|| "write it like 1600x1067".to_owned())
}

/// Seconds east of UTC; no zone on Earth is further than 14 hours from it.
fn offset_s(text: &str) -> Result<i32, String> {
    let wrong = || "write it like +01:00 or -03:30".to_owned();
    let (sign, clock) = match text.as_bytes().first() {
        Some(b'+') => (1, &text[1..]),
        Some(b'-') => (-1, &text[1..]),
        _ => return Err(wrong()),
    };
    let (hours, minutes) = clock.split_once(':').ok_or_else(wrong)?;
    let number = |part: &str| -> Option<i32> {
        (part.len() == 2 && part.bytes().all(|byte| byte.is_ascii_digit()))
            .then(|| part.parse().ok())?
    };
    match (number(hours), number(minutes)) {
        (Some(hours), Some(minutes)) if minutes < 60 && hours * 60 + minutes <= 14 * 60 => {
            Ok(sign * (hours * 3600 + minutes * 60))
        }
        _ => Err(wrong()),
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    fn parse(words: &str) -> Result<Cli, clap::Error> {
        Cli::try_parse_from(std::iter::once("nightloupe").chain(words.split_whitespace()))
    }

    #[test]
    fn the_definition_is_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn offsets_have_a_sign_and_a_bound() {
        assert_eq!(offset_s("+01:00"), Ok(3600));
        assert_eq!(offset_s("-03:30"), Ok(-12_600));
        assert_eq!(offset_s("+14:00"), Ok(50_400));
        for wrong in [
            "01:00", "+1:00", "+14:01", "+00:60", "+a0:00", "+-1:00", "", "+é:00",
        ] {
            assert!(offset_s(wrong).is_err(), "{wrong}");
        }
        let cli = parse("measure ridge --utc-offset -03:30").unwrap();
        let Some(Command::Measure(measure)) = cli.command else {
            panic!("{cli:?}")
        };
        assert_eq!(
            measure.night.request().supplied_for_all.offset_s,
            Some(-12_600)
        );
    }

    #[test]
    fn a_place_is_taken_by_every_command_that_opens_a_night() {
        for words in [
            "measure ridge",
            "advise ridge",
            "export ridge --to out --list",
        ] {
            let cli = parse(&format!("{words} --site -23.7,-68.2")).unwrap();
            let night = match cli.command {
                Some(Command::Measure(measure)) => measure.night,
                Some(Command::Advise(advise)) => advise.night,
                Some(Command::Export(export)) => export.night,
                other => panic!("{other:?}"),
            };
            assert_eq!(
                night.request().site,
                Site::new(-23.7, -68.2).ok(),
                "{words}"
            );
        }
        let told = parse("measure ridge --site 95,10").unwrap_err();
        assert_eq!(told.exit_code(), 2);
        assert!(told.to_string().contains("latitude comes first"), "{told}");
    }

    #[test]
    fn sizes_and_lengths() {
        assert_eq!(size("1600x1067"), Ok((1600, 1067)));
        assert!(size("1600").is_err());
        for wrong in ["0", "-1", "nan", "inf", "wide"] {
            assert!(positive(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_window_or_a_command() {
        let cli = parse("ridge fell").unwrap();
        assert!(cli.command.is_none());
        assert_eq!(cli.paths, ["ridge", "fell"].map(PathBuf::from));
        assert!(parse("--sample").unwrap().sample);
        for usage in [
            "measure",
            "--sample ridge",
            "measure ridge --sample",
            "measure ridge --jobs 0",
            "measure ridge --purpose dinner",
            "export ridge --to out",
            "export ridge --list",
            "compare",
            "advise ridge --plan-date 2026-01-17",
            "advise ridge --plan-hours 0",
            "advise ridge --plan-hours 4 --plan-date 17.1.2026",
            "compare ridge --json out.json",
            "sample",
        ] {
            assert_eq!(parse(usage).unwrap_err().exit_code(), 2, "{usage}");
        }
    }
}
