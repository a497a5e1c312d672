//! Frames for the eye: reduction, stretch, crops, turning for display, encoding.
//!
//! In: a frame's colours in linear light, sensor orientation. Out: smaller colours, 8-bit pictures
//! and files. The stretch depends only on the sky's level and noise it is given, so frames of one
//! night compare. Nothing here measures, and no toolkit is known here.

pub mod encode;
pub mod film;
pub mod icon;
pub mod orient;
pub mod reduce;
pub mod stretch;
pub mod view;

pub use encode::{EncodeError, PictureFormat, encode_picture, write_png8};
pub use film::FilmFrame;
pub use orient::Turn;
pub use reduce::{reduce_by, reduce_to};
pub use stretch::{SkyStats, Stretch};
pub use view::{Rgba, View, render};
