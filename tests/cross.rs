//! Values for the Python cross-checks, and the reference tables of ../shared/data/reference.
