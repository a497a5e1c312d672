//! The window, driven by its accessibility tree.
