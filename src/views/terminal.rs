//! The terminal, taken and given back: raw mode and the alternate screen, undone when the guard goes, in a panic, and around ctrl-Z.

use std::io::{self, Stdout, Write, stdout};
use std::sync::atomic::{AtomicBool, Ordering};

use crossterm::cursor::{Hide, Show};
use crossterm::terminal::{Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode};
use crossterm::{ExecutableCommand, QueueableCommand};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// A terminal that belongs to the view until it is dropped.
///
/// Only differences to the last picture are written, the whole of it in one write.
#[derive(Debug)]
pub struct Screen {
    terminal: Terminal<CrosstermBackend<Whole>>,
}

impl Screen {
    /// Takes the terminal on standard output. From here on a panic gives it back before its message is printed.
    ///
    /// # Errors
    /// When standard output is no terminal, or cannot be set up.
    pub fn take() -> io::Result<Self> {
        give_back_in_a_panic();
        enter().inspect_err(|_| leave())?;
        let terminal = Terminal::new(CrosstermBackend::new(Whole::default())).inspect_err(|_| leave())?;
        Ok(Self { terminal })
    }

    /// Columns and rows that there are now.
    ///
    /// # Errors
    /// When the terminal has gone.
    pub fn size(&self) -> io::Result<(u16, u16)> {
        self.terminal.size().map(|size| (size.width, size.height))
    }

    /// Draws a picture; its size is the terminal's, asked anew each time.
    ///
    /// # Errors
    /// When the terminal cannot be written: it has gone.
    pub fn draw(&mut self, picture: impl FnOnce(Rect, &mut Buffer)) -> io::Result<()> {
        if !TAKEN.load(Ordering::SeqCst) {
            // Another thread has panicked and given the terminal back: its message is not drawn over.
            return Ok(());
        }
        self.terminal.draw(|frame| picture(frame.area(), frame.buffer_mut()))?;
        Ok(())
    }

    /// Gives the terminal back for a while: before the process stops (ctrl-Z).
    pub fn lend(&mut self) {
        leave();
    }

    /// Takes it again (`fg`), and draws everything anew the next time.
    ///
    /// # Errors
    /// When it cannot be set up any more.
    pub fn take_again(&mut self) -> io::Result<()> {
        enter()?;
        stdout().execute(Clear(ClearType::All))?;
        // A fresh one draws everything. Its own `clear` would ask where the cursor is, and wait for the answer among the keys.
        self.terminal = Terminal::new(CrosstermBackend::new(Whole::default()))?;
        Ok(())
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        leave();
    }
}

/// Whether the terminal is in our hands: a panic after it was given back must not write to it.
static TAKEN: AtomicBool = AtomicBool::new(false);

fn enter() -> io::Result<()> {
    TAKEN.store(true, Ordering::SeqCst);
    enable_raw_mode()?;
    stdout().queue(EnterAlternateScreen)?.execute(Hide)?;
    Ok(())
}

/// If it fails, nobody is left to be told.
fn leave() {
    if !TAKEN.swap(false, Ordering::SeqCst) {
        return;
    }
    let _ = stdout().queue(Show).and_then(|out| out.execute(LeaveAlternateScreen).map(|_| ()));
    let _ = disable_raw_mode();
}

fn give_back_in_a_panic() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        let message = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            leave();
            message(panic);
        }));
    });
}

/// Collects a picture's bytes and hands them on in one write, so that no half of it is ever seen.
#[derive(Debug, Default)]
struct Whole {
    bytes: Vec<u8>,
}

impl Write for Whole {
    fn write(&mut self, part: &[u8]) -> io::Result<usize> {
        self.bytes.extend_from_slice(part);
        Ok(part.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        let mut out: Stdout = stdout();
        let written = out.write_all(&self.bytes).and_then(|()| out.flush());
        self.bytes.clear();
        written
    }
}
