//! Pockets that have a way out and still do not drain, for one build direction: hints for
//! printing, read off columns on a grid.

use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;

use serde::Serialize;
use spile_mesh::{DVec3, Mesh};

use super::figure::Figure;

/// Columns across the part's longer side; the same with half as many tells the accuracy.
const ACROSS: usize = 192;
/// No more pockets are listed.
const LISTED: usize = 8;

/// Which way a pocket opens, seen along the build direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Opens {
    /// It holds a liquid while the part stands on its plate, and is a cup where it hangs from it.
    Up,
    /// It holds a liquid while the part hangs from its plate, and air where it stands.
    Down,
}

/// What stays in the part's pockets that open one way.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pockets {
    /// Which way they open.
    pub opens: Opens,
    /// How much stays in all of them.
    pub volume: Figure,
    /// What is narrower or shallower than this is not seen.
    pub cell: f64,
    /// The largest of them, the largest first.
    pub largest: Vec<Pocket>,
}

/// One pocket.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pocket {
    /// What stays in it, about.
    pub volume: f64,
    /// How deep that stands.
    pub depth: f64,
    /// Its deepest place.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
}

/// The pockets of a closed part that open along `up`, of length 1, and those that open the
/// other way. The plate that it stands on is no floor.
pub(super) fn pockets(part: &Mesh, up: [f64; 3]) -> Vec<Pockets> {
    let up = DVec3::from_array(up);
    [(Opens::Up, up), (Opens::Down, -up)]
        .map(|(opens, up)| {
            let fine = Columns::of(part, up, ACROSS);
            let found = fine.pockets();
            let total = |pockets: &[Pocket]| pockets.iter().map(|p| p.volume).sum::<f64>();
            let coarse = total(&Columns::of(part, up, ACROSS / 2).pockets());
            let how = "what would stay of a liquid that air can replace, by the least height over which it \
                       can flow out; read off columns on a grid, so that holes narrower than its cell are \
                       not seen; a hint";
            let accuracy = (total(&found) - coarse).abs();
            let volume = Figure::estimated(total(&found), Some(accuracy), how);
            let mut largest = found;
            largest.truncate(LISTED);
            Pockets { opens, volume, cell: fine.cell, largest }
        })
        .into()
}

/// A stretch of a column without material.
struct Gap {
    column: usize,
    low: f64,
    high: f64,
}

/// The part's gaps over a square grid.
struct Columns {
    /// The grid's directions, and the way up.
    axes: [DVec3; 3],
    origin: [f64; 2],
    cell: f64,
    /// How many columns there are each way.
    count: [usize; 2],
    /// All gaps, column by column.
    gaps: Vec<Gap>,
    /// Where the gaps of each column begin; one more than there are columns.
    first: Vec<usize>,
}

impl Columns {
    fn of(part: &Mesh, up: DVec3, across: usize) -> Self {
        let x = up.any_orthonormal_vector();
        let axes = [x, up.cross(x), up];
        let points: Vec<[f64; 3]> =
            part.points().iter().map(|p| axes.map(|axis| axis.dot(*p))).collect();
        let mut ends = [[f64::INFINITY, f64::NEG_INFINITY]; 2];
        for p in &points {
            for k in 0..2 {
                ends[k] = [ends[k][0].min(p[k]), ends[k][1].max(p[k])];
            }
        }
        let size = ends.map(|[low, high]| high - low);
        let cell = (size[0].max(size[1]) / across as f64).max(f64::MIN_POSITIVE);
        // Off round numbers, so that no column runs through points of a drawn shape; one
        // column on each side lies beside the part.
        let origin = [ends[0][0] - 1.3819 * cell, ends[1][0] - 1.4237 * cell];
        let count = size.map(|size| (size / cell).ceil() as usize + 4);
        let mut columns = Self { axes, origin, cell, count, gaps: Vec::new(), first: Vec::new() };
        let crossings = columns.crossings(part, &points);
        for (column, mut along) in crossings.into_iter().enumerate() {
            along.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
            columns.first.push(columns.gaps.len());
            // A column that ends in the material ran through an edge: it is taken for material.
            if along.iter().map(|crossing| crossing.1).sum::<i32>() == 0 {
                columns.add_gaps(column, &along);
            }
        }
        columns.first.push(columns.gaps.len());
        columns
    }

    /// For each column where it meets the surface: the height, and 1 into the material or -1
    /// out of it.
    fn crossings(&self, part: &Mesh, points: &[[f64; 3]]) -> Vec<Vec<(f64, i32)>> {
        let mut found = vec![Vec::new(); self.count[0] * self.count[1]];
        for triangle in part.triangles() {
            let corners = triangle.map(|v| points[v as usize]);
            let range = |k: usize| {
                let of = corners.map(|p| (p[k] - self.origin[k]) / self.cell);
                let low = of.iter().copied().fold(f64::INFINITY, f64::min).ceil().max(0.0);
                let high = of.iter().copied().fold(f64::NEG_INFINITY, f64::max).floor();
                low as usize..(high + 1.0).max(0.0).min(self.count[k] as f64) as usize
            };
            for j in range(1) {
                for i in range(0) {
                    let at = self.middle(i, j);
                    // Each edge is asked the same way from both its triangles, so that none of
                    // them has the column twice or not at all.
                    let sides = [0, 1, 2].map(|k| {
                        let (a, b) = (k, (k + 1) % 3);
                        let turn = if triangle[a] < triangle[b] { (a, b) } else { (b, a) };
                        let is_left = side(corners[turn.0], corners[turn.1], at) >= 0.0;
                        is_left == (turn == (a, b))
                    });
                    if sides[0] == sides[1] && sides[1] == sides[2] {
                        let into = if sides[0] { -1 } else { 1 };
                        found[j * self.count[0] + i].push((height(corners, at), into));
                    }
                }
            }
        }
        found
    }

    fn middle(&self, i: usize, j: usize) -> [f64; 2] {
        [self.origin[0] + i as f64 * self.cell, self.origin[1] + j as f64 * self.cell]
    }

    fn add_gaps(&mut self, column: usize, along: &[(f64, i32)]) {
        let (mut inside, mut low) = (0, f64::NEG_INFINITY);
        for &(at, into) in along {
            let before = inside;
            inside += into;
            if before <= 0 && inside > 0 && at > low {
                self.gaps.push(Gap { column, low, high: at });
            } else if before > 0 && inside <= 0 {
                low = at;
            }
        }
        self.gaps.push(Gap { column, low, high: f64::INFINITY });
    }

    /// The gaps of the columns beside that of a gap which meet it.
    fn beside(&self, gap: usize) -> impl Iterator<Item = usize> + '_ {
        let Gap { column, low, high } = self.gaps[gap];
        let (i, j) = (column % self.count[0], column / self.count[0]);
        let sides = [
            (i > 0).then(|| column - 1),
            (i + 1 < self.count[0]).then_some(column + 1),
            (j > 0).then(|| column - self.count[0]),
            (j + 1 < self.count[1]).then_some(column + self.count[0]),
        ];
        let gaps = sides.into_iter().flatten().flat_map(|c| self.first[c]..self.first[c + 1]);
        gaps.filter(move |&other| {
            let other = &self.gaps[other];
            other.low.max(low) < other.high.min(high)
        })
    }

    /// Up to which height a liquid stays in each gap: the least over all ways out of the
    /// highest floor on the way. Infinite where there is no way out.
    fn levels(&self) -> Vec<f64> {
        let mut levels = vec![f64::INFINITY; self.gaps.len()];
        let mut next = BinaryHeap::new();
        for (k, gap) in self.gaps.iter().enumerate() {
            if gap.low == f64::NEG_INFINITY {
                levels[k] = gap.low;
                next.push(Reverse((Height(gap.low), k)));
            }
        }
        while let Some(Reverse((Height(level), gap))) = next.pop() {
            if level > levels[gap] {
                continue;
            }
            for other in self.beside(gap) {
                let over = level.max(self.gaps[other].low);
                if over < levels[other] {
                    levels[other] = over;
                    next.push(Reverse((Height(over), other)));
                }
            }
        }
        levels
    }

    /// All pockets deeper than a cell, the largest first.
    fn pockets(&self) -> Vec<Pocket> {
        let levels = self.levels();
        let top = |k: usize| levels[k].min(self.gaps[k].high);
        let is_wet = |k: usize| levels[k].is_finite() && top(k) > self.gaps[k].low;
        let mut seen = vec![false; self.gaps.len()];
        let mut found = Vec::new();
        for start in 0..self.gaps.len() {
            if seen[start] || !is_wet(start) {
                continue;
            }
            seen[start] = true;
            let mut pocket = vec![start];
            let mut done = 0;
            while let Some(&gap) = pocket.get(done) {
                done += 1;
                for other in self.beside(gap) {
                    let meets =
                        self.gaps[other].low.max(self.gaps[gap].low) < top(other).min(top(gap));
                    if !seen[other] && is_wet(other) && meets {
                        seen[other] = true;
                        pocket.push(other);
                    }
                }
            }
            found.extend(self.told(&pocket, &levels, top));
        }
        found.sort_by(|a: &Pocket, b| b.volume.total_cmp(&a.volume));
        found
    }

    /// A pocket of these gaps; none that is no deeper than a cell.
    fn told(&self, gaps: &[usize], levels: &[f64], top: impl Fn(usize) -> f64) -> Option<Pocket> {
        let volume = |&k: &usize| (top(k) - self.gaps[k].low) * self.cell * self.cell;
        let depth = |k: usize| levels[k] - self.gaps[k].low;
        let deepest = gaps.iter().copied().max_by(|&a, &b| depth(a).total_cmp(&depth(b)))?;
        let Gap { column, low, .. } = self.gaps[deepest];
        let [x, y] = self.middle(column % self.count[0], column / self.count[0]);
        let at = x * self.axes[0] + y * self.axes[1] + low * self.axes[2];
        (depth(deepest) > self.cell).then(|| Pocket {
            volume: gaps.iter().map(volume).sum(),
            depth: depth(deepest),
            where_: at.to_array(),
        })
    }
}

/// A height that has its place among others.
#[derive(PartialEq)]
struct Height(f64);

impl Eq for Height {}

impl Ord for Height {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl PartialOrd for Height {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// Twice the area of a triangle seen from above, positive where `at` lies left of `a` to `b`.
fn side(a: [f64; 3], b: [f64; 3], at: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (at[1] - a[1]) - (b[1] - a[1]) * (at[0] - a[0])
}

/// The height of a triangle's plane over a place, within that of its corners.
fn height(corners: [[f64; 3]; 3], at: [f64; 2]) -> f64 {
    let [a, b, c] = corners;
    let weights = [side(b, c, at), side(c, a, at), side(a, b, at)];
    let sum: f64 = weights.iter().sum();
    let low = a[2].min(b[2]).min(c[2]);
    let high = a[2].max(b[2]).max(c[2]);
    if sum == 0.0 {
        return 0.5 * (low + high);
    }
    ((weights[0] * a[2] + weights[1] * b[2] + weights[2] * c[2]) / sum).clamp(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDES: u32 = 96;

    /// A closed line of radii and heights, counter-clockwise with the axis on its left, turned
    /// about the axis; a radius of 0 is a point.
    fn turned(profile: &[[f64; 2]]) -> Mesh {
        let n = profile.len() as u32;
        let at = |k: u32, side: u32| {
            let [r, h] = profile[(k % n) as usize];
            let angle = std::f64::consts::TAU * f64::from(side) / f64::from(SIDES);
            DVec3::new(r * angle.cos(), r * angle.sin(), h)
        };
        let points = (0..n * SIDES).map(|i| at(i / SIDES, i % SIDES)).collect();
        let mut triangles = Vec::new();
        for k in 0..n {
            for side in 0..SIDES {
                let [a, b] = [k, (k + 1) % n].map(|k| k * SIDES);
                let (this, next) = (side, (side + 1) % SIDES);
                let on_axis = |k: u32| profile[(k % n) as usize][0] == 0.0;
                if !on_axis(k) {
                    triangles.push([a + this, a + next, b + next]);
                }
                if !on_axis(k + 1) {
                    triangles.push([a + this, b + next, b + this]);
                }
            }
        }
        Mesh::new(points, triangles).unwrap()
    }

    /// Outside 10, bore 8, 20 high with a floor of 2.
    fn cup() -> Mesh {
        turned(&[[0.0, 0.0], [10.0, 0.0], [10.0, 20.0], [8.0, 20.0], [8.0, 2.0], [0.0, 2.0]])
    }

    /// The area of the polygon that stands for a circle.
    fn disc(radius: f64) -> f64 {
        let n = f64::from(SIDES);
        0.5 * n * (std::f64::consts::TAU / n).sin() * radius * radius
    }

    fn volumes(part: &Mesh, up: DVec3) -> [f64; 2] {
        let found = pockets(part, up.normalize().to_array());
        assert_eq!([found[0].opens, found[1].opens], [Opens::Up, Opens::Down]);
        [found[0].volume.value, found[1].volume.value]
    }

    #[test]
    fn a_cup_holds_what_lies_below_its_rim_however_it_leans() {
        assert!(cup().volume() > 0.0);
        let found = pockets(&cup(), [0.0, 0.0, 1.0]);
        let pocket = &found[0].largest[0];
        assert!((pocket.volume / (18.0 * disc(8.0)) - 1.0).abs() < 0.01, "{pocket:?}");
        assert!((pocket.depth - 18.0).abs() < 1e-9 && (pocket.where_[2] - 2.0).abs() < 1e-9);
        assert_eq!((found[0].largest.len(), found[1].largest.len()), (1, 0));
        // Upside down it is the other kind.
        let [up, down] = volumes(&cup(), DVec3::NEG_Z);
        assert!(up == 0.0 && (down / (18.0 * disc(8.0)) - 1.0).abs() < 0.01, "{up} {down}");
        // Leaning by t it is filled to the lowest place of its rim, r tan t below the rim's
        // middle as long as the floor stays covered. Closed form.
        for degrees in [10.0_f64, 25.0] {
            let (s, c) = degrees.to_radians().sin_cos();
            let [up, down] = volumes(&cup(), DVec3::new(s, 0.0, c));
            let wanted = disc(8.0) * (18.0 - 8.0 * s / c);
            assert!((up / wanted - 1.0).abs() < 0.01 && down == 0.0, "{up} {wanted} {down}");
        }
    }

    #[test]
    fn what_has_a_way_down_holds_nothing() {
        let tube = turned(&[[8.0, 0.0], [10.0, 0.0], [10.0, 20.0], [8.0, 20.0]]);
        assert!(tube.volume() > 0.0);
        for up in [DVec3::Z, DVec3::X, DVec3::new(0.3, 0.2, 0.9), DVec3::new(0.9, 0.1, 0.02)] {
            assert_eq!(volumes(&tube, up), [0.0, 0.0], "{up}");
        }
        // A void that is shut in is no pocket.
        let ball = turned(&[[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]]);
        let void = turned(&[[0.0, 3.0], [4.0, 3.0], [4.0, 6.0], [0.0, 6.0]]);
        let shift = ball.points().len() as u32;
        let points = [ball.points(), void.points()].concat();
        let inward = void.triangles().iter().map(|&[a, b, c]| [a, c, b].map(|v| v + shift));
        let both = Mesh::new(points, ball.triangles().iter().copied().chain(inward).collect());
        assert_eq!(volumes(&both.unwrap(), DVec3::Z), [0.0, 0.0]);
    }

    #[test]
    fn a_bottle_holds_its_shoulder_too_and_hanging_nothing() {
        // Bore 8 up to 12, then a neck of 3 up to 20: the way out leads over the neck's rim.
        let bottle = turned(&[
            [0.0, 0.0],
            [10.0, 0.0],
            [10.0, 14.0],
            [5.0, 14.0],
            [5.0, 20.0],
            [3.0, 20.0],
            [3.0, 12.0],
            [8.0, 12.0],
            [8.0, 2.0],
            [0.0, 2.0],
        ]);
        let [up, down] = volumes(&bottle, DVec3::Z);
        let wanted = 10.0 * disc(8.0) + 8.0 * disc(3.0);
        assert!((up / wanted - 1.0).abs() < 0.01, "{up} {wanted}");
        // Turned over the shoulder holds a ring as high as its ledge is: none, for it is flat
        // and leads to the neck.
        assert_eq!(down, 0.0);
    }
}
