//! The table as JSON: the same names as the CSV, with findings, events and next time beside it.

use std::io::{self, Write};

use serde::ser::{Serialize, SerializeMap, SerializeSeq, Serializer};
use serde_json::{Value, json};

use super::camera;
use super::columns::{COLUMNS, Cell, FIELD, SKY_COLOUR, decimal};
use super::table::Table;
use crate::advice::NextTime;
use crate::night::{Heavens, Place, Surety, TimeSpan};
use crate::verdict::{Event, Finding};

/// Writes the table as one JSON object: `frames` with the names of the CSV (null where there is no
/// value), `site` and `sun_and_moon` (null when place or zone are not known), `camera` (what pairs of frames tell of it at each setting), `findings`, `events` and `next_time` (one entry a
/// set).
///
/// # Errors
/// What `out` says.
pub fn write_json(
    table: &Table<'_>,
    next_time: &[NextTime],
    out: &mut dyn Write,
) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, &Whole { table, next_time })?;
    writeln!(out)?;
    out.flush()
}

struct Whole<'a> {
    table: &'a Table<'a>,
    next_time: &'a [NextTime],
}

// By hand rather than derived: the registry of columns holds the keys and their order.
impl Serialize for Whole<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let judged = self.table.judged;
        let name = |row: usize| self.table.row(row).map(|row| row.name.as_str());
        let findings: Vec<Value> = judged.findings.iter().map(|f| finding(f, &name)).collect();
        let events: Vec<Value> = judged
            .events
            .iter()
            .map(|e| event(self.table, e, &name))
            .collect();
        let mut map = serializer.serialize_map(Some(9))?;
        map.serialize_entry("version", env!("CARGO_PKG_VERSION"))?;
        map.serialize_entry("purpose", &judged.purpose)?;
        map.serialize_entry("site", &self.table.night.place.map(site))?;
        map.serialize_entry(
            "sun_and_moon",
            &self.table.night.heavens.as_ref().map(heavens),
        )?;
        map.serialize_entry("frames", &Frames(self.table))?;
        map.serialize_entry("camera", &camera::values(self.table))?;
        map.serialize_entry("findings", &findings)?;
        map.serialize_entry("events", &events)?;
        let next: Vec<Value> = self.next_time.iter().map(next_time).collect();
        map.serialize_entry("next_time", &next)?;
        map.end()
    }
}

/// Where the night was shot and how that is known: `given`, `frames` or `usual`.
fn site(place: Place) -> Value {
    json!({
        "latitude_deg": place.site.latitude_deg,
        "longitude_deg": place.site.longitude_deg,
        "from": place.from.word(),
    })
}

/// When the Sun was down and the Moon up, in UTC, from the noon before the night to the one after.
fn heavens(heavens: &Heavens) -> Value {
    let stamp = |time_s: f64| {
        let second = (heavens.start_utc_s + time_s).round() as i64;
        jiff::Timestamp::from_second(second).map_or(Value::Null, |at| json!(at.to_string()))
    };
    let spans = |spans: &[TimeSpan]| -> Vec<Value> {
        let span = |s: &TimeSpan| json!({ "from": stamp(s.from_s), "to": stamp(s.to_s) });
        spans.iter().map(span).collect()
    };
    let [set, civil, nautical, astronomical] = &heavens.sun_down;
    json!({
        "sun_set": spans(set),
        "past_civil_twilight": spans(civil),
        "past_nautical_twilight": spans(nautical),
        "past_astronomical_twilight": spans(astronomical),
        "moon_up": spans(&heavens.moon_up),
        "moon_lit": (1000.0 * heavens.moon_lit).round() / 1000.0,
    })
}

struct Frames<'a>(&'a Table<'a>);

impl Serialize for Frames<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let rows = self.0.night.rows.len();
        let mut list = serializer.serialize_seq(Some(rows))?;
        for at in 0..rows {
            list.serialize_element(&Frame(self.0, at))?;
        }
        list.end()
    }
}

struct Frame<'a>(&'a Table<'a>, usize);

impl Serialize for Frame<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map =
            serializer.serialize_map(Some(COLUMNS.len() + SKY_COLOUR.len() + FIELD.len()))?;
        for column in COLUMNS.iter().chain(&SKY_COLOUR).chain(&FIELD) {
            map.serialize_entry(column.name, &value((column.value)(self.0, self.1)))?;
        }
        map.end()
    }
}

fn value(cell: Cell) -> Value {
    match cell {
        Cell::Empty => Value::Null,
        Cell::Text(text) => Value::String(text),
        Cell::Count(n) => json!(n),
        Cell::Flag(yes) => json!(yes),
        // Rounded as the CSV is, so that the two files say the same.
        Cell::Number(number, places) => {
            let rounded = decimal(number, places).parse().unwrap_or(number);
            json!(rounded)
        }
    }
}

fn finding<'a>(finding: &Finding, name: &dyn Fn(usize) -> Option<&'a str>) -> Value {
    let names = |rows: &[usize]| -> Vec<&str> { rows.iter().filter_map(|&r| name(r)).collect() };
    let offers: Vec<Value> = finding
        .offers
        .iter()
        .map(|offer| {
            json!({
                "label": offer.label,
                "cost": offer.cost,
                "verdict": offer.verdict,
                "files": names(&offer.rows),
                "advised": offer.advised,
            })
        })
        .collect();
    json!({
        "reason": finding.reason.code(),
        "verdict": finding.verdict,
        "files": names(&finding.rows),
        "title": finding.title,
        "evidence": finding.evidence,
        "detail": finding.detail,
        "offers": offers,
    })
}

fn event<'a>(table: &Table<'_>, event: &Event, name: &dyn Fn(usize) -> Option<&'a str>) -> Value {
    let files: Vec<&str> = event.rows.iter().filter_map(|&row| name(row)).collect();
    let strength = event.strength.as_ref().map(|e| {
        json!({
            "quantity": e.quantity,
            "unit": e.unit,
            "measured": rounded(e.measured),
            "usual": rounded(e.baseline),
        })
    });
    json!({
        "reason": event.reason.code(),
        "label": event.label,
        "start": time(table, event.first, false),
        "end": time(table, event.last, true),
        "first": name(event.first),
        "last": name(event.last),
        "files": files,
        "strength": strength,
        "evidence": event.evidence,
        "sure": event.sure.map(Surety::word),
        "verdict": event.verdict,
    })
}

fn rounded(value: f64) -> f64 {
    (1e4 * value).round() / 1e4
}

/// When a row's exposure began or, at its `end`, was over, on the camera's clock.
fn time(table: &Table<'_>, row: usize, end: bool) -> Option<String> {
    let facts = &table.row(row)?.facts;
    let mut taken = facts.taken_at?;
    if end {
        taken.add(facts.exposure_s.unwrap_or(0.0));
    }
    Some(taken.iso8601())
}

fn next_time(next: &NextTime) -> Value {
    let settings: Vec<Value> = next
        .settings
        .iter()
        .map(|s| {
            json!({
                "setting": s.setting,
                "tonight": s.tonight,
                "next": s.next,
                "changed": s.changed,
                "why": s.why,
                "detail": s.detail,
            })
        })
        .collect();
    json!({ "settings": settings, "notes": next.notes })
}
