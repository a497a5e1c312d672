//! Starts nightloupe.

fn main() {}
