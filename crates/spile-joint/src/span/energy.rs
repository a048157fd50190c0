//! The radii of one side of the joint and the energy they minimise.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use spile_case::JointShape;
use spile_mesh::DVec3;

use crate::least_squares::{Factored, LeastSquares, Line, SolveError, solve_dense};

use super::led::{Led, turned};
use super::straight::{AtSeam, straight_radii};
use super::way::{Frame, Way};
use super::{Grid, SeamLoop, area_true_radius};

/// Weight of a held radius beside second differences of radii from cell to
/// cell: strong enough to be met within a thousandth of what it bends.
const HOLD: f64 = 100.0;

/// Radii on a grid of rows along the way and columns round it.
///
/// Invariants:
/// 1. row 0 is the seam's own points; the last row is the fitting's polygon;
/// 2. angles grow from column to column in each row.
pub struct Radii {
    frames: Vec<Frame>,
    /// Angle of each column in each row, radians.
    angles: Vec<Vec<f64>>,
    seam: Vec<DVec3>,
    /// Radius and its derivative by row number at the seam, the latter beyond
    /// that of `straight`.
    start: Vec<(f64, f64)>,
    end: f64,
    /// The derivative at the fitting, beyond that of `straight`.
    finish: Vec<f64>,
    /// Radii, cell by cell, whose bends cost nothing; empty for none.
    straight: Vec<f64>,
    /// Length of a row's step and of a column's step.
    steps: (f64, f64),
    /// How far each row is from the next at each column, in row's steps.
    gaps: Vec<Vec<f64>>,
}

/// Rows are not taken to be nearer to each other than this share of a row's
/// step: the inside of a sharp bend would be stiff beyond reason.
const LEAST_GAP: f64 = 0.2;

impl Radii {
    /// Sets up the grid; `edge` is the length wanted between rows.
    pub fn new(way: &Way, seam: &SeamLoop, radius: f64, edge: f64, led: &Led<'_>) -> Self {
        let columns = seam.points.len();
        let rows = ((way.length() / edge).ceil() as usize).clamp(6, 400) + 1;
        let frames = way.frames(rows);
        let seam_angles = unwrapped(&frames[0], &seam.points);
        // The polygon's turn that lies nearest the seam's own angles.
        let even = TAU / columns as f64;
        let phase = seam_angles.iter().enumerate().map(|(j, a)| a - even * j as f64).sum::<f64>()
            / columns as f64;
        let offsets = turned(led.pins, &seam.points, &frames[rows - 1], phase);
        let angles: Vec<Vec<f64>> = (0..rows)
            .map(|i| {
                let s = i as f64 / (rows - 1) as f64;
                let blend = s * s * (3.0 - 2.0 * s);
                (0..columns)
                    .map(|j| {
                        let to = phase + even * j as f64 + offsets[j];
                        seam_angles[j] + blend * (to - seam_angles[j])
                    })
                    .collect()
            })
            .collect();
        let start: Vec<(f64, f64)> = (0..columns)
            .map(|j| start_of(way, &frames, seam.points[j], seam.normals[j], seam_angles[j]))
            .collect();
        // What rounding the corners to f32 takes at most is added, or the polygon
        // would come out smaller than its circle far from the origin.
        let spacing = way.end.abs().max_element() * f64::from(f32::EPSILON);
        let end = spacing
            + match led.pins.len() {
                // One turns the polygon as a whole.
                0 | 1 => area_true_radius(radius, columns),
                _ => area_true_corner(radius, &angles[rows - 1]),
            };
        let steps = (way.length() / (rows - 1) as f64, even * radius);
        let gaps = gaps(&frames, &angles, &start, end, steps.0);
        let (straight, finish) = (Vec::new(), vec![0.0; columns]);
        let seam_points = seam.points.clone();
        let mut radii =
            Self { frames, angles, seam: seam_points, start, end, finish, straight, steps, gaps };
        if led.shape == JointShape::Shortest {
            radii.run_straight(way, seam, led.kink_deg);
        }
        radii
    }

    /// Lets bends count from straight lines between seam and fitting, and the slopes
    /// at both turn toward those as far as the angle asked there lets them.
    fn run_straight(&mut self, way: &Way, seam: &SeamLoop, kink_deg: Option<f64>) {
        let (last, columns) = (self.rows() - 1, self.start.len());
        let face: Vec<DVec3> = (0..columns)
            .map(|j| {
                let (centre, out) = self.ray(last, j);
                centre + out * self.end
            })
            .collect();
        let straight = straight_radii(&self.frames, &self.angles, &seam.points, &face);
        let steps = last as f64;
        let round = |points: &[DVec3], j: usize| {
            let (before, after) = ((j + columns - 1) % columns, (j + 1) % columns);
            (points[after] - points[before]).normalize_or_zero()
        };
        for j in 0..columns {
            let wanted = straight[columns + j] - straight[j];
            let (radius, tangent) = self.start[j];
            let out = self.ray(0, j).1;
            let moves = drift(way, 0.0, out, radius) / steps;
            let normal = seam.normals[j];
            let at = AtSeam { normal, edge: round(&seam.points, j), drift: moves, out };
            self.start[j].1 = at.slope(tangent, wanted, kink_deg) - wanted;
            let wanted = straight[last * columns + j] - straight[(last - 1) * columns + j];
            let out = self.ray(last, j).1;
            let moves = drift(way, 1.0, out, self.end) / steps;
            let at = AtSeam { normal: out, edge: round(&face, j), drift: moves, out };
            self.finish[j] = at.slope(0.0, wanted, kink_deg) - wanted;
        }
        self.straight = straight;
    }

    /// What a cell's radius may be at no cost.
    fn straight(&self, cell: usize) -> f64 {
        self.straight.get(cell).copied().unwrap_or(0.0)
    }

    /// Number of rows, both seams included.
    pub fn rows(&self) -> usize {
        self.frames.len()
    }

    /// Where the radii of a row start, and the direction of one of them.
    pub fn ray(&self, row: usize, column: usize) -> (DVec3, DVec3) {
        let frame = &self.frames[row];
        (frame.centre, frame.radial(self.angles[row][column]))
    }

    /// The largest radius at either end.
    pub fn widest(&self) -> f64 {
        self.start.iter().map(|s| s.0).fold(self.end, f64::max)
    }

    /// The mean radius of a row, by angle.
    pub fn mean(&self, radii: &[f64], row: usize) -> f64 {
        let columns = self.start.len();
        self.shares(row).zip(&radii[row * columns..]).map(|(share, r)| share * r).sum()
    }

    /// The share of a whole turn that each point of a row stands for.
    fn shares(&self, row: usize) -> impl Iterator<Item = f64> + '_ {
        let angles = &self.angles[row];
        let n = angles.len();
        (0..n).map(move |j| {
            let before = if j == 0 { angles[n - 1] - TAU } else { angles[j - 1] };
            let after = if j + 1 == n { angles[0] + TAU } else { angles[j + 1] };
            (after - before) / (2.0 * TAU)
        })
    }

    /// The radii that minimise the thin-plate energy; the cells of `held` (number
    /// and radius) are drawn to what is given, strongly.
    pub fn solve(&self, held: &[(usize, f64)]) -> Result<Vec<f64>, SolveError> {
        let (rows, columns) = (self.rows(), self.start.len());
        let mut system = self.plate();
        for &(cell, radius) in held {
            if (columns..(rows - 1) * columns).contains(&cell) {
                let line =
                    Line { terms: vec![(cell - columns, 1.0)], rest: self.straight(cell) - radius };
                system.add(&line, HOLD);
            }
        }
        Ok(self.with_ends(system.solve()?))
    }

    /// The inner rows' radii with those of both ends, which are given.
    fn with_ends(&self, inner: Vec<f64>) -> Vec<f64> {
        let mut radii: Vec<f64> = self.start.iter().map(|s| s.0).collect();
        let columns = self.start.len();
        radii.extend(inner.iter().enumerate().map(|(k, r)| r + self.straight(columns + k)));
        radii.extend(std::iter::repeat_n(self.end, self.start.len()));
        radii
    }

    /// The thin-plate energy of the inner rows' radii, row by row.
    ///
    /// Differences along the way are taken over the true distances of the rows,
    /// so that the inside of a bend, where rows are close, is as stiff as it is.
    fn plate(&self) -> LeastSquares {
        let mut system = LeastSquares::new((self.rows() - 2) * self.start.len());
        self.for_each_bend(&mut |line, weight| system.add(line, weight));
        system
    }

    /// The energy of radii as [`Radii::solve`] gives them: the integral of the
    /// squared second derivatives over the side, which has no unit.
    pub fn energy(&self, radii: &[f64]) -> f64 {
        let columns = self.start.len();
        let inner = &radii[columns..radii.len() - columns];
        let mut sum = 0.0;
        self.for_each_bend(&mut |line, weight| {
            let bends =
                line.terms.iter().map(|&(a, x)| x * (inner[a] - self.straight(columns + a)));
            let bend = bends.sum::<f64>() + line.rest;
            sum += weight * bend * bend;
        });
        sum * self.steps.1 / self.steps.0.powi(3)
    }

    /// The radii of a grid of this many rows and columns whose points are near
    /// the rays of this one: how far they are out along them.
    pub fn read(&self, grid: &Grid) -> Vec<f64> {
        let mut radii: Vec<f64> = self.start.iter().map(|s| s.0).collect();
        for (i, row) in grid.rows.iter().enumerate().take(self.rows() - 1).skip(1) {
            let out = |(j, p): (usize, &DVec3)| {
                let (from, out) = self.ray(i, j);
                (*p - from).dot(out)
            };
            radii.extend(row.iter().enumerate().map(out));
        }
        radii.extend(std::iter::repeat_n(self.end, self.start.len()));
        radii
    }

    /// Each second difference that the energy squares, and its weight.
    fn for_each_bend(&self, each: &mut dyn FnMut(&Line, f64)) {
        let (rows, columns) = (self.rows(), self.start.len());
        let fixed = |i: usize, j: usize| {
            (if i == 0 { self.start[j].0 } else { self.end }) - self.straight(i * columns + j)
        };
        let term = |i: usize, j: usize, weight: f64, line: &mut Line| {
            if i == 0 || i == rows - 1 {
                line.rest += weight * fixed(i, j);
            } else {
                line.terms.push(((i - 1) * columns + j, weight));
            }
        };
        let ratio = self.steps.0 / self.steps.1;
        for i in 0..rows {
            for j in 0..columns {
                let k = (j + 1) % columns;
                let before = (j + columns - 1) % columns;
                // Second difference along the way; at the seams it is taken
                // with the slope that is given there.
                let mut line = Line::default();
                if i == 0 || i == rows - 1 {
                    let (next, gap) =
                        if i == 0 { (1, self.gaps[0][j]) } else { (i - 1, self.gaps[i - 1][j]) };
                    let weight = 2.0 / (gap * gap);
                    term(next, j, weight, &mut line);
                    term(i, j, -weight, &mut line);
                    if i == 0 {
                        line.rest -= weight * self.start[j].1;
                    } else {
                        line.rest += weight * self.finish[j];
                    }
                    // Half a step of way belongs to an end.
                    each(&line, 0.5 * gap);
                    continue;
                }
                let (behind, ahead) = (self.gaps[i - 1][j], self.gaps[i][j]);
                let both = 0.5 * (behind + ahead);
                term(i - 1, j, 1.0 / (behind * both), &mut line);
                term(i, j, -(1.0 / behind + 1.0 / ahead) / both, &mut line);
                term(i + 1, j, 1.0 / (ahead * both), &mut line);
                each(&line, both);
                let mut round = Line::default();
                term(i, before, ratio * ratio, &mut round);
                term(i, j, -2.0 * ratio * ratio, &mut round);
                term(i, k, ratio * ratio, &mut round);
                each(&round, both);
                let mut twist = Line::default();
                term(i, j, ratio, &mut twist);
                term(i, k, -ratio, &mut twist);
                term(i + 1, j, -ratio, &mut twist);
                term(i + 1, k, ratio, &mut twist);
                each(&twist, 2.0 / ahead);
            }
        }
    }

    /// The points of these radii.
    pub fn grid(&self, radii: &[f64]) -> Grid {
        let columns = self.start.len();
        let mut rows: Vec<Vec<DVec3>> = Vec::with_capacity(self.rows());
        rows.push(self.seam.clone());
        for i in 1..self.rows() {
            let frame = &self.frames[i];
            rows.push(
                (0..columns)
                    .map(|j| {
                        frame.centre + frame.radial(self.angles[i][j]) * radii[i * columns + j]
                    })
                    .collect(),
            );
        }
        Grid { rows }
    }
}

/// The radii of one side with the mean radii of some rows given, solved many
/// times with other rows and means.
///
/// The energy's matrix is factored once. A row's mean adds one dense line to
/// it, so that the solution follows from what such a line does to the plate
/// alone and a small system with one unknown for each row: the identity of
/// Woodbury (1950, "Inverting modified matrices").
pub struct WithMeans<'a> {
    radii: &'a Radii,
    factor: Factored,
    /// The inner radii that minimise the energy with no mean given.
    plain: Vec<f64>,
    /// What a unit pull on a row's mean does to the inner radii, by row.
    pulls: BTreeMap<usize, Vec<f64>>,
}

impl<'a> WithMeans<'a> {
    /// Factors the energy of `radii`.
    pub fn new(radii: &'a Radii) -> Result<Self, SolveError> {
        let system = radii.plate();
        let factor = system.factor()?;
        let plain = factor.solve(system.right());
        Ok(Self { radii, factor, plain, pulls: BTreeMap::new() })
    }

    /// The radii with the rows of `means` (number and mean radius) drawn to what
    /// is given, strongly.
    pub fn solve(&mut self, means: &[(usize, f64)]) -> Result<Vec<f64>, SolveError> {
        let (rows, columns) = (self.radii.rows(), self.radii.start.len());
        let means: Vec<(usize, f64)> =
            means.iter().copied().filter(|(row, _)| (1..rows - 1).contains(row)).collect();
        for &(row, _) in &means {
            self.pulls.entry(row).or_insert_with(|| {
                let mut right = vec![0.0; self.plain.len()];
                let first = (row - 1) * columns;
                for (j, share) in self.radii.shares(row).enumerate() {
                    right[first + j] = share;
                }
                self.factor.solve(&right)
            });
        }
        let mean = |inner: &[f64], row: usize| -> f64 {
            let inner = &inner[(row - 1) * columns..];
            self.radii.shares(row).zip(inner).map(|(share, r)| share * r).sum()
        };
        let at_no_cost = |row: usize| {
            let shares = self.radii.shares(row).enumerate();
            shares.map(|(j, share)| share * self.radii.straight(row * columns + j)).sum::<f64>()
        };
        let give = 1.0 / (HOLD * columns as f64);
        let matrix: Vec<Vec<f64>> = means
            .iter()
            .map(|&(a, _)| {
                let own = |b: usize| if a == b { give } else { 0.0 };
                means.iter().map(|&(b, _)| mean(&self.pulls[&b], a) + own(b)).collect()
            })
            .collect();
        let right: Vec<f64> = means
            .iter()
            .map(|&(row, wanted)| wanted - at_no_cost(row) - mean(&self.plain, row))
            .collect();
        let mut inner = self.plain.clone();
        if !means.is_empty() {
            for (&(row, _), by) in means.iter().zip(solve_dense(&matrix, &right)?) {
                for (r, pull) in inner.iter_mut().zip(&self.pulls[&row]) {
                    *r += by * pull;
                }
            }
        }
        Ok(self.radii.with_ends(inner))
    }
}

/// How far each row is from the next at each column, over `step`: along the
/// first row's normal, at radii between those of both ends.
fn gaps(
    frames: &[Frame],
    angles: &[Vec<f64>],
    start: &[(f64, f64)],
    end: f64,
    step: f64,
) -> Vec<Vec<f64>> {
    let last = (frames.len() - 1) as f64;
    let at = |i: usize, j: usize| {
        let s = i as f64 / last;
        let radius = start[j].0 * (1.0 - s) + end * s;
        frames[i].centre + frames[i].radial(angles[i][j]) * radius
    };
    let gap = |i: usize, j: usize| {
        let normal = frames[i].across.cross(frames[i].up);
        ((at(i + 1, j) - at(i, j)).dot(normal) / step).max(LEAST_GAP)
    };
    (0..frames.len() - 1).map(|i| (0..start.len()).map(|j| gap(i, j)).collect()).collect()
}

/// Angles of the points in the frame, each less than half a turn from the one before.
fn unwrapped(frame: &Frame, points: &[DVec3]) -> Vec<f64> {
    let mut angles: Vec<f64> = Vec::with_capacity(points.len());
    for p in points {
        let d = *p - frame.centre;
        let mut a = d.dot(frame.up).atan2(d.dot(frame.across));
        if let Some(&last) = angles.last() {
            a += TAU * ((last - a) / TAU).round();
        }
        angles.push(a);
    }
    angles
}

/// Radius at the seam and its change a row, so that the surface leaves along
/// the plane square to `normal`.
fn start_of(way: &Way, frames: &[Frame], p: DVec3, normal: DVec3, angle: f64) -> (f64, f64) {
    let radius = (p - frames[0].centre).length();
    let steps = (frames.len() - 1) as f64;
    let out = frames[0].radial(angle);
    let drift = drift(way, 0.0, out, radius);
    let across = normal.dot(out);
    // Where the surface is nearly square to the radius no slope makes it
    // tangent; the steepest that still makes sense is two to one.
    let most = 2.0 * way.length();
    let slope = if across.abs() < 1e-9 { 0.0 } else { -normal.dot(drift) / across };
    (radius, slope.clamp(-most, most) / steps)
}

/// How a point this far out in the direction `out` moves along the way at its start
/// or end while its radius stays.
fn drift(way: &Way, s: f64, out: DVec3, radius: f64) -> DVec3 {
    // How the radial direction itself turns, from a step far below a row's.
    const SMALL: f64 = 1e-4;
    let step = if s < 0.5 { SMALL } else { -SMALL };
    let n = way.row_normal(s + step);
    let turned = (out - n * out.dot(n)).normalize_or(out);
    way.derivative(s) + (turned - out) / step * radius
}

/// The corner radius of a polygon with corners at these angles and the area of the
/// circle of radius `r`.
///
/// # Source
/// Its area is half of R^2 times the sum of the sines of the turns.
fn area_true_corner(r: f64, angles: &[f64]) -> f64 {
    let n = angles.len();
    let turn =
        |j: usize| if j + 1 == n { angles[0] + TAU - angles[j] } else { angles[j + 1] - angles[j] };
    let sines: f64 = (0..n).map(|j| turn(j).sin()).sum();
    // Wider by as much as `area_true_radius` is.
    r * (TAU / sines).sqrt() * (1.0 + 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_with_given_means_are_those_of_the_whole_system() {
        let way = Way {
            start: DVec3::ZERO,
            facing: DVec3::Z,
            seam_normal: DVec3::Z,
            end: DVec3::new(1.0, 0.5, 9.0),
            along: DVec3::new(0.2, 0.0, 1.0).normalize(),
            even: 0.0,
        };
        let ring = |k: u32| {
            let a = f64::from(k) * TAU / 24.0;
            let out = DVec3::new(a.cos(), a.sin(), 0.0);
            (out * (5.0 + (2.0 * a).cos()), out)
        };
        let (points, normals) = (0..24).map(ring).unzip();
        let radii = Radii::new(&way, &SeamLoop { points, normals }, 6.0, 0.9, &Led::FREELY);
        let means = [(2, 5.6), (3, 5.8), (6, 6.4)];
        let mut system = radii.plate();
        for (row, mean) in means {
            let terms = radii.shares(row).enumerate();
            let terms = terms.map(|(j, share)| ((row - 1) * 24 + j, share)).collect();
            system.add(&Line { terms, rest: -mean }, HOLD * 24.0);
        }
        let whole = radii.with_ends(system.solve().unwrap());
        let mut shapes = WithMeans::new(&radii).unwrap();
        let plain = shapes.solve(&[]).unwrap();
        let quick = shapes.solve(&means).unwrap();
        let apart =
            |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| (x - y).abs()).fold(0.0, f64::max);
        assert!(apart(&whole, &quick) < 1e-9, "{}", apart(&whole, &quick));
        assert!(apart(&plain, &quick) > 0.1);
        // A mean is met up to a small share of what it bends.
        let lack = |shape: &[f64]| (radii.mean(shape, 6) - 6.4).abs();
        assert!(lack(&quick) < 0.01 * lack(&plain), "{} {}", lack(&quick), lack(&plain));
    }
}
