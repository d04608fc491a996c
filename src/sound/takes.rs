//! An input over a whole session: one take after another. A file or the synthesiser is one take; a card begins another when it was away
//! for long or comes back with another rate.

use super::Source;

/// How a take came in: the log's column `source`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Origin {
    /// `card`, `file` or `synth`.
    pub kind: &'static str,
    /// The device or the file, as it is called.
    pub name: Option<String>,
}

impl Origin {
    /// The project's own synthesiser.
    #[must_use]
    pub fn synth() -> Self {
        Self { kind: "synth", name: Some("landfall's own synthesiser".to_owned()) }
    }
}

/// What [`Takes::poll`] found.
pub enum Arriving {
    /// The next take.
    Take(Box<dyn Source>),
    /// None yet; there may be one in a moment.
    NotYet,
    /// There will be none.
    Over,
}

/// One take after another. The next one is asked for when the one before has ended.
pub trait Takes: Send {
    /// How they come in.
    fn origin(&self) -> Origin;

    /// The next take, if it has begun. Never waits.
    fn poll(&mut self) -> Arriving;
}

/// One source as a session of one take.
pub struct OneTake {
    origin: Origin,
    source: Option<Box<dyn Source>>,
}

impl OneTake {
    /// `source` is the only take.
    #[must_use]
    pub fn new(origin: Origin, source: Box<dyn Source>) -> Self {
        Self { origin, source: Some(source) }
    }
}

impl Takes for OneTake {
    fn origin(&self) -> Origin {
        self.origin.clone()
    }

    fn poll(&mut self) -> Arriving {
        self.source.take().map_or(Arriving::Over, Arriving::Take)
    }
}
