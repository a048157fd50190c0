//! `close`: puts bands, joints, fittings and end faces together and sees that
//! they leave no rim open; `assemble` then copies the kept triangles beside them.
//!
//! Vertices are shared by index from the start, so there is no gap to stitch
//! and no tolerance to tune. What is closed is the patch: its cost follows the
//! patch. Copying what stays is one pass over the scan.

use spile_mesh::topology::ends;
use spile_mesh::{DVec3, Mesh, round_to_f32};

use crate::fitting::Placed;
use crate::reach::Band;
use crate::span::Grid;
use crate::surface::Scan;
use crate::walls::WallSide;

/// Triangles of a surface that are not in the part as they were.
#[derive(Debug, Clone, Default)]
pub struct Dropped(Vec<u32>);

impl Dropped {
    /// Of these triangles, in any order, however often each is named.
    pub fn of(mut triangles: Vec<u32>) -> Self {
        triangles.sort_unstable();
        triangles.dedup();
        Self(triangles)
    }

    /// Whether triangle `t` is dropped.
    pub fn contains(&self, t: u32) -> bool {
        self.0.binary_search(&t).is_ok()
    }
}

/// What stays of a surface.
pub struct Kept<'s> {
    /// The surface's points within the part.
    pub base: Base,
    /// The surface.
    pub scan: &'s Scan,
    /// Its triangles that do not stay.
    pub dropped: &'s Dropped,
    /// Whether a triangle that stays is turned round.
    pub flip: &'s dyn Fn(usize) -> bool,
}

impl Kept<'_> {
    /// The triangles that stay, in their order, over the part's points.
    fn triangles(&self) -> impl Iterator<Item = [u32; 3]> + '_ {
        let mut gone = self.dropped.0.iter().copied().peekable();
        let base = self.base.0;
        self.scan.mesh.triangles().iter().enumerate().filter_map(move |(t, corners)| {
            if gone.next_if_eq(&(t as u32)).is_some() {
                return None;
            }
            Some(turned(corners.map(|v| v + base), (self.flip)(t)))
        })
    }

    /// The edges at which what stays can be open, by the part's points, once
    /// for each kept triangle there: those of dropped triangles, and the
    /// surface's own rims.
    fn edges_in_doubt(&self) -> Vec<[u32; 2]> {
        let mesh = &self.scan.mesh;
        let of_dropped = self.dropped.0.iter().flat_map(|t| [3 * t, 3 * t + 1, 3 * t + 2]);
        let mut edges: Vec<[u32; 2]> = of_dropped
            .chain(self.scan.topology.boundary().iter().copied())
            .map(|h| sorted(ends(mesh, h)))
            .collect();
        edges.sort_unstable();
        edges.dedup();
        let kept_at = |&[a, b]: &[u32; 2]| {
            let at_edge = |t: &&u32| mesh.triangles()[**t as usize].contains(&b);
            self.scan
                .fans
                .of(a)
                .iter()
                .filter(at_edge)
                .filter(|t| !self.dropped.contains(**t))
                .count()
        };
        edges
            .iter()
            .flat_map(|edge| std::iter::repeat_n(edge.map(|v| v + self.base.0), kept_at(edge)))
            .collect()
    }
}

fn sorted([a, b]: [u32; 2]) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

/// A part under construction: surfaces whose triangles stay, and new triangles
/// over their points and new ones.
#[derive(Default)]
pub struct Builder<'s> {
    surfaces: Vec<(Base, &'s Scan)>,
    /// How many points the surfaces have together.
    count: u32,
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

/// The points of a surface within the part.
#[derive(Debug, Clone, Copy)]
pub struct Base(u32);

impl<'s> Builder<'s> {
    /// A builder over the points of these surfaces.
    pub fn over(scans: &[&'s Scan]) -> Self {
        let mut builder = Self::default();
        for scan in scans {
            builder.surfaces.push((Base(builder.count), scan));
            builder.count += scan.mesh.points().len() as u32;
        }
        builder
    }

    /// Where the points of surface `k` are.
    pub fn base(&self, k: usize) -> Base {
        self.surfaces[k].0
    }

    /// The number that the next new point gets.
    fn next_point(&self) -> u32 {
        self.count + self.points.len() as u32
    }

    /// Adds a cut's pieces as they are, new points appended; tells the part's
    /// index of each point of the rim.
    pub fn add_pieces(
        &mut self,
        base: Base,
        scan: &Scan,
        cut: &crate::cut::CutSide,
        flip: bool,
    ) -> Vec<u32> {
        let count = scan.mesh.points().len() as u32;
        let first = self.next_point();
        self.points.extend(cut.new_points.iter().map(|&p| round_to_f32(p)));
        let at = |v: u32| if v < count { v + base.0 } else { v - count + first };
        for piece in &cut.pieces {
            self.triangles.push(turned(piece.map(at), flip));
        }
        cut.rim.iter().map(|&v| at(v)).collect()
    }

    /// Adds a band; tells the part's index of each point of its rim.
    pub fn add_band(&mut self, base: Base, band: &Band, flip: bool) -> Vec<u32> {
        let first = self.next_point();
        let shared = band.shared as u32;
        self.points.extend(band.mesh.points()[band.shared..].iter().map(|&p| round_to_f32(p)));
        let at = |v: u32| {
            if v < shared { band.scan_points[v as usize] + base.0 } else { v - shared + first }
        };
        for t in band.mesh.triangles() {
            self.triangles.push(turned(t.map(at), flip));
        }
        band.rim.iter().map(|&v| at(v)).collect()
    }

    /// Adds one side of a joint and its fitting; `seam` are the part's indices
    /// of the grid's first row, and `outward` makes it face away from its line. Tells those of the
    /// fitting's far ring, in the same order.
    pub fn add_joint(
        &mut self,
        seam: &[u32],
        grid: &Grid,
        (side, outward): (WallSide, bool),
        placed: &Placed,
    ) -> Vec<u32> {
        let columns = seam.len() as u32;
        let first = self.next_point();
        for row in &grid.rows[1..] {
            self.points.extend(row.iter().map(|&p| round_to_f32(p)));
        }
        let mut near = self.next_point() - columns;
        let at = |v: u32| if v < columns { seam[v as usize] } else { v - columns + first };
        for t in grid.triangles(outward) {
            self.triangles.push(t.map(at));
        }
        for ring in placed.rows(side, &grid.rows[grid.rows.len() - 1]) {
            let far = self.next_point();
            self.points.extend(ring.into_iter().map(round_to_f32));
            for j in 0..columns {
                let k = (j + 1) % columns;
                let (a, b, c, d) = (near + j, near + k, far + k, far + j);
                self.triangles.push(turned([a, b, c], !outward));
                self.triangles.push(turned([a, c, d], !outward));
            }
            near = far;
        }
        (near..near + columns).collect()
    }

    /// Adds a solid's points and triangles; tells the number of its first point.
    pub fn add_solid(&mut self, points: &[DVec3], triangles: &[[u32; 3]]) -> u32 {
        let first = self.next_point();
        self.points.extend_from_slice(points);
        self.triangles.extend(triangles.iter().map(|t| t.map(|v| v + first)));
        first
    }

    /// Adds triangles over the part's points.
    pub fn add_triangles(&mut self, triangles: &[[u32; 3]]) {
        self.triangles.extend_from_slice(triangles);
    }

    /// Adds triangles over a surface's own points.
    pub fn add_ring(&mut self, base: Base, triangles: &[[u32; 3]]) {
        self.triangles.extend(triangles.iter().map(|t| t.map(|v| v + base.0)));
    }

    /// A point of the part.
    pub fn point(&self, v: u32) -> DVec3 {
        if v >= self.count {
            return self.points[(v - self.count) as usize];
        }
        let later = self.surfaces.iter().rev().find(|(base, _)| base.0 <= v);
        later.map_or(DVec3::ZERO, |(base, scan)| scan.mesh.points()[(v - base.0) as usize])
    }

    /// Whether an edge of the part would belong to one triangle alone, with the
    /// new triangles and what is kept put together. Looks at the edges of new
    /// and of dropped triangles and at the surfaces' own rims; all others have
    /// the triangles that they had.
    pub fn leaves_rim(&self, kept: &[Kept<'_>]) -> bool {
        let mut edges: Vec<[u32; 2]> = kept.iter().flat_map(Kept::edges_in_doubt).collect();
        let new = self.triangles.iter().flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]]);
        edges.extend(new.map(sorted));
        edges.sort_unstable();
        edges.chunk_by(|a, b| a == b).any(|same| same.len() == 1 && same[0][0] != same[0][1])
    }

    /// The part: what is kept, then the new triangles; only the points that are
    /// used, in the order of first use. One pass over the surfaces.
    pub fn assemble(&self, kept: &[Kept<'_>]) -> Mesh {
        const UNUSED: u32 = u32::MAX;
        let mut place = vec![UNUSED; self.next_point() as usize];
        let mut points = Vec::with_capacity(place.len());
        let all: usize = kept.iter().map(|k| k.scan.mesh.triangles().len()).sum();
        let mut triangles = Vec::with_capacity(all + self.triangles.len());
        let new = self.triangles.iter().copied();
        for t in kept.iter().flat_map(Kept::triangles).chain(new) {
            triangles.push(t.map(|v| {
                let p = &mut place[v as usize];
                if *p == UNUSED {
                    *p = points.len() as u32;
                    points.push(self.point(v));
                }
                *p
            }));
        }
        points.shrink_to_fit();
        triangles.shrink_to_fit();
        Mesh::new(points, triangles).unwrap_or_default()
    }
}

fn turned(t: [u32; 3], flip: bool) -> [u32; 3] {
    if flip { [t[0], t[2], t[1]] } else { t }
}

#[cfg(test)]
mod tests {
    use spile_mesh::{DVec3, Mesh, Topology};

    use super::{Builder, Dropped, Kept};
    use crate::surface::Scan;

    /// A closed tube bent to a ring, of `n` by `m` quads.
    fn ring(n: u32, m: u32) -> Mesh {
        let turn = |i: u32, of: u32| std::f64::consts::TAU * f64::from(i) / f64::from(of);
        let (mut points, mut triangles) = (Vec::new(), Vec::new());
        for i in 0..n {
            for j in 0..m {
                let (u, v) = (turn(i, n), turn(j, m));
                let r = 3.0 + v.cos();
                points.push(DVec3::new(r * u.cos(), r * u.sin(), v.sin()));
                let at = |i: u32, j: u32| (i % n) * m + j % m;
                let (a, b, c, d) = (at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1));
                triangles.extend([[a, b, c], [a, c, d]]);
            }
        }
        Mesh::new(points, triangles).expect("indices below the count, finite coordinates")
    }

    /// Leaves triangles out of a ring at random and puts some of them back as
    /// new ones: the rim found from the patch is that of the whole part.
    #[test]
    fn a_rim_is_found_from_the_patch_alone() {
        let mut state = 7_u64;
        let mut random = |below: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (state >> 33) % below
        };
        let whole = ring(12, 7);
        let (mut open, mut closed) = (0, 0);
        for round in 0..300 {
            // Every third scan has a hole of its own.
            let hole = if round % 3 == 0 { 1 + random(2) as usize } else { 0 };
            let triangles = whole.triangles()[hole..].to_vec();
            let mesh = Mesh::new(whole.points().to_vec(), triangles).expect("as before");
            let scan = Scan::of(std::slice::from_ref(&mesh));
            let count = mesh.triangles().len() as u64;
            let gone: Vec<u32> = (0..random(6)).map(|_| random(count) as u32).collect();
            let dropped = Dropped::of(gone);
            let flip = |_: usize| false;
            let mut builder = Builder::over(&[&scan]);
            let kept =
                [Kept { base: builder.base(0), scan: &scan, dropped: &dropped, flip: &flip }];
            let omit = random(4) == 0;
            for &t in dropped.0.iter().skip(usize::from(omit)) {
                builder.add_triangles(&[mesh.triangles()[t as usize]]);
            }
            if hole > 0 && random(2) == 0 {
                builder.add_triangles(&whole.triangles()[..hole]);
            }
            let part = builder.assemble(&kept);
            let is_open = !Topology::of(&part).boundary().is_empty();
            assert_eq!(builder.leaves_rim(&kept), is_open, "round {round}");
            if is_open { open += 1 } else { closed += 1 }
        }
        assert!(open > 50 && closed > 50, "{open} open, {closed} closed");
    }
}
