//! A card that was dropped is let go on a thread of its own, which nobody waits for.

use std::time::{Duration, Instant};

/// By then it is gone, and another stream of it can be opened.
const LET_GO: Duration = Duration::from_secs(1);

/// Does something while a card that was just dropped is let go; gives its outcome when both are done.
pub fn while_let_go<T>(work: impl FnOnce() -> T) -> T {
    let dropped = Instant::now();
    let outcome = work();
    std::thread::sleep(LET_GO.saturating_sub(dropped.elapsed()));
    outcome
}
