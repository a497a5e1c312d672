//! A plan for another night: what so many hours make, what they need, and when it is dark.
//!
//! In: this night (its pace, true exposure, file sizes), the purpose, the hours, and what is to be
//! different: lens, sensor, date, place. Out: [`Plan`], numbers with what each rests on. Pure; whoever
//! knows the files says how large they are.

use jiff::civil::Date;
use jiff::tz::Offset;

use super::facts::Facts;
use super::outcome::FILM_RATES;
use super::scales::exposure_within;
use super::types::{AdviceOptions, FilmLength};
use crate::night::Night;
use crate::sky::limits::{Npf, film_s};
use crate::sky::turning::{arc_deg, largest_rate_of_any_pole_px_per_s};
use crate::sky::{self, Camera, Depth, Moment, Site, Span};
use crate::verdict::words::{figure, frames as frames_words, number, with_unit};
use crate::verdict::{Judged, Purpose};

/// What the plan is for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlanAsked {
    /// How long to shoot.
    pub hours: f64,
    /// The evening of the night; `None`: without Sun and Moon.
    pub date: Option<Date>,
    /// Where; `None`: where this night was shot.
    pub site: Option<Site>,
    /// Another lens or camera; what is `None` is as in this night.
    pub lens: PlanLens,
    /// Mean size of this night's files, bytes.
    pub bytes_a_frame: Option<f64>,
}

/// A lens and a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlanLens {
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// Aperture number.
    pub f_number: Option<f64>,
    /// Pixel pitch, µm.
    pub pixel_um: Option<f64>,
    /// Frame size, px.
    pub size_px: Option<(u32, u32)>,
}

/// A span of time with what lights it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanSky {
    /// When the Sun is 18° down: empty in a white night.
    pub dark: Vec<Span>,
    /// When the Moon is up.
    pub moon_up: Vec<Span>,
    /// Share of its disc that is lit, 0 to 1.
    pub moon_lit: f64,
    /// When to begin: the darkest stretch of the asked length, the earliest of equals.
    pub start: Option<Moment>,
    /// Hours of the asked ones that are dark, and of those with the Moon down.
    pub dark_h: f64,
    /// Hours that are dark and without the Moon.
    pub moonless_h: f64,
    /// Seconds east of UTC that clock times are told in.
    pub offset_s: i32,
}

/// The plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// For what.
    pub purpose: Purpose,
    /// How long.
    pub hours: f64,
    /// Marked exposure to set, s.
    pub exposure_s: f64,
    /// Time from one exposure's start to the next, s: the true exposure and the pause that the camera
    /// needed this night.
    pub interval_s: f64,
    /// Frames that fit.
    pub frames: usize,
    /// Degrees that the sky turns from the first frame's start to the last one's end.
    pub arc_deg: f64,
    /// Largest trail of one frame with this lens, px, wherever the pole is; `None` where lens or
    /// sensor are not known.
    pub largest_trail_px: Option<f64>,
    /// Film at each rate.
    pub film: Vec<FilmLength>,
    /// Room on the card, bytes.
    pub card_bytes: Option<f64>,
    /// Longest stretch of this night without a long pause, hours: one battery lasted that long.
    pub battery_h: Option<f64>,
    /// Sun and Moon, where date and place are given.
    pub sky: Option<PlanSky>,
    /// Cautions and what is not known, in sentences.
    pub notes: Vec<String>,
}

/// A pause longer than this may have been a change of battery, s.
const LONG_PAUSE_S: f64 = 60.0;
/// Seconds to write a frame where the night does not tell.
const WRITE_PAUSE_S: f64 = 1.0;
/// Starts are tried so far apart, s.
const START_STEP_S: f64 = 600.0;
/// A Moon lit less than this hardly lights the sky.
const LITTLE_MOON: f64 = 0.1;
/// Longest plan, hours.
const MOST_HOURS: f64 = 72.0;

/// Plans another night for the frames of `set`. `None` where the exposure of this night is not known
/// or the hours are none.
#[must_use]
pub fn plan(
    night: &Night,
    set: usize,
    judged: &Judged,
    options: AdviceOptions,
    asked: &PlanAsked,
) -> Option<Plan> {
    let facts = Facts::of(night, set, judged)?;
    let hours = Some(asked.hours).filter(|h| *h > 0.0 && *h <= MOST_HOURS)?;
    let tonight_s = facts.exposure_s?;
    let lens = Lens::of(&facts, asked.lens);
    let exposure_s = match facts.purpose {
        // One picture wants points: the rule's limit with this lens.
        Purpose::Still => lens.npf_s(options.npf_k).map_or(tonight_s, exposure_within),
        _ => tonight_s,
    };
    let open_s = facts
        .true_exposure_s()
        .map_or(exposure_s, |(open, _)| exposure_s * open / tonight_s);
    let tonight_open_s = facts.true_exposure_s().map_or(tonight_s, |(open, _)| open);
    let pause_s = facts
        .longest_step_s()
        .map(|step| (step - tonight_open_s).max(0.0));
    let interval_s = open_s + pause_s.unwrap_or(WRITE_PAUSE_S);
    let frames = ((hours * 3600.0 - open_s) / interval_s + 1.0)
        .max(1.0)
        .floor();
    let span_s = (frames - 1.0) * interval_s + open_s;
    let frames = frames as usize;
    let site = asked.site.or(night.place.map(|place| place.site));
    let offset_s = clock_offset_s(night, site);
    let sky = asked
        .date
        .zip(site)
        .map(|(date, site)| sky_of(date, site, offset_s, hours));
    let mut plan = Plan {
        purpose: facts.purpose,
        hours,
        exposure_s,
        interval_s,
        frames,
        arc_deg: arc_deg(span_s),
        largest_trail_px: lens.largest_rate_px_s().map(|rate| rate * open_s),
        film: FILM_RATES
            .iter()
            .map(|&rate| FilmLength {
                rate,
                seconds: film_s(frames, rate),
            })
            .collect(),
        card_bytes: lens
            .bytes(asked.bytes_a_frame)
            .map(|bytes| bytes * frames as f64),
        battery_h: facts.longest_run_h(),
        sky,
        notes: Vec::new(),
    };
    plan.notes = notes(&plan, asked, site);
    Some(plan)
}

/// The lens and sensor of the plan.
struct Lens {
    focal_mm: Option<f64>,
    f_number: Option<f64>,
    pixel_um: Option<f64>,
    size_px: (u32, u32),
    /// Pixels of the plan's sensor over this night's.
    more_pixels: f64,
}

impl Lens {
    fn of(facts: &Facts<'_>, asked: PlanLens) -> Self {
        let own = facts.group.settings.size_px;
        let size_px = asked.size_px.unwrap_or(own);
        let pixels = |(w, h): (u32, u32)| f64::from(w) * f64::from(h);
        Self {
            focal_mm: asked.focal_mm.or(facts.focal_mm),
            f_number: asked.f_number.or(facts.f_number),
            pixel_um: asked.pixel_um.or(facts.pixel_um),
            size_px,
            more_pixels: pixels(size_px) / pixels(own).max(1.0),
        }
    }

    fn camera(&self) -> Option<Camera> {
        let focal_px = 1000.0 * self.focal_mm? / self.pixel_um?;
        Camera::new(
            focal_px,
            f64::from(self.size_px.0),
            f64::from(self.size_px.1),
        )
    }

    fn largest_rate_px_s(&self) -> Option<f64> {
        self.camera()
            .map(|camera| largest_rate_of_any_pole_px_per_s(&camera))
    }

    fn npf_s(&self, k: f64) -> Option<f64> {
        let npf = Npf {
            k,
            f_number: self.f_number?,
            focal_mm: self.focal_mm?,
            pixel_um: self.pixel_um?,
        };
        let limit = npf.limit_at_rate_s(self.largest_rate_px_s()?);
        (limit.is_finite() && limit > 0.0).then_some(limit)
    }

    /// A file grows with its pixels.
    fn bytes(&self, tonight: Option<f64>) -> Option<f64> {
        tonight
            .filter(|bytes| *bytes > 0.0)
            .map(|bytes| bytes * self.more_pixels)
    }
}

/// The zone that the night's clock was in; without one, the hours of the place's meridian.
fn clock_offset_s(night: &Night, site: Option<Site>) -> i32 {
    let mut written = (night.rows.iter()).filter_map(|row| row.facts.taken_at?.offset_s);
    let meridian = site.map_or(0.0, |site| (site.longitude_deg / 15.0).round() * 3600.0);
    written.next().unwrap_or(meridian as i32)
}

fn sky_of(date: Date, site: Site, offset_s: i32, hours: f64) -> PlanSky {
    let offset = Offset::from_seconds(offset_s).unwrap_or(Offset::UTC);
    let evening = offset.to_timestamp(date.at(20, 0, 0, 0));
    let evening = Moment {
        utc_s: evening.map_or(0.0, |stamp| stamp.as_second() as f64),
    };
    let within = sky::noon_to_noon(site, evening);
    let dark = sky::sun_down(site, Depth::Astronomical, within);
    let moon_up = sky::moon_up(site, within);
    let wanted_s = hours * 3600.0;
    let overlap = |spans: &[Span], from: f64| -> f64 {
        let of = |span: &Span| span.to.utc_s.min(from + wanted_s) - span.from.utc_s.max(from);
        spans.iter().map(|span| of(span).max(0.0)).sum()
    };
    // Dark seconds without the Moon: those that are dark, less those in which it is up as well.
    let moonless = |from: f64| -> f64 {
        dark.iter()
            .map(|span| {
                let (begin, end) = (
                    span.from.utc_s.max(from),
                    span.to.utc_s.min(from + wanted_s),
                );
                let lit = moon_up
                    .iter()
                    .map(|moon| (moon.to.utc_s.min(end) - moon.from.utc_s.max(begin)).max(0.0));
                (end - begin - lit.sum::<f64>()).max(0.0)
            })
            .sum()
    };
    let middle = dark.first().map_or(evening, |span| Moment {
        utc_s: 0.5 * (span.from.utc_s + span.to.utc_s),
    });
    let moon_lit = sky::moon(site, middle).lit;
    let worth = |from: f64| {
        let weight = if moon_lit > LITTLE_MOON { 1.0 } else { 0.0 };
        (overlap(&dark, from) + weight * moonless(from)) / 60.0
    };
    let first = dark.first().map(|span| span.from.utc_s);
    let last = dark.last().map(|span| span.to.utc_s);
    let start = first.zip(last).map(|(first, last)| {
        let steps = ((last - first) / START_STEP_S).max(0.0) as usize;
        let starts = (0..=steps).map(|n| first + n as f64 * START_STEP_S);
        // Only what is better by more than a minute is worth waiting for.
        starts.fold(first, |best, from| {
            if worth(from) > worth(best) + 1.0 {
                from
            } else {
                best
            }
        })
    });
    PlanSky {
        dark_h: start.map_or(0.0, |from| overlap(&dark, from) / 3600.0),
        moonless_h: start.map_or(0.0, |from| moonless(from) / 3600.0),
        start: start.map(|utc_s| Moment { utc_s }),
        dark,
        moon_up,
        moon_lit,
        offset_s,
    }
}

fn notes(plan: &Plan, asked: &PlanAsked, site: Option<Site>) -> Vec<String> {
    let mut notes = Vec::new();
    let mut note = |text: String| notes.push(text);
    if asked.date.is_some() && site.is_none() {
        note(
            "Sun and Moon cannot be told: the place is not known. Give it with --site, or in the window \
             under Lens and camera."
                .to_owned(),
        );
    }
    if let Some(sky) = &plan.sky {
        if sky.dark.is_empty() {
            note("It does not get dark that night: the Sun stays less than 18° down.".to_owned());
        } else if sky.dark_h + 0.1 < plan.hours {
            let dark = number(sky.dark_h, 1);
            note(format!(
                "Only {dark} of the {} h are dark.",
                figure(plan.hours)
            ));
        }
        if plan.purpose == Purpose::Timelapse && sky.dark_h + 0.1 < plan.hours {
            note("Never point an unfiltered lens at the Sun: stop before sunrise.".to_owned());
        }
    }
    if plan.card_bytes.is_none() {
        note("Room on the card: not known, as the size of the files is not.".to_owned());
    }
    note(
        "Know the ground and the tide by day, tell someone where you are, keep off roads, rails and \
         private land without leave, mind the cold. Local law and site rules come first."
            .to_owned(),
    );
    notes
}

impl Plan {
    /// The plan in lines: what, and how much with what it rests on.
    #[must_use]
    pub fn lines(&self) -> Vec<(&'static str, String)> {
        let mut lines = Vec::new();
        if let Some(sky) = &self.sky {
            lines.extend(sky.lines());
        }
        lines.push(("Exposure", with_unit(self.exposure_s, "s")));
        if let Some(px) = self.largest_trail_px {
            lines.push((
                "Longest trail",
                format!("{} a frame at most", with_unit(px, "px")),
            ));
        }
        let interval = number(self.interval_s, 1);
        lines.push((
            "Interval",
            format!("{interval} s: the true exposure and this night's longest write pause"),
        ));
        lines.push((
            "Frames",
            format!("{} in {}", self.frames, hours_words(self.hours)),
        ));
        match self.purpose {
            Purpose::Trails => {
                lines.push(("Arc", format!("{}° of trails", number(self.arc_deg, 1))));
            }
            Purpose::Tracked => {
                let open = self.exposure_s * self.frames as f64 / 60.0;
                lines.push(("Open shutter", format!("{} min", number(open, 0))));
            }
            Purpose::Timelapse | Purpose::Still => {}
        }
        if matches!(self.purpose, Purpose::Trails | Purpose::Timelapse) {
            let film = self
                .film
                .iter()
                .map(|f| format!("{} s at {}", number(f.seconds, 1), f.rate));
            let film: Vec<String> = film.collect();
            lines.push(("Film", format!("{} a second", film.join(", "))));
        }
        if let Some(bytes) = self.card_bytes {
            let gigabytes = with_unit(bytes / 1e9, "GB");
            let each = with_unit(bytes / 1e6 / self.frames as f64, "MB");
            lines.push((
                "Card",
                format!(
                    "{gigabytes}: {} of {each}, as this night's files",
                    frames_words(self.frames)
                ),
            ));
        }
        lines.push(("Batteries", self.batteries()));
        lines
    }

    /// An estimate, and said to be one.
    fn batteries(&self) -> String {
        match self.battery_h.filter(|h| *h > 0.0) {
            Some(run) if self.hours <= run => format!(
                "this night ran {} without a long pause: one may do (an estimate; cold shortens it)",
                hours_words(run)
            ),
            Some(run) => format!(
                "up to {}, as one lasted {} or more this night (an estimate; cold shortens it)",
                number((self.hours / run).ceil(), 0),
                hours_words(run)
            ),
            None => "not known: this night does not show how long one lasts".to_owned(),
        }
    }
}

impl PlanSky {
    pub(super) fn lines(&self) -> Vec<(&'static str, String)> {
        let clock = |moment: Moment| self.clock(moment);
        let span = |s: &Span| format!("{} to {}", clock(s.from), clock(s.to));
        let spans = |all: &[Span]| all.iter().map(span).collect::<Vec<_>>().join(", ");
        let dark = if self.dark.is_empty() {
            "not that night".to_owned()
        } else {
            spans(&self.dark)
        };
        let up = if self.moon_up.is_empty() {
            "down all night".to_owned()
        } else {
            format!("up {}", spans(&self.moon_up))
        };
        let lit = number(100.0 * self.moon_lit, 0);
        let mut lines = vec![("Dark", dark), ("Moon", format!("{up}; {lit} % lit"))];
        if let Some(start) = self.start {
            let (dark, moonless) = (number(self.dark_h, 1), number(self.moonless_h, 1));
            lines.push((
                "Start",
                format!(
                    "{}: {dark} h dark, {moonless} h of them without the Moon",
                    clock(start)
                ),
            ));
        }
        lines
    }

    /// The clock reading at a moment, "21:40".
    fn clock(&self, moment: Moment) -> String {
        let minutes = ((moment.utc_s + f64::from(self.offset_s)) / 60.0).round();
        let minutes = minutes.rem_euclid(1440.0) as u32;
        format!("{:02}:{:02}", minutes / 60, minutes % 60)
    }
}

fn hours_words(hours: f64) -> String {
    let minutes = (60.0 * hours).round() as u64;
    match (minutes / 60, minutes % 60) {
        (0, min) => format!("{min} min"),
        (h, 0) => format!("{h} h"),
        (h, min) => format!("{h} h {min} min"),
    }
}

impl Facts<'_> {
    /// The longest time from one frame's start to the next's in which none is missing, s.
    pub(super) fn longest_step_s(&self) -> Option<f64> {
        let interval = self.set.interval_s?;
        let steps = self.set.frames.windows(2).filter_map(|pair| {
            let [before, row] = [pair.first()?, pair.last()?].map(|&at| self.night.rows.get(at));
            let (before, row) = (before?, row?);
            let same = before.group == row.group && row.derived.missing_before == 0;
            let step = row.time_s? - before.time_s?;
            // Longer was a pause of another kind.
            (same && step < 1.5 * interval).then_some(step)
        });
        Some(steps.fold(interval, f64::max))
    }

    /// The longest stretch without a pause that could be a change of battery, h.
    pub(super) fn longest_run_h(&self) -> Option<f64> {
        let rows = self
            .set
            .frames
            .iter()
            .filter_map(|&at| self.night.rows.get(at));
        let times: Vec<f64> = rows.filter_map(|row| row.time_s).collect();
        let interval = self.set.interval_s?;
        let runs = times.chunk_by(|a, b| b - a < interval + LONG_PAUSE_S);
        let long = runs.map(|run| run.last().unwrap_or(&0.0) - run.first().unwrap_or(&0.0));
        long.reduce(f64::max).map(|seconds| seconds / 3600.0)
    }
}
