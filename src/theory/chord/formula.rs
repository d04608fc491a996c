//! A chord's quality while it is being read: which third, fifths, seventh, and what is stacked or added on top.

use crate::theory::degree::Degree;

/// What stands in the place of the third.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Third {
    Major,
    Minor,
    Sus2,
    Sus4,
    Both,
    None,
}

/// A quality in parts. `seventh` is semitones above the major seventh; `stack` the highest natural tone stacked (7, 9, 11, 13).
#[derive(Clone, Debug)]
pub(super) struct Formula {
    pub third: Third,
    pub fifths: Vec<i8>,
    pub sixth: bool,
    pub seventh: Option<i8>,
    pub stack: u8,
    pub altered: Vec<Degree>,
    pub added: Vec<Degree>,
    pub missing: Vec<u8>,
    pub alt: bool,
}

impl Formula {
    pub fn major() -> Self {
        Self {
            third: Third::Major,
            fifths: vec![0],
            sixth: false,
            seventh: None,
            stack: 0,
            altered: Vec::new(),
            added: Vec::new(),
            missing: Vec::new(),
            alt: false,
        }
    }

    /// Replaces the perfect fifth, or stands beside another altered one.
    pub fn alter_fifth(&mut self, alter: i8) {
        self.fifths.retain(|a| *a != 0 && *a != alter);
        self.fifths.push(alter);
        self.fifths.sort_unstable();
    }

    /// The degrees in order; `Err` names two that are the same pitch.
    pub fn degrees(&self) -> Result<Vec<Degree>, (Degree, Degree)> {
        let mut degrees = vec![Degree::ROOT];
        match self.third {
            Third::Major => degrees.push(Degree::new(3, 0)),
            Third::Minor => degrees.push(Degree::new(3, -1)),
            Third::Sus2 => degrees.push(Degree::new(2, 0)),
            Third::Sus4 => degrees.push(Degree::new(4, 0)),
            Third::Both => degrees.extend([Degree::new(2, 0), Degree::new(4, 0)]),
            Third::None => {}
        }
        degrees.extend(self.fifths.iter().map(|&alter| Degree::new(5, alter)));
        degrees.extend(self.sixth.then_some(Degree::new(6, 0)));
        degrees.extend(self.seventh.map(|alter| Degree::new(7, alter)));
        let natural = |number: u8| !self.altered.iter().any(|degree| degree.number == number);
        if self.stack >= 9 && natural(9) && self.third != Third::Sus2 {
            degrees.push(Degree::new(9, 0));
        }
        if self.stack == 11 && natural(11) && self.third != Third::Sus4 {
            degrees.push(Degree::new(11, 0));
        }
        if self.stack == 13 && natural(13) {
            degrees.push(Degree::new(13, 0));
        }
        degrees.extend(self.altered.iter().chain(&self.added));
        degrees.retain(|degree| !self.missing.contains(&degree.number));
        degrees.sort_unstable();
        degrees.dedup();
        for (i, one) in degrees.iter().enumerate() {
            if let Some(other) = degrees[..i].iter().find(|other| other.class() == one.class()) {
                return Err((*other, *one));
            }
        }
        Ok(degrees)
    }

    /// `alt` with nothing said beside it that changes a tone.
    fn is_plain_alt(&self) -> bool {
        let as_read = self.third == Third::Major && self.fifths == [1] && self.seventh == Some(-1) && self.altered == [Degree::new(9, 1)];
        self.alt && as_read && self.stack <= 7 && !self.sixth && self.added.is_empty() && self.missing.is_empty()
    }

    /// landfall's spelling of what follows the root.
    pub fn suffix(&self) -> String {
        if self.is_plain_alt() {
            return "7alt".to_string();
        }
        let minor = self.third == Third::Minor;
        let flat_five = self.fifths == [-1];
        let number = if self.seventh.is_some() { self.stack.max(7).to_string() } else { String::new() };
        let mut fifths_told = false;
        let mut text = match (minor, self.seventh) {
            // A suspended one too: only `dim` says its seventh.
            (_, Some(-2)) => {
                fifths_told = flat_five;
                format!("dim{number}")
            }
            (true, Some(0)) if flat_five => {
                fifths_told = true;
                format!("dimMaj{number}")
            }
            (true, None) if flat_five && !self.sixth => {
                fifths_told = true;
                "dim".to_string()
            }
            (false, None) if self.third == Third::Major && self.fifths == [1] && !self.sixth => {
                fifths_told = true;
                "aug".to_string()
            }
            (true, Some(0)) => format!("mMaj{number}"),
            (true, _) => format!("m{number}"),
            (false, Some(0)) => format!("maj{number}"),
            (false, _) => number,
        };
        let (mut added, mut missing) = (self.added.clone(), self.missing.clone());
        if self.sixth && self.seventh.is_some() {
            added.insert(0, Degree::new(6, 0));
        } else if self.sixth {
            text.push('6');
            if let Some(ninth) = added.iter().position(|degree| *degree == Degree::new(9, 0)) {
                added.remove(ninth);
                text.push_str("/9");
            }
        }
        if self.third == Third::None && self.seventh.is_none() {
            text.push('5');
        } else if self.third == Third::None && !self.missing.contains(&3) {
            missing.insert(0, 3);
        }
        let altered = |number: u8, text: &mut String| {
            for degree in self.altered.iter().filter(|degree| degree.number == number) {
                if self.seventh.is_none() {
                    text.push_str("add");
                }
                text.push_str(&degree.to_string());
            }
        };
        altered(9, &mut text);
        if !fifths_told {
            for alter in self.fifths.iter().filter(|alter| **alter != 0) {
                // In parentheses where the flat would be read as the root's.
                let told = Degree::new(5, *alter).to_string();
                text = if text.is_empty() { format!("({told})") } else { text + &told };
            }
        }
        altered(11, &mut text);
        altered(13, &mut text);
        match self.third {
            Third::Sus2 => text.push_str("sus2"),
            Third::Sus4 => text.push_str("sus4"),
            Third::Both => text.push_str("sus2sus4"),
            _ => {}
        }
        for degree in &added {
            text = format!("{text}add{degree}");
        }
        for number in &missing {
            text = format!("{text}no{number}");
        }
        text
    }
}
