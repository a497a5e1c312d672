//! The window in egui: pages, chart, frame view, theme, widgets. It reads the model, turns input
//! into actions and draws; it decides nothing.
