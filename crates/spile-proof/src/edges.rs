//! Which triangles meet at which edge, without regard to their winding: a
//! scan may have flipped patches, and a part is not believed before it is judged.

use spile_mesh::{Mesh, vertex_triangles};

/// The edges of a mesh, each by its two points in ascending order, sorted.
pub(crate) struct Edges {
    points: Vec<[u32; 2]>,
    start: Vec<u32>,
    triangles: Vec<u32>,
    /// Edge of corner k to k + 1 of triangle t, at 3 t + k.
    of_side: Vec<u32>,
}

impl Edges {
    /// The edges of all triangles. O(n) where no point has very many triangles.
    pub(crate) fn of(mesh: &Mesh) -> Self {
        let count = 3 * mesh.triangles().len();
        let (mut points, mut start): (Vec<[u32; 2]>, _) = (Vec::new(), Vec::new());
        let mut triangles = Vec::with_capacity(count);
        let mut of_side = vec![0; count];
        let around = vertex_triangles(mesh);
        // Sides by the smaller of their points: those of one edge then stand in
        // one short row.
        let mut row: Vec<(u32, u32)> = Vec::new();
        for point in 0..mesh.points().len() as u32 {
            row.clear();
            for &t in around.of(point) {
                let c = mesh.triangles()[t as usize];
                for k in 0..3 {
                    let (a, b) = (c[k], c[(k + 1) % 3]);
                    if a.min(b) == point {
                        row.push((a.max(b), 3 * t + k as u32));
                    }
                }
            }
            row.sort_unstable();
            for &(other, side) in &row {
                if points.last() != Some(&[point, other]) {
                    points.push([point, other]);
                    start.push(triangles.len() as u32);
                }
                triangles.push(side / 3);
                of_side[side as usize] = points.len() as u32 - 1;
            }
        }
        start.push(triangles.len() as u32);
        Self { points, start, triangles, of_side }
    }

    /// How many edges there are.
    pub(crate) fn len(&self) -> usize {
        self.points.len()
    }

    /// The two points of edge `e`, ascending.
    pub(crate) fn points(&self, e: u32) -> [u32; 2] {
        self.points[e as usize]
    }

    /// The triangles at edge `e`, ascending.
    pub(crate) fn triangles(&self, e: u32) -> &[u32] {
        &self.triangles[self.start[e as usize] as usize..self.start[e as usize + 1] as usize]
    }

    /// The three edges of triangle `t`: corners 0-1, 1-2, 2-0.
    pub(crate) fn of_triangle(&self, t: u32) -> [u32; 3] {
        [0, 1, 2].map(|k| self.of_side[3 * t as usize + k])
    }

    /// The edge between two points.
    pub(crate) fn find(&self, a: u32, b: u32) -> Option<u32> {
        self.points.binary_search(&[a.min(b), a.max(b)]).ok().map(|e| e as u32)
    }

    /// The triangles across the edges of `t`, with the edge crossed.
    pub(crate) fn neighbours(&self, t: u32) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.of_triangle(t)
            .into_iter()
            .flat_map(move |e| self.triangles(e).iter().map(move |&n| (e, n)))
            .filter(move |&(_, n)| n != t)
    }

    /// Labels the pieces that triangles for which `inside` holds form when
    /// edges for which `open` fails are closed to the flood. `u32::MAX` outside.
    /// Pieces are numbered by their first triangle.
    pub(crate) fn pieces(
        &self,
        inside: impl Fn(u32) -> bool,
        open: impl Fn(u32) -> bool,
    ) -> (Vec<u32>, usize) {
        let count = self.of_side.len() / 3;
        let mut label = vec![u32::MAX; count];
        let mut pieces = 0;
        let mut stack = Vec::new();
        for seed in 0..count as u32 {
            if label[seed as usize] != u32::MAX || !inside(seed) {
                continue;
            }
            label[seed as usize] = pieces;
            stack.push(seed);
            while let Some(t) = stack.pop() {
                for (e, n) in self.neighbours(t) {
                    if label[n as usize] == u32::MAX && open(e) && inside(n) {
                        label[n as usize] = pieces;
                        stack.push(n);
                    }
                }
            }
            pieces += 1;
        }
        (label, pieces as usize)
    }

    /// Loops of points along the edges for which `wanted` holds. A closed loop
    /// is one where each point has exactly two such edges; anything else is
    /// `None` in its place, so that a fan or a dead end is never taken for a
    /// loop. Each loop starts at its least point; loops are in that order.
    pub(crate) fn loops(&self, wanted: impl Fn(u32) -> bool) -> Vec<Option<Vec<u32>>> {
        let mut ends: Vec<(u32, u32)> = Vec::new();
        for e in 0..self.len() as u32 {
            let [a, b] = self.points(e);
            if a != b && wanted(e) {
                ends.push((a, b));
                ends.push((b, a));
            }
        }
        ends.sort_unstable();
        let from = |p: u32| {
            let lo = ends.partition_point(|&(a, _)| a < p);
            let hi = ends.partition_point(|&(a, _)| a <= p);
            &ends[lo..hi]
        };
        let mut seen = std::collections::BTreeSet::new();
        let mut loops = Vec::new();
        for &(start, _) in &ends {
            if !seen.insert(start) {
                continue;
            }
            loops.push(walk(start, &from, &mut seen));
        }
        loops
    }
}

/// Walks round from `start`; marks all that hangs together as seen.
fn walk<'a>(
    start: u32,
    from: &dyn Fn(u32) -> &'a [(u32, u32)],
    seen: &mut std::collections::BTreeSet<u32>,
) -> Option<Vec<u32>> {
    let mut all = vec![start];
    let mut clean = true;
    let mut i = 0;
    while i < all.len() {
        clean &= from(all[i]).len() == 2;
        for &(_, b) in from(all[i]) {
            if seen.insert(b) {
                all.push(b);
            }
        }
        i += 1;
    }
    if !clean {
        return None;
    }
    let mut round = vec![start];
    let (mut before, mut now) = (start, from(start)[0].1);
    while now != start {
        round.push(now);
        let next = from(now).iter().map(|&(_, b)| b).find(|&b| b != before)?;
        (before, now) = (now, next);
    }
    Some(round)
}

#[cfg(test)]
mod tests {
    use super::*;
    use spile_mesh::DVec3;

    /// A square of two triangles, one of them flipped.
    fn square() -> Mesh {
        let points = vec![DVec3::ZERO, DVec3::X, DVec3::X + DVec3::Y, DVec3::Y];
        Mesh::new(points, vec![[0, 1, 2], [0, 3, 2]]).unwrap()
    }

    #[test]
    fn neighbours_meet_whatever_their_winding() {
        let edges = Edges::of(&square());
        assert_eq!(edges.len(), 5);
        let e = edges.find(2, 0).unwrap();
        assert_eq!(edges.triangles(e), &[0, 1]);
        assert_eq!(edges.pieces(|_| true, |_| true).1, 1);
        assert_eq!(edges.pieces(|_| true, |x| x != e).1, 2);
    }

    #[test]
    fn a_loop_closes_and_a_fan_does_not() {
        let edges = Edges::of(&square());
        let rim = edges.loops(|e| edges.triangles(e).len() == 1);
        assert_eq!(rim, vec![Some(vec![0, 1, 2, 3])]);
        assert_eq!(edges.loops(|_| true), vec![None]);
    }
}
