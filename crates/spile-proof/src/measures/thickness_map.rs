//! How thick the wall is at each point of bore and outside, by three measures.
//!
//! The wall that the limits speak of is the shortest straight distance to the
//! other side. Beside it stand two that designers know: along the inward normal
//! (ray), and the largest ball that touches the wall here and the other side
//! (ball). Those two are shown and never judged.

use rayon::prelude::*;
use serde::Serialize;
use spile_case::FileKind;
use spile_mesh::{Bvh, DVec3, Finder, nearest_from};

use super::deviation_map::Percentile;
use super::figure::{Figure, Histogram, VertexMap, quantiles};
use super::part_points::PartPoints;
use crate::claim::Trees;
use crate::labels::{Labelled, Side};
use crate::proof::Proof;

/// The wall over the part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Thickness {
    /// Shortest straight distance to the other side, for each point of bore and
    /// outside; to rounding that of the surface there.
    #[serde(skip)]
    pub map: VertexMap,
    /// Distance to the other side along the inward normal, where it is met. At some of the
    /// points alone where there are very many, unless the case asks for a file that has all.
    #[serde(skip)]
    pub ray: VertexMap,
    /// Diameter of the largest ball that touches the surface here, on the inward side of
    /// its normal, and the other side; to a thousandth of it. At the points of `ray`.
    #[serde(skip)]
    pub ball: VertexMap,
    /// The least wall of the whole part, scan included; none where a side is missing.
    pub least: Option<Figure>,
    /// Where it is.
    pub least_where: Option<[f64; 3]>,
    /// 1, 5, 50 and 95 percent of the bore's area have no thicker a wall than this.
    pub percentiles: Vec<Percentile>,
    /// The same of `ray`.
    pub ray_percentiles: Vec<Percentile>,
    /// The same of `ball`.
    pub ball_percentiles: Vec<Percentile>,
    /// Area of the bore by its wall.
    pub histogram: Histogram,
}

/// Percentiles that are shown: the thin places matter.
const PERCENTS: [f64; 4] = [1.0, 5.0, 50.0, 95.0];
/// Bins of the histogram.
const BINS: usize = 40;
/// The histogram ends where this share of the area is passed, for a few places
/// of a scan may have no other side near.
const HISTOGRAM_SHARE: f64 = 0.995;
/// Of a part with more points than this, ray and ball are read for their percentiles at about
/// [`READ_ABOUT`] of them, spread over its list: they are dear, and shown alone.
const READ_ALL_UP_TO: usize = 100_000;
/// With half of so many on the bore, the share below the lowest percentile is right to a tenth of
/// it (the binomial's standard error).
const READ_ABOUT: usize = 25_000;
/// A ball is no longer shrunk when that takes no more than this share of it.
const BALL_SHARE: f64 = 1e-3;
/// It is shrunk this often at most; a handful is common.
const SHRINKS_MOST: usize = 60;

/// The wall at each point, and what is told of all.
pub(super) fn thickness(
    l: &Labelled,
    points: &PartPoints,
    trees: &Trees,
    proof: &Proof,
) -> Thickness {
    let far = l.part.bounds().diagonal();
    let count = l.part.points().len();
    let stride = if count > READ_ALL_UP_TO { count.div_ceil(READ_ABOUT) } else { 1 };
    let wants_all = l.case.output.files.contains(&FileKind::Ply);
    let each = at_each_point(l, points, trees, |other, v| {
        let is_read = wants_all || v % stride == 0;
        let normal = if is_read { points.normal(l, v) } else { DVec3::ZERO };
        Wall::at(other, l.part.points()[v], normal, far)
    });
    let map =
        |pick: fn(&Wall) -> Option<f64>| VertexMap { values: each.iter().map(pick).collect() };
    let (map, ray, ball) = (map(|w| w.shortest), map(|w| w.ray), map(|w| w.ball));
    let least = of_the_proof(l, proof).or_else(|| least(l, trees, &map));
    let bore = sorted_by_area(points, &map, 1);
    let how_read = if stride == 1 { EVERY_POINT } else { SOME_POINTS };
    let to = quantiles(&bore, &[HISTOGRAM_SHARE]).first().copied().unwrap_or(0.0);
    let how = "shortest straight distance from the whole bore to the outside";
    Thickness {
        least: least.map(|(b, _)| Figure::certified(b[0], b, how)),
        least_where: least.map(|(_, at)| at),
        percentiles: percentiles(&bore, EVERY_POINT),
        ray_percentiles: percentiles(&sorted_by_area(points, &ray, stride), how_read),
        ball_percentiles: percentiles(&sorted_by_area(points, &ball, stride), how_read),
        histogram: Histogram::of(&bore, [0.0, to], BINS),
        map,
        ray,
        ball,
    }
}

/// The shortest straight distance to the other side alone, at each point.
pub(super) fn shortest(l: &Labelled, points: &PartPoints, trees: &Trees) -> VertexMap {
    let values = at_each_point(l, points, trees, |other, v| {
        other.nearby.closest(l.part.points()[v]).map(|closest| closest.distance)
    });
    VertexMap { values }
}

/// What `read` finds at each point of bore and outside, in the part's order; nothing at others.
///
/// Points are asked one beside the other, so that the same branches of a tree answer and lie
/// at hand: those of a scan may come in any order. Answers do not depend on it.
fn at_each_point<T: Clone + Default + Send>(
    l: &Labelled,
    points: &PartPoints,
    trees: &Trees,
    read: impl Fn(&mut OtherSide, usize) -> T + Sync,
) -> Vec<T> {
    let mut is_listed = vec![false; l.part.points().len()];
    let mut beside = Vec::with_capacity(is_listed.len());
    for tree in [&trees.bore, &trees.outside] {
        for v in tree.triangles().iter().flat_map(|t| l.part.triangles()[*t as usize]) {
            if !std::mem::replace(&mut is_listed[v as usize], true) {
                beside.push(v);
            }
        }
    }
    let found: Vec<T> = beside
        .par_iter()
        .map_init(
            || OtherSides::of(trees),
            |others, &v| {
                // What breaks off here never leaves `Look::measure`.
                let other = others.seen_from(points.side[v as usize]);
                let other = other.filter(|_| !l.stop.is_asked());
                other.map_or_else(T::default, |other| read(other, v as usize))
            },
        )
        .collect();
    let mut each = vec![T::default(); is_listed.len()];
    for (v, found) in beside.into_iter().zip(found) {
        each[v as usize] = found;
    }
    each
}

/// A side of the wall to be measured to, and what was near the place asked about last.
struct OtherSide<'a> {
    tree: &'a Bvh,
    nearby: Finder<'a>,
    nearby_of_balls: Finder<'a>,
}

impl<'a> OtherSide<'a> {
    fn of(tree: &'a Bvh) -> Self {
        Self { tree, nearby: Finder::new(tree), nearby_of_balls: Finder::new(tree) }
    }
}

/// Both sides, for points that lie beside each other.
struct OtherSides<'a> {
    bore: OtherSide<'a>,
    outside: OtherSide<'a>,
}

impl<'a> OtherSides<'a> {
    fn of(trees: &'a Trees) -> Self {
        Self { bore: OtherSide::of(&trees.bore), outside: OtherSide::of(&trees.outside) }
    }

    fn seen_from(&mut self, side: Side) -> Option<&mut OtherSide<'a>> {
        match side {
            Side::Bore => Some(&mut self.outside),
            Side::Outside => Some(&mut self.bore),
            Side::Neither => None,
        }
    }
}

/// Bounds of the least wall, and its place.
type Least = ([f64; 2], [f64; 3]);

/// Where the wall is made the proof has measured all of it, unless an end has a limit of its
/// own; an even wall is nearly least everywhere, and so dear to measure again.
fn of_the_proof(l: &Labelled, proof: &Proof) -> Option<Least> {
    let mut rows = proof.limits.iter().filter(|r| r.name == "wall_min");
    let (row, more) = (rows.next()?, rows.next());
    let is_whole = l.case.scan.form.makes_wall() && row.end.is_none() && more.is_none();
    row.bounds.zip(row.where_).filter(|_| is_whole)
}

/// The least wall of the whole bore, of which only triangles are measured whose corners do not
/// show that they are thicker than the thinnest corner.
fn least(l: &Labelled, trees: &Trees, map: &VertexMap) -> Option<Least> {
    let wall_at = |v: u32| map.values[v as usize].unwrap_or(0.0);
    let bore = l.part_where(|t| l.side[t] == Side::Bore);
    let corners = bore.iter().flat_map(|&t| l.part.triangles()[t as usize]);
    let thinnest = corners.map(wall_at).fold(f64::INFINITY, f64::min);
    let size = l.part.bounds().diagonal();
    let slack = trees.outside.closest_error(size);
    let may_be_least = |t: &u32| {
        let (corners, at) = (l.part.triangles()[*t as usize], l.part.corners(*t as usize));
        let edge = [0, 1, 2].map(|k| at[k].distance(at[(k + 1) % 3]));
        // No place is farther from all corners than the longest edge over the root of 3 (as in an
        // equilateral triangle), nor from one of them than the longer of its two edges.
        let longest = edge[0].max(edge[1]).max(edge[2]);
        let walls = corners.map(wall_at);
        let by_all = walls[0].min(walls[1]).min(walls[2]) - longest / 3.0_f64.sqrt();
        let by_one = (0..3).map(|k| walls[k] - edge[k].max(edge[(k + 2) % 3]));
        by_one.fold(by_all, f64::max) <= thinnest + slack
    };
    let near: Vec<u32> = bore.into_par_iter().filter(may_be_least).collect();
    let thinnest = near.iter().copied().find(|t| {
        l.part.triangles()[*t as usize].map(wall_at).iter().any(|wall| *wall <= thinnest)
    });
    let found = nearest_from(l.part, Some(&near), &trees.outside, 0.0, thinnest)?;
    Some(([found.lo, found.hi], found.at.to_array()))
}

/// Values at every so many points of the bore with the area each stands for, rising.
fn sorted_by_area(points: &PartPoints, map: &VertexMap, stride: usize) -> Vec<(f64, f64)> {
    let is_bore = |v: usize| points.side[v] == Side::Bore;
    let values = map.values.iter().enumerate().step_by(stride).filter(|(v, _)| is_bore(*v));
    let mut all: Vec<(f64, f64)> =
        values.filter_map(|(v, value)| value.map(|x| (x, points.area[v]))).collect();
    all.par_sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    all
}

/// How percentiles are read where there is time for all points, and where there is not.
const EVERY_POINT: &str = "read at the bore's points, each weighted by the area at it";
const SOME_POINTS: &str =
    "read at some of the bore's points, spread over all of them, each weighted by the area at it";

fn percentiles(sorted: &[(f64, f64)], how: &str) -> Vec<Percentile> {
    let values = quantiles(sorted, &PERCENTS.map(|percent| percent / 100.0));
    PERCENTS
        .iter()
        .zip(values)
        .map(|(&percent, value)| Percentile { percent, value: Figure::estimated(value, None, how) })
        .collect()
}

/// The wall at one point by three measures.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Wall {
    shortest: Option<f64>,
    ray: Option<f64>,
    ball: Option<f64>,
}

impl Wall {
    /// `out` is the unit normal out of the material; `far` is longer than anything here.
    fn at(other: &mut OtherSide, p: DVec3, out: DVec3, far: f64) -> Self {
        let Some(closest) = other.nearby.closest(p) else { return Self::default() };
        let shortest = Some(closest.distance);
        if out == DVec3::ZERO {
            return Self { shortest, ..Self::default() };
        }
        let ray = other.tree.first_hit(p, -out).map(|hit| hit.t);
        let first = radius_through(closest.point - p, -out);
        let start = first.into_iter().chain(ray.map(|t| 0.5 * t)).fold(far, f64::min);
        let ball = shrunk(&mut other.nearby_of_balls, p, -out, [0.5 * closest.distance, start]);
        let ball = ball.filter(|&radius| radius < far);
        Self { shortest, ray, ball: ball.map(|radius| 2.0 * radius) }
    }
}

/// Radius of the ball that touches the plane square to unit `inward` at the origin, on its
/// side, and goes through `point`; none if the point is not on that side.
fn radius_through(point: DVec3, inward: DVec3) -> Option<f64> {
    let height = point.dot(inward);
    let radius = point.length_squared() / (2.0 * height);
    (height > 0.0 && radius.is_finite()).then_some(radius)
}

/// The ball at `p` shrunk from a radius until nothing of the other side is inside it. It cannot be
/// smaller than `least`, half the way to the nearest place: where it is as small, that
/// need not be looked for.
///
/// # Source
/// Ma, Bae, Choi 2012, 3D medial axis point approximation using nearest neighbors
/// and the normal field.
fn shrunk(nearby: &mut Finder, p: DVec3, inward: DVec3, [least, from]: [f64; 2]) -> Option<f64> {
    let mut radius = from;
    for _ in 0..SHRINKS_MOST {
        if radius <= least * (1.0 + BALL_SHARE) {
            break;
        }
        let centre = p + radius * inward;
        let Some(inside) = nearby.closest_within(centre, radius * (1.0 - BALL_SHARE)) else {
            break;
        };
        // A point inside the ball gives a smaller one; rounding may end that.
        radius = radius_through(inside.point - p, inward).filter(|&r| r < radius)?;
    }
    Some(radius)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use spile_mesh::Mesh;

    /// A large plane through the origin that holds the y axis and `along`.
    fn plane(along: DVec3) -> Bvh {
        let (far, wide) = (1000.0 * along, 1000.0 * DVec3::Y);
        let points = vec![-far - wide, far - wide, far + wide, wide - far];
        Bvh::build(&Mesh::new(points, vec![[0, 1, 2], [0, 2, 3]]).unwrap())
    }

    #[test]
    fn a_wedge_has_three_thicknesses() {
        // check-values C19, C20: at 10 from the edge of a wedge of opening beta the ray is
        // x tan beta and the ball 2 x tan(beta / 2); the shortest way is x sin beta.
        for (degrees, ray, ball) in
            [(30.0, 5.773503, 5.358984), (45.0, 10.0, 8.284271), (60.0, 17.320508, 11.547005)]
        {
            let beta = f64::to_radians(degrees);
            let other = plane(DVec3::new(beta.cos(), 0.0, beta.sin()));
            let wall = Wall::at(&mut OtherSide::of(&other), 10.0 * DVec3::X, -DVec3::Z, 1e4);
            assert!((wall.shortest.unwrap() - 10.0 * beta.sin()).abs() < 1e-12);
            assert!((wall.ray.unwrap() - ray).abs() < 5e-7, "{wall:?}");
            assert!((wall.ball.unwrap() / ball - 1.0).abs() < 1.1 * BALL_SHARE, "{wall:?}");
        }
    }

    #[test]
    fn parallel_planes_have_one_thickness() {
        // check-values, section 4.3: parallel planes, both equal.
        let points = [(-9.0, -9.0), (9.0, -9.0), (0.0, 20.0)].map(|(x, y)| DVec3::new(x, y, 2.5));
        let other = Bvh::build(&Mesh::new(points.to_vec(), vec![[0, 1, 2]]).unwrap());
        let wall = Wall::at(&mut OtherSide::of(&other), DVec3::ZERO, -DVec3::Z, 100.0);
        let all = [wall.shortest, wall.ray, wall.ball].map(Option::unwrap);
        assert!(all.iter().all(|t| (t - 2.5).abs() < 1e-12), "{wall:?}");
    }

    /// A sphere about the origin, and how near to its middle its facets come.
    fn sphere(radius: f64) -> (Mesh, f64) {
        let rings = 48_u32;
        let at = |i: u32, j: u32| {
            let (t, f) = (f64::from(i) / f64::from(rings), f64::from(j) / f64::from(rings));
            let ((r, z), (y, x)) = ((t * PI).sin_cos(), (f * PI).sin_cos());
            radius * DVec3::new(r * x, r * y, z)
        };
        let around = 2 * rings;
        let points = (0..=rings).flat_map(|i| (0..around).map(move |j| at(i, j))).collect();
        let place = |i: u32, j: u32| i * around + j % around;
        let quads = (0..rings).flat_map(|i| (0..around).map(move |j| (i, j)));
        let triangles = quads.flat_map(|(i, j)| {
            let [a, b, c, d] =
                [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)].map(|(i, j)| place(i, j));
            // At the poles one of the two has no area.
            [(i + 1 < rings).then_some([a, b, c]), (i > 0).then_some([a, c, d])]
                .into_iter()
                .flatten()
        });
        let mesh = Mesh::new(points, triangles.collect()).unwrap();
        let near = |t: usize| mesh.area_normal(t).normalize().dot(mesh.corners(t)[0]);
        let nearest = (0..mesh.triangles().len()).map(near).fold(f64::INFINITY, f64::min);
        (mesh, nearest)
    }

    #[test]
    fn a_shell_between_spheres_is_as_thick_as_their_radii_differ() {
        // Closed form: R - r by all three measures, for facets less by no more than they lie
        // within their sphere.
        let [(small, within), (large, without)] = [10.0, 12.0].map(sphere);
        let [small, large] = [&small, &large].map(Bvh::build);
        for k in 0..500 {
            let (z, turn) = (f64::from(2 * k - 499) / 500.0, 2.4 * f64::from(k));
            let (y, x) = turn.sin_cos();
            let way = DVec3::new((1.0 - z * z).sqrt() * x, (1.0 - z * z).sqrt() * y, z);
            let from_outside =
                (Wall::at(&mut OtherSide::of(&small), 12.0 * way, way, 100.0), 2.0, 12.0 - within);
            let from_bore = (
                Wall::at(&mut OtherSide::of(&large), 10.0 * way, -way, 100.0),
                without - 10.0,
                2.0,
            );
            for (wall, least, most) in [from_outside, from_bore] {
                for t in [wall.shortest, wall.ray, wall.ball].map(Option::unwrap) {
                    let slack = BALL_SHARE * t;
                    assert!(least - slack <= t && t <= most + slack, "{way}: {wall:?}");
                }
                let t = wall.shortest.unwrap();
                assert!(least - 1e-12 <= t && t <= most + 1e-12, "{way}: {wall:?}");
            }
        }
        assert!(12.0 - within < 2.02 && without - 10.0 > 1.98, "facets fine enough to tell");
    }

    #[test]
    fn where_the_other_side_is_behind_there_is_no_ray_and_no_ball() {
        let points = [(-9.0, -9.0), (9.0, -9.0), (0.0, 20.0)].map(|(x, y)| DVec3::new(x, y, -2.5));
        let other = Bvh::build(&Mesh::new(points.to_vec(), vec![[0, 1, 2]]).unwrap());
        let wall = Wall::at(&mut OtherSide::of(&other), DVec3::ZERO, -DVec3::Z, 100.0);
        assert_eq!(wall, Wall { shortest: Some(2.5), ray: None, ball: None });
    }
}
