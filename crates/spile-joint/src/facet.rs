//! Triangles of a solid with exact faces: every edge is cut once, every face
//! is filled between its own edges' points, so that the whole is closed.
//!
//! A folder that `run` left is proved again from triangles that are cut anew, wherever
//! that is. So sines and their like come from `libm`, the same bits on every machine.

mod chart;
mod fill;

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};

use spile_formats::step::{StepCurve, StepEdge, StepFace, StepSolid};
use spile_mesh::{Circle, DVec3, Mesh};

use fill::Border;

/// A circle has no fewer sides.
const LEAST_SIDES: f64 = 48.0;
/// The sides of a circle bulge by this share of what is allowed. Their corners
/// stand out a third of it, and their middles lie in by the rest.
const BULGE_SHARE: f64 = 0.5;
/// More sides than this take more triangles than anyone wants.
const MOST_SIDES: f64 = 100_000.0;

/// Triangles that stand for exact faces.
#[derive(Debug, Clone, PartialEq)]
pub struct Facets {
    /// The triangles; they face off the material.
    pub mesh: Mesh,
    /// For each of them the number of its face.
    pub face: Vec<u32>,
}

/// The triangles of `solid`, no place of them farther than about `within` from
/// its exact faces; they face off the material.
///
/// A circle becomes a polygon of the same area, as the sides of drawn fittings
/// do, so that a bore is not narrowed.
///
/// # Errors
/// A sentence that names the face and its line in the file.
pub fn facet(solid: &StepSolid, within: f64) -> Result<Facets, String> {
    let seam = seams(solid);
    let mut cut = Cut::of(solid, &seam, BULGE_SHARE * within)?;
    let (mut triangles, mut of) = (Vec::new(), Vec::new());
    for (face, number) in solid.faces.iter().zip(0..) {
        let named = |what: String| {
            format!("face #{} in line {}: {what}", face.source.entity, face.source.line)
        };
        let loops = border(solid, face, &seam, &cut.inner).map_err(named)?;
        let filled = fill::fill(face, &loops, &mut cut.points, within).map_err(named)?;
        triangles.extend(filled);
        of.resize(triangles.len(), number);
    }
    let mesh = Mesh::new(cut.points, triangles).map_err(|e| e.to_string())?;
    Ok(Facets { mesh, face: of })
}

/// Centre and radius of the circle of `solid` that `found` follows, if it is within
/// `within` of one.
pub fn exact_circle(solid: &StepSolid, found: &Circle, within: f64) -> Option<(DVec3, f64)> {
    let off = |edge: &StepEdge| match edge.curve {
        StepCurve::Circle { centre, radius, .. } => {
            let off = (found.radius - radius).abs().max(centre.distance(found.centre));
            Some((off, (centre, radius)))
        }
        StepCurve::Line => None,
    };
    let nearest = solid.edges.iter().filter_map(off).min_by(|a, b| a.0.total_cmp(&b.0));
    nearest.filter(|(off, _)| *off <= within).map(|(_, circle)| circle)
}

/// Which edges are used twice by one face: where a surface is cut open to be
/// unrolled, and no border.
fn seams(solid: &StepSolid) -> Vec<bool> {
    let mut seam = vec![false; solid.edges.len()];
    for face in &solid.faces {
        let mut used: Vec<u32> = face.loops.iter().flatten().map(|&(edge, _)| edge).collect();
        used.sort_unstable();
        for pair in used.windows(2).filter(|pair| pair[0] == pair[1]) {
            seam[pair[0] as usize] = true;
        }
    }
    seam
}

/// The edges, cut.
struct Cut {
    points: Vec<DVec3>,
    /// The points of each edge between its ends, from the first to the last.
    inner: Vec<Vec<u32>>,
}

/// One circle's edge: how far it goes round, in how many sides.
struct Arc {
    centre: DVec3,
    axis: DVec3,
    radius: f64,
    whole: f64,
    sides: u32,
}

impl Arc {
    fn of(solid: &StepSolid, edge: &StepEdge, bulge: f64) -> Option<Self> {
        let StepCurve::Circle { centre, axis, radius } = edge.curve else { return None };
        let [a, b] = edge.ends.map(|v| solid.vertices[v as usize]);
        let whole = if edge.ends[0] == edge.ends[1] {
            TAU
        } else {
            let u = (a - centre).reject_from_normalized(axis);
            let v = axis.cross(u);
            let angle = libm::atan2((b - centre).dot(v), (b - centre).dot(u));
            if angle <= 0.0 { angle + TAU } else { angle }
        };
        // The sagitta of a side of angle 2 x is r (1 - cos x).
        let of_circle = PI / libm::acos(1.0 - (bulge / radius).min(1.0));
        let sides = (of_circle.max(LEAST_SIDES) * whole / TAU).ceil().max(1.0);
        let sides = if whole < TAU { sides.max(2.0) } else { sides };
        // Counted with floats: a tiny bulge gives no number of sides that fits.
        let sides = if sides <= MOST_SIDES { sides as u32 } else { u32::MAX };
        Some(Self { centre, axis, radius, whole, sides })
    }

    /// How much farther out corners stand for the polygon to have the circle's
    /// area: of a side of angle x the triangle has r^2 sin(x) / 2, the sector
    /// r^2 x / 2.
    fn wider(&self) -> f64 {
        let side = self.whole / f64::from(self.sides);
        (side / libm::sin(side)).sqrt()
    }

    /// Whether it is a piece of the same circle, either way round.
    fn is_same_circle(&self, other: &Self) -> bool {
        let room = 1e-6 * self.radius;
        self.centre.distance(other.centre) <= room
            && (self.radius - other.radius).abs() <= room
            && self.axis.cross(other.axis).length() <= 1e-6
    }
}

impl Cut {
    fn of(solid: &StepSolid, seam: &[bool], bulge: f64) -> Result<Self, String> {
        let mut points = solid.vertices.clone();
        let arcs: Vec<Option<Arc>> = (solid.edges.iter().zip(seam))
            .map(|(edge, &is_seam)| (!is_seam).then(|| Arc::of(solid, edge, bulge)).flatten())
            .collect();
        if let Some(k) = arcs.iter().position(|a| a.as_ref().is_some_and(|a| a.sides == u32::MAX)) {
            let source = solid.edges[k].source;
            return Err(format!(
                "the circle #{} in line {} would take more than {MOST_SIDES} sides",
                source.entity, source.line
            ));
        }
        // A vertex where pieces of one circle meet stands out as their corners do.
        let mut at_vertex: BTreeMap<u32, Vec<&Arc>> = BTreeMap::new();
        for (edge, arc) in solid.edges.iter().zip(&arcs) {
            for v in edge.ends {
                at_vertex.entry(v).or_default().extend(arc);
            }
        }
        for (&v, arcs) in &at_vertex {
            let Some(first) = arcs.first() else { continue };
            if arcs.iter().all(|arc| arc.is_same_circle(first)) {
                let wider = arcs.iter().map(|a| a.wider()).sum::<f64>() / arcs.len() as f64;
                let p = &mut points[v as usize];
                *p += (wider - 1.0) * (*p - first.centre).reject_from_normalized(first.axis);
            }
        }
        let mut inner = Vec::with_capacity(solid.edges.len());
        for (edge, arc) in solid.edges.iter().zip(&arcs) {
            let first = points.len() as u32;
            if let Some(arc) = arc {
                let a = solid.vertices[edge.ends[0] as usize];
                let u = (a - arc.centre).reject_from_normalized(arc.axis).normalize_or_zero();
                let v = arc.axis.cross(u);
                let radius = arc.radius * arc.wider();
                points.extend((1..arc.sides).map(|k| {
                    let (sin, cos) = libm::sincos(arc.whole * f64::from(k) / f64::from(arc.sides));
                    arc.centre + radius * (cos * u + sin * v)
                }));
            }
            inner.push((first..points.len() as u32).collect());
        }
        Ok(Self { points, inner })
    }
}

/// The loops of points round a face, its seams left out; the face is on the
/// left seen from off the material.
fn border(
    solid: &StepSolid,
    face: &StepFace,
    seam: &[bool],
    inner: &[Vec<u32>],
) -> Result<Vec<Border>, String> {
    let mut from: BTreeMap<u32, Vec<(u32, bool)>> = BTreeMap::new();
    let edges = face.loops.iter().flatten().filter(|(edge, _)| !seam[*edge as usize]);
    for &(edge, along) in edges {
        let start = solid.edges[edge as usize].ends[usize::from(!along)];
        from.entry(start).or_default().push((edge, along));
    }
    let mut loops = Vec::new();
    while let Some((&start, _)) = from.first_key_value() {
        let mut points = Vec::new();
        let mut vertex = start;
        loop {
            let Some(next) = from.get_mut(&vertex) else {
                return Err("its edges make no closed loops".into());
            };
            if next.len() > 1 {
                return Err("two of its loops touch at a vertex".into());
            }
            let Some((edge, along)) = next.pop() else {
                return Err("its edges make no closed loops".into());
            };
            from.remove(&vertex);
            points.push(vertex);
            let between = &inner[edge as usize];
            if along {
                points.extend(between);
            } else {
                points.extend(between.iter().rev());
            }
            vertex = solid.edges[edge as usize].ends[usize::from(along)];
            if vertex == start {
                break;
            }
        }
        loops.push(Border { points });
    }
    if loops.is_empty() {
        return Err("it has no border: a whole sphere or torus is no wall of a fitting".into());
    }
    Ok(loops)
}
