//! The neck and the chart as CSV: what `landfall neck` and `landfall chart` print with `--csv`.
//!
//! A list inside a cell is joined by `;`, lowest string first. Notes are as fingered; `midi_cents` and `hz` are what sounds, which
//! differs only with a capo or a guitar that is tuned down.

use super::cell::{Cell, Measure};
use crate::theory::bend::Bend;
use crate::theory::chart::Timeline;
use crate::theory::placed::Placed;
use crate::theory::{Chord, Neck, Voicing};
use crate::units::A4;
use csv::{Terminator, WriterBuilder};
use std::fmt::Display;

/// A voicing, the motion to the nearest ones of the next chord, and those.
pub type Step<'a> = (&'a Voicing, u32, Vec<&'a Voicing>);

/// One row for each chord tone or scale note.
#[must_use]
pub fn places(neck: &Neck, notes: &[Placed], a4: A4) -> Vec<u8> {
    let rows = notes.iter().map(|placed| {
        let cents = f64::from(neck.sounding(placed.place)) * 100.0;
        vec![
            placed.place.string.to_string(),
            placed.place.fret.to_string(),
            placed.note.to_string(),
            known(placed.degree.as_ref()),
            known(placed.scale_degree.as_ref()),
            format!("{cents:.0}"),
            Measure::<4>::write(&Some(a4.hz_of(cents))),
        ]
    });
    table(&["string", "fret", "note", "degree", "scale_degree", "midi_cents", "hz"], rows)
}

/// One row for each voicing.
#[must_use]
pub fn voicings<'a>(voicings: impl Iterator<Item = &'a Voicing>) -> Vec<u8> {
    let rows = voicings.map(|voicing| {
        vec![
            list(&voicing.strings),
            list(&voicing.frets),
            list(&voicing.notes()),
            list(&voicing.tones.map(|tone| tone.degree)),
            voicing.inversion.to_string(),
            if voicing.is_close() { "close" } else { "spread" }.to_string(),
            voicing.span().to_string(),
        ]
    });
    table(&["strings", "frets", "notes", "degrees", "inversion", "voicing", "span"], rows)
}

/// One row for each nearest voicing of the next chord.
#[must_use]
pub fn steps<'a>(steps: impl Iterator<Item = Step<'a>>) -> Vec<u8> {
    let rows = steps.flat_map(|(from, motion, nearest)| {
        nearest.into_iter().map(move |next| {
            vec![
                list(&from.strings),
                list(&from.frets),
                from.inversion.to_string(),
                list(&next.frets),
                list(&next.notes()),
                list(&next.tones.map(|tone| tone.degree)),
                next.inversion.to_string(),
                motion.to_string(),
            ]
        })
    });
    table(&["strings", "frets", "inversion", "next_frets", "next_notes", "next_degrees", "next_inversion", "motion"], rows)
}

/// One row for each bend, the easiest first; the columns after `degree` are estimates and advice.
#[must_use]
pub fn bends<'a>(bends: impl Iterator<Item = &'a Bend>) -> Vec<u8> {
    let rows = bends.map(|bend| {
        vec![
            bend.place.string.to_string(),
            bend.place.fret.to_string(),
            bend.origin.to_string(),
            bend.target.to_string(),
            bend.cents.to_string(),
            bend.degree.to_string(),
            bend.from.to_string(),
            bend.ease.to_string(),
            Measure::<1>::write(&bend.push.map(|push| push.mm)),
            Measure::<1>::write(&bend.push.map(|push| push.newtons)),
            bend.way.to_string(),
        ]
    });
    let columns =
        ["string", "fret", "origin_note", "target_note", "bend_cents", "degree", "from_degree", "ease", "push_mm", "force_n", "way"];
    table(&columns, rows)
}

/// One row for each chord of each bar as played.
#[must_use]
pub fn chart(timeline: &Timeline) -> Vec<u8> {
    let rows = timeline.chords.iter().map(|played| {
        let of = |text: fn(&Chord) -> String| played.chord.as_ref().map(text).unwrap_or_default();
        vec![
            played.bar.to_string(),
            played.beat.to_string(),
            played.beats.to_string(),
            Measure::<4>::write(&Some(played.start_s)),
            if played.chord.is_some() { played.text.clone() } else { "N.C.".to_string() },
            of(|chord| chord.root().to_string()),
            of(|chord| chord.bass().to_string()),
            of(|chord| list(&chord.tones().iter().map(|tone| tone.name).collect::<Vec<_>>())),
            of(|chord| list(&chord.tones().iter().map(|tone| tone.degree).collect::<Vec<_>>())),
            played.key.to_string(),
            played.roman.clone(),
            played.function.clone().unwrap_or_default(),
        ]
    });
    let columns = ["bar", "beat", "beats", "start_s", "chord", "root", "bass", "notes", "degrees", "key", "roman", "function"];
    table(&columns, rows)
}

fn known<T: Display>(value: Option<&T>) -> String {
    value.map(T::to_string).unwrap_or_default()
}

fn list<T: Display>(items: &[T]) -> String {
    items.iter().map(T::to_string).collect::<Vec<_>>().join(";")
}

fn table(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Vec<u8> {
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory cannot fail, and every row has the header's length.
    let _ = writer.write_record(header);
    for row in rows {
        let _ = writer.write_record(row);
    }
    writer.into_inner().unwrap_or_default()
}
