//! Which triangles of a part are a fitting's: those that lie on the exact tube
//! and hang together with its far face.

use spile_case::{End, Fitting, Place};
use spile_mesh::{DVec3, Mesh};

use crate::edges::Edges;
use crate::labels::{FittingFrame, Side};
use crate::polyline::closest_on_segment;

/// A face of the tube.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Face {
    /// The inner cylinder.
    Bore,
    /// The outer cylinder.
    Outside,
    /// The flat face away from the scan.
    Far,
}

/// A fitting as it was found in the part.
#[derive(Debug, Default)]
pub(crate) struct Found {
    /// Its triangles with their faces, rising.
    pub triangles: Vec<(u32, Face)>,
    /// The points where joint and fitting meet on the bore, in order.
    pub seam_bore: Vec<u32>,
    /// The same on the outside.
    pub seam_outside: Vec<u32>,
}

/// The distance between neighbouring `f32` numbers at the largest coordinate.
pub(crate) fn coordinate_spacing(mesh: &Mesh) -> f64 {
    let b = mesh.bounds();
    let largest = b.min.abs().max(b.max.abs()).max_element() as f32;
    if largest.is_finite() && largest > 0.0 {
        f64::from(f32::from_bits(largest.to_bits() + 1)) - f64::from(largest)
    } else {
        0.0
    }
}

impl FittingFrame {
    /// The frame of an end's fitting; none without one, or while unsettled.
    pub(crate) fn of(end: &End) -> Option<Self> {
        let Fitting::Tube { bore, outside, length } = end.fitting?;
        let Place::At { at, along } = end.place? else { return None };
        Some(Self {
            at: DVec3::from_array(at),
            along: DVec3::from_array(along).try_normalize()?,
            bore_radius: 0.5 * bore,
            outside_radius: 0.5 * outside,
            length,
        })
    }

    /// Height of `p` over the near face.
    pub(crate) fn height(&self, p: DVec3) -> f64 {
        (p - self.at).dot(self.along)
    }

    /// Least and greatest height of a triangle; exact, for height is linear.
    pub(crate) fn heights(&self, corners: [DVec3; 3]) -> [f64; 2] {
        let h = corners.map(|p| self.height(p));
        [h[0].min(h[1]).min(h[2]), h[0].max(h[1]).max(h[2])]
    }

    /// Least and greatest distance of a triangle from the axis. The distance
    /// is convex, so it is greatest at a corner; it is least where the triangle,
    /// seen along the axis, is nearest the origin.
    pub(crate) fn radii(&self, corners: [DVec3; 3]) -> [f64; 2] {
        let flat = corners.map(|p| {
            let d = p - self.at;
            d - self.along * d.dot(self.along)
        });
        let greatest = flat.iter().map(|p| p.length()).fold(0.0, f64::max);
        let side = |k: usize| flat[k].cross(flat[(k + 1) % 3]).dot(self.along);
        let (a, b, c) = (side(0), side(1), side(2));
        if (a > 0.0 && b > 0.0 && c > 0.0) || (a < 0.0 && b < 0.0 && c < 0.0) {
            return [0.0, greatest];
        }
        let least = (0..3)
            .map(|k| closest_on_segment(DVec3::ZERO, flat[k], flat[(k + 1) % 3]).length())
            .fold(f64::INFINITY, f64::min);
        [least, greatest]
    }

    /// The greatest distance of any place of the triangle from this face of the
    /// exact tube, and never less.
    ///
    /// The radial and the axial miss are each exact; where both are not zero
    /// they are added as the legs of a right angle, which is an upper bound.
    pub(crate) fn miss(&self, corners: [DVec3; 3], face: Face) -> f64 {
        let ([h0, h1], [r0, r1]) = (self.heights(corners), self.radii(corners));
        let outside_of = |lo: f64, hi: f64, from: f64, to: f64| (from - lo).max(hi - to).max(0.0);
        let from_radius = |r: f64| (r1 - r).max(r - r0);
        let along = outside_of(h0, h1, 0.0, self.length);
        match face {
            Face::Bore => along.hypot(from_radius(self.bore_radius)),
            Face::Outside => along.hypot(from_radius(self.outside_radius)),
            Face::Far => (h1 - self.length).max(self.length - h0).hypot(outside_of(
                r0,
                r1,
                self.bore_radius,
                self.outside_radius,
            )),
        }
    }

    /// The face that the triangle lies on within `loose`, if it does not reach
    /// further than `near` below the near face.
    fn face_of(&self, corners: [DVec3; 3], loose: f64, near: f64) -> Option<Face> {
        if self.heights(corners)[0] < -near {
            return None;
        }
        [Face::Bore, Face::Outside, Face::Far]
            .into_iter()
            .map(|f| (self.miss(corners, f), f))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|&(miss, _)| miss <= loose)
            .map(|(_, f)| f)
    }
}

/// Finds the triangles of the fitting at `frame`. It is looked for with four
/// times the `chord` that will be judged, so that one that is somewhat off is
/// found and judged as such; toward the joint with one `chord` only, beyond
/// which triangles are the joint's.
///
/// # Errors
/// A sentence, and a place: no far face, or borders that are not two loops.
pub(crate) fn find(
    part: &Mesh,
    edges: &Edges,
    frame: &FittingFrame,
    chord: f64,
) -> Result<Found, String> {
    let near = chord + 2.0 * coordinate_spacing(part);
    let wall = frame.outside_radius - frame.bore_radius;
    let loose = (4.0 * chord).min(0.25 * wall).max(near);
    let face: Vec<Option<Face>> =
        (0..part.triangles().len()).map(|t| frame.face_of(part.corners(t), loose, near)).collect();
    let (label, count) = edges.pieces(|t| face[t as usize].is_some(), |_| true);
    let mut has_far = vec![false; count];
    for (t, f) in face.iter().enumerate() {
        if *f == Some(Face::Far) {
            has_far[label[t] as usize] = true;
        }
    }
    let Some(piece) = has_far.iter().position(|&h| h) else {
        return Err("no triangle of the part lies on the fitting's far face".to_owned());
    };
    if has_far.iter().filter(|&&h| h).count() > 1 {
        return Err("the fitting's far face is in more than one piece".to_owned());
    }
    let of_piece = |t: u32| label[t as usize] == piece as u32;
    let triangles = (0..face.len() as u32)
        .filter(|&t| of_piece(t))
        .filter_map(|t| face[t as usize].map(|f| (t, f)))
        .collect();
    let border = |e: u32| {
        let inside = edges.triangles(e).iter().filter(|&&t| of_piece(t)).count();
        inside == 1 && edges.triangles(e).len() == 2
    };
    let loops = edges.loops(border);
    let mut found = Found { triangles, ..Found::default() };
    for l in loops {
        let l = l.ok_or_else(|| "the fitting's border is no simple loop".to_owned())?;
        let side = border_side(edges, &face, &l, of_piece);
        let slot = match side {
            Some(Side::Bore) => &mut found.seam_bore,
            Some(Side::Outside) => &mut found.seam_outside,
            _ => return Err("the fitting ends on its far face".to_owned()),
        };
        if !slot.is_empty() {
            return Err("the fitting's wall has more than one border on one side".to_owned());
        }
        *slot = l;
    }
    if found.seam_bore.is_empty() || found.seam_outside.is_empty() {
        return Err(
            "the fitting does not end in one loop on the bore and one on the outside".into()
        );
    }
    Ok(found)
}

/// The side whose triangles run along the whole loop.
fn border_side(
    edges: &Edges,
    face: &[Option<Face>],
    l: &[u32],
    of_piece: impl Fn(u32) -> bool,
) -> Option<Side> {
    let mut side = None;
    for i in 0..l.len() {
        let e = edges.find(l[i], l[(i + 1) % l.len()])?;
        let t = edges.triangles(e).iter().copied().find(|&t| of_piece(t))?;
        let here = match face[t as usize]? {
            Face::Bore => Side::Bore,
            Face::Outside => Side::Outside,
            Face::Far => return None,
        };
        if *side.get_or_insert(here) != here {
            return None;
        }
    }
    side
}
