//! How thick the wall is at each point of bore and outside, by three measures.
//!
//! The wall that the limits speak of is the shortest straight distance to the
//! other side. Beside it stand two that designers know: along the inward normal
//! (ray), and the largest ball that touches the wall here and the other side
//! (ball). Those two are shown and never judged.

use rayon::prelude::*;
use serde::Serialize;
use spile_mesh::{Bvh, DVec3, nearest};

use super::deviation_map::Percentile;
use super::figure::{Figure, Histogram, VertexMap, quantiles};
use super::part_points::PartPoints;
use crate::labels::{Labelled, Side};

/// The wall over the part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Thickness {
    /// Shortest straight distance to the other side, for each point of bore and
    /// outside; to rounding that of the surface there.
    #[serde(skip)]
    pub map: VertexMap,
    /// Distance to the other side along the inward normal, where it is met.
    #[serde(skip)]
    pub ray: VertexMap,
    /// Diameter of the largest ball that touches the surface here, on the inward side of
    /// its normal, and the other side.
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
/// A ball is no longer shrunk when that takes less than this share of it.
const BALL_SHARE: f64 = 1e-6;
/// It is shrunk this often at most; each time takes it at least to the nearest point
/// inside it, and a handful is common.
const SHRINKS_MOST: usize = 60;

/// The wall at each point, and what is told of all.
pub(super) fn thickness(l: &Labelled, points: &PartPoints) -> Thickness {
    let sides = [Side::Bore, Side::Outside].map(|side| l.part_where(|t| l.side[t] == side));
    let trees = [&sides[0], &sides[1]].map(|side| Bvh::build_of(l.part, side));
    let far = l.part.bounds().diagonal();
    let each: Vec<Wall> = (0..l.part.points().len())
        .into_par_iter()
        .map(|v| {
            let other = match points.side[v] {
                Side::Bore => &trees[1],
                Side::Outside => &trees[0],
                Side::Neither => return Wall::default(),
            };
            Wall::at(other, l.part.points()[v], points.normal[v], far)
        })
        .collect();
    let map =
        |pick: fn(&Wall) -> Option<f64>| VertexMap { values: each.iter().map(pick).collect() };
    let (map, ray, ball) = (map(|w| w.shortest), map(|w| w.ray), map(|w| w.ball));
    let least = nearest(l.part, Some(&sides[0]), &trees[1], 0.0);
    let bore = sorted_by_area(points, &map);
    let to = quantiles(&bore, &[HISTOGRAM_SHARE]).first().copied().unwrap_or(0.0);
    let how = "shortest straight distance from the whole bore to the outside";
    Thickness {
        least: least.map(|b| Figure::certified(b.lo, [b.lo, b.hi], how)),
        least_where: least.map(|b| b.at.to_array()),
        percentiles: percentiles(&bore),
        ray_percentiles: percentiles(&sorted_by_area(points, &ray)),
        ball_percentiles: percentiles(&sorted_by_area(points, &ball)),
        histogram: Histogram::of(&bore, [0.0, to], BINS),
        map,
        ray,
        ball,
    }
}

/// Values at points of the bore with the area each stands for, rising.
fn sorted_by_area(points: &PartPoints, map: &VertexMap) -> Vec<(f64, f64)> {
    let is_bore = |v: usize| points.side[v] == Side::Bore;
    let values = map.values.iter().enumerate().filter(|(v, _)| is_bore(*v));
    let mut all: Vec<(f64, f64)> =
        values.filter_map(|(v, value)| value.map(|x| (x, points.area[v]))).collect();
    all.par_sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    all
}

fn percentiles(sorted: &[(f64, f64)]) -> Vec<Percentile> {
    let values = quantiles(sorted, &PERCENTS.map(|percent| percent / 100.0));
    let how = "read at the bore's points, each weighted by the area at it";
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
    fn at(other: &Bvh, p: DVec3, out: DVec3, far: f64) -> Self {
        let Some(closest) = other.closest(p) else { return Self::default() };
        let shortest = Some(closest.distance);
        if out == DVec3::ZERO {
            return Self { shortest, ..Self::default() };
        }
        let ray = other.first_hit(p, -out).map(|hit| hit.t);
        let first = radius_through(closest.point - p, -out);
        let start = first.into_iter().chain(ray.map(|t| 0.5 * t)).fold(far, f64::min);
        let ball = shrunk(other, p, -out, start).filter(|&radius| radius < far);
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

/// The ball at `p` shrunk from `radius` until nothing of `other` is inside it.
///
/// # Source
/// Ma, Bae, Choi 2012, 3D medial axis point approximation using nearest neighbors
/// and the normal field.
fn shrunk(other: &Bvh, p: DVec3, inward: DVec3, radius: f64) -> Option<f64> {
    let mut radius = radius;
    for _ in 0..SHRINKS_MOST {
        let centre = p + radius * inward;
        let Some(inside) = other.closest_within(centre, radius * (1.0 - BALL_SHARE)) else {
            return Some(radius);
        };
        // A point inside the ball gives a smaller one; rounding may end that.
        radius = radius_through(inside.point - p, inward).filter(|&r| r < radius)?;
    }
    Some(radius)
}

#[cfg(test)]
mod tests {
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
            let wall = Wall::at(&other, 10.0 * DVec3::X, -DVec3::Z, 1e4);
            assert!((wall.shortest.unwrap() - 10.0 * beta.sin()).abs() < 1e-12);
            assert!((wall.ray.unwrap() - ray).abs() < 5e-7, "{wall:?}");
            assert!((wall.ball.unwrap() - ball).abs() < 2.0 * BALL_SHARE * ball, "{wall:?}");
        }
    }

    #[test]
    fn parallel_planes_have_one_thickness() {
        // check-values, section 4.3: parallel planes, both equal.
        let points = [(-9.0, -9.0), (9.0, -9.0), (0.0, 20.0)].map(|(x, y)| DVec3::new(x, y, 2.5));
        let other = Bvh::build(&Mesh::new(points.to_vec(), vec![[0, 1, 2]]).unwrap());
        let wall = Wall::at(&other, DVec3::ZERO, -DVec3::Z, 100.0);
        let all = [wall.shortest, wall.ray, wall.ball].map(Option::unwrap);
        assert!(all.iter().all(|t| (t - 2.5).abs() < 1e-12), "{wall:?}");
    }

    #[test]
    fn where_the_other_side_is_behind_there_is_no_ray_and_no_ball() {
        let points = [(-9.0, -9.0), (9.0, -9.0), (0.0, 20.0)].map(|(x, y)| DVec3::new(x, y, -2.5));
        let other = Bvh::build(&Mesh::new(points.to_vec(), vec![[0, 1, 2]]).unwrap());
        let wall = Wall::at(&other, DVec3::ZERO, -DVec3::Z, 100.0);
        assert_eq!(wall, Wall { shortest: Some(2.5), ray: None, ball: None });
    }
}
