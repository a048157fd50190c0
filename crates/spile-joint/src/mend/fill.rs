//! Triangles over a loop, with no new point.

use spile_mesh::DVec3;

use super::repeats::on_a_line;

/// Loops of more points are not filled: the time grows with their cube.
pub(super) const MOST_POINTS: usize = 250;

/// The best fill of a loop of points `p`, as triangles of places in the loop,
/// which run the loop's edges in its own direction.
///
/// Of all ways to cut the polygon into triangles, the one whose sharpest fold,
/// also against the surface round it, is smallest, and of those the one with the
/// least area; by dynamic programming over its chords. `beside[i]` is the unit
/// normal of the surface at the edge from `i` to `i + 1`; `barred(i, j)` tells
/// chords that must not be used. None if every way has a barred chord or a
/// triangle without area.
///
/// # Source
/// Liepa 2003, section 3.
pub(super) fn fill(
    p: &[DVec3],
    beside: &[DVec3],
    barred: &dyn Fn(usize, usize) -> bool,
) -> Option<Vec<[usize; 3]>> {
    let n = p.len();
    if !(3..=MOST_POINTS).contains(&n) {
        return None;
    }
    let mut table = Table { n, p, beside, cells: vec![Cell::BARRED; n * n] };
    for i in 0..n - 1 {
        table.cells[i * n + i + 1] = Cell { fold: -1.0, area: 0.0, middle: None };
    }
    for span in 2..n {
        for i in 0..n - span {
            let j = i + span;
            let is_chord = span < n - 1;
            if !(is_chord && barred(i, j)) {
                table.cells[i * n + j] = table.best(i, j);
            }
        }
    }
    table.cells[n - 1].middle?;
    Some(table.triangles())
}

/// The best way to fill the part of the polygon from `i` to `j`.
#[derive(Clone, Copy)]
struct Cell {
    /// The sharpest fold, as minus the cosine of the angle between the normals.
    fold: f64,
    area: f64,
    /// The third corner of the triangle on the chord.
    middle: Option<usize>,
}

impl Cell {
    const BARRED: Self = Self { fold: f64::INFINITY, area: f64::INFINITY, middle: None };

    fn is_better(&self, other: &Self) -> bool {
        (self.fold, self.area) < (other.fold, other.area)
    }
}

struct Table<'a> {
    n: usize,
    p: &'a [DVec3],
    beside: &'a [DVec3],
    cells: Vec<Cell>,
}

impl Table<'_> {
    fn cell(&self, i: usize, j: usize) -> &Cell {
        &self.cells[i * self.n + j]
    }

    fn area_normal(&self, i: usize, m: usize, j: usize) -> DVec3 {
        (self.p[m] - self.p[i]).cross(self.p[j] - self.p[i])
    }

    /// The normal on the far side of the edge from `i` to `j`: the fill's own
    /// triangle there, or the surface's.
    fn normal_beyond(&self, i: usize, j: usize) -> DVec3 {
        match self.cell(i, j).middle {
            Some(m) => self.area_normal(i, m, j).normalize_or_zero(),
            None => self.beside[i],
        }
    }

    fn best(&self, i: usize, j: usize) -> Cell {
        let mut best = Cell::BARRED;
        for m in i + 1..j {
            let (left, right) = (self.cell(i, m), self.cell(m, j));
            if left.area == f64::INFINITY || right.area == f64::INFINITY {
                continue;
            }
            if on_a_line([self.p[i], self.p[m], self.p[j]]) {
                continue;
            }
            let across = self.area_normal(i, m, j);
            let normal = across.normalize_or_zero();
            let mut fold = left.fold.max(right.fold);
            fold = fold.max(-normal.dot(self.normal_beyond(i, m)));
            fold = fold.max(-normal.dot(self.normal_beyond(m, j)));
            if j - i == self.n - 1 {
                fold = fold.max(-normal.dot(self.beside[self.n - 1]));
            }
            let area = left.area + right.area + 0.5 * across.length();
            let cell = Cell { fold, area, middle: Some(m) };
            if cell.is_better(&best) {
                best = cell;
            }
        }
        best
    }

    fn triangles(&self) -> Vec<[usize; 3]> {
        let mut triangles = Vec::with_capacity(self.n - 2);
        let mut waiting = vec![(0, self.n - 1)];
        while let Some((i, j)) = waiting.pop() {
            if let Some(m) = self.cell(i, j).middle {
                triangles.push([i, m, j]);
                waiting.push((m, j));
                waiting.push((i, m));
            }
        }
        triangles
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ring of `n` points about z, the surface beside it flat.
    fn ring(n: usize) -> (Vec<DVec3>, Vec<DVec3>) {
        let at = |i: usize| {
            let turn = std::f64::consts::TAU * i as f64 / n as f64;
            DVec3::new(turn.cos(), turn.sin(), 0.0)
        };
        ((0..n).map(at).collect(), vec![DVec3::Z; n])
    }

    #[test]
    fn a_flat_ring_is_filled_by_its_polygon() {
        let (p, beside) = ring(12);
        let triangles = fill(&p, &beside, &|_, _| false).unwrap();
        assert_eq!(triangles.len(), 10);
        // Area of a regular n-gon in the unit circle: n/2 sin(2 pi/n), closed form.
        let area: f64 =
            triangles.iter().map(|t| 0.5 * (p[t[1]] - p[t[0]]).cross(p[t[2]] - p[t[0]]).z).sum();
        assert!((area - 3.0).abs() < 1e-12, "{area}");
    }

    #[test]
    fn a_barred_chord_is_not_used() {
        let (p, beside) = ring(4);
        let triangles = fill(&p, &beside, &|i, j| (i, j) == (0, 2)).unwrap();
        assert_eq!(triangles, [[0, 1, 3], [1, 2, 3]]);
        assert!(fill(&p, &beside, &|_, _| true).is_none());
    }

    #[test]
    fn a_slit_on_a_line_is_not_filled() {
        let p: Vec<DVec3> = [0.0, 1.0, 2.0].map(|x| DVec3::new(x, 0.0, 0.0)).to_vec();
        assert!(fill(&p, &[DVec3::Z; 3], &|_, _| false).is_none());
    }
}
