//! Footage and films: generated and real videos, re-opened and read back.
