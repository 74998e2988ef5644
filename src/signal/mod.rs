//! One-channel mathematics: filters, correlation, fits, and how far two pictures are shifted. Slices in, slices out, no
//! units of its own.

/// Correlation of two series at every lag.
pub mod correlate;
/// What several series have in common.
pub mod factor;
/// How far one picture is shifted against another.
pub mod phase;
/// Quantiles of a list.
pub mod quantile;
/// How much values differ beyond their own errors.
pub mod random_effects;
/// Smoothing and derivatives by sliding polynomial fits.
pub mod savgol;
/// The sideways motion of a filmed scene, picture by picture.
pub mod scene;
