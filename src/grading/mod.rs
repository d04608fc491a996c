//! What happened against what was wanted.
