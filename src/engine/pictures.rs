//! Decoding frames for the screen, on a thread of their own so that looking never waits for
//! measuring. The newest request wins.

use std::collections::VecDeque;
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, bounded};

use super::outbox::Outbox;
use super::source::{Source, guarded};
use super::{NightId, Picture, Report, threads};
use crate::frame::OpenOptions;
use crate::picture;

/// Longest side of the overview, px: the largest texture that every graphics driver takes.
const OVERVIEW_SIDE: usize = 2048;
/// Most pictures kept decoded.
const MOST_PICTURES: usize = 3;
/// Most bytes of pictures kept, but for the latest: two of 24 megapixels.
const MOST_BYTES: usize = 320 << 20;

#[derive(Debug)]
pub(super) struct Request {
    pub(super) id: NightId,
    pub(super) shot: usize,
    pub(super) path: PathBuf,
    pub(super) options: OpenOptions,
}

/// The picture thread. Dropping it waits for the picture it is at.
pub(super) struct Pictures {
    requests: Option<Sender<Request>>,
    waiting: Receiver<Request>,
    thread: Option<JoinHandle<()>>,
}

impl Pictures {
    pub(super) fn start<S: Source>(source: &Arc<S>, outbox: &Arc<Outbox>) -> io::Result<Self> {
        let (requests, waiting) = bounded::<Request>(1);
        let (source, outbox, incoming) = (Arc::clone(source), Arc::clone(outbox), waiting.clone());
        let thread = threads::spawn("nightloupe-picture", move || {
            let mut shelf = Shelf::default();
            for request in incoming {
                let picture = shelf.picture(&request, source.as_ref());
                outbox.push(Report::Picture {
                    id: request.id,
                    shot: request.shot,
                    picture,
                });
            }
        })?;
        Ok(Self {
            requests: Some(requests),
            waiting,
            thread: Some(thread),
        })
    }

    /// Asks for a picture in place of what was asked for before and is not begun.
    pub(super) fn ask(&self, request: Request) {
        while self.waiting.try_recv().is_ok() {}
        if let Some(requests) = &self.requests
            && requests.try_send(request).is_err()
        {
            tracing::error!("the picture thread is gone");
        }
    }
}

impl Drop for Pictures {
    fn drop(&mut self) {
        while self.waiting.try_recv().is_ok() {}
        self.requests = None;
        if let Some(thread) = self.thread.take() {
            threads::join(thread);
        }
    }
}

/// The pictures shown last, newest first.
#[derive(Default)]
struct Shelf {
    night: NightId,
    pictures: VecDeque<Arc<Picture>>,
}

impl Shelf {
    fn picture<S: Source>(
        &mut self,
        request: &Request,
        source: &S,
    ) -> Result<Arc<Picture>, String> {
        if self.night != request.id {
            self.pictures.clear();
            self.night = request.id;
        }
        let known = self.pictures.iter().position(|p| p.shot == request.shot);
        let picture = match known.and_then(|place| self.pictures.remove(place)) {
            Some(picture) => picture,
            None => Arc::new(decode(request, source)?),
        };
        self.pictures.push_front(Arc::clone(&picture));
        self.pictures.truncate(MOST_PICTURES);
        while self.pictures.len() > 1 && self.bytes() > MOST_BYTES {
            self.pictures.pop_back();
        }
        Ok(picture)
    }

    fn bytes(&self) -> usize {
        let px: usize = (self.pictures.iter())
            .map(|picture| picture.colour.rgb.len() + picture.overview.rgb.len())
            .sum();
        px * size_of::<[u16; 3]>()
    }
}

fn decode<S: Source>(request: &Request, source: &S) -> Result<Picture, String> {
    guarded(&request.path, || {
        let colour = source
            .colour(&request.path, &request.options)
            .map_err(|fault| fault.to_string())?;
        let (overview, overview_scale) = picture::reduce_to(&colour, OVERVIEW_SIDE);
        Ok(Picture {
            shot: request.shot,
            colour: Arc::new(colour),
            overview: Arc::new(overview),
            overview_scale,
        })
    })?
}
