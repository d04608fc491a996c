//! Note, interval, chord, scale, tuning, the neck and the chart: pure, no time and no sound.
