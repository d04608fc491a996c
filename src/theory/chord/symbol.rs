//! Reading a chord symbol.

use super::Chord;
use super::formula::{Formula, Third};
use crate::theory::TheoryError;
use crate::theory::degree::Degree;
use crate::theory::note::NoteName;
use crate::theory::words::{nearest, quotable};

/// Endings to suggest where one is misspelt.
const COMMON: [&str; 62] = [
    "", "m", "dim", "aug", "5", "sus2", "sus4", "6", "m6", "7", "maj7", "m7", "m7b5", "dim7", "mMaj7", "maj7#5", "7#5", "7b5", "maj7b5",
    "7sus4", "add9", "madd9", "add11", "6/9", "m6/9", "9", "maj9", "m9", "mMaj9", "m9b5", "9sus4", "13sus4", "7b9sus4", "7b9", "7#9",
    "7#11", "7b13", "9#11", "9b5", "9#5", "9b13", "maj7#11", "maj9#11", "7b9#5", "7#9#5", "7b9#11", "7#9#11", "7b9b13", "7#9b13", "11",
    "m11", "m7add11", "13", "maj13", "m13", "13b9", "13#9", "13#11", "7alt", "minor", "major", "m7#5",
];

const MAJOR: [&str; 10] = ["major", "Major", "maj", "Maj", "MAJ", "ma", "Ma", "M", "Δ", "^"];
const MINOR: [&str; 9] = ["minor", "Minor", "min", "Min", "MIN", "mi", "Mi", "m", "-"];

pub(super) fn read(text: &str) -> Result<Chord, TheoryError> {
    let found = quotable(text);
    let wrong = |reason: String, hint: String| TheoryError::Chord { found: found.clone(), reason, hint };
    if found.is_empty() {
        return Err(wrong("it is empty".to_string(), String::new()));
    }
    if found.chars().count() > 32 {
        return Err(wrong("it is longer than any chord symbol".to_string(), String::new()));
    }
    let Some((root, rest)) = NoteName::read(&found) else {
        return Err(wrong("it does not begin with a root, A to G with # or b".to_string(), hint_for_root(&found)));
    };
    let (body, bass) = match rest.rsplit_once('/') {
        // The 9 of 6/9 is no bass, nor is the seventh of m/maj7.
        Some((body, bass)) if !bass.starts_with(|c: char| c.is_ascii_digit()) && !MAJOR.iter().any(|word| bass.starts_with(word)) => {
            let name = bass.trim().parse::<NoteName>().map_err(|_| {
                let reason = format!("'{}' after the / is no bass note; write a note A to G with # or b", bass.trim());
                wrong(reason, hint_for_bass(root, body, bass))
            })?;
            (body, Some(name))
        }
        _ => (rest, None),
    };
    let plain: String = body.chars().filter(|c| !matches!(c, ' ' | '(' | ')' | ',' | '[' | ']')).map(plain_sign).collect();
    let formula = Reader { rest: &plain }
        .quality()
        .map_err(|unread| wrong(format!("'{unread}' is not understood after {root}"), hint_for_body(root, &plain, bass)))?;
    let degrees = formula
        .degrees()
        .map_err(|(one, other)| wrong(format!("{one} and {other} are the same note; write one of them"), String::new()))?;
    Ok(Chord::build(found.clone(), formula.suffix(), root, &degrees, bass))
}

fn plain_sign(c: char) -> char {
    match c {
        '♭' => 'b',
        '♯' => '#',
        '−' | '–' => '-',
        '△' | '∆' => 'Δ',
        '°' | 'º' | '˚' => 'o',
        'Ø' => 'ø',
        other => other,
    }
}

fn hint_for_root(found: &str) -> String {
    let mut chars = found.chars();
    let guess = match chars.next() {
        Some('H' | 'h') => format!("B{}", chars.as_str()),
        Some(c @ 'a'..='g') => format!("{}{}", c.to_ascii_uppercase(), chars.as_str()),
        _ => return String::new(),
    };
    if read(&guess).is_ok() { format!("; did you mean {guess}?") } else { String::new() }
}

fn hint_for_bass(root: NoteName, body: &str, bass: &str) -> String {
    let mut chars = bass.trim().chars();
    let guess = match chars.next() {
        Some('H' | 'h') => format!("B{}", chars.as_str()),
        Some(c @ 'a'..='g') => format!("{}{}", c.to_ascii_uppercase(), chars.as_str()),
        _ => return String::new(),
    };
    if guess.parse::<NoteName>().is_ok() { format!("; did you mean {root}{body}/{guess}?") } else { String::new() }
}

fn hint_for_body(root: NoteName, body: &str, bass: Option<NoteName>) -> String {
    let over = bass.map_or_else(String::new, |note| format!("/{note}"));
    match body {
        "2" => return format!("; did you mean {root}sus2{over} or {root}add9{over}?"),
        "4" => return format!("; did you mean {root}sus4{over} or {root}add11{over}?"),
        _ => {}
    }
    nearest(body, COMMON.into_iter().filter(|ending| !ending.is_empty()))
        .map_or_else(String::new, |ending| format!("; did you mean {root}{ending}{over}?"))
}

struct Reader<'a> {
    rest: &'a str,
}

impl<'a> Reader<'a> {
    fn take(&mut self, word: &str) -> bool {
        self.rest.strip_prefix(word).map(|rest| self.rest = rest).is_some()
    }

    /// Takes the first of `words` that comes next, except where the letters belong to `add`.
    fn take_any<'w>(&mut self, words: &[&'w str]) -> Option<&'w str> {
        let fits = |word: &&&str| self.rest.starts_with(**word) && !(word.ends_with('a') && self.rest[word.len()..].starts_with("dd"));
        let word = words.iter().find(fits).copied()?;
        self.rest = &self.rest[word.len()..];
        Some(word)
    }

    fn number(&mut self, allowed: &[u8]) -> Option<u8> {
        let digits = self.rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(self.rest.len());
        // `69` is six-nine: where the whole number is not allowed, its first digit may be.
        let whole = self.rest[..digits].parse::<u8>().ok().filter(|n| allowed.contains(n));
        let first =
            || self.rest.get(..1).filter(|_| digits == 2).and_then(|d| d.parse::<u8>().ok()).filter(|n| *n == 6 && allowed.contains(n));
        let (number, length) = whole.map(|n| (n, digits)).or_else(|| first().map(|n| (n, 1)))?;
        self.rest = &self.rest[length..];
        Some(number)
    }

    /// The whole of what follows the root, or what was not understood of it.
    fn quality(mut self) -> Result<Formula, &'a str> {
        let mut formula = Formula::major();
        let mut seventh = -1;
        let mut minor_or_dim = false;
        let before = self.rest;
        if self.rest.starts_with("omit") || self.rest.starts_with("-5") || self.rest.starts_with("+5") {
            // An alteration: the loop below reads it.
        } else if self.take("ø") || self.take("halfdim") {
            (formula.third, formula.fifths) = (Third::Minor, vec![-1]);
            formula.seventh = Some(-1);
            minor_or_dim = true;
        } else if self.take_any(&["diminished", "dim", "Dim", "o"]).is_some() {
            (formula.third, formula.fifths) = (Third::Minor, vec![-1]);
            seventh = -2;
            minor_or_dim = true;
        } else if self.take_any(&["augmented", "aug", "Aug", "+"]).is_some() {
            formula.fifths = vec![1];
        } else if self.take_any(&["dominant", "dom"]).is_some() {
            formula.seventh = Some(seventh);
        } else if !MAJOR.iter().any(|word| self.starts_quality(word)) && self.take_any(&MINOR).is_some() {
            formula.third = Third::Minor;
            minor_or_dim = true;
        }
        let major = self.take_any(&MAJOR);
        if major.is_some() {
            seventh = 0;
            // The triangle, and `mMaj`, mean the seventh even without a number.
            if matches!(major, Some("Δ" | "^")) || minor_or_dim {
                formula.seventh = Some(0);
            }
        }
        let plain = self.rest.len() == before.len();
        self.stacked(&mut formula, seventh, plain);
        while !self.rest.is_empty() {
            let here = self.rest;
            self.further(&mut formula, seventh).ok_or(here)?;
        }
        Ok(formula)
    }

    fn starts_quality(&self, word: &str) -> bool {
        self.rest.starts_with(word) && !(word.ends_with('a') && self.rest[word.len()..].starts_with("dd"))
    }

    fn stacked(&mut self, formula: &mut Formula, seventh: i8, plain: bool) {
        match self.number(if plain { &[5, 6, 7, 9, 11, 13] } else { &[6, 7, 9, 11, 13] }) {
            Some(5) => formula.third = Third::None,
            Some(6) => {
                formula.sixth = true;
                // The triangle's seventh is not meant right before a sixth: `Δ6` is `6`.
                formula.seventh = formula.seventh.filter(|alter| *alter != 0);
                if self.take("/9") || self.take("9") {
                    formula.added.push(Degree::new(9, 0));
                }
            }
            Some(stack) => {
                formula.seventh = formula.seventh.or(Some(seventh));
                formula.stack = stack;
            }
            None => {}
        }
    }

    /// One alteration, suspension, added or missing tone; `None` where it is none.
    fn further(&mut self, formula: &mut Formula, seventh: i8) -> Option<()> {
        if let Some(word) = self.take_any(&["sus2sus4", "sus4sus2", "sus24", "sus42", "sus4", "sus2", "sus"]) {
            formula.third = match word {
                "sus2" => Third::Sus2,
                "sus4" | "sus" => Third::Sus4,
                _ => Third::Both,
            };
        } else if self.take("alt") {
            formula.alt = true;
            formula.seventh = Some(-1);
            formula.alter_fifth(1);
            formula.altered.push(Degree::new(9, 1));
        } else if self.take("add") {
            let alter = self.sign().unwrap_or(0);
            let number = self.number(&[2, 4, 6, 9, 11, 13])?;
            let degree = Degree::new(upper(number, alter), alter);
            formula.added.push(degree);
        } else if self.take_any(&["omit", "no"]).is_some() {
            let number = self.number(&[3, 5, 9, 11])?;
            let _ = self.take_any(&["rd", "th"]);
            formula.missing.push(number);
        } else if self.take_any(&["aug"]).is_some() {
            formula.alter_fifth(1);
        } else if self.take_any(&MAJOR).is_some() {
            formula.stack = self.number(&[7, 9, 11, 13])?;
            formula.seventh = Some(0);
        } else if self.take("/") {
            if self.take_any(&MAJOR).is_some() {
                formula.stack = self.number(&[7, 9, 11, 13])?;
                formula.seventh = Some(0);
                return Some(());
            }
            let number = self.number(&[9, 11, 13])?;
            formula.added.push(Degree::new(number, 0));
        } else if self.rest == "+" {
            self.rest = "";
            formula.alter_fifth(1);
        } else if let Some(alter) = self.sign() {
            match self.number(&[2, 4, 5, 6, 9, 11, 13])? {
                5 => formula.alter_fifth(alter),
                number => formula.altered.push(Degree::new(upper(number, alter).max(9), alter)),
            }
        } else if formula.sixth {
            let number = self.number(&[9])?;
            formula.added.push(Degree::new(number, 0));
        } else if formula.seventh.is_none() && matches!(formula.third, Third::Sus2 | Third::Sus4) {
            formula.stack = self.number(&[7, 9, 11, 13])?;
            formula.seventh = Some(seventh);
        } else {
            return None;
        }
        Some(())
    }

    fn sign(&mut self) -> Option<i8> {
        let alter = match self.rest.chars().next()? {
            'b' | '-' => -1,
            '#' | '+' => 1,
            _ => return None,
        };
        self.rest = &self.rest[1..];
        Some(alter)
    }
}

/// The number by which a tone above the seventh is called: an added 2 is a 9; an added 6 stays one unless it is altered.
fn upper(number: u8, alter: i8) -> u8 {
    match number {
        2 => 9,
        4 => 11,
        6 if alter != 0 => 13,
        other => other,
    }
}
