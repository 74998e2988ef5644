//! One-channel mathematics: filters, correlation, fits. Slices in, slices out, no units of its own.

/// Smoothing and derivatives by sliding polynomial fits.
pub mod savgol;
