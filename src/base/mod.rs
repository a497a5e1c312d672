//! What every room stands on: the plane of samples, robust statistics, small linear algebra and
//! atomic writes.
//!
//! In: numbers and bytes. Out: numbers and files. Nothing here knows of cameras, stars or nights.
//!
//! Lengths are in full-resolution sensor pixels, angles in degrees where a name says `_deg` and in
//! radians inside formulas, times in seconds. A unit is in the type or at the end of the name.

pub mod atomic;
pub mod estimate;
pub mod linalg;
pub mod plane;
pub mod robust;
pub mod spin2;

pub use estimate::Estimate;
pub use plane::Plane;
pub use spin2::Spin2;
