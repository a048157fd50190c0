//! Bore area in true sections, as the making side sees it. The proof measures
//! again by code of its own.

use spile_mesh::{DVec3, Mesh, Plane};

/// The least section area found over tilts of a plane.
#[derive(Debug, Clone, Copy)]
pub struct LeastSection {
    /// The least area.
    pub area: f64,
    /// The tilt where it was found, as tangents toward the two directions that
    /// go with the plane's normal.
    pub tilt: [f64; 2],
}

/// The area that `tube` has in the plane within `far` of the plane's point:
/// half the sum of the cross products of its section's segments. The tube must
/// cross the plane there in one closed loop.
pub fn section_area(tube: &Mesh, plane: Plane, far: f64) -> f64 {
    let mut slab = Slab::new(plane, far, 0.0);
    slab.add(tube);
    slab.area([0.0, 0.0])
}

/// The triangles of a tube that some plane of a family can cross, in the
/// family's own directions.
///
/// A plane is named by its tilt `[x, y]`: its normal runs along
/// `normal + x u + y v`, so that the height of a point over it is, but for a
/// factor, its own height plus `x` and `y` times its two other coordinates.
#[derive(Debug, Clone)]
struct Slab {
    origin: DVec3,
    /// The two directions and the untilted normal.
    axes: [DVec3; 3],
    far: f64,
    /// Tangent of the largest tilt.
    most: f64,
    /// Each point's places along the axes.
    points: Vec<[f64; 3]>,
    triangles: Vec<[u32; 3]>,
    /// Each point's height over the plane that is looked at.
    heights: Vec<f64>,
}

impl Slab {
    /// Of planes through the plane's point tilted by up to `most_deg` against it.
    fn new(plane: Plane, far: f64, most_deg: f64) -> Self {
        let u = plane.normal.any_orthonormal_vector();
        Self {
            origin: plane.point,
            axes: [u, plane.normal.cross(u), plane.normal],
            far,
            most: most_deg.to_radians().tan(),
            points: Vec::new(),
            triangles: Vec::new(),
            heights: Vec::new(),
        }
    }

    /// Adds those triangles of `tube` that one of the planes can cross: a point
    /// higher over the untilted plane than its distance from the axis times the
    /// largest tilt's tangent is above all of them.
    fn add(&mut self, tube: &Mesh) {
        // A little more than the tilts that are tried.
        let steep = self.most * (1.0 + 1e-6);
        let own: Vec<[f64; 3]> = (tube.points().iter())
            .map(|&p| self.axes.map(|axis| (p - self.origin).dot(axis)))
            .collect();
        let side = |v: u32| -> i8 {
            let [x, y, height] = own[v as usize];
            if height * height <= steep * steep * (x * x + y * y) {
                0
            } else if height > 0.0 {
                1
            } else {
                -1
            }
        };
        let sides: Vec<i8> = (0..own.len() as u32).map(side).collect();
        let mut place = vec![u32::MAX; own.len()];
        for t in tube.triangles() {
            let [a, b, c] = t.map(|v| sides[v as usize]);
            if a != 0 && a == b && a == c {
                continue;
            }
            self.triangles.push(t.map(|v| {
                let place = &mut place[v as usize];
                if *place == u32::MAX {
                    *place = self.points.len() as u32;
                    self.points.push(own[v as usize]);
                }
                *place
            }));
        }
    }

    /// The area in the plane of this tilt; see [`section_area`].
    ///
    /// Summed in the projection along the untilted normal, where the section is
    /// smaller by the cosine of the tilt.
    fn area(&mut self, [x, y]: [f64; 2]) -> f64 {
        let Self { points, triangles, heights, far, .. } = self;
        heights.clear();
        heights.extend(points.iter().map(|&[px, py, height]| height + x * px + y * py));
        let mut twice = 0.0;
        for t in triangles {
            let h = t.map(|v| heights[v as usize]);
            let above = h.map(|x| x >= 0.0);
            if above[0] == above[1] && above[1] == above[2] {
                continue;
            }
            // From the edge where the outline goes down to where it comes up.
            let (mut down, mut up) = ([0.0; 2], [0.0; 2]);
            for k in 0..3 {
                let l = (k + 1) % 3;
                if above[k] == above[l] {
                    continue;
                }
                let (p, q) = (points[t[k] as usize], points[t[l] as usize]);
                let share = h[k] / (h[k] - h[l]);
                let at = [0, 1].map(|axis| p[axis] + (q[axis] - p[axis]) * share);
                if above[k] { down = at } else { up = at }
            }
            // Other branches cross the plane further away.
            let height = x * down[0] + y * down[1];
            if down[0] * down[0] + down[1] * down[1] + height * height < *far * *far {
                twice += down[0] * up[1] - down[1] * up[0];
            }
        }
        0.5 * twice.abs() * (1.0 + x * x + y * y).sqrt()
    }

    /// Looks at the plane of this tilt, or of the largest in its direction; tells
    /// whether it is the least so far.
    fn attempt(&mut self, tilt: [f64; 2], best: &mut LeastSection) -> bool {
        let shorter = (self.most / tilt[0].hypot(tilt[1])).min(1.0);
        let tilt = tilt.map(|t| t * shorter);
        let area = self.area(tilt);
        // A plane that leaves the given triangles crosses nothing.
        let is_less = area > 0.0 && area < best.area;
        if is_less {
            *best = LeastSection { area, tilt };
        }
        is_less
    }

    /// The least over the tilts, from rings of directions; not looked at more
    /// closely if none of these is under `enough`.
    fn least(&mut self, enough: f64) -> LeastSection {
        let mut best = LeastSection { area: f64::INFINITY, tilt: [0.0, 0.0] };
        self.attempt([0.0, 0.0], &mut best);
        for (share, turn) in RINGS {
            for k in 0..DIRECTIONS {
                let a = std::f64::consts::TAU * (f64::from(k) + turn) / f64::from(DIRECTIONS);
                let r = share * self.most;
                self.attempt([r * a.cos(), r * a.sin()], &mut best);
            }
        }
        if best.area <= enough {
            self.descend(self.most / 8.0, &mut best);
        }
        best
    }

    /// Steps from `best` to lesser areas, the steps halved where none is less.
    fn descend(&mut self, mut step: f64, best: &mut LeastSection) {
        while step > LEAST_STEP {
            let [x, y] = best.tilt;
            let moved = [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)]
                .into_iter()
                .fold(false, |m, (dx, dy)| self.attempt([x + dx, y + dy], best) || m);
            if !moved {
                step /= 2.0;
            }
        }
    }
}

/// Rings of directions that are tried before the steps: how far out, as a share
/// of the largest tilt, and turned by how much of a direction.
const RINGS: [(f64, f64); 3] = [(0.35, 0.0), (0.7, 0.5), (1.0, 0.0)];
/// Directions of a ring.
const DIRECTIONS: u32 = 8;
/// A search over tilts ends when its steps are under this (a tangent): the area
/// of a tube is flat to one part in 10^5 over it.
const LEAST_STEP: f64 = 0.004;

/// Tilts that are searched.
const TILT_DEG: f64 = 20.0;
/// Where the least is at that bound, this far.
const TILT_AGAIN_DEG: f64 = 40.0;
/// A least this near the bound is at it.
const AT_BOUND_DEG: f64 = 0.5;

/// The least section over tilts through one place of a tube that changes
/// between two parts that do not.
pub struct Station<'a> {
    plane: Plane,
    near: &'a Mesh,
    /// With what `near` has there.
    slab: Slab,
}

impl<'a> Station<'a> {
    /// The place of `plane`; `near` are the parts that do not change, and what
    /// is further than `far` from it belongs to other branches.
    pub fn new(near: &'a Mesh, plane: Plane, far: f64) -> Self {
        let mut slab = Slab::new(plane, far, TILT_DEG);
        slab.add(near);
        Self { plane, near, slab }
    }

    /// The least area over planes tilted by up to 20 degrees; where it is found
    /// at that bound, by up to 40. Not looked at closely where it is more than
    /// `enough`; with a least of a shape that was much the same, only near that
    /// one's tilt.
    ///
    /// A search (rings of directions, then steps that halve), not a bound.
    pub fn least(&self, tube: &Mesh, enough: f64, last: Option<&LeastSection>) -> LeastSection {
        let mut slab = self.slab.clone();
        slab.add(tube);
        let at_bound = (TILT_DEG - AT_BOUND_DEG).to_radians().tan();
        let is_at_bound = |found: &LeastSection| found.tilt[0].hypot(found.tilt[1]) > at_bound;
        let found = match last.filter(|last| !is_at_bound(last)) {
            Some(last) => {
                let mut best = LeastSection { area: f64::INFINITY, tilt: [0.0, 0.0] };
                slab.attempt(last.tilt, &mut best);
                if best.area <= enough {
                    slab.descend(slab.most / 16.0, &mut best);
                }
                best
            }
            None => slab.least(enough),
        };
        if !is_at_bound(&found) || found.area > enough {
            return found;
        }
        let mut wider = Slab::new(self.plane, slab.far, TILT_AGAIN_DEG);
        wider.add(self.near);
        wider.add(tube);
        wider.least(enough)
    }
}

/// The least area over planes through `plane.point` tilted by up to 20 degrees
/// and no further. A search, not a bound.
pub fn least_within(tube: &Mesh, plane: Plane, far: f64) -> f64 {
    let mut slab = Slab::new(plane, far, TILT_DEG);
    slab.add(tube);
    slab.least(f64::INFINITY).area
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sides of the tube's polygon.
    const SIDES: u32 = 24;

    /// A straight tube of radius 5 along z from -10 to 10, rows half apart.
    fn tube() -> Mesh {
        let rows = 41;
        let points = (0..rows * SIDES).map(|v| {
            let a = std::f64::consts::TAU * f64::from(v % SIDES) / f64::from(SIDES);
            DVec3::new(5.0 * a.cos(), 5.0 * a.sin(), 0.5 * f64::from(v / SIDES) - 10.0)
        });
        let cells = (0..(rows - 1) * SIDES).map(|c| (c / SIDES * SIDES, c % SIDES));
        let triangles = cells.flat_map(|(row, j)| {
            let (a, b) = (row + j, row + (j + 1) % SIDES);
            [[a, b, b + SIDES], [a, b + SIDES, a + SIDES]]
        });
        Mesh::new(points.collect(), triangles.collect()).unwrap()
    }

    /// The regular polygon's area, `n/2 r^2 sin(2 pi/n)`.
    fn polygon() -> f64 {
        0.5 * f64::from(SIDES) * 25.0 * (std::f64::consts::TAU / f64::from(SIDES)).sin()
    }

    fn tilted(tilt_deg: f64) -> Plane {
        let (sine, cosine) = tilt_deg.to_radians().sin_cos();
        Plane {
            point: DVec3::new(0.3, -0.2, 0.1),
            normal: DVec3::new(0.6 * sine, 0.8 * sine, cosine),
        }
    }

    #[test]
    fn a_tilted_section_of_a_prism_is_larger_by_the_cosine() {
        for tilt in [0.0f64, 11.0, 35.0] {
            let area = section_area(&tube(), tilted(tilt), 20.0);
            let right = polygon() / tilt.to_radians().cos();
            assert!((area / right - 1.0).abs() < 1e-12, "{area} {right}");
        }
        // What is farther away than asked for is not counted.
        assert_eq!(section_area(&tube(), tilted(0.0), 3.0), 0.0);
    }

    #[test]
    fn the_least_section_of_a_prism_is_the_square_one() {
        let tube = tube();
        let nothing = Mesh::default();
        // Within the search's last step of square, which costs 1 - cos of it.
        let most = 1.0 + LEAST_STEP * LEAST_STEP;
        for tilt in [0.0, 7.0, 18.0, 30.0] {
            let station = Station::new(&nothing, tilted(tilt), 20.0);
            let found = station.least(&tube, f64::INFINITY, None);
            let share = found.area / polygon();
            assert!((1.0 - 1e-12..most).contains(&share), "{share} at {tilt}");
            let again = station.least(&tube, f64::INFINITY, Some(&found));
            assert!(again.area <= found.area * (1.0 + 1e-12));
            // Parts that do not change count like those that do.
            let fixed = Station::new(&tube, tilted(tilt), 20.0);
            assert_eq!(fixed.least(&nothing, f64::INFINITY, None).area, found.area);
        }
        // The search that stays within 20 degrees does.
        let held = least_within(&tube, tilted(30.0), 20.0) / polygon();
        assert!((held * 10f64.to_radians().cos() - 1.0).abs() < 1e-3, "{held}");
    }
}
