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

/// A text whose lines are longer than the terminal is wide, broken between words; what is broken off hangs in under the line's own beginning.
#[must_use]
pub fn narrowed(text: &str, columns: usize) -> String {
    let mut narrow = String::new();
    for line in text.lines() {
        if line.chars().count() <= columns {
            narrow.extend([line, "\n"]);
            continue;
        }
        let own: String = line.chars().take_while(|letter| *letter == ' ').collect();
        let under = format!("{own}  ");
        let options = Options::new(columns).initial_indent(&own).subsequent_indent(&under).break_words(false);
        for part in wrap(line.trim_start(), options.word_splitter(textwrap::WordSplitter::NoHyphenation)) {
            narrow.extend([&part, "\n"]);
        }
    }
    narrow
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
    fn on_a_narrow_terminal_only_long_lines_are_broken_and_between_words() {
        let text = "  1  G4 to A4    landed\n     held 0 c for 1.4 s, home 0 c, up in 143 ms\n";
        assert_eq!(narrowed(text, 80), text);
        assert_eq!(narrowed(text, 30), "  1  G4 to A4    landed\n     held 0 c for 1.4 s, home\n       0 c, up in 143 ms\n");
    }

    #[test]
    fn a_word_that_is_too_long_stays_whole() {
        let folder = format!("/{}", "a".repeat(100));
        assert_eq!(indented(&format!("kept in {folder}"), "", "").last().map(String::as_str), Some(folder.as_str()));
    }
}
