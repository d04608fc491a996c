//! A drill on the page, at 80 by 24 and smaller, and the same as lines.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::grading::{Technique, Verdict, Word};
use landfall::views::live::{Ask, Count, Guess, Guessing, Lesson, LiveState, Look, News, PlainLines, draw};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

fn lesson() -> Lesson {
    Lesson {
        title: "Bend and hold".into(),
        step: (3, 8),
        lead: "Hold it still until the bar reaches its mark.".into(),
        ..Lesson::default()
    }
}

fn state(lesson: Lesson) -> LiveState {
    let ask = Ask {
        place: Some((2, 8)),
        origin: Some((6700.0, "G4".to_owned())),
        target: Some((6900.0, "A4".to_owned())),
        bend_cents: Some(200.0),
        technique: Some(Technique::Bend),
        hold_s: Some(1.5),
        ..Ask::default()
    };
    let mut state = LiveState::default();
    state.apply(News::Lesson(Box::new(lesson)));
    state.apply(News::Ask(ask));
    state
}

/// A bend 14 cents short, on its way (`over` false) or let go.
fn bent(lesson: Lesson, over: bool) -> LiveState {
    let mut state = state(lesson);
    state.apply(News::Onset { at_s: 10.0 });
    state.apply(News::Reading { at_s: 10.4, cents: Some(6886.0) });
    state.apply(News::Arrived { onset_s: 10.0, at_s: 10.3 });
    if over {
        let verdict = Verdict { arrival: Some(Word::Short(14)), ..Verdict::default() };
        state.apply(News::Verdict(verdict));
        state.apply(News::Reading { at_s: 12.0, cents: Some(6886.0) });
        state.apply(News::HoldEnded { at_s: 12.0 });
    }
    state
}

fn page(state: &LiveState, width: u16, height: u16) -> String {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(state, Look::default(), area, &mut buffer);
    let row = |y| (0..width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned();
    (0..height).map(row).collect::<Vec<_>>().join("\n")
}

#[test]
fn the_page_says_which_step_it_is_and_what_to_do() {
    insta::assert_snapshot!("80x24_step_waits", page(&state(lesson()), 80, 24));
}

#[test]
fn a_cue_stands_at_the_foot() {
    let cue = "Put two fingers behind the bending one and hold with the turn of the forearm.";
    insta::assert_snapshot!("80x24_cue", page(&bent(Lesson { cue: Some(cue.into()), ..lesson() }, true), 80, 24));
}

#[test]
fn an_unseen_bend_shows_no_moving_pitch_before_it_is_over() {
    let unseen = || Lesson { unseen: true, ..lesson() };
    let during = page(&bent(unseen(), false), 80, 24);
    assert!(!during.contains("▀▀▀▀"), "the pitch is on the page:\n{during}");
    insta::assert_snapshot!("80x24_unseen", during);
    assert!(page(&bent(unseen(), true), 80, 24).contains("▀▀▀▀"), "over, it may be seen");
}

/// A good bend, but from another note than was asked for.
fn bent_elsewhere(lesson: Lesson) -> LiveState {
    let mut state = state(lesson);
    state.apply(News::Onset { at_s: 10.0 });
    state.apply(News::Reading { at_s: 10.4, cents: Some(6600.0) });
    state.apply(News::Arrived { onset_s: 10.0, at_s: 10.3 });
    state.apply(News::Aim { origin_cents: 6400.0, target_cents: 6600.0 });
    state.apply(News::Verdict(Verdict { arrival: Some(Word::Landed), ..Verdict::default() }));
    state
}

#[test]
fn another_note_than_was_asked_for_is_not_said_to_have_landed() {
    let cue = Lesson { cue: Some("Another note than asked for: it does not count, and the drill waits.".into()), ..lesson() };
    let state = bent_elsewhere(cue);
    assert_eq!(state.headline().as_deref(), Some("not G4"));
    insta::assert_snapshot!("80x24_another_note", page(&state, 80, 24));
    // Nor is it guessed at.
    let asked = bent_elsewhere(Lesson { guess: Guessing::Asked, ..lesson() });
    assert_eq!(asked.headline().as_deref(), Some("not G4"));
    // A bend that ends where it should answers the step, wherever it began.
    let mut state = bent(lesson(), false);
    state.apply(News::Aim { origin_cents: 6800.0, target_cents: 6900.0 });
    state.apply(News::Verdict(Verdict { arrival: Some(Word::Landed), ..Verdict::default() }));
    assert_eq!(state.headline().as_deref(), Some("landed"));
}

#[test]
fn the_verdict_waits_for_the_guess() {
    let asked = bent(Lesson { guess: Guessing::Asked, ..lesson() }, true);
    insta::assert_snapshot!("80x24_guess", page(&asked, 80, 24));
    assert_eq!(asked.headline().as_deref(), Some("guess"));
    let mut said = asked;
    said.apply(News::Lesson(Box::new(Lesson { guess: Guessing::Said(Guess::Over), ..lesson() })));
    assert_eq!(said.headline().as_deref(), Some("short 14"));
    assert_eq!(said.guessed().as_deref(), Some("you said over, it was not"));
    assert!(Guess::Short.is(Word::Short(14)) && Guess::In.is(Word::Landed) && !Guess::In.is(Word::Over(3)));
}

#[test]
fn a_guess_is_asked_for_once_a_bend_also_where_the_landing_is_picked_again() {
    let asked = || Lesson { guess: Guessing::Asked, ..lesson() };
    let mut state = bent(asked(), true);
    state.apply(News::Verdict(Verdict { release: Some(Word::Landed), ..Verdict::default() }));
    state.apply(News::Lesson(Box::new(Lesson { guess: Guessing::Said(Guess::Short), ..lesson() })));
    state.apply(News::Onset { at_s: 12.6 });
    state.apply(News::Lesson(Box::new(asked())));
    assert_eq!(state.headline().as_deref(), Some("short 14"));
    assert_eq!(state.guessed().as_deref(), Some("you said short, and so it was"));
    assert_eq!(state.question(), None);
    state.apply(News::Onset { at_s: 15.0 });
    state.apply(News::Arrived { onset_s: 15.0, at_s: 15.3 });
    state.apply(News::Verdict(Verdict { arrival: Some(Word::Landed), ..Verdict::default() }));
    state.apply(News::HoldEnded { at_s: 16.0 });
    assert_eq!(state.headline().as_deref(), Some("guess"));
}

#[test]
fn a_rest_takes_the_page_and_says_how_long() {
    let rest = bent(
        Lesson { rest_s: Some(24), cue: Some("Nearer to the note: 14 cents off at first, 5 at the end of the set.".into()), ..lesson() },
        true,
    );
    insta::assert_snapshot!("80x24_rest", page(&rest, 80, 24));
}

#[test]
fn a_small_terminal_still_says_step_and_verdict() {
    insta::assert_snapshot!("40x10_step", page(&bent(lesson(), true), 40, 10));
}

#[test]
fn lines_say_each_thing_once() {
    let mut lines = PlainLines::default();
    let news = |lesson: Lesson| News::Lesson(Box::new(lesson));
    assert_eq!(lines.lines(&news(lesson())), ["Bend and hold, 3 of 8."]);
    assert!(lines.lines(&news(lesson())).is_empty());
    let cue = Lesson { cue: Some("Make one push.".into()), rest_s: Some(30), ..lesson() };
    assert_eq!(lines.lines(&news(cue.clone())), ["Make one push.", "Rest the hand now; play on when you like."]);
    assert!(lines.lines(&news(Lesson { rest_s: Some(29), ..cue })).is_empty());
}

fn count(beat: u32, to_go: Option<u32>) -> Count {
    Count { beat, counting_in: false, what: "top", to_go, chords: None }
}

#[test]
fn beside_a_click_the_beat_stands_large_and_what_is_wanted_in_words() {
    let counting = Lesson { count: Some(Count { counting_in: true, ..count(3, Some(6)) }), ..lesson() };
    let waits = page(&state(counting), 80, 24);
    assert!(waits.contains("count-in, top in 6 beats"), "{waits}");
    insta::assert_snapshot!("80x24_count_in", waits);
    let during = Lesson { count: Some(count(2, Some(3))), unseen: true, ..lesson() };
    insta::assert_snapshot!("80x24_count_unseen", page(&bent(during, false), 80, 24));
    let over = Lesson { count: Some(count(4, None)), ..lesson() };
    insta::assert_snapshot!("80x24_count_over", page(&bent(over, true), 80, 24));
}

#[test]
fn over_changes_the_next_chord_stands_large_with_its_beats() {
    let chords = Some(("Gm7".to_owned(), "C7".to_owned()));
    let lesson =
        Lesson { title: "Third of each chord".into(), step: (2, 9), count: Some(Count { chords, ..count(3, Some(2)) }), ..lesson() };
    let mut waiting = state(lesson);
    waiting.ask.chord = Some("C7".into());
    waiting.ask.degree = Some("3".into());
    let seen = page(&waiting, 80, 24);
    assert!(seen.contains("Gm7 now, C7 in 2 beats"), "{seen}");
    insta::assert_snapshot!("80x24_count_changes", seen);
    insta::assert_snapshot!("60x20_count_changes", page(&waiting, 60, 20));
    for columns in 0..60 {
        for rows in 0..30 {
            let _ = page(&waiting, columns * 2, rows);
        }
    }
}

#[test]
fn the_rest_between_two_drills_counts_down_and_says_what_comes() {
    let drawn = |width: u16, height: u16| {
        let area = Rect::new(0, 0, width, height);
        let mut buffer = Buffer::empty(area);
        landfall::views::rest::draw(24, "Slow climb", area, &mut buffer);
        let row = |y| (0..width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned();
        (0..height).map(row).collect::<Vec<_>>().join("\n")
    };
    insta::assert_snapshot!("80x24_rest_between", drawn(80, 24));
    for (width, height) in [(0, 0), (3, 2), (20, 4), (200, 60)] {
        let _ = drawn(width, height);
    }
}
