//! Noise that depends on the seed and the frame alone, so that it is the same however the take is cut into blocks.

/// SplitMix64 (Steele, Lea & Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014), used as a hash of a counter.
fn mix(seed: u64, index: u64) -> u64 {
    let mut z = seed.wrapping_add(index.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// White noise of variance 1 at frame `index`: the sum of four uniform numbers, which is near a Gaussian (Irwin–Hall, n = 4; it
/// never exceeds √12).
#[must_use]
pub fn white(seed: u64, index: u64) -> f64 {
    let bits = mix(seed, index);
    let sum: u64 = (0..4).map(|part| (bits >> (16 * part)) & 0xFFFF).sum();
    // Each part has mean 32767.5 and variance (2^32 - 1)/12; four of them have standard deviation 2·65536/√12.
    (sum as f64 - 131_070.0) * (12.0_f64.sqrt() / 131_072.0)
}

/// Another seed for another use of the same scenario.
#[must_use]
pub fn branch(seed: u64, use_number: u64) -> u64 {
    mix(seed ^ 0xA076_1D64_78BD_642F, use_number)
}
