//! A folder that frames arrive in while the night is open.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use egui_kittest::kittest::Queryable;
use nightloupe::app::Action;
use nightloupe::sim::{Format, SimOptions, simulate};

use super::Window;

fn frames_in(folder: &Path) -> Vec<PathBuf> {
    let mut frames: Vec<PathBuf> = (fs::read_dir(folder).unwrap())
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending != "json"))
        .collect();
    frames.sort();
    frames
}

#[test]
fn frames_that_arrive_are_measured_and_a_folder_that_goes_is_said() {
    let place = tempfile::tempdir().unwrap();
    let (whole, card) = (place.path().join("whole"), place.path().join("card"));
    let options = SimOptions {
        frames: 6,
        width: 480,
        height: 320,
        format: Format::Tiff,
        ..SimOptions::default()
    };
    simulate(&whole, &options, &|_, _| (), &AtomicBool::new(false)).unwrap();
    fs::create_dir(&card).unwrap();
    let frames = frames_in(&whole);
    let copy = |frame: &PathBuf| {
        fs::copy(frame, card.join(frame.file_name().unwrap())).unwrap();
    };
    frames[..3].iter().for_each(copy);

    let mut window = Window::new(1440.0, 900.0);
    window
        .harness
        .state_mut()
        .apply(Action::Open(vec![card.clone()]));
    window.wait(|model| (model.night.as_ref()).is_some_and(|night| night.finished.is_some()));
    window.click("Watch");
    window.wait(|model| model.night.as_ref().unwrap().watch.is_on());
    window.harness.get_by_label("for new frames");
    frames[3..].iter().for_each(copy);
    window.wait(|model| {
        let night = model.night.as_ref().unwrap();
        let measured = |row: &usize| night.night().rows[*row].measure.is_some();
        night.frames().len() == 6 && night.frames().iter().all(measured)
    });
    // Five frames are there now: the field check is said.
    window.wait(|model| {
        model
            .notices
            .iter()
            .any(|n| n.text.starts_with("Field check. "))
    });

    fs::rename(&card, place.path().join("away")).unwrap();
    window.wait(|model| {
        model
            .notices
            .iter()
            .any(|n| n.text.contains("cannot be read any more"))
    });
    fs::rename(place.path().join("away"), &card).unwrap();
    window.wait(|model| {
        model
            .notices
            .iter()
            .any(|n| n.text == "The folder is back.")
    });
    window.click("Watch");
    window.wait(|model| !model.night.as_ref().unwrap().watch.is_on());
}
