//! Small pieces of frames, cut out or stacked, on a thread of their own: what settings are compared
//! by. The newest list of wishes wins.

use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, bounded};

use super::outbox::Outbox;
use super::source::{Source, guarded};
use super::{CropRequest, NightId, Report, threads};
use crate::frame::{Colour, OpenOptions};

/// Longest side of a crop, px.
const MOST_SIDE: usize = 1024;

/// Wishes of one night, with the file of every shot they name.
#[derive(Debug, Default)]
pub(super) struct Job {
    pub(super) id: NightId,
    pub(super) options: OpenOptions,
    pub(super) wishes: Vec<(CropRequest, Vec<PathBuf>)>,
}

/// The thread of crops. Dropping it waits for the frame it is at.
pub(super) struct Crops {
    jobs: Option<Sender<Job>>,
    waiting: Receiver<Job>,
    thread: Option<JoinHandle<()>>,
}

impl Crops {
    pub(super) fn start<S: Source>(source: &Arc<S>, outbox: &Arc<Outbox>) -> io::Result<Self> {
        let (jobs, waiting) = bounded::<Job>(1);
        let (source, outbox, incoming) = (Arc::clone(source), Arc::clone(outbox), waiting.clone());
        let thread = threads::spawn("nightloupe-crops", move || {
            for job in &incoming {
                // A newer list stands in place of what is left of this one.
                let is_wanted = || incoming.is_empty();
                do_job(job, source.as_ref(), &outbox, is_wanted);
            }
        })?;
        Ok(Self {
            jobs: Some(jobs),
            waiting,
            thread: Some(thread),
        })
    }

    /// Asks for crops in place of what was asked for before and is not cut yet.
    pub(super) fn ask(&self, job: Job) {
        while self.waiting.try_recv().is_ok() {}
        if let Some(jobs) = &self.jobs
            && jobs.try_send(job).is_err()
        {
            tracing::error!("the thread of crops is gone");
        }
    }
}

impl Drop for Crops {
    fn drop(&mut self) {
        // The list at work ends at its next frame: an empty one waits.
        self.ask(Job::default());
        self.jobs = None;
        if let Some(thread) = self.thread.take() {
            threads::join(thread);
        }
    }
}

fn do_job<S: Source>(job: Job, source: &S, outbox: &Outbox, is_wanted: impl Fn() -> bool) {
    for (request, paths) in job.wishes {
        let Some(crop) = cut(&request, &paths, &job.options, source, &is_wanted) else {
            return;
        };
        outbox.push(Report::Crop {
            id: job.id,
            request,
            crop: crop.map(Arc::new),
        });
    }
}

/// The mean of the parts; `None` when it is no longer wanted.
fn cut<S: Source>(
    request: &CropRequest,
    paths: &[PathBuf],
    options: &OpenOptions,
    source: &S,
    is_wanted: impl Fn() -> bool,
) -> Option<Result<Colour, String>> {
    let side = request.side.min(MOST_SIDE);
    let mut stack = Stack::new(side);
    for (part, path) in request.parts.iter().zip(paths) {
        if !is_wanted() {
            return None;
        }
        let read = guarded(path, || {
            source
                .colour(path, options)
                .map_err(|fault| fault.to_string())
        });
        match read.and_then(|read| read) {
            Ok(colour) => stack.add(&colour, part.left, part.top),
            Err(why) => return Some(Err(why)),
        }
    }
    Some(Ok(stack.mean()))
}

/// A sum of pieces of frames.
struct Stack {
    side: usize,
    sums: Vec<[u64; 3]>,
    frames: u64,
}

impl Stack {
    fn new(side: usize) -> Self {
        Self {
            side,
            sums: vec![[0; 3]; side * side],
            frames: 0,
        }
    }

    /// Adds the piece whose first px is (`left`, `top`); what lies off the frame counts as black.
    fn add(&mut self, colour: &Colour, left: i64, top: i64) {
        self.frames += 1;
        for (row, sums) in (top..).zip(self.sums.chunks_exact_mut(self.side.max(1))) {
            let Some(line) = usize::try_from(row).ok().filter(|row| *row < colour.height) else {
                continue;
            };
            let from = line * colour.width;
            let Some(line) = colour.rgb.get(from..from + colour.width) else {
                continue;
            };
            for (column, sum) in (left..).zip(sums) {
                let px = usize::try_from(column).ok().and_then(|at| line.get(at));
                for (total, &sample) in sum.iter_mut().zip(px.unwrap_or(&[0; 3])) {
                    *total += u64::from(sample);
                }
            }
        }
    }

    fn mean(&self) -> Colour {
        let frames = self.frames.max(1);
        let mean = |sum: &[u64; 3]| sum.map(|total| ((total + frames / 2) / frames) as u16);
        Colour {
            width: self.side,
            height: self.side,
            rgb: self.sums.iter().map(mean).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp() -> Colour {
        Colour {
            width: 4,
            height: 3,
            rgb: (0..12u16).map(|at| [at, 100 * at, 0]).collect(),
        }
    }

    #[test]
    fn a_crop_is_the_frames_px_and_a_stack_their_mean() {
        let mut stack = Stack::new(2);
        stack.add(&ramp(), 1, 1);
        assert_eq!(
            stack.mean().rgb,
            [[5, 500, 0], [6, 600, 0], [9, 900, 0], [10, 1000, 0]]
        );
        // The same moved by one px: the mean of both.
        stack.add(&ramp(), 2, 1);
        assert_eq!(stack.mean().rgb[0], [6, 550, 0]);
    }

    #[test]
    fn what_lies_off_the_frame_is_black() {
        let mut stack = Stack::new(3);
        stack.add(&ramp(), -1, 2);
        let crop = stack.mean();
        assert_eq!(crop.rgb[..3], [[0; 3], [8, 800, 0], [9, 900, 0]]);
        assert!(crop.rgb[3..].iter().all(|px| *px == [0; 3]));
    }
}
