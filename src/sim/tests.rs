//! Whole runs, looked at with readers of others.

use std::sync::atomic::AtomicBool;

use super::*;

fn run(options: &SimOptions) -> (tempfile::TempDir, Report) {
    let folder = tempfile::tempdir().unwrap();
    let report = simulate(folder.path(), options, &|_, _| (), &AtomicBool::new(false)).unwrap();
    (folder, report)
}

fn small(format: Format) -> SimOptions {
    SimOptions {
        frames: 2,
        width: 320,
        height: 215,
        format,
        ..SimOptions::default()
    }
}

#[test]
fn rawler_opens_the_dng() {
    let (folder, report) = run(&small(Format::Dng));
    let path = folder.path().join(&report.truth.frames[0].file);
    let raw = rawler::decode_file(&path).unwrap();
    assert_eq!((raw.width, raw.height, raw.cpp), (320, 215, 1));
    assert_eq!(raw.camera.make, "Tarnlight");
    assert!((raw.blacklevel.levels[0].as_f32() - 512.0).abs() < f32::EPSILON);
    assert_eq!(raw.whitelevel.0, [16_383]);
    assert_eq!(raw.camera.cfa.to_string(), "RGGB");
    let rawler::RawImageData::Integer(data) = raw.data else {
        panic!("integers were written");
    };
    // Green pixels of the upper half: sky.
    let mut greens: Vec<f64> = (0..320 * 100)
        .filter(|i| (i % 320 + i / 320) % 2 == 1)
        .map(|i| (f64::from(data[i]) - 512.0) / 158.71)
        .collect();
    let level = crate::base::robust::median(&mut greens).unwrap();
    let truth = report.truth.frames[0].sky_level_pct;
    assert!((level / truth - 1.0).abs() < 0.1, "{level} % of {truth} %");
}

#[test]
fn the_jpeg_holds_the_exif_and_the_size() {
    let (folder, report) = run(&small(Format::Jpeg));
    let path = folder.path().join(&report.truth.frames[1].file);
    assert_eq!(image::image_dimensions(&path).unwrap(), (320, 215));
    let mut file = std::io::BufReader::new(std::fs::File::open(&path).unwrap());
    let exif = ::exif::Reader::new()
        .read_from_container(&mut file)
        .unwrap();
    let model = exif
        .get_field(::exif::Tag::Model, ::exif::In::PRIMARY)
        .unwrap();
    assert_eq!(model.display_value().to_string(), "\"TL-24\"");
}

#[test]
fn the_tiff_is_linear_grey_at_the_stated_level() {
    let (folder, report) = run(&small(Format::Tiff));
    let path = folder.path().join(&report.truth.frames[0].file);
    let grey = image::open(&path).unwrap().into_luma16();
    let mut top: Vec<f64> = grey.as_raw()[..320 * 100]
        .iter()
        .map(|&v| f64::from(v))
        .collect();
    let level = crate::base::robust::median(&mut top).unwrap() / 655.35;
    let truth = report.truth.frames[0].sky_level_pct;
    assert!((level / truth - 1.0).abs() < 0.1, "{level} % of {truth} %");
}

#[test]
fn the_same_run_is_reused_and_others_are_never_overwritten() {
    let options = small(Format::Jpeg);
    let (folder, _) = run(&options);
    let never = AtomicBool::new(false);
    let again = simulate(folder.path(), &options, &|_, _| (), &never).unwrap();
    assert!(again.reused);
    let other = SimOptions { seed: 2, ..options };
    let refused = simulate(folder.path(), &other, &|_, _| (), &never).unwrap_err();
    assert!(matches!(refused, SimError::Occupied { .. }), "{refused}");
}

#[test]
fn equal_options_give_equal_files_on_any_pool() {
    let options = small(Format::Dng);
    let (a, report) = run(&options);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .unwrap();
    let (b, _) = pool.install(|| run(&options));
    for frame in &report.truth.frames {
        let read = |folder: &tempfile::TempDir| std::fs::read(folder.path().join(&frame.file));
        assert!(read(&a).unwrap() == read(&b).unwrap(), "{}", frame.file);
    }
}

#[test]
fn a_cancelled_run_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let stop = AtomicBool::new(true);
    let ended = simulate(folder.path(), &small(Format::Jpeg), &|_, _| (), &stop);
    assert!(matches!(ended, Err(SimError::Cancelled)));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn every_scene_renders() {
    for scene in SCENES {
        assert_eq!(super::scene(scene.name).map(|s| s.name), Some(scene.name));
        let options = SimOptions {
            scene: *scene,
            frames: 5,
            ..small(Format::Jpeg)
        };
        let (_folder, report) = run(&options);
        for frame in &report.truth.frames {
            assert!(
                frame.sky_level_pct > 0.5,
                "{}: {}",
                scene.name,
                frame.sky_level_pct
            );
            let dimmed = frame.transparency < 0.9;
            assert!(
                frame.stars_snr5 > 3 || dimmed,
                "{}: {} stars",
                scene.name,
                frame.stars_snr5
            );
        }
    }
}
