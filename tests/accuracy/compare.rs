//! What landfall says of a take beside what is true: the errors of its rows and of its readings, gathered over many takes.

use super::table::percentile;
use super::truth::{Bend, Piece};
use landfall::grading::{Attempt, Wish};
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::pitch::causal::Causal;
use landfall::pitch::settled::Settled;
use landfall::pitch::{Reading, Tracker};
use landfall::sound::Block;
use landfall::units::{A4, FrameSpan, FrameTime};

/// What a sound card gives at once.
const BLOCK: usize = 256;
/// Further off than this, a reading is of another note, cents.
const GROSS: f64 = 50.0;
/// The first reading that shows a player the right fret, cents.
const SHOWS: f64 = 20.0;

/// Errors over many takes: played minus true, in the units of the log.
#[derive(Clone, Debug, Default)]
pub struct Errors {
    pub played: usize,
    pub found: usize,
    pub invented: usize,
    pub technique_right: usize,
    pub picked_again: usize,
    pub picked_again_seen: usize,
    /// Cells that are empty and should not be.
    pub missing: usize,
    pub attack_ms: Vec<f64>,
    pub arrival_ms: Vec<f64>,
    pub hold_clean: Vec<f64>,
    pub hold: Vec<f64>,
    pub release_ms: Vec<f64>,
    pub landing: Vec<f64>,
    pub overshoot: Vec<f64>,
    pub vibrato_rate: Vec<f64>,
    pub vibrato_half: Vec<f64>,
    pub afterwards: Pitch,
    pub live: Pitch,
    /// Of each live reading with a pitch: from the instant that it describes to the last sample that it needed.
    pub ready_ms: Vec<f64>,
    /// Of each stroke: until a reading of it within 20 cents is ready; infinite where there is none.
    pub shown_ms: Vec<f64>,
    /// What went worst, for whoever has to look: the take, the bend's arrival and the measure.
    pub notes: Vec<String>,
}

/// Errors of readings.
#[derive(Clone, Debug, Default)]
pub struct Pitch {
    /// Readings that were judged and had a pitch.
    pub said: usize,
    /// Of these, so many were of another note.
    pub gross: usize,
    /// Readings where a note sounds that had no pitch.
    pub unsaid: usize,
    /// Cents, where the pitch stands.
    pub sustained: Vec<f64>,
}

impl Errors {
    /// What landfall says of all takes.
    pub fn of(pieces: &[Piece]) -> Self {
        let half = pieces.len().div_ceil(2);
        let (first, second) = pieces.split_at(half.min(pieces.len()));
        let (mut all, rest) = std::thread::scope(|scope| {
            let rest = scope.spawn(|| Self::of_some(second));
            (Self::of_some(first), rest.join().expect("no take panics"))
        });
        all.add(rest);
        all
    }

    fn of_some(pieces: &[Piece]) -> Self {
        let mut errors = Self::default();
        for piece in pieces {
            errors.rows(piece, &rows(piece));
            let mut afterwards = Pitch::default();
            afterwards.judge(piece, &readings(piece, Settled::new(piece.rate)));
            let most = percentile(&afterwards.sustained, 0.95);
            if most > 1.0 || afterwards.gross > 0 {
                errors.notes.push(format!("{}: standing notes {most:.2} c, {} readings of another note", piece.name, afterwards.gross));
            }
            errors.afterwards.add(afterwards);
            errors.live(piece, &readings(piece, Causal::new(piece.rate)));
        }
        errors
    }

    /// Only what the eye is told of a take.
    pub fn of_live(piece: &Piece) -> Self {
        let mut errors = Self::default();
        errors.live(piece, &readings(piece, Causal::new(piece.rate)));
        errors
    }

    /// Those of other takes too.
    pub fn add(&mut self, other: Self) {
        for (mine, more) in [
            (&mut self.played, other.played),
            (&mut self.found, other.found),
            (&mut self.invented, other.invented),
            (&mut self.technique_right, other.technique_right),
            (&mut self.picked_again, other.picked_again),
            (&mut self.picked_again_seen, other.picked_again_seen),
            (&mut self.missing, other.missing),
        ] {
            *mine += more;
        }
        for (mine, more) in [
            (&mut self.attack_ms, other.attack_ms),
            (&mut self.arrival_ms, other.arrival_ms),
            (&mut self.hold_clean, other.hold_clean),
            (&mut self.hold, other.hold),
            (&mut self.release_ms, other.release_ms),
            (&mut self.landing, other.landing),
            (&mut self.overshoot, other.overshoot),
            (&mut self.vibrato_rate, other.vibrato_rate),
            (&mut self.vibrato_half, other.vibrato_half),
            (&mut self.ready_ms, other.ready_ms),
            (&mut self.shown_ms, other.shown_ms),
        ] {
            mine.extend(more);
        }
        self.notes.extend(other.notes);
        self.afterwards.add(other.afterwards);
        self.live.add(other.live);
    }

    /// Pairs the rows of a take with its bends, each with the one that it overlaps most, and compares the cells.
    pub fn rows(&mut self, piece: &Piece, rows: &[Attempt]) {
        let mut left: Vec<&Attempt> = rows.iter().collect();
        for bend in &piece.bends {
            self.played += 1;
            let best = left.iter().enumerate().map(|(at, row)| (overlap(bend, row), at)).max_by(|a, b| a.0.total_cmp(&b.0));
            match best.filter(|(shared, _)| *shared >= 0.3) {
                Some((_, at)) => self.row(piece, bend, left.remove(at)),
                None => self.notes.push(format!("{}: the bend that arrives at {:.2} s is not found", piece.name, bend.arrival.0)),
            }
        }
        for row in &left {
            self.notes.push(format!("{}: a bend at {:.2} s is invented", piece.name, row.measures.arrival_s.unwrap_or(f64::NAN)));
        }
        self.invented += left.len();
    }

    fn row(&mut self, piece: &Piece, bend: &Bend, row: &Attempt) {
        let m = &row.measures;
        let place = format!("{}, {:.2} s", piece.name, bend.arrival.0);
        self.found += 1;
        self.technique_right += usize::from(row.technique == bend.technique);
        if row.technique != bend.technique {
            self.notes.push(format!("{place}: {} is called {}", bend.technique, row.technique));
        }
        if bend.technique.is_released() && bend.picked_again {
            self.picked_again += 1;
            self.picked_again_seen += usize::from(row.restrike);
        }
        let mut cell = |name: &str, into: &mut Vec<f64>, said: Option<f64>, truth: (f64, f64), scale: f64, note_from: f64| {
            let Some(said) = said else {
                self.missing += 1;
                self.notes.push(format!("{place}: {name} is empty"));
                return;
            };
            // Between its bounds nothing is wrong.
            let error = scale * (said - said.clamp(truth.0, truth.1));
            if error.abs() > note_from {
                self.notes.push(format!("{place}: {name} {error:+.2}"));
            }
            into.push(error);
        };
        let one = |truth: f64| (truth, truth);
        let from_target = |cents: Option<f64>| row.target_cents.zip(cents).map(|(target, cents)| target + cents);
        let from_origin = |cents: Option<f64>| row.origin_cents.zip(cents).map(|(origin, cents)| origin + cents);
        cell("attack, ms", &mut self.attack_ms, m.onset_s, bend.attack, 1000.0, 5.0);
        if bend.start.is_some() {
            cell("arrival, ms", &mut self.arrival_ms, m.arrival_s, bend.arrival, 1000.0, 8.0);
        }
        cell("hold, c", &mut self.hold, from_target(m.hold_error_cents), one(bend.held), 1.0, 1.0);
        if piece.clean {
            cell("hold, c", &mut self.hold_clean, from_target(m.hold_error_cents), one(bend.held), 1.0, f64::MAX);
        }
        if row.technique == bend.technique {
            if let Some(release_start) = bend.release_start {
                cell("release, ms", &mut self.release_ms, m.release_start_s, one(release_start), 1000.0, 8.0);
            }
            if let Some(landing) = bend.landing {
                cell("landing, c", &mut self.landing, from_origin(m.release_error_cents), one(landing), 1.0, 3.0);
            }
        }
        if let Some(overshoot) = bend.overshoot {
            cell("overshoot, c", &mut self.overshoot, m.overshoot_cents, one(overshoot), 1.0, 3.0);
        }
        if let Some((rate, half)) = bend.vibrato {
            cell("vibrato's rate, Hz", &mut self.vibrato_rate, m.vibrato_rate_hz, one(rate), 1.0, 0.15);
            cell("vibrato's half width, c", &mut self.vibrato_half, m.vibrato_extent_cents, one(half), 1.0, 2.0);
        }
    }

    /// What the eye was told, and when.
    pub fn live(&mut self, piece: &Piece, readings: &[Reading]) {
        self.live.judge(piece, readings);
        let seconds = |at: FrameTime| at.seconds(piece.rate);
        let pitched = readings.iter().filter(|reading| reading.hz().is_some());
        self.ready_ms.extend(pitched.clone().map(|reading| 1000.0 * (seconds(reading.ready) - seconds(reading.at))));
        for &stroke in &piece.strokes {
            let right = |reading: &&Reading| {
                let (at, cents) = (seconds(reading.at), reading.hz().map(|hz| A4::default().cents(hz)));
                at > stroke && at < stroke + 0.4 && cents.zip(piece.pitch.at(at)).is_some_and(|(said, truth)| (said - truth).abs() <= SHOWS)
            };
            let shown = pitched.clone().find(right).map(|reading| 1000.0 * (seconds(reading.ready) - stroke));
            self.shown_ms.push(shown.unwrap_or(f64::INFINITY));
        }
    }
}

impl Pitch {
    fn judge(&mut self, piece: &Piece, readings: &[Reading]) {
        for reading in readings {
            let Some((truth, moving)) = piece.pitch.judged_at(reading.at.seconds(piece.rate)) else { continue };
            let Some(hz) = reading.hz() else {
                self.unsaid += 1;
                continue;
            };
            let error = A4::default().cents(hz) - truth;
            self.said += 1;
            if error.abs() > GROSS {
                self.gross += 1;
            } else if !moving {
                self.sustained.push(error);
            }
        }
    }

    fn add(&mut self, other: Self) {
        self.said += other.said;
        self.gross += other.gross;
        self.unsaid += other.unsaid;
        self.sustained.extend(other.sustained);
    }

    /// Readings of another note, per cent of those with a pitch.
    pub fn gross_pct(&self) -> f64 {
        100.0 * self.gross as f64 / self.said.max(1) as f64
    }

    /// Readings without a pitch where a note sounds, per cent.
    pub fn unsaid_pct(&self) -> f64 {
        100.0 * self.unsaid as f64 / (self.said + self.unsaid).max(1) as f64
    }
}

/// How much of the shorter of two holds both share.
fn overlap(bend: &Bend, row: &Attempt) -> f64 {
    let (Some(from), Some(length)) = (row.measures.arrival_s, row.measures.hold_s) else { return 0.0 };
    let shared = (from + length).min(bend.hold_end) - from.max(bend.arrival.0);
    shared / length.min(bend.hold_end - bend.arrival.0).max(0.01)
}

/// All rows of a take, as `grade` makes them.
pub fn rows(piece: &Piece) -> Vec<Attempt> {
    let mut settled = SettledLoop::new(piece.rate, A4::default(), Wish::default());
    let mut rows = Vec::new();
    for (index, samples) in piece.samples.chunks(BLOCK).enumerate() {
        let start = FrameTime((index * BLOCK) as u64);
        settled.hear(&Block { start, lost_before: FrameSpan(0), samples, faults: &[] }, &mut |row| rows.push(row));
    }
    settled.finish(&mut |row| rows.push(row));
    rows
}

/// All readings of a take.
pub fn readings(piece: &Piece, mut tracker: impl Tracker) -> Vec<Reading> {
    let mut readings = Vec::new();
    for samples in piece.samples.chunks(BLOCK) {
        tracker.push(samples, &mut |reading| readings.push(reading));
    }
    tracker.finish(&mut |reading| readings.push(reading));
    readings
}
