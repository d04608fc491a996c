//! The keyboard of a terminal in raw mode.

use super::world::{Key, Keys};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, poll, read};
use std::io;
use std::time::Duration;

/// Keys of the terminal on standard input, which must be in raw mode: ctrl-C and ctrl-Z come as keys then.
#[derive(Debug, Default)]
pub struct TerminalKeys;

impl Keys for TerminalKeys {
    fn next(&mut self, wait: Duration) -> io::Result<Option<Key>> {
        if !poll(wait)? {
            return Ok(None);
        }
        match read()? {
            Event::Key(key) if key.kind != KeyEventKind::Release => Ok(meaning(key)),
            _ => Ok(None),
        }
    }
}

fn meaning(key: KeyEvent) -> Option<Key> {
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    match key.code {
        KeyCode::Char('c') if control => Some(Key::End),
        KeyCode::Char('z') if control => Some(Key::Stop),
        KeyCode::Char('q' | 'Q') | KeyCode::Esc if !control => Some(Key::End),
        _ => None,
    }
}
