//! The same question answered in another way: slow, in fractions.
//!
//! The points that two triangles have in common are the solutions of a linear
//! system in both triangles' weights; they are the hull of its basic
//! solutions. The triangles intersect unless all of those lie in the hull of
//! the shared corners.

/// A fraction in lowest terms with a positive denominator.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Fraction(i128, i128);

fn fraction(above: i128, below: i128) -> Fraction {
    let gcd = |mut a: i128, mut b: i128| {
        while b != 0 {
            (a, b) = (b, a % b);
        }
        a.abs().max(1)
    };
    let g = gcd(above, below) * below.signum();
    Fraction(above / g, below / g)
}

impl Fraction {
    fn times(self, other: Fraction) -> Fraction {
        fraction(self.0 * other.0, self.1 * other.1)
    }

    fn over(self, other: Fraction) -> Fraction {
        fraction(self.0 * other.1, self.1 * other.0)
    }

    fn minus(self, other: Fraction) -> Fraction {
        fraction(self.0 * other.1 - other.0 * self.1, self.1 * other.1)
    }

    fn plus(self, other: Fraction) -> Fraction {
        fraction(self.0 * other.1 + other.0 * self.1, self.1 * other.1)
    }
}

const ZERO: Fraction = Fraction(0, 1);
const ONE: Fraction = Fraction(1, 1);

fn whole(n: i64) -> Fraction {
    Fraction(n.into(), 1)
}

/// The one solution of a system whose columns are independent, if there is
/// one. Gauss and Jordan.
fn solve(columns: &[&Vec<Fraction>], right: &[Fraction]) -> Option<Vec<Fraction>> {
    let n = columns.len();
    let mut rows: Vec<Vec<Fraction>> = (0..right.len())
        .map(|i| columns.iter().map(|c| c[i]).chain([right[i]]).collect())
        .collect();
    for k in 0..n {
        let pivot = (k..rows.len()).find(|&i| rows[i][k] != ZERO)?;
        rows.swap(k, pivot);
        let head = rows[k].clone();
        for (i, row) in rows.iter_mut().enumerate() {
            let factor = row[k].over(head[k]);
            if i != k && factor != ZERO {
                for (entry, &h) in row.iter_mut().zip(&head) {
                    *entry = entry.minus(factor.times(h));
                }
            }
        }
    }
    let is_consistent = rows[n..].iter().all(|row| row[n] == ZERO);
    is_consistent.then(|| (0..n).map(|k| rows[k][n].over(rows[k][k])).collect())
}

/// All basic solutions without a negative weight.
fn basic_solutions(columns: &[Vec<Fraction>], right: &[Fraction]) -> Vec<Vec<Fraction>> {
    let mut all = vec![];
    for subset in 1_u32..1 << columns.len() {
        let chosen: Vec<usize> = (0..columns.len()).filter(|k| subset >> k & 1 == 1).collect();
        if chosen.len() > right.len() {
            continue;
        }
        let list: Vec<&Vec<Fraction>> = chosen.iter().map(|&k| &columns[k]).collect();
        if let Some(weights) = solve(&list, right).filter(|w| w.iter().all(|f| f.0 >= 0)) {
            let mut full = vec![ZERO; columns.len()];
            chosen.iter().zip(weights).for_each(|(&k, w)| full[k] = w);
            all.push(full);
        }
    }
    all
}

/// Whether triangles `t` and `u` have a point in common that is not in the hull
/// of the corners they share.
pub(super) fn intersect(points: &[[i64; 3]], t: [u32; 3], u: [u32; 3]) -> bool {
    let mut shared: Vec<u32> = t.into_iter().filter(|p| u.contains(p)).collect();
    shared.sort_unstable();
    shared.dedup();
    if shared.len() == 3 {
        return true;
    }
    let place = |p: u32| points[p as usize].map(whole);
    let column = |p: u32, sign: i64, ends: [i64; 2]| -> Vec<Fraction> {
        let scaled = place(p).map(|c| c.times(whole(sign)));
        scaled.into_iter().chain(ends.map(whole)).collect()
    };
    let mut columns: Vec<_> = t.iter().map(|&p| column(p, 1, [1, 0])).collect();
    columns.extend(u.iter().map(|&p| column(p, -1, [0, 1])));
    let common = basic_solutions(&columns, &[ZERO, ZERO, ZERO, ONE, ONE]);
    common.iter().any(|weights| {
        let mut right: Vec<Fraction> = (0..3)
            .map(|axis| {
                let terms = (0..3).map(|i| weights[i].times(place(t[i])[axis]));
                terms.fold(ZERO, Fraction::plus)
            })
            .collect();
        right.push(ONE);
        let hull: Vec<Vec<Fraction>> =
            shared.iter().map(|&p| place(p).into_iter().chain([ONE]).collect()).collect();
        basic_solutions(&hull, &right).is_empty()
    })
}

#[test]
fn the_twin_knows_the_plain_cases() {
    let points = [[0, 0, 0], [4, 0, 0], [0, 4, 0], [1, 1, -1], [1, 1, 1], [9, 9, 1], [0, 0, 4]];
    assert!(intersect(&points, [0, 1, 2], [3, 4, 5]));
    assert!(!intersect(&points, [0, 1, 2], [0, 1, 6]));
    assert!(!intersect(&points, [0, 1, 2], [0, 4, 6]));
    assert!(intersect(&points, [0, 1, 2], [0, 3, 4]));
}
