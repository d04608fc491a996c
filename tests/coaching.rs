//! What a drill's page says of keys and signs, without a card: what cannot sound, and what was taken back.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::grading::Glimpse;
use landfall::live::coaching::{Coaching, Manner};
use landfall::live::events::Event;
use landfall::live::pages::Prompter;
use landfall::live::world::Key;
use landfall::practice::coach::Coach;
use landfall::practice::course::Course;
use landfall::practice::drills::Chosen;
use landfall::practice::hands_free::HandsFree;
use landfall::practice::parameters::Given;
use landfall::practice::stage::{Feedback, Stage};
use landfall::sound::Origin;
use landfall::units::{FrameTime, SampleRate};
use landfall::views::live::News;
use std::sync::Arc;

fn rate() -> SampleRate {
    SampleRate::new(48_000).unwrap()
}

fn coaching(manner: Manner) -> Coaching {
    let plan = Chosen::find("hold", &Given::new()).unwrap().plan(Stage::Steady, None).unwrap();
    let mut coaching = Coaching::new(Coach::new(Course::new(Arc::new(plan), &[]), Feedback::Live), manner);
    let origin = Origin { kind: "card", name: None };
    coaching.event(&Event::TakeBegan { name: "take".into(), file: None, rate: rate(), origin }, 0.0);
    coaching
}

/// What stands at the foot now, as far as it was just told.
fn told(coaching: &mut Coaching, at_s: f64) -> Option<String> {
    let news = coaching.now(at_s);
    news.into_iter().find_map(|news| if let News::Lesson(lesson) = news { lesson.told } else { None })
}

#[test]
fn the_up_arrow_says_so_where_nothing_will_sound() {
    let mut coaching = coaching(Manner::default());
    assert_eq!(told(&mut coaching, 0.5), None);
    coaching.key(Key::Up, 1.0);
    let said = told(&mut coaching, 1.0).unwrap();
    assert!(said.contains("Nothing sounds here") && said.contains("--sound"), "{said}");
}

/// Strikes, and lets sound what it does for two tenths of a second.
fn strike(coaching: &mut Coaching, at_s: f64, cents: f64) {
    coaching.event(&Event::Seen(Glimpse::Began(FrameTime(rate().span(at_s).0))), at_s);
    (4..16).for_each(|hundredth| coaching.reading(at_s + 0.01 * f64::from(hundredth), Some(cents)));
}

#[test]
fn a_sign_is_taken_back_by_a_note_and_takes_effect_without_one() {
    let signed = || {
        let mut coaching = coaching(Manner { hands_free: Some(HandsFree::new(4000.0, 4500.0)), ..Manner::default() });
        told(&mut coaching, 0.5);
        strike(&mut coaching, 1.0, 4000.0);
        strike(&mut coaching, 1.5, 4000.0);
        assert_eq!(told(&mut coaching, 2.5).as_deref(), Some("Once more, unless you pick a note now."));
        assert!(coaching.wants().is_empty(), "it waits for a second");
        coaching
    };
    let mut back = signed();
    strike(&mut back, 2.9, 6700.0);
    assert_eq!(told(&mut back, 3.0).as_deref(), Some("Taken back."));
    assert_eq!(told(&mut back, 5.0), None);
    assert!(back.wants().is_empty(), "nothing was asked once more");
    let mut stands = signed();
    assert_eq!(told(&mut stands, 3.6).as_deref(), Some("Once more."));
    assert_eq!(stands.wants().len(), 1);
}
