//! The bars of a part as written: bar lines, entries, repeats.

use super::error::ChartFault;
use super::metre::Metre;
use crate::theory::words::quotable;
use crate::theory::{Chord, TheoryError};

/// One bar as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// What sounds in it, one after the other, filling it.
    pub entries: Vec<Entry>,
    /// `|:` before it.
    pub opens_repeat: bool,
    /// `:|` after it.
    pub closes_repeat: bool,
    /// Written as `%`.
    pub is_same_again: bool,
    /// The line of the text it begins in, from 0.
    pub line: usize,
}

/// A chord, or none, for some beats.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// As written: `Gm7`, `N.C.`
    pub text: String,
    /// `None` for N.C.
    pub chord: Option<Chord>,
    /// The beat it begins on, from 0.
    pub beat: u32,
    /// How many beats it lasts.
    pub beats: u32,
}

/// Bar number (from 1), line (from 0) and what is wrong there.
pub(super) type Trouble = (Option<usize>, Option<usize>, ChartFault);

enum Token<'a> {
    Word(&'a str),
    Line { opens: bool, closes: bool },
}

/// Reads the text of `bars`.
pub(super) fn read(text: &str, metre: &Metre, first_line: Option<usize>) -> Result<Vec<Bar>, Trouble> {
    let mut reader = Reader { metre, bars: Vec::new(), open: None, opens_next: false };
    let mut words: Vec<&str> = Vec::new();
    // Line and plainness of the bar line before, to tell an empty bar from the end of a line and from a double bar line.
    let mut last: Option<(usize, usize, bool)> = None;
    let mut words_line = 0;
    for (at, line, token) in tokens(text) {
        match token {
            Token::Word(word) => {
                if words.is_empty() {
                    words_line = line;
                }
                words.push(word);
                last = None;
            }
            Token::Line { opens, closes } => {
                let plain = !opens && !closes;
                if words.is_empty() {
                    if plain && last.is_some_and(|(before, end, was_plain)| was_plain && before == line && end < at) {
                        return Err((Some(reader.bars.len() + 1), Some(line), ChartFault::EmptyBar));
                    }
                } else {
                    reader.bar(&words, words_line).map_err(|(bar, fault)| (Some(bar), Some(words_line), fault))?;
                    words.clear();
                }
                reader.bar_line(opens, closes).map_err(|(bar, fault)| (Some(bar), Some(line), fault))?;
                last = Some((line, at + 1, plain));
            }
        }
    }
    if !words.is_empty() {
        reader.bar(&words, words_line).map_err(|(bar, fault)| (Some(bar), Some(words_line), fault))?;
    }
    if let Some(opened) = reader.open {
        let line = reader.bars.get(opened - 1).map(|bar| bar.line);
        return Err((Some(opened), line, ChartFault::RepeatNotClosed));
    }
    if reader.bars.is_empty() {
        return Err((None, first_line.map(|_| 0), ChartFault::NoBars));
    }
    Ok(reader.bars)
}

struct Reader<'m> {
    metre: &'m Metre,
    bars: Vec<Bar>,
    /// The number of the bar after the open `|:`.
    open: Option<usize>,
    opens_next: bool,
}

impl Reader<'_> {
    fn bar_line(&mut self, opens: bool, closes: bool) -> Result<(), (usize, ChartFault)> {
        let here = self.bars.len();
        if closes {
            match (self.open.take(), self.bars.last_mut()) {
                (Some(opened), Some(bar)) if opened <= here => bar.closes_repeat = true,
                (Some(opened), _) => return Err((opened, ChartFault::EmptyBar)),
                (None, _) => return Err((here.max(1), ChartFault::RepeatNotOpened)),
            }
        }
        if opens {
            if self.open.is_some() {
                return Err((here + 1, ChartFault::RepeatInRepeat));
            }
            self.open = Some(here + 1);
            self.opens_next = true;
        }
        Ok(())
    }

    fn bar(&mut self, words: &[&str], line: usize) -> Result<(), (usize, ChartFault)> {
        let number = self.bars.len() + 1;
        let is_same_again = words == ["%"];
        let entries = if is_same_again {
            self.bars.last().ok_or((number, ChartFault::NothingToRepeat))?.entries.clone()
        } else if words.contains(&"%") {
            return Err((number, ChartFault::NotAlone { found: quotable(&words.join(" ")) }));
        } else {
            self.entries(words).map_err(|fault| (number, fault))?
        };
        let opens_repeat = std::mem::take(&mut self.opens_next);
        self.bars.push(Bar { entries, opens_repeat, closes_repeat: false, is_same_again, line });
        Ok(())
    }

    /// One entry fills a bar; as many as beats are a beat each; as many as groups a group each; else equal shares.
    fn entries(&self, words: &[&str]) -> Result<Vec<Entry>, ChartFault> {
        let beats = self.metre.beats();
        let count = words.len() as u32;
        let share: Box<dyn Fn(usize) -> u32> = if count == beats {
            Box::new(|_| 1)
        } else if words.len() == self.metre.groups().len() {
            Box::new(|index| self.metre.groups()[index])
        } else if count <= beats && beats.is_multiple_of(count) {
            Box::new(move |_| beats / count)
        } else {
            // A wrong word is told first: it may be why the count is wrong.
            words.iter().filter(|word| **word != "/").try_for_each(|word| symbol(word).map(|_| ()))?;
            return Err(if count > beats {
                ChartFault::TooMany { entries: words.len(), beats, metre: self.metre.to_string() }
            } else {
                ChartFault::Uneven { entries: words.len(), beats }
            });
        };
        let mut entries: Vec<Entry> = Vec::new();
        let mut beat = 0;
        for (index, word) in words.iter().enumerate() {
            let beats = share(index);
            match (*word, entries.last_mut()) {
                ("/", Some(held)) => held.beats += beats,
                ("/", None) => {
                    let held = self.bars.last().and_then(|bar| bar.entries.last()).ok_or(ChartFault::NothingToHold)?;
                    entries.push(Entry { beat, beats, ..held.clone() });
                }
                (word, _) => entries.push(Entry { text: word.to_string(), chord: symbol(word)?, beat, beats }),
            }
            beat += beats;
        }
        Ok(entries)
    }
}

/// A chord, or `None` for N.C.
fn symbol(word: &str) -> Result<Option<Chord>, ChartFault> {
    if matches!(word.to_ascii_uppercase().as_str(), "N.C." | "N.C" | "NC" | "NC.") {
        return Ok(None);
    }
    let chord = Chord::parse(word).map_err(|error| match error {
        TheoryError::Chord { found, reason, hint } if word.ends_with('/') && hint.is_empty() => {
            TheoryError::Chord { found, reason, hint: "; leave a space before a / that holds a beat".to_string() }
        }
        other => other,
    });
    chord.map(Some).map_err(ChartFault::Word)
}

/// Words and bar lines with their place and line.
fn tokens(text: &str) -> Vec<(usize, usize, Token<'_>)> {
    let mut found = Vec::new();
    let mut line = 0;
    let mut at = 0;
    while let Some(c) = text[at..].chars().next() {
        if c == '\n' {
            line += 1;
        }
        if c.is_whitespace() {
            at += c.len_utf8();
            continue;
        }
        let rest = &text[at..];
        if c == '|' || rest.starts_with(":|") {
            let length = rest.find(|c| c != '|' && c != ':').unwrap_or(rest.len());
            let sign = &rest[..length];
            found.push((at + length - 1, line, Token::Line { opens: sign.ends_with(':'), closes: sign.starts_with(':') }));
            at += length;
            continue;
        }
        let length = rest.find(|c: char| c.is_whitespace() || c == '|').unwrap_or(rest.len());
        // `C:|` closes a repeat without a space before it.
        let length = if rest[length..].starts_with('|') && rest[..length].ends_with(':') { length - 1 } else { length };
        found.push((at, line, Token::Word(&rest[..length])));
        at += length;
    }
    found
}
