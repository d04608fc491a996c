//! Interrupt, terminate, hang-up and stop: noticed here, obeyed by the session. The one file that differs between systems.
//!
//! However it is told to end, a live run ends in order: the take is closed, rows are written, the terminal is given back.

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;
use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// What the system has told this process since it began to listen.
#[derive(Clone, Debug, Default)]
pub struct Signals {
    end: Arc<AtomicBool>,
    stop: Arc<AtomicBool>,
}

/// The process listens once: what is registered again stays registered, and each would count interrupts of its own.
static LISTENING: Mutex<Option<Signals>> = Mutex::new(None);

impl Signals {
    /// Listens from now on; whoever listens later is told the same. A second interrupt ends the process at once, in case that the orderly end hangs.
    ///
    /// # Errors
    /// What the system says.
    pub fn listen() -> io::Result<Self> {
        let mut listening = LISTENING.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(signals) = &*listening {
            return Ok(signals.clone());
        }
        let signals = Self::default();
        flag::register_conditional_shutdown(SIGINT, 1, Arc::clone(&signals.end))?;
        flag::register(SIGINT, Arc::clone(&signals.end))?;
        flag::register(SIGTERM, Arc::clone(&signals.end))?;
        #[cfg(unix)]
        {
            flag::register(signal_hook::consts::SIGHUP, Arc::clone(&signals.end))?;
            flag::register(signal_hook::consts::SIGTSTP, Arc::clone(&signals.stop))?;
        }
        *listening = Some(signals.clone());
        Ok(signals)
    }

    /// Whether the process was told to end.
    #[must_use]
    pub fn end_wanted(&self) -> bool {
        self.end.load(Ordering::Relaxed)
    }

    /// Whether it was told to stop (ctrl-Z) since this was last asked.
    #[must_use]
    pub fn stop_wanted(&self) -> bool {
        self.stop.swap(false, Ordering::Relaxed)
    }
}

/// Stops the process until it is told to go on (`fg`).
pub fn stop_here() {
    // It fails for signals that do not exist only.
    #[cfg(unix)]
    let _ = signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_listens_later_is_told_the_same_and_counts_no_interrupt_of_its_own() {
        let (first, later) = (Signals::listen().unwrap(), Signals::listen().unwrap());
        assert!(Arc::ptr_eq(&first.end, &later.end) && Arc::ptr_eq(&first.stop, &later.stop));
    }
}
