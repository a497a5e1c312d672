//! The sky over the camera: lens projection, the sky's turning, expected trails.
//!
//! In: focal length, pole, exposure. Out: lengths and angles in px and degrees. Nothing here has
//! seen a frame.

pub mod limits;
pub mod projection;
pub mod turning;

pub use projection::Camera;
pub use turning::{Motion, trail_at};
