//! The attempt log as other programs see it: columns as promised, CSV as RFC 4180 has it.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::logbook::row::COLUMNS;
use landfall::logbook::{Row, attempts};
use proptest::prelude::*;

/// The promise to spreadsheets, written out here once more: a column that moves or changes its name fails.
const PROMISED: &str = "take,attempt,played_at,source,drill,step,chord,degree,string,fret,technique,origin_note,target_note,bend_cents,onset_s,\
    origin_error_cents,bend_start_s,arrival_s,rise_ms,arrival_error_cents,overshoot_cents,hold_s,in_tune_s,hold_error_cents,\
    hold_drift_cents_per_s,hold_spread_cents,vibrato_rate_hz,vibrato_extent_cents,vibrato_centre_cents,release_start_s,release_ms,\
    release_error_cents,restrike,restrike_error_cents,beat_error_ms,score,faults,tolerance_cents,a4_hz,sample_rate_hz";
const ADDED: &str = "landing_note,repicks,attack_beat_error_ms,vibrato_unevenness_pct,vibrato_delay_s";

/// RFC 4180, read by its grammar: records end in CRLF; a field in quotes may hold commas, line ends and doubled quotes; any other field holds none.
/// Written from the memo (Shafranovich 2005, section 2) and used nowhere but here, so that the writer is not its own judge.
fn rfc4180(bytes: &[u8]) -> Result<Vec<Vec<String>>, String> {
    let text = std::str::from_utf8(bytes).map_err(|error| error.to_string())?;
    let mut letters = text.chars().peekable();
    let (mut records, mut record) = (Vec::new(), Vec::new());
    while letters.peek().is_some() {
        let mut field = String::new();
        if letters.next_if_eq(&'"').is_some() {
            loop {
                match letters.next() {
                    Some('"') if letters.next_if_eq(&'"').is_some() => field.push('"'),
                    Some('"') => break,
                    Some(letter) => field.push(letter),
                    None => return Err("a quoted field does not end".into()),
                }
            }
        } else {
            while let Some(letter) = letters.next_if(|letter| !matches!(letter, ',' | '\r' | '\n')) {
                if letter == '"' {
                    return Err("a quote in the middle of a field".into());
                }
                field.push(letter);
            }
        }
        record.push(field);
        match (letters.next(), letters.peek()) {
            (Some(','), Some(_)) => {}
            (Some('\r'), Some('\n')) => {
                letters.next();
                records.push(std::mem::take(&mut record));
            }
            (found, next) => return Err(format!("{found:?} and {next:?} behind a field")),
        }
    }
    if record.is_empty() { Ok(records) } else { Err("the last record does not end in CRLF".into()) }
}

#[test]
fn the_reader_of_these_tests_knows_the_examples_of_the_memo_and_says_no() {
    assert_eq!(rfc4180(b"a,\"b \"\"q\"\", c\",d\r\n"), Ok(vec![vec!["a".into(), "b \"q\", c".into(), "d".into()]]));
    assert_eq!(rfc4180(b"\"b \r\nbb\",,c\r\n"), Ok(vec![vec!["b \r\nbb".into(), String::new(), "c".into()]]));
    for broken in [&b"a,b\n"[..], b"a,b", b"a\"b,c\r\n", b"\"a\r\n", b"\"a\"b\r\n", b"a,b\r"] {
        assert!(rfc4180(broken).is_err(), "{broken:?}");
    }
}

#[test]
fn the_columns_are_those_that_were_promised() {
    let names: Vec<&str> = COLUMNS.iter().map(|column| column.name).collect();
    assert_eq!(names.join(","), format!("{PROMISED},{ADDED}").replace(' ', ""));
    assert_eq!(attempts::header(), format!("{PROMISED},{ADDED}\r\n").replace("    ", "").into_bytes());
}

fn text() -> impl Strategy<Value = Option<String>> {
    // Names of files and drills hold anything, least of all what is easy to quote.
    prop::option::of(prop::string::string_regex("[ -~\r\n\",;äß♭♯\u{1F3B8}]{1,12}").unwrap())
}

fn number() -> impl Strategy<Value = Option<f64>> {
    prop::option::of(prop_oneof![-1e4..1e4f64, Just(f64::NAN), Just(f64::INFINITY), Just(-0.0), -1e-9..1e-9f64, Just(1e300)])
}

prop_compose! {
    fn row()(take in text(), chord in text(), drill in text(), attempt in prop::option::of(0u32..9999), onset_s in number(), hold_s in number(),
             bend_cents in number(), score in number(), restrike in prop::option::of(any::<bool>()),
             faults in prop::collection::vec("[a-z]{1,8}( [a-z]{1,8})?", 0..4)) -> Row {
        Row { take: take.unwrap_or_default(), chord, drill, attempt, onset_s, hold_s, bend_cents, score, restrike, faults, ..Row::default() }
    }
}

proptest! {
    #[test]
    fn any_rows_are_csv_to_an_independent_reader(rows in prop::collection::vec(row(), 0..6)) {
        let records = rfc4180(&attempts::whole_file(&rows)).map_err(TestCaseError::fail)?;
        prop_assert_eq!(records.len(), rows.len() + 1);
        let at = |name: &str| records[0].iter().position(|found| found == name).unwrap();
        for (record, row) in records[1..].iter().zip(&rows) {
            prop_assert_eq!(record.len(), records[0].len());
            prop_assert_eq!(&record[at("take")], &row.take);
            prop_assert_eq!(&record[at("chord")], row.chord.as_deref().unwrap_or(""));
            let onset = &record[at("onset_s")];
            match row.onset_s.filter(|seconds| seconds.is_finite()) {
                None => prop_assert_eq!(onset, ""),
                Some(seconds) => {
                    prop_assert!((onset.parse::<f64>().unwrap() - seconds).abs() <= 5e-5 + seconds.abs() * 1e-12, "{} for {}", onset, seconds);
                    prop_assert!(onset.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.' || byte == b'-'), "{}", onset);
                    prop_assert!(!onset.starts_with('-') || onset.bytes().any(|byte| (b'1'..=b'9').contains(&byte)), "{}", onset);
                }
            }
        }
    }

    #[test]
    fn rows_read_back_are_written_as_the_same_bytes(rows in prop::collection::vec(row(), 0..6)) {
        let bytes = attempts::whole_file(&rows);
        let read = attempts::read(&bytes[..]).unwrap();
        prop_assert_eq!(read.troubles, vec![]);
        prop_assert_eq!(attempts::whole_file(&read.rows), bytes);
    }
}
