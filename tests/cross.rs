//! Checks against the outside world: reference tables here, reference libraries in Python beside them.
//! `values` writes what the program computes to target/cross/; `cross/run` recomputes it (make cross).

#[cfg(feature = "media")]
mod containers;
mod pages;
mod reference;
#[cfg(feature = "parquet")]
mod season;
mod values;
