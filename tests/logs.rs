//! Log readers on whole files: fixtures named by the quirk they show, and damaged bytes.
