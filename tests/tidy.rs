//! Repository rules as tests: floors, headers, forbidden words, documents in step.
