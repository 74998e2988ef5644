//! The saved review: what a person gave, its operations and undo, and its file.
