//! Sentences as lines that a terminal of 80 columns does not break.

use textwrap::{Options, wrap};

/// Columns of a plain terminal.
pub const COLUMNS: usize = 80;

/// The lines of a sentence; those after the first hang in by two, so that the eye finds where the next one begins.
#[must_use]
pub fn hanging(sentence: &str) -> Vec<String> {
    indented(sentence, "", "  ")
}

/// The same behind `first` on the first line and `rest` on the others.
#[must_use]
pub fn indented(sentence: &str, first: &str, rest: &str) -> Vec<String> {
    // A word longer than the line (a folder, a device) is left whole, to be copied.
    let options = Options::new(COLUMNS).initial_indent(first).subsequent_indent(rest).break_words(false);
    wrap(sentence, options.word_splitter(textwrap::WordSplitter::NoHyphenation)).into_iter().map(String::from).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_sentences_hang_and_short_ones_stay() {
        assert_eq!(hanging("Landed."), ["Landed."]);
        let lines = hanging(&"landed; ".repeat(30));
        assert!(lines.len() > 2 && lines.iter().all(|line| line.len() <= COLUMNS));
        assert!(lines[1..].iter().all(|line| line.starts_with("  landed")), "{lines:?}");
    }

    #[test]
    fn a_word_that_is_too_long_stays_whole() {
        let folder = format!("/{}", "a".repeat(100));
        assert_eq!(indented(&format!("kept in {folder}"), "", "").last().map(String::as_str), Some(folder.as_str()));
    }
}
