//! Exact faces from the entities of ISO 10303-42, and whether they fit together.

use std::collections::BTreeMap;

use spile_mesh::DVec3;

use super::part21::{Instances, Record};
use super::{Source, StepCurve, StepEdge, StepFace, StepSolid, StepSurface};
use crate::error::Fault;

/// Edges lie on their faces' surfaces, and vertices on their edges, to this share
/// of the solid's size; files carry 7 digits and more.
const FIT_SHARE: f64 = 1e-6;

const PLAIN_SHAPES: &str = "model it with planes, cylinders, cones, spheres and tori that meet in lines and \
     circles, or write it as a mesh finer than `chord` and use `kind = \"mesh\"`";
const MEND: &str = "mend the solid where it was modelled and export it again";

/// The solid of a closed shell; plane angles are in units of `angle_in_rad`.
pub(crate) fn solid(file: &Instances, shell: u64, angle_in_rad: f64) -> Result<StepSolid, Fault> {
    let (record, source) = file.record(shell, Source::default())?;
    if record.name != "CLOSED_SHELL" {
        return Err(other(record, source, "a closed shell"));
    }
    let mut build = Build {
        file,
        angle_in_rad,
        solid: StepSolid::default(),
        edges: BTreeMap::new(),
        vertices: BTreeMap::new(),
    };
    for face in record.references(1, source)? {
        build.face(face, source)?;
    }
    let mut solid = build.solid;
    turn_loops(&mut solid);
    fits_together(&solid, source)?;
    Ok(solid)
}

/// Something that is not taken, with its name.
fn other(record: &Record, source: Source, wanted: &str) -> Fault {
    let what = format!("{} is not taken where {wanted} is due", record.name);
    Fault::refused(source.place(), what, PLAIN_SHAPES)
}

struct Build<'f> {
    file: &'f Instances,
    angle_in_rad: f64,
    solid: StepSolid,
    /// Number of each edge and vertex by that of its instance.
    edges: BTreeMap<u64, u32>,
    vertices: BTreeMap<u64, u32>,
}

impl Build<'_> {
    fn face(&mut self, number: u64, by: Source) -> Result<(), Fault> {
        let (face, source) = self.file.record(number, by)?;
        if face.name != "ADVANCED_FACE" && face.name != "FACE_SURFACE" {
            return Err(other(face, source, "a face"));
        }
        let surface = self.surface(face.reference(2, source)?, source)?;
        let outward = face.is_true(3, source)?;
        let mut loops = Vec::new();
        for bound in face.references(1, source)? {
            let (bound, at) = self.file.record(bound, source)?;
            if bound.name != "FACE_BOUND" && bound.name != "FACE_OUTER_BOUND" {
                return Err(other(bound, at, "a bound of a face"));
            }
            let forward = bound.is_true(2, at)?;
            let mut edges = self.edge_loop(bound.reference(1, at)?, at)?;
            if !forward {
                edges.reverse();
                edges.iter_mut().for_each(|(_, along)| *along = !*along);
            }
            loops.push(edges);
        }
        self.solid.faces.push(StepFace { source, surface, outward, loops });
        Ok(())
    }

    fn edge_loop(&mut self, number: u64, by: Source) -> Result<Vec<(u32, bool)>, Fault> {
        let (edges, source) = self.file.record(number, by)?;
        if edges.name != "EDGE_LOOP" {
            return Err(other(edges, source, "a loop of edges"));
        }
        let mut found = Vec::new();
        for oriented in edges.references(1, source)? {
            let (oriented, at) = self.file.record(oriented, source)?;
            if oriented.name != "ORIENTED_EDGE" {
                return Err(other(oriented, at, "an oriented edge"));
            }
            let along = oriented.is_true(4, at)?;
            found.push((self.edge(oriented.reference(3, at)?, at)?, along));
        }
        let end = |&(edge, along): &(u32, bool), last: bool| {
            self.solid.edges[edge as usize].ends[usize::from(along == last)]
        };
        let is_closed = (0..found.len())
            .all(|k| end(&found[k], true) == end(&found[(k + 1) % found.len()], false));
        if found.is_empty() || !is_closed {
            return Err(Fault::at(
                source.place(),
                "the edges of this loop do not follow each other",
            ));
        }
        Ok(found)
    }

    fn edge(&mut self, number: u64, by: Source) -> Result<u32, Fault> {
        if let Some(&edge) = self.edges.get(&number) {
            return Ok(edge);
        }
        let (edge, source) = self.file.record(number, by)?;
        if edge.name != "EDGE_CURVE" {
            return Err(other(edge, source, "an edge on a curve"));
        }
        let first = self.vertex(edge.reference(1, source)?, source)?;
        let last = self.vertex(edge.reference(2, source)?, source)?;
        let curve = self.curve(edge.reference(3, source)?, source)?;
        let curve = match (curve, edge.is_true(4, source)?) {
            (StepCurve::Circle { centre, axis, radius }, false) => {
                StepCurve::Circle { centre, axis: -axis, radius }
            }
            (curve, _) => curve,
        };
        if matches!(curve, StepCurve::Line) && first == last {
            return Err(Fault::at(source.place(), "a straight edge from a vertex to itself"));
        }
        let index = self.solid.edges.len() as u32;
        self.solid.edges.push(StepEdge { source, ends: [first, last], curve });
        self.edges.insert(number, index);
        Ok(index)
    }

    fn vertex(&mut self, number: u64, by: Source) -> Result<u32, Fault> {
        if let Some(&vertex) = self.vertices.get(&number) {
            return Ok(vertex);
        }
        let (vertex, source) = self.file.record(number, by)?;
        if vertex.name != "VERTEX_POINT" {
            return Err(other(vertex, source, "a vertex at a point"));
        }
        let at = self.point(vertex.reference(1, source)?, source)?;
        let index = self.solid.vertices.len() as u32;
        self.solid.vertices.push(at);
        self.vertices.insert(number, index);
        Ok(index)
    }

    fn curve(&mut self, number: u64, by: Source) -> Result<StepCurve, Fault> {
        let (mut curve, mut source) = self.file.record(number, by)?;
        // A curve on surfaces comes with its curve in space; the others repeat it.
        if ["SURFACE_CURVE", "SEAM_CURVE", "INTERSECTION_CURVE"].contains(&curve.name.as_str()) {
            (curve, source) = self.file.record(curve.reference(1, source)?, source)?;
        }
        match curve.name.as_str() {
            "LINE" => Ok(StepCurve::Line),
            "CIRCLE" => {
                let (centre, axis) = self.placement(curve.reference(1, source)?, source)?;
                let radius = positive(curve, 2, source)?;
                Ok(StepCurve::Circle { centre, axis, radius })
            }
            _ => Err(other(curve, source, "a line or a circle")),
        }
    }

    fn surface(&mut self, number: u64, by: Source) -> Result<StepSurface, Fault> {
        let (surface, source) = self.file.record(number, by)?;
        let kinds = [
            "PLANE",
            "CYLINDRICAL_SURFACE",
            "CONICAL_SURFACE",
            "SPHERICAL_SURFACE",
            "TOROIDAL_SURFACE",
        ];
        if !kinds.contains(&surface.name.as_str()) {
            return Err(other(surface, source, "a plane, cylinder, cone, sphere or torus"));
        }
        let (at, axis) = self.placement(surface.reference(1, source)?, source)?;
        Ok(match surface.name.as_str() {
            "PLANE" => StepSurface::Plane { at, normal: axis },
            "CYLINDRICAL_SURFACE" => {
                StepSurface::Cylinder { at, axis, radius: positive(surface, 2, source)? }
            }
            "SPHERICAL_SURFACE" => {
                StepSurface::Sphere { centre: at, radius: positive(surface, 2, source)? }
            }
            "CONICAL_SURFACE" => {
                let radius = surface.number(2, source)?;
                let angle = surface.number(3, source)? * self.angle_in_rad;
                let half_angle_rad = angle.abs();
                // Flatter or steeper is a plane or a cylinder to within rounding.
                let is_cone = (1e-6..std::f64::consts::FRAC_PI_2 - 1e-6).contains(&half_angle_rad);
                if radius < 0.0 || !is_cone {
                    let what = format!("a cone of radius {radius} and half angle {angle} rad");
                    return Err(Fault::at(source.place(), what));
                }
                let axis = if angle < 0.0 { -axis } else { axis };
                StepSurface::Cone { at, axis, radius, half_angle_rad }
            }
            _ => {
                let (ring, tube) = (positive(surface, 2, source)?, positive(surface, 3, source)?);
                if tube >= ring {
                    let what = format!("a torus that meets itself: radii {ring} and {tube}");
                    return Err(Fault::refused(source.place(), what, PLAIN_SHAPES));
                }
                StepSurface::Torus { centre: at, axis, ring, tube }
            }
        })
    }

    /// Place and direction of an axis placement; the direction is z where it is
    /// left out.
    fn placement(&self, number: u64, by: Source) -> Result<(DVec3, DVec3), Fault> {
        let (placement, source) = self.file.record(number, by)?;
        if placement.name != "AXIS2_PLACEMENT_3D" {
            return Err(other(placement, source, "a placement in space"));
        }
        let at = self.point(placement.reference(1, source)?, source)?;
        let axis = match placement.value(2, source)? {
            super::part21::Value::None => DVec3::Z,
            _ => {
                let (direction, at) = self.file.record(placement.reference(2, source)?, source)?;
                let wrong = || Fault::at(at.place(), "not a direction in space");
                if direction.name != "DIRECTION" {
                    return Err(wrong());
                }
                self.triple(direction, at)?.try_normalize().ok_or_else(wrong)?
            }
        };
        Ok((at, axis))
    }

    fn point(&self, number: u64, by: Source) -> Result<DVec3, Fault> {
        let (point, source) = self.file.record(number, by)?;
        if point.name != "CARTESIAN_POINT" {
            return Err(other(point, source, "a point"));
        }
        crate::numbers::sound_point(self.triple(point, source)?)
            .map_err(|what| Fault::at(source.place(), what))
    }

    fn triple(&self, record: &Record, source: Source) -> Result<DVec3, Fault> {
        let wrong = || record.wrong(1, "three numbers", source);
        let super::part21::Value::List(values) = record.value(1, source)? else {
            return Err(wrong());
        };
        let number = |v: &super::part21::Value| match v {
            super::part21::Value::Number(x) => Ok(*x),
            _ => Err(wrong()),
        };
        match values.as_slice() {
            [x, y, z] => Ok(DVec3::new(number(x)?, number(y)?, number(z)?)),
            _ => Err(wrong()),
        }
    }
}

fn positive(record: &Record, k: usize, source: Source) -> Result<f64, Fault> {
    match record.number(k, source)? {
        // Everything that is written carries 32-bit coordinates.
        x if x > 0.0 && x < f64::from(f32::MAX) => Ok(x),
        x => Err(Fault::at(source.place(), format!("a radius that cannot be: {x}"))),
    }
}

impl StepSurface {
    /// A place's distance from the whole surface, for the checks of this file.
    fn off(&self, p: DVec3) -> f64 {
        let polar = |at: DVec3, axis: DVec3| {
            let d = p - at;
            let height = d.dot(axis);
            ((d - height * axis).length(), height)
        };
        match *self {
            Self::Plane { at, normal } => (p - at).dot(normal).abs(),
            Self::Cylinder { at, axis, radius } => (polar(at, axis).0 - radius).abs(),
            Self::Cone { at, axis, radius, half_angle_rad } => {
                let (r, h) = polar(at, axis);
                let (sin, cos) = half_angle_rad.sin_cos();
                ((r - radius) * cos - h * sin).abs()
            }
            Self::Sphere { centre, radius } => (p.distance(centre) - radius).abs(),
            Self::Torus { centre, axis, ring, tube } => {
                let (r, h) = polar(centre, axis);
                ((r - ring).hypot(h) - tube).abs()
            }
        }
    }
}

impl StepEdge {
    /// Places along it: both ends and some between.
    fn samples(&self, vertices: &[DVec3]) -> Vec<DVec3> {
        let [a, b] = self.ends.map(|v| vertices[v as usize]);
        match self.curve {
            StepCurve::Line => (0..=4).map(|k| a.lerp(b, 0.25 * f64::from(k))).collect(),
            StepCurve::Circle { centre, axis, radius } => {
                let u = (a - centre).reject_from_normalized(axis).normalize_or_zero();
                let v = axis.cross(u);
                let to = |p: DVec3| {
                    let angle = (p - centre).dot(v).atan2((p - centre).dot(u));
                    if angle <= 0.0 { angle + std::f64::consts::TAU } else { angle }
                };
                let whole =
                    if self.ends[0] == self.ends[1] { std::f64::consts::TAU } else { to(b) };
                let at = |k: u32| {
                    let (sin, cos) = (whole * f64::from(k) / 8.0).sin_cos();
                    centre + radius * (cos * u + sin * v)
                };
                (0..=8).map(at).chain([a, b]).collect()
            }
        }
    }
}

/// Turns round the loops of faces so that each edge is run through once each way.
///
/// A solid that was made by turning a profile about an axis comes from an open CAD kernel
/// with the sense of such faces' bounds inverted, by which they would be the rest of
/// their surfaces. Flat faces are taken at their word: turned round they would have no
/// end. Where no turning helps, nothing is turned.
fn turn_loops(solid: &mut StepSolid) {
    let mut uses: Vec<Vec<(usize, bool)>> = vec![Vec::new(); solid.edges.len()];
    for (number, face) in solid.faces.iter().enumerate() {
        for &(edge, along) in face.loops.iter().flatten() {
            uses[edge as usize].push((number, along));
        }
    }
    if uses.iter().all(|uses| matches!(uses[..], [(_, a), (_, b)] if a != b)) {
        return;
    }
    let is_flat = |face: &StepFace| matches!(face.surface, StepSurface::Plane { .. });
    let mut turned: Vec<Option<bool>> =
        solid.faces.iter().map(|face| is_flat(face).then_some(false)).collect();
    let mut stack: Vec<usize> = (0..turned.len()).filter(|&f| turned[f].is_some()).collect();
    while let Some(face) = stack.pop() {
        let own = turned[face] == Some(true);
        for &(edge, along) in solid.faces[face].loops.iter().flatten() {
            let &[a, b] = uses[edge as usize].as_slice() else { return };
            let (other, its) = if a.0 == face { b } else { a };
            if other == face {
                continue;
            }
            let wanted = own != (along == its);
            match turned[other] {
                None => {
                    turned[other] = Some(wanted);
                    stack.push(other);
                }
                Some(is) if is != wanted => return,
                Some(_) => {}
            }
        }
    }
    for (face, _) in solid.faces.iter_mut().zip(turned).filter(|(_, t)| *t == Some(true)) {
        for edges in &mut face.loops {
            edges.reverse();
            edges.iter_mut().for_each(|(_, along)| *along = !*along);
        }
    }
}

/// Sees that edges are used twice, once each way, and lie where they should.
fn fits_together(solid: &StepSolid, shell: Source) -> Result<(), Fault> {
    let (mut low, mut high) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
    for edge in &solid.edges {
        for p in edge.samples(&solid.vertices) {
            (low, high) = (low.min(p), high.max(p));
        }
    }
    let room = FIT_SHARE * (high - low).length();
    if solid.faces.is_empty() || !room.is_finite() {
        return Err(Fault::refused(shell.place(), "a shell without faces and edges", MEND));
    }
    let mut uses = vec![[0_u32; 2]; solid.edges.len()];
    for face in &solid.faces {
        for &(edge, along) in face.loops.iter().flatten() {
            uses[edge as usize][usize::from(along)] += 1;
            let edge = &solid.edges[edge as usize];
            let off = edge.samples(&solid.vertices).into_iter().map(|p| face.surface.off(p));
            let off = off.fold(0.0, f64::max);
            if off > room {
                let what =
                    format!("it lies {off:e} off the surface of its face #{}", face.source.entity);
                return Err(Fault::refused(edge.source.place(), what, MEND));
            }
        }
    }
    for (edge, uses) in solid.edges.iter().zip(uses) {
        if uses != [1, 1] {
            let what = format!(
                "the shell #{} is not closed here: its faces use this edge {} times forward and {} times backward",
                shell.entity, uses[1], uses[0]
            );
            return Err(Fault::refused(edge.source.place(), what, MEND));
        }
        if let StepCurve::Circle { centre, axis, radius } = edge.curve {
            for v in edge.ends {
                let d = solid.vertices[v as usize] - centre;
                let height = d.dot(axis);
                let off = ((d - height * axis).length() - radius).hypot(height);
                if off > room {
                    let what = format!("its vertex lies {off:e} off its circle");
                    return Err(Fault::refused(edge.source.place(), what, MEND));
                }
            }
        }
    }
    Ok(())
}
