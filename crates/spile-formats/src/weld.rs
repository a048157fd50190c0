//! Points shared by exact equality of their coordinates.

use spile_mesh::DVec3;

const FREE: u32 = u32::MAX;

/// Gives equal points one index, in order of first appearance.
///
/// An open-addressing table of point indices, at most half full; the points
/// themselves are the keys. O(1) a point, no allocation but doubling.
pub(crate) struct Welder {
    points: Vec<DVec3>,
    slots: Vec<u32>,
}

impl Welder {
    /// For about this many points.
    pub(crate) fn for_about(points: usize) -> Self {
        let slots = (2 * points).next_power_of_two().max(16);
        Self { points: Vec::with_capacity(points), slots: vec![FREE; slots] }
    }

    /// The index of `p`, whose coordinates are finite and have no -0.0; none
    /// when 32-bit indices run out.
    pub(crate) fn index(&mut self, p: DVec3) -> Option<u32> {
        if 2 * self.points.len() >= self.slots.len() {
            self.grow();
        }
        let slot = self.slot(p);
        if self.slots[slot] == FREE {
            let new = u32::try_from(self.points.len()).ok().filter(|&i| i < FREE - 1)?;
            self.slots[slot] = new;
            self.points.push(p);
        }
        Some(self.slots[slot])
    }

    pub(crate) fn into_points(self) -> Vec<DVec3> {
        self.points
    }

    /// Where `p` is or belongs.
    fn slot(&self, p: DVec3) -> usize {
        let mask = self.slots.len() - 1;
        let mut slot = hash(p) & mask;
        while self.slots[slot] != FREE && self.points[self.slots[slot] as usize] != p {
            slot = (slot + 1) & mask;
        }
        slot
    }

    fn grow(&mut self) {
        self.slots = vec![FREE; 2 * self.slots.len()];
        for i in 0..self.points.len() {
            let slot = self.slot(self.points[i]);
            self.slots[slot] = i as u32;
        }
    }
}

/// Mixes all bits of the coordinates. Points of scans differ in the high bits
/// of f64 only (they were f32), so each round folds the wide product.
fn hash(p: DVec3) -> usize {
    let fold = |a: u64, b: u64| {
        let wide = u128::from(a) * u128::from(b);
        (wide as u64) ^ ((wide >> 64) as u64)
    };
    // Odd constants from the binary digits of the golden ratio and of pi.
    let seeds = [0x9E37_79B9_7F4A_7C15, 0x2437_53FA_5A3B_8F1D, 0xC90F_DAA2_2168_C235];
    let mut mixed = 0x1357_9BDF_0246_8ACE;
    for (value, seed) in p.to_array().into_iter().zip(seeds) {
        mixed = fold(mixed ^ value.to_bits(), seed).rotate_left(23);
    }
    fold(mixed, seeds[0]) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_points_share_an_index_and_neighbours_by_one_ulp_do_not() {
        let mut welder = Welder::for_about(2);
        let a = DVec3::new(1.0, 2.0, 3.0);
        let b = DVec3::new(1.0_f64.next_up(), 2.0, 3.0);
        assert_eq!(welder.index(a), Some(0));
        assert_eq!(welder.index(b), Some(1));
        assert_eq!(welder.index(a), Some(0));
        assert_eq!(welder.into_points(), [a, b]);
    }

    #[test]
    fn a_grid_of_small_integers_survives_growing() {
        let mut welder = Welder::for_about(0);
        let grid =
            |i: u32| DVec3::new(f64::from(i % 32), f64::from(i / 32 % 32), f64::from(i / 1024));
        for round in 0..2 {
            for i in 0..32 * 32 * 32 {
                assert_eq!(welder.index(grid(i)), Some(i), "round {round}");
            }
        }
    }
}
