//! Notes that the analysis heard, kept for the end of the run.

use crate::grading::HeardNote;
use crate::practice::play::NoteTold;
use std::sync::{Arc, Mutex, PoisonError};

/// Filled by the analysis, read when it is over.
#[derive(Clone, Debug, Default)]
pub struct HeardNotes(Arc<Mutex<Vec<HeardNote>>>);

impl HeardNotes {
    /// Where to tell a note.
    #[must_use]
    pub fn told(&self) -> NoteTold {
        let notes = self.clone();
        Arc::new(move |note| notes.0.lock().unwrap_or_else(PoisonError::into_inner).push(note))
    }

    /// All notes so far, in order.
    #[must_use]
    pub fn all(&self) -> Vec<HeardNote> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}
