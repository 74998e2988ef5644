//! Analysis to tables: CSV and JSON.
