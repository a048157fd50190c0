//! `span`: the joint's bore side and outside, between the scan's rims and the
//! fitting's circles.
//!
//! Both sides are written as radii over one line: rows of points in planes
//! that turn from the cut's plane to the fitting's face, on the Hermite curve
//! from the seam's centre to the fitting's. In this form a round tube is a
//! constant, so that smoothing does not pinch it, and the bore area of a row
//! follows from its radii alone. The radii minimise a thin-plate energy that
//! leaves along the scan's own tangent planes and arrives along the fitting's
//! axis; area and wall are then measured in true sections and true distances,
//! and the shape is raised where they fall short, smoothly, and solved again.

mod bending;
mod clear;
mod energy;
mod led;
mod measure;
mod straight;
mod way;

use std::collections::BTreeMap;

use rayon::prelude::*;
use spile_case::JointGuide;
use spile_mesh::{Bvh, DVec3, Mesh, Plane, StopAsked};

pub use bending::Bending;
pub use clear::KeepOut;
pub use led::{Led, stretch};
pub use measure::{LeastSection, least_within, section_area};
pub use way::Way;

use crate::least_squares::SolveError;
use energy::{Radii, WithMeans};
use measure::Station;

/// The scan's side of one seam.
#[derive(Debug, Clone)]
pub struct SeamLoop {
    /// The points, in order round the line, counter-clockwise seen against
    /// the direction off the scan.
    pub points: Vec<DVec3>,
    /// The surface's normal at each point, either sign.
    pub normals: Vec<DVec3>,
}

/// One side of the joint as a grid: `rows[0]` is the scan's seam and the last
/// row the fitting's polygon. All rows have as many points.
#[derive(Debug, Clone)]
pub struct Grid {
    /// The rows of points.
    pub rows: Vec<Vec<DVec3>>,
}

impl Grid {
    /// The points of all rows, one after the other.
    pub fn points(&self) -> Vec<DVec3> {
        self.rows.iter().flatten().copied().collect()
    }

    /// Triangles over [`Grid::points`], each quad split along its shorter
    /// diagonal; `outward` makes them face away from the line.
    pub fn triangles(&self, outward: bool) -> Vec<[u32; 3]> {
        let n = self.rows[0].len();
        let mut triangles = Vec::with_capacity(2 * n * self.rows.len());
        for i in 0..self.rows.len() - 1 {
            for j in 0..n {
                let k = (j + 1) % n;
                let id = |row: usize, column: usize| (row * n + column) as u32;
                let (a, b, c, d) = (id(i, j), id(i, k), id(i + 1, k), id(i + 1, j));
                let one = self.rows[i][j].distance_squared(self.rows[i + 1][k]);
                let other = self.rows[i][k].distance_squared(self.rows[i + 1][j]);
                // Seen from outside, rows run counter-clockwise about the way.
                let pair =
                    if one <= other { [[a, b, c], [a, c, d]] } else { [[a, b, d], [b, c, d]] };
                triangles.extend(pair.map(|t| if outward { t } else { [t[0], t[2], t[1]] }));
            }
        }
        triangles
    }

    /// The grid as triangles.
    pub fn mesh(&self, outward: bool) -> Mesh {
        Mesh::new(self.points(), self.triangles(outward)).unwrap_or_default()
    }
}

/// What the joint must hold, for the solver.
#[derive(Clone)]
pub struct SpanLimits<'a> {
    /// Least bore area that each section of the joint must have.
    pub area_min: f64,
    /// Share of it that may be lost.
    pub area_loss_share: f64,
    /// Least wall at a place in the joint.
    pub wall_min: &'a dyn Fn(DVec3) -> f64,
    /// The most of it at any place.
    pub wall_most: f64,
    /// By how much the wall is made thicker than asked at the places measured,
    /// so that what lies between them holds, too.
    pub wall_room: f64,
    /// What the outside keeps out of.
    pub clear: KeepOut<'a>,
    /// Length of the edges to make.
    pub edge: f64,
    /// How the joint is led beyond its limits.
    pub led: Led<'a>,
    /// The wall that is wanted along the joint, by its share; see [`JointGuide::thickness`].
    pub wall: &'a JointGuide,
    /// Asked at each shape and section whether to stop.
    pub stop: StopAsked<'a>,
}

impl SpanLimits<'_> {
    /// Refuses to go on where nobody wants the answer any more.
    fn go_on(&self) -> Result<(), SolveError> {
        if (self.stop)() { Err(SolveError::Stopped) } else { Ok(()) }
    }
}

/// Number of rounds after which raising is given up.
const MOST_ROUNDS: usize = 12;

/// The corner radius of a regular polygon of `n` sides with the area of the
/// circle of radius `r`.
///
/// # Source
/// Area of a regular polygon, `n/2 R^2 sin(2 pi/n)`.
pub fn area_true_radius(r: f64, n: usize) -> f64 {
    let turn = std::f64::consts::TAU / n as f64;
    // One part in 10^9 wider, so that rounding does not leave it smaller.
    r / (turn.sin() / turn).sqrt() * (1.0 + 1e-9)
}

/// The bore side of a joint.
#[derive(Debug, Clone)]
pub struct SpannedBore {
    /// The surface.
    pub grid: Grid,
    /// Its least area in the sections that were looked at.
    pub least: f64,
    /// Where along the way that was found, from 0 (seam) to 1 (fitting).
    pub worst: f64,
}

/// The bore side alone: smooth between rim and circle, bore area kept.
///
/// `near` are triangles of the bore next to the joint: of the scan and of the
/// fitting, so that tilted sections close.
///
/// # Errors
/// [`SolveError`] when the linear system cannot be solved, or where it is to stop.
pub fn span_bore(
    way: &Way,
    seam: &SeamLoop,
    radius: f64,
    near: &Mesh,
    limits: &SpanLimits<'_>,
) -> Result<SpannedBore, SolveError> {
    let radii = Radii::new(way, seam, radius, limits.edge, &limits.led);
    let rows = radii.rows();
    let mut shapes = WithMeans::new(&radii)?;
    let plain = shapes.solve(&[])?;
    let plain: Vec<f64> = (0..rows).map(|i| radii.mean(&plain, i)).collect();
    let far = 2.0 * radii.widest();
    let places: Vec<Station<'_>> = (0..STATIONS)
        .into_par_iter()
        .map(|k| {
            let s = station(k);
            let plane = Plane { point: way.centre(s), normal: way.direction(s) };
            Station::new(near, plane, far)
        })
        .collect();
    // Where nothing may be lost, sections between those measured may lack a little.
    let is_strict = limits.area_loss_share < STRICT_SHARE;
    let spare_share = if is_strict { SPARE_SHARE } else { -to_give(limits.area_loss_share) };
    let wanted =
        |s: f64| limits.area_min * (1.0 + spare_share * if is_strict { window(s) } else { 1.0 });
    let measured = |tube: &Mesh, last: Option<&[LeastSection]>| -> Vec<LeastSection> {
        let enough = CLEAR * limits.area_min;
        let least = |(k, place): (usize, &Station<'_>)| {
            if (limits.stop)() {
                return LeastSection { area: 0.0, tilt: [0.0; 2] };
            }
            place.least(tube, enough, last.map(|stations| &stations[k]))
        };
        places.par_iter().enumerate().map(least).collect()
    };
    // A shape, what it has beyond what is wanted, and its sections.
    let mut tried = |lift: &[f64], last: Option<&[LeastSection]>| {
        let means: Vec<(usize, f64)> =
            (0..rows).filter(|&i| lift[i] > 0.0).map(|i| (i, plain[i] + lift[i])).collect();
        let grid = radii.grid(&shapes.solve(&means)?);
        let tube = grid.mesh(true);
        let mut stations = measured(&tube, last);
        if last.is_some() && least_of(&stations, &wanted).1 >= 0.0 {
            // All tilts again, before it is believed.
            stations = measured(&tube, None);
        }
        limits.go_on()?;
        let (worst, spare) = least_of(&stations, &wanted);
        let least = stations.iter().map(|s| s.area).fold(f64::INFINITY, f64::min);
        Ok((SpannedBore { grid, least, worst }, spare, stations))
    };
    let first = tried(&vec![0.0; rows], None)?;
    let mut best = (first.0.clone(), first.1);
    let aim = limits.area_min * (1.0 + spare_share);
    for width in WIDTHS {
        if best.1 >= 0.0 {
            break;
        }
        best = (first.0.clone(), first.1);
        let (mut lift, mut stations, mut best_round) = (vec![0.0; rows], first.2.clone(), 0);
        for round in 1..MOST_ROUNDS {
            raise(&mut lift, &stations, aim, (radius, width));
            let (bore, spare, found) = tried(&lift, Some(&stations))?;
            if spare > best.1 {
                (best, best_round) = ((bore, spare), round);
            } else if round > best_round + 2 {
                break;
            }
            if best.1 >= 0.0 {
                break;
            }
            stations = found;
        }
    }
    Ok(best.0)
}

/// What a section lacks is spread along the way like a bell of this breadth (its
/// standard deviation, a share of the joint): wide, which bends least, and where that
/// does not do, narrow.
const WIDTHS: [f64; 2] = [0.16, 0.12];

/// Sections of more than this many times the area to keep are not looked at
/// more closely: they are not where it falls short.
const CLEAR: f64 = 1.1;

/// The station that has least beyond what is `wanted` there, as a place along the
/// way, and how much that is; negative where it falls short.
fn least_of(stations: &[LeastSection], wanted: &dyn Fn(f64) -> f64) -> (f64, f64) {
    let spare = stations.iter().enumerate().map(|(k, s)| (station(k), s.area - wanted(station(k))));
    spare.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, f64::INFINITY))
}

/// Below this share of area that may be lost, sections are held everywhere.
pub(crate) const STRICT_SHARE: f64 = 1e-3;

/// How much of a share that may be lost the joint may use: what is left is for
/// planes between those measured and others through them.
fn to_give(loss_share: f64) -> f64 {
    loss_share - (0.7 * loss_share).min(MOST_LEFT)
}

/// The most of the area to keep that [`to_give`] leaves.
const MOST_LEFT: f64 = 0.0035;

/// What is then aimed at beyond the area that is asked: planes between those
/// measured, and planes that are not quite parallel to them, may lose a little
/// more.
pub(crate) const SPARE_SHARE: f64 = 2e-4;

/// Number of stations along the joint at which bore area is measured.
const STATIONS: usize = 48;

/// The place of a station; none lies in the plane of a seam, where the section
/// would run along edges.
fn station(k: usize) -> f64 {
    (k as f64 + 0.5) / STATIONS as f64
}

/// How much of a lift takes effect at `s`: none, with no slope, at both ends,
/// where the seams are given.
fn window(s: f64) -> f64 {
    let ease = |x: f64| {
        let x = x.clamp(0.0, 1.0);
        x * x * (3.0 - 2.0 * x)
    };
    ease(s / 0.15) * ease((1.0 - s) / 0.25)
}

/// Adds to `lift` what the stations' areas lack, spread smoothly.
fn raise(lift: &mut [f64], stations: &[LeastSection], wanted: f64, (radius, width): (f64, f64)) {
    let perimeter = std::f64::consts::TAU * radius;
    let last = (lift.len() - 1) as f64;
    for (i, value) in lift.iter_mut().enumerate() {
        let s = i as f64 / last;
        let spread = stations
            .iter()
            .enumerate()
            .map(|(k, found)| {
                let d = (s - station(k)) / width;
                let lack = (wanted - found.area).max(0.0) / perimeter;
                lack * (-0.5 * d * d).exp()
            })
            .fold(0.0, f64::max);
        // More than this would be a bulge, not a correction.
        *value = (*value + 1.4 * spread * window(s)).min(0.2 * radius);
    }
}

/// A thickness that is wanted leads the wall from this share of the joint on, and as
/// far from its other seam: at the seams it is the scan's and the fitting's own.
const AT_SEAMS: f64 = 0.1;

/// It is followed within this share of the room for the wall.
const FOLLOWED: f64 = 0.2;

/// The outside: as smooth as it can be between rim and circle while it is at
/// least the asked wall away from the bore.
///
/// The asked wall is an obstacle under a thin plate: cells that fall short are
/// held at the radius they need, cells that would rise above it by themselves
/// are let go, until neither happens. So the wall grows from a thin seam with
/// the least bend that the limit allows. Regions to keep clear of are obstacles on
/// the other side of it; what fights is left for the proof to tell. Where a wall
/// is wanted along the joint, the cells there are drawn to it from both sides.
///
/// `bore` is over the whole bore side near the joint, scan and fitting included.
///
/// # Errors
/// [`SolveError`] when the linear system cannot be solved, or where it is to stop.
pub fn span_outside(
    way: &Way,
    seam: &SeamLoop,
    radius: f64,
    bore: &Bvh,
    limits: &SpanLimits<'_>,
) -> Result<Grid, SolveError> {
    let radii = Radii::new(way, seam, radius, limits.edge, &limits.led);
    let (rows, columns) = (radii.rows(), seam.points.len());
    let mut needed = vec![f64::NEG_INFINITY; rows * columns];
    let most = |cell: usize| {
        let (from, out) = radii.ray(cell / columns, cell % columns);
        limits.clear.most(from, out).map(|most| (cell, most))
    };
    let capped: Vec<(usize, f64)> = if limits.clear.regions.is_empty() {
        Vec::new()
    } else {
        (columns..(rows - 1) * columns).filter_map(most).collect()
    };
    // Rows that the asked thickness leads; nearer to a seam the wall gets there by itself.
    let wanted_at =
        |s: f64| limits.wall.thickness(s).filter(|_| (AT_SEAMS..=1.0 - AT_SEAMS).contains(&s));
    let mut followed: BTreeMap<usize, f64> = BTreeMap::new();
    let mut held: Vec<(usize, f64)> = Vec::new();
    let mut best: Option<(Grid, f64)> = None;
    for _ in 0..2 * MOST_ROUNDS {
        limits.go_on()?;
        let solved = radii.solve(&held)?;
        let grid = radii.grid(&solved);
        let mut spare = f64::INFINITY;
        let mut astray = 0.0f64;
        for i in 1..rows - 1 {
            let wanted = wanted_at(i as f64 / (rows - 1) as f64);
            for j in 0..columns {
                let p = grid.rows[i][j];
                if let Some((wanted, c)) = wanted.zip(bore.closest(p)) {
                    let asked = (limits.wall_min)(p).max((limits.wall_min)(c.point));
                    spare = spare.min(c.distance - asked);
                    let off = wanted.max(asked + limits.wall_room) - c.distance;
                    astray = astray.max(off.abs());
                    let cell = i * columns + j;
                    *followed.entry(cell).or_insert(solved[cell]) += off;
                    continue;
                }
                // What is farther is neither short of wall nor the least so far.
                let look = limits.wall_most + limits.wall_room.max(spare);
                let Some(c) = bore.closest_within(p, look) else { continue };
                // The limit counts on both sides.
                let asked = (limits.wall_min)(p).max((limits.wall_min)(c.point));
                let left = c.distance - asked;
                spare = spare.min(left);
                let cell = i * columns + j;
                if left < limits.wall_room {
                    let more =
                        solved[cell] + 1.05 * (limits.wall_room - left) + 0.1 * limits.wall_room;
                    needed[cell] = needed[cell].max(more);
                }
            }
        }
        // How far the outside stands into the room round the regions.
        let over = capped.iter().map(|&(cell, most)| solved[cell] - most).fold(0.0, f64::max);
        let worth = if over > 0.0 { spare.min(limits.wall_room) - over } else { spare };
        let worth = if followed.is_empty() { worth } else { worth.min(limits.wall_room) - astray };
        if best.as_ref().is_none_or(|b| worth > b.1) {
            best = Some((grid, worth));
        }
        let is_followed = astray <= FOLLOWED * limits.wall_room;
        if spare >= 0.5 * limits.wall_room && over <= 0.1 * limits.clear.room && is_followed {
            break;
        }
        held = needed
            .iter()
            .enumerate()
            .filter(|&(cell, &need)| need > f64::NEG_INFINITY && solved[cell] <= need)
            .map(|(cell, &need)| (cell, need))
            .collect();
        held.extend(followed.iter().map(|(&cell, &radius)| (cell, radius)));
        let stands_in = |&&(cell, most): &&(usize, f64)| solved[cell] > most && needed[cell] < most;
        held.extend(capped.iter().filter(stands_in));
    }
    best.map(|(grid, _)| grid).ok_or(SolveError::Empty)
}

/// Two meshes as one; points stay apart.
pub(crate) fn joined(a: &Mesh, b: &Mesh) -> Mesh {
    Mesh::joined([a, b]).unwrap_or_default()
}

#[cfg(test)]
mod tests;
