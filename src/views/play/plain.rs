//! The same as lines of plain text: one line when the chord changes, one for each bend.

use super::PlayState;

/// Turns the state into lines, each said once.
#[derive(Clone, Debug, Default)]
pub struct PlayLines {
    said: Option<(usize, usize, String)>,
}

impl PlayLines {
    /// What is to be said now.
    pub fn lines(&mut self, state: &PlayState) -> Vec<String> {
        let (Some((bar, _, round, rounds, _)), Some(now)) = (state.place, &state.now) else { return Vec::new() };
        let key = (bar, round, now.text.clone());
        if self.said.as_ref() == Some(&key) {
            return Vec::new();
        }
        self.said = Some(key);
        let round = if rounds > 1 { format!(" round {round},") } else { String::new() };
        let next = state.next.as_ref().map(|(next, beats)| format!(" {}.", super::chords::to_come(&next.text, *beats))).unwrap_or_default();
        let tones = if now.tones.is_empty() { String::new() } else { format!(": {}", now.tones) };
        vec![format!("Bar {bar},{round} {}{tones}.{next}", now.text)]
    }
}
