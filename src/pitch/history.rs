//! The last stretch of a stream, addressed by its own index in the take.

/// A ring of fixed size that hands out contiguous slices: each value is written twice, so no slice ever wraps.
#[derive(Debug)]
pub struct History<T> {
    twice: Vec<T>,
    len: usize,
    end: u64,
    /// Where the next value goes: `end` modulo `len`, kept so that no value costs a division.
    place: usize,
}

impl<T: Copy + Default> History<T> {
    /// Keeps the last `len` values, at least 1.
    #[must_use]
    pub fn new(len: usize) -> Self {
        let len = len.max(1);
        Self { twice: vec![T::default(); 2 * len], len, end: 0, place: 0 }
    }

    /// Appends one value.
    pub fn push(&mut self, value: T) {
        self.twice[self.place] = value;
        self.twice[self.place + self.len] = value;
        self.end += 1;
        self.place = if self.place + 1 == self.len { 0 } else { self.place + 1 };
    }

    /// The index that the next value will have.
    #[must_use]
    pub fn end(&self) -> u64 {
        self.end
    }

    /// Values from index `from` on, `count` of them; `None` where some are not yet there or no longer kept.
    /// Indices before the first value are unknown too.
    #[must_use]
    pub fn slice(&self, from: u64, count: usize) -> Option<&[T]> {
        if count > self.len || from + count as u64 > self.end || from + (self.len as u64) < self.end {
            return None;
        }
        let at = self.place_of(from);
        Some(&self.twice[at..at + count])
    }

    /// One value.
    #[must_use]
    pub fn get(&self, index: u64) -> Option<T> {
        self.slice(index, 1).map(|s| s[0])
    }

    /// Overwrites a value that is still kept.
    pub fn set(&mut self, index: u64, value: T) {
        if index < self.end && index + self.len as u64 >= self.end {
            let at = self.place_of(index);
            self.twice[at] = value;
            self.twice[at + self.len] = value;
        }
    }

    /// `index` modulo `len`, for one that is at most `len` before the end.
    fn place_of(&self, index: u64) -> usize {
        let back = (self.end - index) as usize;
        if back <= self.place { self.place - back } else { self.place + self.len - back }
    }
}
