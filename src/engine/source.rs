//! Where frames come from, so that tests can put slow, failing and panicking readers in place of
//! the disk.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use crate::frame::{self, Colour, Facts, Frame, FrameError, OpenOptions};
use crate::measure::{self, FrameMeasure, PairMeasure, PairOf, Scratch};

pub(super) trait Source: Send + Sync + 'static {
    /// A frame in memory: what decoding gives and measuring takes.
    type Decoded;

    fn facts(&self, path: &Path, options: &OpenOptions) -> Result<Facts, FrameError>;

    fn decode(&self, path: &Path, options: &OpenOptions) -> Result<Self::Decoded, FrameError>;

    fn measure(&self, decoded: Self::Decoded, scratch: &mut Scratch) -> (Facts, FrameMeasure);

    fn pair(
        &self,
        first: Self::Decoded,
        second: Self::Decoded,
        of: PairOf,
        scratch: &mut Scratch,
    ) -> PairMeasure;

    fn colour(&self, path: &Path, options: &OpenOptions) -> Result<Colour, FrameError>;
}

/// Files on the disk, read by the frame room.
pub(super) struct Files;

impl Source for Files {
    type Decoded = Frame;

    fn facts(&self, path: &Path, options: &OpenOptions) -> Result<Facts, FrameError> {
        frame::read_facts(path, options)
    }

    fn decode(&self, path: &Path, options: &OpenOptions) -> Result<Frame, FrameError> {
        frame::open(path, options)
    }

    fn measure(&self, decoded: Frame, scratch: &mut Scratch) -> (Facts, FrameMeasure) {
        let measured = measure::measure(&decoded.samples, scratch);
        (decoded.facts, measured)
    }

    fn pair(&self, first: Frame, second: Frame, of: PairOf, scratch: &mut Scratch) -> PairMeasure {
        measure::pair(&first.samples, &second.samples, of, scratch)
    }

    fn colour(&self, path: &Path, options: &OpenOptions) -> Result<Colour, FrameError> {
        frame::open_colour(path, options)
    }
}

/// Runs `work`; a panic in it becomes words. Foreign decoders do panic on damaged files, and one
/// such file must not end a night.
pub(super) fn guarded<T>(path: &Path, work: impl FnOnce() -> T) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|panic| {
        format!(
            "the decoder gave up: {}: {}",
            words_of(panic.as_ref()),
            path.display()
        )
    })
}

fn words_of(panic: &(dyn Any + Send)) -> &str {
    panic
        .downcast_ref::<&str>()
        .copied()
        .or_else(|| panic.downcast_ref::<String>().map(String::as_str))
        .unwrap_or("it did not say why")
}
