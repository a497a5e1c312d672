//! Damaged files and other bad input.
