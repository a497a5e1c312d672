//! nightloupe measures every frame of a night-sky sequence, says which frames to leave out and
//! why, and what to set next time.
//!
//! The rooms below stand in the order in which data flows; each uses only rooms above it, as the
//! table in DEVELOPERS.md says and `tests/structure` holds.
#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixel counts, indices and f32 samples are far inside the exact range of f64 and usize"
)]
#![expect(
    clippy::similar_names,
    clippy::many_single_char_names,
    reason = "formulas keep the letters of the published equations they cite"
)]
#![expect(
    clippy::module_name_repetitions,
    reason = "a type keeps its full name where it is used away from its room"
)]
#![cfg_attr(
    test,
    expect(
        clippy::float_cmp,
        clippy::cast_possible_wrap,
        reason = "tests compare exact values and count small numbers of pixels"
    )
)]

pub mod base;
pub mod sky;
pub mod frame;
pub mod measure;
pub mod night;
pub mod verdict;
pub mod advice;
pub mod picture;
pub mod result;
pub mod chart;
pub mod export;
pub mod store;
pub mod sim;
pub mod engine;
pub mod app;
pub mod cli;
pub mod ui;
