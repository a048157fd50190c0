//! Invented tubes from formulas, for the tests of the steps as a whole.

#![allow(dead_code, reason = "each test file uses some of them")]

use spile_case::{Case, Cut, End, Form, Limits, Scan, Site, Unit};
use spile_mesh::{DVec3, Mesh, Topology, round_to_f32, self_intersections};

/// Columns round a tube.
pub const COLUMNS: usize = 48;

/// Where a tube stands in space.
pub type Placing<'a> = &'a dyn Fn(DVec3) -> DVec3;

/// As it is.
pub fn upright(p: DVec3) -> DVec3 {
    p
}

/// Turned about z by 20 degrees, then about x by 35, and moved.
pub fn turned(p: DVec3) -> DVec3 {
    turn(p) + DVec3::new(3.0, -7.0, 12.0)
}

/// The turn alone.
pub fn turn(p: DVec3) -> DVec3 {
    let (s, c) = 20f64.to_radians().sin_cos();
    let q = DVec3::new(c * p.x - s * p.y, s * p.x + c * p.y, p.z);
    let (s, c) = 35f64.to_radians().sin_cos();
    DVec3::new(q.x, c * q.y - s * q.z, s * q.y + c * q.z)
}

/// The surface that a line of (radius, height) sweeps round z, `f32`
/// coordinates; radius 0 is a point on the axis. A line that comes back to its
/// first point is closed. It faces to the right of the line as seen with the
/// axis on the left.
pub fn revolved(line: &[(f64, f64)], placing: Placing<'_>) -> Mesh {
    let closed = line.first() == line.last();
    let line = if closed { &line[1..] } else { line };
    let (mut points, mut triangles) = (Vec::new(), Vec::new());
    let mut rows: Vec<Vec<u32>> = Vec::new();
    for &(r, z) in line {
        let count = if r == 0.0 { 1 } else { COLUMNS };
        let row = (0..count).map(|i| {
            let a = std::f64::consts::TAU * i as f64 / COLUMNS as f64;
            points.push(round_to_f32(placing(DVec3::new(r * a.cos(), r * a.sin(), z))));
            points.len() as u32 - 1
        });
        rows.push(row.collect());
    }
    let pairs = rows.len() - usize::from(!closed);
    for k in 0..pairs {
        let (low, high) = (&rows[k], &rows[(k + 1) % rows.len()]);
        for i in 0..COLUMNS {
            let j = (i + 1) % COLUMNS;
            let at = |row: &[u32], i: usize| row[i % row.len()];
            let (a, b, c, d) = (at(low, i), at(low, j), at(high, j), at(high, i));
            if a != b {
                triangles.push([a, b, c]);
            }
            if c != d {
                triangles.push([a, c, d]);
            }
        }
    }
    Mesh::new(points, triangles).expect("the rows name their own points")
}

/// Heights from `from` to `to` in `count` steps, ends included.
pub fn steps(from: f64, to: f64, count: usize) -> Vec<f64> {
    (0..=count).map(|i| from + (to - from) * i as f64 / count as f64).collect()
}

/// Area of the ring between two circles as polygons of [`COLUMNS`] sides.
///
/// # Source
/// Area of a regular polygon, n r^2 sin(2 pi / n) / 2.
pub fn ring_area(bore: f64, outside: f64) -> f64 {
    let turn = std::f64::consts::TAU / COLUMNS as f64;
    0.5 * COLUMNS as f64 * turn.sin() * (outside * outside - bore * bore)
}

/// A plain end.
pub fn plain(name: &str, through: DVec3, facing: DVec3) -> End {
    let cut = Cut { through: through.to_array(), facing: facing.to_array() };
    End::plain(name, Site::Cut(cut))
}

/// A case with these ends.
pub fn case(form: Form, ends: Vec<End>) -> Case {
    Case {
        name: None,
        unit: Unit::Millimetre,
        scan: Scan {
            files: vec!["tube.stl".into()],
            form,
            wall: None,
            hole_max: None,
            inherit: Vec::new(),
            outliers: spile_case::Outliers::Keep,
            align: None,
            moved: None,
        },
        ends,
        edge: None,
        joint: spile_case::JointGuide::default(),
        limits: Limits {
            deviation: 0.1,
            wall_min: None,
            bore_loss: None,
            kink_deg: None,
            ball_min: None,
            chord: 0.01,
        },
        keeps: Vec::new(),
        clears: Vec::new(),
        output: spile_case::Output::default(),
        solids: Vec::new(),
        mends: Vec::new(),
    }
}

/// Panics unless the part is closed, without self-intersection, facing outward.
pub fn assert_solid(part: &Mesh) {
    let topology = Topology::of(part);
    assert!(topology.boundary().is_empty(), "{} open edges", topology.boundary().len());
    assert_eq!(self_intersections(part), vec![]);
    assert!(part.volume() > 0.0);
}

/// How many triangles of `scan` are in `part`, corner for corner.
pub fn kept(scan: &Mesh, part: &Mesh) -> usize {
    let key = |mesh: &Mesh, t: usize| {
        let mut k = mesh.corners(t).map(|p| round_to_f32(p).to_array().map(f64::to_bits));
        k.sort_unstable();
        k
    };
    let there: std::collections::BTreeSet<_> =
        (0..part.triangles().len()).map(|t| key(part, t)).collect();
    (0..scan.triangles().len()).filter(|&t| there.contains(&key(scan, t))).count()
}
