//! Simulated nights with their truth.
//!
//! In: a scene, a size, a seed. Out: readable camera files and a JSON of what is true about each.
//! It has its own projection and tone curve and never uses `sky` or `measure`, so that it can
//! check them.
