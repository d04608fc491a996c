//! Every screen of the live view with fixed input, as a player would see it.

use landfall::grading::{Attempt, Fault, Measures, Technique, Verdict, Word};
use landfall::units::{A4, FrameTime, SampleRate};
use landfall::views::live::{Ask, LANDINGS_SHOWN, LiveState, Look, News, PlainLines, draw};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Color;

/// The page as text, without the spaces at the ends of its lines.
fn page(state: &LiveState, columns: u16, rows: u16) -> String {
    let buffer = picture(state, Look::default(), columns, rows);
    let line = |row: u16| (0..columns).map(|column| buffer[(column, row)].symbol()).collect::<String>().trim_end().to_owned();
    (0..rows).map(line).collect::<Vec<_>>().join("\n")
}

fn picture(state: &LiveState, look: Look, columns: u16, rows: u16) -> Buffer {
    let area = Rect::new(0, 0, columns, rows);
    let mut buffer = Buffer::empty(area);
    draw(state, look, area, &mut buffer);
    buffer
}

fn asked() -> Ask {
    Ask {
        place: Some((2, 8)),
        origin: Some((6700.0, "G4".to_owned())),
        target: Some((6900.0, "A4".to_owned())),
        bend_cents: Some(200.0),
        technique: Some(Technique::BendRelease),
        chord: Some("Dm".to_owned()),
        degree: Some("5".to_owned()),
        hold_s: Some(1.5),
        ..Ask::default()
    }
}

fn waiting() -> LiveState {
    after([News::Ask(asked())])
}

fn after(news: impl IntoIterator<Item = News>) -> LiveState {
    let mut state = LiveState::default();
    for item in news {
        state.apply(item);
    }
    state
}

fn reading(at_s: f64, cents: f64) -> News {
    News::Reading { at_s, cents: Some(cents) }
}

fn arrived(word: Word) -> [News; 3] {
    let arrival = Verdict { arrival: Some(word), ..Verdict::default() };
    [News::Onset { at_s: 10.0 }, News::Arrived { onset_s: 10.0, at_s: 10.5 }, News::Verdict(arrival)]
}

fn row(measures: &Measures, faults: Vec<Fault>) -> News {
    News::Graded(Box::new(Attempt {
        attempt: 1,
        step: None,
        instead_of: None,
        span: (FrameTime(480_000), FrameTime(600_000)),
        technique: Technique::BendRelease,
        origin_cents: Some(6700.0),
        target_cents: Some(6900.0),
        bend_cents: Some(200.0),
        degree: Some("5".to_owned()),
        standing: None,
        measures: *measures,
        restrike: false,
        landing_cents: Some(6702.0),
        repicks: 0,
        score: Some(88.0),
        faults,
        tolerance_cents: 10.0,
        release_tolerance_cents: 12.0,
        a4: A4::default(),
        sample_rate: SampleRate::new(48_000).expect("not 0"),
    }))
}

fn sharp_release() -> LiveState {
    let mut state = waiting();
    for error in [-14.0, 1.0, 34.0, -4.0] {
        state.apply(row(&Measures { onset_s: Some(3.0), hold_error_cents: Some(error), ..Measures::default() }, vec![]));
    }
    let release = Verdict { arrival: Some(Word::Landed), hold: None, release: Some(Word::Over(17)) };
    for news in arrived(Word::Landed).into_iter().chain([
        News::HoldEnded { at_s: 11.75 },
        News::Verdict(release),
        reading(12.0, 6717.0),
        row(
            &Measures {
                onset_s: Some(10.003),
                hold_error_cents: Some(2.2),
                hold_s: Some(1.25),
                rise_ms: Some(152.0),
                release_error_cents: Some(17.3),
                ..Measures::default()
            },
            vec![Fault::ReleaseSharp],
        ),
    ]) {
        state.apply(news);
    }
    state
}

/// Each screen by its name.
fn screens() -> Vec<(&'static str, LiveState)> {
    let rising = {
        let mut state = waiting();
        state.apply(News::Onset { at_s: 10.0 });
        state.apply(reading(10.4, 6822.0));
        state
    };
    let holding = {
        let mut state = waiting();
        for news in arrived(Word::Landed).into_iter().chain([reading(11.4, 6903.0)]) {
            state.apply(news);
        }
        state
    };
    let short = {
        let mut state = waiting();
        for news in arrived(Word::Short(14)).into_iter().chain([reading(11.2, 6886.0)]) {
            state.apply(news);
        }
        state
    };
    let over = {
        let mut state = waiting();
        for news in arrived(Word::Over(88)).into_iter().chain([reading(11.2, 6988.0)]) {
            state.apply(news);
        }
        state
    };
    let fell = {
        let mut state = holding.clone();
        state.apply(News::HoldEnded { at_s: 12.3 });
        state.apply(News::Verdict(Verdict { hold: Some(Word::Fell(12)), ..Verdict::default() }));
        state.apply(News::Reading { at_s: 12.4, cents: None });
        state
    };
    let free = after([News::Onset { at_s: 1.0 }, reading(1.2, 6120.0)]);
    let lost = {
        let mut state = waiting();
        state.apply(News::Notice("The sound card is gone: put its plug back, landfall goes on by itself.".to_owned()));
        state
    };
    vec![
        ("waiting", waiting()),
        ("rising", rising),
        ("holding", holding),
        ("short", short),
        ("over", over),
        ("fell", fell),
        ("released_sharp", sharp_release()),
        ("free_play", free),
        ("card_lost", lost),
    ]
}

#[test]
fn every_screen_at_80_by_24() {
    for (name, state) in screens() {
        insta::assert_snapshot!(format!("80x24_{name}"), page(&state, 80, 24));
    }
}

#[test]
fn the_finished_note_in_every_size() {
    for (columns, rows) in [(120, 40), (200, 60), (60, 24), (80, 18), (80, 12), (40, 10), (30, 4)] {
        insta::assert_snapshot!(format!("{columns}x{rows}_released_sharp"), page(&sharp_release(), columns, rows));
    }
}

#[test]
fn no_size_makes_it_panic() {
    for (_, state) in screens() {
        for (columns, rows) in (0..90).step_by(7).flat_map(|columns| (0..30).map(move |rows| (columns, rows))) {
            picture(&state, Look { colour: true }, columns, rows);
        }
    }
}

#[test]
fn without_colour_nothing_is_coloured_and_nothing_is_lost() {
    for (name, state) in screens() {
        let (plain, coloured) = (picture(&state, Look { colour: false }, 80, 24), picture(&state, Look { colour: true }, 80, 24));
        for (plain, coloured) in plain.content().iter().zip(coloured.content()) {
            assert_eq!((plain.fg, plain.bg), (Color::Reset, Color::Reset), "{name}");
            assert_eq!(coloured.bg, Color::Reset, "{name}: the terminal's own ground stays, light or dark");
            assert_eq!(plain.symbol(), coloured.symbol(), "{name}: colour alone says nothing");
        }
    }
}

#[test]
fn the_column_ends_on_the_upper_rule_when_the_pitch_is_the_one_to_reach() {
    let top = |cents: f64| {
        let mut state = waiting();
        state.apply(News::Onset { at_s: 10.0 });
        state.apply(reading(10.4, cents));
        let buffer = picture(&state, Look::default(), 80, 24);
        let rule = (0..24).find(|&row| buffer[(40, row)].symbol() == "━").expect("there is a rule");
        (rule, (0..24).find(|&row| "▁▂▃▄▅▆▇█▀".contains(buffer[(7, row)].symbol())), buffer)
    };
    let (rule, first, buffer) = top(6900.0);
    assert_eq!(first, Some(rule));
    assert_eq!(buffer[(7, rule)].symbol(), "▄", "half of the row: the line of the rule");
    assert!(top(6880.0).1 > Some(rule) && top(6930.0).1 < Some(rule));
    assert_eq!(top(6690.0).1, None, "under the fretted note there is nothing to see");
}

#[test]
fn the_hold_grows_only_after_the_arrival() {
    let length = |state: &LiveState| {
        let buffer = picture(state, Look::default(), 80, 24);
        let rule = (0..24).find(|&row| buffer[(78, row)].symbol() == "━").expect("there is a rule");
        (12..80).filter(|&column| buffer[(column, rule + 1)].symbol() == "█").count()
    };
    let mut state = waiting();
    state.apply(News::Onset { at_s: 10.0 });
    state.apply(reading(10.45, 6895.0));
    assert_eq!(length(&state), 0);
    state.apply(News::Arrived { onset_s: 10.0, at_s: 10.5 });
    state.apply(reading(11.0, 6900.0));
    let half_a_second = length(&state);
    state.apply(reading(11.5, 6900.0));
    assert!(half_a_second > 0 && length(&state) == 2 * half_a_second);
    state.apply(News::HoldEnded { at_s: 11.5 });
    state.apply(reading(13.0, 6700.0));
    assert_eq!(length(&state), 2 * half_a_second, "and stays when it has ended");
}

#[test]
fn a_new_pick_starts_the_page_anew_and_keeps_the_landings() {
    let mut state = sharp_release();
    state.apply(News::Onset { at_s: 14.0 });
    assert_eq!(state.headline(), None);
    assert_eq!(state.homecoming(), None);
    assert_eq!(state.landings.len(), LANDINGS_SHOWN);
    let late = row(&Measures { onset_s: Some(10.0), hold_error_cents: Some(3.0), ..Measures::default() }, vec![]);
    state.apply(late);
    assert!(state.page.as_ref().is_some_and(|page| page.row.is_none()), "a row of an earlier note is not written on this page");
    assert_eq!(state.landings, [1.0, 34.0, -4.0, 2.2, 3.0]);
}

#[test]
fn the_page_makes_room_for_what_is_asked_next_when_its_verdict_has_been_seen() {
    let mut state = sharp_release();
    state.apply(News::Ask(Ask { place: Some((1, 8)), bend_cents: Some(100.0), ..Ask::default() }));
    assert!(page(&state, 80, 24).starts_with("Next: Bend string 1, fret 8, a half step up"));
    assert_eq!(state.headline().as_deref(), Some("landed"));
    state.apply(News::Reading { at_s: 14.7, cents: None });
    assert_eq!(state.headline().as_deref(), Some("landed"));
    state.apply(News::Reading { at_s: 14.8, cents: None });
    assert_eq!(state.headline().as_deref(), Some("half"));
}

#[test]
fn who_goes_on_by_a_key_sees_what_is_asked_and_no_more_of_what_was_played() {
    let ask = |fret: u8| Ask { place: Some((1, fret)), bend_cents: Some(100.0), ..Ask::default() };
    let mut state = sharp_release();
    state.apply(News::Ask(ask(8)));
    assert_eq!((state.headline().as_deref(), state.place_word()), (Some("landed"), None), "the step after it leaves its verdict");
    state.apply(News::Ask(ask(10)));
    assert_eq!((state.headline().as_deref(), state.place_word().as_deref()), (Some("half"), Some("1/10")));
    assert!(page(&state, 80, 24).starts_with("Bend string 1, fret 10"), "and no \"Next\"");
}

#[test]
fn a_restrike_stays_on_the_page_of_its_bend_and_another_bend_does_not() {
    let mut state = sharp_release();
    state.apply(News::Onset { at_s: 12.4 });
    assert_eq!(state.headline().as_deref(), Some("landed"), "picked again at the landing");
    let mut bent = state.clone();
    bent.apply(News::Arrived { onset_s: 12.4, at_s: 12.9 });
    assert_eq!((bent.headline(), bent.page.and_then(|page| page.hold_s())), (None, Some(0.0)));
    state.apply(News::Onset { at_s: 13.0 });
    assert_eq!(state.headline(), None, "the next pick is another note");
}

#[test]
fn what_could_not_be_said_early_is_said_with_the_row() {
    let mut state = waiting();
    state.apply(News::Onset { at_s: 10.0 });
    let measures = Measures { onset_s: Some(10.0), arrival_error_cents: Some(-14.0), hold_error_cents: Some(-14.0), ..Measures::default() };
    state.apply(row(&measures, vec![]));
    assert_eq!(state.headline().as_deref(), Some("short 14"));
}

#[test]
fn a_word_that_was_said_stays() {
    let mut state = waiting();
    for news in arrived(Word::Landed) {
        state.apply(news);
    }
    state.apply(News::Verdict(Verdict { arrival: Some(Word::Short(14)), ..Verdict::default() }));
    assert_eq!(state.headline().as_deref(), Some("landed"));
}

#[test]
fn no_verdict_is_longer_than_eight_characters() {
    for word in [Word::Short(1), Word::Short(99), Word::Short(100), Word::Over(412), Word::Fell(130), Word::Landed] {
        let mut state = waiting();
        for news in arrived(word) {
            state.apply(news);
        }
        let text = state.headline().expect("a verdict");
        assert!(text.chars().count() <= 8, "{text}");
    }
}

#[test]
fn an_unseen_bend_shows_no_pitch_until_it_is_over() {
    let column = |state: &LiveState| page(state, 80, 24).lines().any(|line| line.chars().nth(7).is_some_and(|c| "█▄▀".contains(c)));
    let mut state = waiting();
    state.unseen = true;
    state.apply(News::Onset { at_s: 10.0 });
    state.apply(reading(10.4, 6850.0));
    assert!(!column(&state));
    for news in arrived(Word::Landed).into_iter().skip(1) {
        state.apply(news);
    }
    assert!(!column(&state), "it still sounds");
    state.apply(News::HoldEnded { at_s: 11.5 });
    state.apply(News::Verdict(Verdict { release: Some(Word::Over(40)), ..Verdict::default() }));
    state.apply(reading(12.0, 6740.0));
    assert!(column(&state));
}

#[test]
fn only_differences_are_drawn() {
    let mut terminal = Terminal::new(TestBackend::new(80, 24)).expect("a test's terminal");
    let mut state = waiting();
    state.apply(News::Onset { at_s: 10.0 });
    let mut changed = |state: &LiveState| {
        let before = terminal.backend().buffer().clone();
        terminal.draw(|frame| draw(state, Look::default(), frame.area(), frame.buffer_mut())).expect("it draws");
        before.diff(terminal.backend().buffer()).len()
    };
    state.apply(reading(10.4, 6850.0));
    assert!(changed(&state) > 100);
    assert_eq!(changed(&state), 0);
    state.apply(reading(10.405, 6855.0));
    assert!((1..=8).contains(&changed(&state)), "two rows of the column at most");
}

#[test]
fn plain_lines_say_each_thing_once() {
    let mut plain = PlainLines::default();
    let landed = Verdict { arrival: Some(Word::Landed), ..Verdict::default() };
    let released = Verdict { release: Some(Word::Over(17)), ..landed };
    let measures = Measures {
        onset_s: Some(10.0),
        hold_error_cents: Some(2.0),
        hold_s: Some(1.25),
        release_error_cents: Some(17.0),
        rise_ms: Some(152.0),
        ..Measures::default()
    };
    let lines: Vec<String> = [
        News::Ask(asked()),
        News::Ask(asked()),
        News::Onset { at_s: 10.0 },
        reading(10.1, 6700.0),
        News::Verdict(landed),
        News::Verdict(released),
        row(&measures, vec![Fault::ReleaseSharp]),
        News::Notice("12 ms of sound were lost.".to_owned()),
    ]
    .iter()
    .flat_map(|news| plain.lines(news))
    .collect();
    assert_eq!(
        lines,
        [
            "Bend string 2, fret 8, a whole step up: G4 to A4, and let it down (Dm: the 5).",
            "landed",
            "home: over 17",
            "Attempt 1, G4 to A4: landed, home over 17; held +2 c for 1.2 s; home +17 c;",
            "  up in 152 ms; release sharp.",
            "12 ms of sound were lost.",
        ]
    );
}
