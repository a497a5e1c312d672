//! What leaves the program: the measurement table as CSV and JSON, lists of frames.
//!
//! In: the night and its verdicts. Out: text, written atomically by whoever asked.
