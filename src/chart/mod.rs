//! The night as lanes on one clock axis: scales, ticks, points, label packing.
//!
//! In: the night and its verdicts. Out: numbers to draw; no toolkit, so that the window and a
//! report draw the same. Colours and fonts belong to whoever draws.

pub mod axis;
pub mod bands;
pub mod clock;
pub mod labels;
pub mod lanes;
pub mod reduce;
pub mod ribbon;

pub use axis::{Span, Ticks, TimeAxis};
pub use bands::{Band, BandKind};
pub use labels::{Placed, Wanted};
pub use lanes::{Lane, LaneKind, Point, electrons_a_percent};
pub use ribbon::{Bar, Piece, PieceKind};
