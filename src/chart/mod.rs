//! The night as lanes on one clock axis: scales, ticks, points, label packing.
//!
//! In: the night and its verdicts. Out: numbers to draw; no toolkit, so that the window and a
//! report draw the same.
