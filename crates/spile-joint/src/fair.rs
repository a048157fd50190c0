//! `fair`: takes the wobble out of the band next to a seam, moving no point
//! further than it is allowed.
//!
//! Points move along their normals only, so that the triangles keep their
//! shape. What is shape is told by a paraboloid through the surroundings of each
//! point (`shape`): the energy is that of bending away from it, so that a tube
//! or a ball is left as it is, up to its rim. It is the discrete bending energy
//! in the form that is quadratic in the positions (Bergou, Wardetzky, Harmon,
//! Zorin, Grinspun 2006, "A quadratic bending model for inextensible surfaces"),
//! with free bending at the rim and a pull back to the scan that lets through
//! waves longer than a stated length: what is longer than that stays.

mod shape;

use std::f64::consts::TAU;

use spile_mesh::{Bvh, DVec3, Mesh, self_intersections_among};

pub use shape::normals_at;

use crate::least_squares::{LeastSquares, Line, SolveError};
use crate::reach::Band;
use crate::refine::rim_index;

/// What fairing may do at one point.
#[derive(Debug, Clone, Copy)]
pub struct Allowance {
    /// Furthest move against the normal.
    pub inward: f64,
    /// Furthest move along the normal; with no move either way the point stays.
    pub outward: f64,
    /// Waves longer than this stay.
    pub wave: f64,
}

impl Allowance {
    /// One that keeps its point.
    const NONE: Self = Self { inward: 0.0, outward: 0.0, wave: 1.0 };

    /// The move that is nearest to `by` and allowed.
    fn clamp(&self, by: f64) -> f64 {
        by.clamp(-self.inward, self.outward)
    }
}

/// The points of `band` after fairing; over lengths up to `paraboloid` it is taken to
/// be like one.
///
/// # Errors
/// [`SolveError`] when the equations have no solution.
pub fn fair(
    band: &Mesh,
    allowances: &[Allowance],
    paraboloid: f64,
) -> Result<Vec<DVec3>, SolveError> {
    let points = band.points();
    let normals = band.point_normals();
    let mut unknown_of: Vec<Option<usize>> = vec![None; points.len()];
    let mut free: Vec<usize> = Vec::new();
    for (v, a) in allowances.iter().enumerate() {
        if a.inward.max(a.outward) > 0.0 {
            unknown_of[v] = Some(free.len());
            free.push(v);
        }
    }
    if free.is_empty() {
        return Ok(points.to_vec());
    }
    let hinges = hinges(band);
    let areas = band.point_areas();
    // Bends are looked at where some corner may move; the rest needs no shape.
    let mut waves: Vec<Option<f64>> = vec![None; points.len()];
    for hinge in &hinges {
        let corners = hinge.corners.map(|v| v as usize);
        if corners.iter().any(|&v| unknown_of[v].is_some()) {
            for v in corners {
                waves[v] = Some(allowances[v].wave.min(paraboloid));
            }
        }
    }
    let shape = shape::smooth(band, &normals, &areas, &waves);
    let mut held: Vec<Option<f64>> = vec![None; points.len()];
    let mut moves = vec![0.0; points.len()];
    // Points that would go too far are held at their limit and the rest is
    // solved again.
    for _ in 0..ROUNDS {
        let mut system = LeastSquares::new(free.len());
        for hinge in &hinges {
            let bend = hinge.bend(points) - hinge.bend(&shape);
            for axis in 0..3 {
                let mut line = Line { rest: bend[axis], ..Line::default() };
                for (v, k) in hinge.corners.iter().zip(hinge.factors) {
                    let v = *v as usize;
                    if let Some(u) = unknown_of[v] {
                        line.terms.push((u, k * normals[v][axis]));
                    }
                }
                if !line.terms.is_empty() {
                    system.add(&line, hinge.weight);
                }
            }
        }
        for (u, &v) in free.iter().enumerate() {
            let a = allowances[v];
            let pull = (TAU / a.wave).powi(4) * areas[v];
            system.add(&Line { terms: vec![(u, 1.0)], rest: 0.0 }, pull);
            if let Some(d) = held[v] {
                system.add(&Line { terms: vec![(u, 1.0)], rest: -d }, 1e6 * pull);
            }
        }
        let solved = system.solve()?;
        let mut over = false;
        for (u, &v) in free.iter().enumerate() {
            moves[v] = solved[u];
            let within = allowances[v].clamp(solved[u]);
            if held[v].is_none() && solved[u] != within {
                held[v] = Some(within);
                over = true;
            }
        }
        if !over {
            break;
        }
    }
    for (v, by) in moves.iter_mut().enumerate() {
        *by = allowances[v].clamp(*by);
    }
    Ok(unturned(band, &normals, moves))
}

/// The points moved along their normals, less where a triangle would turn over or cross
/// another: slivers are turned by moves that differ a little, and the normals round them
/// lead to all sides.
fn unturned(band: &Mesh, normals: &[DVec3], mut moves: Vec<f64>) -> Vec<DVec3> {
    let mut left = HALVINGS;
    loop {
        let moved = band.points().iter().zip(normals).zip(&moves);
        let moved: Vec<DVec3> = moved.map(|((&p, &n), &by)| p + n * by).collect();
        let mut turned: Vec<u32> = Vec::new();
        for (t, corners) in band.triangles().iter().enumerate() {
            let [a, b, c] = corners.map(|v| moved[v as usize]);
            let (old, new) = (band.area_normal(t), (b - a).cross(c - a));
            if old.dot(new) < TURNED_COS * old.length() * new.length() {
                turned.extend(corners);
            }
        }
        turned.sort_unstable();
        turned.dedup();
        if turned.is_empty() {
            turned = crossing(band, &moved, &moves);
        }
        if turned.is_empty() {
            return moved;
        }
        for v in turned {
            moves[v as usize] *= if left > 0 { 0.5 } else { 0.0 };
        }
        left = left.saturating_sub(1);
    }
}

/// The corners that have moved, of triangles that have and that cross others now; each once.
fn crossing(band: &Mesh, moved: &[DVec3], moves: &[f64]) -> Vec<u32> {
    let has_moved = |v: &u32| moves[*v as usize] != 0.0;
    let some: Vec<u32> = (0..band.triangles().len() as u32)
        .filter(|&t| band.triangles()[t as usize].iter().any(has_moved))
        .collect();
    let mesh = Mesh::new(moved.to_vec(), band.triangles().to_vec()).unwrap_or_default();
    let pairs = self_intersections_among(&mesh, &some);
    let mut corners: Vec<u32> = pairs
        .into_iter()
        .flat_map(|(t, u)| [t, u])
        .flat_map(|t| band.triangles()[t as usize])
        .filter(has_moved)
        .collect();
    corners.sort_unstable();
    corners.dedup();
    corners
}

/// A triangle that turns by more than the angle of this cosine would fold.
const TURNED_COS: f64 = 0.7;
/// So often moves are halved before they are given up.
const HALVINGS: usize = 6;

/// Rounds of holding points that went too far.
const ROUNDS: usize = 6;

/// An inner edge with its two triangles.
pub struct Hinge {
    /// The edge's two points, then those opposite it.
    pub corners: [u32; 4],
    /// What each corner adds to the bend.
    pub factors: [f64; 4],
    /// Weight of the bend's square in the energy.
    pub weight: f64,
}

impl Hinge {
    /// The hinge over these corners, the edge's two first.
    pub fn over(corners: [u32; 4], points: &[DVec3]) -> Self {
        let [a, b, c, d] = corners.map(|v| points[v as usize]);
        let (ca, cb) = (cotangent(a, b, c), cotangent(b, a, c));
        let (da, db) = (cotangent(a, b, d), cotangent(b, a, d));
        let area = 0.5 * ((b - a).cross(c - a).length() + (b - a).cross(d - a).length());
        let factors = [cb + db, ca + da, -ca - cb, -da - db];
        Self { corners, factors, weight: 3.0 / area.max(1e-12) }
    }

    /// The edge, its smaller point first.
    pub fn edge(&self) -> [u32; 2] {
        [self.corners[0], self.corners[1]]
    }

    /// The bend: a vector that vanishes where the two triangles are in a plane.
    pub fn bend(&self, points: &[DVec3]) -> DVec3 {
        let [from, ..] = self.corners;
        let bend = |(v, k): (&u32, f64)| (points[*v as usize] - points[from as usize]) * k;
        self.corners.iter().zip(self.factors).map(bend).sum()
    }
}

/// The inner edges of a surface, each with the bend over it.
pub fn hinges(band: &Mesh) -> Vec<Hinge> {
    let mut sides: Vec<([u32; 2], u32)> = Vec::with_capacity(3 * band.triangles().len());
    for t in band.triangles() {
        for k in 0..3 {
            let (a, b) = (t[k], t[(k + 1) % 3]);
            sides.push(([a.min(b), a.max(b)], t[(k + 2) % 3]));
        }
    }
    // Stable: the corners opposite an edge stay in the triangles' order.
    sides.sort_by_key(|&(edge, _)| edge);
    sides
        .chunk_by(|one, other| one.0 == other.0)
        .filter_map(|of_edge| match *of_edge {
            [([a, b], c), (_, d)] => Some([a, b, c, d]),
            _ => None,
        })
        .map(|corners| Hinge::over(corners, band.points()))
        .collect()
}

/// Cotangent of the angle at `at` between the ways to `b` and `c`; bounded, so
/// that needles do not rule the energy.
fn cotangent(at: DVec3, b: DVec3, c: DVec3) -> f64 {
    let (u, v) = (b - at, c - at);
    let sine = u.cross(v).length();
    (u.dot(v) / sine.max(1e-12)).clamp(-10.0, 10.0)
}

/// Up to this share of its radius a tube is taken to be like a paraboloid, from
/// which it departs by `x^4 / 8 r^3`: a thousandth of the radius at a third of it.
const LIKE_PARABOLOID: f64 = 1.0 / 3.0;

/// The other side of the wall, that fairing must not bring too near.
#[derive(Clone, Copy)]
pub struct OtherSide<'a> {
    /// That side of the scan.
    pub surface: &'a Bvh,
    /// Least wall: where the scan has less, it gets no thinner.
    pub wall_min: f64,
    /// Whether it lies where the band's normals point.
    pub is_outward: bool,
}

/// What fairing of a band near its rim may do.
#[derive(Clone, Copy)]
pub struct FairLimits<'a> {
    /// Furthest move of a point.
    pub most: f64,
    /// Waves longer than this stay.
    pub wave: f64,
    /// Up to this distance from the rim points may move fully, from twice it
    /// on not at all.
    pub full: f64,
    /// Up to this distance from the untouched scan points may move a little, so
    /// that no edge there comes out sharper.
    pub border: f64,
    /// The other side of the wall, if there is one to be heeded.
    pub other: Option<OtherSide<'a>>,
}

impl FairLimits<'_> {
    /// How far a point at `p` may go either way, `most` at the most.
    fn allowance(&self, p: DVec3, most: f64, wave: f64) -> Allowance {
        let both = Allowance { inward: most, outward: most, wave };
        let Some(other) = self.other else { return both };
        // Both sides may come nearer to each other, so half is for each.
        let look = other.wall_min + 2.0 * most;
        let Some(found) = other.surface.closest_within(p, look) else { return both };
        let nearer = (0.5 * (found.distance - other.wall_min)).clamp(0.0, most);
        if other.is_outward {
            Allowance { outward: nearer, ..both }
        } else {
            Allowance { inward: nearer, ..both }
        }
    }
}

/// The band with its wobble taken out near the rim, and no edge left sharp at
/// its border with the untouched scan.
///
/// `beside` are the untouched triangles next to the band, over the points of
/// the mesh given with them; they stay, but the bend towards them counts.
///
/// # Errors
/// [`SolveError`] when the equations have no solution.
pub fn fair_band(
    band: &Band,
    beside: (&Mesh, &[[u32; 3]]),
    limits: &FairLimits<'_>,
) -> Result<Band, SolveError> {
    let rim = rim_index(band);
    let border = border_index(band);
    let mut allowances: Vec<Allowance> = band
        .mesh
        .points()
        .iter()
        .enumerate()
        .map(|(v, &p)| {
            if v < band.shared {
                return Allowance { wave: limits.wave, ..Allowance::NONE };
            }
            let away = rim.closest(p).map_or(0.0, |c| c.distance) / limits.full;
            let near_rim = (2.0 - away).clamp(0.0, 1.0).powi(2);
            let inward = border.closest(p).map_or(f64::INFINITY, |c| c.distance) / limits.border;
            let near_border = (2.0 - inward).clamp(0.0, 1.0);
            let wave = if near_border > near_rim { 2.0 * limits.wave } else { limits.wave };
            limits.allowance(p, limits.most * near_rim.max(near_border), wave)
        })
        .collect();
    let (points, triangles) = band.with_beside(beside.0, beside.1);
    allowances.resize(points.len(), Allowance { wave: limits.wave, ..Allowance::NONE });
    let both = Mesh::new(points, triangles).unwrap_or_default();
    let mut points = fair(&both, &allowances, LIKE_PARABOLOID * band.rim_length() / TAU)?;
    points.truncate(band.mesh.points().len());
    Ok(band.moved(points))
}

/// An index over the points that the band shares with the untouched scan.
fn border_index(band: &Band) -> Bvh {
    let points = band.mesh.points()[..band.shared].to_vec();
    let triangles = (0..band.shared as u32).map(|v| [v, v, v]).collect();
    Bvh::build(&Mesh::new(points, triangles).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sliver_is_not_turned_over_and_the_rest_moves_in_full() {
        let points = [(0.0, 0.0), (1.0, 0.0), (0.5, 0.01), (0.5, 1.0)];
        let points: Vec<DVec3> = points.iter().map(|&(x, y)| DVec3::new(x, y, 0.0)).collect();
        let band = Mesh::new(points, vec![[0, 1, 2], [0, 2, 3], [1, 3, 2]]).unwrap();
        // The sliver's own corner would go over the edge opposite it.
        let normals = [DVec3::Z, DVec3::Z, -DVec3::Y, DVec3::Z];
        let moves = vec![0.0, 0.0, 0.05, 0.05];
        let moved = unturned(&band, &normals, moves);
        assert!(moved[2].y > 0.0 && moved[2].y < 0.01, "{}", moved[2]);
        assert_eq!(moved[3], DVec3::new(0.5, 1.0, 0.05));
    }

    #[test]
    fn nothing_is_moved_through_another_triangle() {
        let points = [(0.0, 0.0, 0.0), (2.0, 0.0, 0.0), (0.0, 2.0, 0.0)];
        let above = points.map(|(x, y, _)| (x, y, 0.1));
        let points: Vec<DVec3> = (points.into_iter().chain(above)).map(DVec3::from).collect();
        let band = Mesh::new(points, vec![[0, 1, 2], [3, 4, 5]]).unwrap();
        let moves = vec![0.15, 0.15, 0.0, 0.0, 0.0, 0.0];
        let straight: Vec<DVec3> =
            band.points().iter().zip(&moves).map(|(p, z)| *p + DVec3::Z * z).collect();
        assert_eq!(crossing(&band, &straight, &moves), [0, 1]);
        let moved = unturned(&band, &[DVec3::Z; 6], moves);
        assert!(moved[0].z > 0.0 && moved[0].z < 0.1, "{}", moved[0]);
        assert_eq!(moved[3..], band.points()[3..]);
    }
}
