//! Names of events over the lanes, packed in two rows without ever touching.

/// An event to name.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// Left end, px; for a single frame its place.
    pub left: f32,
    /// Right end, px; the same as `left` for a single frame.
    pub right: f32,
    /// Whether it spans several frames (a bracket) or is a single one (a tick).
    pub is_span: bool,
    /// Width of its name with the clock time, px.
    pub long: f32,
    /// Width of its name alone, px.
    pub short: f32,
}

/// How much of its name an event got.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// Name and clock time.
    Long,
    /// The name.
    Short,
    /// Nothing; the tip has it.
    Nothing,
}

/// Where an event's name went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Row, 0 the upper one.
    pub row: usize,
    /// How much is said.
    pub said: Said,
    /// Left end of the text, px.
    pub text_left: f32,
}

/// Between two names, or a name and a tick, px.
const APART: f32 = 6.0;
/// Between a tick and its own name, px.
const BESIDE: f32 = 4.0;
/// The narrowest bracket, px.
const LEAST_BRACKET: f32 = 4.0;

/// How often names are asked to be brief for the sake of one that found no room.
const ROUNDS: usize = 4;
/// How many events on either side of one without room are asked.
const NEIGHBOURS: usize = 2;

/// Places the names of `events`, which come leftmost first, between `left` and `right`.
///
/// A span's name starts at its bracket, or lies over it. A single frame's name stands right of its
/// tick, else left of it, else in the other row; if there is still no room the clock time goes,
/// first its own, then its neighbours', and at last the name.
#[must_use]
pub fn pack(events: &[Wanted], left: f32, right: f32) -> Vec<Placed> {
    let silent = |placed: &[Placed]| -> Vec<usize> {
        let all = placed.iter().enumerate();
        all.filter(|(_, place)| place.said == Said::Nothing)
            .map(|(at, _)| at)
            .collect()
    };
    let mut brief = vec![false; events.len()];
    let mut best = pack_once(events, &brief, left, right);
    for _ in 0..ROUNDS {
        let without = silent(&best);
        if without.is_empty() {
            break;
        }
        for at in without {
            let end = (at + NEIGHBOURS + 1).min(brief.len());
            let near = brief.get_mut(at.saturating_sub(NEIGHBOURS)..end);
            near.into_iter().flatten().for_each(|flag| *flag = true);
        }
        let placed = pack_once(events, &brief, left, right);
        if silent(&placed).len() >= silent(&best).len() {
            break;
        }
        best = placed;
    }
    best
}

/// The same, from left to right and never going back; `brief` names go without their clock time.
fn pack_once(events: &[Wanted], brief: &[bool], left: f32, right: f32) -> Vec<Placed> {
    let mut rows = [Row::default(), Row::default()];
    // Ticks stand first: a name must not run over the tick of an event further right.
    for event in events.iter().filter(|event| !event.is_span) {
        for row in &mut rows {
            row.ticks.push(event.left);
        }
    }
    let mut placed = Vec::with_capacity(events.len());
    for (event, &brief) in events.iter().zip(brief) {
        let place = place(event, brief, &rows, left, right);
        let row = &mut rows[place.row];
        let (from, to) = occupied(event, place);
        row.taken.push((from, to));
        placed.push(place);
    }
    placed
}

#[derive(Debug, Default)]
struct Row {
    taken: Vec<(f32, f32)>,
    ticks: Vec<f32>,
}

impl Row {
    /// Whether `from` to `to` is free, but for the event's own tick.
    fn is_free(&self, from: f32, to: f32, own: Option<f32>) -> bool {
        let apart = |a: f32, b: f32| to + APART <= a || b + APART <= from;
        self.taken.iter().all(|&(a, b)| apart(a, b))
            && (self.ticks.iter())
                .filter(|tick| own != Some(**tick))
                .all(|&tick| apart(tick, tick))
    }
}

fn occupied(event: &Wanted, place: Placed) -> (f32, f32) {
    let width = match place.said {
        Said::Long => event.long,
        Said::Short => event.short,
        Said::Nothing => 0.0,
    };
    let text = (place.text_left, place.text_left + width);
    let bracket = (event.left, event.right.max(event.left + LEAST_BRACKET));
    match (place.said, event.is_span) {
        (Said::Nothing, true) => bracket,
        (Said::Nothing, false) => (event.left, event.left),
        (_, true) => (bracket.0.min(text.0), bracket.1.max(text.1)),
        (_, false) => text,
    }
}

fn place(event: &Wanted, brief: bool, rows: &[Row; 2], left: f32, right: f32) -> Placed {
    let tried: &[Said] = if brief {
        &[Said::Short]
    } else {
        &[Said::Long, Said::Short]
    };
    for &said in tried {
        let width = if said == Said::Long {
            event.long
        } else {
            event.short
        };
        for (index, row) in rows.iter().enumerate() {
            for text_left in starts(event, width, left, right) {
                let place = Placed {
                    row: index,
                    said,
                    text_left,
                };
                let (from, to) = occupied(event, place);
                let fits = text_left >= left && text_left + width <= right;
                let own = (!event.is_span).then_some(event.left);
                if fits && row.is_free(from, to, own) {
                    return place;
                }
            }
        }
    }
    // Nothing said: the bracket or tick still stands where it is freest.
    let own = (!event.is_span).then_some(event.left);
    let row = usize::from(!rows[0].is_free(event.left, event.right, own));
    Placed {
        row,
        said: Said::Nothing,
        text_left: event.left,
    }
}

/// Where a name may start, the best first.
fn starts(event: &Wanted, width: f32, left: f32, right: f32) -> Vec<f32> {
    if event.is_span {
        // At the end of the night a name starts early enough to end in the picture.
        let inside = |start: f32| start.clamp(left, (right - width).max(left));
        let over = 0.5 * (event.left + event.right - width);
        vec![
            inside(event.left),
            inside(over),
            inside(event.right - width),
        ]
    } else {
        vec![event.left + BESIDE, event.left - BESIDE - width]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(left: f32, right: f32, long: f32) -> Wanted {
        Wanted {
            left,
            right,
            is_span: true,
            long,
            short: long - 40.0,
        }
    }

    fn single(at: f32, long: f32) -> Wanted {
        Wanted {
            left: at,
            right: at,
            is_span: false,
            long,
            short: long - 40.0,
        }
    }

    #[test]
    fn the_second_span_goes_below_the_first() {
        let placed = pack(&[span(0.0, 8.0, 110.0), span(9.0, 95.0, 90.0)], 0.0, 800.0);
        assert_eq!((placed[0].row, placed[1].row), (0, 1));
        assert_eq!(placed[1].said, Said::Long);
    }

    #[test]
    fn a_name_goes_left_of_its_tick_at_the_right_edge() {
        let placed = pack(&[single(790.0, 90.0)], 0.0, 800.0);
        assert!(placed[0].text_left + 90.0 <= 790.0);
    }

    #[test]
    fn without_room_the_time_goes_then_the_name() {
        let crowd: Vec<Wanted> = (0..40).map(|i| single(i as f32 * 20.0, 100.0)).collect();
        let placed = pack(&crowd, 0.0, 800.0);
        assert!(placed.iter().any(|p| p.said == Said::Nothing));
        let pair = [single(100.0, 90.0), single(160.0, 90.0)];
        let placed = pack(&pair, 60.0, 210.0);
        assert!(placed.iter().all(|p| p.said != Said::Long), "{placed:?}");
    }

    /// A short bracket between another one and a tick: its name lies over it, under the first's.
    #[test]
    fn a_bracket_before_a_tick_is_named() {
        let events = [
            span(0.0, 18.0, 115.0),
            span(19.0, 45.0, 110.0),
            single(86.0, 80.0),
        ];
        let placed = pack(&events, 0.0, 800.0);
        assert!(placed.iter().all(|p| p.said != Said::Nothing), "{placed:?}");
    }

    #[test]
    fn neighbours_drop_their_time_for_one_without_room() {
        // Two long names fill both rows; without their times the third fits.
        let events = [
            span(0.0, 10.0, 130.0),
            span(0.0, 10.0, 130.0),
            span(96.0, 130.0, 100.0),
        ];
        let placed = pack(&events, 0.0, 160.0);
        assert!(placed.iter().all(|p| p.said != Said::Nothing), "{placed:?}");
    }

    #[test]
    fn names_never_touch() {
        let mut events: Vec<Wanted> = (0..25)
            .map(|i| {
                let at = (i * 37 % 100) as f32 * 8.0;
                if i % 3 == 0 {
                    span(at, at + 30.0, 95.0)
                } else {
                    single(at, 80.0 + i as f32)
                }
            })
            .collect();
        events.sort_by(|a, b| a.left.total_cmp(&b.left));
        let placed = pack(&events, 0.0, 800.0);
        for (i, a) in placed.iter().enumerate() {
            for (j, b) in placed.iter().enumerate().skip(i + 1) {
                if a.row != b.row || a.said == Said::Nothing || b.said == Said::Nothing {
                    continue;
                }
                let (from, to) = occupied(&events[i], *a);
                let (other_from, other_to) = occupied(&events[j], *b);
                assert!(to < other_from || other_to < from, "{i} {j}");
            }
        }
    }
}
