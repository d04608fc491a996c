//! Everything from outside, in one place, so that a test can hand in its own.

use super::clock::{Clock, SystemClock};
use super::signals::Signals;
use crate::sound::SoundError;
use crate::sound::card::{self, Host};
use std::io;
use std::sync::Arc;
use std::time::Duration;

/// A key that means something to a live run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// `q`, escape or ctrl-C.
    End,
    /// ctrl-Z.
    Stop,
    /// Space, enter, page down or the right arrow, as foot switches send: on.
    Next,
    /// Page up, backspace or the left arrow: once more.
    Back,
    /// The up arrow.
    Up,
    /// The down arrow.
    Down,
}

/// Keys, however they come.
pub trait Keys {
    /// The next key, waiting so long at most. Other keys are swallowed.
    ///
    /// # Errors
    /// When the keyboard is gone: the terminal was closed.
    fn next(&mut self, wait: Duration) -> io::Result<Option<Key>>;
}

/// No keyboard: input is a pipe, or the terminal belongs to nobody.
#[derive(Debug, Default)]
pub struct NoKeys;

impl Keys for NoKeys {
    fn next(&mut self, wait: Duration) -> io::Result<Option<Key>> {
        std::thread::sleep(wait);
        Ok(None)
    }
}

/// Where sound cards come from; asked only when one is wanted.
pub type Hosts = Box<dyn Fn() -> Result<Arc<dyn Host>, SoundError>>;

/// The world around a live run.
pub struct World {
    /// Time.
    pub clock: Arc<dyn Clock>,
    /// What the system tells.
    pub signals: Signals,
    /// Keys.
    pub keys: Box<dyn Keys>,
    /// Sound cards.
    pub hosts: Hosts,
}

impl World {
    /// The real one, with no keyboard.
    ///
    /// # Errors
    /// When signals cannot be listened to.
    pub fn real() -> io::Result<Self> {
        Ok(Self {
            clock: Arc::new(SystemClock::default()),
            signals: Signals::listen()?,
            keys: Box::new(NoKeys),
            hosts: Box::new(card::system),
        })
    }
}
