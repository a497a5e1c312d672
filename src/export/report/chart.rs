//! The night's chart as a picture of lines (SVG), from the same lanes that the window draws.

use std::fmt::Write as _;

use super::markup::Markup;
use crate::chart::bands::WordsAt;
use crate::chart::labels::{Said, Wanted, pack};
use crate::chart::lanes::lanes;
use crate::chart::reduce::{Dot, keep_extremes};
use crate::chart::ribbon::{self, Bar, PieceKind};
use crate::chart::{BandKind, Lane, LaneKind, Point, TimeAxis, clock};
use crate::export::Table;
use crate::night::Set;
use crate::verdict::Verdict;

/// Width of the whole chart, px.
const WIDTH: f64 = 1040.0;
/// Room for names on the left, and for numbers on the right, px.
const GUTTER: f64 = 142.0;
const TICKS: f64 = 62.0;
/// Room for the names of events, px.
const EVENTS: f64 = 46.0;
/// Between lanes, px.
const APART: f64 = 12.0;
/// The ribbon's height, px.
const RIBBON: f64 = 40.0;
/// Width of a letter of the labels, px: about that of a sans serif at 12 px.
const LETTER: f32 = 6.3;

/// Day colours of the window.
const INK: &str = "#1A1B1E";
const INK2: &str = "#44464B";
const INK3: &str = "#606268";
const LINE: &str = "#CDC8BD";
const PLOT: &str = "#FDFCFA";
const BAND: &str = "#C3D2D4";
pub(super) const KEEP: &str = "#1A6B80";
pub(super) const DOUBT: &str = "#875800";
pub(super) const REJECT: &str = "#B0351A";

const fn height_of(kind: LaneKind) -> f64 {
    match kind {
        LaneKind::Shape => 80.0,
        LaneKind::Sky => 66.0,
        LaneKind::Stars => 44.0,
        _ => 40.0,
    }
}

const fn colour_of(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Keep => KEEP,
        Verdict::Doubtful => DOUBT,
        Verdict::Reject => REJECT,
    }
}

/// The chart of one camera as an SVG element; nothing while it has no frames.
pub(super) fn svg(table: &Table<'_>, which: usize, title: &str) -> Option<String> {
    let set = table
        .night
        .sets
        .get(which)
        .filter(|set| !set.frames.is_empty())?;
    let lanes = lanes(table.night, set, table.judged.purpose);
    let times = clock::times(table.night, set);
    let interval = set.interval_s.filter(|s| *s > 0.0).unwrap_or(1.0);
    let heights = lanes
        .iter()
        .map(|lane| height_of(lane.kind) + APART)
        .sum::<f64>();
    let height = EVENTS + heights + 24.0 + RIBBON + 34.0;
    let axis = TimeAxis {
        from_s: *times.first()?,
        to_s: times.last()? + interval,
        left: GUTTER,
        right: WIDTH - TICKS,
    };
    let mut chart = Chart {
        out: Markup::default(),
        table,
        set,
        times,
        interval,
        axis,
    };
    let view = format!("0 0 {WIDTH} {height}");
    chart.out.open(
        "svg",
        &[
            ("xmlns", "http://www.w3.org/2000/svg"),
            ("viewBox", &view),
            ("role", "img"),
            (
                "font-family",
                "Ubuntu, 'Segoe UI', 'Helvetica Neue', sans-serif",
            ),
            ("font-size", "12"),
        ],
    );
    chart.out.leaf("title", &[], title);
    chart.out.leaf("desc", &[], &chart.in_words(&lanes));
    chart.out.raw(PATTERNS);
    let (w, h) = (WIDTH.to_string(), height.to_string());
    chart.out.empty(
        "rect",
        &[("width", &w), ("height", &h), ("fill", "#F5F3EE")],
    );
    chart.events();
    let mut top = EVENTS;
    for lane in &lanes {
        let height = height_of(lane.kind);
        chart.lane(lane, top, height);
        top += height + APART;
    }
    chart.clock(top + 10.0);
    chart.ribbon(top + 24.0);
    chart.legend(top + 24.0 + RIBBON + 24.0);
    Some(chart.out.finish())
}

/// Hatch for twilight, dots for the Moon: told apart without colour.
const PATTERNS: &str = "<defs><pattern id=\"twilight\" width=\"7\" height=\"7\" \
patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"7\" height=\"7\" \
fill=\"#ECE9E2\"/><path d=\"M0 0V7\" stroke=\"#827E75\" stroke-width=\"0.8\"/></pattern>\
<pattern id=\"moon\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\"><rect width=\"7\" \
height=\"7\" fill=\"#ECE9E2\"/><circle cx=\"3.5\" cy=\"3.5\" r=\"1\" fill=\"#827E75\"/></pattern></defs>";

struct Chart<'a> {
    out: Markup,
    table: &'a Table<'a>,
    set: &'a Set,
    times: Vec<f64>,
    interval: f64,
    axis: TimeAxis,
}

impl Chart<'_> {
    /// What the chart shows, for whoever does not see it.
    fn in_words(&self, lanes: &[Lane]) -> String {
        let parts: Vec<String> = lanes.iter().map(in_words).collect();
        format!(
            "{} frames by clock time. {}",
            self.set.frames.len(),
            parts.join(" ")
        )
    }

    fn verdict(&self, place: usize) -> Verdict {
        let row = self.set.frames.get(place);
        row.and_then(|&row| self.table.verdicts.get(row))
            .copied()
            .unwrap_or_default()
    }

    /// Where the frame at `place` is drawn: in the middle of its time.
    fn x(&self, time_s: f64) -> f64 {
        self.axis.x(time_s + self.interval / 2.0)
    }

    fn text(&mut self, x: f64, y: f64, anchor: &str, colour: &str, words: &str) {
        let (x, y) = (px(x), px(y));
        let attributes = [
            ("x", x.as_str()),
            ("y", &y),
            ("text-anchor", anchor),
            ("fill", colour),
        ];
        self.out.leaf("text", &attributes, words);
    }

    fn path(&mut self, d: &str, stroke: &str, width: &str) {
        if !d.is_empty() {
            let attributes = [
                ("d", d),
                ("fill", "none"),
                ("stroke", stroke),
                ("stroke-width", width),
            ];
            self.out.empty("path", &attributes);
        }
    }

    fn rect(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), fill: &str) {
        let (x, y, width, height) = (px(x), px(y), px(width.max(0.0)), px(height));
        let attributes = [
            ("x", x.as_str()),
            ("y", &y),
            ("width", &width),
            ("height", &height),
            ("fill", fill),
        ];
        self.out.empty("rect", &attributes);
    }

    fn events(&mut self) {
        let place_of = |row: usize| self.set.frames.iter().position(|&frame| frame == row);
        let judged = self.table.judged;
        let mut spans = Vec::new();
        for event in &judged.events {
            if let (Some(first), Some(last)) = (place_of(event.first), place_of(event.last)) {
                spans.push((event, first, last));
            }
        }
        let wanted: Vec<Wanted> = (spans.iter())
            .map(|(event, first, last)| {
                let time = |place: usize| self.times.get(place).copied().unwrap_or(0.0);
                let is_span = first != last;
                let left = if is_span {
                    self.axis.x(time(*first))
                } else {
                    self.x(time(*first))
                };
                let right = if is_span {
                    self.axis.x(time(*last) + self.interval)
                } else {
                    left
                };
                let width = event.label.chars().count() as f32 * LETTER;
                Wanted {
                    left: left as f32,
                    right: right as f32,
                    is_span,
                    long: width,
                    short: width,
                }
            })
            .collect();
        let placed = pack(&wanted, self.axis.left as f32, self.axis.right as f32);
        for ((event, ..), (wanted, placed)) in spans.iter().zip(wanted.iter().zip(&placed)) {
            let colour = colour_of(event.verdict);
            let base = 12.0 + 20.0 * placed.row as f64;
            let (left, right) = (f64::from(wanted.left), f64::from(wanted.right));
            let mark = if wanted.is_span {
                format!(
                    "M{} {}v-4H{}v4",
                    px(left),
                    px(base + 9.0),
                    px(right.max(left + 4.0))
                )
            } else {
                format!("M{} {}V{}", px(left), px(base - 9.0), px(EVENTS - 2.0))
            };
            self.path(&mark, colour, "1.5");
            if placed.said != Said::Nothing {
                let words = event.label.clone();
                self.text(f64::from(placed.text_left), base, "start", INK, &words);
            }
        }
    }

    fn lane(&mut self, lane: &Lane, top: f64, height: f64) {
        self.text(8.0, top + 14.0, "start", INK, lane.kind.name());
        if let Some(why) = &lane.missing {
            let why = format!("not measured: {why}");
            self.text(GUTTER + 8.0, top + height / 2.0, "start", INK3, &why);
            return;
        }
        self.text(8.0, top + 30.0, "start", INK3, lane.quantity);
        if !lane.line.is_empty() && height > 60.0 {
            self.text(8.0, top + 46.0, "start", INK3, "line: width across");
        }
        self.rect((GUTTER, top), (self.axis.right - GUTTER, height), PLOT);
        let y = |value: f64| top + height - 3.0 - lane.range.share(value) * (height - 6.0);
        self.grounds(lane, top, height);
        self.ticks(lane, height, &y);
        let (mut upper, mut lower) = (String::new(), String::new());
        for (at, band) in lane.band.iter().enumerate() {
            let verb = if at == 0 { 'M' } else { 'L' };
            let _ = write!(
                upper,
                "{verb}{} {}",
                px(self.x(band.time_s)),
                px(y(band.high))
            );
            lower = format!("L{} {}", px(self.x(band.time_s)), px(y(band.low))) + &lower;
        }
        if lane.band.len() > 1 {
            let d = format!("{upper}{lower}Z");
            self.out.empty("path", &[("d", &d), ("fill", BAND)]);
        }
        let line = self.line(&lane.line, &y);
        self.path(&line, INK, "1.5");
        self.points(lane, &y);
    }

    fn grounds(&mut self, lane: &Lane, top: f64, height: f64) {
        for band in &lane.bands {
            let left = self.axis.x(band.from_s).max(self.axis.left);
            let right = self.axis.x(band.to_s).min(self.axis.right);
            let fill = match band.kind {
                BandKind::Twilight => "url(#twilight)",
                BandKind::Moon => "url(#moon)",
            };
            self.rect((left, top), (right - left, height), fill);
        }
        for band in &lane.bands {
            let (from, to) = (self.axis.x(band.from_s), self.axis.x(band.to_s));
            // Outside the band, beside its edge, unless it has no edge here.
            let (x, anchor) = match band.at {
                WordsAt::Start => (from - 5.0, "end"),
                WordsAt::End => (to + 5.0, "start"),
                WordsAt::Inside => (self.axis.left + 6.0, "start"),
            };
            let y = top
                + if band.kind == BandKind::Moon {
                    27.0
                } else {
                    13.0
                };
            self.text(x, y, anchor, INK2, &band.words);
        }
    }

    fn ticks(&mut self, lane: &Lane, height: f64, y: &dyn Fn(f64) -> f64) {
        let ticks = lane.ticks(((height / 18.0) as usize).max(2));
        let top = ticks.values.last().copied();
        for &value in &ticks.values {
            let at = y(value);
            let d = format!("M{GUTTER} {}H{}", px(at), px(self.axis.right));
            self.path(&d, LINE, "1");
            let mut text = ticks.text(value);
            if Some(value) == top {
                text.push_str(lane.unit);
            }
            self.text(self.axis.right + 6.0, at + 4.0, "start", INK3, &text);
        }
    }

    fn line(&self, points: &[Point], y: &dyn Fn(f64) -> f64) -> String {
        let mut d = String::new();
        let mut before: Option<f64> = None;
        for point in points {
            // A line across missing frames would say what nobody measured.
            let joins = before.is_some_and(|time| point.time_s - time < 2.5 * self.interval);
            let verb = if joins { 'L' } else { 'M' };
            let _ = write!(
                d,
                "{verb}{} {}",
                px(self.x(point.time_s)),
                px(y(point.value))
            );
            before = Some(point.time_s);
        }
        d
    }

    fn points(&mut self, lane: &Lane, y: &dyn Fn(f64) -> f64) {
        let dots: Vec<Dot> = (lane.points.iter())
            .map(|point| Dot {
                x: self.x(point.time_s) as f32,
                y: y(point.value) as f32,
                class: self.verdict(point.place) as u8,
            })
            .collect();
        let mut paths = [String::new(), String::new(), String::new()];
        for at in keep_extremes(&dots) {
            let Some(dot) = dots.get(at) else { continue };
            let (x, y) = (px(f64::from(dot.x)), px(f64::from(dot.y)));
            if let Some(path) = paths.get_mut(usize::from(dot.class)) {
                let shape = match dot.class {
                    // A dot is a line of no length with round ends.
                    0 => "h0",
                    1 => "m-2.3 0a2.3 2.3 0 1 0 4.6 0a2.3 2.3 0 1 0 -4.6 0",
                    _ => "m-2.2 -2.2l4.4 4.4m0 -4.4l-4.4 4.4",
                };
                let _ = write!(path, "M{x} {y}{shape}");
            }
        }
        let [keep, doubt, reject] = &paths;
        if !keep.is_empty() {
            let attributes = [
                ("d", keep.as_str()),
                ("stroke", KEEP),
                ("stroke-width", "2.5"),
                ("stroke-linecap", "round"),
            ];
            self.out.empty("path", &attributes);
        }
        self.path(doubt, DOUBT, "1.1");
        self.path(reject, REJECT, "1.1");
    }

    fn clock(&mut self, y: f64) {
        let Some(start) = self.table.night.start_clock_s else {
            return;
        };
        for (time_s, words) in clock::ticks(start, self.axis, 70.0) {
            let x = self.axis.x(time_s);
            if x <= self.axis.right {
                self.text(x, y, "middle", INK3, &words);
            }
        }
    }

    fn ribbon(&mut self, top: f64) {
        let bars: Vec<Bar> = (self.times.iter().enumerate())
            .map(|(place, &time_s)| {
                let row = self
                    .set
                    .frames
                    .get(place)
                    .and_then(|&row| self.table.night.rows.get(row));
                let known = row.is_some_and(|row| row.measure.is_some() || row.error.is_some());
                Bar {
                    time_s,
                    verdict: known.then(|| self.verdict(place)),
                }
            })
            .collect();
        self.text(8.0, top + 26.0, "start", INK, "Verdicts");
        let line = top + RIBBON * 0.68;
        for piece in ribbon::pieces(&bars, self.interval, self.axis) {
            let left = f64::from(piece.left);
            let width = f64::from(piece.right) - left;
            if piece.is_widened {
                self.rect((left - 1.5, top), (width + 3.0, RIBBON), "#F5F3EE");
            }
            let base = format!("M{} {}h{}", px(left), px(line), px(width));
            self.path(&base, INK3, "1");
            let full = line - top;
            match piece.kind {
                PieceKind::Judged(Verdict::Keep) => {
                    self.rect((left, top), (width, full), "#A9C6CD");
                    self.rect((left, top), (width, 2.5), KEEP);
                }
                PieceKind::Judged(Verdict::Doubtful) => {
                    self.rect((left, line - 0.24 * full), (width, 0.24 * full), DOUBT);
                    self.rect((left, line - 0.56 * full), (width, 0.18 * full), DOUBT);
                }
                PieceKind::Judged(Verdict::Reject) => {
                    self.rect((left, line), (width, 0.28 * RIBBON), REJECT);
                }
                PieceKind::Pending => {}
            }
        }
    }

    fn legend(&mut self, y: f64) {
        let words = "Dot, bar up: keep.  Ring, broken bar: doubtful.  Cross, bar hanging: reject.  \
                     Band: predicted.  Hatched: twilight.  Dotted: Moon up.";
        self.text(GUTTER, y, "start", INK2, words);
    }
}

/// A lane's range in words.
fn in_words(lane: &Lane) -> String {
    let name = lane.kind.name();
    if let Some(why) = &lane.missing {
        return format!("{name} is not measured: {why}.");
    }
    let values = || lane.points.iter().map(|point| point.value);
    let (low, high) = (
        values().fold(f64::INFINITY, f64::min),
        values().fold(f64::NEG_INFINITY, f64::max),
    );
    format!(
        "{name}, {}: {} to {}.",
        lane.quantity,
        lane.say(low),
        lane.say(high)
    )
}

/// A length to a tenth of a px: finer would only lengthen the file.
fn px(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}
