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

/// A line that fits into so many columns: what does not is left out from the last comma or wider gap that does, else from the last word, with a sign
/// that something is missing.
#[must_use]
pub fn cut(line: &str, columns: usize) -> String {
    if line.chars().count() <= columns {
        return line.to_owned();
    }
    let fits = |end: &usize| line[..*end].chars().count() <= columns;
    let parts = [", ", "; ", "   "].into_iter().flat_map(|gap| line.match_indices(gap).map(|(at, _)| at));
    let sentences = line.match_indices(". ").map(|(at, _)| at + 1);
    if let Some(end) = parts.chain(sentences).filter(fits).max().filter(|end| *end > 0) {
        return line[..end].trim_end().to_owned();
    }
    let words = line.match_indices(' ').map(|(at, _)| at).filter(|at| line[..*at].chars().count() < columns);
    match words.max().filter(|end| *end > 0) {
        Some(end) => format!("{}…", line[..end].trim_end()),
        None => line.chars().take(columns).collect(),
    }
}

/// A sentence in `rows` lines of `columns` at most, broken between words; what is left over is cut off as [`cut`] does.
#[must_use]
pub fn broken(sentence: &str, columns: usize, rows: usize) -> Vec<String> {
    let lines = wrap(sentence, Options::new(columns.max(1)).break_words(false).word_splitter(textwrap::WordSplitter::NoHyphenation));
    let mut kept: Vec<String> = lines.iter().take(rows).map(|line| cut(line, columns)).collect();
    if let Some(last) = kept.last_mut().filter(|_| lines.len() > rows) {
        let more = format!("{} {}", lines[rows - 1], lines[rows]);
        *last = cut(&more, columns);
    }
    kept
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
    fn a_line_that_does_not_fit_loses_whole_parts_or_whole_words() {
        let line = "landed (the 5 of Dm): held +2 c for 1.9 s, +12 ms from the eighth";
        assert_eq!(cut(line, 80), line);
        assert_eq!(cut(line, 60), "landed (the 5 of Dm): held +2 c for 1.9 s");
        assert_eq!(cut(line, 41), "landed (the 5 of Dm): held +2 c for 1.9 s");
        assert_eq!(cut("Let every swing come back up", 20), "Let every swing…");
        assert_eq!(cut("Wiederherstellung", 5), "Wiede");
    }

    #[test]
    fn a_sentence_takes_the_lines_that_there_are() {
        let cue = "Hold it still until the bar reaches its mark.";
        assert_eq!(broken(cue, 80, 1), [cue]);
        assert_eq!(broken(cue, 30, 2), ["Hold it still until the bar", "reaches its mark."]);
        assert_eq!(broken(cue, 20, 1), ["Hold it still until…"]);
        assert!(broken("", 20, 2).iter().all(String::is_empty));
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
