//! The program as its user calls it: exit codes, both streams, files made.
