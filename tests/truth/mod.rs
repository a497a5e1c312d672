//! Simulated frames against their truth.
