//! How long a card is waited for, in and out alike.

use std::time::Duration;

/// How often a stream is looked at.
pub(super) const LOOK_EVERY: Duration = Duration::from_millis(20);
/// No frame for so long: the stream stands still. Callbacks are up to 64 ms apart on a busy machine (measured).
pub(super) const STALLED: Duration = Duration::from_millis(300);
/// With errors reported, so much is enough.
pub(super) const BROKEN: Duration = Duration::from_millis(150);
/// A broken stream is opened again so often.
pub(super) const RETRY_BROKEN: Duration = Duration::from_millis(250);
/// A stream that has stalled without an error may come back by itself, and opening another beside it can cost a whole processor:
/// so it is tried late, and then ever more seldom.
pub(super) const RETRY_STALLED: Duration = Duration::from_secs(5);
/// As seldom as it gets.
pub(super) const RETRY_SELDOM: Duration = Duration::from_mins(1);
/// An opening that takes longer hangs.
pub(super) const OPENING: Duration = Duration::from_secs(8);
