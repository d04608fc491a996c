//! Rows as a table for the eye, 80 columns: a line for each attempt, and beneath it the chord that it was over and what to mend.

use super::paragraph::indented;
use crate::logbook::Row;
use std::fmt::Write;

/// How far what stands beneath a line hangs in.
const BENEATH: &str = "            ";

/// The table of one take, with its name above it.
#[must_use]
pub fn table(take: &str, rows: &[Row]) -> String {
    let count = match rows.len() {
        0 => "no bends".to_owned(),
        1 => "1 bend".to_owned(),
        many => format!("{many} bends"),
    };
    let mut text = format!("{take}: {count}\n");
    if rows.is_empty() {
        return text;
    }
    let head = line(["", "at s", "from", "to", "bend", "played", "off c", "hold s", "in tune", "home c", "score"].map(str::to_owned));
    let _ = writeln!(text, "{head}");
    for row in rows {
        let _ = writeln!(text, "{}", line(cells(row)));
        let beneath = [harmony(row), (!row.faults.is_empty()).then(|| row.faults.join(", "))];
        let beneath: Vec<String> = beneath.into_iter().flatten().collect();
        for part in indented(&beneath.join("; "), BENEATH, BENEATH).iter().filter(|_| !beneath.is_empty()) {
            let _ = writeln!(text, "{part}");
        }
    }
    text
}

/// The chord of the moment and the target's place in it.
fn harmony(row: &Row) -> Option<String> {
    let chord = row.chord.as_ref()?;
    // A quarter tone has no degree.
    let quarter = row.bend_cents.is_some_and(|cents| (cents / 100.0).fract() != 0.0);
    Some(match &row.degree {
        Some(degree) => format!("the {degree} of {chord}"),
        None if quarter || row.target_note.is_none() => format!("over {chord}"),
        None => format!("no tone of {chord}"),
    })
}

fn cells(row: &Row) -> [String; 11] {
    let number = |value: Option<f64>, decimals: usize| value.map(|value| format!("{value:.decimals$}")).unwrap_or_default();
    let signed =
        |value: Option<f64>| value.map(|value| format!("{:+.1}", if value.abs() < 0.05 { 0.0 } else { value })).unwrap_or_default();
    let share = row.in_tune_s.zip(row.hold_s).filter(|(_, hold)| *hold > 0.0).map(|(in_tune, hold)| 100.0 * in_tune / hold);
    [
        row.attempt.map(|attempt| attempt.to_string()).unwrap_or_default(),
        number(row.onset_s, 2),
        row.origin_note.clone().unwrap_or_default(),
        row.target_note.clone().unwrap_or_default(),
        number(row.bend_cents, 0),
        row.technique.clone().unwrap_or_default(),
        signed(row.hold_error_cents),
        number(row.hold_s, 2),
        share.map(|share| format!("{share:.0} %")).unwrap_or_default(),
        signed(row.release_error_cents),
        number(row.score, 0),
    ]
}

/// Numbers stand to the right of their columns, words to the left.
fn line([attempt, at, from, to, bend, played, off, hold, in_tune, home, score]: [String; 11]) -> String {
    let line =
        format!("{attempt:>3} {at:>7} {from:<4} {to:<4}{bend:>4}  {played:<16} {off:>6} {hold:>6} {in_tune:>7} {home:>6} {score:>5}");
    line.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grading::Fault;

    #[test]
    fn unknown_is_blank_and_the_rest_lines_up() {
        let rows = [
            Row {
                attempt: Some(1),
                onset_s: Some(1.2047),
                origin_note: Some("G4".into()),
                target_note: Some("A4".into()),
                bend_cents: Some(200.0),
                technique: Some("bend-release".into()),
                hold_error_cents: Some(-12.34),
                hold_s: Some(1.5),
                in_tune_s: Some(0.75),
                release_error_cents: Some(0.04),
                score: Some(64.2),
                chord: Some("Dm".into()),
                degree: Some("5".into()),
                faults: vec!["flat".into(), "sags".into()],
                ..Row::default()
            },
            Row { attempt: Some(12), ..Row::default() },
            Row { attempt: Some(13), target_note: Some("B4".into()), bend_cents: Some(200.0), chord: Some("Gm7".into()), ..Row::default() },
        ];
        assert_eq!(
            table("evening", &rows),
            "evening: 3 bends\n\
             \x20      at s from to  bend  played            off c hold s in tune home c score\n\
             \x20 1    1.20 G4   A4   200  bend-release      -12.3   1.50    50 %   +0.0    64\n\
             \x20           the 5 of Dm; flat, sags\n\
             \x2012\n\
             \x2013              B4   200\n\
             \x20           no tone of Gm7\n"
        );
        assert_eq!(table("empty", &[]), "empty: no bends\n");
    }

    #[test]
    fn no_line_passes_80_columns_whatever_is_to_be_mended() {
        let row = Row {
            attempt: Some(120),
            onset_s: Some(7200.0),
            origin_note: Some("F#4".into()),
            target_note: Some("Ab4".into()),
            bend_cents: Some(200.0),
            technique: Some("pre-bend-release".into()),
            hold_error_cents: Some(-112.34),
            hold_s: Some(10.5),
            in_tune_s: Some(10.5),
            release_error_cents: Some(-110.0),
            score: Some(100.0),
            faults: Fault::ALL.iter().map(|fault| fault.word().to_owned()).collect(),
            ..Row::default()
        };
        let text = table("evening", &[row]);
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(text.lines().count() > 4, "{text}");
    }
}
