//! What is said while the string still rings, on the synthesiser's ballad: the right words, early, and never taken back.

use landfall::grading::{Aim, Attempt, Glimpse, Parts, Provisional, Target, Verdict, Wish, Word};
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::pitch::attack::{Attack, AttackFinder, Stage};
use landfall::pitch::causal::Causal;
use landfall::pitch::{Reading, Tracker};
use landfall::sound::Block;
use landfall::sound::synth::{Scenario, Truth, render};
use landfall::units::{A4, FrameSpan, FrameTime};

/// Everything that is said, each with the frame at which it is said.
fn said(text: &str) -> (Vec<(FrameTime, Glimpse)>, Truth) {
    said_towards(text, Wish::default())
}

fn said_towards(text: &str, wish: Wish) -> (Vec<(FrameTime, Glimpse)>, Truth) {
    let played = render(&Scenario::from_toml(text).expect("a scenario")).expect("a scenario in range");
    let rate = played.truth.rate();
    let (mut tracker, mut attacks) = (Causal::new(rate), AttackFinder::new(rate));
    let mut eye = Provisional::new(rate, A4::default(), Box::new(wish));
    let mut all = Vec::new();
    for (number, block) in played.samples.chunks(480).enumerate() {
        let now = FrameTime((number as u64 + 1) * 480);
        let mut tell = |glimpse| all.push((now, glimpse));
        attacks.push(block, &mut |attack: Attack| {
            if attack.stage == Stage::Early && attack.struck {
                eye.stroke(attack.at, &mut tell);
            }
        });
        tracker.push(block, &mut |reading: Reading| eye.reading(&reading, &mut tell));
    }
    (all, played.truth)
}

const BALLAD: &str = include_str!("../test_signals/scenarios/ballad.toml");

/// The words that end up on each bend's page, with the arrival that was told and the frame at which the first word was said.
fn pages(all: &[(FrameTime, Glimpse)]) -> Vec<(FrameTime, FrameTime, Verdict)> {
    /// When it was first said, and what stands there in the end.
    type Words = Option<(FrameTime, Verdict)>;
    let mut pages: Vec<(FrameTime, FrameTime, Words)> = Vec::new();
    for (now, glimpse) in all {
        match *glimpse {
            Glimpse::Arrived { onset, at, .. } => match pages.last_mut() {
                Some(page) if page.0 == onset => page.1 = at,
                _ => pages.push((onset, at, None)),
            },
            Glimpse::Said(verdict) => {
                let page = pages.last_mut().expect("nothing is said before an arrival");
                let first = page.2.map_or(*now, |(first, _)| first);
                page.2 = Some((first, verdict));
            }
            Glimpse::Began(_) | Glimpse::HoldEnded(_) => {}
        }
    }
    pages.into_iter().filter_map(|(_, at, said)| said.map(|(first, verdict)| (at, first, verdict))).collect()
}

#[test]
fn a_climb_that_rushes_and_then_crawls_is_not_called_short_on_its_way() {
    // Halfway in three quarters of a second, the second half at 36 cents a second, then held.
    let climb = "title = \"rushes\"\n[[note]]\nat_s = 0.5\nstring = 3\nfret = 9\ndamped_s = 6.0\n\
                 [[note.then]]\nhand = \"bend\"\nat_s = 0.3\ncents = 100.0\ntakes_ms = 750\nshape = \"straight\"\n\
                 [[note.then]]\nhand = \"bend\"\nat_s = 1.05\ncents = 200.0\ntakes_ms = 2800\nshape = \"straight\"\n";
    let parts = Parts { pitch: 3.0, evenness: 2.0, ..Parts::default() };
    let (all, _) = said_towards(climb, Wish { aim: Aim::Above(200.0), parts, ..Wish::default() });
    let words: Vec<Word> =
        all.iter().filter_map(|(_, glimpse)| if let Glimpse::Said(verdict) = glimpse { verdict.arrival } else { None }).collect();
    assert!(!words.is_empty() && words.iter().all(|word| *word == Word::Landed), "{words:?}");
}

#[test]
fn each_bend_of_the_ballad_gets_the_words_that_it_deserves() {
    let (all, truth) = said(BALLAD);
    let pages = pages(&all);
    let words: Vec<[Option<Word>; 3]> = pages.iter().map(|(_, _, v)| [v.arrival, v.hold, v.release]).collect();
    let landed = Some(Word::Landed);
    assert_eq!(words.len(), 9);
    for (place, wanted) in [(0, landed), (2, landed), (3, landed), (4, landed), (5, landed), (6, landed), (8, landed)] {
        assert_eq!(words[place][0], wanted, "bend {}", place + 1);
    }
    let near = |word: Option<Word>, cents: u16, make: fn(u16) -> Word| (cents - 1..=cents + 1).any(|cents| word == Some(make(cents)));
    assert!(near(words[1][0], 14, Word::Short) && near(words[7][0], 13, Word::Over));
    assert!(matches!(words[4][1], Some(Word::Fell(18..=30))), "the fifth sinks");
    assert_eq!((words[3][2], near(words[5][2], 17, Word::Over)), (landed, true), "one comes home, one comes home sharp");
    for (page, bend) in pages.iter().zip(truth.bends()) {
        let late = (page.0.0 as f64 - bend.arrival.0 as f64) / 48.0;
        assert!(late.abs() < 12.0, "an arrival is {late} ms off");
        let wait = page.1.since(bend.arrival).seconds(truth.rate());
        assert!((0.14..0.26).contains(&wait), "said {wait} s after the arrival");
    }
}

#[test]
fn a_bend_that_could_mean_either_of_two_notes_is_not_spoken_of_before_its_row() {
    let bend = |cents: f64| {
        format!(
            "title = \"between\"\n[[note]]\nat_s = 0.2\nstring = 2\nfret = 8\n[[note.then]]\nhand = \"bend\"\nat_s = 0.3\ncents = {cents}\n\
             takes_ms = 150.0\n"
        )
    };
    let spoken = |cents: f64| said(&bend(cents)).0.iter().any(|(_, glimpse)| matches!(glimpse, Glimpse::Said(_)));
    assert!(spoken(188.0), "12 cents short of a whole step");
    assert!(!spoken(146.0) && !spoken(154.0), "a half step, or a whole one");
    let arrived = said(&bend(146.0)).0.iter().any(|(_, glimpse)| matches!(glimpse, Glimpse::Arrived { .. }));
    assert!(arrived, "its hold is shown all the same");
}

#[test]
fn a_large_bend_and_a_touched_top_are_told_with_their_own_tolerance() {
    let bend = |cents: f64, until: &str| {
        let text = format!(
            "title = \"one bend\"\n[[note]]\nat_s = 0.2\nstring = 3\nfret = 10\ndamped_s = 2.5\n[[note.then]]\nhand = \"bend\"\nat_s = 0.3\n\
             cents = {cents:.1}\ntakes_ms = 100.0\n{until}"
        );
        let told = pages(&said(&text).0);
        assert_eq!(told.len(), 1, "{cents}");
        told[0].2.arrival
    };
    // 10 cents as usual, 15 for one and a half steps, 20 for a top that is let go of at once.
    assert!(matches!(bend(187.0, ""), Some(Word::Short(12..=14))));
    assert_eq!(bend(287.0, ""), Some(Word::Landed));
    assert!(matches!(bend(282.0, ""), Some(Word::Short(17..=19))));
    assert_eq!(bend(185.0, "[[note.then]]\nhand = \"release\"\nat_s = 0.4\ntakes_ms = 120.0\n"), Some(Word::Landed));
}

#[test]
fn plain_notes_hammers_and_slides_get_no_word() {
    let text = "title = \"no bends\"\n[[note]]\nat_s = 0.2\nstring = 2\nfret = 5\ndamped_s = 0.9\n\
                [[note]]\nat_s = 1.3\nstring = 2\nfret = 5\n[[note.then]]\nhand = \"hammer\"\nat_s = 0.4\nto_fret = 7\n\
                [[note]]\nat_s = 3.0\nstring = 3\nfret = 5\n[[note.then]]\nhand = \"slide\"\nat_s = 0.4\nto_fret = 9\ntakes_ms = 60.0\n\
                [[note]]\nat_s = 5.0\nstring = 3\nfret = 7\ndamped_s = 1.0\n[[note.then]]\nhand = \"vibrato\"\nat_s = 0.2\nrate_hz = 5.5\n\
                half_width_cents = 20.0\nswing = \"above\"\n";
    let (all, _) = said(text);
    let words: Vec<_> = all.iter().filter(|(_, glimpse)| matches!(glimpse, Glimpse::Said(_) | Glimpse::Arrived { .. })).collect();
    assert!(words.is_empty(), "{words:?}");
    assert!(all.iter().filter(|(_, glimpse)| matches!(glimpse, Glimpse::Began(_))).count() >= 4);
}

/// The rows of the same.
fn rows_towards(text: &str, wish: Wish) -> Vec<Attempt> {
    let played = render(&Scenario::from_toml(text).expect("a scenario")).expect("a scenario in range");
    let mut settled = SettledLoop::new(played.truth.rate(), A4::default(), wish);
    let mut rows = Vec::new();
    let block = Block { start: FrameTime(0), samples: &played.samples, lost_before: FrameSpan(0), faults: &[] };
    settled.hear(&block, &mut |row| rows.push(row));
    settled.finish(&mut |row| rows.push(row));
    rows
}

#[test]
fn nothing_is_said_of_a_slow_climb_before_it_has_stopped_and_then_what_its_row_says() {
    let wish = Wish { origin: Some(6700.0), aim: Aim::Pitch(Target { cents: 6900.0, degree: None }), ..Wish::default() };
    // A share of the climb's time: where a straight one ends, and where a rounded one is 3 cents under its top, at (1 - cos(pi x)) / 2 = 0.985.
    for (shape, stands) in [("straight", 1.0), ("s", 0.9218)] {
        for (takes_s, cents) in [(2.0, 200.0), (3.0, 200.0), (4.0, 200.0), (5.0, 200.0), (4.0, 176.0)] {
            let text = format!(
                "title = \"a climb\"\n[[note]]\nat_s = 0.2\nstring = 2\nfret = 8\ndamped_s = {}\n[[note.then]]\nhand = \"bend\"\nat_s = 0.3\n\
                 cents = {cents:.1}\ntakes_ms = {}\nshape = \"{shape}\"\n",
                takes_s + 2.3,
                1000.0 * takes_s,
            );
            let what = format!("{cents} cents in {takes_s} s, {shape}");
            let (all, truth) = said_towards(&text, wish.clone());
            let first = all.iter().find(|(_, glimpse)| matches!(glimpse, Glimpse::Arrived { .. } | Glimpse::Said(_)));
            let first_s = first.map(|(now, _)| now.seconds(truth.rate()));
            assert!(first_s.is_some_and(|first_s| first_s >= 0.5 + stands * takes_s), "{what}: {first:?} at {first_s:?} s");
            let rows = rows_towards(&text, wish.clone());
            let pages = pages(&all);
            assert_eq!((rows.len(), pages.len()), (1, 1), "{what}");
            let (live, row) = (pages[0].2.arrival, Verdict::of(&rows[0]).arrival);
            // A live reading is another by a cent at most.
            let alike = match (live, row) {
                (Some(Word::Short(live)), Some(Word::Short(row))) => live.abs_diff(row) <= 1,
                (Some(Word::Short(only)), Some(Word::Landed)) | (Some(Word::Landed), Some(Word::Short(only))) => only <= 11,
                (live, row) => live == row,
            };
            assert!(alike, "{what}: {live:?} while it sounds, {row:?} on the row");
            let said_s = pages[0].1.seconds(truth.rate());
            assert!(said_s < 0.5 + takes_s + 1.0, "{what}: said at {said_s} s only");
        }
    }
}
