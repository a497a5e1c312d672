//! The window, driven by its accessibility tree.

mod drawn;
mod invented;
mod raster;

use std::path::PathBuf;
use std::sync::Arc;

use egui_kittest::Harness;
use nightloupe::app::Action;
use nightloupe::engine::{Engine, Progress, Report};
use nightloupe::ui::App;
use nightloupe::verdict::Purpose;

use raster::Raster;

/// A window of a size in points, on an engine that runs nothing unless asked.
pub(crate) struct Window {
    pub(crate) harness: Harness<'static, App>,
    raster: Raster,
}

impl Window {
    pub(crate) fn new(width: f32, height: f32) -> Self {
        let raster = Raster::default();
        let app = App::new(Engine::new(1, Arc::new(|| ())), None);
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
        Self { harness, raster }
    }

    /// Opens the invented night with so many frames measured.
    pub(crate) fn with_invented(width: f32, height: f32, measured: usize) -> Self {
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
        }));
        app.apply(report(Report::Derived {
            id,
            derived: invented::derived(measured, Purpose::Trails),
        }));
        if measured < invented::FRAMES {
            app.apply(report(Report::Progress {
                id,
                progress: Progress {
                    job: "Measuring".to_owned(),
                    done: measured,
                    total: invented::FRAMES,
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

    /// What is seen, one pixel a point.
    pub(crate) fn picture(&self) -> egui::ColorImage {
        self.raster.paint(&self.harness.ctx, self.harness.output())
    }

    /// Writes what is seen beside the build, for whoever wants to look.
    pub(crate) fn save(&self, name: &str) {
        let picture = self.picture();
        let [width, height] = picture.size;
        let bytes: Vec<u8> = picture.pixels.iter().flat_map(|c| c.to_array()).collect();
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("window");
        std::fs::create_dir_all(&folder).unwrap();
        let image = image::RgbaImage::from_raw(width as u32, height as u32, bytes).unwrap();
        image.save(folder.join(format!("{name}.png"))).unwrap();
    }
}
