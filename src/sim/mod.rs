//! Simulated nights with their truth.
//!
//! In: [`SimOptions`]: a [`Scene`] of the registry, a size, a seed, a format. Out: [`simulate`]
//! writes readable camera files and `truth.json`, a [`Truth`] with what is true about each.
//! [`sample_dir`] says where the window's sample night is kept.
//!
//! It has its own projection and tone curve and never uses `sky` or `measure`, so that it can
//! check them. What a frame measures to belongs to `measure`.

pub mod options;
pub mod run;
pub mod scenes;
pub mod truth;

mod camera;
mod canvas;
mod develop;
mod exif;
mod glow;
mod ground;
mod plan;
mod projection;
mod render;
mod stars;
mod streaks;

pub use options::{Format, SimError, SimOptions};
pub use run::{Report, sample_dir, simulate, stars_of};
pub use scenes::{DEFAULT_SCENE, Fault, SCENES, Scene, scene};
pub use truth::{FaultTruth, FrameTruth, SIM_VERSION, StarTruth, TRUTH_FILE, TrailTruth, Truth};

#[cfg(test)]
mod tests;
