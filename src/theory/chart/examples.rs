//! Charts that come with landfall, tunes of our own. One file and one entry makes one.

/// A built-in chart.
#[derive(Clone, Copy, Debug)]
pub struct Example {
    /// What it is called on the command line.
    pub name: &'static str,
    /// What it is good for, in one line.
    pub about: &'static str,
    /// The file.
    pub text: &'static str,
}

impl Example {
    /// The chart of a name.
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        EXAMPLES.iter().find(|example| example.name.eq_ignore_ascii_case(name))
    }

    /// The same tune in the other mode, where there is one.
    #[must_use]
    pub fn in_other_mode(&self) -> Option<&'static Self> {
        let other = OTHER_MODES.iter().find_map(|(major, minor)| match self.name {
            name if name == *major => Some(*minor),
            name if name == *minor => Some(*major),
            _ => None,
        })?;
        Self::find(other)
    }
}

/// Tunes that there are in major and in minor.
const OTHER_MODES: &[(&str, &str)] = &[("ii-V-I", "ii-V-i-minor")];

/// All built-in charts.
pub const EXAMPLES: &[Example] = &[
    Example {
        name: "ballad",
        about: "slow 12/8 in D minor, two parts: long notes, room for every bend",
        text: include_str!("examples/ballad.toml"),
    },
    Example {
        name: "shuffle",
        about: "twelve bars in G, swung: a dominant chord to aim at in every bar",
        text: include_str!("examples/shuffle.toml"),
    },
    Example { name: "ii-V-I", about: "the cadence of half of all tunes, in F: Gm7, C7, Fmaj7", text: include_str!("examples/ii_v_i.toml") },
    Example {
        name: "ii-V-i-minor",
        about: "the same cadence in minor, in D: Em7b5, A7, Dm",
        text: include_str!("examples/ii_v_i_minor.toml"),
    },
    Example { name: "waltz", about: "3/4 in E minor: thirds that move by half a step", text: include_str!("examples/waltz.toml") },
    Example {
        name: "seven",
        about: "7/8 in A phrygian, counted 2+2+3: landings off the square",
        text: include_str!("examples/seven.toml"),
    },
    Example { name: "vamp", about: "two chords in C dorian: one bend that means two things", text: include_str!("examples/vamp.toml") },
    Example {
        name: "anthem",
        about: "4/4 in E major with a key change: the same shapes a step higher",
        text: include_str!("examples/anthem.toml"),
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::chart::Chart;
    use std::collections::HashSet;

    #[test]
    fn every_example_reads_has_a_title_and_says_what_it_is_for() {
        let mut names = HashSet::new();
        for example in EXAMPLES {
            let chart = Chart::parse(example.name, example.text).unwrap();
            assert!(chart.title.is_some(), "{} has no title", example.name);
            assert!(names.insert(example.name), "two charts are called {}", example.name);
            if let Some(other) = example.in_other_mode() {
                let minor = |example: &Example| Chart::parse(example.name, example.text).unwrap().parts[0].key.is_minor();
                assert!(minor(example) != minor(other), "{} and {}", example.name, other.name);
            }
            assert!(!example.about.is_empty() && chart.timeline().length_s > 10.0, "{}", example.name);
        }
    }
}
