//! Open loops: holes, ends, and others.

use spile_mesh::{
    Circle, DVec3, Mesh, Topology, VertexTriangles, boundary_loops, fit_circle, vertex_triangles,
};

use super::{Spot, Trace};
use crate::mend::across;

/// An open end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundEnd {
    /// Middle of the bore's rim.
    pub centre: DVec3,
    /// Unit vector off the scan.
    pub direction: DVec3,
    /// Diameter of the circle of the bore rim's area.
    pub bore: f64,
    /// The same of the outside rim, where the end has one.
    pub outside: Option<f64>,
    /// The circle that the bore's rim really is, its axis along `direction`.
    pub circle: Option<Circle>,
    /// The same of the outside rim.
    pub outside_circle: Option<Circle>,
}

/// A lone rim less than this share of the largest in diameter is no end.
const END_OF_LARGEST_SHARE: f64 = 0.25;
/// A rim narrower than this share of another is not its bore.
const BORE_OF_OUTSIDE_SHARE: f64 = 0.4;
/// With more large loops than this none is paired: the scan is full of holes.
const MOST_RIMS: usize = 256;

/// All open loops of a scan.
pub(super) struct Rims {
    pub(super) holes: Vec<Spot>,
    pub(super) others: Vec<Spot>,
    pub(super) ends: Vec<FoundEnd>,
}

struct Rim {
    centre: DVec3,
    /// Off the scan; zero where the loop faces nowhere.
    direction: DVec3,
    diameter: f64,
    across: f64,
    circle: Option<Circle>,
    ring: Vec<u32>,
}

impl Rims {
    pub(super) fn of(mesh: &Mesh, topology: &Topology, hole_max: f64) -> Self {
        let loops = boundary_loops(mesh, topology);
        let around = vertex_triangles(mesh);
        let mut rims: Vec<Rim> = loops.iter().map(|ring| Rim::of(mesh, &around, ring)).collect();
        rims.sort_by(|a, b| b.diameter.total_cmp(&a.diameter));
        let (holes, large): (Vec<Rim>, Vec<Rim>) =
            rims.into_iter().partition(|rim| rim.across < hole_max);
        let spot = |rim: &Rim| Spot {
            at: rim.centre,
            size: rim.across,
            trace: Trace::Loop(rim.ring.clone()),
        };
        let holes = holes.iter().map(spot).collect();
        if large.len() > MOST_RIMS {
            return Self { holes, others: large.iter().map(spot).collect(), ends: Vec::new() };
        }
        let partners = partners(&large);
        let least = END_OF_LARGEST_SHARE * large.first().map_or(0.0, |rim| rim.diameter);
        let (mut others, mut ends) = (Vec::new(), Vec::new());
        for (k, rim) in large.iter().enumerate() {
            match partners[k] {
                // Largest first: the later one is the bore's.
                Some(bore) if bore > k => ends.push(large[bore].end(Some(rim))),
                Some(_) => {}
                None if rim.diameter < least => others.push(spot(rim)),
                None => ends.push(rim.end(None)),
            }
        }
        Self { holes, others, ends }
    }
}

/// Rims of the two walls of one end: each other's nearest, facing one way,
/// nearer than the larger one's radius.
fn partners(rims: &[Rim]) -> Vec<Option<usize>> {
    let nearest = |k: usize| {
        let alike = |j: usize| {
            let (a, b) = (&rims[j], &rims[k]);
            let (small, large) = (a.diameter.min(b.diameter), a.diameter.max(b.diameter));
            let apart = a.centre.distance(b.centre);
            let fits = a.direction.dot(b.direction) > 0.5
                && small >= BORE_OF_OUTSIDE_SHARE * large
                && apart < 0.5 * large;
            fits.then_some((apart, j))
        };
        (0..rims.len())
            .filter(|&j| j != k)
            .filter_map(alike)
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .map(|(_, j)| j)
    };
    let nearest: Vec<Option<usize>> = (0..rims.len()).map(nearest).collect();
    (0..rims.len()).map(|k| nearest[k].filter(|&j| nearest[j] == Some(k))).collect()
}

impl Rim {
    fn of(mesh: &Mesh, around: &VertexTriangles, ring: &[u32]) -> Self {
        let points: Vec<DVec3> = ring.iter().map(|&v| mesh.points()[v as usize]).collect();
        let n = points.len();
        let centre = points.iter().sum::<DVec3>() / n.max(1) as f64;
        let area = area_vector(&points, centre);
        // A loop's pairs grow with its square; a big one's widest pair is close
        // to its circle's diameter or more, which is all that is asked of it.
        let diameter = (4.0 * area.length() / std::f64::consts::PI).sqrt();
        let across = if n <= 512 {
            across(&points)
        } else {
            let bounds = spile_mesh::Bounds3::of(points.iter().copied());
            (bounds.max - bounds.min).max_element()
        };
        let direction = off_the_scan(mesh, around, ring, area.normalize_or_zero());
        let circle = circle(&points, direction);
        Self { centre, direction, diameter, across, circle, ring: ring.to_vec() }
    }

    fn end(&self, outside: Option<&Rim>) -> FoundEnd {
        FoundEnd {
            centre: self.centre,
            direction: self.direction,
            bore: self.diameter,
            outside: outside.map(|rim| rim.diameter),
            circle: self.circle,
            outside_circle: outside.and_then(|rim| rim.circle),
        }
    }
}

/// The circle that a loop really is, its axis the way that the loop faces.
fn circle(points: &[DVec3], direction: DVec3) -> Option<Circle> {
    let mut circle = fit_circle(points).filter(|c| c.is_round)?;
    if circle.axis.dot(direction) < 0.0 {
        circle.axis = -circle.axis;
    }
    Some(circle)
}

/// Half the sum of cross products round a loop: its area, along its normal.
pub(super) fn area_vector(points: &[DVec3], centre: DVec3) -> DVec3 {
    let n = points.len();
    (0..n).map(|k| 0.5 * (points[k] - centre).cross(points[(k + 1) % n] - centre)).sum()
}

/// `normal` or its opposite, whichever points away from the triangles at the loop.
fn off_the_scan(mesh: &Mesh, around: &VertexTriangles, ring: &[u32], normal: DVec3) -> DVec3 {
    // From each point of the loop to the other corners of its triangles; what
    // runs along the loop cancels.
    let at = |v: u32| mesh.points()[v as usize];
    let mut inward = DVec3::ZERO;
    for &v in ring {
        for &t in around.of(v) {
            for &corner in &mesh.triangles()[t as usize] {
                inward += at(corner) - at(v);
            }
        }
    }
    if inward.dot(normal) > 0.0 { -normal } else { normal }
}
