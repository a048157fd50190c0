//! A known joint: a loop swept from a straight duct to a round tube.
//!
//! In the scene's own frame the duct runs along z and is cut at z = 0. The
//! sweep's centre is the cubic Hermite curve from the cut to the tube, both
//! tangents as long as their distance; the section's squared radius blends with
//! a smooth step, so that its area, half the integral of the squared radius
//! over the angle, is monotone between its two ends. Source: ours.

use std::f64::consts::TAU;

use crate::space::{Point, cross, dot, length, plus, unit};

/// A closed curve round a centre: radius over the angle.
#[derive(Clone)]
pub struct Loop {
    /// Mean radius.
    pub radius: f64,
    /// Waves round the loop, each with its share of the radius and its phase.
    pub waves: Vec<(f64, f64, f64)>,
    /// Added thickness, and how much it varies once round, with its phase.
    pub wall: (f64, f64, f64),
}

impl Loop {
    pub fn bore(&self, angle: f64) -> f64 {
        let wave = |&(n, share, phase): &(f64, f64, f64)| share * (n * (angle - phase)).cos();
        self.radius * (1.0 + self.waves.iter().map(wave).sum::<f64>())
    }

    pub fn outside(&self, angle: f64) -> f64 {
        let (thick, share, phase) = self.wall;
        self.bore(angle) + thick * (1.0 + share * (angle - phase).cos())
    }
}

/// One section of the sweep.
pub struct Section {
    pub centre: Point,
    pub along: Point,
    pub across: Point,
    /// Radius in which the centre's curve bends here.
    pub bend: f64,
    /// How much of the tube's circle has come in, 0 to 1.
    pub share: f64,
}

impl Section {
    pub fn at(&self, angle: f64, from: f64, to: f64) -> Point {
        let radius = ((1.0 - self.share) * from * from + self.share * to * to).sqrt();
        let side = cross(self.along, self.across);
        plus(plus(self.centre, self.across, radius * angle.cos()), side, radius * angle.sin())
    }
}

/// The sections from the cut at the origin to a tube at `at` along `along`.
pub fn sections(at: Point, along: Point, count: usize) -> Vec<Section> {
    let far = length(at);
    let from = [0.0, 0.0, far];
    let to = plus([0.0; 3], along, far);
    let mut across = [1.0, 0.0, 0.0];
    let mut out = Vec::with_capacity(count + 1);
    for i in 0..=count {
        let u = i as f64 / count as f64;
        let sum = |a: f64, b: f64, c: f64| plus(plus(plus([0.0; 3], from, a), at, b), to, c);
        let centre = sum(u * (1.0 - u) * (1.0 - u), u * u * (3.0 - 2.0 * u), u * u * (u - 1.0));
        let first = sum(1.0 - 4.0 * u + 3.0 * u * u, 6.0 * u * (1.0 - u), 3.0 * u * u - 2.0 * u);
        let second = sum(6.0 * u - 4.0, 6.0 - 12.0 * u, 6.0 * u - 2.0);
        let along = unit(first);
        let turning = length(cross(first, second)) / length(first).powi(3);
        // The nearest direction that is square to the curve: at so many
        // sections its twist is below what the limits can see.
        across = unit(plus(across, along, -dot(across, along)));
        let share = u * u * (3.0 - 2.0 * u);
        out.push(Section { centre, along, across, bend: 1.0 / turning.max(1e-12), share });
    }
    out
}

/// What the known joint attains, from dense samples.
pub struct Attained {
    /// Least distance between its two walls.
    pub wall: f64,
    /// Largest share of area lost at a station, over tilts up to 20 degrees.
    pub loss: f64,
    /// Least radius of a section.
    pub inscribed: f64,
}

/// Measures the known joint from this rim to a tube of these radii.
///
/// `None` where the sweep folds: where it bends within 1.3 times the widest
/// outside, or comes back under the cut.
pub fn attained(rim: &Loop, tube: (f64, f64), swept: &[Section]) -> Option<Attained> {
    const ROUND: usize = 72;
    let angles: Vec<f64> = (0..ROUND).map(|i| TAU * i as f64 / ROUND as f64).collect();
    let widest = angles.iter().map(|&a| rim.outside(a)).fold(tube.1, f64::max);
    if swept.iter().any(|s| s.bend < 1.3 * widest) {
        return None;
    }
    let ring = |side: fn(&Loop, f64) -> f64, to: f64| -> Vec<Vec<Point>> {
        let one = |s: &Section| angles.iter().map(|&a| s.at(a, side(rim, a), to)).collect();
        swept.iter().map(one).collect()
    };
    let (bore, outside) = (ring(Loop::bore, tube.0), ring(Loop::outside, tube.1));
    if outside.iter().skip(1).flatten().any(|p| p[2] < 0.0) {
        return None;
    }
    let mut wall = f64::INFINITY;
    for &p in bore.iter().flatten() {
        for &q in outside.iter().flatten() {
            wall = wall.min(length(plus(p, q, -1.0)));
        }
    }
    let area = |r: &dyn Fn(f64) -> f64| {
        angles.iter().map(|&a| r(a) * r(a)).sum::<f64>() * TAU / ROUND as f64 / 2.0
    };
    let lesser = area(&|a| rim.bore(a)).min(area(&|_| tube.0));
    let mut loss = 0.0_f64;
    for s in swept {
        for (tilt, turn) in tilts() {
            let side = cross(s.along, s.across);
            let lean = plus(plus([0.0; 3], s.across, f64::cos(turn)), side, f64::sin(turn));
            let normal = plus(plus([0.0; 3], s.along, tilt.cos()), lean, tilt.sin());
            if let Some(cut) = section_area(&bore, s.centre, normal) {
                loss = loss.max(1.0 - cut / lesser);
            }
        }
    }
    let least = |s: &Section| {
        let radius =
            |&a: &f64| ((1.0 - s.share) * rim.bore(a).powi(2) + s.share * tube.0.powi(2)).sqrt();
        angles.iter().map(radius).fold(f64::INFINITY, f64::min)
    };
    let inscribed = swept.iter().map(least).fold(f64::INFINITY, f64::min);
    Some(Attained { wall, loss, inscribed })
}

fn tilts() -> impl Iterator<Item = (f64, f64)> {
    let ring = |tilt: f64| (0..12).map(move |i| (tilt.to_radians(), TAU * f64::from(i) / 12.0));
    std::iter::once((0.0, 0.0)).chain([5.0, 10.0, 15.0, 20.0].into_iter().flat_map(ring))
}

/// The area in which a plane cuts the swept rows; `None` where it runs out at
/// an end and so does not close.
fn section_area(rows: &[Vec<Point>], through: Point, normal: Point) -> Option<f64> {
    let height = |p: Point| dot(plus(p, through, -1.0), normal);
    let closes = |row: &Vec<Point>, below: bool| row.iter().all(|&p| (height(p) < 0.0) == below);
    let (first, last) = (rows.first()?, rows.last()?);
    if !closes(first, true) || !closes(last, false) {
        return None;
    }
    let mut sum = 0.0;
    for pair in rows.windows(2) {
        for i in 0..pair[0].len() {
            let j = (i + 1) % pair[0].len();
            let (a, b, c, d) = (pair[0][i], pair[0][j], pair[1][j], pair[1][i]);
            for corners in [[a, b, c], [a, c, d]] {
                sum += crossing(corners, &height).map_or(0.0, |(p, q)| {
                    let (p, q) = (plus(p, through, -1.0), plus(q, through, -1.0));
                    dot(cross(p, q), normal) / 2.0
                });
            }
        }
    }
    Some(sum.abs())
}

/// The directed segment in which the zero height crosses a triangle.
fn crossing(corners: [Point; 3], height: &dyn Fn(Point) -> f64) -> Option<(Point, Point)> {
    let (mut rise, mut fall) = (None, None);
    for i in 0..3 {
        let (p, q) = (corners[i], corners[(i + 1) % 3]);
        let (h, k) = (height(p), height(q));
        if (h < 0.0) != (k < 0.0) {
            let point = plus(p, plus(q, p, -1.0), h / (h - k));
            *(if h < 0.0 { &mut rise } else { &mut fall }) = Some(point);
        }
    }
    rise.zip(fall)
}
