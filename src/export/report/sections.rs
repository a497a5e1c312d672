//! The parts of a report, one after the other.

use std::fmt::Write as _;

use super::markup::Markup;
use super::{PictureWanted, Report, Sheet, chart};
use crate::chart::clock;
use crate::export::text::outcome_words;
use crate::night::Row;
use crate::verdict;
use crate::verdict::reasons::ReasonInfo;
use crate::verdict::words::{figure, frames};
use crate::verdict::{Reason, Verdict, tally};

pub(super) fn heading(page: &mut Markup, report: &Report<'_>) {
    let night = report.table.night;
    page.leaf("h1", &[], report.title);
    let taken = || night.rows.iter().filter_map(|row| row.facts.taken_at);
    let mut words = frames(night.rows.len());
    if let (Some(first), Some(last)) = (taken().min(), taken().max()) {
        let (from, to) = (first.local, last.local);
        let until = if from.date() == to.date() {
            "%H:%M"
        } else {
            "%Y-%m-%d %H:%M"
        };
        let _ = write!(
            words,
            ", {} to {}",
            from.strftime("%Y-%m-%d %H:%M"),
            to.strftime(until)
        );
    }
    let _ = write!(
        words,
        ". Judged as: {}.",
        report.table.judged.purpose.label()
    );
    page.leaf("p", &[("class", "second")], &words);
    if let Some(place) = night.place.filter(|_| report.with_place) {
        page.leaf(
            "p",
            &[("class", "second")],
            &format!("Place: {}.", place.site),
        );
    }
}

/// How many to leave out, and which.
pub(super) fn answer(page: &mut Markup, report: &Report<'_>, which: usize, several: bool) {
    let (night, judged) = (report.table.night, report.table.judged);
    let camera = night
        .sets
        .get(which)
        .map_or("", |set| set.camera.camera.as_str());
    let title = match (several, camera) {
        (false, _) => "Which frames to leave out".to_owned(),
        (true, "") => format!("Camera {}: which frames to leave out", which + 1),
        (true, camera) => format!("{camera}: which frames to leave out"),
    };
    page.leaf("h2", &[], &title);
    let counts = tally(night, which, judged, report.decisions);
    page.open("ul", &[("class", "counts")]);
    for (class, count, words) in [
        ("reject", counts.reject, "to reject"),
        ("doubtful", counts.doubtful, "doubtful but usable"),
        ("keep", counts.keep, "to keep"),
    ] {
        page.open("li", &[("class", class)]);
        page.leaf("b", &[], &count.to_string());
        page.words(words);
        page.close();
    }
    page.close();
    let answer = verdict::answer(night, which, judged, report.decisions);
    page.leaf("p", &[], &answer.sentence);
    page.leaf("p", &[("class", "second")], &answer.joins);
}

pub(super) fn charted(page: &mut Markup, report: &Report<'_>, which: usize) {
    let title = format!("{}: the night by the clock", report.title);
    if let Some(svg) = chart::svg(report.table, which, &title) {
        page.open("figure", &[]);
        page.raw(&svg);
        page.leaf(
            "figcaption",
            &[],
            "Trail length, sky, noise, stars and pointing of every frame.",
        );
        page.close();
    }
}

pub(super) fn findings(page: &mut Markup, report: &Report<'_>, which: usize) {
    let Some(set) = report.table.night.sets.get(which) else {
        return;
    };
    let own: Vec<_> = (report.table.judged.findings.iter())
        .filter(|finding| finding.rows.iter().all(|row| set.frames.contains(row)))
        .collect();
    if own.is_empty() {
        return;
    }
    page.leaf("h2", &[], "What was found");
    for finding in own {
        let (word, class) = match finding.verdict {
            Verdict::Keep => ("note", "note-word"),
            verdict => (verdict.word(), verdict.word()),
        };
        page.open("section", &[("class", "finding")]);
        page.leaf("p", &[("class", &format!("word {class}"))], word);
        page.leaf("h3", &[], &finding.title);
        page.leaf("p", &[], &finding.evidence);
        if !finding.detail.is_empty() && finding.detail != finding.evidence {
            page.leaf("p", &[("class", "small")], &finding.detail);
        }
        for offer in finding.offers.iter().filter(|offer| offer.advised) {
            let words = format!("Advised: {} ({}).", offer.label, offer.cost);
            page.leaf("p", &[("class", "small")], &words);
        }
        page.close();
    }
}

/// A table with a heading for each column; rows are a heading and cells, with a class.
struct Rows<'a> {
    caption: &'a str,
    heads: &'a [&'a str],
    lines: Vec<(&'static str, Vec<String>)>,
    /// Columns of numbers.
    numbers: &'a [usize],
}

fn table(page: &mut Markup, of: &Rows<'_>) {
    page.open("table", &[]);
    page.leaf("caption", &[], of.caption);
    page.open("thead", &[]);
    page.open("tr", &[]);
    for head in of.heads {
        page.leaf("th", &[("scope", "col")], head);
    }
    page.close();
    page.close();
    page.open("tbody", &[]);
    for (class, cells) in &of.lines {
        page.open("tr", &[("class", class)]);
        for (at, cell) in cells.iter().enumerate() {
            match at {
                0 => page.leaf("th", &[("scope", "row")], cell),
                _ if of.numbers.contains(&at) => page.leaf("td", &[("class", "number")], cell),
                _ => page.leaf("td", &[], cell),
            }
        }
        page.close();
    }
    page.close();
    page.close();
}

pub(super) fn next_time(page: &mut Markup, report: &Report<'_>, which: usize) {
    let Some(next) = report
        .next_time
        .get(which)
        .filter(|next| !next.settings.is_empty())
    else {
        return;
    };
    page.leaf("h2", &[], "Next time");
    let rows = next.settings.iter().map(|of| {
        let cells = vec![
            of.setting.to_owned(),
            of.tonight.clone(),
            of.next.clone(),
            of.why.clone(),
        ];
        (if of.changed { "changed" } else { "same" }, cells)
    });
    let rows = Rows {
        caption: "What to set, changed settings first",
        heads: &["Setting", "Tonight", "Next time", "Why"],
        lines: rows.collect(),
        numbers: &[1, 2],
    };
    table(page, &rows);
    for note in &next.notes {
        page.leaf("p", &[("class", "note")], note);
    }
}

pub(super) fn outcome(page: &mut Markup, report: &Report<'_>, which: usize) {
    page.leaf("h2", &[], "What you will get");
    page.open("ul", &[]);
    for part in outcome_words(report.table, which) {
        page.leaf("li", &[], &part);
    }
    page.close();
}

pub(super) fn settings(page: &mut Markup, report: &Report<'_>, which: usize) {
    let night = report.table.night;
    let of_set = |rows: &[usize]| {
        let first = rows.first().and_then(|&row| night.rows.get(row));
        first.is_some_and(|row| row.set == which)
    };
    let with = |value: Option<f64>, unit: &str| {
        value.map_or_else(String::new, |value| format!("{}{unit}", figure(value)))
    };
    let rows = night
        .groups
        .iter()
        .filter(|group| of_set(&group.rows))
        .map(|group| {
            let s = &group.settings;
            let camera = if s.camera.camera.is_empty() {
                "unknown"
            } else {
                &s.camera.camera
            };
            let lens = if s.lens.is_empty() {
                with(s.focal_length_mm, " mm")
            } else {
                s.lens.clone()
            };
            let f = s
                .f_number
                .map_or_else(String::new, |f| format!("f/{}", figure(f)));
            let iso = s.iso.map_or_else(String::new, |iso| iso.to_string());
            let size = format!("{} × {}", s.size_px.0, s.size_px.1);
            let count = group.rows.len().to_string();
            let cells = vec![
                camera.to_owned(),
                lens,
                with(s.exposure_s, " s"),
                f,
                iso,
                size,
                count,
            ];
            ("", cells)
        });
    page.leaf("h2", &[], "Settings");
    let rows = Rows {
        caption: "Frames of equal settings",
        heads: &[
            "Camera", "Lens", "Exposure", "Aperture", "ISO", "Pixels", "Frames",
        ],
        lines: rows.collect(),
        numbers: &[2, 3, 4, 5, 6],
    };
    table(page, &rows);
}

pub(super) fn pictures(page: &mut Markup, report: &Report<'_>) {
    let is_gift = |sheet: Sheet| matches!(sheet, Sheet::Gift(_));
    page.leaf("h2", &[], "Gifts of the night");
    if report
        .pictures
        .iter()
        .any(|(wanted, _)| is_gift(wanted.sheet))
    {
        sheet(page, report, &is_gift);
    } else {
        let none = "No meteor, aurora or lightning was named in these frames.";
        page.leaf("p", &[("class", "second")], none);
    }
    for (of, title) in [
        (Sheet::Streak, "Streaks, to look at"),
        (Sheet::View, "Frames of the night"),
    ] {
        if report.pictures.iter().any(|(wanted, _)| wanted.sheet == of) {
            page.leaf("h2", &[], title);
            sheet(page, report, &|sheet| sheet == of);
        }
    }
}

fn sheet(page: &mut Markup, report: &Report<'_>, is_wanted: &dyn Fn(Sheet) -> bool) {
    page.open("div", &[("class", "sheet")]);
    for (wanted, jpeg) in report
        .pictures
        .iter()
        .filter(|(wanted, _)| is_wanted(wanted.sheet))
    {
        let (what, caption) = said(report, wanted);
        let source = format!("data:image/jpeg;base64,{}", base64(jpeg));
        page.open("figure", &[]);
        page.empty(
            "img",
            &[("src", &source), ("alt", &format!("{what}: {caption}"))],
        );
        page.leaf("figcaption", &[], &caption);
        page.close();
    }
    page.close();
}

/// What a picture shows, and its caption: frame, time, verdict.
fn said(report: &Report<'_>, wanted: &PictureWanted) -> (&'static str, String) {
    let what = match wanted.sheet {
        Sheet::View => "The whole frame",
        Sheet::Gift(reason) => reason.info().title,
        Sheet::Streak => "A streak",
    };
    let table = report.table;
    let row = table.night.rows.get(wanted.row);
    let mut caption = match wanted.sheet {
        Sheet::Gift(reason) => format!("{}, ", reason.info().title),
        _ => String::new(),
    };
    caption += &frame_words(report, wanted.row);
    caption += &row.map_or_else(String::new, |row| format!(", {}", row.name));
    if wanted.sheet == Sheet::View {
        let verdict = table.verdicts.get(wanted.row).copied().unwrap_or_default();
        let _ = write!(caption, ", {}", verdict.word());
    }
    (what, caption)
}

/// "frame 12, 23:26:40".
fn frame_words(report: &Report<'_>, row: usize) -> String {
    let night = report.table.night;
    let place = |of: &Row| {
        night
            .sets
            .get(of.set)?
            .frames
            .iter()
            .position(|&frame| frame == row)
    };
    let Some(of) = night.rows.get(row) else {
        return String::new();
    };
    let mut words = place(of).map_or_else(String::new, |place| format!("frame {}", place + 1));
    if let (Some(start), Some(time)) = (night.start_clock_s, of.time_s) {
        let _ = write!(words, ", {}", clock::to_the_second(start, time));
    }
    words
}

/// Every frame that is left out, with why.
pub(super) fn left_out(page: &mut Markup, report: &Report<'_>) {
    let table_of = report.table;
    let rejected = table_of.night.rows.iter().enumerate().filter(|(at, row)| {
        row.is_judged() && table_of.verdicts.get(*at) == Some(&Verdict::Reject)
    });
    let rows: Vec<_> = rejected
        .map(|(at, row)| {
            let why = match (&row.error, report.decisions.contains_key(&row.shot)) {
                (Some(error), _) => error.clone(),
                (None, true) => "decided by you".to_owned(),
                (None, false) => reasons(report, at),
            };
            ("", vec![row.name.clone(), frame_words(report, at), why])
        })
        .collect();
    if !rows.is_empty() {
        page.leaf("h2", &[], "Frames left out");
        let rows = Rows {
            caption: "Rejected frames, in order of capture",
            heads: &["File", "Frame", "Why"],
            lines: rows,
            numbers: &[],
        };
        table(page, &rows);
    }
}

fn reasons(report: &Report<'_>, row: usize) -> String {
    let judgement = report.table.judged.judgements.get(row);
    let mut reasons: Vec<Reason> = Vec::new();
    for evidence in judgement.iter().flat_map(|judgement| &judgement.evidence) {
        if !reasons.contains(&evidence.reason) {
            reasons.push(evidence.reason);
        }
    }
    let words: Vec<&str> = reasons
        .into_iter()
        .map(Reason::info)
        .map(|info: &ReasonInfo| info.label)
        .collect();
    words.join(", ")
}

pub(super) fn foot(page: &mut Markup) {
    let words = format!(
        "Made by nightloupe {} from the frames themselves. Lengths are in pixels of the full frame; \
         levels in linear light, percent of full scale.",
        env!("CARGO_PKG_VERSION")
    );
    page.leaf("footer", &[], &words);
}

/// RFC 4648.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |at: usize| u32::from(chunk.get(at).copied().unwrap_or(0));
        let all = byte(0) << 16 | byte(1) << 8 | byte(2);
        for at in 0..4 {
            let letter = LETTERS.get((all >> (18 - 6 * at)) as usize & 63).copied();
            text.push(if at > chunk.len() {
                '='
            } else {
                letter.map_or('=', char::from)
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::base64;

    #[test]
    fn base64_is_that_of_the_standard() {
        // RFC 4648, section 10.
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
    }
}
