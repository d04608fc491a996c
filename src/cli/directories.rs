//! What comes from outside through the environment: variables and the user's folders.

use super::Failure;
use etcetera::BaseStrategy;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// The variables of the process, or those that a test hands in.
#[derive(Clone, Debug, Default)]
pub struct Environment(BTreeMap<String, String>);

impl Environment {
    /// The variables that this process was started with; names and values that are not UTF-8 are none of ours.
    #[must_use]
    pub fn of_process() -> Self {
        std::env::vars_os().filter_map(|(name, value)| Some((name.into_string().ok()?, value.into_string().ok()?))).collect()
    }

    /// A variable that is set to something.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(String::as_str).filter(|value| !value.is_empty())
    }
}

impl FromIterator<(String, String)> for Environment {
    fn from_iter<I: IntoIterator<Item = (String, String)>>(variables: I) -> Self {
        Self(variables.into_iter().collect())
    }
}

/// Where the player's things are kept. Nothing is kept anywhere else unless asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Directories {
    config: PathBuf,
    data: PathBuf,
}

impl Directories {
    /// `LANDFALL_CONFIG_DIR` and `LANDFALL_DATA_DIR` where they are set, else the places that the system has for them
    /// (on Linux and macOS `~/.config/landfall` and `~/.local/share/landfall`, or below `XDG_CONFIG_HOME` and `XDG_DATA_HOME`).
    ///
    /// # Errors
    /// When the system names no home folder and the variables are not set.
    pub fn of(environment: &Environment) -> Result<Self, Failure> {
        let chosen = |name: &str| environment.get(name).map(PathBuf::from);
        match (chosen("LANDFALL_CONFIG_DIR"), chosen("LANDFALL_DATA_DIR")) {
            (Some(config), Some(data)) => Ok(Self { config, data }),
            (config, data) => {
                let usual = etcetera::choose_base_strategy().map_err(
                    |_| "no home folder is known; set LANDFALL_CONFIG_DIR and LANDFALL_DATA_DIR to folders that you may write to",
                )?;
                Ok(Self {
                    config: config.unwrap_or_else(|| usual.config_dir().join("landfall")),
                    data: data.unwrap_or_else(|| usual.data_dir().join("landfall")),
                })
            }
        }
    }

    /// The player's settings.
    #[must_use]
    pub fn config_file(&self) -> PathBuf {
        self.config.join("config.toml")
    }

    /// The player's log of attempts.
    #[must_use]
    pub fn log_file(&self) -> PathBuf {
        self.data.join("attempts.csv")
    }

    /// The log of `demo`, kept apart from what the player played.
    #[must_use]
    pub fn demo_log_file(&self) -> PathBuf {
        self.data.join("demo.csv")
    }

    /// The tables of intonation checks.
    #[must_use]
    pub fn intonation(&self) -> PathBuf {
        self.data.join("intonation")
    }

    /// The delays from output to input that were measured.
    #[must_use]
    pub fn round_trips(&self) -> PathBuf {
        self.data.join("calibration.toml")
    }

    /// The recorded takes.
    #[must_use]
    pub fn takes(&self) -> PathBuf {
        self.data.join("takes")
    }
}
