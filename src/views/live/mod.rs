//! The live view: a still page that starts anew at each pick, for a player two metres away who looks at the fretting hand.
//!
//! What happens comes in as [`News`], in order; [`LiveState`] holds what is to be seen, and the drawings are functions of it. There
//! is no clock in here: time is what the readings say.

mod another;
mod ask;
mod count;
mod counted;
mod ending;
pub mod figures;
mod landings;
mod lesson;
mod plain;
mod rules;
mod screen;
mod summary;
mod tendency;

pub use another::another;
pub use ask::Ask;
pub use counted::counted;
pub use ending::ending;
pub use figures::words;
pub use lesson::{Count, Guess, Guessing, Lesson};
pub use plain::PlainLines;
pub use screen::{Look, draw};
pub use summary::{Played, summary};
pub use tendency::tendency;

use crate::grading::{Attempt, Verdict, Word};

/// Landings that stay in sight.
pub const LANDINGS_SHOWN: usize = 5;

/// A final row belongs to the page on the screen when their attacks lie this close together, in seconds: the settled tracker places the
/// attack again, and the contract of a note's attack is a few milliseconds.
const SAME_ATTACK_S: f64 = 0.08;

/// Seconds from the end of a hold within which a pick at the landing is its restrike: a second to come home, and a second more.
const RESTRIKE_S: f64 = 2.0;

/// A sentence that the player has to know stays for so many attempts.
const NOTICE_STAYS: usize = 2;

/// Seconds from the end of a hold for which its page stays when something else is asked for; then the page says how far to bend next.
const PAGE_STAYS_S: f64 = 3.0;

/// Something that the view has to know.
#[derive(Clone, Debug, PartialEq)]
pub enum News {
    /// What to play next.
    Ask(Ask),
    /// A string was struck: the page starts anew.
    Onset {
        /// Seconds of the take.
        at_s: f64,
    },
    /// What sounds now.
    Reading {
        /// Seconds of the take.
        at_s: f64,
        /// Pitch in cents on the MIDI scale; `None` where none can be told.
        cents: Option<f64>,
    },
    /// Where the note starts from and what it is taken to aim at, as soon as that is known.
    Aim {
        /// Cents on the MIDI scale.
        origin_cents: f64,
        /// Cents on the MIDI scale.
        target_cents: f64,
    },
    /// A bend has arrived: the hold grows from here.
    Arrived {
        /// Attack of its note, seconds of the take.
        onset_s: f64,
        /// Seconds of the take.
        at_s: f64,
    },
    /// The hold is over: let down, damped or died away.
    HoldEnded {
        /// Seconds of the take.
        at_s: f64,
    },
    /// The words so far; words already said stay.
    Verdict(Verdict),
    /// The final row.
    Graded(Box<Attempt>),
    /// What the drill adds to the page.
    Lesson(Box<Lesson>),
    /// A sentence that the player has to know: a lost card, a full disk.
    Notice(String),
    /// What the hand should be reminded of; `None` when it is past.
    Reminder(Option<String>),
}

/// Everything that the live view shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LiveState {
    /// What to play.
    pub ask: Ask,
    /// The note on the page, from its attack until the next; `None` before the first.
    pub page: Option<Page>,
    /// Signed errors in cents of the last landings, oldest first, [`LANDINGS_SHOWN`] at most.
    pub landings: Vec<f64>,
    /// Attempts graded so far.
    pub graded: usize,
    /// Whether the moving pitch is hidden until the note is over.
    pub unseen: bool,
    /// The drill, where one is played.
    pub lesson: Option<Box<Lesson>>,
    /// The last sentence that the player has to know.
    pub notice: Option<String>,
    /// Attempts graded before it.
    pub noticed: usize,
    /// What the hand should be reminded of.
    pub reminder: Option<String>,
}

/// One note on the page.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// What was asked for when it was struck.
    pub ask: Ask,
    /// Its attack, seconds of the take.
    pub onset_s: f64,
    /// The last reading's instant.
    pub now_s: f64,
    /// The last reading's pitch.
    pub cents: Option<f64>,
    /// Where it starts from and what it aims at, in cents on the MIDI scale.
    pub aim: Option<(f64, f64)>,
    /// Whether the string was picked again at the landing.
    pub restruck: bool,
    /// When the hold began.
    pub arrival_s: Option<f64>,
    /// When the hold ended.
    pub hold_end_s: Option<f64>,
    /// The words so far.
    pub verdict: Verdict,
    /// The final row, once it is there.
    pub row: Option<Box<Attempt>>,
    /// What the player said of it before the verdict: said once, also where the note is picked again at the landing.
    pub guess: Option<Guess>,
    /// It is another note than a drill asked for.
    pub is_another: bool,
    /// Nothing moves on it any more: it has rung out or come home, or its row is there.
    pub over: bool,
}

impl LiveState {
    /// Takes in what happened.
    pub fn apply(&mut self, news: News) {
        match news {
            News::Ask(ask) => {
                // Asked for something else again, by a key: what was played before it is on the page no more.
                if ask != self.ask && self.page.as_ref().is_some_and(|page| page.over && page.ask != self.ask) {
                    self.page = None;
                }
                self.ask = ask;
            }
            // Behind the last attempt its page stays.
            News::Onset { .. } | News::Reading { .. } if self.is_done() => {}
            // Picked again where a bend has come home: its page stays, unless the new note is bent too.
            News::Onset { at_s } if self.page.as_ref().is_some_and(|page| page.may_be_restruck(at_s)) => {
                if let Some(page) = &mut self.page {
                    page.restruck = true;
                }
            }
            News::Onset { at_s } => self.page = Some(Page::starting(at_s, self.ask.clone())),
            News::Arrived { onset_s, at_s } => self.arrive(onset_s, at_s),
            News::Graded(row) => self.grade(row),
            News::Lesson(lesson) => {
                self.unseen = lesson.unseen;
                if let (Guessing::Said(guess), Some(page)) = (lesson.guess, &mut self.page) {
                    page.guess.get_or_insert(guess);
                }
                self.lesson = Some(lesson);
            }
            News::Notice(sentence) => (self.notice, self.noticed) = (Some(sentence), self.graded),
            News::Reminder(sentence) => self.reminder = sentence,
            of_the_note => {
                if let Some(page) = &mut self.page {
                    page.apply(&of_the_note);
                    if page.row.is_some() && page.ask != self.ask && page.hold_end_s.is_some_and(|end| page.now_s > end + PAGE_STAYS_S) {
                        self.page = None;
                    }
                }
            }
        }
    }

    fn arrive(&mut self, onset_s: f64, at_s: f64) {
        let same = |page: &Page| (page.onset_s - onset_s).abs() < SAME_ATTACK_S;
        // A second bend in one note is another attempt, and a page of its own.
        let page = self.page.take().filter(|page| same(page) && !(page.hold_end_s.is_some_and(|end| at_s > end)));
        let mut page = page.unwrap_or_else(|| Page::starting(onset_s, self.ask.clone()));
        page.arrival_s = Some(at_s);
        page.now_s = page.now_s.max(at_s);
        self.page = Some(page);
    }

    fn grade(&mut self, row: Box<Attempt>) {
        self.graded += 1;
        // Whoever plays on has seen it: what is to be done next has the foot again.
        if self.graded >= self.noticed + NOTICE_STAYS {
            self.notice = None;
        }
        let counts = row.step.is_some() || self.lesson.is_none();
        if let Some(error) = row.measures.hold_error_cents.filter(|_| counts) {
            if self.landings.len() == LANDINGS_SHOWN {
                self.landings.remove(0);
            }
            self.landings.push(error);
        }
        let same = |page: &&mut Page| row.measures.onset_s.is_some_and(|onset| (onset - page.onset_s).abs() < SAME_ATTACK_S);
        if let Some(page) = self.page.as_mut().filter(same) {
            let verdict = Verdict::of(&row);
            // A drill numbers what answers it. Words that were said stay.
            page.is_another |= page.verdict == Verdict::default() && row.step.is_none() && self.lesson.is_some();
            // What could not be said early is said now.
            page.apply(&News::Verdict(verdict));
            page.row = Some(row);
            page.over = true;
        }
    }

    /// The sentence at the foot: what has to be known first, then what was just told, the hand, the cue or what to do.
    #[must_use]
    pub fn foot(&self) -> String {
        let told = self.lesson.as_ref().and_then(|lesson| lesson.told.clone());
        let lesson = || self.lesson.as_ref().map(|lesson| lesson.foot());
        let said = self.notice.clone().or(told).or_else(|| self.reminder.clone()).or_else(lesson);
        said.unwrap_or_else(|| "q ends".to_owned())
    }

    /// Whether the drill is over, and the row of its last attempt there.
    fn is_done(&self) -> bool {
        let over = self.lesson.as_ref().is_some_and(|lesson| lesson.over);
        over && self.page.as_ref().is_none_or(|page| page.row.is_some())
    }

    /// Whether the note on the page is unseen as yet: nothing is told of its pitch before it is over.
    #[must_use]
    pub fn is_hidden(&self) -> bool {
        self.unseen && self.page.as_ref().is_some_and(|page| !page.over)
    }

    /// The large word at the upper rule: the verdict on the bend, and before the first note how far to bend.
    #[must_use]
    pub fn headline(&self) -> Option<String> {
        if let Some(seconds) = self.rest() {
            return Some(format!("rest {seconds}"));
        }
        match &self.page {
            Some(_) if self.is_hidden() => None,
            Some(page) if page.is_another => page.not_asked(),
            Some(_) if self.is_withheld() => self.question().map(|_| "guess".to_owned()),
            Some(page) => page.headline().map(verdict_text),
            None => self.ask.size_word().map(str::to_owned),
        }
    }

    /// The large word at the lower rule: how the release came home.
    #[must_use]
    pub fn homecoming(&self) -> Option<String> {
        if self.is_withheld() || self.is_hidden() || self.rest().is_some() {
            return None;
        }
        self.page.as_ref().filter(|page| !page.is_another)?.verdict.release.map(verdict_text)
    }

    /// The large word at the lower rule, which is the fretted note's, before the first note: its string and fret, `2/8`. Over changes the next chord stands there.
    #[must_use]
    pub fn place_word(&self) -> Option<String> {
        let over_changes = self.lesson.as_ref().and_then(|lesson| lesson.count.as_ref()).is_some_and(|count| count.chords.is_some());
        if self.page.is_some() || self.rest().is_some() || over_changes {
            return None;
        }
        self.ask.place.map(|(string, fret)| format!("{string}/{fret}"))
    }
}

impl Page {
    fn starting(onset_s: f64, ask: Ask) -> Self {
        let aim = ask.aim();
        Self {
            ask,
            onset_s,
            now_s: onset_s,
            cents: None,
            aim,
            restruck: false,
            arrival_s: None,
            hold_end_s: None,
            verdict: Verdict::default(),
            row: None,
            guess: None,
            is_another: false,
            over: false,
        }
    }

    fn apply(&mut self, news: &News) {
        match *news {
            // Readings come later than what was made of them.
            News::Reading { at_s, cents } if at_s >= self.onset_s => {
                self.now_s = self.now_s.max(at_s);
                self.cents = cents;
            }
            News::Aim { origin_cents, target_cents } => {
                self.is_another |= self.verdict == Verdict::default() && self.ask.is_another(origin_cents, target_cents);
                // The rules belong to what is asked for.
                if !self.is_another {
                    self.aim = Some((origin_cents, target_cents));
                }
            }
            News::HoldEnded { at_s } => self.hold_end_s = self.hold_end_s.or(Some(at_s)),
            News::Verdict(Verdict { arrival, hold, release }) => {
                let said = &mut self.verdict;
                said.arrival = said.arrival.or(arrival);
                said.hold = said.hold.or(hold);
                said.release = said.release.or(release);
            }
            _ => {}
        }
        // Let down, it still moves until it is home.
        self.over |= self.hold_end_s.is_some() && (self.cents.is_none() || self.verdict.release.is_some());
    }

    fn may_be_restruck(&self, at_s: f64) -> bool {
        !self.restruck && self.verdict.release.is_some() && self.hold_end_s.is_some_and(|end| at_s - end < RESTRIKE_S)
    }

    /// Of another note than was asked for: the one that was, or that it is another.
    fn not_asked(&self) -> Option<String> {
        self.verdict.arrival.or(self.verdict.hold)?;
        Some(self.ask.another_word())
    }

    /// Seconds held so far; `None` before the arrival, and of another note than a drill asked for.
    #[must_use]
    pub fn hold_s(&self) -> Option<f64> {
        if self.is_another {
            return None;
        }
        let until = self.hold_end_s.unwrap_or(self.now_s);
        self.arrival_s.map(|arrival| (until - arrival).max(0.0))
    }

    /// The word on the bend: where it arrived, unless it arrived well and then sank.
    #[must_use]
    pub fn headline(&self) -> Option<Word> {
        self.verdict.headline()
    }
}

/// A verdict in eight characters at most: three figures do not fit behind `short`, so an error of a semitone and more is the word alone.
#[must_use]
pub fn verdict_text(word: Word) -> String {
    match word {
        Word::Short(100..) => "short".to_owned(),
        Word::Over(100..) => "over".to_owned(),
        Word::Fell(100..) => "fell".to_owned(),
        short => short.to_string(),
    }
}
