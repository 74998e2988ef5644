//! Laws that hold for any input (proptest).
