//! What the used frames make together.
//!
//! In: frames' colours in linear light, one after the other. Out: one picture, star trails when
//! each px keeps the brightest it saw. Memory does not grow with the number of frames. Which
//! frames are used was decided in `verdict` and by the person; files are opened by the caller.

pub mod build;
pub mod composite;

pub use build::{BuildError, Built, build};
pub use composite::{Blend, Composite, SizeDiffers};
