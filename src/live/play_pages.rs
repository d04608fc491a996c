//! What shows a run over a tune: the page on a terminal, or plain lines.

use super::events::Event;
use super::pages::fault;
use super::reminding::Minder;
use super::session::View;
use super::speaker::Speaker;
use crate::grading::{Attempt, Glimpse, Verdict, nearest_midi};
use crate::logbook::Row;
use crate::pitch::Reading;
use crate::practice::play::{ScoreTime, Tune};
use crate::theory::chart::PlayedChord;
use crate::theory::{Neck, Note};
use crate::units::{A4, SampleRate, signed};
use crate::views::letters;
use crate::views::live::{Look, News, PlainLines, figures, verdict_text, words};
use crate::views::play::{PlayLines, PlayState, Shown, draw, target_lines};
use crate::views::terminal::Screen;
use std::io::{self, Write};
use std::sync::Arc;

/// A verdict stays large for so long, s: then the neck is wanted again.
const VERDICT_STAYS_S: f64 = 1.5;
/// And is read in so many.
const VERDICT_READ_S: f64 = 0.7;

/// The neck that targets are shown on.
#[derive(Clone, Debug)]
pub struct Targets {
    /// The guitar.
    pub neck: Neck,
    /// First and last fret shown.
    pub frets: (u8, u8),
    /// Whether the nut is on the right.
    pub left_handed: bool,
}

/// What both kinds of view know.
pub struct Follower {
    tune: Arc<Tune>,
    score_time: ScoreTime,
    targets: Targets,
    a4: A4,
    rate: Option<SampleRate>,
    seconds: f64,
    shown_chord: Option<String>,
    state: PlayState,
    played: Vec<(Attempt, Row)>,
    heard_s: f64,
    verdict_until_s: Option<f64>,
    /// The word on the bend that sounds.
    said_last: Option<String>,
    /// What sounds, where anything does.
    speaker: Option<Speaker>,
    minder: Option<Minder>,
    reminder: Option<String>,
}

impl Follower {
    /// For one run.
    #[must_use]
    pub fn new(tune: Arc<Tune>, score_time: ScoreTime, targets: Targets, a4: A4) -> Self {
        let state = PlayState { title: tune.title.clone(), ..PlayState::default() };
        Self {
            tune,
            score_time,
            targets,
            a4,
            rate: None,
            seconds: 0.0,
            shown_chord: None,
            state,
            played: Vec::new(),
            heard_s: 0.0,
            verdict_until_s: None,
            said_last: None,
            speaker: None,
            minder: None,
            reminder: None,
        }
    }

    /// What sounds along is ended with the view, and what it says is shown.
    #[must_use]
    pub fn beside(mut self, speaker: Option<Speaker>) -> Self {
        self.speaker = speaker;
        self
    }

    /// With somebody who minds the hand.
    #[must_use]
    pub fn minded(mut self, minder: Minder) -> Self {
        self.minder = Some(minder);
        self
    }

    /// What the hand should be reminded of, where that is new; on the page as long as it holds.
    fn reminded(&mut self) -> Option<String> {
        let due = self.minder.as_ref().and_then(|minder| minder.reminder(self.seconds));
        if due == self.reminder {
            return None;
        }
        if due.is_some() || self.state.notice == self.reminder {
            self.state.notice.clone_from(&due);
        }
        self.reminder.clone_from(&due);
        due
    }

    /// What the player should know from the start.
    #[must_use]
    pub fn noticing(mut self, said: Vec<String>) -> Self {
        self.state.notice = said.into_iter().last();
        self
    }

    /// What the player should know of the sound.
    fn sound_notice(&mut self) -> Option<String> {
        let notice = self.speaker.as_ref().and_then(Speaker::notice)?;
        self.state.notice = Some(notice.clone());
        Some(notice)
    }

    fn event(&mut self, event: &Event) {
        if let Some(minder) = &mut self.minder {
            minder.event(event);
        }
        match event {
            Event::TakeBegan { rate, .. } => {
                self.rate = Some(*rate);
                self.seconds = 0.0;
            }
            Event::Graded(graded) => {
                self.state.last = Some(last(&graded.0, &graded.1, self.tune.count_name()));
                self.played.push((**graded).clone());
            }
            Event::Channel(chosen) => self.state.notice = Some(format!("Listening to channel {} of {}.", chosen.channel, chosen.of)),
            Event::Fault(kind) => self.state.notice = Some(fault(*kind).to_owned()),
            Event::Notice(sentence) => self.state.notice = Some(sentence.clone()),
            Event::TakeEnded { seconds } => self.heard_s = *seconds,
            Event::Seen(Glimpse::Said(verdict)) => self.say(*verdict),
            Event::Seen(Glimpse::Began(_)) => (self.verdict_until_s, self.said_last) = (None, None),
            Event::Seen(_) | Event::Curve(_) | Event::Over(_) | Event::Told(_) => {}
        }
    }

    /// The words on a bend, as they become known while it sounds.
    fn say(&mut self, verdict: Verdict) {
        let Some(text) = verdict.headline().map(verdict_text) else { return };
        // Said again, it is no newer.
        if self.said_last.as_ref() != Some(&text) {
            self.verdict_until_s = Some(self.seconds + VERDICT_STAYS_S);
            self.state.verdict = Some(text.clone());
            self.said_last = Some(text);
        }
    }

    fn reading(&mut self, reading: &Reading) {
        let Some(rate) = self.rate else { return };
        self.seconds = self.seconds.max(reading.at.seconds(rate));
        let chord = self.chord().and_then(|played| played.chord.clone());
        self.state.sounds = reading.hz().map(|hz| {
            // Shown as it is fingered.
            let cents = self.a4.cents(hz) - 100.0 * f64::from(self.targets.neck.sounding_offset());
            let midi = nearest_midi(cents);
            let tone = chord.as_ref().and_then(|chord| chord.tone_of_pitch(midi));
            let note = tone.and_then(|tone| tone.name.at(midi)).unwrap_or_else(|| Note::usual(midi));
            (note.to_string(), (cents - 100.0 * f64::from(midi)).round() as i32, tone.map(|tone| tone.degree.to_string()))
        });
    }

    fn score_s(&self) -> Option<f64> {
        (self.score_time)(self.seconds)
    }

    fn chord(&self) -> Option<&PlayedChord> {
        self.tune.timeline.chord_at(self.score_s()?)
    }

    /// Brings the state up to the instant that was heard last.
    fn follow(&mut self, columns: usize) {
        let Some(score_s) = self.score_s() else { return };
        if self.verdict_until_s.is_none_or(|until| self.seconds > until) {
            self.state.verdict = None;
        }
        let timeline = &self.tune.timeline;
        let bars = self.tune.round_bars;
        self.state.place = timeline.bar_at(score_s).map(|bar| {
            let (number, round) = self.tune.place(bar.number);
            let tempo = 60.0 / bar.beat_s;
            (number, self.tune.first_bar + bars - 1, round, timeline.bars.len() / bars, tempo)
        });
        self.state.over = score_s >= timeline.length_s;
        self.state.count = timeline.bars.first().filter(|_| score_s < 0.0).map(|bar| {
            let beats = bar.metre.beats();
            let gone = (score_s / bar.beat_s).floor() as i64;
            gone.rem_euclid(i64::from(beats)) as u32 + 1
        });
        let now = timeline.chord_at(score_s).cloned();
        self.state.next = self.tune.next_change(score_s).map(|(next, beats)| (shown(next), beats));
        self.state.now = now.as_ref().map(shown);
        // In the count-in the hand goes to the first chord.
        let aimed = now.as_ref().or(timeline.chords.first().filter(|_| score_s < 0.0));
        let text = aimed.map(|played| format!("{} {columns}", played.text));
        if text != self.shown_chord {
            // The hand looks for the new chord: a word that was read already makes room.
            if self.verdict_until_s.is_some_and(|until| self.seconds > until - VERDICT_STAYS_S + VERDICT_READ_S) {
                self.state.verdict = None;
            }
            let Targets { neck, frets, left_handed } = &self.targets;
            let chord = aimed.and_then(|played| played.chord.as_ref());
            self.state.targets = target_lines(neck, *frets, *left_handed, chord, columns);
            self.shown_chord = text;
        }
    }

    /// What was graded, and how many seconds were heard.
    #[must_use]
    pub fn finish(self) -> (Vec<(Attempt, Row)>, f64) {
        if let Some(speaker) = self.speaker {
            speaker.finish();
        }
        let heard_s = if self.heard_s > 0.0 { self.heard_s } else { self.seconds };
        (self.played, heard_s)
    }
}

fn shown(played: &PlayedChord) -> Shown {
    let large = played.chord.as_ref().map_or_else(|| played.text.clone(), letters::of_chord);
    let name = |chord: &crate::theory::Chord| chord.tones().iter().map(|tone| tone.name.to_string()).collect::<Vec<_>>().join(" ");
    Shown { text: played.text.clone(), large, tones: played.chord.as_ref().map(name).unwrap_or_default() }
}

/// A bend in one line: where it landed, in which chord, how far from the nearest count.
fn last(attempt: &Attempt, row: &Row, count: &str) -> String {
    let place = row.chord.as_ref().map(|chord| match (&row.degree, &row.target_note) {
        (Some(degree), _) => format!(" (the {degree} of {chord})"),
        (None, Some(note)) => format!(" ({note} over {chord})"),
        (None, None) => format!(" (over {chord})"),
    });
    let measures = &attempt.measures;
    let beat = measures.late_ms().map(|late| format!("{} ms from the {count}", signed(late, 0)));
    let figures: Vec<String> = figures::of(attempt).into_iter().take(2).chain(beat).collect();
    format!("{}{}: {}", words(attempt), place.unwrap_or_default(), figures.join(", "))
}

/// The page on a terminal.
pub struct PlayPage {
    screen: Screen,
    look: Look,
    follower: Follower,
    drawn: Option<PlayState>,
    size: (u16, u16),
}

/// A view that hands out what it saw.
pub trait PlayView: View {
    /// What was graded, and how many seconds were heard; the terminal is given back.
    fn finish(self: Box<Self>) -> (Vec<(Attempt, Row)>, f64);
}

impl PlayPage {
    /// Takes the terminal.
    ///
    /// # Errors
    /// When standard output is none.
    pub fn new(look: Look, follower: Follower) -> io::Result<Self> {
        Ok(Self { screen: Screen::take()?, look, follower, drawn: None, size: (0, 0) })
    }
}

impl View for PlayPage {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        self.follower.event(event);
        Ok(())
    }

    fn reading(&mut self, reading: &Reading) {
        self.follower.reading(reading);
    }

    fn draw(&mut self) -> io::Result<()> {
        let size = self.screen.size()?;
        self.follower.sound_notice();
        self.follower.reminded();
        self.follower.follow(usize::from(size.0));
        let state = &self.follower.state;
        if self.drawn.as_ref() == Some(state) && size == self.size {
            return Ok(());
        }
        self.size = size;
        let look = self.look;
        self.screen.draw(|area, buffer| draw(state, look, area, buffer))?;
        self.drawn = Some(state.clone());
        Ok(())
    }

    fn lend(&mut self) {
        self.screen.lend();
    }

    fn take_again(&mut self) -> io::Result<()> {
        self.drawn = None;
        self.screen.take_again()
    }
}

impl PlayView for PlayPage {
    fn finish(self: Box<Self>) -> (Vec<(Attempt, Row)>, f64) {
        let Self { screen, follower, .. } = *self;
        drop(screen);
        follower.finish()
    }
}

/// Plain lines on any output.
pub struct PlayPlain<W> {
    out: W,
    follower: Follower,
    lines: PlayLines,
    rows: PlainLines,
    /// With input faster than playing speed, chords would no longer stand before what was played over them.
    rows_only: bool,
}

impl<W: Write> PlayPlain<W> {
    /// Lines to `out`.
    #[must_use]
    pub fn new(out: W, rows_only: bool, follower: Follower) -> Self {
        Self { out, follower, lines: PlayLines::default(), rows: PlainLines::default(), rows_only }
    }
}

impl<W: Write> View for PlayPlain<W> {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        self.follower.event(event);
        match event {
            Event::TakeBegan { file, origin, .. } => {
                let name = origin.name.as_deref().unwrap_or(origin.kind);
                let kept = file.as_ref().map_or_else(|| "not kept".to_owned(), |file| format!("kept in {}", file.display()));
                writeln!(self.out, "Listening to {name}; the take is {kept}.")?;
            }
            Event::Graded(graded) => {
                for line in self.rows.lines(&News::Graded(Box::new(graded.0.clone()))) {
                    writeln!(self.out, "{line}")?;
                }
            }
            Event::Channel(_) | Event::Fault(_) | Event::Notice(_) => {
                if let Some(notice) = &self.follower.state.notice {
                    writeln!(self.out, "{notice}")?;
                }
            }
            Event::Seen(_) | Event::Curve(_) | Event::TakeEnded { .. } | Event::Over(_) | Event::Told(_) => {}
        }
        Ok(())
    }

    fn reading(&mut self, reading: &Reading) {
        self.follower.reading(reading);
    }

    fn draw(&mut self) -> io::Result<()> {
        let notices = [self.follower.sound_notice(), self.follower.reminded()];
        for notice in notices.into_iter().flatten() {
            writeln!(self.out, "{notice}")?;
        }
        if !self.rows_only {
            self.follower.follow(80);
            for line in self.lines.lines(&self.follower.state) {
                writeln!(self.out, "{line}")?;
            }
        }
        self.out.flush()
    }
}

impl<W: Write> PlayView for PlayPlain<W> {
    fn finish(self: Box<Self>) -> (Vec<(Attempt, Row)>, f64) {
        self.follower.finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grading::Word;
    use crate::logbook::sidecar::AskedTune;
    use crate::pitch::Sounding;
    use crate::sound::Origin;
    use crate::theory::Tuning;
    use crate::theory::chart::{Chart, Example};
    use crate::units::FrameTime;

    /// At a time of the tune, in which a chord lasts 3.33 s.
    fn at(follower: &mut Follower, seconds: f64) {
        let at = FrameTime((seconds * 48_000.0).round() as u64);
        follower.reading(&Reading { at, ready: at, level_dbfs: None, sounding: Sounding::Silent });
        follower.follow(80);
    }

    fn said(follower: &mut Follower, word: Word) {
        follower.event(&Event::Seen(Glimpse::Said(Verdict { arrival: Some(word), ..Verdict::default() })));
    }

    #[test]
    fn a_verdict_makes_room_for_the_neck_when_it_has_been_read_and_sooner_when_the_chord_changes() {
        let name = "ii-V-I";
        let tune = Tune::new(&Chart::parse(name, Example::find(name).unwrap().text).unwrap(), name, &AskedTune::default()).unwrap();
        let change = tune.timeline.chords[1].start_s;
        let targets = Targets { neck: Neck::new(Tuning::standard(), 22).unwrap(), frets: (0, 15), left_handed: false };
        let mut follower = Follower::new(Arc::new(tune), Arc::new(Some), targets, A4::default());
        let origin = Origin { kind: "file", name: None };
        follower.event(&Event::TakeBegan { name: "take".into(), file: None, rate: SampleRate::new(48_000).unwrap(), origin });
        let shown = |follower: &Follower| follower.state.verdict.clone();
        at(&mut follower, 0.2);
        said(&mut follower, Word::Landed);
        at(&mut follower, 1.6);
        // Said once more with the release: no newer for that.
        said(&mut follower, Word::Landed);
        assert_eq!(shown(&follower).as_deref(), Some("landed"));
        at(&mut follower, 1.8);
        assert_eq!(shown(&follower), None, "after a second and a half");
        for (before_s, stays) in [(0.9, false), (0.3, true)] {
            follower.event(&Event::Seen(Glimpse::Began(FrameTime(0))));
            follower.seconds = 0.0;
            at(&mut follower, change - before_s);
            said(&mut follower, Word::Short(14));
            at(&mut follower, change + 0.05);
            assert_eq!(shown(&follower).is_some(), stays, "said {before_s} s before the change");
        }
    }
}
