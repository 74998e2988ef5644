//! The command line: arguments to one file per command. The only room that writes to standard output and error.
