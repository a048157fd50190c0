//! Flat caps and rings: the end faces of a wall.
//!
//! A ring is seen along its normal, so that any loops whose pictures do not
//! cross can be filled, whether they are exactly flat or only flat up to the
//! rounding of their coordinates: the triangles lie over one another nowhere,
//! so they cannot meet except where they share corners.

use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};
use spile_mesh::DVec3;

/// A projected place is good to this many units in the last place of the
/// largest coordinate: three products, two sums and the change of origin.
const PROJECTION_ULPS: f64 = 8.0;

/// Why loops cannot be filled.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CapError {
    /// The normal is zero or no number.
    #[error("the end face has no direction")]
    NoDirection,
    /// A loop with fewer than three points.
    #[error("loop {index} of the end face has {count} points; three are the least")]
    TooFew {
        /// Index of the loop, from 0.
        index: usize,
        /// How many points it has.
        count: usize,
    },
    /// A coordinate that is no finite number, or too large or too small to compute with.
    #[error("point {point} of the end face has a coordinate that cannot be computed with")]
    BadCoordinate {
        /// The point's id.
        point: u32,
    },
    /// Two points that cannot be told apart when seen along the normal.
    #[error("points {first} and {second} of the end face fall together at {at}")]
    Together {
        /// Id of the one.
        first: u32,
        /// Id of the other; the same when a loop passes a point twice.
        second: u32,
        /// Where.
        at: DVec3,
    },
    /// A loop's edge that crosses another edge, or has a point of the loops upon it.
    #[error(
        "the edge from point {first} to point {second} of the end face crosses or touches another at {at}"
    )]
    Crossing {
        /// Id of the edge's first point.
        first: u32,
        /// Id of the edge's second point.
        second: u32,
        /// The middle of the edge.
        at: DVec3,
    },
    /// The loops enclose nothing.
    #[error("the loops of the end face at {at} enclose no area")]
    NoArea {
        /// The first point of the first loop.
        at: DVec3,
    },
}

impl CapError {
    /// What to do about it, for the screen.
    pub fn hints(&self) -> &'static [&'static str] {
        match self {
            Self::Together { .. } | Self::Crossing { .. } => {
                &["move the cut a little along the bore, or give the end more reach"]
            }
            Self::NoArea { .. } => {
                &["bore and outside coincide here: the scan has no wall at this end"]
            }
            _ => &[],
        }
    }
}

/// The triangles that fill the flat region between loops.
///
/// Constrained Delaunay triangulation of the loops as seen along `normal`; the
/// region is what an odd number of loops encloses, so the loops may come in any
/// order and direction. Each loop is a closed polygon of (point id, place).
/// Holds afterwards: the triangles use the ids given and no others, every loop
/// edge is an edge of exactly one triangle, and all face `normal`.
/// Shape: the loops should be flat up to rounding; what is needed is only that
/// their pictures along the normal neither cross nor touch.
/// Cost: O(n log n).
///
/// # Errors
/// [`CapError`], with the place, where the loops cross, touch or enclose nothing.
///
/// # Source
/// Constrained Delaunay triangulation by the crate `spade` (exact predicates);
/// the choice of region by the parity of loops is ours.
pub fn fill_ring(loops: &[Vec<(u32, DVec3)>], normal: DVec3) -> Result<Vec<[u32; 3]>, CapError> {
    let picture = Picture::of(loops, normal)?;
    let mut blocked = Vec::new();
    let triangulation = ConstrainedDelaunayTriangulation::<Point2<f64>>::try_bulk_load_cdt(
        picture.places.clone(),
        picture.edges.clone(),
        |edge| blocked.push(edge),
    )
    .map_err(|_| CapError::BadCoordinate { point: picture.points[0].0 })?;
    if let Some(&edge) = blocked.first() {
        return Err(picture.crossing(edge));
    }
    // An edge that runs through a point has been split there by `spade`.
    let handles: Vec<_> = triangulation.fixed_vertices().collect();
    for &[a, b] in &picture.edges {
        if handles.len() != picture.points.len()
            || !triangulation.exists_constraint(handles[a], handles[b])
        {
            return Err(picture.crossing([a, b]));
        }
    }
    let odd = faces_of_odd_depth(&triangulation);
    let triangles: Vec<[u32; 3]> = triangulation
        .inner_faces()
        .filter(|face| odd[face.fix().index()])
        .map(|face| face.vertices().map(|v| picture.points[v.index()].0))
        .collect();
    if triangles.is_empty() {
        return Err(CapError::NoArea { at: picture.points[0].1 });
    }
    Ok(triangles)
}

/// The loops as seen along the normal.
struct Picture {
    /// Id and place in space.
    points: Vec<(u32, DVec3)>,
    /// Place in the plane, by the same index.
    places: Vec<Point2<f64>>,
    /// The loops' edges, as indices into `points`.
    edges: Vec<[usize; 2]>,
}

impl Picture {
    fn of(loops: &[Vec<(u32, DVec3)>], normal: DVec3) -> Result<Self, CapError> {
        let normal = normal.try_normalize().ok_or(CapError::NoDirection)?;
        let (across, up) = normal.any_orthonormal_pair();
        // `any_orthonormal_pair` leaves the handedness open.
        let up = if across.cross(up).dot(normal) > 0.0 { up } else { -up };
        let mut points = Vec::new();
        let mut edges = Vec::new();
        for (index, ring) in loops.iter().enumerate() {
            if ring.len() < 3 {
                return Err(CapError::TooFew { index, count: ring.len() });
            }
            let first = points.len();
            edges.extend((0..ring.len()).map(|k| [first + k, first + (k + 1) % ring.len()]));
            points.extend_from_slice(ring);
        }
        let origin = match points.first() {
            Some(first) => first.1,
            None => return Err(CapError::TooFew { index: 0, count: 0 }),
        };
        let mut places = Vec::with_capacity(points.len());
        for &(point, place) in &points {
            let flat = Point2::new((place - origin).dot(across), (place - origin).dot(up));
            let flat = spade::mitigate_underflow(flat);
            spade::validate_vertex(&flat).map_err(|_| CapError::BadCoordinate { point })?;
            places.push(flat);
        }
        let picture = Self { points, places, edges };
        picture.check_apart()?;
        Ok(picture)
    }

    /// Errors where two points cannot be told apart in the plane.
    fn check_apart(&self) -> Result<(), CapError> {
        let largest = self.points.iter().map(|p| p.1.abs().max_element()).fold(0.0, f64::max);
        let blur = PROJECTION_ULPS * f64::EPSILON * largest;
        let mut order: Vec<usize> = (0..self.points.len()).collect();
        order.sort_by(|&a, &b| self.places[a].x.total_cmp(&self.places[b].x).then(a.cmp(&b)));
        for (rank, &a) in order.iter().enumerate() {
            for &b in &order[rank + 1..] {
                if self.places[b].x - self.places[a].x > blur {
                    break;
                }
                if (self.places[b].y - self.places[a].y).abs() <= blur {
                    let (first, second) = (self.points[a.min(b)].0, self.points[a.max(b)].0);
                    return Err(CapError::Together { first, second, at: self.points[a].1 });
                }
            }
        }
        let mut ids: Vec<(u32, usize)> =
            self.points.iter().enumerate().map(|(k, p)| (p.0, k)).collect();
        ids.sort_unstable();
        match ids.windows(2).find(|pair| pair[0].0 == pair[1].0) {
            Some(pair) => {
                let at = self.points[pair[0].1].1;
                Err(CapError::Together { first: pair[0].0, second: pair[0].0, at })
            }
            None => Ok(()),
        }
    }

    fn crossing(&self, [a, b]: [usize; 2]) -> CapError {
        let (first, second) = (self.points[a], self.points[b]);
        CapError::Crossing { first: first.0, second: second.0, at: 0.5 * (first.1 + second.1) }
    }
}

/// For each face, whether an odd number of constraint edges lies between it and
/// the outside.
pub(crate) fn faces_of_odd_depth(
    triangulation: &ConstrainedDelaunayTriangulation<Point2<f64>>,
) -> Vec<bool> {
    let mut odd = vec![false; triangulation.num_all_faces()];
    let mut seen = odd.clone();
    seen[triangulation.outer_face().fix().index()] = true;
    // The outer face has no three corners; enter from the hull.
    let mut waiting = Vec::new();
    for edge in triangulation.convex_hull() {
        let inside = edge.rev().face().fix();
        if !std::mem::replace(&mut seen[inside.index()], true) {
            odd[inside.index()] = edge.is_constraint_edge();
            waiting.push(inside);
        }
    }
    while let Some(face) = waiting.pop() {
        let Some(inner) = triangulation.face(face).as_inner() else { continue };
        for edge in inner.adjacent_edges() {
            let next = edge.rev().face().fix();
            if !std::mem::replace(&mut seen[next.index()], true) {
                odd[next.index()] = odd[face.index()] != edge.is_constraint_edge();
                waiting.push(next);
            }
        }
    }
    odd
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;
    use std::f64::consts::TAU;

    /// A polygon with the given radii, ids from `first`, in the plane through
    /// `middle` spanned by `across` and `up`.
    fn polygon(first: u32, middle: DVec3, frame: [DVec3; 2], radii: &[f64]) -> Vec<(u32, DVec3)> {
        let n = radii.len();
        (0..n)
            .map(|k| {
                let (sin, cos) = (TAU * k as f64 / n as f64).sin_cos();
                (first + k as u32, middle + radii[k] * (cos * frame[0] + sin * frame[1]))
            })
            .collect()
    }

    fn shoelace(ring: &[(u32, DVec3)], normal: DVec3) -> f64 {
        let n = ring.len();
        let sum: DVec3 =
            (0..n).map(|k| (ring[k].1 - ring[0].1).cross(ring[(k + 1) % n].1 - ring[0].1)).sum();
        0.5 * sum.dot(normal).abs()
    }

    /// Checks what `fill_ring` promises, and that the area is `area`.
    fn check(loops: &[Vec<(u32, DVec3)>], normal: DVec3, area: f64) {
        let triangles = fill_ring(loops, normal).unwrap();
        let place: BTreeMap<u32, DVec3> = loops.iter().flatten().copied().collect();
        let mut edges: BTreeMap<[u32; 2], i32> = BTreeMap::new();
        let mut sum = 0.0;
        for t in &triangles {
            let [a, b, c] = t.map(|p| place[&p]);
            let facing = (b - a).cross(c - a).dot(normal.normalize());
            assert!(facing > 0.0, "triangle {t:?} does not face the normal");
            sum += 0.5 * facing;
            for k in 0..3 {
                let (p, q) = (t[k], t[(k + 1) % 3]);
                *edges.entry([p.min(q), p.max(q)]).or_default() += if p < q { 1 } else { -1 };
            }
        }
        assert!((sum - area).abs() <= 1e-9 * area, "area {sum}, not {area}");
        let border: Vec<[u32; 2]> = edges.iter().filter(|e| *e.1 != 0).map(|e| *e.0).collect();
        let mut asked: Vec<[u32; 2]> = loops
            .iter()
            .flat_map(|ring| {
                (0..ring.len()).map(|k| {
                    let (p, q) = (ring[k].0, ring[(k + 1) % ring.len()].0);
                    [p.min(q), p.max(q)]
                })
            })
            .collect();
        asked.sort_unstable();
        assert_eq!(border, asked, "the border is not the loops");
    }

    #[test]
    fn nested_circles_in_a_tilted_plane_far_from_the_origin() {
        let normal = DVec3::new(0.3, -0.5, 0.8).normalize();
        let across = normal.any_orthonormal_vector();
        let frame = [across, normal.cross(across)];
        let middle = DVec3::new(1.8, 167.6, 784.7);
        let outer = polygon(100, middle, frame, &[11.0; 96]);
        let mut inner = polygon(7, middle + 0.3 * across, frame, &[9.0; 64]);
        // Closed form: area of a regular n-gon, n r^2 sin(2 pi / n) / 2.
        let area = 48.0 * 121.0 * (TAU / 96.0).sin() - 32.0 * 81.0 * (TAU / 64.0).sin();
        check(&[outer.clone(), inner.clone()], normal, area);
        inner.reverse();
        check(&[inner.clone(), outer.clone()], normal, area);
        check(&[inner, outer], -normal, area);
    }

    #[test]
    fn coordinates_rounded_to_f32_leave_the_plane_and_still_fill() {
        let normal = DVec3::new(0.01, 0.02, 1.0).normalize();
        let across = normal.any_orthonormal_vector();
        let frame = [across, normal.cross(across)];
        let middle = DVec3::new(-300.0, 120.0, 900.0);
        let round = |ring: Vec<(u32, DVec3)>| -> Vec<(u32, DVec3)> {
            ring.into_iter().map(|(id, p)| (id, spile_mesh::round_to_f32(p))).collect()
        };
        let outer = round(polygon(0, middle, frame, &[10.0; 400]));
        let inner = round(polygon(400, middle, frame, &[9.9; 400]));
        let area = shoelace(&outer, normal) - shoelace(&inner, normal);
        check(&[outer, inner], normal, area);
    }

    #[test]
    fn saw_teeth_and_straight_stretches() {
        let frame = [DVec3::X, DVec3::Y];
        let radii: Vec<f64> = (0..200).map(|k| if k % 2 == 0 { 10.0 } else { 8.2 }).collect();
        let outer = polygon(0, DVec3::ZERO, frame, &radii);
        let inner = polygon(200, DVec3::ZERO, frame, &[7.9; 37]);
        let area = shoelace(&outer, DVec3::Z) - shoelace(&inner, DVec3::Z);
        check(&[outer, inner], DVec3::Z, area);
        // A square with a thousand points in line on each side.
        let corner = [DVec3::ZERO, DVec3::X, DVec3::X + DVec3::Y, DVec3::Y];
        let square: Vec<(u32, DVec3)> = (0..4000u32)
            .map(|k| {
                let (side, t) = ((k / 1000) as usize, f64::from(k % 1000) / 1000.0);
                (k, 0.1 * corner[side].lerp(corner[(side + 1) % 4], t))
            })
            .collect();
        check(&[square], DVec3::Z, 0.01);
    }

    #[test]
    fn holes_that_nearly_touch_and_an_island() {
        let frame = [DVec3::X, DVec3::Y];
        let outer = polygon(0, DVec3::ZERO, frame, &[10.0; 90]);
        let left = polygon(100, -4.0 * DVec3::X, frame, &[4.0 - 1e-7; 40]);
        let right = polygon(200, 4.0 * DVec3::X, frame, &[4.0 - 1e-7; 40]);
        let island = polygon(300, 4.0 * DVec3::X, frame, &[1.0; 12]);
        let area =
            shoelace(&outer, DVec3::Z) - shoelace(&left, DVec3::Z) - shoelace(&right, DVec3::Z)
                + shoelace(&island, DVec3::Z);
        check(&[left, island, outer, right], DVec3::Z, area);
    }

    #[test]
    fn crossing_loops_are_an_error_with_the_place() {
        let frame = [DVec3::X, DVec3::Y];
        let outer = polygon(0, DVec3::ZERO, frame, &[10.0; 32]);
        let inner = polygon(50, 9.0 * DVec3::X, frame, &[2.0; 16]);
        let error = fill_ring(&[outer, inner], DVec3::Z).unwrap_err();
        let CapError::Crossing { at, .. } = error else { panic!("{error}") };
        assert!((at - 10.0 * DVec3::X).length() < 3.0, "{at}");
    }

    #[test]
    fn a_point_upon_an_edge_is_an_error() {
        let square = [
            (0, DVec3::ZERO),
            (1, 4.0 * DVec3::X),
            (2, DVec3::new(4.0, 4.0, 0.0)),
            (3, 4.0 * DVec3::Y),
        ];
        let inner =
            [(4, 2.0 * DVec3::X), (5, DVec3::new(3.0, 2.0, 0.0)), (6, DVec3::new(2.0, 3.0, 0.0))];
        let error = fill_ring(&[square.to_vec(), inner.to_vec()], DVec3::Z).unwrap_err();
        assert_eq!(error, CapError::Crossing { first: 0, second: 1, at: 2.0 * DVec3::X });
    }

    #[test]
    fn points_that_fall_together_are_named() {
        let mut ring = polygon(0, DVec3::ZERO, [DVec3::X, DVec3::Y], &[10.0; 8]);
        ring.push((8, ring[3].1 + 0.5 * DVec3::Z));
        let error = fill_ring(&[ring.clone()], DVec3::Z).unwrap_err();
        assert!(matches!(error, CapError::Together { first: 3, second: 8, .. }), "{error}");
        ring[8].1 = 3.0 * DVec3::X;
        ring[8].0 = 0;
        let error = fill_ring(&[ring], DVec3::Z).unwrap_err();
        assert!(matches!(error, CapError::Together { first: 0, second: 0, .. }), "{error}");
    }

    #[test]
    fn senseless_input_is_an_error() {
        let ring = polygon(0, DVec3::ZERO, [DVec3::X, DVec3::Y], &[1.0; 5]);
        assert_eq!(fill_ring(&[], DVec3::Z), Err(CapError::TooFew { index: 0, count: 0 }));
        assert_eq!(fill_ring(std::slice::from_ref(&ring), DVec3::ZERO), Err(CapError::NoDirection));
        assert_eq!(
            fill_ring(&[ring.clone(), vec![(9, DVec3::X)]], DVec3::Z),
            Err(CapError::TooFew { index: 1, count: 1 })
        );
        let mut bad = ring.clone();
        bad[2].1.x = f64::NAN;
        assert_eq!(fill_ring(&[bad], DVec3::Z), Err(CapError::BadCoordinate { point: 2 }));
        let line = vec![(0, DVec3::ZERO), (1, DVec3::X), (2, 2.0 * DVec3::X)];
        assert!(fill_ring(&[line], DVec3::Z).is_err());
    }
}
