//! Evidence to findings: frames that share a cause, told once.
//!
//! First runs of each reason by itself; then runs that lie on the same frames are one finding, led by
//! the weightiest reason; a frame that is still in two goes to the one that weighs more there; and
//! short runs of one reason (streaks here and there) are told together.

use std::collections::{BTreeMap, BTreeSet};

use super::tell;
use super::types::{Event, Evidence, Finding, Judgement, Purpose, Reason, Verdict};
use crate::night::{Happening, Night, Set};

/// Frames of one reason that lie at most this far apart are one run.
const JOIN: usize = 3;
/// Runs of at most so many frames are told together with others of their reason.
const SHORT: usize = 3;
/// Two runs that share this much of all their frames have one cause.
const SAME: f64 = 0.5;
/// A run with this much of itself inside another is part of it.
const INSIDE: f64 = 0.8;

/// What a kink in every trail costs, in doubtful frames.
const KINK_COST: f64 = 2.0;

/// Frames of one cause. Positions are places in the set's frames.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cluster {
    /// The reason that leads.
    pub(super) reason: Reason,
    /// Others that go with it, weightiest first.
    pub(super) also: Vec<Reason>,
    /// Places in the set's frames.
    pub(super) frames: BTreeSet<usize>,
}

/// The evidence of one set by place in its frames.
pub(super) struct Told<'a> {
    pub(super) night: &'a Night,
    pub(super) which: usize,
    pub(super) set: &'a Set,
    pub(super) purpose: Purpose,
    pub(super) judgements: &'a [Judgement],
    /// Advised verdicts, one for each row of the night.
    pub(super) verdicts: &'a [Verdict],
    /// What happened in this night.
    pub(super) happened: &'a [Happening],
}

impl Told<'_> {
    pub(super) fn row(&self, place: usize) -> Option<usize> {
        self.set.frames.get(place).copied()
    }

    pub(super) fn judgement(&self, place: usize) -> Option<&Judgement> {
        self.judgements.get(self.row(place)?)
    }

    /// The weightiest evidence of `reason` in a frame.
    pub(super) fn evidence(&self, place: usize, reason: Reason) -> Option<&Evidence> {
        let evidence = &self.judgement(place)?.evidence;
        evidence.iter().find(|e| e.reason == reason)
    }

    /// The happening behind a cluster: the surest of its cause on its frames.
    pub(super) fn happening(&self, cluster: &Cluster) -> Option<&Happening> {
        let same = self.happened.iter().filter(|one| {
            let here = one.set == self.which && Reason::of(one.cause) == cluster.reason;
            here && cluster
                .frames
                .iter()
                .filter_map(|&at| self.row(at))
                .any(|row| one.moment(row).is_some())
        });
        same.max_by_key(|one| (one.sure, one.moments.len()))
    }

    fn weight(&self, place: usize, reason: Reason) -> Option<Verdict> {
        self.evidence(place, reason).map(|e| e.weighs)
    }

    /// Whether a cluster is about what happened before its frames: shots missing, a new pointing.
    fn is_before_a_frame(&self, cluster: &Cluster) -> bool {
        let is_jump = cluster.reason == Reason::Knock && self.worst(cluster) == Verdict::Keep;
        cluster.reason == Reason::Gap || is_jump
    }

    fn worst(&self, cluster: &Cluster) -> Verdict {
        let weights = cluster.frames.iter();
        let weights = weights.filter_map(|&at| self.weight(at, cluster.reason));
        weights.max().unwrap_or_default()
    }
}

/// Findings of every set, sorted by what they cost, and the events for the chart in order of time.
pub(super) fn findings(
    night: &Night,
    purpose: Purpose,
    judgements: &[Judgement],
    happened: &[Happening],
) -> (Vec<Finding>, Vec<Event>) {
    let verdicts: Vec<Verdict> = judgements.iter().map(|j| j.verdict).collect();
    let mut costed: Vec<(f64, Finding)> = Vec::new();
    let mut events = Vec::new();
    for (which, set) in night.sets.iter().enumerate() {
        let told = Told {
            night,
            which,
            set,
            purpose,
            judgements,
            verdicts: &verdicts,
            happened,
        };
        for cluster in clusters(&told) {
            events.extend(cluster_events(&told, &cluster));
            costed.push((cost(&told, &cluster), tell::finding(&told, &cluster)));
        }
    }
    costed.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.rows.cmp(&b.1.rows)));
    events.sort_by_key(|event: &Event| (event.first, event.last, event.reason.place()));
    (
        costed.into_iter().map(|(_, finding)| finding).collect(),
        events,
    )
}

/// Frames lost times how badly they hurt; information comes last.
fn cost(told: &Told<'_>, cluster: &Cluster) -> f64 {
    let by_frames: f64 = cluster
        .frames
        .iter()
        .filter_map(|&at| told.judgement(at))
        .map(|judgement| match judgement.verdict {
            Verdict::Reject => 4.0,
            Verdict::Doubtful => 1.0,
            Verdict::Keep => 0.01,
        })
        .sum();
    // Frames that were never taken cost a trail or a film as much as rejected ones; a stack little.
    let each = match told.purpose {
        Purpose::Trails | Purpose::Timelapse => 4.0,
        Purpose::Still | Purpose::Tracked => 0.01,
    };
    let missing: f64 = if cluster.reason == Reason::Gap {
        let gaps = cluster.frames.iter();
        let gaps = gaps.filter_map(|&at| told.evidence(at, Reason::Gap));
        gaps.map(|e| e.measured * each).sum()
    } else {
        0.0
    };
    // A new pointing bends every trail, and no frame left out mends that.
    let bent = match told.purpose {
        Purpose::Trails if cluster.reason == Reason::Knock => KINK_COST,
        _ => 0.0,
    };
    by_frames + missing + bent
}

fn clusters(told: &Told<'_>) -> Vec<Cluster> {
    let mut runs = runs_by_reason(told);
    let weight = |run: &Cluster| (told.worst(run), run.frames.len());
    runs.sort_by(|a, b| {
        let heavier = weight(b).cmp(&weight(a));
        heavier.then(a.reason.place().cmp(&b.reason.place()))
    });
    let merged = merge(told, runs);
    let parted = part(told, merged);
    join_short(told, parted)
}

fn runs_by_reason(told: &Told<'_>) -> Vec<Cluster> {
    let mut places: BTreeMap<Reason, Vec<usize>> = BTreeMap::new();
    for place in 0..told.set.frames.len() {
        let evidence = told.judgement(place).map_or(&[][..], |j| &j.evidence);
        for e in evidence {
            let list = places.entry(e.reason).or_default();
            if list.last() != Some(&place) {
                list.push(place);
            }
        }
    }
    let runs = |(reason, places): (Reason, Vec<usize>)| {
        let runs: Vec<Cluster> = places
            .chunk_by(|a, b| b - a <= JOIN)
            .map(|run| Cluster {
                reason,
                also: Vec::new(),
                frames: run.iter().copied().collect(),
            })
            .collect();
        runs
    };
    places.into_iter().flat_map(runs).collect()
}

/// Whether a reason says what happened by itself, so that it never hides behind another.
fn stands_alone(reason: Reason) -> bool {
    matches!(
        reason,
        Reason::Gap
            | Reason::Unreadable
            | Reason::SettingsChanged
            | Reason::DarkFrame
            | Reason::DarkSubtraction
            | Reason::EarlyStop
    )
}

/// Whether a reason is a line that is no star.
pub(super) const fn is_line(reason: Reason) -> bool {
    matches!(
        reason,
        Reason::Streak | Reason::Aircraft | Reason::Satellite | Reason::Meteor | Reason::Insects
    )
}

/// Joins lighter runs to heavier ones that lie on the same frames.
fn merge(told: &Told<'_>, runs: Vec<Cluster>) -> Vec<Cluster> {
    let mut kept: Vec<Cluster> = Vec::new();
    for run in runs {
        let home = kept.iter_mut().find(|home| same_cause(told, home, &run));
        match home {
            Some(home) => {
                home.frames.extend(&run.frames);
                if !home.also.contains(&run.reason) && home.reason != run.reason {
                    home.also.push(run.reason);
                }
            }
            None => kept.push(run),
        }
    }
    kept
}

fn same_cause(told: &Told<'_>, home: &Cluster, run: &Cluster) -> bool {
    if stands_alone(home.reason) || stands_alone(run.reason) {
        return false;
    }
    // What changes no verdict is no part of a cause that does: a faint streak in a cloud is a streak.
    let is_note = |cluster: &Cluster| told.worst(cluster) == Verdict::Keep;
    let by_itself = (is_line(run.reason) || run.reason == Reason::Knock) && is_note(run);
    if by_itself || is_note(home) != is_note(run) {
        return false;
    }
    let shared: Vec<usize> = home.frames.intersection(&run.frames).copied().collect();
    let all = home.frames.union(&run.frames).count();
    let jaccard = shared.len() as f64 / all.max(1) as f64;
    let inside = shared.len() as f64 / run.frames.len().max(1) as f64;
    // A run inside a lighter stretch of another (a tripod settling within twilight) is its own story.
    let heavier_here = shared
        .iter()
        .any(|&at| told.weight(at, run.reason) > told.weight(at, home.reason));
    // A streak is something of its own unless the other signs lie on just its frames.
    let absorbs = !is_line(home.reason);
    jaccard >= SAME || (absorbs && inside >= INSIDE && !heavier_here)
}

/// Gives each frame that is in several clusters to the one that weighs most there. What happened
/// before a frame keeps it: that is about something else.
fn part(told: &Told<'_>, mut clusters: Vec<Cluster>) -> Vec<Cluster> {
    for place in 0..told.set.frames.len() {
        let weight = |cluster: &Cluster| {
            let reasons = std::iter::once(&cluster.reason).chain(&cluster.also);
            reasons.filter_map(|&r| told.weight(place, r)).max()
        };
        let holders: Vec<usize> = clusters
            .iter()
            .enumerate()
            .filter(|(_, c)| c.frames.contains(&place) && !told.is_before_a_frame(c))
            .map(|(n, _)| n)
            .collect();
        // The first of equals: clusters come weightiest first.
        let owner = holders
            .iter()
            .rev()
            .max_by_key(|&&n| clusters.get(n).map(weight))
            .copied();
        for n in holders {
            if Some(n) != owner
                && let Some(cluster) = clusters.get_mut(n)
            {
                cluster.frames.remove(&place);
            }
        }
    }
    clusters.retain(|cluster| !cluster.frames.is_empty());
    clusters
}

/// Tells short runs of one reason and weight together.
fn join_short(told: &Told<'_>, clusters: Vec<Cluster>) -> Vec<Cluster> {
    let mut out: Vec<Cluster> = Vec::new();
    let mut homes: BTreeMap<(Reason, Verdict), usize> = BTreeMap::new();
    for cluster in clusters {
        let short = cluster.frames.len() <= SHORT || cluster.reason == Reason::Gap;
        let key = (cluster.reason, told.worst(&cluster));
        let home = homes.get(&key).filter(|_| short).copied();
        if let Some(home) = home.and_then(|n| out.get_mut(n)) {
            home.frames.extend(&cluster.frames);
            let new = cluster.also.iter().filter(|r| !home.also.contains(r));
            let new: Vec<Reason> = new.copied().collect();
            home.also.extend(new);
        } else {
            if short {
                homes.insert(key, out.len());
            }
            out.push(cluster);
        }
    }
    out
}

/// One event for each run of a cluster.
fn cluster_events(told: &Told<'_>, cluster: &Cluster) -> Vec<Event> {
    let places: Vec<usize> = cluster.frames.iter().copied().collect();
    places
        .chunk_by(|a, b| b - a <= JOIN)
        .filter_map(|run| {
            let weights = run.iter().filter_map(|&at| told.judgement(at));
            // A gap or a note does not wear the verdict of something else in the same frame.
            let verdict = if told.worst(cluster) == Verdict::Keep {
                Verdict::Keep
            } else {
                weights.map(|j| j.verdict).max().unwrap_or_default()
            };
            let part = Cluster {
                frames: run.iter().copied().collect(),
                ..cluster.clone()
            };
            let happening = told.happening(&part);
            Some(Event {
                reason: cluster.reason,
                first: told.row(*run.first()?)?,
                last: told.row(*run.last()?)?,
                rows: run.iter().filter_map(|&at| told.row(at)).collect(),
                label: tell::event_label(told, &part, run),
                verdict,
                strength: tell::strongest(told, &part),
                evidence: happening
                    .map_or_else(|| tell::evidence(told, &part), |one| one.evidence.clone()),
                sure: happening.map(|one| one.sure),
            })
        })
        .collect()
}
