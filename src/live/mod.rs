//! The wiring: threads, clocks, keys. Everything else counts frames.
