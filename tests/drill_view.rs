//! A drill on the page, at 80 by 24 and smaller, and the same as lines.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::grading::{AskedFor, Attempt, Fault, Measures, Technique, Verdict, Word};
use landfall::units::{A4, FrameTime, SampleRate};
use landfall::views::live::{Ask, Count, Guess, Guessing, Lesson, LiveState, Look, News, PlainLines, another, draw};
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
fn a_narrow_page_leaves_out_the_size_before_the_notes() {
    let first = |width: u16| page(&state(lesson()), width, 12).lines().next().unwrap().to_owned();
    assert_eq!(first(40), "Bend string 2, fret 8: G4 to A4      3/8");
    assert_eq!(first(30), "Bend 2/8: G4 to A4         3/8");
    let foot = page(&state(lesson()), 40, 24).lines().skip(22).collect::<Vec<_>>().join("\n");
    assert_eq!(foot, "Hold it still until the bar reaches its\nmark.");
}

#[test]
fn a_cue_stands_at_the_foot() {
    let cue = "Put two fingers behind the bending one and hold with the turn of the forearm.";
    insta::assert_snapshot!("80x24_cue", page(&bent(Lesson { cue: Some(cue.into()), ..lesson() }, true), 80, 24));
}

#[test]
fn an_unseen_bend_shows_no_moving_pitch_before_it_is_over() {
    let unseen = || Lesson { unseen: true, ..lesson() };
    let mut state = bent(unseen(), false);
    state.apply(News::Verdict(Verdict { arrival: Some(Word::Short(14)), ..Verdict::default() }));
    let during = page(&state, 80, 24);
    assert!(!during.contains("▀▀▀▀"), "the pitch is on the page:\n{during}");
    assert_eq!(state.headline(), None, "a word in the middle of the note would tell the pitch as well");
    insta::assert_snapshot!("80x24_unseen", during);
    // Let down, it moves as long as it is on its way home.
    state.apply(News::HoldEnded { at_s: 12.0 });
    state.apply(News::Reading { at_s: 12.1, cents: Some(6790.0) });
    assert!(!page(&state, 80, 24).contains("▀▀▀▀") && state.headline().is_none());
    state.apply(News::Reading { at_s: 12.4, cents: Some(6703.0) });
    state.apply(News::Verdict(Verdict { release: Some(Word::Landed), ..Verdict::default() }));
    assert_eq!((state.headline().as_deref(), state.homecoming().as_deref()), (Some("short 14"), Some("landed")));
    assert!(!state.is_hidden(), "home, it may be seen");
    insta::assert_snapshot!("80x24_unseen_over", page(&state, 80, 24));
}

#[test]
fn an_unseen_bend_that_is_damped_is_told_when_it_is_silent() {
    let mut state = bent(Lesson { unseen: true, ..lesson() }, true);
    assert_eq!(state.headline(), None);
    state.apply(News::Reading { at_s: 12.05, cents: None });
    assert_eq!(state.headline().as_deref(), Some("short 14"));
}

#[test]
fn the_lines_say_nothing_of_an_unseen_bend_before_its_row() {
    let said = |lesson: Lesson| {
        let mut lines = PlainLines::default();
        lines.lines(&News::Lesson(Box::new(lesson)));
        lines.lines(&News::Verdict(Verdict { arrival: Some(Word::Short(14)), ..Verdict::default() }))
    };
    assert!(said(Lesson { unseen: true, ..lesson() }).is_empty());
    assert_eq!(said(lesson()), ["short 14"]);
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
    // No rule is moved to another note, and no hold grows for it.
    let drawn = page(&state, 80, 24);
    assert!(drawn.contains(" A4 ━━") && drawn.contains(" G4 ━━") && !drawn.contains("F#4"), "{drawn}");
    assert_eq!(state.page.as_ref().and_then(landfall::views::live::Page::hold_s), None);
    // Nor has a bend from the fret beside the right one landed, though it ends where it should.
    let mut state = bent(lesson(), false);
    state.apply(News::Aim { origin_cents: 6800.0, target_cents: 6900.0 });
    state.apply(News::Verdict(Verdict { arrival: Some(Word::Landed), ..Verdict::default() }));
    assert_eq!(state.headline().as_deref(), Some("not G4"));
}

#[test]
fn a_flat_is_a_small_b_in_the_large_word() {
    let with_flat = |rows: u16| {
        let mut state = state(lesson());
        state.apply(News::Ask(Ask {
            origin: Some((6300.0, "Eb4".to_owned())),
            target: Some((6500.0, "F4".to_owned())),
            ..state.ask.clone()
        }));
        state.apply(News::Onset { at_s: 10.0 });
        state.apply(News::Arrived { onset_s: 10.0, at_s: 10.3 });
        state.apply(News::Aim { origin_cents: 6700.0, target_cents: 6900.0 });
        state.apply(News::Verdict(Verdict { arrival: Some(Word::Landed), ..Verdict::default() }));
        assert_eq!(state.headline().as_deref(), Some("not Eb4"));
        page(&state, 80, rows)
    };
    insta::assert_snapshot!("80x24_another_note_flat", with_flat(24));
    assert!(with_flat(10).contains("NOT Eb4"), "{}", with_flat(10));
    assert!(with_flat(4).contains("NOT Eb4"), "{}", with_flat(4));
}

#[test]
fn behind_the_last_attempt_its_page_stays_and_no_note_begins_another() {
    let mut state = bent(lesson(), true);
    state.apply(News::Graded(Box::new(graded(&Measures { onset_s: Some(10.0), ..Measures::default() }, Vec::new()))));
    state.apply(News::Lesson(Box::new(Lesson { over: true, ..lesson() })));
    let before = state.clone();
    state.apply(News::Onset { at_s: 15.0 });
    state.apply(News::Reading { at_s: 15.2, cents: Some(6742.0) });
    assert_eq!(state, before);
}

fn graded(measures: &Measures, faults: Vec<Fault>) -> Attempt {
    Attempt {
        attempt: 1,
        step: Some(3),
        instead_of: None,
        span: (FrameTime(480_000), FrameTime(600_000)),
        technique: Technique::Bend,
        origin_cents: Some(6700.0),
        target_cents: Some(6900.0),
        bend_cents: Some(200.0),
        degree: None,
        standing: None,
        measures: *measures,
        restrike: false,
        landing_cents: None,
        repicks: 0,
        score: Some(70.0),
        faults,
        tolerance_cents: 10.0,
        release_tolerance_cents: 12.0,
        a4: A4::default(),
        sample_rate: SampleRate::new(48_000).unwrap(),
    }
}

/// The line on a row.
fn line(row: Attempt) -> String {
    let mut lines = PlainLines::default();
    lines.lines(&News::Lesson(Box::new(lesson())));
    lines.lines(&News::Graded(Box::new(row))).join(" ").replace("   ", " ")
}

#[test]
fn a_bend_from_another_fret_is_said_in_plain_words_on_page_and_line() {
    let asked = AskedFor { origin: "G4".into(), origin_cents: 6700.0, target: Some("A4".into()) };
    let elsewhere = |from: f64, to: f64, instead_of: &AskedFor| Attempt {
        step: None,
        instead_of: Some(instead_of.clone()),
        origin_cents: Some(from),
        target_cents: Some(to),
        bend_cents: Some(to - from),
        ..graded(&Measures { onset_s: Some(10.0), hold_error_cents: Some(0.0), hold_s: Some(1.6), ..Measures::default() }, Vec::new())
    };
    let row = elsewhere(6800.0, 6900.0, &asked);
    assert_eq!(another(&row).as_deref(), Some("one fret high: Ab4 to A4, not G4 to A4"));
    assert_eq!(line(row.clone()), "Attempt 1, beside the drill; one fret high: Ab4 to A4, not G4 to A4; held 0 c for 1.6 s.");
    assert_eq!(another(&elsewhere(6500.0, 6700.0, &asked)).as_deref(), Some("2 frets low: F4 to G4, not G4 to A4"));
    assert_eq!(another(&elsewhere(6000.0, 6200.0, &asked)).as_deref(), Some("another note: C4 to D4, not G4 to A4"));
    // By ear, the note to reach is not given away.
    let by_ear = AskedFor { target: None, ..asked };
    assert_eq!(another(&elsewhere(6800.0, 6900.0, &by_ear)).as_deref(), Some("one fret high: Ab4 to A4, not G4"));
    assert_eq!(another(&graded(&Measures::default(), Vec::new())), None);
    let mut state = bent(lesson(), false);
    state.apply(News::Aim { origin_cents: 6800.0, target_cents: 6900.0 });
    state.apply(News::Verdict(Verdict { arrival: Some(Word::Landed), ..Verdict::default() }));
    state.apply(News::Graded(Box::new(row)));
    assert!(page(&state, 80, 24).contains("one fret high: Ab4 to A4, not G4 to A4"), "{}", page(&state, 80, 24));
}

#[test]
fn the_line_on_a_fretted_note_names_it_once() {
    let held = Measures { hold_error_cents: Some(2.0), hold_s: Some(1.6), ..Measures::default() };
    let fretted = Attempt { target_cents: Some(6700.0), bend_cents: Some(0.0), ..graded(&held, Vec::new()) };
    assert!(line(fretted.clone()).starts_with("Attempt 1, step 3, G4: "), "{}", line(fretted));
    assert!(line(graded(&held, Vec::new())).starts_with("Attempt 1, step 3, G4 to A4: "));
}

#[test]
fn the_lines_do_not_say_of_another_note_that_it_landed() {
    let mut lines = PlainLines::default();
    lines.lines(&News::Ask(state(lesson()).ask));
    lines.lines(&News::Onset { at_s: 10.0 });
    lines.lines(&News::Aim { origin_cents: 6800.0, target_cents: 6900.0 });
    let landed = Verdict { arrival: Some(Word::Landed), ..Verdict::default() };
    assert_eq!(lines.lines(&News::Verdict(landed)), ["not G4"]);
    assert!(lines.lines(&News::Verdict(Verdict { release: Some(Word::Landed), ..landed })).is_empty());
    lines.lines(&News::Onset { at_s: 14.0 });
    assert_eq!(lines.lines(&News::Verdict(landed)), ["landed"]);
}

#[test]
fn where_the_hold_is_not_what_the_word_is_about_the_line_says_what_became_of_it() {
    let held = |arrival: f64, hold: f64, drift: Option<f64>, faults: Vec<Fault>| {
        let measures = Measures {
            onset_s: Some(10.0),
            arrival_error_cents: Some(arrival),
            hold_error_cents: Some(hold),
            hold_drift_cents_per_s: drift,
            hold_s: Some(2.3),
            ..Measures::default()
        };
        line(graded(&measures, faults))
    };
    let head = "Attempt 1, step 3, G4 to A4:";
    assert_eq!(held(-25.0, 0.0, None, vec![]), format!("{head} short 25; then came up, held 0 c for 2.3 s."));
    assert_eq!(held(22.0, 4.0, None, vec![]), format!("{head} over 22; then came down, held +4 c for 2.3 s."));
    assert_eq!(
        held(-32.0, -32.0, None, vec![Fault::Corrected]),
        format!("{head} short 32; then came up, held -32 c for 2.3 s; corrected."),
        "it stood at the first stop for most of the time"
    );
    // Sinking by 14 cents a second from the middle of the first 150 ms to the middle of the last: 30 in 2.15 s.
    assert_eq!(
        held(0.0, -15.0, Some(-14.0), vec![]),
        format!("{head} fell 30 by the end; held -15 c on average for 2.3 s; drifts -14 c a second.")
    );
    assert_eq!(held(-14.0, -14.0, None, vec![]), format!("{head} short 14; held -14 c for 2.3 s."));
}

#[test]
fn home_is_the_frets_own_pitch_in_the_figure_as_in_the_word() {
    let measures = Measures {
        onset_s: Some(10.0),
        arrival_error_cents: Some(0.0),
        origin_error_cents: Some(-30.0),
        release_error_cents: Some(-28.0),
        ..Measures::default()
    };
    assert_eq!(line(graded(&measures, vec![Fault::StringOff])), "Attempt 1, step 3, G4 to A4: landed; home +2 c; string off.");
}

#[test]
fn the_strokes_of_a_long_hold_leave_the_name_of_the_note_alone() {
    let mut state = bent(lesson(), false);
    for tenths in 110..200 {
        state.apply(News::Reading { at_s: f64::from(tenths) / 10.0, cents: Some(6886.0) });
        for width in 40..120 {
            let drawn = page(&state, width, 24);
            assert!(drawn.contains("━ A4 ━━"), "{drawn}");
        }
    }
}

#[test]
fn a_reminder_stands_at_the_foot_above_the_cue_and_under_what_was_just_told_until_it_is_past() {
    const REST: &str = "Forty whole bends in ten minutes: rest the hand, or do something lighter.";
    let last = |state: &LiveState| page(state, 80, 24).lines().last().unwrap_or_default().to_owned();
    let mut state = bent(Lesson { cue: Some("Ease off at the end.".into()), ..lesson() }, true);
    state.apply(News::Reminder(Some(REST.to_owned())));
    assert_eq!(last(&state), REST);
    let told = Lesson { told: Some("Once more.".into()), cue: Some("Ease off at the end.".into()), ..lesson() };
    state.apply(News::Lesson(Box::new(told)));
    assert_eq!(last(&state), "Once more.");
    state.apply(News::Lesson(Box::new(Lesson { cue: Some("Ease off at the end.".into()), ..lesson() })));
    state.apply(News::Reminder(None));
    assert_eq!(last(&state), "Ease off at the end.");
}

#[test]
fn a_sentence_that_has_been_seen_gives_the_foot_back_to_the_drill() {
    let last = |state: &LiveState| page(state, 80, 24).lines().last().unwrap_or_default().to_owned();
    let mut state = state(lesson());
    state.apply(News::Notice("Listening to channel 1 of 2.".to_owned()));
    let row = || News::Graded(Box::new(graded(&Measures { onset_s: Some(10.0), ..Measures::default() }, Vec::new())));
    state.apply(row());
    assert_eq!(last(&state), "Listening to channel 1 of 2.");
    state.apply(row());
    assert_eq!(last(&state), "Hold it still until the bar reaches its mark.");
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
