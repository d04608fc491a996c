//! The nearest right word to one that is wrong.

/// The word of `known` that `found` is most likely a slip of: at most a third of its letters differ (a swap of neighbours is one
/// slip, capital letters do not count), the first one of equals. `None` where nothing is near.
pub fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let small = found.to_lowercase();
    let allowed = (small.chars().count() / 3).max(1);
    let mut best: Option<(usize, &str)> = None;
    for word in known {
        let slips = strsim::damerau_levenshtein(&small, &word.to_lowercase());
        if slips <= allowed && best.is_none_or(|(least, _)| slips < least) {
            best = Some((slips, word));
        }
    }
    best.map(|(_, word)| word)
}

/// `; did you mean X?` for [`nearest`], or nothing.
pub(crate) fn did_you_mean<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> String {
    nearest(found, known).map_or_else(String::new, |word| format!("; did you mean {}?", quotable(word)))
}

/// A word as it may stand in an error: on one line, without control characters, at most 60 characters.
pub(crate) fn quotable(found: &str) -> String {
    let mut word: String = found.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).take(60).collect();
    if found.trim().chars().count() > 60 {
        word.push('…');
    }
    word
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn a_swap_of_letters_is_found_and_a_different_word_is_not() {
        assert_eq!(nearest("mixolydain", ["dorian", "mixolydian"]), Some("mixolydian"));
        assert_eq!(nearest("mynor", ["major", "minor"]), Some("minor"));
        assert_eq!(nearest("kazoo", ["major", "minor"]), None);
    }
}
