//! A live run as a whole, with ears that know what they should have heard: what comes in by any door arrives at the ears and on the disk
//! alike, or is a loss at its place.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]
#![allow(clippy::float_cmp, reason = "samples are compared bit for bit")]

mod stage;

use landfall::grading::Attempt;
use landfall::live::clock::{Clock, SystemClock};
use landfall::live::ears::{Ears, Settles};
use landfall::live::events::Event;
use landfall::live::feeder::Pace;
use landfall::live::session::{Input, LiveError};
use landfall::live::world::World;
use landfall::sound::{Block, FileSource, Origin};
use stage::{Counting, LONG, RATE, Silent, card, heard_again, played, run_seen, run_with, sample_of, wanted, world};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

#[test]
fn a_loss_in_any_kind_of_input_is_a_gap_of_its_length_at_its_place() {
    let source = Counting { until: 9000, loss: Some((4000, 1300)), ..Counting::default() };
    let frozen = Arc::default();
    let (from_card, card_world) = card(source.clone(), &frozen);
    let folder = tempfile::tempdir().unwrap();
    let wav = folder.path().join("take.wav");
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    (0..9000).for_each(|frame| writer.write_sample(sample_of(frame)).unwrap());
    writer.finalize().unwrap();
    let file = landfall::sound::WithGaps::new(Box::new(FileSource::open(&wav).unwrap()), vec![(4000, 1300)], Vec::new());
    let file = Input::Source { origin: Origin { kind: "file", name: None }, source: Box::new(file), pace: Pace::Fast };
    let synth = played(source.clone(), Pace::AsPlayed);
    for (kind, input, world) in [("card", from_card, card_world), ("file", file, world(LONG)), ("fake", synth, world(LONG))] {
        let run = run_with(input, world, Duration::ZERO, |job| job.seconds = Some(9000.0 / f64::from(RATE)));
        assert!(run.outcome.is_ok(), "{kind}: {:?}", run.outcome);
        assert!(run.takes() == [wanted(9000, 4000..5300)], "{kind}: the ears");
        assert!(run.kept() == run.takes(), "{kind}: the take on the disk");
        assert!(run.view.told.iter().any(|event| matches!(event, Event::Fault(landfall::sound::FaultKind::Lost))), "{kind}: said");
        assert_eq!(run.rows(), run.view.told.iter().filter(|event| matches!(event, Event::Graded(_))).count(), "{kind}");
    }
}

#[test]
fn an_analysis_that_is_too_slow_loses_sound_at_its_place_and_says_so() {
    let source = Counting { until: 16_000, ..Counting::default() };
    let frozen = Arc::default();
    let (from_card, card_world) = card(source.clone(), &frozen);
    for (kind, input, world) in [("card", from_card, card_world), ("played", played(source, Pace::AsPlayed), world(LONG))] {
        let run = run_with(input, world, Duration::ZERO, |job| {
            job.seconds = Some(2.0);
            job.ring_s = 0.05;
            // 0.2 s away from the ring, once in a while.
            let mut ears = std::mem::replace(&mut job.ears, Box::new(|_| unreachable!()));
            job.ears = Box::new(move |rate| {
                let ears = ears(rate);
                Ears { settled: Box::new(Drowsy(ears.settled, 0)), ..ears }
            });
        });
        let takes = run.takes();
        assert_eq!(takes.len(), 1, "{kind}");
        let lost = takes[0].iter().filter(|frame| frame.is_none()).count();
        assert!(lost > 500, "{kind}: {lost} frames lost");
        let in_place = takes[0]
            .iter()
            .enumerate()
            .all(|(frame, sample)| sample.is_none_or(|sample| sample.to_bits() == sample_of(frame as u64).to_bits()));
        assert!(in_place, "{kind}: every frame is heard at its place or lost");
        assert!(run.kept() == takes, "{kind}: the take on the disk");
    }
}

/// Falls asleep at each tenth block.
struct Drowsy(Box<dyn Settles>, u32);

impl Settles for Drowsy {
    fn hear(&mut self, block: &Block<'_>, emit: &mut dyn FnMut(Attempt)) {
        self.1 += 1;
        if self.1.is_multiple_of(10) {
            std::thread::sleep(Duration::from_millis(200));
        }
        self.0.hear(block, emit);
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Attempt)) {
        self.0.finish(emit);
    }
}

#[test]
fn a_fast_file_is_heard_whole_however_slow_the_ears() {
    let source = Counting { until: 200_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::from_millis(2), |job| job.patient = true);
    assert!(run.takes() == [wanted(200_000, 0..0)] && run.kept() == run.takes());
    assert_eq!(run.rows(), 201);
}

#[test]
fn q_ends_the_run_with_the_take_closed_and_every_row_written() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let run = run_with(played(source, Pace::AsPlayed), world(Duration::from_millis(500)), Duration::ZERO, |_| {});
    let takes = run.takes();
    assert!(takes[0].len() > 2000 && takes[0].len() < 40_000, "{} frames", takes[0].len());
    assert!(run.kept() == takes);
    assert_eq!(run.rows(), takes[0].len() / 1000 + 1);
}

#[test]
fn enough_attempts_end_the_run_and_what_was_begun_is_still_graded() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::ZERO, |job| job.attempts = Some(3));
    assert!(run.rows() >= 4, "three, and the one that was under way");
    assert!(run.kept() == run.takes());
}

#[test]
fn a_view_that_is_gone_ends_the_run_and_loses_nothing() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let gone = Silent { fails: true, ..Silent::default() };
    let run = run_seen(played(source, Pace::AsPlayed), world(LONG), Duration::ZERO, gone, |_| {});
    assert!(matches!(run.outcome, Err(LiveError::View(ref error)) if error.kind() == io::ErrorKind::BrokenPipe));
    let takes: Vec<_> = std::fs::read_dir(run.folder.path().join("takes")).unwrap().map(|entry| entry.unwrap().path()).collect();
    let wav = takes.iter().find(|path| path.extension().is_some_and(|extension| extension == "wav")).unwrap();
    assert!(heard_again(wav) == run.takes()[0]);
    assert_eq!(run.rows(), run.takes()[0].len() / 1000 + 1);
}

#[test]
fn a_file_as_large_as_it_may_be_is_closed_and_another_begun_without_losing_a_sample() {
    let source = Counting { until: 20_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::ZERO, |job| job.largest = 40_000);
    let takes = run.takes();
    assert!(takes.len() >= 2, "{} takes", takes.len());
    assert!(takes.concat() == wanted(20_000, 0..0));
    assert!(run.kept() == takes);
}

#[test]
fn a_full_disk_costs_the_take_and_not_the_rows() {
    let source = Counting { until: 20_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::ZERO, |job| job.keep_free = u64::MAX);
    assert_eq!(run.rows(), 21);
    assert!(run.outcome.unwrap().kept.takes.is_empty());
    assert!(run.view.told.iter().any(|event| matches!(event, Event::Notice(sentence) if sentence.contains("MB are free"))));
}

#[test]
fn a_panic_in_the_analysis_is_a_failure_and_the_take_is_closed() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let run = run_with(played(source, Pace::AsPlayed), world(LONG), Duration::ZERO, |job| {
        let mut row = std::mem::replace(&mut job.row, Box::new(|_, _| unreachable!()));
        job.row = Box::new(move |attempt, setting| {
            assert!(attempt.attempt < 3, "a fault of the test's making");
            row(attempt, setting)
        });
    });
    let sentence = run.outcome.unwrap_err().to_string();
    assert!(sentence.contains("failed inside") && sentence.contains(".wav"), "{sentence}");
    let text = std::fs::read_to_string(run.folder.path().join("log.csv")).unwrap();
    assert_eq!(text.lines().count(), 3, "two rows and the head");
}

#[test]
fn an_outage_of_the_card_of_over_two_seconds_begins_another_take() {
    let frozen: Arc<AtomicBool> = Arc::default();
    let source = Counting { until: 1_000_000, loss: None, ..Counting::default() };
    let (input, world) = card(source, &frozen);
    let freezer = Arc::clone(&frozen);
    let freezing = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(500));
        freezer.store(true, Ordering::Relaxed);
        std::thread::sleep(Duration::from_millis(2600));
        freezer.store(false, Ordering::Relaxed);
    });
    let run = run_with(input, world, Duration::ZERO, |job| job.seconds = Some(1.5));
    freezing.join().unwrap();
    let takes = run.takes();
    assert_eq!(takes.len(), 2);
    // This card goes on where it stopped, so nothing is lost.
    assert!(takes.concat() == wanted(12_000, 0..0));
    assert!(run.kept() == takes);
    let notices: Vec<&str> =
        run.view.told.iter().filter_map(|event| if let Event::Notice(sentence) = event { Some(sentence.as_str()) } else { None }).collect();
    assert!(notices.iter().any(|notice| notice.contains("no sound arrives")), "{notices:?}");
    assert!(notices.iter().any(|notice| notice.contains("heard again")), "{notices:?}");
}

/// A clock whose calendar is stopped at an instant.
struct Stopped(SystemClock, jiff::Timestamp);

impl Clock for Stopped {
    fn now(&self) -> Duration {
        self.0.now()
    }

    fn instant(&self) -> (jiff::Timestamp, jiff::tz::Offset) {
        (self.1, jiff::tz::Offset::UTC)
    }

    fn wait(&self, span: Duration) {
        self.0.wait(span);
    }
}

#[test]
fn takes_of_one_second_that_are_not_kept_have_names_of_their_own() {
    let names = ["2025-03-09T20:15:00.020Z", "2025-03-09T20:15:00.470Z"].map(|instant| {
        let clock = Stopped(SystemClock::default(), instant.parse().unwrap());
        let source = Counting { until: 8000, ..Counting::default() };
        let world = World { clock: Arc::new(clock), ..world(LONG) };
        let run = run_with(played(source, Pace::Fast), world, Duration::ZERO, |job| job.save = None);
        let begun =
            run.view.told.iter().find_map(|event| if let Event::TakeBegan { name, .. } = event { Some(name.clone()) } else { None });
        begun.unwrap()
    });
    assert_eq!(names, ["2025-03-09_20-15-00-020_free", "2025-03-09_20-15-00-470_free"]);
}

#[test]
fn an_input_of_exact_zeros_is_called_dead_once() {
    let source = Counting { until: 1_000_000, mute: true, ..Counting::default() };
    let (input, world) = card(source, &Arc::default());
    let run = run_with(input, world, Duration::ZERO, |job| job.seconds = Some(5.6));
    let dead = run.view.told.iter().filter(|event| matches!(event, Event::Notice(sentence) if sentence.contains("dead silent"))).count();
    assert_eq!(dead, 1);
}
