//! The sky over the camera: place, time, Sun, Moon and twilight; lens projection, the sky's turning,
//! expected trails.
//!
//! In: place and moment; focal length, pole, exposure. Out: altitudes, spans of time, lengths and
//! angles in px and degrees. Nothing here has seen a frame.

pub mod limits;
pub mod projection;
pub mod site;
pub mod turning;

mod horizon;
mod moment;
mod moon;
mod moonlight;
mod spans;
mod sun;

pub use horizon::{Standing, airmass, refraction_deg};
pub use moment::Moment;
pub use moon::{Moon, moon};
pub use moonlight::moonlight;
pub use projection::Camera;
pub use site::{Site, SiteError};
pub use spans::{Depth, Span, moon_up, noon_to_noon, sun_down};
pub use sun::sun;
pub use turning::{Motion, trail_at};
