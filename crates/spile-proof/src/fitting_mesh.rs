//! A fitting that a file gives, worked out anew from the file's triangles, or from
//! those that stand for its exact faces:
//! its flat end faces, the rim that is joined, where its corners belong, and
//! whether the part has each of its triangles, corner for corner.

use std::collections::BTreeMap;

use spile_case::{Case, End, ExactFaces, Fitting, Place, Site, Solid};
use spile_mesh::{Circle, DVec3, Mesh, fit_circle};

use crate::align_asked::is_rotation;
use crate::edges::Edges;
use crate::exact_surface::Off;
use crate::fitting_exact::{off_exact, rim_radii};
use crate::fitting_find::{Face, Found, coordinate_spacing};
use crate::fitting_shape::SideRun;
use crate::identity::{Places, weld};
use crate::labels::FittingFrame;

/// A corner is where it belongs within so many steps of the coordinates.
const STEPS: f64 = 1.001;
/// Two neighbours lie in one plane if they turn by less than this, in radians.
const ONE_PLANE_RAD: f64 = 1e-3;

/// A fitting from a file, in its place.
pub(crate) struct Given {
    /// The axis, near face and circles of the joined rim.
    pub frame: FittingFrame,
    /// Greatest distance of the joined rim's points from the circles through them.
    pub off_round: f64,
    /// Where that is.
    pub off_at: DVec3,
    /// Centre of the joined rim in the file's coordinates.
    pub rim: DVec3,
    /// The file's triangles over `points`.
    solid: Mesh,
    /// Where each of the file's points belongs, not rounded.
    points: Vec<DVec3>,
    /// The face of each triangle; none of the end face that is opened.
    face: Vec<Option<Face>>,
    /// The opened face's loops: bore, outside.
    loops: [Vec<u32>; 2],
    /// Whether the file's own place is meant, to the bit.
    as_modelled: bool,
    /// What the file's lengths are multiplied by.
    scale: f64,
}

/// A flat end face between two circles, off which the solid falls on all sides.
struct EndFace {
    triangles: Vec<u32>,
    /// Bore and outside.
    loops: [Vec<u32>; 2],
    circles: [Circle; 2],
    /// Unit normal, off the material.
    normal: DVec3,
}

/// The file of an end's fitting, if it has one.
pub(crate) fn solid_of<'c>(case: &'c Case, end: &End) -> Option<&'c Solid> {
    let Some(Fitting::Mesh(mesh)) = end.fitting else { return None };
    case.solids.get(mesh.solid)
}

/// The fitting that the file of an end gives; none where it has no file.
pub(crate) fn given(case: &Case, end: &End) -> Option<Result<Given, String>> {
    let solid = solid_of(case, end)?;
    let place = match end.place? {
        Place::At { at, along } => {
            let along = DVec3::from_array(along).try_normalize()?;
            Some((DVec3::from_array(at), along))
        }
        Place::AsModelled => None,
        Place::Onward(_) | Place::Auto => return None,
    };
    Some(read(case, end, place).map_err(|what| format!("{}: {what}", solid.file)))
}

fn read(case: &Case, end: &End, place: Option<(DVec3, DVec3)>) -> Result<Given, String> {
    let Some(Fitting::Mesh(mesh)) = end.fitting else { return Err("it has no file".into()) };
    let solid = &case.solids[mesh.solid];
    let scale = solid.scale(case.unit);
    let points = solid.points.iter().map(|&p| DVec3::from_array(p)).collect();
    let file = Mesh::new(points, solid.triangles.clone()).map_err(|e| e.to_string())?;
    let file = weld(&file);
    let edges = Edges::of(&file);
    if (0..edges.len() as u32).any(|e| edges.triangles(e).len() != 2) {
        return Err("it is not closed".into());
    }
    let faces = end_faces(&file, &edges);
    let joined = named(&faces, mesh.rim.map(DVec3::from_array), end.site, place.is_none(), scale)?;
    let rim = faces[joined].circles[0].centre;
    let inward = -faces[joined].normal;
    // The turn is meant as the case was written; a case that came from another scan
    // takes the fitting along.
    let onto = match &case.scan.moved {
        Some(motion) if is_rotation(motion) => motion.turn.map(DVec3::from_array),
        Some(_) => return Err("`scan.moved` is no rotation".into()),
        None => DVec3::AXES,
    };
    let carried = |v: DVec3| DVec3::from_array(onto.map(|row| row.dot(v)));
    let as_written = |v: DVec3| onto[0] * v.x + onto[1] * v.y + onto[2] * v.z;
    let to = |p: DVec3| match place {
        None => p * scale,
        Some((at, along)) => {
            let along = as_written(along);
            at + carried(rolled(turned((p - rim) * scale, inward, along), along, mesh.roll_deg))
        }
    };
    let along = place.map_or(inward, |(_, along)| along);
    let points: Vec<DVec3> = file.points().iter().map(|&p| to(p)).collect();
    let at = to(rim);
    let radii = match &solid.exact {
        None => [0, 1].map(|k| faces[joined].circles[k].radius),
        Some(exact) => rim_radii(exact, &faces[joined].triangles)?,
    };
    let [bore, outside] = radii.map(|radius| scale * radius);
    let (off_round, off_at) = off_circles(&faces[joined], &file);
    let face = sides(&file, &edges, &faces, joined)?;
    // Straight on to a far end face on the same axis, if there is one.
    let straight = faces.iter().map(|f| to(f.circles[0].centre) - at).filter(|d| {
        let height = d.dot(along);
        height > 0.0 && (*d - height * along).length() <= case.limits.chord
    });
    let rim_edges = |l: &Vec<u32>| {
        let place = |i: usize| points[l[i % l.len()] as usize];
        (0..l.len()).map(|i| place(i).distance(place(i + 1))).fold(0.0, f64::max)
    };
    let inside = faces[joined].loops.iter().map(rim_edges).fold(0.0, f64::max);
    let length = straight.map(|d| d.dot(along)).fold(inside, f64::max);
    let run = |radius: f64| SideRun { near: radius, begin: length, far: radius };
    let (bore, outside) = (run(bore), run(outside));
    let frame = FittingFrame { at, along, bore, outside, length, flange: None };
    let loops = faces[joined].loops.clone();
    let as_modelled = place.is_none();
    let (off_round, off_at) = (scale * off_round, to(off_at));
    Ok(Given {
        frame,
        off_round,
        off_at,
        rim,
        solid: file,
        points,
        face,
        loops,
        as_modelled,
        scale,
    })
}

/// `v` under the least turn that takes unit vector `from` to `to`: a half turn
/// about the first, then one about the direction midway, which together turn by
/// twice the angle between them. From a direction to its opposite: half a turn
/// about the coordinate axis least along it, made square to it.
fn turned(v: DVec3, from: DVec3, to: DVec3) -> DVec3 {
    let half = |v: DVec3, about: DVec3| 2.0 * about.dot(v) * about - v;
    let midway = from + to;
    if midway.length() > 1e-6 {
        return half(half(v, from), midway.normalize());
    }
    let mut axis = DVec3::X;
    for other in [DVec3::Y, DVec3::Z] {
        if other.dot(from).abs() < axis.dot(from).abs() {
            axis = other;
        }
    }
    half(v, axis.reject_from_normalized(from).normalize())
}

/// `v` turned about a unit axis, right-handed, by so many degrees: two half turns
/// about directions square to it that are half that far apart.
fn rolled(v: DVec3, axis: DVec3, by_deg: f64) -> DVec3 {
    if by_deg == 0.0 {
        return v;
    }
    let half = |v: DVec3, about: DVec3| 2.0 * about.dot(v) * about - v;
    let first = axis.any_orthonormal_vector();
    let (sine, cosine) = (0.5 * by_deg).to_radians().sin_cos();
    half(half(v, first), first * cosine + axis.cross(first) * sine)
}

/// The greatest distance of a rim's points from its circles, and where.
fn off_circles(face: &EndFace, file: &Mesh) -> (f64, DVec3) {
    let mut worst = (0.0, face.circles[0].centre);
    for (l, circle) in face.loops.iter().zip(&face.circles) {
        for p in l.iter().map(|&v| file.points()[v as usize]) {
            let d = p - circle.centre;
            let height = d.dot(circle.axis);
            let off = ((d - height * circle.axis).length() - circle.radius).hypot(height);
            if off > worst.0 {
                worst = (off, p);
            }
        }
    }
    worst
}

/// All flat end faces between two loops that a circle fits.
fn end_faces(file: &Mesh, edges: &Edges) -> Vec<EndFace> {
    let noise = 4.0 * coordinate_spacing(file);
    let normal = |t: u32| file.area_normal(t as usize).normalize_or_zero();
    // How far the corner of `t` off edge `e` lies over a triangle's plane.
    let over = |e: u32, t: u32, plane: u32| {
        let [a, b] = edges.points(e);
        let apex = file.triangles()[t as usize].into_iter().find(|v| *v != a && *v != b);
        let at = |v: u32| file.points()[v as usize];
        let d = apex.map_or(DVec3::ZERO, |v| at(v) - at(a));
        let width = d.cross(at(b) - at(a)).length() / at(b).distance(at(a));
        (d.dot(normal(plane)), ONE_PLANE_RAD * width + noise)
    };
    let in_plane = |e: u32| {
        let &[s, t] = edges.triangles(e) else { return false };
        let flat = |(height, room): (f64, f64)| height.abs() <= room;
        normal(s).dot(normal(t)) > 0.0 && flat(over(e, s, t)) && flat(over(e, t, s))
    };
    let (label, count) = edges.pieces(|_| true, in_plane);
    // An annulus has Euler number 0: points less edges plus triangles.
    let mut points: Vec<(u32, u32)> = Vec::new();
    let mut euler = vec![0_i64; count];
    for (t, &piece) in label.iter().enumerate() {
        points.extend(file.triangles()[t].map(|v| (piece, v)));
        euler[piece as usize] += 1;
    }
    points.sort_unstable();
    points.dedup();
    points.iter().for_each(|&(piece, _)| euler[piece as usize] += 1);
    let mut border: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for e in 0..edges.len() as u32 {
        let of = |k: usize| label[edges.triangles(e)[k] as usize];
        let (a, b) = (of(0), of(1));
        euler[a as usize] -= 1;
        if a != b {
            euler[b as usize] -= 1;
            border.entry(a).or_default().push(e);
            border.entry(b).or_default().push(e);
        }
    }
    let mut found = Vec::new();
    for (piece, around) in border {
        if euler[piece as usize] != 0 {
            continue;
        }
        let falls = around.iter().all(|&e| {
            let [s, t] = [0, 1].map(|k| edges.triangles(e)[k]);
            let (own, other) = if label[s as usize] == piece { (s, t) } else { (t, s) };
            over(e, other, own).0 < 0.0
        });
        let loops = edges.loops(|e| around.binary_search(&e).is_ok());
        let Ok([Some(a), Some(b)]) = <[Option<Vec<u32>>; 2]>::try_from(loops) else { continue };
        let at = |l: &[u32]| l.iter().map(|&v| file.points()[v as usize]).collect::<Vec<_>>();
        let (Some(x), Some(y)) = (fit_circle(&at(&a)), fit_circle(&at(&b))) else { continue };
        if !falls {
            continue;
        }
        let triangles: Vec<u32> =
            (0..label.len() as u32).filter(|&t| label[t as usize] == piece).collect();
        let sum: DVec3 = triangles.iter().map(|&t| file.area_normal(t as usize)).sum();
        let (loops, circles) =
            if x.radius < y.radius { ([a, b], [x, y]) } else { ([b, a], [y, x]) };
        found.push(EndFace { triangles, loops, circles, normal: sum.normalize_or_zero() });
    }
    found
}

/// Which end face is joined: that whose centre is nearest the named point; where
/// none is named the only one, or as modelled the one nearest the end's place on
/// the scan.
fn named(
    faces: &[EndFace],
    rim: Option<DVec3>,
    site: Site,
    as_modelled: bool,
    scale: f64,
) -> Result<usize, String> {
    let round = |f: &EndFace| f.circles.iter().all(|c| c.largest <= 0.02 * c.radius);
    let near = |p: DVec3| {
        let off = |k: &usize| faces[*k].circles[0].centre.distance(p);
        (0..faces.len()).filter(|&k| round(&faces[k])).min_by(|a, b| off(a).total_cmp(&off(b)))
    };
    let on_scan = DVec3::from_array(match site {
        Site::Cut(cut) => cut.through,
        Site::Rim(rim) => rim.near,
        // Unsettled, and refused before anything is judged.
        Site::Station(_) => return Err("its end is not settled".into()),
    });
    let count = faces.iter().filter(|f| round(f)).count();
    match rim {
        Some(p) => near(p),
        None if count == 1 || as_modelled => near(on_scan / scale),
        None if count > 1 => return Err(format!("it has {count} round rims and none is named")),
        None => None,
    }
    .ok_or_else(|| "it has no flat end face between two circles".into())
}

/// The face that each triangle is on: end faces part the bore, which hangs
/// together with the inner loop of the joined one, from the outside.
fn sides(
    file: &Mesh,
    edges: &Edges,
    faces: &[EndFace],
    joined: usize,
) -> Result<Vec<Option<Face>>, String> {
    let mut face = vec![Some(Face::Outside); file.triangles().len()];
    for (k, end) in faces.iter().enumerate() {
        for &t in &end.triangles {
            face[t as usize] = (k != joined).then_some(Face::Far);
        }
    }
    let is_side = |t: u32| face[t as usize] == Some(Face::Outside);
    let (label, _) = edges.pieces(is_side, |_| true);
    let beside = |l: &[u32]| {
        let side = |i: usize| {
            let e = edges.find(l[i], l[(i + 1) % l.len()])?;
            edges.triangles(e).iter().map(|&t| label[t as usize]).find(|&p| p != u32::MAX)
        };
        (0..l.len()).map(side).collect::<std::collections::BTreeSet<_>>()
    };
    let [bore, outside] = [0, 1].map(|k| beside(&faces[joined].loops[k]));
    let apart = bore.len() == 1 && bore.is_disjoint(&outside) && !bore.contains(&None);
    if !apart {
        return Err("its bore and its outside are not parted by flat round end faces".into());
    }
    for (t, face) in face.iter_mut().enumerate() {
        if bore.contains(&Some(label[t])) {
            *face = Some(Face::Bore);
        }
    }
    Ok(face)
}

impl Given {
    /// Bounds on how far any of its triangles in `part`, which [`Self::find`] has found
    /// there, lies from its exact face, if they stand for all of them within `chord`.
    ///
    /// # Errors
    /// What does not, and where in the file.
    pub(crate) fn off_exact(
        &self,
        exact: &ExactFaces,
        part: &Mesh,
        chord: f64,
    ) -> Result<Off, String> {
        let edges = Edges::of(&self.solid);
        let off = off_exact(exact, (&self.solid, &edges), chord / self.scale)?;
        // In the part each corner is off its place by no more than a step each way.
        let step = 3f64.sqrt() * STEPS * coordinate_spacing(part);
        let [lo, hi] = off.bounds.map(|x| x * self.scale);
        let nearest = (0..self.solid.points().len())
            .min_by(|&a, &b| {
                let far = |v: usize| self.solid.points()[v].distance_squared(off.at);
                far(a).total_cmp(&far(b))
            })
            .map_or(self.frame.at, |v| self.points[v]);
        Ok(Off { bounds: [(lo - step).max(0.0), hi + step], at: nearest })
    }

    /// The area within the joined bore loop.
    pub(crate) fn bore_area(&self) -> f64 {
        let place = |i: usize| self.points[self.loops[0][i % self.loops[0].len()] as usize];
        let twice = (0..self.loops[0].len())
            .map(|i| (place(i) - self.frame.at).cross(place(i + 1) - self.frame.at))
            .sum::<DVec3>();
        0.5 * twice.dot(self.frame.along).abs()
    }

    /// The fitting's triangles in the part: each of the file's but those of the
    /// opened face, with its corners where they belong and its own winding.
    /// As modelled a corner is where the file has it, rounded to `f32`, to the
    /// bit; turned and moved it is so within one step of the coordinates,
    /// which is what two ways of working it out may differ by.
    ///
    /// # Errors
    /// The first corner or triangle that is not there, and its place.
    pub(crate) fn find(&self, part: &Mesh) -> Result<Found, (String, DVec3)> {
        let places = Places::of(part);
        let step = STEPS * coordinate_spacing(part);
        let mut by_x: Vec<u32> = part.triangles().iter().flatten().copied().collect();
        by_x.sort_unstable();
        by_x.dedup();
        let x = |v: u32| part.points()[v as usize].x;
        by_x.sort_by(|&a, &b| x(a).total_cmp(&x(b)));
        let locate = |p: DVec3| {
            if self.as_modelled {
                return places.find(p);
            }
            let from = by_x.partition_point(|&v| x(v) < p.x - step);
            let near = by_x[from..].iter().copied().take_while(|&v| x(v) <= p.x + step);
            let off = |v: u32| (part.points()[v as usize] - p).abs().max_element();
            near.filter(|&v| off(v) <= step).min_by(|&a, &b| off(a).total_cmp(&off(b)))
        };
        let mut used = vec![false; self.points.len()];
        self.solid.triangles().iter().flatten().for_each(|&v| used[v as usize] = true);
        let mut in_part = vec![u32::MAX; self.points.len()];
        for (v, &p) in self.points.iter().enumerate().filter(|(v, _)| used[*v]) {
            in_part[v] = locate(p).ok_or_else(|| {
                (format!("a corner of its file is not in the part: {}", shown(p)), p)
            })?;
        }
        let mut of_part: Vec<([u32; 3], u32)> =
            part.triangles().iter().zip(0..).map(|(&t, k)| (from_least(t), k)).collect();
        of_part.sort_unstable();
        let mut found = Found::default();
        for (t, face) in self.face.iter().enumerate() {
            let Some(face) = *face else { continue };
            let corners = self.solid.triangles()[t].map(|v| in_part[v as usize]);
            let wanted = from_least(corners);
            let k = of_part.partition_point(|(c, _)| *c < wanted);
            let Some(&(_, there)) = of_part.get(k).filter(|(c, _)| *c == wanted) else {
                let p = self.points[self.solid.triangles()[t][0] as usize];
                return Err((
                    format!("a triangle of its file is not in the part, near {}", shown(p)),
                    p,
                ));
            };
            found.triangles.push((there, face));
        }
        found.triangles.sort_unstable_by_key(|&(t, _)| t);
        let [bore, outside] = [0, 1]
            .map(|k| self.loops[k].iter().map(|&v| in_part[v as usize]).collect::<Vec<u32>>());
        (found.seam_bore, found.seam_outside) = (bore, outside);
        Ok(found)
    }
}

fn shown(p: DVec3) -> String {
    format!("({:.4}, {:.4}, {:.4})", p.x, p.y, p.z)
}

/// The corners in the same turn, the least first.
fn from_least([a, b, c]: [u32; 3]) -> [u32; 3] {
    if a <= b && a <= c {
        [a, b, c]
    } else if b <= c {
        [b, c, a]
    } else {
        [c, a, b]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: axis goes to axis, lengths stay, and what is square to both
    /// stays where it is.
    #[test]
    fn the_least_turn_takes_axis_to_axis_and_no_more() {
        let (a, b) = (DVec3::new(0.6, 0.0, 0.8), DVec3::new(0.0, 1.0, 0.0));
        assert!((turned(a, a, b) - b).length() < 1e-15);
        let square = a.cross(b).normalize();
        assert!((turned(square, a, b) - square).length() < 1e-15);
        assert!((turned(a, a, -a) + a).length() < 1e-15);
        let v = DVec3::new(3.0, -2.0, 0.5);
        assert!((turned(v, a, -a).length() - v.length()).abs() < 1e-14);
    }

    /// Closed form: about z, (x, y) goes to (x cos - y sin, x sin + y cos).
    #[test]
    fn a_roll_is_right_handed_about_the_axis_and_by_the_whole_angle() {
        for by in [-200.0_f64, 0.0, 30.0, 180.0] {
            let (sine, cosine) = by.to_radians().sin_cos();
            let right = DVec3::new(2.0 * cosine - sine, 2.0 * sine + cosine, 5.0);
            let found = rolled(DVec3::new(2.0, 1.0, 5.0), DVec3::Z, by);
            assert!((found - right).length() < 1e-14, "{by}: {found}");
        }
    }
}
