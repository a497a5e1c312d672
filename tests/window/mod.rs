//! The window, driven by its accessibility tree.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss,
    reason = "pixels of a window and numbers of frames are small and not negative"
)]

mod compare;
mod drawn;
mod driven;
mod handing_over;
mod invented;
mod pointer;
mod raster;
mod result;
mod watched;

use std::path::PathBuf;
use std::sync::Arc;

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use nightloupe::app::{Action, Model};
use nightloupe::engine::{Engine, Places, Progress, Report};
use nightloupe::ui::App;
use nightloupe::verdict::{Purpose, Verdict};

use raster::Raster;

/// A window of a size in points, on an engine of its own.
pub(crate) struct Window {
    pub(crate) harness: Harness<'static, App>,
    raster: Raster,
    /// The engine keeps its things here; gone after the test.
    _kept: tempfile::TempDir,
}

impl Window {
    pub(crate) fn new(width: f32, height: f32) -> Self {
        let raster = Raster::default();
        let kept = tempfile::tempdir().unwrap();
        let places = Places {
            data: kept.path().join("data"),
            cache: kept.path().join("cache"),
        };
        let app = App::new(Engine::with_places(1, Arc::new(|| ()), places), None);
        let harness = Harness::builder()
            .with_size(egui::vec2(width, height))
            .renderer(raster.clone())
            .build_ui_state(
                |ui, app: &mut App| {
                    app.take_in(ui.ctx());
                    // A test's own ui has a margin that a window's has not.
                    let whole = egui::UiBuilder::new().max_rect(ui.ctx().content_rect());
                    let mut whole = ui.new_child(whole);
                    whole.set_clip_rect(ui.ctx().content_rect());
                    app.draw(&mut whole);
                },
                app,
            );
        Self {
            harness,
            raster,
            _kept: kept,
        }
    }

    /// Opens the invented night with so many frames measured.
    pub(crate) fn with_invented(width: f32, height: f32, measured: usize) -> Self {
        Self::with_frames(width, height, invented::FRAMES, measured)
    }

    /// The same with another number of frames.
    pub(crate) fn with_frames(width: f32, height: f32, frames: usize, measured: usize) -> Self {
        let mut window = Self::new(width, height);
        let app = window.harness.state_mut();
        app.apply(Action::Open(vec![PathBuf::from("/nights/otter-weir")]));
        let id = app.model().opening.as_ref().unwrap().id;
        let report = |report| Action::Report(Box::new(report));
        app.apply(report(Report::Opened {
            id,
            title: "Otter Weir".to_owned(),
            paths: vec![PathBuf::from("/nights/otter-weir")],
            decisions: std::collections::BTreeMap::new(),
            supplied: Vec::new(),
            usual_site: None,
        }));
        app.apply(report(Report::Derived {
            id,
            derived: invented::derived(frames, measured, Purpose::Trails),
        }));
        if measured < frames {
            app.apply(report(Report::Progress {
                id,
                progress: Progress {
                    job: "Measuring".to_owned(),
                    done: measured,
                    total: frames,
                    kept: 0,
                    per_second: Some(2.5),
                    left_s: Some(58.0),
                },
            }));
        } else {
            app.apply(report(Report::Finished {
                id,
                took_s: 144.0,
                cancelled: false,
            }));
        }
        window.forget_that_there_are_no_files();
        window.harness.run();
        window
    }

    /// The engine looked for the night's folder and says that there is none.
    fn forget_that_there_are_no_files(&mut self) {
        for _ in 0..200 {
            self.harness.step();
            if !self.harness.state().model().notices.is_empty() {
                self.harness.state_mut().apply(Action::DismissNotice(0));
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(10));
        }
    }

    pub(crate) fn model(&self) -> &Model {
        self.harness.state().model()
    }

    /// The chosen frame's place and row.
    pub(crate) fn chosen(&self) -> (usize, usize) {
        let open = self.model().night.as_ref().unwrap();
        (open.chosen, open.chosen_row().unwrap().0)
    }

    /// The verdict in force of a row.
    pub(crate) fn verdict(&self, row: usize) -> Verdict {
        self.model().night.as_ref().unwrap().verdict_of(row)
    }

    /// Presses and lets go of a key.
    pub(crate) fn press(&mut self, key: egui::Key) {
        self.harness.key_press(key);
        self.harness.run();
    }

    /// Clicks what has this name.
    pub(crate) fn click(&mut self, name: &str) {
        self.harness.get_by_label(name).click();
        self.harness.run();
    }

    /// Lets the engine work until the state is as wanted; half a minute at most.
    pub(crate) fn wait(&mut self, until: impl Fn(&Model) -> bool) {
        for _ in 0..3000 {
            self.harness.step();
            if until(self.model()) {
                self.harness.run();
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(10));
        }
        panic!("never came to be; told so far: {:?}", self.model().notices);
    }

    /// What is seen, one pixel a point.
    pub(crate) fn picture(&self) -> egui::ColorImage {
        self.raster.paint(&self.harness.ctx, self.harness.output())
    }

    /// Writes what is seen beside the build, for whoever wants to look.
    pub(crate) fn save(&self, name: &str) {
        let picture = self.picture();
        let [width, height] = picture.size;
        let bytes: Vec<u8> = (picture.pixels.iter())
            .flat_map(egui::Color32::to_array)
            .collect();
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("window");
        std::fs::create_dir_all(&folder).unwrap();
        let image = image::RgbaImage::from_raw(width as u32, height as u32, bytes).unwrap();
        image.save(folder.join(format!("{name}.png"))).unwrap();
    }
}
