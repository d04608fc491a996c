//! The keys of the terminal, while the live view has it.

use super::world::{Key, Keys};
use crossbeam_channel::{Receiver, RecvTimeoutError, bounded};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, read};
use std::io;
use std::sync::OnceLock;
use std::time::Duration;

/// The terminal's keyboard. In raw mode ctrl-C and ctrl-Z are keys, not signals.
///
/// It is read on a thread of its own: when the terminal is closed, crossterm 0.29 reads its end over and over and never comes back. There is one such
/// thread, for everything that the program shows one after the other: a second one would take keys from it.
#[derive(Debug)]
pub struct Keyboard {
    pressed: Receiver<Key>,
}

impl Keyboard {
    /// Begins to read. Keys that come too fast for the session are those of somebody who leans on the keyboard; they are not kept.
    #[must_use]
    pub fn listen() -> Self {
        static PRESSED: OnceLock<Receiver<Key>> = OnceLock::new();
        let pressed = PRESSED.get_or_init(read_on_a_thread).clone();
        // What was pressed while nobody asked was meant for what is no longer shown.
        pressed.try_iter().for_each(drop);
        Self { pressed }
    }
}

fn read_on_a_thread() -> Receiver<Key> {
    let (tell, pressed) = bounded(16);
    std::thread::spawn(move || {
        while let Ok(event) = read() {
            if let Event::Key(key) = event
                && let Some(key) = meaning(key)
            {
                let _ = tell.try_send(key);
            }
        }
    });
    pressed
}

impl Keys for Keyboard {
    fn next(&mut self, wait: Duration) -> io::Result<Option<Key>> {
        match self.pressed.recv_timeout(wait) {
            Ok(key) => Ok(Some(key)),
            Err(RecvTimeoutError::Timeout) => Ok(None),
            Err(RecvTimeoutError::Disconnected) => Err(io::Error::other("the keyboard is gone")),
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
        (KeyCode::Char(' ') | KeyCode::Enter | KeyCode::PageDown | KeyCode::Right, false) => Some(Key::Next),
        (KeyCode::Backspace | KeyCode::PageUp | KeyCode::Left, false) => Some(Key::Back),
        (KeyCode::Up, false) => Some(Key::Up),
        (KeyCode::Down, false) => Some(Key::Down),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_foot_switches_send_means_on_and_back() {
        let key = |code| meaning(KeyEvent::new(code, KeyModifiers::NONE));
        for code in [KeyCode::Char(' '), KeyCode::Enter, KeyCode::PageDown, KeyCode::Right] {
            assert_eq!(key(code), Some(Key::Next));
        }
        for code in [KeyCode::Backspace, KeyCode::PageUp, KeyCode::Left] {
            assert_eq!(key(code), Some(Key::Back));
        }
        assert_eq!((key(KeyCode::Up), key(KeyCode::Down)), (Some(Key::Up), Some(Key::Down)));
    }

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
