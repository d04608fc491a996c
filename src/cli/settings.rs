//! What a player sets once: on the command line, in the environment, beside a take, or in `config.toml`; and where each value came from.
//!
//! A flag stands over what was recorded with a take, that over the environment, that over the file, that over the default.

mod typed;

use super::Failure;
use super::directories::{Directories, Environment};
use crate::grading::Tolerance;
use crate::logbook::sidecar::Asked;
use crate::practice::hand::SESSION_MINUTES;
use crate::practice::stage::Stage;
use crate::units::A4;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use toml::Spanned;
use typed::word;
pub use typed::{a4, channel, minutes, tolerance, tuning};

/// Which hand picks; drawings of the neck follow it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Handedness {
    /// The right hand picks.
    #[default]
    Right,
    /// The left hand picks.
    Left,
}

/// When to use colour.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Colours {
    /// On a terminal, unless NO_COLOR is set.
    #[default]
    Auto,
    /// Even where the output is no terminal.
    Always,
    /// Nowhere.
    Never,
}

/// Values that a command's own options or a take's sidecar give.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Given {
    /// Part of the sound card's name.
    pub device: Option<String>,
    /// Counted from 1.
    pub channel: Option<u16>,
    /// The tuning reference.
    pub a4: Option<A4>,
    /// Cents.
    pub tolerance: Option<f64>,
    /// Notes from the lowest string to the highest.
    pub tuning: Option<String>,
    /// Which hand picks.
    pub handedness: Option<Handedness>,
    /// When to use colour.
    pub colours: Option<Colours>,
    /// How long a session is, minutes of playing.
    pub minutes: Option<f64>,
}

/// Where a value came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// An option of the command.
    Flag,
    /// What the take was recorded with.
    Take,
    /// An environment variable.
    Variable(String),
    /// A line of the file, from 1.
    File(PathBuf, usize),
    /// Nobody set it.
    Default,
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag => f.write_str("command line"),
            Self::Take => f.write_str("recorded with the take"),
            Self::Variable(name) => f.write_str(name),
            Self::File(path, line) => write!(f, "{} line {line}", path.display()),
            Self::Default => f.write_str("default"),
        }
    }
}

/// A value and where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting<T> {
    /// What holds.
    pub value: T,
    /// Who said so.
    pub origin: Origin,
}

/// Everything that can be set, settled.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Part of the sound card's name; `None` for the one that the system prefers.
    pub device: Setting<Option<String>>,
    /// Counted from 1; `None` for the louder one.
    pub channel: Setting<Option<u16>>,
    /// The tuning reference.
    pub a4: Setting<A4>,
    /// How far off, in cents, still counts as in tune.
    pub tolerance: Setting<f64>,
    /// Notes from the lowest string to the highest.
    pub tuning: Setting<String>,
    /// Which hand picks.
    pub handedness: Setting<Handedness>,
    /// When to use colour.
    pub colours: Setting<Colours>,
    /// After how many minutes of playing a session has been long enough.
    pub minutes: Setting<f64>,
}

/// The names in `config.toml`; in the environment they are `LANDFALL_A4` and so on.
pub const KEYS: [&str; 8] = ["device", "channel", "a4", "tolerance", "tuning", "handedness", "colours", "minutes"];

/// What is wrong with a setting.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    /// The file is there and cannot be read.
    #[error("cannot read {}: {reason}; make it readable or move it away", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        reason: io::Error,
    },
    /// The file is no TOML.
    #[error("{} line {line}: {problem}; settings are lines such as: a4 = 442", path.display())]
    Broken {
        /// The file.
        path: PathBuf,
        /// From 1.
        line: usize,
        /// What the reader found.
        problem: String,
    },
    /// A key that means nothing.
    #[error("{} line {line}: there is no setting {key:?}; there are {}", path.display(), KEYS.join(", "))]
    UnknownKey {
        /// The file.
        path: PathBuf,
        /// From 1.
        line: usize,
        /// As written.
        key: String,
    },
    /// A value that cannot be.
    #[error("{origin}: {key} cannot be {found:?}: {wanted}")]
    Impossible {
        /// Where it stands.
        origin: Origin,
        /// The setting.
        key: &'static str,
        /// As written.
        found: String,
        /// What it should be.
        wanted: String,
    },
}

impl SettingsError {
    /// Where it stands in the file; what stands in none comes last.
    fn line(&self) -> usize {
        match self {
            Self::Unreadable { .. } => 0,
            Self::Broken { line, .. } | Self::UnknownKey { line, .. } | Self::Impossible { origin: Origin::File(_, line), .. } => *line,
            Self::Impossible { .. } => usize::MAX,
        }
    }
}

impl Settings {
    /// Settles every value. `flags` are the command's own options; `take` is what a recorded take was made with.
    ///
    /// # Errors
    /// When the file or a variable holds something that cannot be; the place is named, of several the first.
    pub fn load(environment: &Environment, flags: Given, take: Given) -> Result<Self, Failure> {
        let path = Directories::of(environment)?.config_file();
        let (file, unknown) = ConfigFile::read(&path)?;
        let mut layers = Layers { environment, file, faults: unknown };
        let settings = Self {
            device: layers.settle("device", flags.device.map(Some), take.device.map(Some), None, |text| Ok(Some(text.to_owned()))),
            channel: layers.settle("channel", flags.channel.map(Some), take.channel.map(Some), None, |text| channel(text).map(Some)),
            a4: layers.settle("a4", flags.a4, take.a4, A4::default(), a4),
            tolerance: layers.settle("tolerance", flags.tolerance, take.tolerance, 10.0, tolerance),
            tuning: layers.settle("tuning", flags.tuning, take.tuning, "E2 A2 D3 G3 B3 E4".into(), tuning),
            handedness: layers.settle("handedness", flags.handedness, take.handedness, Handedness::Right, word),
            colours: layers.settle("colours", flags.colours, take.colours, Colours::Auto, word),
            minutes: layers.settle("minutes", flags.minutes, take.minutes, SESSION_MINUTES, minutes),
        };
        match layers.faults.into_iter().min_by_key(SettingsError::line) {
            Some(first) => Err(first.into()),
            None => Ok(settings),
        }
    }
}

/// How far off is right: what was set, else what the stage of the drill says.
#[must_use]
pub fn stage_tolerance(settings: &Settings, asked: &Asked) -> Tolerance {
    let stage = asked.stage.as_deref().and_then(|stage| stage.parse::<Stage>().ok());
    match (stage, &settings.tolerance.origin) {
        (Some(stage), Origin::Default) => stage.numbers().tolerance,
        _ => Tolerance::of_cents(settings.tolerance.value),
    }
}

struct Layers<'a> {
    environment: &'a Environment,
    file: ConfigFile,
    /// What cannot be, in no order.
    faults: Vec<SettingsError>,
}

impl Layers<'_> {
    /// The value that holds; the default where it cannot be, which is noted.
    fn settle<T>(
        &mut self,
        key: &'static str,
        flag: Option<T>,
        take: Option<T>,
        default: T,
        parse: impl Fn(&str) -> Result<T, String>,
    ) -> Setting<T> {
        if let Some(value) = flag {
            return Setting { value, origin: Origin::Flag };
        }
        if let Some(value) = take {
            return Setting { value, origin: Origin::Take };
        }
        let variable = format!("LANDFALL_{}", key.to_uppercase());
        let written = match self.environment.get(&variable) {
            Some(text) => Some((text.to_owned(), Origin::Variable(variable))),
            None => self.file.values.get(key).map(|(text, line)| (text.clone(), Origin::File(self.file.path.clone(), *line))),
        };
        match written {
            None => Setting { value: default, origin: Origin::Default },
            Some((text, origin)) => match parse(&text) {
                Ok(value) => Setting { value, origin },
                Err(wanted) => {
                    self.faults.push(SettingsError::Impossible { origin, key, found: text, wanted });
                    Setting { value: default, origin: Origin::Default }
                }
            },
        }
    }
}

/// The values of `config.toml` as they stand there, with their lines.
struct ConfigFile {
    path: PathBuf,
    values: BTreeMap<String, (String, usize)>,
}

#[derive(Deserialize)]
struct Lines(BTreeMap<Spanned<String>, toml::Value>);

impl ConfigFile {
    /// The values, and the keys that mean nothing. A file that is not there sets nothing.
    fn read(path: &Path) -> Result<(Self, Vec<SettingsError>), SettingsError> {
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(reason) if reason.kind() == io::ErrorKind::NotFound => String::new(),
            Err(reason) => return Err(SettingsError::Unreadable { path: path.to_owned(), reason }),
        };
        let line_of = |byte: usize| 1 + text[..byte.min(text.len())].matches('\n').count();
        let lines: Lines = toml::from_str(&text).map_err(|error| SettingsError::Broken {
            path: path.to_owned(),
            line: error.span().map_or(1, |span| line_of(span.start)),
            problem: error.message().replace('\n', " "),
        })?;
        let (mut values, mut unknown) = (BTreeMap::new(), Vec::new());
        for (key, value) in lines.0 {
            let line = line_of(key.span().start);
            let key = key.into_inner();
            if !KEYS.contains(&key.as_str()) {
                unknown.push(SettingsError::UnknownKey { path: path.to_owned(), line, key });
                continue;
            }
            let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            values.insert(key, (text, line));
        }
        Ok((Self { path: path.to_owned(), values }, unknown))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn load(file: &str, variables: &[(&str, &str)], flags: Given, take: Given) -> Result<Settings, String> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("config.toml"), file).unwrap();
        let place = folder.path().to_str().unwrap();
        let folders = [("LANDFALL_CONFIG_DIR", place), ("LANDFALL_DATA_DIR", place)];
        let environment = folders.iter().chain(variables).map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        Settings::load(&environment, flags, take).map_err(|error| error.to_string().replace(&format!("{place}/"), ""))
    }

    fn a4_of(settings: &Result<Settings, String>) -> (f64, Origin) {
        let a4 = &settings.as_ref().unwrap().a4;
        (a4.value.hz(), a4.origin.clone())
    }

    #[test]
    fn each_layer_stands_over_the_ones_below() {
        let given = |hz| Given { a4: A4::new(hz), ..Given::default() };
        let none = Given::default;
        let variable = [("LANDFALL_A4", "443")];
        assert_eq!(a4_of(&load("a4 = 442", &variable, given(445.0), given(444.0))), (445.0, Origin::Flag));
        assert_eq!(a4_of(&load("a4 = 442", &variable, none(), given(444.0))), (444.0, Origin::Take));
        assert_eq!(a4_of(&load("a4 = 442", &variable, none(), none())), (443.0, Origin::Variable("LANDFALL_A4".into())));
        let from_file = load("\na4 = 442", &[], none(), none());
        assert!(matches!(a4_of(&from_file), (hz, Origin::File(_, 2)) if hz.to_bits() == 442.0_f64.to_bits()));
        assert_eq!(a4_of(&load("", &[], none(), none())), (440.0, Origin::Default));
    }

    #[test]
    fn an_unknown_key_is_refused_with_its_line() {
        let said = load("a4 = 442\n\nvolume = 11\n", &[], Given::default(), Given::default()).unwrap_err();
        assert!(said.starts_with("config.toml line 3: there is no setting \"volume\"; there are device,"), "{said}");
    }

    #[test]
    fn of_several_faults_the_first_line_is_named() {
        for (file, first) in [
            ("volume = 11\nbass = 3\n", "config.toml line 1: there is no setting \"volume\""),
            ("tolerance = 0\na4 = 44\n", "config.toml line 1: tolerance cannot be"),
            ("colours = \"pink\"\nbass = 3\n", "config.toml line 1: colours cannot be"),
            ("\nvolume = 11\ntuning = \"H\"\n", "config.toml line 2: there is no setting"),
        ] {
            let said = load(file, &[("LANDFALL_CHANNEL", "0")], Given::default(), Given::default()).unwrap_err();
            assert!(said.starts_with(first), "{file:?}: {said}");
        }
    }

    #[test]
    fn a_broken_line_and_an_impossible_value_name_their_place() {
        let said = load("a4 = 442\ntolerance = \n", &[], Given::default(), Given::default()).unwrap_err();
        assert!(said.starts_with("config.toml line 2: "), "{said}");
        let said = load("a4 = 44", &[], Given::default(), Given::default()).unwrap_err();
        assert_eq!(said, "config.toml line 1: a4 cannot be \"44\": it is the frequency of A4 in Hz, from 400 to 480, usually 440");
        let said = load("", &[("LANDFALL_CHANNEL", "0")], Given::default(), Given::default()).unwrap_err();
        assert_eq!(said, "LANDFALL_CHANNEL: channel cannot be \"0\": channels are counted from 1");
        let said = load("handedness = \"both\"", &[], Given::default(), Given::default()).unwrap_err();
        assert_eq!(said, "config.toml line 1: handedness cannot be \"both\": it is one of right, left");
    }
}
