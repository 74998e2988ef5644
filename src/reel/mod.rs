//! Analysis and book to cut lists: what a clip shows and when, as plain data without video.
