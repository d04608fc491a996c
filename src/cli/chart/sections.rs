//! What stands below a chart, section by section: the route of triads, scales, guide tones, bends.

use super::{Args, Study};
use crate::theory::bend::size_name;
use crate::theory::chart::PlayedChord;
use crate::theory::guide::{leads, resolving_bends};
use crate::theory::route::{Route, Wishes, hand_motion, route};
use crate::theory::{Bend, Chord, Ease, Key, Scale, Voicing, bends, choice};
use crate::views::neck_words as words;

impl Study {
    pub(super) fn changes(&self) -> Vec<(&PlayedChord, &Chord)> {
        self.timeline.changes().into_iter().filter_map(|played| Some((played, played.chord.as_ref()?))).collect()
    }

    pub(super) fn route(&self, from: Option<u8>) -> Route {
        let neck = &self.guitar.neck;
        let inside = |set: &[u8; 3]| set.iter().all(|string| self.guitar.window.holds_string(*string));
        let anywhere = Wishes::anywhere(neck);
        let sets = anywhere.sets.into_iter().filter(inside).collect();
        let wishes = Wishes { start: from, sets, frets: self.guitar.window.frets() };
        let chords: Vec<Option<&Chord>> = self.changes().into_iter().map(|(_, chord)| Some(chord)).collect();
        route(neck, &chords, &wishes)
    }

    /// The sections asked for: a heading and its lines.
    pub(super) fn sections(&self, args: &Args) -> Vec<(String, Vec<String>)> {
        let changes = self.changes();
        let mut sections = Vec::new();
        if args.triads {
            let route = self.route(args.from);
            let heading = format!("Triads, the way with the least motion: {} frets and strings in all", route.motion);
            sections.push((heading, route_lines(&changes, &route)));
        }
        if args.scales {
            let lines = changes.iter().enumerate().flat_map(|(index, (played, chord))| {
                words::hanging_at(14, &counted(index, chord), &words::fit_words(&choice::scales(played.key, chord)))
            });
            sections.push(("Scales that fit, the first choice first".to_string(), lines.collect()));
        }
        if args.guide {
            let lines = changes.windows(2).enumerate().map(|(index, pair)| {
                let ways: Vec<String> = leads(pair[0].1, pair[1].1).iter().map(words::lead_words).collect();
                format!("  {:<12}{}", counted(index, pair[0].1), ways.join("     "))
            });
            sections.push(("Guide tones, how they lead on".to_string(), lines.collect()));
        }
        if args.bends {
            sections.push(("Bends, string/fret, the easiest first".to_string(), self.bend_lines(&changes)));
        }
        sections
    }

    /// For each chord three bends into its strong notes and two that resolve into the next chord.
    pub(super) fn bend_lines(&self, changes: &[(&PlayedChord, &Chord)]) -> Vec<String> {
        let short = |bend: &Bend| {
            let size = size_name(bend.cents);
            format!(
                "{}/{} {size} {} to {} ({} to {})",
                bend.place.string, bend.place.fret, bend.origin.name, bend.target.name, bend.from, bend.degree
            )
        };
        let over = |bend: &Bend, chord: &Chord, next: &Chord| {
            let step = format!("{} to {} ({} of {chord}, {} of {next})", bend.origin.name, bend.target.name, bend.from, bend.degree);
            format!("{}/{} {} {step}", bend.place.string, bend.place.fret, size_name(bend.cents))
        };
        let mut lines = Vec::new();
        for (index, (played, chord)) in changes.iter().enumerate() {
            let scale = first_choice(played.key, chord);
            let into = distinct(self.strong_bends(chord, scale.as_ref()), 3);
            lines.extend(words::hanging_at(14, &counted(index, chord), &into.iter().map(short).collect::<Vec<_>>()));
            let Some((_, next)) = changes.get(index + 1) else { continue };
            let on = distinct(self.resolving(chord, next), 2);
            if !on.is_empty() {
                lines.extend(words::hanging_at(
                    14,
                    &format!(" on to {next}"),
                    &on.iter().map(|bend| over(bend, chord, next)).collect::<Vec<_>>(),
                ));
            }
        }
        lines
    }

    /// Bends into root, third and fifth that the hand takes gladly.
    pub(super) fn strong_bends(&self, chord: &Chord, scale: Option<&Scale>) -> Vec<Bend> {
        let strong = chord.strong();
        let guitar = &self.guitar;
        let mut found = bends(&guitar.neck, &guitar.strings, chord, scale, &[100, 200]);
        found.retain(|bend| {
            bend.ease < Ease::Hard && guitar.window.holds(bend.place) && strong.iter().any(|tone| tone.degree == bend.degree)
        });
        found
    }

    pub(super) fn resolving(&self, chord: &Chord, next: &Chord) -> Vec<Bend> {
        let guitar = &self.guitar;
        let mut found = resolving_bends(&guitar.neck, &guitar.strings, chord, next);
        found.retain(|bend| bend.ease < Ease::Hard && guitar.window.holds(bend.place));
        found
    }
}

fn counted(index: usize, chord: &Chord) -> String {
    format!("{} {chord}", index + 1)
}

fn first_choice(key: Key, chord: &Chord) -> Option<Scale> {
    choice::scales(key, chord).first().map(|fit| fit.scale)
}

/// The first few bends that reach different notes from different degrees: the same bend an octave up is not told twice.
pub(super) fn distinct(bends: Vec<Bend>, most: usize) -> Vec<Bend> {
    let mut kept: Vec<Bend> = Vec::new();
    for bend in bends {
        if kept.len() < most && !kept.iter().any(|other| (other.from, other.degree) == (bend.from, bend.degree)) {
            kept.push(bend);
        }
    }
    kept
}

fn route_lines(changes: &[(&PlayedChord, &Chord)], route: &Route) -> Vec<String> {
    let mut lines =
        vec![format!("{:>4} {:>5}   {:<12} {:<9} {:<11} {:<11} {}", "no", "bar", "chord", "strings", "frets", "inversion", "moves")];
    let mut before: Option<&Voicing> = None;
    for (index, ((played, chord), voicing)) in changes.iter().zip(&route.voicings).enumerate() {
        let start = format!("{:>4} {:>5}   {:<12}", index + 1, played.bar, chord.to_string());
        lines.push(match voicing {
            Some(voicing) => {
                let moves = before.map_or_else(String::new, |before| hand_motion(before, voicing).to_string());
                before = Some(voicing);
                let (strings, frets) = (words::strings(voicing), words::frets(voicing));
                format!("{start} {strings:<9} {frets:<11} {:<11} {moves:>5}", voicing.inversion.to_string()).trim_end().to_string()
            }
            None => format!("{start} no triad here: stay where you are"),
        });
    }
    lines
}
