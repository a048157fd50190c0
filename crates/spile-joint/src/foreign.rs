//! A fitting that a file gives, by triangles or by exact faces that triangles stand for: its round rims, and the solid in
//! its place with the joined end face opened.
//!
//! A round rim is a flat ring of triangles between two round loops at whose
//! edges the solid falls away: the end face of a tube. The joint shares the
//! vertices of its loops; all other triangles stay as the file has them.

mod rims;

use spile_case::{MeshFitting, Motion, Solid, Unit};
use spile_mesh::topology::ends;
use spile_mesh::{DVec3, Mesh, Topology, round_to_f32};

pub use rims::{FoundRims, RoundRim, round_rims};

use crate::ends::area_vector;
use crate::facet::exact_circle;
use crate::span::Grid;
use crate::walls::WallSide;

/// A solid in its place, with one end face opened.
#[derive(Debug, Clone, PartialEq)]
pub struct Foreign {
    /// Its points as the part carries them: `f32` values.
    pub points: Vec<DVec3>,
    /// Its triangles but for the opened face, as the file winds them.
    pub triangles: Vec<[u32; 3]>,
    /// The side of each triangle; end faces have none.
    sides: Vec<Option<WallSide>>,
    /// Bore and outside loop of the opened face, counter-clockwise about
    /// the direction off the scan.
    rims: [Vec<u32>; 2],
    /// Centre of the opened face.
    pub face: DVec3,
    /// Unit direction off the scan, into the fitting.
    pub along: DVec3,
    /// Radii of the opened face's circles.
    pub radii: [f64; 2],
    /// Longest edge of the opened face's loops.
    pub longest: f64,
    /// Centre of the opened face in the file's own coordinates.
    pub in_file: DVec3,
}

/// Where a fitting from a file is to be.
pub struct Wanted<'a> {
    /// The case's unit.
    pub unit: Unit,
    /// Where on the scan the end is.
    pub on_scan: DVec3,
    /// Where the near face is; none where the file's own place is meant.
    pub place: Option<(DVec3, DVec3)>,
    /// How the case came onto this scan, if it was written for another: the fitting
    /// is turned as the case has it, and then with its places.
    pub moved: Option<Motion>,
    /// How far a rim may be off its circle.
    pub chord: f64,
    /// The file's name, for messages.
    pub file: &'a str,
}

impl Foreign {
    /// The solid in its place.
    ///
    /// # Errors
    /// What is wrong with the file, and what to do.
    pub fn new(solid: &Solid, fitting: MeshFitting, wanted: &Wanted<'_>) -> Result<Self, Wrong> {
        let file = wanted.file;
        let wrong =
            |what: String, hint: &str| Wrong { what: format!("{file}: {what}"), hint: hint.into() };
        let points = solid.points.iter().map(|&p| DVec3::from_array(p)).collect();
        let mesh = Mesh::new(points, solid.triangles.clone())
            .map_err(|e| wrong(e.to_string(), "write the file again"))?;
        let found = round_rims(&mesh).map_err(|what| {
            wrong(
                what,
                "mend the file where it was modelled: the fitting has to be one closed solid",
            )
        })?;
        let scale = solid.scale(wanted.unit);
        let rim =
            chosen(&found, fitting, wanted, scale).map_err(|(what, hint)| wrong(what, &hint))?;
        let off = scale * rim.bore.largest.max(rim.outside.largest);
        if off > wanted.chord {
            return Err(wrong(
                format!(
                    "its rim is not round: {off:.5} off its circle, and `chord` allows {}",
                    wanted.chord
                ),
                "write the file with finer coordinates, or make `chord` larger",
            ));
        }
        let radii = match &solid.exact {
            None => [rim.bore.radius, rim.outside.radius].map(|r| r * scale),
            Some(exact) => {
                let within = wanted.chord / scale;
                let of = |found| exact_circle(&exact.solid, found, within).map(|c| c.1 * scale);
                let (Some(bore), Some(outside)) = (of(&rim.bore), of(&rim.outside)) else {
                    return Err(wrong(
                        "its rim follows no circles of the file".into(),
                        "join it at a flat end face between two circles",
                    ));
                };
                [bore, outside]
            }
        };
        let moved = Move::new(rim, wanted, scale, fitting.roll_deg);
        let rounded: Vec<DVec3> =
            mesh.points().iter().map(|&p| round_to_f32(moved.of(p))).collect();
        if distinct(&rounded) < distinct(mesh.points()) {
            return Err(wrong(
                "rounding to 32-bit coordinates merges corners of it".into(),
                "bring it nearer the origin, or leave out details of that size",
            ));
        }
        let sides = sides(&mesh, &found, rim).ok_or_else(|| {
            wrong(
                "its bore and its outside are not parted by flat round end faces".into(),
                "give it a flat round end face at every opening",
            )
        })?;
        let along = moved.along;
        let kept = |t: &usize| rim.face.binary_search(&(*t as u32)).is_err();
        let kept: Vec<usize> = (0..mesh.triangles().len()).filter(kept).collect();
        let rims = [0, 1].map(|k| {
            let mut l = rim.loops[k].clone();
            if area_vector(l.iter().map(|&v| rounded[v as usize])).dot(along) < 0.0 {
                l.reverse();
            }
            l
        });
        let edge = |l: &Vec<u32>, i: usize| {
            rounded[l[i] as usize].distance(rounded[l[(i + 1) % l.len()] as usize])
        };
        let longest =
            rims.iter().flat_map(|l| (0..l.len()).map(move |i| edge(l, i))).fold(0.0, f64::max);
        Ok(Self {
            triangles: kept.iter().map(|&t| mesh.triangles()[t]).collect(),
            sides: kept.iter().map(|&t| sides[t]).collect(),
            rims,
            face: moved.of(rim.centre),
            along,
            radii,
            longest,
            in_file: rim.centre,
            points: rounded,
        })
    }

    /// The points of a rim with the numbers that they have from `first` on.
    fn rim(&self, side: WallSide, first: u32) -> Vec<(u32, DVec3)> {
        let rim = &self.rims[usize::from(side == WallSide::Outside)];
        rim.iter().map(|&v| (v + first, self.points[v as usize])).collect()
    }

    /// Triangles between a joint's last ring and the rim of that side; `first`
    /// is the number of the solid's first point.
    pub fn strip(
        &self,
        side: WallSide,
        ring: &[(u32, DVec3)],
        first: u32,
        outward: bool,
    ) -> Vec<[u32; 3]> {
        let strip = strip(ring, &self.rim(side, first), self.face, self.along);
        strip.into_iter().map(|[a, b, c]| if outward { [a, b, c] } else { [a, c, b] }).collect()
    }

    /// Strip and solid on one side, facing away from the bore.
    pub fn mesh(&self, side: WallSide, grid: &Grid) -> Mesh {
        let last = &grid.rows[grid.rows.len() - 1];
        let ring: Vec<(u32, DVec3)> =
            last.iter().enumerate().map(|(k, &p)| (k as u32, p)).collect();
        let first = ring.len() as u32;
        let mut triangles = self.strip(side, &ring, first, true);
        for (t, of) in self.triangles.iter().zip(&self.sides) {
            if *of == Some(side) {
                let [a, b, c] = t.map(|v| v + first);
                triangles.push(if side == WallSide::Outside { [a, b, c] } else { [a, c, b] });
            }
        }
        let points = last.iter().chain(&self.points).copied().collect();
        Mesh::new(points, triangles).unwrap_or_default()
    }
}

/// What is wrong with a fitting's file, and what to do.
#[derive(Debug, Clone, PartialEq)]
pub struct Wrong {
    /// What and where.
    pub what: String,
    /// What to do.
    pub hint: String,
}

/// The rim that is meant: nearest the named point, the only one, or where the
/// file's own place is meant the one nearest the end on the scan.
fn chosen<'f>(
    found: &'f FoundRims,
    fitting: MeshFitting,
    wanted: &Wanted<'_>,
    scale: f64,
) -> Result<&'f RoundRim, (String, String)> {
    let place = |p: DVec3| format!("[{:.3}, {:.3}, {:.3}]", p.x, p.y, p.z);
    if found.round.is_empty() {
        let why = found.not_round.first();
        let why = why
            .map_or_else(String::new, |(at, what)| format!("; near {} it has {what}", place(*at)));
        return Err((
            format!("it has no round rim: a flat end face between two circles{why}"),
            "`spile fittings FILE` lists the round rims of a file".into(),
        ));
    }
    let nearest = |p: DVec3| {
        let by = |r: &&RoundRim| r.centre.distance(p);
        found.round.iter().min_by(|a, b| by(a).total_cmp(&by(b)))
    };
    let rim = match (fitting.rim, wanted.place, found.round.as_slice()) {
        (Some(p), _, _) => nearest(DVec3::from_array(p)),
        (None, _, [only]) => Some(only),
        (None, None, _) => nearest(wanted.on_scan / scale),
        (None, Some(_), _) => None,
    };
    rim.ok_or_else(|| {
        let all: Vec<String> = found.round.iter().map(|r| place(r.centre)).collect();
        (
            format!("it has {} round rims, with centres {}", all.len(), all.join(", ")),
            format!("name the one to be joined: `rim = {}`", all[0]),
        )
    })
}

/// How a file's points come into the case's coordinates.
struct Move {
    scale: f64,
    /// From the rim's centre and the axis into the fitting, to place and direction;
    /// the direction in the coordinates that the case was written in.
    turn: Option<(DVec3, DVec3, DVec3, DVec3)>,
    along: DVec3,
    /// Then about the direction, in radians.
    roll: f64,
    /// Then with the case onto this scan: the rows of a rotation.
    carried: [DVec3; 3],
}

impl Move {
    fn new(rim: &RoundRim, wanted: &Wanted<'_>, scale: f64, roll_deg: f64) -> Self {
        let (axis, place) = (-rim.axis, wanted.place);
        let carried = wanted
            .moved
            .map_or([DVec3::X, DVec3::Y, DVec3::Z], |motion| motion.turn.map(DVec3::from_array));
        let written = |v: DVec3| carried[0] * v.x + carried[1] * v.y + carried[2] * v.z;
        let turn = place.map(|(at, along)| (rim.centre, axis, at, written(along)));
        let along = place.map_or(axis, |(_, along)| along);
        Self { scale, turn, along, roll: roll_deg.to_radians(), carried }
    }

    /// A point of the file in its place: turned by the least turn that takes
    /// axis to axis, rolled about that, and carried as the case was.
    fn of(&self, p: DVec3) -> DVec3 {
        let Some((centre, axis, at, along)) = self.turn else { return p * self.scale };
        let v = rolled(turned((p - centre) * self.scale, axis, along), along, self.roll);
        let [x, y, z] = self.carried.map(|row| row.dot(v));
        at + DVec3::new(x, y, z)
    }
}

/// `v` turned by an angle about a unit direction (Rodrigues' formula).
fn rolled(v: DVec3, k: DVec3, angle_rad: f64) -> DVec3 {
    if angle_rad == 0.0 {
        return v;
    }
    let (sine, cosine) = angle_rad.sin_cos();
    v * cosine + k.cross(v) * sine + k * (k.dot(v) * (1.0 - cosine))
}

/// `v` turned by the least turn that takes one unit direction to another; where
/// they are opposite, by half a turn about the coordinate axis least along the
/// first, made square to it.
fn turned(v: DVec3, from: DVec3, to: DVec3) -> DVec3 {
    let (k, c) = (from.cross(to), from.dot(to));
    if c > -1.0 + 1e-12 {
        return v + k.cross(v) + k.cross(k.cross(v)) / (1.0 + c);
    }
    let across = [DVec3::X, DVec3::Y, DVec3::Z]
        .into_iter()
        .min_by(|a, b| a.dot(from).abs().total_cmp(&b.dot(from).abs()))
        .unwrap_or(DVec3::X);
    let u = (across - from * from.dot(across)).normalize_or_zero();
    u * (2.0 * u.dot(v)) - v
}

fn distinct(points: &[DVec3]) -> usize {
    let mut all: Vec<[u64; 3]> =
        points.iter().map(|&p| (p + DVec3::ZERO).to_array().map(f64::to_bits)).collect();
    all.sort_unstable();
    all.dedup();
    all.len()
}

/// The side of each triangle: what hangs together with the bore rim once the
/// end faces are taken away is the bore. None where bore and outside do.
fn sides(mesh: &Mesh, found: &FoundRims, rim: &RoundRim) -> Option<Vec<Option<WallSide>>> {
    let topology = Topology::of(mesh);
    let mut is_face = vec![false; mesh.triangles().len()];
    for face in found.round.iter().flat_map(|r| &r.face) {
        is_face[*face as usize] = true;
    }
    let bore: std::collections::BTreeSet<u32> = rim.loops[0].iter().copied().collect();
    let mut sides: Vec<Option<WallSide>> =
        is_face.iter().map(|&f| (!f).then_some(WallSide::Outside)).collect();
    let mut stack = Vec::new();
    let mut outside = Vec::new();
    for &t in &rim.face {
        for h in 3 * t..3 * t + 3 {
            let beyond = topology.twin(h) / 3;
            if !is_face[beyond as usize] {
                let on_bore = ends(mesh, h).iter().all(|v| bore.contains(v));
                if on_bore { stack.push(beyond) } else { outside.push(beyond) }
            }
        }
    }
    while let Some(t) = stack.pop() {
        if sides[t as usize] != Some(WallSide::Outside) {
            continue;
        }
        sides[t as usize] = Some(WallSide::Bore);
        stack.extend((3 * t..3 * t + 3).map(|h| topology.twin(h) / 3));
    }
    outside.iter().all(|&t| sides[t as usize] == Some(WallSide::Outside)).then_some(sides)
}

/// Triangles between two rings about one axis, both counter-clockwise about
/// it, facing away from it: each step goes on where the middle of the next edge
/// comes first. The rings may have any numbers of points.
fn strip(
    ring: &[(u32, DVec3)],
    rim: &[(u32, DVec3)],
    centre: DVec3,
    along: DVec3,
) -> Vec<[u32; 3]> {
    use std::f64::consts::{PI, TAU};
    let (Some(first), Some(_)) = (ring.first(), rim.first()) else { return Vec::new() };
    let u = (first.1 - centre).reject_from(along).normalize_or_zero();
    let v = along.cross(u);
    let angle = |p: DVec3| (p - centre).dot(v).atan2((p - centre).dot(u));
    let start = (0..rim.len())
        .min_by(|&a, &b| angle(rim[a].1).abs().total_cmp(&angle(rim[b].1).abs()))
        .unwrap_or(0);
    // Angles that rise from the first of each; the last is the first again.
    let rising = |points: &[(u32, DVec3)], start: usize| -> Vec<(u32, f64)> {
        let mut last = angle(points[start].1);
        let mut all = vec![(points[start].0, last)];
        for k in 1..points.len() {
            let (number, p) = points[(start + k) % points.len()];
            let step = (angle(p) - last + PI).rem_euclid(TAU) - PI;
            last += step;
            all.push((number, last));
        }
        all.push((all[0].0, all[0].1 + TAU));
        all
    };
    let (a, b) = (rising(ring, 0), rising(rim, start));
    let (mut i, mut j) = (0, 0);
    let mut triangles = Vec::with_capacity(a.len() + b.len());
    let middle = |all: &[(u32, f64)], k: usize| all.get(k + 1).map(|next| all[k].1 + next.1);
    loop {
        let (next_a, next_b) = (middle(&a, i), middle(&b, j));
        match (next_a, next_b) {
            (None, None) => return triangles,
            (Some(x), y) if y.is_none_or(|y| x <= y) => {
                triangles.push([a[i].0, a[i + 1].0, b[j].0]);
                i += 1;
            }
            _ => {
                triangles.push([a[i].0, b[j + 1].0, b[j].0]);
                j += 1;
            }
        }
    }
}
