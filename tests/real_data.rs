//! Real data that nobody here made (../shared/data); skipped aloud where it is absent.
