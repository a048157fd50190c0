//! Whether triangles stand for the exact faces of a file: each lies near its face's
//! surface and faces as it does, and where two faces' triangles meet they follow the
//! exact edge between those faces, once, from end to end.
//!
//! A patch near a surface that faces off it throughout, with a border that runs once
//! along the face's own border with the face on its left, covers the face once: over
//! a plane, cylinder or cone it can be nowhere else, and over a sphere or torus only
//! with more area than the whole of it.

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};

use spile_case::ExactFaces;
use spile_formats::step::{StepCurve, StepEdge, StepFace, StepSolid, StepSurface};
use spile_mesh::{DVec3, Mesh};

use crate::edges::Edges;
use crate::exact_surface::{Off, farthest, signed};

/// Bounds on the greatest distance of any of the triangles `mesh` from its exact face, if
/// they stand for all faces of a closed solid within `chord`; all in the file's unit.
///
/// # Errors
/// What does not, and where in the file.
pub fn exact_faces_off(exact: &ExactFaces, mesh: &Mesh, chord: f64) -> Result<[f64; 2], String> {
    off_exact(exact, (mesh, &Edges::of(mesh)), chord).map(|off| off.bounds)
}

/// The same with where the lower bound is attained.
pub(crate) fn off_exact(
    exact: &ExactFaces,
    (file, edges): (&Mesh, &Edges),
    chord: f64,
) -> Result<Off, String> {
    let faces = &exact.solid.faces;
    if exact.face.len() != file.triangles().len()
        || exact.face.iter().any(|&f| f as usize >= faces.len())
    {
        return Err("its triangles are not told apart by faces".into());
    }
    let mut area = vec![0.0; faces.len()];
    for (t, &number) in exact.face.iter().enumerate() {
        let face = &faces[number as usize];
        let corners = file.corners(t);
        let middle = (corners[0] + corners[1] + corners[2]) / 3.0;
        let normal = file.area_normal(t);
        let sense = if face.outward { 1.0 } else { -1.0 };
        area[number as usize] += 0.5 * normal.length();
        if sense * signed(&face.surface, middle).1.dot(normal) <= 0.0 {
            let what = format!("a triangle near {} does not face as the face does", shown(middle));
            return Err(of_face(face, &what));
        }
    }
    for (face, area) in faces.iter().zip(area) {
        let whole = match face.surface {
            StepSurface::Sphere { radius, .. } => 4.0 * PI * radius * radius,
            StepSurface::Torus { ring, tube, .. } => TAU * TAU * ring * tube,
            _ => f64::INFINITY,
        };
        if area >= whole {
            return Err(of_face(face, "its triangles cover more than the whole surface"));
        }
    }
    follows_edges(exact, (file, edges), chord)?;
    let surfaces = exact.face.iter().map(|&f| &faces[f as usize].surface);
    let all = surfaces.zip((0..file.triangles().len()).map(|t| file.corners(t)));
    farthest(all).ok_or_else(|| "it has no triangles".into())
}

/// Radii of bore and outside of the flat end face that these triangles stand for,
/// by the exact edges round it.
pub(crate) fn rim_radii(exact: &ExactFaces, triangles: &[u32]) -> Result<[f64; 2], String> {
    let solid = &exact.solid;
    let of = |t: &u32| exact.face.get(*t as usize).copied().unwrap_or(u32::MAX);
    let mut own: Vec<u32> = triangles.iter().map(of).collect();
    own.sort_unstable();
    own.dedup();
    let mut circles: Vec<(DVec3, f64)> = Vec::new();
    for (edge, uses) in solid.edges.iter().zip(uses(solid)) {
        let [left, right] = uses.map(|face| own.binary_search(&face).is_ok());
        match edge.curve {
            _ if left == right => {}
            StepCurve::Circle { centre, radius, .. } => circles.push((centre, radius)),
            StepCurve::Line => {
                let source = edge.source;
                return Err(format!(
                    "the straight edge #{} in line {} is part of its rim",
                    source.entity, source.line
                ));
            }
        }
    }
    circles.sort_by(|a, b| a.1.total_cmp(&b.1));
    let (Some(&first), Some(&last)) = (circles.first(), circles.last()) else {
        return Err("its rim has no exact edges".into());
    };
    let is = |c: (DVec3, f64), of: (DVec3, f64)| {
        (c.1 - of.1).abs() <= SAME_SHARE * of.1 && c.0.distance(of.0) <= SAME_SHARE * of.1
    };
    let two = circles.iter().all(|&c| is(c, first) != is(c, last));
    two.then_some([first.1, last.1])
        .ok_or_else(|| "the exact edges of its rim are not two circles".into())
}

/// Circles of a file that are meant to be one agree to this share of the radius.
const SAME_SHARE: f64 = 1e-6;

/// The faces to the left and to the right of each edge.
fn uses(solid: &StepSolid) -> Vec<[u32; 2]> {
    let mut uses = vec![[u32::MAX; 2]; solid.edges.len()];
    for (face, number) in solid.faces.iter().zip(0..) {
        for &(edge, along) in face.loops.iter().flatten() {
            uses[edge as usize][usize::from(!along)] = number;
        }
    }
    uses
}

/// An exact edge as a line of places from its beginning.
struct Run<'s> {
    edge: &'s StepEdge,
    first: DVec3,
    /// Of a line its direction; of a circle the direction to its first vertex.
    u: DVec3,
    /// Its length.
    whole: f64,
}

impl<'s> Run<'s> {
    fn of(solid: &StepSolid, edge: &'s StepEdge) -> Self {
        let [first, last] = edge.ends.map(|v| solid.vertices[v as usize]);
        match edge.curve {
            StepCurve::Line => {
                let u = (last - first).normalize_or_zero();
                Self { edge, first, u, whole: first.distance(last) }
            }
            StepCurve::Circle { centre, axis, radius } => {
                let u = (first - centre).reject_from_normalized(axis).normalize_or_zero();
                let mut run = Self { edge, first, u, whole: TAU * radius };
                if edge.ends[0] != edge.ends[1] {
                    let turned = run.angle(last).rem_euclid(TAU);
                    run.whole = radius * if turned > 0.0 { turned } else { TAU };
                }
                run
            }
        }
    }

    /// The angle of `p` from the first vertex of a circle, within half a turn.
    fn angle(&self, p: DVec3) -> f64 {
        let StepCurve::Circle { centre, axis, .. } = self.edge.curve else { return 0.0 };
        (p - centre).dot(axis.cross(self.u)).atan2((p - centre).dot(self.u))
    }

    /// How far `p` is from the whole curve.
    fn off(&self, p: DVec3) -> f64 {
        match self.edge.curve {
            StepCurve::Line => (p - self.first).reject_from(self.u).length(),
            StepCurve::Circle { centre, axis, radius } => {
                let height = (p - centre).dot(axis);
                ((p - centre - height * axis).length() - radius).hypot(height)
            }
        }
    }

    /// How far along `p` is, where that is between the ends to within `room`.
    fn along(&self, p: DVec3, room: f64) -> Option<f64> {
        let along = match self.edge.curve {
            StepCurve::Line => (p - self.first).dot(self.u),
            StepCurve::Circle { radius, .. } => {
                // As near the middle as whole turns bring it.
                let (middle, round) = (0.5 * self.whole, TAU * radius);
                let along = radius * self.angle(p);
                along - round * ((along - middle) / round).round()
            }
        };
        (-room..=self.whole + room).contains(&along).then_some(along)
    }

    /// How far on the way from `p` to `q` leads along it, and how far off it lies;
    /// none where it is elsewhere.
    fn leads(&self, p: DVec3, q: DVec3, within: f64) -> Option<(f64, f64)> {
        let off = [p, q, p.midpoint(q)].map(|p| self.off(p)).into_iter().fold(0.0, f64::max);
        let (from, to) = (self.along(p, within)?, self.along(q, within)?);
        let on = match self.edge.curve {
            StepCurve::Line => to - from,
            StepCurve::Circle { radius, .. } => {
                let round = TAU * radius;
                (to - from) - round * ((to - from) / round).round()
            }
        };
        (off <= within).then_some((on, off))
    }
}

/// Whether the borders between faces' triangles run along the exact edges.
fn follows_edges(
    exact: &ExactFaces,
    (file, edges): (&Mesh, &Edges),
    chord: f64,
) -> Result<(), String> {
    let solid = &exact.solid;
    let mut between: BTreeMap<[u32; 2], Vec<usize>> = BTreeMap::new();
    let runs: Vec<Run<'_>> = solid.edges.iter().map(|edge| Run::of(solid, edge)).collect();
    let runs = runs.as_slice();
    let uses = uses(solid);
    for (k, &[left, right]) in uses.iter().enumerate().filter(|(_, u)| u[0] != u[1]) {
        between.entry([left, right]).or_default().push(k);
    }
    let mut gone = vec![0.0; runs.len()];
    for (t, &face) in exact.face.iter().enumerate() {
        let corners = file.triangles()[t];
        for (k, e) in edges.of_triangle(t as u32).into_iter().enumerate() {
            let beyond = edges.triangles(e).iter().find(|&&other| other as usize != t);
            let Some(&beyond) = beyond else { return Err("it is not closed".into()) };
            let other = exact.face[beyond as usize];
            if face == other || (beyond as usize) < t {
                continue;
            }
            let [p, q] = [corners[k], corners[(k + 1) % 3]].map(|v| file.points()[v as usize]);
            // Two faces may have edges with either of them on the left.
            let led = |faces: [u32; 2], p, q| {
                let all = between.get(&faces).map_or(&[][..], Vec::as_slice).iter();
                all.filter_map(move |&run| Some((run, runs[run].leads(p, q, chord)?)))
            };
            let all = led([face, other], p, q).chain(led([other, face], q, p));
            match all.min_by(|(_, a), (_, b)| a.1.total_cmp(&b.1)) {
                Some((run, (on, _))) if on > 0.0 => gone[run] += on,
                _ => {
                    let what = format!(
                        "its border with face #{} near {} is along none of their edges",
                        solid.faces[other as usize].source.entity,
                        shown(p)
                    );
                    return Err(of_face(&solid.faces[face as usize], &what));
                }
            }
        }
    }
    for ((run, gone), [left, right]) in runs.iter().zip(gone).zip(uses) {
        // Corners stand out a little where a circle was cut into sides.
        if left != right && (gone - run.whole).abs() > 2.0 * chord.min(0.1 * run.whole) {
            let source = run.edge.source;
            return Err(format!(
                "of the edge #{} in line {}, {:.4} long, its triangles follow {gone:.4}",
                source.entity, source.line, run.whole
            ));
        }
    }
    Ok(())
}

fn of_face(face: &StepFace, what: &str) -> String {
    format!("face #{} in line {}: {what}", face.source.entity, face.source.line)
}

fn shown(p: DVec3) -> String {
    format!("({:.4}, {:.4}, {:.4})", p.x, p.y, p.z)
}
