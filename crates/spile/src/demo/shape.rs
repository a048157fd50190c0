//! The phantom's shape as a formula, in millimetres.
//!
//! A bent tube of oval bore with a wall of nearly even thickness, and a blind
//! side branch. For each wall there is a field: negative on the bore's side of
//! it, positive beyond it, about as large as the distance to it. The outside's
//! field is everywhere smaller than the bore's by more than 1.6, so the two
//! surfaces cannot meet.

use std::f64::consts::TAU;

use spile_mesh::DVec3;

use super::noise;

/// Control points of the centreline, a cubic Bezier curve, from the lower end.
const CONTROL: [DVec3; 4] = [
    DVec3::new(4.0, -6.0, 20.0),
    DVec3::new(6.0, -12.0, 44.0),
    DVec3::new(-2.0, 1.0, 68.0),
    DVec3::new(7.0, 5.0, 93.0),
];
/// The branch leaves the centreline at this parameter.
const BRANCH_AT: f64 = 0.40;
/// From there it runs by this much to the middle of its round blind tip.
const BRANCH: DVec3 = DVec3::new(-19.0, 9.0, 12.0);
/// Outside radius of the branch at its root and at its tip.
const BRANCH_RADII: [f64; 2] = [5.8, 4.8];
/// Wall of the branch.
const BRANCH_WALL: f64 = 1.9;
/// Size of the fillet between tube and branch.
const FILLET: f64 = 4.0;
/// Noise that changes from point to point, and noise that is smooth over 5 mm.
const WHITE: f64 = 0.015;
const SMOOTH: f64 = 0.03;

/// One of the two surfaces of the wall.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wall {
    /// The flow side.
    Bore,
    /// The other side.
    Outside,
}

/// An end of the centreline.
#[derive(Debug, Clone, Copy)]
pub struct LineEnd {
    /// Where the centreline ends.
    pub at: DVec3,
    /// Its unit tangent there, off the phantom.
    pub facing: DVec3,
}

/// A lone bump: one grid point of the scan is off by this much.
pub struct Bump {
    /// Centreline parameter, 0 at the lower end.
    pub t: f64,
    /// Angle about the centreline.
    pub turn_rad: f64,
    /// Height off the surface; negative is toward the bore's middle.
    pub height: f64,
    /// The surface it is on.
    pub wall: Wall,
}

/// The bumps of the invented scan.
pub const BUMPS: [Bump; 6] = [
    Bump { t: 0.86, turn_rad: 2.1, height: 0.30, wall: Wall::Outside },
    Bump { t: 0.72, turn_rad: 0.4, height: -0.45, wall: Wall::Outside },
    Bump { t: 0.66, turn_rad: 4.0, height: 0.50, wall: Wall::Bore },
    Bump { t: 0.55, turn_rad: 5.2, height: 0.45, wall: Wall::Outside },
    Bump { t: 0.30, turn_rad: 1.0, height: -0.50, wall: Wall::Bore },
    Bump { t: 0.18, turn_rad: 3.3, height: 0.40, wall: Wall::Outside },
];

/// The formula with what is worked out once.
pub struct Shape {
    /// Points of the centreline and its straight extensions, with parameters.
    samples: Vec<(f64, DVec3)>,
}

/// Where a point lies relative to the centreline.
struct Polar {
    t: f64,
    radius: f64,
    turn_rad: f64,
}

impl Shape {
    /// The phantom's shape.
    pub fn new() -> Self {
        let samples = (-20..=120).map(|i| f64::from(i) / 100.0).map(|t| (t, line(t))).collect();
        Self { samples }
    }

    /// The end that the demo joins to a tube.
    pub fn upper_end(&self) -> LineEnd {
        LineEnd { at: line(1.0), facing: tangent(1.0).normalize() }
    }

    /// The end that the demo finishes flat.
    pub fn lower_end(&self) -> LineEnd {
        LineEnd { at: line(0.0), facing: -tangent(0.0).normalize() }
    }

    /// The field of a wall without noise: zero on the wall.
    pub fn field(&self, wall: Wall, p: DVec3) -> f64 {
        let tube = self.tube(wall, p);
        let branch = branch(wall, p);
        // The two fields' minimum with its crease rounded (a quadratic blend).
        let blend = (FILLET - (tube - branch).abs()).max(0.0) / FILLET;
        tube.min(branch) - 0.25 * FILLET * blend * blend
    }

    /// The field with the scan's noise.
    pub fn noisy(&self, wall: Wall, p: DVec3, place: [i64; 3]) -> f64 {
        let seed = match wall {
            Wall::Bore => 11,
            Wall::Outside => 12,
        };
        self.field(wall, p)
            + WHITE * noise::white(seed, place)
            + SMOOTH * noise::smooth(seed + 10, p, 5.0)
    }

    /// The point of a wall of the tube at a centreline parameter and an angle.
    pub fn on_tube(&self, wall: Wall, t: f64, turn_rad: f64) -> DVec3 {
        let [u, v] = frame(t);
        line(t) + radius(wall, t, turn_rad) * (turn_rad.cos() * u + turn_rad.sin() * v)
    }

    /// How far a point lies beyond the wobbly rims; negative inside.
    pub fn beyond_rims(&self, wall: Wall, p: DVec3) -> f64 {
        let phase = match wall {
            Wall::Bore => 0.0,
            Wall::Outside => 0.9,
        };
        let rim = |end: LineEnd, t: f64, waves: [f64; 2]| {
            let [u, v] = frame(t);
            let d = p - end.at;
            let turn = d.dot(v).atan2(d.dot(u)) + phase;
            d.dot(end.facing) - waves[0] * (2.0 * turn + 0.4).sin() - waves[1] * (5.0 * turn).sin()
        };
        rim(self.upper_end(), 1.0, [1.1, 0.6]).max(rim(self.lower_end(), 0.0, [0.5, 0.4]))
    }

    fn tube(&self, wall: Wall, p: DVec3) -> f64 {
        let at = self.polar(p);
        at.radius - radius(wall, at.t, at.turn_rad)
    }

    fn polar(&self, p: DVec3) -> Polar {
        let nearest = self.samples.iter().map(|&(t, c)| (t, c.distance_squared(p)));
        let (mut t, _) = nearest.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, 0.0));
        // Newton's method on the squared distance; the samples are so close
        // that three steps reach rounding.
        for _ in 0..3 {
            let (d, first, second) = (line(t) - p, tangent(t), bend(t));
            let slope = first.length_squared() + d.dot(second);
            t -= (d.dot(first) / slope.max(1.0)).clamp(-0.02, 0.02);
        }
        let [u, v] = frame(t);
        let d = p - line(t);
        let (x, y) = (d.dot(u), d.dot(v));
        Polar { t, radius: x.hypot(y), turn_rad: y.atan2(x) }
    }
}

/// Radius of a wall of the tube: an oval bore, 15.2 x 14.4 below and 17.0 x 16.0
/// above, and a wall of 2 that varies by a quarter of a millimetre.
fn radius(wall: Wall, t: f64, turn_rad: f64) -> f64 {
    let (a, b) = (7.6 + 0.9 * t + 0.2 * (TAU * t).sin(), 7.2 + 0.8 * t);
    let bore = a * b / (b * turn_rad.cos()).hypot(a * turn_rad.sin());
    let thickness = 2.0 + 0.15 * (2.0 * turn_rad + 0.7).sin() + 0.1 * (7.0 * t + 1.0).sin();
    match wall {
        Wall::Bore => bore,
        Wall::Outside => bore + thickness,
    }
}

/// A round cone with round ends about the branch's line.
fn branch(wall: Wall, p: DVec3) -> f64 {
    let d = p - line(BRANCH_AT);
    let along = (d.dot(BRANCH) / BRANCH.length_squared()).clamp(0.0, 1.0);
    let outside = BRANCH_RADII[0] + along * (BRANCH_RADII[1] - BRANCH_RADII[0]);
    let distance = d.distance(along * BRANCH);
    match wall {
        Wall::Bore => distance - outside + BRANCH_WALL,
        Wall::Outside => distance - outside,
    }
}

/// The centreline: the curve for 0 to 1, its tangents beyond.
fn line(t: f64) -> DVec3 {
    let inside = t.clamp(0.0, 1.0);
    let (s, r) = (inside, 1.0 - inside);
    let [a, b, c, d] = CONTROL;
    let curve = r * r * r * a + 3.0 * r * r * s * b + 3.0 * r * s * s * c + s * s * s * d;
    curve + (t - inside) * tangent(inside)
}

/// First derivative of the centreline.
fn tangent(t: f64) -> DVec3 {
    let (s, r) = (t.clamp(0.0, 1.0), 1.0 - t.clamp(0.0, 1.0));
    let [a, b, c, d] = CONTROL;
    3.0 * (r * r * (b - a) + 2.0 * r * s * (c - b) + s * s * (d - c))
}

/// Second derivative of the centreline.
fn bend(t: f64) -> DVec3 {
    if !(0.0..=1.0).contains(&t) {
        return DVec3::ZERO;
    }
    let [a, b, c, d] = CONTROL;
    6.0 * ((1.0 - t) * (c - 2.0 * b + a) + t * (d - 2.0 * c + b))
}

/// Two unit directions square to the centreline and to each other.
fn frame(t: f64) -> [DVec3; 2] {
    let along = tangent(t).normalize();
    let u = (DVec3::X - DVec3::X.dot(along) * along).normalize();
    [u, along.cross(u)]
}
