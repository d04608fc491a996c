//! The rise and the letting go of a voice.

/// From nothing to full over some frames, full for a while, then away exponentially.
#[derive(Clone, Copy, Debug)]
pub(super) struct Envelope {
    rise: u64,
    length: u64,
    /// Per frame, once let go.
    fall: f64,
    frame: u64,
    level: f64,
}

/// 60 dB: nobody hears the rest.
pub(super) const GONE: f64 = 1e-3;

impl Envelope {
    /// `rise` frames up, let go after `length` frames, 60 dB down in `release` more.
    pub(super) fn new(rise: u64, length: u64, release: u64) -> Self {
        Self { rise, length, fall: fall_over(release), frame: 0, level: 1.0 }
    }

    /// The next frame's gain; `None` once it is gone.
    pub(super) fn next(&mut self) -> Option<f64> {
        if self.frame >= self.length {
            self.level *= self.fall;
            if self.level < GONE {
                return None;
            }
        }
        // The first frame is not silent: an event begins exactly where it should.
        let up = if self.frame < self.rise { (self.frame + 1) as f64 / (self.rise + 1) as f64 } else { 1.0 };
        self.frame += 1;
        Some(up * self.level)
    }
}

/// The factor per frame that is 60 dB down after so many frames.
pub(super) fn fall_over(frames: u64) -> f64 {
    GONE.powf(1.0 / frames.max(1) as f64)
}
