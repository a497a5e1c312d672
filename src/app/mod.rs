//! The window's state without a window: Model, Action, commands, undo.
//!
//! In: actions and the engine's reports. Out: a changed model and effects to run. What is drawn
//! belongs to `ui`.
