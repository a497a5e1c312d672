//! The reasons of a recommendation: each a number of this camera, tonight.

use super::curves::is_alike;
use super::recommend::{count, worth};
use super::types::{Column, Comparison, Reason};
use crate::verdict::Purpose;
use crate::verdict::words::{figure, number, with_unit};

/// A trail longer than this many widths has stopped growing brighter.
const CROSSED: f64 = 1.0;

/// All that apply, the weightiest for the purpose first.
pub(super) fn all(
    comparison: &Comparison,
    best: usize,
    stack: Option<usize>,
    purpose: Purpose,
) -> Vec<Reason> {
    let Some(of) = comparison.columns.get(best) else {
        return Vec::new();
    };
    let share = share_of_best(comparison, of, purpose);
    let shorter = shorter_frame(comparison, best);
    let stacked = stack.and_then(|at| stacked(comparison, best, at));
    let dwell = dwell(comparison, of);
    let knee = next_iso(comparison);
    let clipped = clipped(comparison, best);
    let sky = sky_level(of);
    let read = read_noise(of);
    let ordered = match purpose {
        Purpose::Still => [share, shorter, stacked, clipped, knee, read, dwell, sky],
        Purpose::Trails => [dwell, knee, clipped, sky, share, read, shorter, stacked],
        Purpose::Timelapse => [share, sky, knee, clipped, shorter, read, dwell, stacked],
        Purpose::Tracked => [share, read, knee, clipped, sky, shorter, dwell, stacked],
    };
    ordered.into_iter().flatten().collect()
}

fn percent(share: f64) -> String {
    let whole = number(100.0 * share, 0);
    if share >= 0.005 {
        format!("+{whole}")
    } else {
        whole
    }
}

fn reason(figure: String, unit: &'static str, words: String) -> Reason {
    Reason {
        figure,
        unit,
        words,
    }
}

/// Signal-to-noise against the best of all settings: per frame, or for a stack at equal total time.
fn share_of_best(comparison: &Comparison, of: &Column, purpose: Purpose) -> Option<Reason> {
    let (value, what): (fn(&Column) -> Option<f64>, _) = if purpose == Purpose::Tracked {
        let stacked = |c: &Column| c.equal_time.map(|equal| equal.snr.value);
        (stacked, "for equal total time")
    } else {
        (|c: &Column| c.star_snr.map(|snr| snr.value), "per frame")
    };
    let values = comparison.columns.iter().filter_map(value);
    let top = values.reduce(f64::max)?;
    let own = value(of)?;
    let settings = comparison.columns.len();
    Some(reason(
        number(100.0 * own / top, 0),
        "%",
        format!("of the best signal-to-noise {what} of these {settings} settings"),
    ))
}

/// The same ISO at the next shorter exposure.
fn shorter_column(comparison: &Comparison, best: usize) -> Option<(usize, &Column)> {
    let of = comparison.columns.get(best)?;
    let longest = of.exposure_s?;
    (comparison.columns.iter().enumerate())
        .filter(|(_, c)| c.iso == of.iso && c.exposure_s.is_some_and(|s| s < 0.9 * longest))
        .max_by(|a, b| {
            a.1.exposure_s
                .unwrap_or(0.0)
                .total_cmp(&b.1.exposure_s.unwrap_or(0.0))
        })
}

fn shorter_frame(comparison: &Comparison, best: usize) -> Option<Reason> {
    let of = comparison.columns.get(best)?;
    let (_, short) = shorter_column(comparison, best)?;
    let change = short.star_snr?.value / of.star_snr?.value - 1.0;
    let trails = short.trail_length_px.zip(of.trail_length_px);
    let trails = trails.map_or_else(String::new, |(short, long)| {
        let (short, long) = (with_unit(short.value, "px"), figure(long.value));
        format!(", with trails of {short}, not {long}")
    });
    let each = with_unit(short.exposure_s?, "s");
    Some(reason(
        percent(change),
        "%",
        format!("signal-to-noise for one {each} frame{trails}"),
    ))
}

fn stacked(comparison: &Comparison, best: usize, at: usize) -> Option<Reason> {
    let of = comparison.columns.get(best)?;
    let short = comparison.columns.get(at)?;
    let frames = of.exposure_s? / short.exposure_s?;
    let change = short.star_snr?.value * frames.sqrt() / of.star_snr?.value - 1.0;
    let why = of
        .dwell_s()
        .filter(|dwell| *dwell < of.exposure_s.unwrap_or(0.0));
    let why = why.map_or_else(String::new, |dwell| {
        format!(
            ": a star’s light stops growing in one place once it has crossed its own width ({}), \
             the sky’s goes on",
            with_unit(dwell.round().max(1.0), "s")
        )
    });
    Some(reason(
        percent(change),
        "%",
        format!(
            "for {} {} frames stacked against one {}{why}",
            count(frames),
            with_unit(short.exposure_s?, "s"),
            with_unit(of.exposure_s?, "s")
        ),
    ))
}

/// For trails: the exposure past which only the sky brightens.
fn dwell(comparison: &Comparison, of: &Column) -> Option<Reason> {
    let dwell = of.dwell_s()?;
    let exposure = of.exposure_s?;
    if exposure <= CROSSED * dwell {
        return None;
    }
    let best = comparison.best?;
    let sky = shorter_column(comparison, best).and_then(|(_, short)| {
        let (short, long) = (short.sky_level_pct?.value, of.sky_level_pct?.value);
        Some(format!(
            ", here from {} to {} %",
            figure(short),
            figure(long)
        ))
    });
    Some(reason(
        number(dwell.max(1.0), 0),
        "s",
        format!(
            "is what a star takes to cross its own width: past it trails grow longer, not brighter, \
             and only the sky brightens{}",
            sky.unwrap_or_default()
        ),
    ))
}

/// All that the next higher ISO adds.
fn next_iso(comparison: &Comparison) -> Option<Reason> {
    let knee = comparison.knee?;
    let (iso, gain) = knee.next;
    let words = if gain < 0.005 {
        format!(
            "more signal-to-noise at ISO {iso}: nothing is gained past ISO {}",
            knee.iso
        )
    } else {
        format!(
            "is all that ISO {iso} adds to signal-to-noise: the knee is at ISO {}",
            knee.iso
        )
    };
    Some(reason(percent(gain.max(0.0)), "%", words))
}

/// Star cores at full scale, here and at the next higher ISO.
fn clipped(comparison: &Comparison, best: usize) -> Option<Reason> {
    let of = comparison.columns.get(best)?;
    let here = of.clipped_stars?.value;
    let higher = (comparison.columns.iter())
        .filter(|c| is_alike(c, of) && c.iso > of.iso)
        .min_by_key(|c| c.iso);
    let more = higher.and_then(|column| {
        let gain = worth(column)? / worth(of)? - 1.0;
        let clips = column.clipped_stars?.value;
        if clips.round() <= here.round() {
            return None;
        }
        let clips = number(clips, 0);
        let for_what = if gain >= 0.005 {
            format!(" for {} % more signal-to-noise", number(100.0 * gain, 0))
        } else {
            " for nothing".to_owned()
        };
        Some(format!(
            "; ISO {} would clip {clips}{for_what}",
            column.iso?
        ))
    });
    let word = if (here - 1.0).abs() < 0.5 {
        "star has its core"
    } else {
        "stars have their cores"
    };
    Some(reason(
        number(here, 0),
        "",
        format!("{word} at full scale{}", more.unwrap_or_default()),
    ))
}

fn sky_level(of: &Column) -> Option<Reason> {
    let sky = of.sky_level_pct?.value;
    let words = if sky > 20.0 {
        "of full scale is sky: little room is left for stars"
    } else {
        "of full scale is sky: stars keep room above it"
    };
    Some(reason(figure(sky), "%", words.to_owned()))
}

/// The sky-limited exposure.
fn read_noise(of: &Column) -> Option<Reason> {
    let limit = of.sky_limited_s?.value;
    let adds = of.read_noise_adds()?;
    let read = of.read_noise_e?.value;
    Some(reason(
        figure(if limit >= 10.0 { limit.round() } else { limit }),
        "s",
        format!(
            "and read noise ({} electrons) adds under 5 % to the sky’s; at this exposure it adds {} %",
            figure(read),
            number(100.0 * adds, usize::from(adds < 0.1))
        ),
    ))
}
