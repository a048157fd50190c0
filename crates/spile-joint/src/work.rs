//! What the steps have made of one end so far, and how it enters the part.

use std::collections::BTreeMap;

use spile_case::{Case, End, Fitting, JointShape, Place, Seam, Site};
use spile_mesh::{DVec3, Plane, SectionLoop, section_near};

use crate::bore_side::Joint;
use crate::cap::fill_ring;
use crate::close::{Base, Builder, Dropped};
use crate::cut::EndLoops;
use crate::ends::{SideAtEnd, at_end};
use crate::fitting::Placed;
use crate::locate::Located;
use crate::make::{JointBends, MakeError, Note};
use crate::outside::OutsideJoint;
use crate::span::Grid;
use crate::surface::Scan;
use crate::walls::{self, WallSide};

/// The work at one end.
pub struct Work<'a> {
    /// The end as the case asks for it.
    pub end: &'a End,
    /// Where it is on the scan.
    pub located: Located,
    /// The fitting in its place.
    pub placed: Option<Placed>,
    /// How far its bands reach, where it has some: what the case gives, or its share.
    pub reach: Option<f64>,
    /// The bore side.
    pub bore: SideAtEnd,
    /// The outside.
    pub outside: Option<SideAtEnd>,
    /// The joint, once it is spanned.
    pub joint: Option<Joint>,
    /// The joint's outside and the order of its seam's points in the rim.
    pub outside_grid: Option<(Grid, Vec<usize>)>,
}

/// Adds one end to the part: bands, joint and fitting, or pieces and a flat
/// ring. Tells the seam as the part carries it.
pub fn close_end(
    builder: &mut Builder<'_>,
    surfaces: [(Base, &Scan); 2],
    work: &Work<'_>,
    outside: &SideAtEnd,
) -> Result<Seam, MakeError> {
    let [(base, scan), (outside_base, outside_scan)] = surfaces;
    let ring_error = |e: crate::cap::CapError| {
        at_end(work.end, e, &["move the cut a little, where its outline is simpler"])
    };
    let normal = work.located.loops.plane.normal;
    let (Some(placed), Some(joint), Some((outside_grid, outside_order))) =
        (&work.placed, &work.joint, &work.outside_grid)
    else {
        let bore_rim = builder.add_pieces(base, scan, &work.bore.cut, work.bore.flip);
        let outside_rim =
            builder.add_pieces(outside_base, outside_scan, &outside.cut, outside.flip);
        let loops = [with_points(builder, &outside_rim), with_points(builder, &bore_rim)];
        let ring = fill_ring(&loops, normal).map_err(ring_error)?;
        builder.add_triangles(&ring);
        return Ok(Seam {
            bore: coordinates(builder, &bore_rim),
            outside: coordinates(builder, &outside_rim),
        });
    };
    let (Some(bore_band), Some(outside_band)) = (&work.bore.band, &outside.band) else {
        return Err(at_end(work.end, "the end has no band to join to", &[]));
    };
    let bore_rim = builder.add_band(base, bore_band, true);
    let outside_rim = builder.add_band(outside_base, outside_band, false);
    let taken = |rim: &[u32], order: &[usize]| order.iter().map(|&k| rim[k]).collect::<Vec<u32>>();
    let bore_seam = taken(&bore_rim, &joint.bore_order);
    let outside_seam = taken(&outside_rim, outside_order);
    let bore_far = builder.add_joint(&bore_seam, &joint.bore, (WallSide::Bore, false), placed);
    let outside_far =
        builder.add_joint(&outside_seam, outside_grid, (WallSide::Outside, true), placed);
    let loops = [with_points(builder, &outside_far), with_points(builder, &bore_far)];
    if let Some(solid) = &placed.foreign {
        let first = builder.add_solid(&solid.points, &solid.triangles);
        let [outside, bore] = &loops;
        builder.add_triangles(&solid.strip(WallSide::Bore, bore, first, false));
        builder.add_triangles(&solid.strip(WallSide::Outside, outside, first, true));
    } else {
        let ring = fill_ring(&loops, placed.along).map_err(ring_error)?;
        builder.add_triangles(&ring);
    }
    Ok(Seam {
        bore: coordinates(builder, &bore_seam),
        outside: coordinates(builder, &outside_seam),
    })
}

/// The points of a rim with their numbers.
pub fn with_points(builder: &Builder<'_>, rim: &[u32]) -> Vec<(u32, DVec3)> {
    rim.iter().map(|&v| (v, builder.point(v))).collect()
}

/// The points of a rim as the case writes them.
pub fn coordinates(builder: &Builder<'_>, rim: &[u32]) -> Vec<[f64; 3]> {
    rim.iter().map(|&v| builder.point(v).to_array()).collect()
}

/// Writes what was chosen into the settled case.
pub fn settle_end(end: &mut End, work: &Work<'_>, seam: Seam, deviation: f64) {
    end.seam = Some(seam);
    if let Some(placed) = &work.placed {
        settle_fitting(end, placed);
    }
    if let Site::Rim(rim) = &mut end.site {
        rim.facing = Some(work.located.facing.to_array());
        // Fairing may move the seam by the deviation.
        let room = 2.0 * deviation;
        rim.trim = rim.trim.or(work.located.given_up.map(|g| g + room));
    }
}

/// Writes a fitting's place into the settled case, and which rim of a solid from
/// a file is joined.
pub fn settle_fitting(end: &mut End, placed: &Placed) {
    if end.place != Some(Place::AsModelled) {
        let (at, along) = (placed.near_face().to_array(), placed.along.to_array());
        end.place = Some(Place::At { at, along });
    }
    if let (Some(Fitting::Mesh(mesh)), Some(solid)) = (&mut end.fitting, &placed.foreign) {
        mesh.rim = Some(solid.in_file.to_array());
    }
}

/// Which triangles of a surface are not in the part as they were.
pub fn dropped<'b>(sides: impl Iterator<Item = &'b SideAtEnd>) -> Dropped {
    let mut dropped = Vec::new();
    for side in sides {
        let replaced = side.band.iter().flat_map(|b| &b.replaces);
        dropped.extend(side.cut.crossed.iter().chain(&side.cut.removed).chain(replaced).copied());
    }
    Dropped::of(dropped)
}

/// The end's place on the made wall, which is so thick: the loop of its plane
/// round the bore.
///
/// # Errors
/// Where the plane runs into the wall of another part of the bore: the loop
/// then leaves the rim of the bore by twice the wall, which a square cut of one
/// branch never does, and the end face would shave that wall or cross its bore.
pub fn on_made_wall(
    wall: &Scan,
    thickness: f64,
    end: &End,
    bore: &Located,
) -> Result<Located, MakeError> {
    let plane = bore.loops.plane;
    let centre = bore.loops.bore.centroid(plane.normal);
    let across = (bore.loops.bore.area(plane.normal).abs()).sqrt();
    let plane = Plane { point: centre, normal: plane.normal };
    let loops = section_near(&wall.mesh, &wall.topology, &wall.bvh, plane, centre, 2.0 * across);
    let (chosen, _) = walls::choose_loops(&loops, plane, false)
        .map_err(|e| at_end(end, e, &["move the cut away from other branches"]))?;
    let outside = loops[chosen].clone();
    let astray = outside.points.iter().map(|&p| (bore.loops.bore.distance(p), p));
    if let Some((far, p)) = astray.max_by(|a, b| a.0.total_cmp(&b.0))
        && far >= 2.0 * thickness
    {
        return Err(at_end(
            end,
            format!(
                "the plane of its cut runs into the wall that is made round another part of the bore, near ({:.2}, {:.2}, {:.2}), {far:.2} from the rim of the branch that is cut",
                p.x, p.y, p.z
            ),
            &[
                "move `through` along the branch, or turn `facing`, until the plane is square to the branch and clear of others",
                "make `wall` thinner",
            ],
        ));
    }
    // The bore's loop lies on another surface: the cut of this one is its own.
    let loops = EndLoops { plane, bore: SectionLoop::default(), outside: Some(outside) };
    Ok(Located { loops, facing: bore.facing, given_up: bore.given_up })
}

/// Notes what the joint lacks and how much it bends, for the engineer to see
/// beside the proof.
pub fn note_joint(
    work: &Work<'_>,
    (joint, outside): (&Joint, &OutsideJoint),
    case: &Case,
    notes: &mut Vec<Note>,
) {
    let name = &work.end.name;
    let spare = outside.spare;
    let (least, asked) = joint.area;
    if least < asked * (1.0 - case.limits_at(work.end).bore_loss.unwrap_or(1.0)) {
        notes.push(Note::Said(format!(
            "end `{name}`: the joint's least bore area is {least:.2}, less than the {asked:.2} of its smaller end"
        )));
    }
    if spare < 0.0 {
        notes.push(Note::Said(format!(
            "end `{name}`: the joint's wall is {:.3} under what is asked",
            -spare
        )));
    }
    // Straight lines that meet a seam at an angle have no such energy.
    if case.joint.shape != JointShape::Tangent {
        return;
    }
    for (side, bending) in [(WallSide::Bore, joint.bending), (WallSide::Outside, outside.bending)] {
        notes.push(Note::JointBends(JointBends { end: name.clone(), side, bending }));
    }
}

/// The surface that the outside is on.
pub struct Outside<'s> {
    /// The surface.
    pub scan: &'s Scan,
    /// Sides of the scan's triangles where it has both; none where the outside
    /// is a surface of its own.
    pub sides: Option<&'s [Option<WallSide>]>,
}

impl Work<'_> {
    /// Bore side and outside.
    pub fn both(&self) -> impl Iterator<Item = &SideAtEnd> {
        std::iter::once(&self.bore).chain(&self.outside)
    }
}

/// Two ends that want to change the same triangle, or triangles that share a point.
pub struct Meeting {
    ends: [usize; 2],
    at: DVec3,
}

/// Where two ends want to change triangles that share a point, if any do.
///
/// # Errors
/// The two sides of one end want to change the same triangle.
pub fn apart(scan: &Scan, works: &[Work<'_>]) -> Result<Option<Meeting>, MakeError> {
    works.iter().try_for_each(|work| sides_apart(scan, work))?;
    let mut owner: BTreeMap<u32, usize> = BTreeMap::new();
    let mut points: BTreeMap<u32, (usize, bool)> = BTreeMap::new();
    for (k, work) in works.iter().enumerate() {
        for side in work.both() {
            let band = side.band.iter().flat_map(|b| &b.replaces).map(|&t| (t, true));
            let cut = side.cut.crossed.iter().chain(&side.cut.removed).map(|&t| (t, false));
            for (t, in_band) in band.chain(cut) {
                let corners = scan.mesh.triangles()[t as usize];
                let on_one = owner.insert(t, k).filter(|&o| o != k).map(|o| (o, corners[0]));
                // A point between two bands would have nothing untouched beside it.
                let at_one = corners.into_iter().find_map(|v| {
                    let (o, was_band) = *points.entry(v).or_insert((k, in_band));
                    (o != k && (in_band || was_band)).then_some((o, v))
                });
                if let Some((other, v)) = on_one.or(at_one) {
                    let at = scan.mesh.points()[v as usize];
                    return Ok(Some(Meeting { ends: [other, k], at }));
                }
            }
        }
    }
    Ok(None)
}

/// A reach that was shared out is at least so many of the scan's median edges: less
/// leaves no room to pass from the scan's edges to the joint's.
const LEAST_SHARE_OF_EDGE: f64 = 3.0;

/// How far the ends of a meeting may reach instead, in proportion to what they do;
/// with each end's number.
///
/// # Errors
/// There is not enough room between them; it says how much there is and how much
/// would do.
pub fn share_out(
    scan: &Scan,
    works: &[Work<'_>],
    Meeting { ends, at }: &Meeting,
) -> Result<Vec<(usize, f64)>, MakeError> {
    let edge = scan.median_edge();
    let from = ends.map(|k| {
        let loops = &works[k].located.loops;
        let sides = std::iter::once(&loops.bore).chain(&loops.outside);
        sides.map(|l| l.distance(*at)).fold(f64::INFINITY, f64::min)
    });
    // A triangle may reach an edge or two beyond the point where they meet.
    let room = from[0] + from[1] - 2.0 * edge;
    let reaches = ends.map(|k| works[k].reach);
    let sum: f64 = reaches.iter().flatten().sum();
    let least = LEAST_SHARE_OF_EDGE * edge;
    let count = reaches.iter().flatten().count();
    let most = room - least * count.saturating_sub(1) as f64;
    let shares: Vec<(usize, f64)> = ends
        .iter()
        .zip(reaches)
        .filter_map(|(&k, reach)| {
            let reach = reach?;
            // Less each time, so that this ends.
            let share = (reach * room / sum).clamp(least.min(most), most).min(0.95 * reach);
            Some((k, share))
        })
        .collect();
    if shares.is_empty() || shares.iter().any(|&(_, share)| share < least) {
        // A little more, for triangles differ in size.
        let needed = 1.2 * least * count.max(1) as f64;
        return Err(at_end(
            works[ends[1]].end,
            format!(
                "its reach meets that of end `{}` near ({:.2}, {:.2}, {:.2}), where it is {:.2} \
                 from one cut to the other, too little to share out; {:.2} would do",
                works[ends[0]].end.name,
                at.x,
                at.y,
                at.z,
                from[0] + from[1],
                needed + 2.0 * edge
            ),
            &["move the cuts apart, or make one of the ends plain, without `reach`"],
        ));
    }
    Ok(shares)
}

/// Errs where the surface within reach of an end goes round from the bore to
/// the outside, as over the far rim of a short part.
fn sides_apart(scan: &Scan, work: &Work<'_>) -> Result<(), MakeError> {
    let band = |side: &SideAtEnd| side.band.as_ref().map(|b| b.replaces.clone());
    let (Some(bore), Some(outside)) = (band(&work.bore), work.outside.as_ref().and_then(band))
    else {
        return Ok(());
    };
    let on_both = bore.iter().find(|t| outside.binary_search(t).is_ok());
    on_both.map_or(Ok(()), |&t| {
        let p = scan.mesh.corners(t as usize)[0];
        Err(at_end(
            work.end,
            format!(
                "its reach goes round from the bore to the outside, near ({:.2}, {:.2}, {:.2})",
                p.x, p.y, p.z
            ),
            &["make `reach` shorter than the way to that place"],
        ))
    })
}
