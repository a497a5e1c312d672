//! The whole pipeline, with readers that are slow, fail or panic in place of the disk.

mod results;
mod trails;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, bounded};

use super::source::Source;
use super::{Derived, Effect, Engine, NightId, OpenRequest, Report, Wake};
use crate::base::Estimate;
use crate::base::atomic::{Existing, write};
use crate::frame::{Colour, Facts, FrameError, Light, OpenOptions};
use crate::measure::{FrameMeasure, PairFault, PairMeasure, PairOf, Scratch};
use crate::store::Places;
use crate::verdict::{Purpose, Verdict};

/// Counts what is alive and what was done.
#[derive(Default)]
struct Counts {
    alive: AtomicUsize,
    most_alive: AtomicUsize,
    decoded: AtomicUsize,
}

/// Decodes nothing, slowly: files named "panic" panic, files named "damaged" are.
struct Fake {
    counts: Arc<Counts>,
    takes: Duration,
}

struct FakeFrame {
    counts: Arc<Counts>,
    number: u32,
}

impl Drop for FakeFrame {
    fn drop(&mut self) {
        self.counts.alive.fetch_sub(1, Ordering::SeqCst);
    }
}

fn number_of(path: &Path) -> u32 {
    let name = path.file_stem().unwrap().to_string_lossy();
    let digits: String = name.chars().filter(char::is_ascii_digit).collect();
    digits.parse().unwrap()
}

fn facts_of(number: u32) -> Facts {
    Facts {
        iso: Some(1600),
        // Each frame with settings of its own, and so in no pair, but for those from 1000 on.
        exposure_s: Some(1.02_f64.powi(number.min(1000) as i32)),
        width_px: 6,
        height_px: 4,
        ..Facts::default()
    }
}

impl Source for Fake {
    type Decoded = FakeFrame;

    fn facts(&self, path: &Path, _: &OpenOptions) -> Result<Facts, FrameError> {
        Ok(facts_of(number_of(path)))
    }

    fn decode(&self, path: &Path, _: &OpenOptions) -> Result<FakeFrame, FrameError> {
        let alive = self.counts.alive.fetch_add(1, Ordering::SeqCst) + 1;
        let frame = FakeFrame {
            counts: Arc::clone(&self.counts),
            number: number_of(path),
        };
        self.counts.most_alive.fetch_max(alive, Ordering::SeqCst);
        self.counts.decoded.fetch_add(1, Ordering::SeqCst);
        let name = path.file_name().unwrap().to_string_lossy();
        assert!(!name.contains("panic"), "lost my way in the Huffman tree");
        if name.contains("damaged") {
            return Err(FrameError::damaged(path, "the file ends early"));
        }
        std::thread::sleep(self.takes);
        Ok(frame)
    }

    fn measure(&self, decoded: FakeFrame, _: &mut Scratch) -> (Facts, FrameMeasure) {
        let measure = FrameMeasure {
            star_count: 100 + decoded.number,
            ..FrameMeasure::empty(6, 4, Light::Linear)
        };
        (facts_of(decoded.number), measure)
    }

    fn pair(&self, a: FakeFrame, b: FakeFrame, _: PairOf, _: &mut Scratch) -> PairMeasure {
        assert_eq!(a.number + 1, b.number);
        let nothing = Estimate {
            value: 0.0,
            error: 0.0,
        };
        PairMeasure {
            dn_full_scale: None,
            levels: Vec::new(),
            level: 0.0,
            temporal: nothing,
            fixed: nothing,
            rows: None,
            columns: None,
            fault: Some(PairFault::TooFew),
        }
    }

    fn colour(&self, path: &Path, _: &OpenOptions) -> Result<Colour, FrameError> {
        let name = path.file_name().unwrap().to_string_lossy();
        assert!(!name.contains("panic"), "no colours");
        std::thread::sleep(self.takes);
        Ok(Colour {
            width: 6,
            height: 4,
            rgb: vec![[1, 2, 3]; 24],
        })
    }
}

/// An engine on a night of its own, in folders of its own.
struct Bench {
    root: tempfile::TempDir,
    counts: Arc<Counts>,
    engine: Option<Engine>,
    woken: Receiver<()>,
    late: Vec<Report>,
}

impl Bench {
    fn new(files: impl IntoIterator<Item = String>) -> Self {
        let root = tempfile::tempdir().unwrap();
        let folder = root.path().join("Ridge");
        std::fs::create_dir(&folder).unwrap();
        for name in files {
            write(&folder.join(&name), Existing::Keep, |out| {
                out.write_all(name.as_bytes())
            })
            .unwrap();
        }
        Self {
            root,
            counts: Arc::default(),
            engine: None,
            woken: bounded(1).1,
            late: Vec::new(),
        }
    }

    fn of(frames: usize) -> Self {
        Self::new((0..frames).map(|n| format!("night_{n:04}.jpg")))
    }

    fn folder(&self) -> PathBuf {
        self.root.path().join("Ridge")
    }

    fn start(&mut self, workers: usize, takes: Duration) {
        self.engine = None;
        self.late.clear();
        self.counts = Arc::default();
        let (ring, woken) = bounded(1);
        let wake: Wake = Arc::new(move || {
            let _ = ring.try_send(());
        });
        self.woken = woken;
        let source = Fake {
            counts: Arc::clone(&self.counts),
            takes,
        };
        let places = Places::under(&self.root.path().join("kept"));
        self.engine = Some(Engine::start(workers, wake, Some(places), source));
    }

    fn open(&self) {
        self.run(Effect::Open(Box::new(OpenRequest {
            id: NightId(1),
            paths: vec![self.folder()],
            ..OpenRequest::default()
        })));
    }

    fn run(&self, effect: Effect) {
        self.engine.as_ref().unwrap().run(effect);
    }

    /// Takes reports until `last` says one is the last, that one included; what came after it
    /// waits for the next call.
    fn until(&mut self, last: impl Fn(&Report) -> bool) -> Vec<Report> {
        let deadline = Instant::now() + Duration::from_mins(1);
        let mut taken = Vec::new();
        loop {
            let mut fresh = std::mem::take(&mut self.late);
            fresh.extend(self.engine.as_ref().unwrap().reports());
            if let Some(place) = fresh.iter().position(&last) {
                self.late = fresh.split_off(place + 1);
                taken.extend(fresh);
                return taken;
            }
            taken.extend(fresh);
            assert!(
                self.woken.recv_deadline(deadline).is_ok(),
                "it never came: {taken:?}"
            );
        }
    }

    fn until_finished(&mut self) -> Vec<Report> {
        self.until(|report| matches!(report, Report::Finished { .. }))
    }

    fn decoded(&self) -> usize {
        self.counts.decoded.load(Ordering::SeqCst)
    }
}

fn last_derived(reports: &[Report]) -> &Derived {
    let mut all = reports.iter().rev();
    all.find_map(|report| match report {
        Report::Derived { derived, .. } => Some(derived),
        _ => None,
    })
    .unwrap()
}

/// Stars or error of each frame, by shot: what the engine is to bring about.
fn outcome(reports: &[Report]) -> BTreeMap<usize, Result<u32, String>> {
    let night = &last_derived(reports).night;
    let rows = night.rows.iter().map(|row| {
        let stars = row.measure.as_ref().map(|measure| measure.star_count);
        let outcome = stars.ok_or_else(|| row.error.clone().unwrap_or_default());
        (row.shot, outcome)
    });
    rows.collect()
}

#[test]
fn a_night_is_opened_measured_and_finished() {
    let mut bench = Bench::of(12);
    bench.start(2, Duration::ZERO);
    bench.open();
    let reports = bench.until_finished();
    let opened = reports.iter().find_map(|report| match report {
        Report::Opened { title, paths, .. } => Some((title.as_str(), paths.clone())),
        _ => None,
    });
    assert_eq!(opened, Some(("Ridge", vec![bench.folder()])));
    let done = reports.iter().rev().find_map(|report| match report {
        Report::Progress { progress, .. } => Some((progress.done, progress.total)),
        _ => None,
    });
    assert_eq!(done, Some((12, 12)));
    let want: BTreeMap<_, _> = (0..12).map(|n| (n, Ok(100 + n as u32))).collect();
    assert_eq!(outcome(&reports), want);
}

#[test]
fn one_or_many_workers_end_the_same() {
    let names = |n: usize| match n % 10 {
        3 => format!("damaged_{n:04}.jpg"),
        7 => format!("panic_{n:04}.jpg"),
        _ => format!("night_{n:04}.jpg"),
    };
    let night = |workers: usize| {
        let mut bench = Bench::new((0..60).map(names));
        bench.start(workers, Duration::from_micros(200));
        bench.open();
        let reports = bench.until_finished();
        let root = bench.root.path().display().to_string();
        format!("{:?}", last_derived(&reports)).replace(&root, "")
    };
    let one = night(1);
    for workers in [2, 4] {
        assert_eq!(night(workers), one);
    }
}

#[test]
fn a_panic_becomes_that_frames_error() {
    let mut bench =
        Bench::new(["a1.jpg", "panic2.jpg", "b3.jpg", "damaged4.jpg"].map(str::to_owned));
    bench.start(2, Duration::ZERO);
    bench.open();
    let reports = bench.until_finished();
    let errors: Vec<String> = (outcome(&reports).into_values())
        .filter_map(Result::err)
        .collect();
    assert_eq!(errors.len(), 2, "{errors:?}");
    let gave_up = errors.iter().find(|e| e.contains("panic2")).unwrap();
    assert!(
        gave_up.contains("the decoder gave up: lost my way in the Huffman tree"),
        "{gave_up}"
    );
    assert!(errors.iter().any(|e| e.contains("the file ends early")));
}

#[test]
fn memory_does_not_grow_with_the_night() {
    let mut bench = Bench::of(200);
    bench.start(3, Duration::from_micros(300));
    bench.open();
    bench.until_finished();
    assert_eq!(bench.decoded(), 200);
    assert!(bench.counts.most_alive.load(Ordering::SeqCst) <= 3);
    assert_eq!(bench.counts.alive.load(Ordering::SeqCst), 0);
}

#[test]
fn pairs_are_measured_once_and_kept() {
    let mut bench = Bench::new((1000..1020).map(|n| format!("night_{n:04}.jpg")));
    bench.start(2, Duration::from_micros(300));
    bench.open();
    let reports = bench.until_finished();
    let groups = &last_derived(&reports).night.groups;
    let transfer = groups[0].transfer.as_ref().unwrap();
    assert_eq!(transfer.gain_dn_per_e, None);
    assert_eq!(transfer.remarks, ["Too little of the frame is free sky."]);
    // Five pairs, two frames in memory for each worker.
    assert_eq!(bench.decoded(), 20 + 10);
    assert!(bench.counts.most_alive.load(Ordering::SeqCst) <= 4);
    assert_eq!(bench.counts.alive.load(Ordering::SeqCst), 0);

    bench.start(2, Duration::from_micros(300));
    bench.open();
    let again = bench.until_finished();
    assert_eq!(bench.decoded(), 0, "frames and pairs are kept");
    assert_eq!(last_derived(&again).night.groups, *groups);
}

#[test]
fn cancel_is_heard_within_a_frame_and_resume_goes_on() {
    let mut bench = Bench::of(40);
    let takes = Duration::from_millis(30);
    bench.start(2, takes);
    bench.open();
    bench.until(|report| matches!(report, Report::Progress { progress, .. } if progress.done > 2));
    let asked = Instant::now();
    bench.run(Effect::Cancel);
    let reports = bench.until_finished();
    let heard = asked.elapsed();
    assert!(heard < Duration::from_millis(500), "{heard:?}");
    assert!(matches!(
        reports.last(),
        Some(Report::Finished {
            cancelled: true,
            ..
        })
    ));
    let decoded = bench.decoded();
    assert!(decoded < 40, "{decoded}");
    std::thread::sleep(takes * 4);
    assert!(bench.decoded() <= decoded + 2, "no new frame was begun");

    bench.run(Effect::Resume { failed_too: false });
    let reports = bench.until_finished();
    assert!(outcome(&reports).values().all(Result::is_ok));
    assert_eq!(outcome(&reports).len(), 40);
}

#[test]
fn dropping_the_engine_does_not_wait_for_the_night() {
    let mut bench = Bench::of(100);
    bench.start(2, Duration::from_millis(50));
    bench.open();
    bench.until(|report| matches!(report, Report::Opened { .. }));
    let asked = Instant::now();
    bench.engine = None;
    let took = asked.elapsed();
    assert!(took < Duration::from_secs(1), "{took:?}");
}

#[test]
fn what_was_measured_is_not_measured_again_unless_asked() {
    let mut bench = Bench::of(10);
    bench.start(2, Duration::ZERO);
    bench.open();
    let first = outcome(&bench.until_finished());
    assert_eq!(bench.decoded(), 10);

    bench.start(2, Duration::ZERO);
    bench.open();
    assert_eq!(outcome(&bench.until_finished()), first);
    assert_eq!(bench.decoded(), 0, "all of it was kept");

    bench.run(Effect::Open(Box::new(OpenRequest {
        id: NightId(2),
        paths: vec![bench.folder()],
        fresh: true,
        first: Some(4),
        ..OpenRequest::default()
    })));
    bench.until_finished();
    assert_eq!(bench.decoded(), 4, "asked to, the first four");
}

#[test]
fn decisions_follow_a_file_that_was_renamed() {
    let mut bench = Bench::of(5);
    bench.start(1, Duration::ZERO);
    bench.open();
    bench.until_finished();
    let decided = [(1, Verdict::Reject), (3, Verdict::Keep)].into();
    bench.run(Effect::KeepDecisions(decided));
    bench.run(Effect::ListRecents);
    bench.until(|report| matches!(report, Report::Recents(_)));

    let folder = bench.folder();
    std::fs::rename(folder.join("night_0001.jpg"), folder.join("zz_0009.jpg")).unwrap();
    bench.start(1, Duration::ZERO);
    bench.open();
    let reports = bench.until(|report| matches!(report, Report::Opened { .. }));
    let Some(Report::Opened { decisions, .. }) = reports.last() else {
        panic!("{reports:?}")
    };
    // The renamed file is now the last; what was the fourth is the third.
    assert_eq!(
        *decisions,
        [(2, Verdict::Keep), (4, Verdict::Reject)].into()
    );
}

#[test]
fn the_night_is_remembered_with_its_purpose() {
    let mut bench = Bench::of(4);
    bench.start(2, Duration::ZERO);
    bench.open();
    bench.until_finished();
    bench.run(Effect::Derive {
        purpose: Purpose::Timelapse,
        thresholds: Box::default(),
        advice: crate::advice::AdviceOptions::default(),
    });
    bench.run(Effect::KeepPreference {
        name: "theme",
        value: "dark".to_owned(),
    });
    bench.run(Effect::ListRecents);
    let reports = bench.until(|report| matches!(report, Report::Recents(_)));
    let Some(Report::Recents(recents)) = reports.last() else {
        panic!("{reports:?}")
    };
    assert_eq!(recents.len(), 1);
    assert_eq!(recents[0].title, "Ridge");
    assert_eq!(recents[0].paths, [bench.folder()]);
    assert_eq!(recents[0].purpose, Purpose::Timelapse);
    assert_eq!(recents[0].ribbon.len(), 4);

    bench.start(2, Duration::ZERO);
    let reports = bench.until(|report| matches!(report, Report::Preferences(_)));
    let Some(Report::Preferences(kept)) = reports.last() else {
        panic!("{reports:?}")
    };
    assert_eq!(*kept, [("theme".to_owned(), "dark".to_owned())]);
}

#[test]
fn the_place_is_kept_for_other_nights() {
    let site = crate::sky::Site::new(47.25, 12.5).ok();
    let mut bench = Bench::of(2);
    bench.start(1, Duration::ZERO);
    bench.open();
    bench.until_finished();
    bench.run(Effect::KeepSite(site));
    let place = |report: &Report| match report {
        Report::Derived { derived, .. } => derived.night.place,
        _ => None,
    };
    let reports = bench.until(|report| place(report).is_some());
    let told = reports.last().and_then(place).map(|place| place.site);
    assert_eq!(told, site, "the open night follows at once");

    bench.start(1, Duration::ZERO);
    bench.open();
    let reports = bench.until(|report| matches!(report, Report::Opened { .. }));
    let Some(Report::Opened { usual_site, .. }) = reports.last() else {
        panic!("{reports:?}")
    };
    assert_eq!(*usual_site, site);
}

#[test]
fn pictures_come_or_say_why_not() {
    let mut bench = Bench::new(["a1.jpg", "panic2.jpg"].map(str::to_owned));
    bench.start(1, Duration::ZERO);
    bench.open();
    bench.until_finished();
    let mut ask = |shot: usize| {
        bench.run(Effect::LoadPicture { shot });
        let reports = bench.until(|report| matches!(report, Report::Picture { .. }));
        match reports.into_iter().next_back() {
            Some(Report::Picture { picture, .. }) => picture,
            other => panic!("{other:?}"),
        }
    };
    let picture = ask(0).unwrap();
    assert_eq!((picture.shot, picture.colour.width), (0, 6));
    assert!(ask(1).unwrap_err().contains("no colours"));
    assert!(ask(7).unwrap_err().contains("no such frame"));
}

#[test]
fn nothing_to_open_is_said_in_a_sentence() {
    let mut bench = Bench::of(0);
    bench.start(1, Duration::ZERO);
    let trouble = |report: &Report| {
        matches!(
            report,
            Report::Trouble {
                fatal_to_open: true,
                ..
            }
        )
    };
    bench.open();
    let reports = bench.until(trouble);
    let text = format!("{:?}", reports.last());
    assert!(text.contains("Ridge is empty"), "{text}");

    bench.run(Effect::Open(Box::new(OpenRequest {
        id: NightId(2),
        paths: vec![bench.folder().join("nowhere")],
        ..OpenRequest::default()
    })));
    let text = format!("{:?}", bench.until(trouble).last());
    assert!(text.contains("There is nothing at"), "{text}");
}
