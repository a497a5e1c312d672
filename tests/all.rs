//! All tests that run the program from outside its modules, in one target: each target links the
//! window again, and that is most of a build.
#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot go on should stop with a message"
)]
#![expect(
    clippy::disallowed_methods,
    reason = "tests make and damage files of their own"
)]
#![expect(
    clippy::cast_precision_loss,
    reason = "counts of pixels and frames are far inside the exact range of f64"
)]

mod cli;
mod hostile;
mod reference;
mod structure;
mod truth;
mod window;
