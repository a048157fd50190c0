//! The level surface of a field on a body-centred cubic lattice.
//!
//! Marching tetrahedra: each tetrahedron whose corners differ in sign gives one
//! or two triangles, so the surface is a closed manifold whatever the signs
//! are. Only tetrahedra that the surface passes are ever looked at: it is
//! followed from an edge that is known to cross it.
//!
//! Lattice points are named by doubled coordinates: all even (corners of the
//! cubes) or all odd (their middles). Every edge and tetrahedron is named by
//! the sum of its corners, which no other has.

use std::collections::{HashMap, HashSet};

use spile_mesh::{DVec3, Mesh, MeshError};

/// A lattice point, or a sum of such.
type Site = [i32; 3];

/// Surface vertices keep this share of their edge's length from its ends, so
/// that no triangle is a sliver and none touches one round another corner.
const CLEAR_SHARE: f64 = 0.1;

/// Lattice coordinates stay below this, so that sums of four fit.
const FARTHEST: f64 = 1e7;

/// The lattice: cubes of edge `cell` about `origin`.
#[derive(Clone, Copy)]
pub(super) struct Lattice {
    pub origin: DVec3,
    pub cell: f64,
}

impl Lattice {
    fn place(&self, site: Site) -> DVec3 {
        let [x, y, z] = site.map(f64::from);
        self.origin + 0.5 * self.cell * DVec3::new(x, y, z)
    }

    /// The cube corner nearest to `p`; `None` if that is too far to count.
    fn corner_near(&self, p: DVec3) -> Option<Site> {
        let at = ((p - self.origin) / self.cell).round();
        if !at.is_finite() || at.abs().max_element() > FARTHEST {
            return None;
        }
        Some([2 * at.x as i32, 2 * at.y as i32, 2 * at.z as i32])
    }
}

/// The surface round what is below zero, followed from the places where rays
/// from far along +x toward each of `seeds` first cross it.
///
/// `values` gives the field at many places. `None` if a seed's ray meets no
/// crossing, or the lattice cannot count that far, or more than `most` points
/// would be needed. `from_x` is where the rays start: beyond all that is below zero.
pub(super) fn surface_round(
    lattice: Lattice,
    seeds: &[DVec3],
    from_x: f64,
    most: usize,
    values: &(dyn Fn(&[DVec3]) -> Vec<f64> + Sync),
) -> Option<Result<Mesh, MeshError>> {
    let mut march = March { lattice, values, known: HashMap::new(), most };
    let mut frontier = Vec::new();
    for &seed in seeds {
        frontier.push(march.first_crossing(seed, from_x)?);
    }
    let tetrahedra = march.follow(frontier)?;
    Some(march.triangulate(tetrahedra))
}

struct March<'a> {
    lattice: Lattice,
    values: &'a (dyn Fn(&[DVec3]) -> Vec<f64> + Sync),
    /// Field values by site; only looked up, never walked through.
    known: HashMap<Site, f64>,
    most: usize,
}

type Edge = [Site; 2];
type Tetrahedron = [Site; 4];

impl March<'_> {
    /// The lattice edge on which the ray along -x, toward `seed`, first enters
    /// what is below zero.
    fn first_crossing(&mut self, seed: DVec3, from_x: f64) -> Option<Edge> {
        /// How many lattice points are asked for at once.
        const STRIDE: i32 = 64;
        let end = self.lattice.corner_near(seed)?;
        let start = self.lattice.corner_near(DVec3::new(from_x, seed.y, seed.z))?;
        let mut x = start[0] + 4;
        while x > end[0] - 4 {
            let row: Vec<Site> = (0..STRIDE).map(|k| [x - 2 * k, end[1], end[2]]).collect();
            self.learn(&row);
            for pair in row.windows(2) {
                if !self.is_inside(pair[0]) && self.is_inside(pair[1]) {
                    return Some([pair[0], pair[1]]);
                }
            }
            x -= 2 * (STRIDE - 1);
        }
        None
    }

    /// All tetrahedra that the surface through the edges of `frontier` passes.
    fn follow(&mut self, frontier: Vec<Edge>) -> Option<Vec<Tetrahedron>> {
        let mut frontier = frontier;
        let mut edges: HashSet<Site> = frontier.iter().map(|e| sum(e)).collect();
        let mut seen: HashSet<Site> = HashSet::new();
        let mut all = Vec::new();
        while !frontier.is_empty() {
            let mut wave = Vec::new();
            for &edge in &frontier {
                tetrahedra_round(edge, |t| {
                    if seen.insert(sum(&t)) {
                        wave.push(t);
                    }
                });
            }
            let sites: Vec<Site> = wave.iter().flatten().copied().collect();
            self.learn(&sites);
            if self.known.len() > self.most {
                return None;
            }
            frontier.clear();
            for t in &wave {
                for (i, j) in [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)] {
                    let edge = [t[i], t[j]];
                    if self.is_inside(t[i]) != self.is_inside(t[j]) && edges.insert(sum(&edge)) {
                        frontier.push(edge);
                    }
                }
            }
            all.append(&mut wave);
        }
        Some(all)
    }

    fn is_inside(&self, site: Site) -> bool {
        self.known.get(&site).is_some_and(|&value| value < 0.0)
    }

    /// Takes in the values at these sites, where they are not known yet.
    fn learn(&mut self, sites: &[Site]) {
        let mut new: Vec<Site> =
            sites.iter().copied().filter(|s| !self.known.contains_key(s)).collect();
        new.sort_unstable();
        new.dedup();
        let places: Vec<DVec3> = new.iter().map(|&s| self.lattice.place(s)).collect();
        let values = (self.values)(&places);
        self.known.extend(new.into_iter().zip(values));
    }

    fn triangulate(&self, mut tetrahedra: Vec<Tetrahedron>) -> Result<Mesh, MeshError> {
        tetrahedra.sort_unstable_by_key(|t| sum(t));
        let mut builder = Builder { march: self, index: HashMap::new(), points: Vec::new() };
        let mut triangles = Vec::new();
        for t in &tetrahedra {
            builder.tetrahedron(t, &mut triangles);
        }
        Mesh::new(builder.points, triangles)
    }
}

struct Builder<'a> {
    march: &'a March<'a>,
    /// Vertex by the name of its edge.
    index: HashMap<Site, u32>,
    points: Vec<DVec3>,
}

impl Builder<'_> {
    fn tetrahedron(&mut self, t: &Tetrahedron, triangles: &mut Vec<[u32; 3]>) {
        let (inside, outside): (Vec<Site>, Vec<Site>) =
            t.iter().partition(|&&s| self.march.is_inside(s));
        let ring: Vec<u32> = match (inside.len(), outside.len()) {
            (1, 3) => outside.iter().map(|&o| self.vertex(inside[0], o)).collect(),
            (3, 1) => inside.iter().map(|&i| self.vertex(i, outside[0])).collect(),
            (2, 2) => [(0, 0), (0, 1), (1, 1), (1, 0)]
                .iter()
                .map(|&(i, o)| self.vertex(inside[i], outside[o]))
                .collect(),
            _ => return,
        };
        let lattice = self.march.lattice;
        let outward = lattice.place(outside[0]) - lattice.place(inside[0]);
        let corner = |k: usize| self.points[ring[k] as usize];
        let normal = (corner(1) - corner(0)).cross(corner(2) - corner(0));
        let mut ring = ring.clone();
        if ring.len() == 4 {
            // The shorter diagonal becomes the one from 0 to 2.
            if corner(0).distance_squared(corner(2)) > corner(1).distance_squared(corner(3)) {
                ring.rotate_left(1);
            }
        }
        if normal.dot(outward) < 0.0 {
            ring.reverse();
        }
        triangles.push([ring[0], ring[1], ring[2]]);
        if ring.len() == 4 {
            triangles.push([ring[0], ring[2], ring[3]]);
        }
    }

    fn vertex(&mut self, inside: Site, outside: Site) -> u32 {
        let march = self.march;
        let points = &mut self.points;
        *self.index.entry(sum(&[inside, outside])).or_insert_with(|| {
            let value = |s| march.known.get(&s).copied().unwrap_or(0.0);
            let (low, high) = (value(inside), value(outside));
            let share = (low / (low - high)).clamp(CLEAR_SHARE, 1.0 - CLEAR_SHARE);
            points.push(march.lattice.place(inside).lerp(march.lattice.place(outside), share));
            points.len() as u32 - 1
        })
    }
}

fn sum(sites: &[Site]) -> Site {
    sites.iter().fold([0; 3], |s, t| [s[0] + t[0], s[1] + t[1], s[2] + t[2]])
}

fn moved(site: Site, axis: usize, by: i32) -> Site {
    let mut site = site;
    site[axis] += by;
    site
}

/// The tetrahedra round a lattice edge: four round an edge between like
/// points, six round one between a corner and a middle.
fn tetrahedra_round([p, q]: Edge, mut give: impl FnMut(Tetrahedron)) {
    let step = [q[0] - p[0], q[1] - p[1], q[2] - p[2]];
    if let Some(axis) = step.iter().position(|d| d.abs() == 2) {
        let middle = moved(p, axis, step[axis] / 2);
        let (b, c) = ((axis + 1) % 3, (axis + 2) % 3);
        let ring =
            [(1, 1), (1, -1), (-1, -1), (-1, 1)].map(|(db, dc)| moved(moved(middle, b, db), c, dc));
        for k in 0..4 {
            give([p, q, ring[k], ring[(k + 1) % 4]]);
        }
    } else {
        for a in 0..3 {
            for b in (0..3).filter(|&b| b != a) {
                give([p, moved(p, a, 2 * step[a]), q, moved(q, b, -2 * step[b])]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use spile_mesh::{Topology, shells};

    fn followed(values: &(dyn Fn(DVec3) -> f64 + Sync), cell: f64, seeds: &[DVec3]) -> Mesh {
        let lattice = Lattice { origin: DVec3::new(0.013, -0.02, 0.031), cell };
        let many = |places: &[DVec3]| places.iter().map(|&p| values(p)).collect();
        surface_round(lattice, seeds, 30.0, 1_000_000, &many).unwrap().unwrap()
    }

    #[test]
    fn a_sphere_is_one_closed_shell_of_the_right_volume() {
        let mesh = followed(&|p| p.length() - 7.0, 0.5, &[DVec3::ZERO]);
        let topology = Topology::of(&mesh);
        assert!(topology.is_closed());
        assert_eq!(shells(&mesh, &topology).count, 1);
        // Closed form: 4/3 pi r^3; chords and kept clearances make it differ.
        let volume = 4.0 / 3.0 * std::f64::consts::PI * 343.0;
        assert!((mesh.volume() / volume - 1.0).abs() < 5e-3, "{}", mesh.volume() / volume);
    }

    #[test]
    fn noise_still_gives_a_closed_manifold_without_slivers() {
        // Values from a mixed-up integer, so that signs are as wild as can be.
        let noise = |p: DVec3| {
            let word =
                p.x.to_bits() ^ p.y.to_bits().rotate_left(21) ^ p.z.to_bits().rotate_left(42);
            let mixed = (word ^ (word >> 31)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            if p.length() > 5.0 { 1.0 } else { (mixed >> 40) as f64 / (1 << 24) as f64 - 0.7 }
        };
        let mesh = followed(&noise, 0.6, &[DVec3::ZERO]);
        let topology = Topology::of(&mesh);
        assert!(topology.is_closed(), "not closed");
        assert!(mesh.triangles().len() > 1000);
        for t in 0..mesh.triangles().len() {
            let [a, b, c] = mesh.corners(t);
            let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
            let height = mesh.area_normal(t).length() / longest;
            assert!(height > 0.03 * longest, "sliver {t}");
        }
    }

    #[test]
    fn a_void_inside_is_left_out() {
        let mesh = followed(&|p| (p.length() - 5.0).abs() - 2.0, 0.7, &[5.0 * DVec3::X]);
        assert_eq!(shells(&mesh, &Topology::of(&mesh)).count, 1);
        assert!(mesh.points().iter().all(|p| p.length() > 6.5));
    }
}
