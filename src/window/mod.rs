//! The GTK 4 window. Takes what a person does, gives operations to the book and requests to the player; computes
//! nothing itself. No GTK type leaves this room, and all of it lives on the main thread.

mod listeners;
pub mod map;
mod paint;
pub mod passes;
pub mod plot;
pub mod strip;
