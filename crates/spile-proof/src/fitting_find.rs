//! Which triangles of a part are a fitting's: those that lie on its exact surface
//! and hang together with its far face.

use spile_mesh::{DVec3, Mesh};

use crate::edges::Edges;
use crate::labels::{FittingFrame, Side};

/// A face of a fitting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Face {
    /// The inner side.
    Bore,
    /// The outer side, a flange's flat sides included.
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
    let loose = (4.0 * chord).min(0.25 * frame.thinnest()).max(near);
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
