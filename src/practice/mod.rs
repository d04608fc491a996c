//! What to play next, and where we are.
