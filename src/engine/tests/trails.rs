//! The trails picture: what is in it, where it goes, and that nothing is left when it is stopped.

use image::{ImageBuffer, Rgb};

use super::*;
use crate::engine::ExportWhat;

const SIZE: (u32, u32) = (48, 32);

/// Frame `n`: a sky of 6000 with a bright px at (n, n), linear.
fn frame(n: u32) -> ImageBuffer<Rgb<u16>, Vec<u16>> {
    ImageBuffer::from_fn(SIZE.0, SIZE.1, |x, y| {
        let star = u16::from((x, y) == (n, n)) * 1000 * (n as u16 + 10);
        Rgb([6000 + star, 6000, 6000 + star / 2])
    })
}

/// IEC 61966-2-1, for levels above its straight part.
fn to_srgb(linear: u16) -> i32 {
    let linear = f64::from(linear) / 65_535.0;
    ((1.055 * linear.powf(1.0 / 2.4) - 0.055) * 65_535.0).round() as i32
}

/// Starts an engine on real files and waits until the night is measured.
fn measured(bench: &mut Bench) {
    let (ring, woken) = bounded(1);
    let wake: Wake = Arc::new(move || {
        let _ = ring.try_send(());
    });
    bench.woken = woken;
    let places = Places::under(&bench.root.path().join("kept"));
    bench.engine = Some(Engine::with_places(1, wake, places));
    bench.run(Effect::Open(Box::new(OpenRequest {
        id: NightId(1),
        paths: vec![bench.folder()],
        linear: Some(true),
        ..OpenRequest::default()
    })));
    bench.until_finished();
}

fn export(bench: &Bench, to: &Path, existing: Existing) {
    bench.run(Effect::Export {
        what: ExportWhat::TrailsPicture { set: 0 },
        to: to.to_owned(),
        existing,
    });
}

fn is_ended(report: &Report) -> bool {
    matches!(report, Report::Building { progress: None, .. })
}

fn troubles(reports: &[Report]) -> String {
    let texts = reports.iter().filter_map(|report| match report {
        Report::Trouble { text, .. } => Some(text.as_str()),
        _ => None,
    });
    texts.collect::<Vec<_>>().join("\n")
}

#[test]
fn the_brightest_of_the_used_frames_is_saved() {
    let mut bench = Bench::of(0);
    for (n, ending) in [(0, "png"), (1, "tif"), (2, "png"), (3, "png")] {
        let file = bench.folder().join(format!("n{n}.{ending}"));
        frame(n).save(file).unwrap();
    }
    measured(&mut bench);
    // Frames without a starry sky are judged poor; here the person knows better.
    let decided = [
        Verdict::Keep,
        Verdict::Keep,
        Verdict::Reject,
        Verdict::Doubtful,
    ];
    bench.run(Effect::KeepDecisions(
        decided.into_iter().enumerate().collect(),
    ));

    for ending in ["png", "tiff"] {
        let to = bench.root.path().join(format!("trails.{ending}"));
        export(&bench, &to, Existing::Keep);
        let reports = bench.until(is_ended);
        assert!(
            reports
                .iter()
                .any(|report| matches!(report, Report::Saved { .. })),
            "{reports:?}"
        );
        let made = image::open(&to).unwrap();
        let made = made.as_rgb16().unwrap();
        assert_eq!(made.dimensions(), SIZE);
        for (x, y, px) in made.enumerate_pixels() {
            let star = if x == y && [0, 1, 3].contains(&x) {
                1000 * (x as u16 + 10)
            } else {
                0
            };
            let wanted = [6000 + star, 6000, 6000 + star / 2].map(to_srgb);
            for (found, wanted) in px.0.iter().zip(wanted) {
                assert!((i32::from(*found) - wanted).abs() <= 1, "{x} {y} {px:?}");
            }
        }
    }
}

#[test]
fn no_frame_and_no_file_nobody_was_asked_about_is_replaced() {
    let mut bench = Bench::of(0);
    for n in 0..3 {
        frame(n)
            .save(bench.folder().join(format!("n{n}.png")))
            .unwrap();
    }
    measured(&mut bench);
    bench.run(Effect::KeepDecisions(
        (0..3).map(|n| (n, Verdict::Keep)).collect(),
    ));
    let of_night = bench.folder().join("n1.png");
    let other = bench.root.path().join("other.png");
    let letter = bench.root.path().join("letter.doc");
    write(&other, Existing::Keep, |out| out.write_all(b"mine")).unwrap();
    let before = std::fs::read(&of_night).unwrap();
    for (to, existing, words) in [
        (&of_night, Existing::Replace, "is a frame of this night"),
        (&other, Existing::Keep, "is there already"),
        (&letter, Existing::Keep, "end its name in .png"),
    ] {
        export(&bench, to, existing);
        let reports = bench.until(|report| matches!(report, Report::Trouble { .. }));
        assert!(troubles(&reports).contains(words), "{reports:?}");
        if to == &other {
            bench.until(is_ended);
        }
    }
    assert_eq!(std::fs::read(&of_night).unwrap(), before);
    assert_eq!(std::fs::read(&other).unwrap(), b"mine");
    assert!(!letter.exists());

    export(&bench, &other, Existing::Replace);
    let reports = bench.until(is_ended);
    assert!(troubles(&reports).is_empty(), "{reports:?}");
    assert!(image::open(&other).is_ok());
}

#[test]
fn it_tells_how_far_it_is_and_cancel_leaves_no_file() {
    let mut bench = Bench::of(60);
    bench.start(2, Duration::from_millis(20));
    bench.open();
    bench.until_finished();
    bench.run(Effect::KeepDecisions(
        (0..60).map(|n| (n, Verdict::Keep)).collect(),
    ));
    let folder = bench.root.path().join("out");
    std::fs::create_dir(&folder).unwrap();
    export(&bench, &folder.join("trails.png"), Existing::Keep);
    let reports = bench.until(
        |report| matches!(report, Report::Building { progress: Some(p), .. } if p.done >= 3),
    );
    let Some(Report::Building {
        progress: Some(progress),
        ..
    }) = reports.last()
    else {
        panic!("{reports:?}")
    };
    assert_eq!(progress.total, 60);
    assert_eq!(progress.job, "Building the trails picture");
    let asked = Instant::now();
    bench.run(Effect::Cancel);
    let reports = bench.until(is_ended);
    assert!(asked.elapsed() < Duration::from_millis(500));
    assert!(troubles(&reports).contains("stopped"), "{reports:?}");
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 0);
}
