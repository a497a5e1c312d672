//! What the used frames make together.
//!
//! In: frames' colours in linear light, one after the other. Out: one picture, star trails when
//! each px keeps the brightest it saw. Memory does not grow with the number of frames. Which
//! frames are used was decided in `verdict` and by the person; files are opened by the caller.

pub mod blocks;
pub mod composite;
pub mod folded;
pub mod grid;
pub mod ground;
pub mod motion;
pub mod pass;
pub mod piece;
pub mod recipe;
pub mod repair;

pub use blocks::{Blocks, Sides};
pub use composite::{Blend, Composite, SizeDiffers};
pub use folded::Folded;
pub use grid::Grid;
pub use ground::{Edge, Ground};
pub use motion::SkyMotion;
pub use pass::{Pass, Step, Stopped, shots_of};
pub use piece::Piece;
pub use recipe::{Choices, Exposure, Recipe, Repair, Repairs, Thin};
pub use repair::{Excess, Outline};

#[cfg(test)]
mod tests;
