//! The exact surface of a fitting, worked out from the case's words, and how far
//! triangles lie from it.
//!
//! Every fitting is a body of revolution. In the half-plane of height over the
//! near face and distance from the axis its surface is a chain of straight
//! pieces: those that rise are cylinders and cones, those that stay at one height
//! are flat rings.

use spile_case::{Case, Cone, End, Fitting, Flange, Gender, Place, Unit};
use spile_mesh::{DVec3, closest_on_segment};

use crate::fitting_find::Face;
use crate::fitting_mesh::given;
use crate::labels::FittingFrame;

/// How a side of a fitting runs: as wide as at the near face up to a height,
/// then straight to the radius at the far face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SideRun {
    /// Radius at the near face.
    pub near: f64,
    /// Height at which it begins to taper.
    pub begin: f64,
    /// Radius at the far face.
    pub far: f64,
}

impl SideRun {
    fn cylinder(diameter: f64, length: f64) -> Self {
        let radius = 0.5 * diameter;
        Self { near: radius, begin: length, far: radius }
    }

    /// The side of a cone that the standard fixes: 1 : `taper_length` on the
    /// diameter through the basic plane, seen from the free end.
    fn tapered(cone: &Cone, unit: Unit) -> Self {
        let standard = cone.dimensions();
        let mm = unit.in_millimetres();
        let half_taper = 0.5 / standard.taper_length;
        let (basic, plane) = (standard.diameter_mm / mm, standard.plane_mm / mm);
        let begin = (cone.length - standard.length_mm / mm).max(0.0);
        let plane_height = cone.length - plane;
        // A cone is thinnest at its free end, a socket widest.
        let (a_height, mating) = match cone.gender {
            Gender::Male => (-half_taper, 0.5 * (basic - cone.allowance)),
            Gender::Female => (half_taper, 0.5 * (basic + cone.allowance)),
        };
        let radius = |height: f64| mating + a_height * (height - plane_height);
        Self { near: radius(begin), begin, far: radius(cone.length) }
    }

    /// The radius at a height, of a fitting this long.
    fn at(&self, height: f64, length: f64) -> f64 {
        if height <= self.begin || self.near == self.far {
            self.near
        } else {
            self.far - (self.far - self.near) * (length - height) / (length - self.begin)
        }
    }
}

/// A straight piece in the half-plane: heights and radii of its two ends.
#[derive(Debug, Clone, Copy)]
struct Piece {
    heights: [f64; 2],
    radii: [f64; 2],
}

impl FittingFrame {
    /// The frame of an end's fitting; none without one, or while unsettled. Of a
    /// fitting from a file it is that of the rim which is joined.
    pub(crate) fn of(case: &Case, end: &End) -> Option<Self> {
        if let Some(given) = given(case, end) {
            return given.ok().map(|given| given.frame);
        }
        let unit = case.unit;
        let Place::At { at, along } = end.place? else { return None };
        let (at, along) = (DVec3::from_array(at), DVec3::from_array(along).try_normalize()?);
        Some(match end.fitting? {
            Fitting::Mesh(_) => return None,
            Fitting::Tube { bore, outside, length, flange } => {
                let bore = SideRun::cylinder(bore, length);
                let outside = SideRun::cylinder(outside, length);
                Self { at, along, bore, outside, length, flange }
            }
            Fitting::Cone(cone) => {
                let fixed = SideRun::tapered(&cone, unit);
                let given = SideRun::cylinder(cone.other, cone.length);
                let (bore, outside) = match cone.gender {
                    Gender::Male => (given, fixed),
                    Gender::Female => (fixed, given),
                };
                Self { at, along, bore, outside, length: cone.length, flange: cone.flange }
            }
        })
    }

    /// The frame of an end's fitting where the case's words fix its exact surface; none of one that a
    /// file gives, of a plain end, or while unsettled.
    pub fn exact(case: &Case, end: &End) -> Option<Self> {
        match end.fitting {
            Some(Fitting::Mesh(_)) | None => None,
            Some(_) => Self::of(case, end),
        }
    }

    /// The area that, turned about the axis, is the fitting: distance from the axis and height
    /// over the near face of each corner, in order round it.
    pub fn outline(&self) -> Vec<[f64; 2]> {
        let corners = |face| {
            self.pieces(face).into_iter().flat_map(|Piece { heights: [h, k], radii: [r, s] }| {
                // A flange's upper ring is told from within.
                [[r, h], [s, k]]
            })
        };
        let mut outside: Vec<[f64; 2]> = corners(Face::Outside).collect();
        // Where a piece does not begin where the last one ended, it is turned round.
        for k in (2..outside.len()).step_by(2) {
            if outside[k] != outside[k - 1] {
                outside.swap(k, k + 1);
            }
        }
        let mut all: Vec<[f64; 2]> = outside
            .into_iter()
            .chain({
                let mut bore: Vec<[f64; 2]> = corners(Face::Bore).collect();
                bore.reverse();
                bore
            })
            .collect();
        all.dedup();
        all
    }

    /// Radius of the bore at a height.
    pub(crate) fn bore_at(&self, height: f64) -> f64 {
        self.bore.at(height, self.length)
    }

    /// Radius of the outside at a height, its flange apart.
    pub(crate) fn outside_at(&self, height: f64) -> f64 {
        self.outside.at(height, self.length)
    }

    /// Whether it is a plain tube.
    pub(crate) fn is_tube(&self) -> bool {
        let is_straight = |run: &SideRun| run.near == run.far;
        is_straight(&self.bore) && is_straight(&self.outside) && self.flange.is_none()
    }

    /// Least thickness of anything it is made of.
    pub(crate) fn thinnest(&self) -> f64 {
        let heights = [0.0, self.bore.begin, self.outside.begin, self.length];
        let walls = heights.map(|h| self.outside_at(h) - self.bore_at(h));
        let of_flange = self.flange.map_or(f64::INFINITY, |f| {
            let rises = 0.5 * f.outside - self.outside_at(f.at);
            f.thickness.min(rises).min(f.at)
        });
        walls.into_iter().fold(of_flange, f64::min)
    }

    /// The straight pieces of a face.
    fn pieces(&self, face: Face) -> Vec<Piece> {
        let length = self.length;
        let ring = |h: f64, radii| Piece { heights: [h, h], radii };
        match face {
            Face::Bore => run(&self.bore, length, [0.0, length]),
            Face::Far => {
                let at_far = self.flange.filter(|f| f.is_at_far_face(length));
                let rim = at_far.map_or(self.outside_at(length), |f| 0.5 * f.outside);
                vec![ring(length, [self.bore_at(length), rim])]
            }
            Face::Outside => {
                let Some(Flange { outside, thickness, at }) = self.flange else {
                    return run(&self.outside, length, [0.0, length]);
                };
                let at_far = self.flange.is_some_and(|f| f.is_at_far_face(length));
                let (rim, end) = (0.5 * outside, if at_far { length } else { at + thickness });
                let mut all = run(&self.outside, length, [0.0, at]);
                all.push(ring(at, [self.outside_at(at), rim]));
                all.push(Piece { heights: [at, end], radii: [rim, rim] });
                if !at_far {
                    all.push(ring(end, [self.outside_at(end), rim]));
                    all.extend(run(&self.outside, length, [end, length]));
                }
                all
            }
        }
    }

    /// Height of `p` over the near face.
    pub(crate) fn height(&self, p: DVec3) -> f64 {
        (p - self.at).dot(self.along)
    }

    /// Least and greatest height of a triangle; exact, for height is linear.
    pub(crate) fn heights(&self, corners: [DVec3; 3]) -> [f64; 2] {
        let h = corners.map(|p| self.height(p));
        [h[0].min(h[1]).min(h[2]), h[0].max(h[1]).max(h[2])]
    }

    /// The part of a place that is square to the axis.
    fn across(&self, p: DVec3) -> DVec3 {
        let d = p - self.at;
        d - self.along * d.dot(self.along)
    }

    /// Least and greatest distance of a triangle from the axis. The distance
    /// is convex, so it is greatest at a corner; it is least where the triangle,
    /// seen along the axis, is nearest the origin.
    pub(crate) fn radii(&self, corners: [DVec3; 3]) -> [f64; 2] {
        let flat = corners.map(|p| self.across(p));
        let greatest = flat.iter().map(|p| p.length()).fold(0.0, f64::max);
        let side = |k: usize| flat[k].cross(flat[(k + 1) % 3]).dot(self.along);
        let (a, b, c) = (side(0), side(1), side(2));
        if (a > 0.0 && b > 0.0 && c > 0.0) || (a < 0.0 && b < 0.0 && c < 0.0) {
            return [0.0, greatest];
        }
        let least = (0..3)
            .map(|k| closest_on_segment(DVec3::ZERO, flat[k], flat[(k + 1) % 3]).length())
            .fold(f64::INFINITY, f64::min);
        [least, greatest]
    }

    /// The greatest distance of any place of the triangle from this face of the
    /// exact surface, and never less.
    pub(crate) fn miss(&self, corners: [DVec3; 3], face: Face) -> f64 {
        let pieces = self.pieces(face).into_iter();
        pieces.map(|piece| self.miss_of(corners, piece)).fold(f64::INFINITY, f64::min)
    }

    /// The distance of a place from this face of the exact surface.
    pub(crate) fn distance(&self, p: DVec3, face: Face) -> f64 {
        let p = DVec3::new(self.across(p).length(), self.height(p), 0.0);
        let to = |piece: Piece| {
            let [a, b] = [0, 1].map(|k| DVec3::new(piece.radii[k], piece.heights[k], 0.0));
            closest_on_segment(p, a, b).distance(p)
        };
        self.pieces(face).into_iter().map(to).fold(f64::INFINITY, f64::min)
    }

    /// The greatest distance of any place of the triangle from one piece, from
    /// above.
    ///
    /// Miss along the axis and miss along the radius are added as the legs of a
    /// right angle. Along a taper the radius that a place misses is that of the
    /// piece at its own height, and where that height lies beyond the piece, the
    /// radius at the piece's end; the two differ by the taper over the overshoot.
    fn miss_of(&self, corners: [DVec3; 3], piece: Piece) -> f64 {
        let ([h0, h1], [r0, r1]) = (self.heights(corners), self.radii(corners));
        let ([from, to], [ra, rb]) = (piece.heights, piece.radii);
        if from == to {
            let across = (ra - r0).max(r1 - rb).max(0.0);
            return (h1 - to).max(from - h0).hypot(across);
        }
        let along = (from - h0).max(h1 - to).max(0.0);
        let slope = (rb - ra) / (to - from);
        let at = |h: f64| ra + slope * (h - from);
        // How far a corner lies outside the piece's cone; convex, so greatest at
        // a corner.
        let beyond = |p: DVec3| self.across(p).length() - at(self.height(p));
        let most = corners.into_iter().map(beyond).fold(f64::NEG_INFINITY, f64::max);
        let least = self.least_beyond(corners, slope) - (ra - slope * from);
        along.hypot(most.max(-least) + slope.abs() * along)
    }

    /// Never more than the least of `radius - slope * height` over the triangle.
    ///
    /// The radius is at least the component in any direction square to the axis,
    /// which is linear and so least at a corner; in the direction of the
    /// triangle's own normal that is exact on a flat facet of a cone. The least
    /// radius less the most that the slope takes away is a bound, too.
    fn least_beyond(&self, corners: [DVec3; 3], slope: f64) -> f64 {
        let [a, b, c] = corners;
        let normal = (b - a).cross(c - a);
        let normal = normal - self.along * normal.dot(self.along);
        let middle = self.across((a + b + c) / 3.0);
        let directions = [normal, -normal, middle].map(DVec3::normalize_or_zero);
        let least_in = |u: DVec3| {
            let at = |p: DVec3| self.across(p).dot(u) - slope * self.height(p);
            corners.into_iter().map(at).fold(f64::INFINITY, f64::min)
        };
        let by_direction = directions.into_iter().map(least_in).fold(f64::NEG_INFINITY, f64::max);
        let taken = self.heights(corners).map(|h| slope * h);
        by_direction.max(self.radii(corners)[0] - taken[0].max(taken[1]))
    }
}

/// The pieces of a side between two heights.
fn run(side: &SideRun, length: f64, [from, to]: [f64; 2]) -> Vec<Piece> {
    let split = side.near != side.far && from < side.begin && side.begin < to;
    let heights = if split { vec![from, side.begin, to] } else { vec![from, to] };
    let piece = |pair: &[f64]| {
        let heights = [pair[0], pair[1]];
        Piece { heights, radii: heights.map(|h| side.at(h, length)) }
    };
    heights.windows(2).map(piece).collect()
}
