//! A drill on the page: puts the coach's words into the view's, and keys and signs into what is told.

use super::drill_sound::DrillSound;
use super::events::Event;
use super::pages::Prompter;
use super::session::Want;
use super::world::Key;
use crate::grading::{Attempt, Glimpse, Telling};
use crate::practice::coach::{Asking, Coach};
use crate::practice::hands_free::{HandsFree, Sign};
use crate::practice::in_time::Moment;
use crate::practice::plan::{Gesture, Hear, Step};
use crate::practice::play::On;
use crate::units::SampleRate;
use crate::views::live::{Ask, Count, Guess, Guessing, Lesson, News};
use std::sync::{Arc, Mutex};

/// What was told is shown for so long, and can be taken back, s.
const SHOWN_S: f64 = 1.0;
/// The last verdict stays for so long before the drill ends, s.
const LAST_PAGE_S: f64 = 4.0;

/// How a drill is gone through.
#[derive(Clone, Debug, Default)]
pub struct Manner {
    /// The player says short, in or over before the verdict is shown.
    pub guess: bool,
    /// Signs on the guitar are heeded.
    pub hands_free: Option<HandsFree>,
    /// The drill ends by itself when everything was played.
    pub ends: bool,
}

/// Goes through a drill on the page.
pub struct Coaching {
    coach: Coach,
    manner: Manner,
    rate: Option<SampleRate>,
    asking: Option<Asking>,
    lesson: Option<Lesson>,
    shown: Option<(Ask, Lesson)>,
    told: Option<(String, f64)>,
    /// A sign that takes effect when nobody takes it back.
    pending: Option<(Sign, f64)>,
    guess: Guessing,
    wants: Vec<Want>,
    over_since_s: Option<f64>,
    /// What the drill came to, for whoever asks afterwards.
    outcome: Arc<Mutex<Option<String>>>,
    sound: Option<DrillSound>,
    last: Option<Attempt>,
    /// The pitch of the last attempt.
    curve: Vec<(f64, f64)>,
    /// The step whose note was sounded, and from when on another may.
    referred: Option<usize>,
    sounds_until_s: f64,
    struck_s: f64,
    /// When the note of the last row was over.
    last_over_s: f64,
    /// The steps are for different chords.
    chords_change: bool,
}

impl Coaching {
    /// With a coach.
    #[must_use]
    pub fn new(coach: Coach, manner: Manner) -> Self {
        let outcome = Arc::default();
        let guess = Guessing::No;
        let chords_change = coach.course().plan().steps.windows(2).any(|pair| pair[0].chord != pair[1].chord);
        Self {
            coach,
            manner,
            rate: None,
            asking: None,
            lesson: None,
            shown: None,
            told: None,
            pending: None,
            guess,
            wants: Vec::new(),
            over_since_s: None,
            outcome,
            sound: None,
            last: None,
            curve: Vec::new(),
            referred: None,
            sounds_until_s: 0.0,
            struck_s: 0.0,
            last_over_s: 0.0,
            chords_change,
        }
    }

    /// With sound.
    #[must_use]
    pub fn sounding(mut self, sound: DrillSound) -> Self {
        self.sound = Some(sound);
        self
    }

    /// Where the outcome stands after the run.
    #[must_use]
    pub fn outcome(&self) -> Arc<Mutex<Option<String>>> {
        Arc::clone(&self.outcome)
    }

    fn tell(&mut self, what: Telling, words: &str, seconds: f64) {
        self.wants.push(Want::Tell(what));
        self.told = Some((words.to_owned(), seconds));
    }

    fn obey(&mut self, sign: Sign, seconds: f64) {
        match sign {
            Sign::Repeat => self.tell(Telling::Repeat, "Once more.", seconds),
            Sign::Skip => self.tell(Telling::Skip, "On to the next.", seconds),
            Sign::End => self.wants.push(Want::End),
        }
    }

    fn graded(&mut self, attempt: &Attempt, seconds: f64) {
        self.coach.graded(attempt);
        let over_s = attempt.span.1.seconds(attempt.sample_rate);
        if attempt.step.is_some() {
            self.last_over_s = over_s;
        }
        // Whoever plays on already is not talked over.
        if let Some(sound) = self.sound.as_ref().filter(|_| attempt.step.is_some() && self.struck_s < over_s) {
            self.sounds_until_s = seconds + sound.after(attempt);
        }
        self.last = Some(attempt.clone());
        if let (Ok(mut outcome), Some(words)) = (self.outcome.lock(), self.coach.came_to()) {
            *outcome = Some(words);
        }
    }

    /// The last bend again; a word where nothing will sound.
    fn replay(&mut self, seconds: f64) {
        let words = match (&self.sound, &self.last) {
            (None, _) => "Nothing sounds here: with --sound target or --sound answer the up arrow plays the last bend again.",
            (Some(_), None) => "There is no bend yet to be played again.",
            (Some(sound), Some(last)) => match sound.replay(last, &self.curve) {
                Some(lasts_s) => {
                    self.sounds_until_s = seconds + lasts_s;
                    "The last bend as it was, then as it should be."
                }
                None => "The last note was no bend that could be played again.",
            },
        };
        self.told = Some((words.to_owned(), seconds));
    }

    fn has_tones(&self) -> bool {
        self.sound.as_ref().is_some_and(DrillSound::has_tones)
    }

    fn guessing(&mut self, key: Key) -> bool {
        if self.guess != Guessing::Asked {
            return false;
        }
        self.guess = Guessing::Said(match key {
            Key::Down => Guess::Short,
            Key::Up => Guess::Over,
            _ => Guess::In,
        });
        true
    }

    fn lesson_of(&self, asking: &Asking, seconds: f64) -> Lesson {
        let plan = self.coach.course().plan();
        let first = match asking.step.hear {
            Hear::Nothing => None,
            Hear::Target if self.has_tones() => Some("Listen first: the note to reach.".to_owned()),
            Hear::Target if asking.step.by_ear => {
                Some(format!("The note to reach is {}: hear it in your head, then bend to it.", asking.step.target_words()))
            }
            Hear::Target => Some(format!("Hear {} first: sing it, or fret it.", asking.step.target_words())),
            Hear::Fretted(place) => {
                Some(format!("First pick string {}, fret {}: that note is the one to reach.", place.string, place.fret))
            }
        };
        Lesson {
            title: self.coach.title().to_owned(),
            step: (asking.index + 1, plan.steps.len()),
            lead: plan.lead.clone(),
            cue: self.coach.sentence(),
            told: self.told.as_ref().map(|(words, _)| words.clone()),
            unseen: asking.unseen,
            first,
            guess: self.guess,
            rest_s: self.coach.rest_s(seconds).map(|left| left.ceil() as u32),
            count: self.count(asking, seconds),
            over: false,
        }
    }

    /// What is counted now, where there is a click.
    fn count(&self, asking: &Asking, seconds: f64) -> Option<Count> {
        let in_time = self.coach.course().time()?;
        // A note that was struck since the last row came is the one that is asked for.
        let struck = Some(self.struck_s).filter(|struck| *struck > self.last_over_s);
        let Moment { beat, counting_in, to_go } = in_time.moment(seconds, struck)?;
        let before = asking.index.checked_sub(1).and_then(|index| self.coach.course().plan().steps.get(index));
        let chords = asking.step.chord.clone().filter(|_| self.chords_change).map(|next| {
            let now = before.and_then(|step| step.chord.clone()).unwrap_or_default();
            // Once the top is due, the chord that it was for is in force.
            if to_go.is_none() { (next.clone(), next) } else { (now, next) }
        });
        let what = if in_time.grid().on() == On::Top { "top" } else { "pick" };
        Some(Count { beat, counting_in, what, to_go, chords })
    }
}

impl Prompter for Coaching {
    fn event(&mut self, event: &Event, seconds: f64) -> Vec<News> {
        match event {
            Event::TakeBegan { rate, .. } => self.rate = Some(*rate),
            Event::Told(told) => self.coach.told(*told),
            Event::Curve(curve) => self.curve.clone_from(curve),
            Event::Graded(graded) => self.graded(&graded.0, seconds),
            Event::Seen(Glimpse::Began(at)) => {
                let at_s = self.rate.map_or(seconds, |rate| at.seconds(rate));
                self.coach.struck();
                self.struck_s = at_s;
                self.guess = if self.manner.guess { Guessing::Asked } else { Guessing::No };
                if self.pending.take().is_some() {
                    self.told = Some(("Taken back.".to_owned(), at_s));
                } else if let Some(hands) = &mut self.manner.hands_free {
                    hands.stroke(at_s);
                }
            }
            _ => {}
        }
        Vec::new()
    }

    fn reading(&mut self, at_s: f64, cents: Option<f64>) {
        if let (Some(hands), Some(cents)) = (&mut self.manner.hands_free, cents) {
            hands.pitch(at_s, cents);
        }
    }

    fn key(&mut self, key: Key, seconds: f64) {
        if self.guessing(key) {
            return;
        }
        match key {
            Key::Up => self.replay(seconds),
            Key::Next => self.tell(Telling::Skip, "On to the next. Left or page up takes it back.", seconds),
            Key::Back => self.tell(Telling::Repeat, "Once more. Right or space takes it back.", seconds),
            _ => {}
        }
    }

    fn now(&mut self, seconds: f64) -> Vec<News> {
        if let Some((sign, since)) = self.pending
            && seconds - since > SHOWN_S
        {
            self.pending = None;
            self.obey(sign, seconds);
        }
        if let Some(sign) = self.manner.hands_free.as_mut().and_then(|hands| hands.sign(seconds)) {
            let words = match sign {
                Sign::Repeat => "Once more, unless you pick a note now.",
                Sign::Skip => "On to the next, unless you pick a note now.",
                Sign::End => "The end, unless you pick a note now.",
            };
            self.told = Some((words.to_owned(), seconds));
            self.pending = Some((sign, seconds));
        }
        if self.told.as_ref().is_some_and(|(_, since)| seconds - since > 2.0 * SHOWN_S) {
            self.told = None;
        }
        let Some(asking) = self.coach.ask(seconds) else {
            // A bend may be sounding that answers the last step: the end comes with its row.
            if self.coach.is_over() {
                let since = *self.over_since_s.get_or_insert(seconds);
                if self.manner.ends && seconds - since > LAST_PAGE_S {
                    self.wants.push(Want::End);
                }
            }
            return self.last_words();
        };
        self.over_since_s = None;
        let (ask, lesson) = (ask(&asking), self.lesson_of(&asking, seconds));
        if let Some(sound) = self.sound.as_ref().filter(|sound| sound.has_tones())
            && asking.step.hear == Hear::Target
            && self.referred != Some(asking.index)
            && seconds >= self.sounds_until_s
            && lesson.rest_s.is_none()
        {
            sound.reference(asking.step.target_cents(), 0.4);
            self.referred = Some(asking.index);
        }
        self.asking = Some(asking);
        let mut news: Vec<News> = self.sound.as_ref().and_then(DrillSound::notice).map(News::Notice).into_iter().collect();
        let (same_ask, same_lesson) = self.shown.as_ref().map_or((false, false), |(a, l)| (*a == ask, *l == lesson));
        if !same_lesson {
            news.push(News::Lesson(Box::new(lesson.clone())));
        }
        if !same_ask {
            news.push(News::Ask(ask.clone()));
        }
        self.lesson = Some(lesson.clone());
        self.shown = Some((ask, lesson));
        news
    }

    fn wants(&mut self) -> Vec<Want> {
        std::mem::take(&mut self.wants)
    }
}

impl Coaching {
    /// After the last step: what improved, and the way out.
    fn last_words(&mut self) -> Vec<News> {
        let Some(lesson) = &self.lesson else { return Vec::new() };
        let cue = self.coach.sentence().or_else(|| Some("That was the last one.".to_owned()));
        let last = Lesson { cue, told: None, guess: self.guess, rest_s: None, count: None, over: true, ..lesson.clone() };
        if *lesson == last {
            return Vec::new();
        }
        self.lesson = Some(last.clone());
        vec![News::Lesson(Box::new(last))]
    }
}

/// The step in the view's words.
fn ask(asking: &Asking) -> Ask {
    let step = &asking.step;
    let plain = step.gesture == Gesture::Plain;
    let target = (step.target_cents(), step.target_words());
    Ask {
        place: step.place.map(|place| (place.string, place.fret)),
        origin: Some((step.origin_cents, step.origin.clone())),
        also_from_cents: step.planned_from_cents,
        target: (!step.by_ear).then_some(target),
        bend_cents: (!plain && !step.by_ear).then_some(step.bend_cents),
        technique: match step.gesture {
            Gesture::Bend(technique) => Some(technique),
            Gesture::Plain => None,
        },
        chord: step.chord.clone(),
        degree: step.degree.clone(),
        hold_s: step.hold_s,
        then: then(step),
        plain,
        by_ear: step.by_ear,
    }
}

/// What is done at the top: of several bends of a drill it may be another thing each time.
fn then(step: &Step) -> Option<&'static str> {
    let released = matches!(step.gesture, Gesture::Bend(technique) if technique.is_released());
    match (step.restrike, step.shake.is_some(), released) {
        (true, ..) => Some("let it down, pick it again"),
        (_, true, _) => Some("shake it"),
        (_, _, true) => Some("let it down"),
        _ => step.hold_s.filter(|_| step.gesture != Gesture::Plain).map(|_| "hold it"),
    }
}
