//! Frames for the eye: stretch, reduction, crops.
//!
//! In: a frame's colours in linear light. Out: 8-bit pictures. Nothing here measures.
