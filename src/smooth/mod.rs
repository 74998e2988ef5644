//! Samples to a smoothed path with covariance.
