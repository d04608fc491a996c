//! What happened: attacks, notes and their movements, without any wish.
