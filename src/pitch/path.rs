//! The likeliest path through the candidates of many hops: dynamic programming with a fixed look-ahead.
//!
//! After Boersma (1993): each hop's candidates are scored by clarity less an octave cost, going from one hop's candidate to the
//! next costs by distance, and so does starting or ending a pitch. What a path of this length has decided is final.

use super::candidates::{Candidates, MOST};
use super::detector::OCTAVE_COST;

/// Costs of the path, in units of clarity. Their sizes are those that gave the fewest gross errors on recorded guitar; a leap that costs much
/// more than this keeps an octave that was read wrong at the attack.
#[derive(Clone, Copy, Debug)]
pub struct PathCosts {
    /// Per octave between neighbouring hops.
    pub jump: f32,
    /// For ending a pitch.
    pub end: f32,
    /// For starting a pitch where nothing was struck.
    pub start: f32,
    /// For going further up than a minor third from one hop to the next where nothing was struck: mends an octave read too low.
    pub leap_up: f32,
    /// For going further down: a tail is not handed over to a lower string, nor to a period that it shares with one.
    pub leap_down: f32,
    /// The clarity under which no pitch is as good.
    pub unpitched: f32,
    /// The period at which the octave cost is 0, in samples.
    pub neutral_period: f32,
}

/// A leap, in octaves between neighbouring hops: a minor third. Slides and hammer-ons go in smaller steps under the window.
const LEAP: f32 = 0.25;
const STATES: usize = MOST + 1;
/// The state without pitch stands last.
const NONE: usize = MOST;

#[derive(Clone, Copy, Debug, Default)]
struct Step {
    /// Log2 of each candidate's period; the state without a pitch has none.
    log_period: [f32; MOST],
    clarity: [f32; MOST],
    rank: [f32; MOST],
    count: usize,
    from: [u8; STATES],
}

/// What the path says of one hop: period in samples and clarity, or no pitch.
pub type Decision = Option<(f32, f32)>;

/// The dynamic programme over the last `look_ahead` hops.
#[derive(Debug)]
pub struct Path {
    costs: PathCosts,
    steps: Vec<Step>,
    score: [f32; STATES],
    pushed: usize,
}

impl Path {
    /// Decides each hop when `look_ahead` further ones are known.
    #[must_use]
    pub fn new(costs: PathCosts, look_ahead: usize) -> Self {
        Self { costs, steps: vec![Step::default(); look_ahead + 1], score: [0.0; STATES], pushed: 0 }
    }

    /// Takes the next hop's candidates; `free` lifts the cost of jumping into it (an attack). Gives the decision of the hop
    /// `look_ahead` before it, once there are so many.
    pub fn push(&mut self, candidates: &Candidates, free: bool) -> Option<Decision> {
        let mut step = Step::default();
        for (i, c) in candidates.as_slice().iter().enumerate() {
            step.log_period[i] = c.period.log2();
            step.clarity[i] = c.clarity;
            step.rank[i] = c.rank;
        }
        step.count = candidates.as_slice().len();
        let previous = if self.pushed == 0 { Step::default() } else { self.steps[(self.pushed - 1) % self.steps.len()] };
        let toll = if free { 0.15 } else { 1.0 };
        let mut score = [f32::NEG_INFINITY; STATES];
        for to in (0..step.count).chain([NONE]) {
            let local = if to == NONE { self.costs.unpitched } else { step.rank[to] + OCTAVE_COST * self.costs.neutral_period.log2() };
            let mut best = (f32::NEG_INFINITY, NONE);
            for from in (0..previous.count).chain([NONE]) {
                let cost = match (from == NONE, to == NONE) {
                    (true, true) => 0.0,
                    (true, false) => {
                        if free {
                            self.costs.end
                        } else {
                            self.costs.start
                        }
                    }
                    (false, true) => self.costs.end,
                    (false, false) => {
                        let distance = (previous.log_period[from] - step.log_period[to]).abs();
                        let leap = if distance <= LEAP || free {
                            0.0
                        } else if step.log_period[to] < previous.log_period[from] {
                            self.costs.leap_up
                        } else {
                            self.costs.leap_down
                        };
                        self.costs.jump * toll * distance + leap
                    }
                };
                let s = self.score[from] - cost;
                if s > best.0 {
                    best = (s, from);
                }
            }
            score[to] = best.0 + local;
            step.from[to] = best.1 as u8;
        }
        let top = score.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        for s in &mut score {
            *s -= top;
        }
        self.score = score;
        let n = self.steps.len();
        self.steps[self.pushed % n] = step;
        self.pushed += 1;
        (self.pushed >= n).then(|| self.decided(n - 1))
    }

    /// Forgets everything: what comes next has no past.
    pub fn forget(&mut self) {
        self.pushed = 0;
        self.score = [0.0; STATES];
    }

    /// The decision of the hop `back` before the last, along the best path.
    fn decided(&self, back: usize) -> Decision {
        let n = self.steps.len();
        let mut state = (0..STATES).max_by(|&a, &b| self.score[a].total_cmp(&self.score[b])).unwrap_or(NONE);
        for k in 0..back {
            state = usize::from(self.steps[(self.pushed - 1 - k) % n].from[state]);
        }
        let step = &self.steps[(self.pushed - 1 - back) % n];
        (state < step.count).then(|| (step.log_period[state].exp2(), step.clarity[state]))
    }

    /// Where the best path stands now, as far as is known: period in samples.
    #[must_use]
    pub fn best(&self) -> Option<f32> {
        if self.pushed == 0 { None } else { self.decided(0).map(|(period, _)| period) }
    }

    /// At the end of the take: the decisions still open, oldest first.
    pub fn finish(&mut self, mut emit: impl FnMut(Decision)) {
        let open = self.pushed.min(self.steps.len() - 1);
        for back in (0..open).rev() {
            emit(self.decided(back));
        }
        self.pushed = 0;
        self.score = [0.0; STATES];
    }
}
