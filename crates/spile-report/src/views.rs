//! From where part and scan are looked at, and their pictures.

use spile_case::{Case, Fitting, Place, Site};
use spile_mesh::{DVec3, Mesh};
use spile_proof::{EndStations, Fate, PartLabel, Region};

use crate::colour::{Rgb, hex, tone};
use crate::document::Key;
use crate::picture::{Camera, CutAway, Look, Paint, Picture, Shading, Surface, draw};

/// From where one looks first; another direction where that runs along an axis.
const EYES: [DVec3; 2] = [DVec3::new(0.50, -0.84, 0.20), DVec3::new(0.84, 0.50, 0.20)];
/// How much round a fitting's near face is drawn, in the end's width.
const NEAR: f64 = 1.5;

/// An end in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EndFrame {
    /// Centre of the fitting's near face, or of a plain end's ring.
    pub at: DVec3,
    /// Unit direction off the scan.
    pub along: DVec3,
    /// How wide the end is, about.
    pub across: f64,
    /// How long its fitting is; 0 at a plain end.
    pub length: f64,
}

/// Where the end of this number is; `stations` are those of its bore.
pub fn frame(case: &Case, end: usize, stations: Option<&EndStations>) -> Option<EndFrame> {
    let end = case.ends.get(end)?;
    let last = stations.and_then(|s| s.stations.last());
    let (at, along) = match (&end.place, &end.site) {
        (Some(Place::At { at, along }), _) => (*at, *along),
        (_, Site::Cut(cut)) => (last.map_or(cut.through, |s| s.at), cut.facing),
        (_, Site::Rim(rim)) => (rim.near, rim.facing.or(last.map(|s| s.normal))?),
        (_, Site::Station(_)) => (last?.at, last?.normal),
    };
    // Wall on both sides of the bore, about a seventh of it each.
    let of_bore = last.and_then(|s| s.area_part.or(s.area_scan)).map(|a| 1.3 * (a * 1.273).sqrt());
    let (across, length) = match &end.fitting {
        Some(Fitting::Tube { outside, length, .. }) => (Some(*outside), *length),
        Some(Fitting::Cone(cone)) => (of_bore.or(Some(1.4 * cone.other)), cone.length),
        Some(Fitting::Mesh(mesh)) => {
            let points = case.solids.get(mesh.solid).map(|s| s.points.as_slice());
            let low = points.unwrap_or_default().iter().flatten().copied();
            let size = low.clone().fold(0.0_f64, f64::max) - low.fold(0.0_f64, f64::min);
            (of_bore, 0.5 * size)
        }
        None => (of_bore, 0.0),
    };
    let along = DVec3::from_array(along).try_normalize()?;
    Some(EndFrame { at: DVec3::from_array(at), along, across: across?, length })
}

/// Toward the eye that looks at something that lies along a direction.
fn eye_for(along: DVec3) -> DVec3 {
    let [first, second] = EYES.map(DVec3::normalize);
    if first.dot(along).abs() < 0.8 { first } else { second }
}

/// A camera that sees the whole mesh with its longest direction to the right.
pub fn whole(mesh: &Mesh) -> Camera {
    let extent = mesh.bounds().max - mesh.bounds().min;
    let longest = [DVec3::Z, DVec3::X, DVec3::Y]
        .into_iter()
        .max_by(|a, b| extent.dot(*a).total_cmp(&extent.dot(*b)))
        .unwrap_or(DVec3::Z);
    Camera::round(mesh.points().iter().copied(), longest, eye_for(longest))
}

/// The other side of the same.
pub fn behind(mesh: &Mesh, camera: &Camera) -> Camera {
    Camera::round(mesh.points().iter().copied(), camera.right(), -camera.toward_eye())
}

/// An end cut open along its axis, fitting to the right.
pub fn cut_open(frame: &EndFrame) -> (Camera, CutAway) {
    let EndFrame { at, along, across, length } = *frame;
    let eye = eye_for(along);
    // The section runs through the axis, or round walls would look bent.
    let facing = (eye - along * eye.dot(along)).normalize_or(eye);
    let beyond = length.min(NEAR * across);
    let middle = at + along * (0.5 * beyond - 0.5 * NEAR * across);
    let half = 0.5 * beyond + 0.5 * NEAR * across;
    let up = facing.cross(along);
    let corners = [1.0, -1.0].map(|s| s * 0.85 * across * up);
    let round =
        corners.into_iter().flat_map(|c| [middle + c + along * half, middle + c - along * half]);
    let camera = Camera::round(round, along, eye);
    let cut = CutAway {
        through: at,
        toward_eye: facing,
        along,
        from: -3.0 * NEAR * across,
        to: 0.55 * beyond,
    };
    (camera, cut)
}

/// Straight into an end from outside.
pub fn into(frame: &EndFrame) -> Camera {
    let EndFrame { at, along, across, .. } = *frame;
    let (x, y) = along.any_orthonormal_pair();
    let near = [x, -x, y, -y].map(|d| at + 1.1 * across * d);
    Camera::round(near, x, along)
}

/// What triangles of a part belong to, by the number that [`region_number`] gives, with
/// its tone.
pub(crate) const REGIONS: [(&str, Rgb); 5] = [
    ("scan, kept bit for bit", tone::KEPT),
    ("scan, replaced", tone::REPLACED),
    ("joint", tone::JOINT),
    ("fitting, end faces", tone::FITTING),
    ("made wall", tone::MADE),
];

/// Where in [`REGIONS`] a triangle's own is.
pub(crate) fn region_number(label: &PartLabel) -> usize {
    match label.region {
        Region::Kept => 0,
        Region::Replaced => 1,
        Region::Joint => 2,
        Region::Fitting | Region::EndFace => 3,
        Region::MadeWall => 4,
    }
}

/// The tone of each triangle of the part.
pub fn part_tones(labels: &[PartLabel]) -> Vec<Rgb> {
    labels.iter().map(|label| REGIONS[region_number(label)].1).collect()
}

/// The tone of each triangle of the scan: what was replaced, and what was given up.
pub fn scan_tones(fates: &[Fate]) -> Vec<Rgb> {
    let of = |fate: &Fate| match fate {
        Fate::Kept => tone::KEPT,
        Fate::Replaced(_) | Fate::MendedAway => tone::REPLACED,
        Fate::Removed(_) | Fate::Lost => tone::MADE,
    };
    fates.iter().map(of).collect()
}

/// What the tones of [`part_tones`] mean, those that there are.
pub fn part_key(labels: &[PartLabel]) -> Key {
    let mut is_there = [false; REGIONS.len()];
    labels.iter().for_each(|label| is_there[region_number(label)] = true);
    let there = REGIONS.iter().zip(is_there).filter(|(_, is_there)| *is_there);
    Key::Tones(there.map(|((name, tone), _)| (hex(*tone), (*name).to_owned())).collect())
}

/// What the tones of [`scan_tones`] mean, those that there are.
pub fn scan_key(fates: &[Fate]) -> Key {
    let is = |of: fn(&Fate) -> bool| fates.iter().any(of);
    let names = [
        (tone::KEPT, "kept bit for bit", is(|f| matches!(f, Fate::Kept))),
        (
            tone::REPLACED,
            "replaced or mended",
            is(|f| matches!(f, Fate::Replaced(_) | Fate::MendedAway)),
        ),
        (tone::MADE, "given up", is(|f| matches!(f, Fate::Removed(_) | Fate::Lost))),
    ];
    let there = names.into_iter().filter(|(_, _, is_there)| *is_there);
    Key::Tones(there.map(|(tone, name, _)| (hex(tone), name.to_owned())).collect())
}

/// A picture of a surface in tones.
pub fn toned(
    surface: &Surface,
    tones: &[Rgb],
    (camera, cut): (Camera, Option<CutAway>),
    size: [usize; 2],
) -> Picture {
    let paint = Paint::Triangles(tones);
    draw(surface, &Look { camera, cut, paint, shading: Shading::Smooth, size })
}
