//! What a frame costs, stage by stage, and a night of 60 frames: `cargo bench --bench stages`.
//!
//! Compare rows of one run with each other; docs/performance.md says what they were.
#![expect(clippy::unwrap_used, reason = "a bench that cannot go on should stop")]

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use nightloupe::engine::{Effect, Engine, NightId, OpenRequest, Report};
use nightloupe::frame::{self, OpenOptions};
use nightloupe::measure::{Scratch, measure};
use nightloupe::sim::{self, Format, SimOptions};
use tempfile::TempDir;

/// A folder with `frames` simulated frames.
fn night(format: Format, (width, height): (usize, usize), frames: usize) -> TempDir {
    let folder = TempDir::new().unwrap();
    let options = SimOptions {
        frames,
        width,
        height,
        format,
        ..SimOptions::default()
    };
    sim::simulate(folder.path(), &options, &|_, _| {}, &AtomicBool::new(false)).unwrap();
    folder
}

fn frames_in(folder: &TempDir) -> Vec<PathBuf> {
    let listing = frame::list(&[folder.path().to_owned()]).unwrap();
    listing.shots.into_iter().map(|shot| shot.path).collect()
}

fn one_frame(c: &mut Criterion) {
    let options = OpenOptions::default();
    for (size, (width, height)) in [("6 MP", (3000, 2000)), ("24 MP", (6000, 4000))] {
        let mut group = c.benchmark_group(size);
        group
            .sample_size(10)
            .measurement_time(Duration::from_secs(8));
        group.throughput(Throughput::Elements((width * height) as u64));
        for (name, format) in [
            ("JPEG", Format::Jpeg),
            ("DNG", Format::Dng),
            ("TIFF", Format::Tiff),
        ] {
            let folder = night(format, (width, height), 1);
            let path = frames_in(&folder).remove(0);
            group.bench_function(BenchmarkId::new("facts", name), |b| {
                b.iter(|| frame::read_facts(&path, &options).unwrap());
            });
            group.bench_function(BenchmarkId::new("decode", name), |b| {
                b.iter(|| frame::open(&path, &options).unwrap());
            });
            let opened = frame::open(&path, &options).unwrap();
            let mut scratch = Scratch::default();
            group.bench_function(BenchmarkId::new("measure", name), |b| {
                b.iter(|| measure(&opened.samples, &mut scratch));
            });
            // What memory alone would take: one copy of the same plane.
            group.bench_function(BenchmarkId::new("copy of the plane", name), |b| {
                let mut to = vec![0.0_f32; opened.samples.green.data().len()];
                b.iter(|| to.copy_from_slice(opened.samples.green.data()));
            });
        }
        group.finish();
    }
}

fn whole_night(c: &mut Criterion) {
    let folder = night(Format::Jpeg, (3000, 2000), 60);
    let mut group = c.benchmark_group("60 frames of 6 MP, JPEG");
    group
        .sample_size(10)
        .measurement_time(Duration::from_mins(1));
    for workers in [1, 2] {
        group.bench_function(BenchmarkId::new("engine, workers", workers), |b| {
            b.iter(|| run_through(&folder, workers));
        });
    }
    let paths = frames_in(&folder);
    let options = OpenOptions::default();
    group.bench_function("decode and measure only, one thread", |b| {
        let mut scratch = Scratch::default();
        b.iter(|| {
            for path in &paths {
                let opened = frame::open(path, &options).unwrap();
                std::hint::black_box(measure(&opened.samples, &mut scratch));
            }
        });
    });
    group.finish();
}

fn run_through(folder: &TempDir, workers: usize) {
    let (bell, rings) = crossbeam_channel::bounded::<()>(1);
    let engine = Engine::new(workers, Arc::new(move || _ = bell.try_send(())));
    engine.run(Effect::Open(Box::new(OpenRequest {
        id: NightId(1),
        paths: vec![folder.path().to_owned()],
        fresh: true,
        ..OpenRequest::default()
    })));
    loop {
        for report in engine.reports() {
            if matches!(report, Report::Finished { .. }) {
                return;
            }
        }
        _ = rings.recv_timeout(Duration::from_millis(200));
    }
}

criterion_group!(benches, one_frame, whole_night);
criterion_main!(benches);
