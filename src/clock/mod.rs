//! Signals and time stamps to the footage clock.
