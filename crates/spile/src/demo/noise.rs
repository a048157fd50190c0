//! Repeatable noise: a number from a place and a seed, with no state.

use spile_mesh::DVec3;

/// Bits that depend on every bit of `x` (the finalizer of Steele, Lea and
/// Flood 2014, "Fast splittable pseudorandom number generators").
fn mixed(x: u64) -> u64 {
    let x = x.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// A number in -1 to 1 for a grid place, evenly spread.
pub fn white(seed: u64, place: [i64; 3]) -> f64 {
    let bits = place.iter().fold(seed, |bits, &c| mixed(bits ^ c as u64));
    (bits >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// Noise in -1 to 1 that changes smoothly over `size`: white noise on a coarse
/// grid, blended between.
pub fn smooth(seed: u64, p: DVec3, size: f64) -> f64 {
    let q = p / size;
    let base = q.floor();
    let f = q - base;
    let f = f * f * (DVec3::splat(3.0) - 2.0 * f);
    let mut sum = 0.0;
    for corner in 0..8u32 {
        let bit = |axis: u32| f64::from((corner >> axis) & 1);
        let offset = DVec3::new(bit(0), bit(1), bit(2));
        let weight = offset * f + (DVec3::ONE - offset) * (DVec3::ONE - f);
        let place = (base + offset).to_array().map(|c| c as i64);
        sum += weight.x * weight.y * weight.z * white(seed, place);
    }
    sum
}
