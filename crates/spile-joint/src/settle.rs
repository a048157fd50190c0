//! Settles what needs no solving: for judging a part that was made elsewhere.

use spile_case::{Case, End, Fitting, Form, Place, Seam, Site};
use spile_mesh::topology::{ends, next};
use spile_mesh::{DVec3, Mesh, NONE, Plane, SectionLoop, Topology};

use crate::ends::place;
use crate::locate::locate;
use crate::make::MakeError;
use crate::mend::{MendOptions, Mended, mend};
use crate::station::with_planes;
use crate::surface::Scan;
use crate::walls::choose_loops;
use crate::work::settle_fitting;

/// The case with every automatic value written out that the scan alone tells:
/// `hole_max`, the mends, the planes of cuts at stations, a fitting's place where
/// the case gives a `gap`, a rim's direction and what is given up there.
///
/// What the case gives stays as it is. Seams stay unsettled.
///
/// # Errors
/// See [`MakeError`]: an end is not to be found on the scan.
pub fn settle(case: &Case, scans: &[Mesh]) -> Result<Case, MakeError> {
    let mended: Vec<Mended> = scans.iter().map(|s| mend(s, MendOptions::of(&case.scan))).collect();
    let mut settled = case.clone();
    settled.scan.hole_max = case.scan.hole_max.or(mended.first().map(|m| m.hole_max));
    if case.mends.is_empty() {
        settled.mends = mended.iter().flat_map(|m| &m.mends).map(|m| m.mend).collect();
    }
    let meshes: Vec<Mesh> = mended.into_iter().map(|m| m.mesh).collect();
    let scan = Scan::of(&meshes);
    settled.ends = with_planes(&scan, case)?.0.ends;
    let two_walls = !case.scan.form.makes_wall();
    for end in &mut settled.ends {
        let by_gap = matches!(end.place, Some(Place::Onward(_)));
        let open = matches!(end.site, Site::Rim(r) if r.facing.is_none() || r.trim.is_none());
        let any_rim = matches!(end.fitting, Some(Fitting::Mesh(m)) if m.rim.is_none());
        if !by_gap && !open && !any_rim {
            continue;
        }
        let located = locate(&scan, end, two_walls)?;
        if (by_gap || any_rim)
            && let Some(placed) = place(&scan, case, end, &located)?
        {
            settle_fitting(end, &placed);
        }
        let deviation = case.limits_at(end).deviation;
        if let Site::Rim(rim) = &mut end.site {
            rim.facing = rim.facing.or(Some(located.facing.to_array()));
            // As a run settles it: the least a plane seam gives up, and what
            // fairing may move.
            let room = 2.0 * deviation;
            rim.trim = rim.trim.or(located.given_up.map(|given_up| given_up + room));
        }
    }
    Ok(settled)
}

/// The seams of a cut end as `part` shows them, where it was cut in the very
/// plane: closed loops of its edges that lie in the plane, to what rounding
/// explains, with the part below them.
///
/// That is a claim like any settled seam, for the proof to check.
///
/// # Errors
/// Why they are not to be read off the part.
pub fn seam_in_plane(part: &Mesh, form: Form, end: &End) -> Result<Seam, String> {
    let Site::Cut(cut) = end.site else {
        return Err("at a rim the seam is where the scan's own rim was trimmed to, and that is \
                    not to be told from the part alone"
            .to_owned());
    };
    let normal = DVec3::from(cut.facing).normalize_or_zero();
    let plane = Plane { point: DVec3::from(cut.through), normal };
    let loops = loops_in(part, plane);
    if loops.is_empty() {
        return Err("no closed loop of the part's edges lies in the cut's plane, so where the \
                    scan ends and the joint begins is not to be told from the part alone"
            .to_owned());
    }
    let two_walls = !form.makes_wall() || end.fitting.is_none();
    let (bore, outside) = choose_loops(&loops, plane, two_walls)?;
    let points = |k: usize| loops[k].points.iter().map(|p| p.to_array()).collect();
    Ok(Seam { bore: points(bore), outside: outside.map_or_else(Vec::new, points) })
}

/// Simple closed loops of edges in a plane whose one triangle lies below it.
fn loops_in(part: &Mesh, plane: Plane) -> Vec<SectionLoop> {
    let points = part.points();
    // Coordinates are f32 values: half a step each, and the plane's own.
    let size = points.iter().map(|p| p.abs().max_element()).fold(0.0, f64::max);
    let rounding = 2.0 * f64::from(f32::EPSILON) * size;
    let height: Vec<f64> = points.iter().map(|&p| plane.height(p)).collect();
    let in_plane = |v: u32| height[v as usize].abs() <= rounding;
    let topology = Topology::of(part);
    let mut after = std::collections::BTreeMap::new();
    let mut forked = Vec::new();
    for h in 0..3 * part.triangles().len() as u32 {
        let [a, b] = ends(part, h);
        let twin = topology.twin(h);
        if twin == NONE || !in_plane(a) || !in_plane(b) {
            continue;
        }
        let third = |h: u32| height[ends(part, next(h))[1] as usize];
        if third(h) < -rounding && third(twin) >= -rounding && after.insert(a, b).is_some() {
            forked.push(a);
        }
    }
    forked.iter().for_each(|v| {
        after.remove(v);
    });
    let mut loops = Vec::new();
    while let Some((&start, _)) = after.first_key_value() {
        let (mut at, mut chain) = (start, Vec::new());
        while let Some(to) = after.remove(&at) {
            chain.push(at);
            at = to;
        }
        if at == start && chain.len() > 2 {
            loops.push(SectionLoop {
                points: chain.iter().map(|&v| points[v as usize]).collect(),
                triangles: vec![0; chain.len()],
                closed: true,
            });
        }
    }
    loops
}
