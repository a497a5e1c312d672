//! Holds the layout of the code: which room may use which, which crate belongs where, how long a
//! file may be.

mod layers;
