//! A tune as it is asked for, on the command line or beside a take: what `play` and `grade --chart` share.

use super::chart::text;
use super::{Failure, WrongUse, meant};
use crate::grading::{Attempt, Tolerance};
use crate::live::heard_notes::HeardNotes;
use crate::live::own_sound::OwnSound;
use crate::logbook::sidecar::{AskedTune, Sidecar};
use crate::logbook::{Row, Setting};
use crate::practice::beat_map::BeatMap;
use crate::practice::play::{CameTo, On, PlayWishes, ScoreTime, Tune};
use crate::theory::chart::{Chart, Example, Feel, Metre};
use crate::theory::{Key, NoteName};
use crate::views::play::{self as page, Bend};
use std::path::Path;
use std::sync::Arc;

/// What a run over a tune is called in the log.
pub const DRILL: &str = "play";

/// Bars as typed: `5-8`, or `5`.
///
/// # Errors
/// What they should be.
pub fn bars(text: &str) -> Result<(usize, usize), String> {
    let number = |text: &str| text.trim().parse::<usize>().ok().filter(|bar| *bar > 0);
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let both = number(first).zip(number(last)).filter(|(first, last)| first <= last);
    both.ok_or_else(|| "it is a bar or a stretch of bars, counted from 1 as played, for instance 5-8".into())
}

/// A tempo as typed.
///
/// # Errors
/// What it should be.
pub fn tempo(text: &str) -> Result<f64, String> {
    text.trim().parse().ok().filter(|tempo| (10.0..=1000.0).contains(tempo)).ok_or_else(|| "it is 10 to 1000 beats a minute".into())
}

/// An instant of a take as typed.
///
/// # Errors
/// What it should be.
pub fn instant(text: &str) -> Result<f64, String> {
    text.trim().parse().ok().filter(|s: &f64| s.is_finite()).ok_or_else(|| "it is a number of seconds, for instance 2.1".into())
}

/// A feel as typed, in the words of a chart file.
///
/// # Errors
/// The word of which it is a slip.
pub fn feel(text: &str) -> Result<Feel, String> {
    Feel::parse(text).map_err(|fault| fault.to_string())
}

/// The text of a chart for chords that were typed; without a key, the one that is guessed.
///
/// # Errors
/// Chords, key or metre that cannot be.
pub fn typed(chords: &str, key: Option<&str>, metre: &str, tempo: f64, feel: Option<&Feel>) -> Result<String, Failure> {
    let key = meant(key.map(str::parse::<Key>).transpose())?;
    let chart = meant(Chart::from_chords(chords, key, meant(Metre::parse(metre, None))?, tempo))?;
    let key = chart.parts.first().map_or_else(String::new, |part| part.key.to_string());
    let bars = if chords.contains('|') { chords.to_owned() } else { chords.split_whitespace().collect::<Vec<_>>().join(" | ") };
    let quoted = |text: &str| toml::Value::from(text).to_string();
    let feel = feel.map(|feel| format!("feel = {}\n", quoted(feel.text()))).unwrap_or_default();
    Ok(format!("key = {}\nmetre = {}\ntempo = {tempo}\n{feel}bars = {}\n", quoted(&key), quoted(metre), quoted(&bars)))
}

/// A chart of a file or a built-in one, to be played as it stands.
///
/// # Errors
/// When there is none, or it has a mistake.
pub fn named(name: &Path) -> Result<AskedTune, Failure> {
    let (name, chart) = text(name)?;
    Chart::parse(&name, &chart)?;
    Ok(AskedTune { name, chart, ..AskedTune::default() })
}

/// A built-in chart in the mode of a key as typed, where the key names one; else the name as it is.
///
/// # Errors
/// When the key names the other mode, and the tune is not known in it.
pub fn in_mode(name: &Path, key: &str) -> Result<AskedTune, Failure> {
    let tune = named(name)?;
    let has_mode = NoteName::read(key.trim()).is_some_and(|(_, mode)| !mode.trim().is_empty());
    let wanted = if has_mode { Some(meant(key.parse::<Key>())?) } else { None };
    let chart = Chart::parse(&tune.name, &tune.chart)?;
    let Some((wanted, own)) = wanted.zip(chart.parts.first().map(|part| part.key)) else { return Ok(tune) };
    if wanted.is_minor() == own.is_minor() {
        return Ok(tune);
    }
    match Example::find(&tune.name).filter(|example| example.text == tune.chart).and_then(Example::in_other_mode) {
        Some(other) => Ok(AskedTune { name: other.name.into(), chart: other.text.into(), ..AskedTune::default() }),
        None => Err(WrongUse(format!(
            "{} is in {own}: --key moves its tonic and keeps its mode; write --key {}, or a chart in {wanted}",
            tune.name,
            wanted.tonic()
        ))
        .into()),
    }
}

/// A chart in the key that was typed, where one was: its tonic is the one to be played on.
///
/// # Errors
/// As for [`named`] and [`in_mode`]; when the key has no tonic.
pub fn in_key(name: &Path, key: Option<&str>) -> Result<AskedTune, Failure> {
    let Some(key) = key else { return named(name) };
    let asked = in_mode(name, key)?;
    // `Cm` and `C minor` have the tonic of `C`; what has none is named as every other note that cannot be.
    let tonic = match NoteName::read(key.trim()) {
        Some((tonic, _)) => tonic,
        None => meant(key.trim().parse::<NoteName>())?,
    };
    Ok(AskedTune { tonic: Some(tonic.to_string()), ..asked })
}

/// The chart of a tune, on the tonic that was asked for.
///
/// # Errors
/// A chart with a mistake.
pub fn chart(asked: &AskedTune) -> Result<Chart, Failure> {
    let chart = Chart::parse(&asked.name, &asked.chart)?;
    Ok(match &asked.tonic {
        Some(tonic) => chart.on_tonic(tonic.parse::<NoteName>()?),
        None => chart,
    })
}

/// A tune, ready to be played over.
pub struct Over {
    /// Its bars and chords as they sound.
    pub tune: Arc<Tune>,
    /// The same as they are fingered.
    pub shown: Arc<Tune>,
    /// Semitones from what is fingered to what sounds.
    pub offset: i32,
    /// What of a bend should be on the beat.
    pub on: On,
    /// Bars of count-in, where not the usual.
    pub count_in: Option<u32>,
}

impl Over {
    /// Unfolds what was asked.
    ///
    /// # Errors
    /// A chart with a mistake, bars that are not there, and so on.
    pub fn of(asked: &AskedTune) -> Result<Self, Failure> {
        let chart = chart(asked)?;
        let unfolded = |chart: &Chart| Tune::new(chart, &asked.name, asked).map(Arc::new).map_err(|error| WrongUse(error.to_string()));
        let shown = unfolded(&chart)?;
        let offset = asked.sounds_semitones.unwrap_or(0);
        let tune = match chart.parts.first().filter(|_| offset != 0) {
            Some(part) => unfolded(&chart.on_tonic(NoteName::usual(part.key.tonic().class() + offset)))?,
            None => Arc::clone(&shown),
        };
        let on = asked.on.as_deref().map(str::parse).transpose().map_err(|error: String| WrongUse(error))?.unwrap_or_default();
        Ok(Self { tune, shown, offset, on, count_in: asked.count_in })
    }

    /// Score times of all beats, the count-in's included.
    #[must_use]
    pub fn beats(&self) -> Vec<f64> {
        self.tune.beats_from_count_in(self.count_in)
    }

    /// Where the tune lies in a recorded take: as it was recorded, unless its beginning is said; else it begins with the take.
    #[must_use]
    pub fn map(&self, sidecar: &Sidecar, start_s: Option<f64>) -> BeatMap {
        match start_s {
            None if !sidecar.beats_at.is_empty() => BeatMap::measured(self.beats(), sidecar.beats_at.iter().copied()),
            start_s => BeatMap::straight(start_s.unwrap_or(0.0)),
        }
    }

    /// The wishes for a take whose beats are known.
    #[must_use]
    pub fn wishes(&self, score_time: ScoreTime, tolerance: Tolerance) -> PlayWishes {
        PlayWishes::new(Arc::clone(&self.tune), score_time, self.on, tolerance)
    }
}

/// Score time by a map that does not change.
#[must_use]
pub fn fixed(map: BeatMap) -> ScoreTime {
    Arc::new(move |take_s| map.score_of(take_s))
}

/// Score time beside landfall's own sound, whose beats become known while the take goes on.
#[must_use]
pub fn by_own_beats(over: &Over, own: Arc<OwnSound>) -> ScoreTime {
    let scores = over.beats();
    // The last beat before the instant is all that counts.
    Arc::new(move |take_s| BeatMap::measured(scores.iter().copied(), own.beats(take_s)).score_of(take_s))
}

/// What a run over a tune came to, in words: bends with chord and degree, phrases, notes, space, and time by the rows.
#[must_use]
pub fn came_to(
    over: &Over,
    score_time: &ScoreTime,
    (notes, heard_s): (&HeardNotes, f64),
    played: &[(&Attempt, &Row)],
    (tolerance_ms, uncalibrated): (f64, bool),
) -> String {
    let run = CameTo::of(&over.tune, score_time, &notes.all(), heard_s);
    let bends: Vec<Bend<'_>> = played
        .iter()
        .map(|(attempt, row)| Bend {
            attempt,
            bar: row.step,
            chord: row.chord.as_deref(),
            degree: row.degree.as_deref(),
            notes: (row.origin_note.as_deref(), row.target_note.as_deref()),
        })
        .collect();
    as_it_sounds(over.offset) + &page::summary(&bends, &run, (over.tune.count_name(), tolerance_ms), uncalibrated)
}

/// Said before what is called as it sounds, where that is so many semitones from what is fingered.
#[must_use]
pub fn as_it_sounds(semitones: i32) -> String {
    if semitones == 0 { String::new() } else { format!("As it sounds, {semitones:+} semitones from what is fingered:\n") }
}

/// The row of an attempt over a tune: chord and bar of its moment.
#[must_use]
pub fn row(wishes: &PlayWishes, attempt: &Attempt, setting: &Setting) -> Row {
    let chord = wishes.chord_of(attempt);
    let setting = Setting { chord: chord.map(|played| played.text.clone()), step: wishes.bar_of(attempt), ..setting.clone() };
    Row { degree: wishes.degree(attempt), ..Row::graded(attempt, &setting, |midi| wishes.spell(chord, midi)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chords_that_were_typed_are_a_chart_with_the_key_that_is_guessed() {
        let text = typed("Gm7 C7 Fmaj7", None, "12/8", 58.0, None).unwrap();
        let chart = Chart::parse("typed", &text).unwrap();
        assert_eq!(chart.parts[0].key.to_string(), "F major");
        assert_eq!(chart.timeline().bars.len(), 3);
        assert!(typed("Gm7 H7", None, "4/4", 58.0, None).is_err());
    }

    #[test]
    fn a_minor_key_takes_the_minor_cadence_and_a_tune_without_one_says_so() {
        let chords = |key: &str| {
            let over = Over::of(&in_key(Path::new("ii-V-I"), Some(key)).unwrap()).unwrap();
            over.tune.timeline.chords.iter().take(3).map(|chord| chord.text.clone()).collect::<Vec<_>>()
        };
        assert_eq!(chords("C minor"), ["Dm7b5", "G7", "Cm"]);
        assert_eq!(chords("Cm"), ["Dm7b5", "G7", "Cm"]);
        assert_eq!(chords("C"), ["Dm7", "G7", "Cmaj7"]);
        let said = in_mode(Path::new("ballad"), "G major").unwrap_err().to_string();
        assert!(said.contains("D minor") && said.contains("--key G"), "{said}");
    }

    #[test]
    fn with_a_capo_the_tune_sounds_higher_than_it_is_fingered() {
        let asked = AskedTune { sounds_semitones: Some(3), ..named(Path::new("ii-V-I")).unwrap() };
        let over = Over::of(&asked).unwrap();
        let first = |tune: &Tune| tune.timeline.chords[0].text.clone();
        assert_eq!((first(&over.shown), first(&over.tune)), ("Gm7".to_owned(), "Bbm7".to_owned()));
    }

    #[test]
    fn bars_are_one_or_a_stretch() {
        assert_eq!(bars("5-8"), Ok((5, 8)));
        assert_eq!(bars("5"), Ok((5, 5)));
        assert!(bars("8-5").is_err() && bars("0-2").is_err() && bars("x").is_err());
    }
}
