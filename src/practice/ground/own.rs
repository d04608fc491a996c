//! Which of a drill's own values hold beside what was given.

use super::super::parameters::{self, DrillError, Given};
use super::Ground;
use crate::theory::bend::size_name;
use crate::theory::{Note, Place, Tuning};

/// What is given, and which of the drill's own values does not hold then.
const STANDS_OVER: &[(&str, &str)] = &[
    ("chord", "places"),
    ("target", "places"),
    ("places", "target"),
    ("places", "chord"),
    ("key", "chord"),
    ("each", "attempts"),
    ("attempts", "each"),
];

/// The drill's own values with the given ones over them.
pub(super) fn over(given: &Given, own: &Given) -> Given {
    let mut values = own.clone();
    for (name, void) in STANDS_OVER {
        if given.contains_key(*name) {
            values.remove(*void);
        }
    }
    values.extend(given.clone());
    values
}

impl Ground {
    fn places(&self) -> Vec<Place> {
        self.text("places").and_then(|text| parameters::places(text).ok()).unwrap_or_default()
    }

    /// Places with sizes in cents: each place in all sizes, or paired as they stand. A note that is not bent has 0.
    pub(super) fn pairs(&self) -> Vec<(Place, u32)> {
        let (places, mut sizes) = (self.places(), self.sizes());
        if sizes.is_empty() {
            sizes.push(0);
        }
        if self.is_in_order("paired") {
            return places.into_iter().zip(sizes.into_iter().cycle()).collect();
        }
        places.iter().flat_map(|place| sizes.iter().map(|cents| (*place, *cents))).collect()
    }

    /// Keeps those of the places that the player named which lie where the player said.
    pub(super) fn keep_named(&mut self) -> Result<(), DrillError> {
        let all = self.pairs();
        let kept: Vec<(Place, u32)> = all.iter().copied().filter(|(place, _)| self.is_asked_for(*place)).collect();
        if kept.is_empty() {
            let places = self.text("places").unwrap_or_default();
            let asked = [("strings", "on strings"), ("position", "around fret")];
            let asked = asked.iter().filter_map(|(name, words)| Some(format!("{words} {}", self.text(name)?)));
            let asked = asked.collect::<Vec<_>>().join(" ");
            return Err(DrillError::NoPlace(format!("of the places {places} none lies {asked}: leave one of the two out")));
        }
        if kept.len() < all.len() {
            self.settle(&kept);
        }
        Ok(())
    }

    /// Keeps those of the drill's own places, named for `tuning`, that lie where they were asked for; a size that has none left gets others.
    pub(super) fn keep_own(&mut self, tuning: &Tuning) -> Result<(), DrillError> {
        let sounds = |tuning: &Tuning, place: Place| tuning.open(place.string).map(Note::midi);
        // On a string that the tuning leaves, the place is the same note.
        let is_same = |place: Place| sounds(tuning, place).is_some() && sounds(tuning, place) == sounds(self.neck.tuning(), place);
        let holds = |(place, cents): &(Place, u32)| {
            is_same(*place) && place.fret <= self.neck.frets() && self.is_asked_for(*place) && self.is_in_key(*place, *cents)
        };
        let all = self.pairs();
        let kept: Vec<(Place, u32)> = all.iter().copied().filter(holds).collect();
        if kept.len() == all.len() {
            return Ok(());
        }
        // One note in several places: the theory finds its places where fewer than two are left.
        if self.values.contains_key("target") {
            if kept.len() < 2 {
                self.values.remove("places");
            } else {
                self.settle(&kept);
            }
            return Ok(());
        }
        let chosen = if self.is_in_order("paired") { self.paired(&all, kept)? } else { self.by_size(&all, &kept)? };
        self.settle(&chosen);
        Ok(())
    }

    /// Of paired places those that are left; where none is, for each pair another place.
    fn paired(&self, all: &[(Place, u32)], kept: Vec<(Place, u32)>) -> Result<Vec<(Place, u32)>, DrillError> {
        if !kept.is_empty() {
            return Ok(kept);
        }
        let other = |at: usize| {
            let cents = all[at].1;
            let found = self.others(&[cents], all)?;
            let before = all[..at].iter().filter(|(_, other)| *other == cents).count();
            Ok((found[before % found.len()], cents))
        };
        (0..all.len()).map(other).collect()
    }

    /// For each size its own places that are left, else others: for all such sizes the same ones, if there are any.
    fn by_size(&self, all: &[(Place, u32)], kept: &[(Place, u32)]) -> Result<Vec<(Place, u32)>, DrillError> {
        let mut sizes: Vec<u32> = Vec::new();
        for (_, cents) in all {
            if !sizes.contains(cents) {
                sizes.push(*cents);
            }
        }
        let left = |size: u32| kept.iter().filter(|(_, cents)| *cents == size).map(|(place, _)| *place).collect::<Vec<_>>();
        let without: Vec<u32> = sizes.iter().copied().filter(|size| left(*size).is_empty()).collect();
        let common = self.others(&without, all).ok();
        let most = all.iter().filter(|(_, cents)| *cents == all[0].1).count();
        let mut lists: Vec<(u32, Vec<Place>)> = Vec::new();
        // A size may be named twice: it comes twice in each turn.
        for cents in all.iter().take_while(|(place, _)| *place == all[0].0).map(|(_, cents)| *cents) {
            let mut places = left(cents);
            if places.is_empty() {
                places = common.clone().map_or_else(|| self.others(&[cents], all), Ok)?;
                places.truncate(most);
            }
            lists.push((cents, places));
        }
        let turns = lists.iter().map(|(_, places)| places.len()).max().unwrap_or(0);
        Ok((0..turns).flat_map(|turn| lists.iter().map(move |(cents, places)| (places[turn % places.len()], *cents))).collect())
    }

    /// Writes places and sizes down as values that mean the same.
    fn settle(&mut self, chosen: &[(Place, u32)]) {
        let named = |places: &[Place]| places.iter().map(|place| format!("{}/{}", place.string, place.fret)).collect::<Vec<_>>().join(" ");
        let mut places: Vec<Place> = Vec::new();
        for (place, _) in chosen {
            if !places.contains(place) {
                places.push(*place);
            }
        }
        self.values.insert("places".to_owned(), named(&places));
        if self.pairs() == chosen {
            return;
        }
        let sizes: Vec<String> = chosen.iter().map(|(_, cents)| size_name(*cents).trim_end_matches(" cents").to_owned()).collect();
        self.values.insert("places".to_owned(), named(&chosen.iter().map(|(place, _)| *place).collect::<Vec<_>>()));
        self.values.insert("sizes".to_owned(), sizes.join(" "));
        if !self.is_in_order("paired") {
            let order =
                self.text("order").filter(|order| *order != "turns").map_or_else(|| "paired".to_owned(), |order| format!("{order} paired"));
            self.values.insert("order".to_owned(), order);
        }
    }
}
