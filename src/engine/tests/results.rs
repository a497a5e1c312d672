//! Results for the screen: built in the background, told as they grow, stopped, and only what changed
//! built again.

use super::*;
use crate::engine::{ExportWhat, FilmFiles, FilmFrameOf, ResultRequest};
use crate::result::{Choices, Exposure, Piece, Recipe};

/// A request over `count` frames of the fake camera, of which the last `dropped` are not used.
fn request(count: usize, dropped: usize) -> ResultRequest {
    let exposures: Vec<Exposure> = (0..count)
        .map(|shot| Exposure {
            shot,
            start_s: 32.0 * shot as f64,
            end_s: 32.0 * shot as f64 + 30.0,
            is_used: shot + dropped < count,
            streaks: Vec::new(),
            excess: None,
        })
        .collect();
    ResultRequest {
        recipe: Recipe::new((6, 4), &exposures, Choices::default(), None, None),
        film: (0..count - dropped)
            .map(|shot| FilmFrameOf { shot, gain: 1.0 })
            .collect(),
        ..ResultRequest::default()
    }
}

fn opened(count: usize, takes: Duration) -> Bench {
    let mut bench = Bench::of(count);
    bench.start(2, takes);
    bench.open();
    bench.until_finished();
    bench
}

fn is_ended(report: &Report) -> bool {
    matches!(report, Report::Building { progress: None, .. })
}

fn is_done(report: &Report) -> bool {
    matches!(report, Report::Result { is_done: true, .. })
}

fn ask(bench: &Bench, request: ResultRequest) {
    bench.run(Effect::BuildResult(Arc::new(request)));
}

fn frames_of(reports: &[Report]) -> Option<(u32, u32)> {
    reports.iter().rev().find_map(|report| match report {
        Report::Result { sides, .. } => Some((sides.frames_of_all, sides.frames_of_used)),
        _ => None,
    })
}

#[test]
fn both_pictures_and_the_film_come_and_a_change_costs_its_block() {
    let mut bench = opened(40, Duration::from_millis(1));
    ask(&bench, request(40, 0));
    let reports = bench.until(is_ended);
    assert_eq!(frames_of(&reports), Some((40, 40)));
    let film = reports
        .iter()
        .filter(|report| matches!(report, Report::Film(film) if film.picture.is_ok()))
        .count();
    assert_eq!(film, 40);
    let Some(Report::Result { sides, .. }) = reports.iter().rev().find(|report| is_done(report))
    else {
        panic!("{reports:?}")
    };
    assert_eq!(sides.used.as_ref().unwrap().rgb[0], [1, 2, 3]);
    // The last frame is dropped: its block alone is built again.
    ask(&bench, request(40, 1));
    let reports = bench.until(is_ended);
    assert_eq!(frames_of(&reports), Some((40, 39)));
    let total = reports.iter().find_map(|report| match report {
        Report::Building {
            progress: Some(progress),
            ..
        } => Some(progress.total),
        _ => None,
    });
    assert_eq!(total, Some(7));
}

#[test]
fn cancel_stops_within_a_frame_and_what_is_built_stays() {
    let mut bench = opened(60, Duration::from_millis(15));
    ask(&bench, request(60, 0));
    bench.until(
        |report| matches!(report, Report::Building { progress: Some(p), .. } if p.done >= 20),
    );
    let asked = Instant::now();
    bench.run(Effect::Cancel);
    let reports = bench.until(is_ended);
    assert!(asked.elapsed() < Duration::from_millis(500));
    assert!(
        reports
            .iter()
            .any(|report| matches!(report, Report::ResultStopped { .. })),
        "{reports:?}"
    );
    ask(&bench, request(60, 0));
    let reports = bench.until(is_ended);
    assert_eq!(frames_of(&reports), Some((60, 60)));
    let first = reports.iter().find_map(|report| match report {
        Report::Building {
            progress: Some(progress),
            ..
        } => Some(progress.total),
        _ => None,
    });
    assert!(first < Some(60), "whole blocks stayed: {first:?}");
}

#[test]
fn a_part_at_full_size_comes_after_the_whole() {
    let mut bench = opened(10, Duration::from_millis(1));
    let piece = Piece::about((6, 4), (4.0, 2.0), 3, 2);
    ask(
        &bench,
        ResultRequest {
            detail: Some(piece),
            ..request(10, 0)
        },
    );
    let reports = bench.until(is_ended);
    let close = reports.iter().find_map(|report| match report {
        Report::ResultDetail { sides, .. } => Some(Arc::clone(sides)),
        _ => None,
    });
    let close = close.unwrap();
    assert_eq!((close.all.width, close.all.height), (3, 2));
    assert_eq!(close.used.as_ref().unwrap().rgb, [[1, 2, 3]; 6]);
}

#[test]
fn picture_and_film_are_saved_as_shown_and_not_before() {
    let mut bench = opened(12, Duration::from_millis(1));
    let picture = bench.root.path().join("out.jpg");
    let export = |bench: &Bench, what, to: &Path| {
        bench.run(Effect::Export {
            what,
            to: to.to_owned(),
            existing: Existing::Keep,
        });
    };
    export(&bench, ExportWhat::Result, &picture);
    let reports = bench.until(|report| matches!(report, Report::Trouble { .. }));
    assert!(format!("{reports:?}").contains("Look at the result first"));
    ask(
        &bench,
        ResultRequest {
            film_files: FilmFiles {
                full_size: true,
                png: true,
            },
            ..request(12, 2)
        },
    );
    bench.until(is_ended);
    export(&bench, ExportWhat::Result, &picture);
    bench.until(|report| matches!(report, Report::Saved { .. }));
    assert_eq!(image::image_dimensions(&picture).unwrap(), (6, 4));
    bench.until(is_ended);
    let film = bench.root.path().join("film");
    export(&bench, ExportWhat::Film, &film);
    bench.until(|report| matches!(report, Report::Saved { .. }));
    assert_eq!(std::fs::read_dir(&film).unwrap().count(), 10);
    bench.until(is_ended);
    export(&bench, ExportWhat::Film, &film);
    let reports = bench.until(|report| matches!(report, Report::Trouble { .. }));
    assert!(format!("{reports:?}").contains("is there already"));
}
