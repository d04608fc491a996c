//! The keys of the terminal, while the live view has it.

use super::world::{Key, Keys};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, poll, read};
use std::io;
use std::time::{Duration, Instant};

/// The terminal's keyboard. In raw mode ctrl-C and ctrl-Z are keys, not signals.
#[derive(Debug, Default)]
pub struct Keyboard;

impl Keys for Keyboard {
    fn next(&mut self, wait: Duration) -> io::Result<Option<Key>> {
        let until = Instant::now() + wait;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            if !poll(left)? {
                return Ok(None);
            }
            match read()? {
                Event::Key(key) => {
                    if let Some(key) = meaning(key) {
                        return Ok(Some(key));
                    }
                }
                // The next picture has the new size.
                Event::Resize(..) => return Ok(None),
                _ => {}
            }
        }
    }
}

fn meaning(key: KeyEvent) -> Option<Key> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    match (key.code, key.modifiers.contains(KeyModifiers::CONTROL)) {
        (KeyCode::Char('c'), true) | (KeyCode::Char('q' | 'Q') | KeyCode::Esc, false) => Some(Key::End),
        (KeyCode::Char('z'), true) => Some(Key::Stop),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn q_escape_and_ctrl_c_end_and_ctrl_z_stops() {
        let key = |code, modifiers| meaning(KeyEvent::new(code, modifiers));
        for code in [KeyCode::Char('q'), KeyCode::Esc] {
            assert_eq!(key(code, KeyModifiers::NONE), Some(Key::End));
        }
        assert_eq!(key(KeyCode::Char('c'), KeyModifiers::CONTROL), Some(Key::End));
        assert_eq!(key(KeyCode::Char('z'), KeyModifiers::CONTROL), Some(Key::Stop));
        assert_eq!(key(KeyCode::Char('c'), KeyModifiers::NONE), None);
        assert_eq!(key(KeyCode::Char('z'), KeyModifiers::NONE), None);
    }
}
