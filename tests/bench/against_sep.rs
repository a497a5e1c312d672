//! Measures one file again and again, whenever a line comes in: the half of `against_sep.py` that
//! runs our own measuring. It answers each line with the count of stars once it is done.
#![expect(clippy::unwrap_used, reason = "a bench that cannot go on should stop")]
#![expect(clippy::print_stdout, reason = "the numbers are what this is for")]

use std::io::BufRead;
use std::path::Path;

use nightloupe::frame::{self, OpenOptions};
use nightloupe::measure::{Scratch, measure};

fn main() {
    // cargo adds `--bench` to the arguments.
    let Some(path) = std::env::args().skip(1).find(|arg| !arg.starts_with("--")) else {
        println!("Which file? See tests/bench/against_sep.py.");
        return;
    };
    let samples = frame::open(Path::new(&path), &OpenOptions::default())
        .unwrap()
        .samples;
    let mut scratch = Scratch::default();
    let mut copy = samples.green.data().to_vec();
    for line in std::io::stdin().lock().lines() {
        let stars = if line.unwrap() == "copy" {
            // What memory alone would take.
            copy.copy_from_slice(samples.green.data());
            0
        } else {
            measure(&samples, &mut scratch).star_count
        };
        println!("{stars}");
    }
}
