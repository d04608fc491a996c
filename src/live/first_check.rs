//! The ten seconds before the first drill, as they are heard: what to do now, and afterwards what was found, until a key or a note.

use super::events::Event;
use super::session::View;
use super::world::Key;
use crate::grading::Glimpse;
use crate::pitch::Reading;
use crate::practice::check::{CHECK_S, Check, Finding, QUIET_S};
use crate::units::{A4, SampleRate};
use crate::views::check::{CheckPage, Step, draw};
use crate::views::terminal::Screen;
use std::io;

/// A note this soon after the check is the last string's, s.
const STILL_RINGS_S: f64 = 0.7;
/// That all is well is shown for so long, s.
const GOOD_S: f64 = 2.0;

/// Follows the check.
pub struct FirstCheck {
    check: Check,
    a4: A4,
    rate: Option<SampleRate>,
    now_s: f64,
    page: CheckPage,
    is_over: bool,
}

impl FirstCheck {
    /// Before anything was heard.
    #[must_use]
    pub fn new(check: Check, a4: A4) -> Self {
        let page = CheckPage { step: Step::Quiet(QUIET_S.ceil() as u32), notice: None };
        Self { check, a4, rate: None, now_s: 0.0, page, is_over: false }
    }

    /// What is to be seen.
    #[must_use]
    pub fn page(&self) -> &CheckPage {
        &self.page
    }

    /// What is to be mended, as far as it was heard.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        self.check.findings()
    }

    /// Whether the drill may begin: everything was heard, and what was found has been seen.
    #[must_use]
    pub fn is_over(&self) -> bool {
        let good = matches!(&self.page.step, Step::Found(found) if found.is_empty());
        self.is_over || (good && self.now_s > CHECK_S + GOOD_S)
    }

    /// Something happened.
    pub fn event(&mut self, event: &Event) {
        match event {
            Event::TakeBegan { rate, .. } => self.rate = Some(*rate),
            Event::Seen(Glimpse::Began(at)) => {
                let at_s = self.rate.map_or(0.0, |rate| at.seconds(rate));
                self.is_over |= matches!(self.page.step, Step::Found(_)) && at_s > CHECK_S + STILL_RINGS_S;
            }
            Event::Notice(sentence) => self.page.notice = Some(sentence.clone()),
            _ => {}
        }
    }

    /// A reading.
    pub fn reading(&mut self, reading: &Reading) {
        let Some(rate) = self.rate else { return };
        self.now_s = self.now_s.max(reading.at.seconds(rate));
        if matches!(self.page.step, Step::Found(_)) {
            return;
        }
        self.check.reading(reading.level_dbfs.map(f64::from), reading.hz().map(|hz| self.a4.cents(hz)));
        let left = |until_s: f64| (until_s - self.now_s).ceil().max(1.0) as u32;
        self.page.step = if self.now_s < QUIET_S {
            Step::Quiet(left(QUIET_S))
        } else if self.now_s < CHECK_S {
            let (heard, missing) = self.check.strings();
            Step::Pick { left_s: left(CHECK_S), heard, missing }
        } else {
            Step::Found(self.check.findings())
        };
    }

    /// A key goes on.
    pub fn key(&mut self) {
        self.is_over = true;
    }
}

/// The check on a terminal, or with nothing to look at.
pub struct CheckView {
    /// What is followed.
    pub followed: FirstCheck,
    screen: Option<Screen>,
    drawn: Option<(CheckPage, (u16, u16))>,
}

impl CheckView {
    /// On the page where `paged`, which takes the terminal.
    ///
    /// # Errors
    /// When standard output is none.
    pub fn new(followed: FirstCheck, paged: bool) -> io::Result<Self> {
        let screen = if paged { Some(Screen::take()?) } else { None };
        Ok(Self { followed, screen, drawn: None })
    }
}

impl View for CheckView {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        self.followed.event(event);
        Ok(())
    }

    fn reading(&mut self, reading: &Reading) {
        self.followed.reading(reading);
    }

    fn key(&mut self, _: Key) {
        self.followed.key();
    }

    fn has_enough(&self) -> bool {
        self.screen.is_some() && self.followed.is_over()
    }

    fn draw(&mut self) -> io::Result<()> {
        let Some(screen) = &mut self.screen else { return Ok(()) };
        let shown = (self.followed.page().clone(), screen.size()?);
        if self.drawn.as_ref() != Some(&shown) {
            screen.draw(|area, buffer| draw(&shown.0, area, buffer))?;
            self.drawn = Some(shown);
        }
        Ok(())
    }

    fn lend(&mut self) {
        if let Some(screen) = &mut self.screen {
            screen.lend();
        }
    }

    fn take_again(&mut self) -> io::Result<()> {
        self.drawn = None;
        self.screen.as_mut().map_or(Ok(()), Screen::take_again)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Sounding;
    use crate::sound::Origin;
    use crate::theory::Tuning;
    use crate::units::FrameTime;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// A hundred readings a second until `until_s`: silence, and from 4 to 5 s the second string, so many cents off.
    fn heard(check: &mut FirstCheck, until_s: f64, off_cents: f64) {
        while check.now_s < until_s {
            let at_s = check.now_s + 0.01;
            let at = FrameTime(rate().span(at_s).0);
            let sounds = (4.0..5.0).contains(&at_s);
            let hz = A4::default().hz_of(5900.0 + off_cents);
            let sounding = if sounds { Sounding::Pitched { hz, clarity: 0.99 } } else { Sounding::Silent };
            // It dies away as a string does.
            let level = if sounds { -20.0 - 44.0 * (at_s - 4.0) } else { -80.0 };
            check.reading(&Reading { at, ready: at, level_dbfs: Some(level as f32), sounding });
        }
    }

    fn begun() -> FirstCheck {
        let mut check = FirstCheck::new(Check::new(&Tuning::standard(), 0), A4::default());
        let origin = Origin { kind: "card", name: None };
        check.event(&Event::TakeBegan { name: "take".into(), file: None, rate: rate(), origin });
        check
    }

    fn began(at_s: f64) -> Event {
        Event::Seen(Glimpse::Began(FrameTime(rate().span(at_s).0)))
    }

    #[test]
    fn the_page_asks_for_quiet_then_for_each_string_and_says_which_were_heard() {
        let mut check = begun();
        assert_eq!(check.page().step, Step::Quiet(3));
        heard(&mut check, 1.5, 0.0);
        assert_eq!(check.page().step, Step::Quiet(2));
        heard(&mut check, 3.5, 0.0);
        assert_eq!(check.page().step, Step::Pick { left_s: 7, heard: vec![], missing: vec![1, 2, 3, 4, 5, 6] });
        heard(&mut check, 6.5, 0.0);
        assert_eq!(check.page().step, Step::Pick { left_s: 4, heard: vec![2], missing: vec![1, 3, 4, 5, 6] });
    }

    #[test]
    fn what_was_found_stands_until_a_note_or_a_key() {
        let found = || {
            let mut check = begun();
            heard(&mut check, 75.0, 14.0);
            let Step::Found(found) = &check.page().step else { panic!("{:?}", check.page()) };
            assert!(found.len() == 1 && found[0].word == "2 sharp" && found[0].sentence.contains("14 cents sharp"), "{found:?}");
            assert!(!check.is_over(), "nobody has played or pressed a key for a minute");
            check
        };
        let mut check = found();
        check.event(&began(10.5));
        assert!(!check.is_over(), "that was the last string of the check");
        check.event(&began(75.2));
        assert!(check.is_over());
        let mut check = found();
        check.key();
        assert!(check.is_over());
    }

    #[test]
    fn where_all_is_well_the_drill_begins_by_itself() {
        let mut check = begun();
        heard(&mut check, 10.5, 0.0);
        assert!(check.page().step == Step::Found(Vec::new()) && !check.is_over(), "{:?}", check.page());
        heard(&mut check, 12.5, 0.0);
        assert!(check.is_over());
    }
}
