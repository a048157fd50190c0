//! The signs of determinants for numbers of any size, in whole numbers.
//!
//! The fast predicates are exact unless a product leaves the range of `f64`.
//! Coordinates that could bring that about are rare (no `f32` is one), so here
//! only plainness counts.

use glam::DVec3;
use num_bigint::{BigInt, Sign};

/// Below this no product of three differences overflows.
const LARGEST: f64 = f64::from_bits((1023 + 330) << 52);

/// A number that is not below this is a multiple of 2^-340, and so are sums and
/// the errors of sums; products of three of those are multiples of 2^-1020,
/// which `f64` can tell apart.
const SMALLEST: f64 = f64::from_bits((1023 - 288) << 52);

/// Whether the fast predicates are exact on these points.
pub(super) fn is_in_range<const N: usize>(points: [DVec3; N]) -> bool {
    points.iter().all(|p| {
        let size = p.abs();
        let is_large_enough = size.cmpge(DVec3::splat(SMALLEST)) | size.cmpeq(DVec3::ZERO);
        (is_large_enough & size.cmplt(DVec3::splat(LARGEST))).all()
    })
}

/// The sign of the determinant of the rows `t[k] - p`.
pub(super) fn side_of_plane(t: [DVec3; 3], p: DVec3) -> i8 {
    let p = whole(p);
    let [a, b, c] = t.map(|q| minus(&whole(q), &p));
    let minor = |i: usize, j: usize| &b[i] * &c[j] - &b[j] * &c[i];
    sign(&a[0] * minor(1, 2) + &a[1] * minor(2, 0) + &a[2] * minor(0, 1))
}

/// The sign of the determinant of the rows `u - p` and `v - p`, in the
/// coordinates `i` and `j`.
pub(super) fn side_of_line(u: DVec3, v: DVec3, p: DVec3, [i, j]: [usize; 2]) -> i8 {
    let p = whole(p);
    let [u, v] = [u, v].map(|q| minus(&whole(q), &p));
    sign(&u[i] * &v[j] - &u[j] * &v[i])
}

/// The coordinates as multiples of the smallest `f64`.
fn whole(p: DVec3) -> [BigInt; 3] {
    p.to_array().map(|value| {
        let bits = value.to_bits();
        let exponent = (bits >> 52) & 0x7FF;
        let fraction = bits & ((1 << 52) - 1);
        let (digits, shift) =
            if exponent == 0 { (fraction, 0) } else { (fraction | 1 << 52, exponent - 1) };
        let size = BigInt::from(digits) << shift;
        if value < 0.0 { -size } else { size }
    })
}

fn minus(a: &[BigInt; 3], b: &[BigInt; 3]) -> [BigInt; 3] {
    [0, 1, 2].map(|k| &a[k] - &b[k])
}

fn sign(value: BigInt) -> i8 {
    match value.sign() {
        Sign::Minus => -1,
        Sign::NoSign => 0,
        Sign::Plus => 1,
    }
}
