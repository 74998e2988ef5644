//! The GTK 4 window. Takes what a person does, gives operations to the book and requests to the player; computes
//! nothing itself. No GTK type leaves this room, and all of it lives on the main thread.
//!
//! ```text
//! MainWindow                 header, messages, one of three pages
//! ├── StartPage              new book, open, sample, books opened last
//! ├── busy                   what is being done, how far it is, cancel
//! └── ReviewPage             picture, transport, strip, map, passes, tags
//! ```

mod about;
mod app;
mod choose_new;
mod clock_page;
mod files_page;
mod findings;
mod inbox;
mod listeners;
mod loading;
mod main_window;
pub mod map;
mod naming;
mod navigate;
mod paint;
mod parts;
pub mod passes;
mod picture;
pub mod plot;
mod reel_page;
mod reel_writing;
mod report;
mod review;
mod saver;
mod settings;
mod settings_dialog;
mod start_page;
pub mod strip;
mod tags;
mod unsaved;

pub use app::{has_display, run};
