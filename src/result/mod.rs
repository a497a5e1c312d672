//! What the used frames make together: the star-trail composite.
//!
//! In: frames one at a time. Out: one picture in linear light. Memory does not grow with the
//! number of frames.
