//! What was wrong with an attempt, as words of the log. The list is part of the log's format: words are added, never changed.

use std::fmt;

macro_rules! faults {
    ($($name:ident, $word:literal, $meaning:literal;)+) => {
        /// One thing that was off; several may be. The documented list of the log's `faults`.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Fault {
            $(#[doc = $meaning] $name,)+
        }

        impl Fault {
            /// All of them, in the order in which a row lists them.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// The word in the log.
            #[must_use]
            pub fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)+ }
            }

            /// What it means, as one sentence.
            #[must_use]
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$name => $meaning,)+ }
            }
        }
    };
}

faults! {
    Flat, "flat", "The hold lies under the target by more than the tolerance.";
    Sharp, "sharp", "The hold lies over the target by more than the tolerance.";
    SlowToSettle, "slow to settle", "More than 120 ms pass from the first touch of the settled pitch until the bend stays there.";
    Overshoot, "overshoot", "The bend went above its settled pitch by more than the tolerance of an overshoot.";
    Corrected, "corrected", "The bend stopped and then went on up.";
    Sags, "sags", "The hold sinks by more than 10 cents a second.";
    Climbs, "climbs", "The hold rises by more than 10 cents a second.";
    ShortHold, "short hold", "The hold was shorter than asked for.";
    SlowRise, "slow rise", "The rise took longer than asked for.";
    ShakeOff, "shake off centre", "The vibrato's centre lies off the target by more than the tolerance.";
    ShakeUneven, "shake uneven", "The vibrato's swings differ by more than 20 per cent.";
    NoShake, "no shake", "A vibrato was asked for and none was heard.";
    NoRelease, "no release", "A release was asked for and the bend was not let down.";
    ReleaseFlat, "release flat", "The landing lies under the origin as played by more than the tolerance of a release.";
    ReleaseSharp, "release sharp", "The landing lies over the origin as played by more than the tolerance of a release.";
    ReleaseLost, "release lost", "The note died before the release had landed.";
    RestrikeFlat, "restrike flat", "The restruck note lies under the origin by more than the tolerance.";
    RestrikeSharp, "restrike sharp", "The restruck note lies over the origin by more than the tolerance.";
    NoRestrike, "no restrike", "A restrike was asked for and none was heard in time.";
    Early, "early", "The arrival came before its beat by more than the tolerance of the beat; of a climb over beats, the note itself.";
    Late, "late", "The arrival came after its beat by more than the tolerance of the beat; of a climb over beats, the note itself.";
    StringOff, "string off", "The note before the bend is off by more than the tolerance: tune the string.";
    OtherTechnique, "other technique", "Another gesture was played than asked for.";
    TargetGuessed, "target guessed", "Nothing said what was wanted, and the settled pitch is over 30 cents from any note.";
    UnevenRise, "uneven rise", "A drawn-out rise was halfway outside of 35 to 65 per cent of its time.";
    ShakeNarrow, "shake narrow", "The vibrato is narrower than asked for.";
    ShakeWide, "shake wide", "The vibrato is wider than asked for.";
    ShakeSlow, "shake slow", "The vibrato is slower than asked for.";
    ShakeFast, "shake fast", "The vibrato is faster than asked for.";
    LongHold, "long hold", "The hold was longer than the beats asked for, by more than a quarter of a beat.";
    ShakeEarly, "shake early", "The vibrato began before half of the straight part was over.";
    ShakeLate, "shake late", "The straight part before the vibrato was half as long again as asked for, or longer.";
    ShakeShort, "shake short", "The vibrato lasted less than three quarters of what was asked for.";
    TwoStrings, "two strings heard", "Another string sounded with the bend, and its measures could not be told.";
    Gated, "gated", "A noise gate cut the note off.";
    RangOut, "rang out", "The string died during the hold.";
    LetGo, "let go", "The finger left the string during the hold.";
    Clipped, "clipped", "The input was louder than full scale during the attempt.";
    LostAudio, "lost audio", "Sound was lost during the attempt.";
    InvalidSamples, "invalid samples", "The input held samples that are no numbers during the attempt.";
    Uncalibrated, "uncalibrated", "The time against the beat holds the delay of the sound card, which `landfall calibrate` had not measured.";
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl std::str::FromStr for Fault {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        Self::ALL.iter().copied().find(|fault| fault.word() == word).ok_or_else(|| format!("no fault is called {word:?}"))
    }
}
