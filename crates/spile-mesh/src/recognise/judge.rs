//! Whether what is left over is noise, or shape that the fit does not tell.

use super::shape::Shape;
use super::surface::Cloud;

/// How what is left over spreads.
#[derive(Debug, Clone, Copy)]
pub(super) struct Left {
    /// Root mean square.
    pub(super) rms: f64,
    /// Variance of blocks' means over what noise that is independent from point
    /// to point gives: about 1 for such noise, far more for a smooth misfit.
    pub(super) lumps: f64,
    /// Share of the leftover that differs from point to point: about 1 for such
    /// noise, near 0 for a smooth misfit.
    rough_share: f64,
    /// Blocks that told it.
    blocks: usize,
}

/// The coordinates' own spacing explains this many times itself.
const ROUNDINGS: f64 = 2.0;
/// Noise may be this share of the size.
const NOISE_SHARE: f64 = 0.02;
/// Rounding must be less than this share of the size, or nothing is told.
const ROUNDING_SHARE: f64 = 0.01;
/// Points of a block, about.
const BLOCK: f64 = 24.0;
/// A block of fewer points tells too little.
const LEAST_BLOCK: usize = 4;
/// Fewer blocks tell too little.
const LEAST_BLOCKS: usize = 8;
/// Independent noise stays below this: of 8 blocks, the mean of squared normal
/// numbers exceeds it once in 200 times, of 40 once in 40 000.
const MOST_LUMPS: f64 = 2.5;
/// Independent noise is rough throughout.
const LEAST_ROUGH_SHARE: f64 = 0.7;
/// A region that leaks past its end has lumps there; beyond this it is no shape.
const MOST_LEAKING: f64 = 25.0;
/// A block whose mean is further off than so many of its standard errors does
/// not lie on the shape.
const BLOCK_STRAY: f64 = 4.0;

impl Left {
    /// Over the points of a cloud.
    ///
    /// The noise is told from differences along edges, which a smooth misfit
    /// hardly changes; the misfit from means over blocks of some two dozen
    /// points, in which noise falls off with the root of their number.
    pub(super) fn over(shape: &Shape, cloud: &Cloud) -> Self {
        let distances = cloud.distances(shape);
        let sum: f64 = distances.iter().map(|d| d * d).sum();
        let rms = (sum / distances.len().max(1) as f64).sqrt();
        let noise_sq = noise_sq(&distances, cloud.edges());
        let (mut lumps, mut blocks) = (0.0, 0);
        for block in cloud.blocks(BLOCK).iter().filter(|b| b.len() >= LEAST_BLOCK) {
            lumps += mean(&distances, block).powi(2) * block.len() as f64;
            blocks += 1;
        }
        let lumps = if noise_sq > 0.0 { lumps / noise_sq / blocks.max(1) as f64 } else { 0.0 };
        Self { rms, lumps, rough_share: share(noise_sq, rms), blocks }
    }

    /// Of a closed loop's distances, in its order: blocks are stretches of it.
    pub(super) fn along(distances: &[f64]) -> Self {
        let n = distances.len();
        let sum: f64 = distances.iter().map(|d| d * d).sum();
        let noise_sq = noise_sq(distances, (0..n).map(|k| [k, (k + 1) % n]));
        let stretch = (n / 12).max(LEAST_BLOCK);
        let (mut lumps, mut blocks) = (0.0, 0);
        for block in distances.chunks(stretch).filter(|b| b.len() >= LEAST_BLOCK) {
            lumps += block.iter().sum::<f64>().powi(2) / block.len() as f64;
            blocks += 1;
        }
        let lumps = if noise_sq > 0.0 { lumps / noise_sq / blocks.max(1) as f64 } else { 0.0 };
        // A loop has few points; its stretches are enough when there are four.
        let rms = (sum / n.max(1) as f64).sqrt();
        Self { rms, lumps, rough_share: share(noise_sq, rms), blocks: 2 * blocks }
    }

    /// Whether only rounding of coordinates is left.
    pub(super) fn is_rounding(self, rounding: f64) -> bool {
        self.rms <= ROUNDINGS * rounding
    }

    /// Whether what is left has no shape of its own, as far as blocks tell.
    pub(super) fn is_noise(self) -> bool {
        self.blocks >= LEAST_BLOCKS
            && self.lumps <= MOST_LUMPS
            && self.rough_share >= LEAST_ROUGH_SHARE
    }

    /// Whether a small patch may be part of a shape with noise on it.
    pub(super) fn may_be_noise(self) -> bool {
        self.lumps <= 2.0 * MOST_LUMPS
    }

    /// Whether a region, with what may have leaked in, is worth growing on.
    pub(super) fn may_grow(self, rounding: f64) -> bool {
        self.is_rounding(rounding) || self.lumps <= MOST_LEAKING
    }

    /// Whether what is left is rounding, or noise that is small against `size`.
    ///
    /// A scanned surface that merely resembles a shape leaves smooth lumps:
    /// neighbours then stand off alike. That is what tells it from a true shape
    /// with noise on it, whatever the size of either.
    pub(super) fn is_explained(self, size: f64, rounding: f64) -> bool {
        (self.is_rounding(rounding) && self.rms <= ROUNDING_SHARE * size)
            || (self.is_noise() && self.rms <= NOISE_SHARE * size)
    }
}

/// For each point of a cloud, whether its block lies off the shape.
pub(super) fn off_in_blocks(shape: &Shape, cloud: &Cloud) -> Vec<bool> {
    let distances = cloud.distances(shape);
    let noise = noise_sq(&distances, cloud.edges()).sqrt();
    let mut off = vec![false; distances.len()];
    for block in cloud.blocks(BLOCK) {
        let error = noise / (block.len() as f64).sqrt();
        if mean(&distances, &block).abs() > BLOCK_STRAY * error {
            block.iter().for_each(|&k| off[k as usize] = true);
        }
    }
    off
}

fn share(noise_sq: f64, rms: f64) -> f64 {
    if rms > 0.0 { noise_sq / (rms * rms) } else { 0.0 }
}

fn mean(distances: &[f64], block: &[u32]) -> f64 {
    block.iter().map(|&k| distances[k as usize]).sum::<f64>() / block.len() as f64
}

/// Half the mean square of the differences of neighbours: the variance of noise
/// that is independent from point to point (after von Neumann 1941).
fn noise_sq(distances: &[f64], edges: impl Iterator<Item = [usize; 2]>) -> f64 {
    let (mut sum, mut count) = (0.0, 0_usize);
    for [i, j] in edges {
        sum += (distances[i] - distances[j]).powi(2);
        count += 1;
    }
    0.5 * sum / count.max(1) as f64
}
