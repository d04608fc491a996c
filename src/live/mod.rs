//! The wiring: threads, clocks, keys. Everything else counts frames.
//!
//! ```text
//! card, file or synthesiser → ring → analysis ─┬→ view (main thread, with the keys)
//!   (a thread of its own)        (a thread)    └→ keeper (a thread: takes and log; a slow disk costs no sound)
//!
//! card ← ring ← speaker (a thread: mixes what is to sound, and says in which frames of the take it sounds)
//! ```

pub mod analysis;
pub mod calibrate;
pub mod checking;
pub mod clock;
pub mod clocks;
pub mod coaching;
pub mod drill_sound;
pub mod ears;
pub mod events;
pub mod feeder;
pub mod first_check;
pub mod fit;
pub mod heard_notes;
pub mod hearing;
pub mod keeper;
pub mod keyboard;
pub mod lag;
pub mod letting_go;
pub mod masked;
pub mod own_sound;
pub mod pages;
pub mod play_pages;
pub mod recorder;
pub mod reminding;
pub mod resting;
pub mod session;
pub mod settled;
pub mod signals;
pub mod speaker;
pub mod steady_run;
pub mod tuning;
pub mod world;
