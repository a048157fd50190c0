//! The bore side of one end: spanned so that its area holds, the seam opened
//! where the scan itself is too narrow there.

use spile_case::{End, JointGuide};
use spile_mesh::{DVec3, Mesh, StopAsked};

use crate::ends::{at_end, polygon_centre, seam_of, unsolved, with_angles};
use crate::fitting::Placed;
use crate::locate::{Located, tangent};
use crate::make::MakeError;
use crate::reach::Band;
use crate::refine::rim_index;
use crate::span::{Bending, Grid, KeepOut, Led, SpanLimits, Way, joined, least_within, span_bore};
use crate::surface::Scan;
use crate::walls::WallSide;

/// The least area that the joint's bore may have: the smaller of the fitting's
/// circle and the scan's own least section over tilts of 20 degrees, as near
/// to the seam as all of those stay on the scan.
///
/// `along` is the direction of the bore's centreline there, off the scan. How
/// near that is depends on the line's own course, so a few depths are tried and
/// the most is asked for.
fn area_to_keep(bore_near: &Mesh, seam: &[DVec3], way: &Way, along: DVec3, circle: f64) -> f64 {
    let reach = seam.iter().map(|p| p.distance(way.start)).fold(0.0, f64::max);
    // A plane tilted by up to 20 degrees passes below a point of the seam if
    // it starts this deep.
    let depth = |p: &DVec3| {
        let height = (*p - way.start).dot(along);
        (*p - way.start - along * height).length() * 20f64.to_radians().tan() - height
    };
    let least = seam.iter().map(depth).fold(0.0, f64::max);
    let scan_area = [0.0, 0.03, 0.06, 0.09, 0.12]
        .into_iter()
        .map(|deeper| {
            let point = way.start - along * (least + (0.005 + deeper) * reach);
            let plane = spile_mesh::Plane { point, normal: along };
            least_within(bore_near, plane, 2.0 * reach)
        })
        .filter(|area| area.is_finite())
        .fold(0.0, f64::max);
    scan_area.min(std::f64::consts::PI * circle * circle)
}

/// What the joint of one end came out as.
pub struct Joint {
    /// The bore side.
    pub bore: Grid,
    /// Part order of the bore's rim points in the grid's first row.
    pub bore_order: Vec<usize>,
    /// Least bore area found and asked.
    pub area: (f64, f64),
    /// The way it follows.
    pub way: Way,
    /// How much its bore bends.
    pub bending: Bending,
}

/// What the bore side of a joint must hold.
#[derive(Debug, Clone, Copy)]
pub struct BoreLimits<'a> {
    /// Share of the area to keep that may be lost.
    pub loss_share: f64,
    /// Length of the edges to make.
    pub edge: f64,
    /// Largest angle at a seam, degrees, if asked.
    pub kink_deg: Option<f64>,
    /// How far the band may lie from what was scanned.
    pub deviation: f64,
    /// How the joint is led.
    pub led: Led<'a>,
}

/// Only where the joint is narrowest nearer to its seam than this share of its
/// way does opening the seam widen it.
const NEAR_SEAM: f64 = 0.3;

/// Rounds of opening a seam that is too narrow.
const OPENINGS: usize = 6;

/// Spans the bore side of an end on `scan`; `before` is the band as scanned,
/// `kept_near` the scan's bore beyond it.
///
/// Where the scan itself is narrower at the seam than the joint may be, the
/// band is opened there, within the deviation allowed.
pub fn join_bore(
    (end, scan, located): (&End, &Scan, &Located),
    (before, band): (&Mesh, &Band),
    kept_near: &Mesh,
    placed: &Placed,
    limits: &BoreLimits<'_>,
    stop: StopAsked<'_>,
) -> Result<(Band, Joint), MakeError> {
    let mut best: Option<(Band, Joint)> = None;
    let mut opened = band.clone();
    for _ in 0..OPENINGS {
        let (joint, worst) =
            span_once((end, scan, located), (before, &opened), kept_near, placed, (limits, stop))?;
        let (least, asked) = joint.area;
        if best.as_ref().is_none_or(|(_, b)| least > b.area.0) {
            best = Some((opened.clone(), joint));
        }
        let lack = asked * (1.0 - 0.5 * limits.loss_share) - least;
        if lack <= 0.0 || worst > NEAR_SEAM {
            break;
        }
        let by = 1.2 * lack / (2.0 * (std::f64::consts::PI * asked).sqrt());
        opened = opened_at_rim(&opened, by);
        if !opened.is_near(before, 0.9 * limits.deviation) {
            break;
        }
    }
    let Some((band, joint)) = best else { return Err(at_end(end, "the bore has no shape", &[])) };
    let (band, bore) = with_angles(
        end,
        scan,
        (before, &band),
        (&joint.bore, &joint.bore_order),
        (limits.kink_deg, limits.deviation),
        stop,
    )?;
    let (seam, _) = seam_of(&band, located.loops.plane.normal);
    let bending = Bending::of(&bore, &joint.way, &seam, placed.bore, limits.edge, &limits.led)
        .map_err(|e| unsolved(end, e))?;
    Ok((band, Joint { bore, bending, ..joint }))
}

/// The band with its rim moved away from the bore's line by `by`, fading out
/// over most of its depth so that no edge there gets sharper.
fn opened_at_rim(band: &Band, by: f64) -> Band {
    let rim = rim_index(band);
    let away = |p: DVec3| rim.closest(p).map_or(0.0, |c| c.distance);
    let depth =
        band.mesh.points()[..band.shared].iter().map(|&p| away(p)).fold(f64::INFINITY, f64::min);
    let normals = band.mesh.point_normals();
    let points = band.mesh.points().iter().enumerate().map(|(v, &p)| {
        if v < band.shared {
            return p;
        }
        let left = (2.1 - 2.2 * away(p) / depth).clamp(0.0, 1.0);
        p + normals[v] * (by * left * left * (3.0 - 2.0 * left))
    });
    band.moved(points.collect())
}

/// The bore side as the limits on area shape it, and where along the way its
/// area is least.
fn span_once(
    (end, scan, located): (&End, &Scan, &Located),
    (before, band): (&Mesh, &Band),
    kept_near: &Mesh,
    placed: &Placed,
    (limits, stop): (&BoreLimits<'_>, StopAsked<'_>),
) -> Result<(Joint, f64), MakeError> {
    let normal = located.loops.plane.normal;
    let (seam, bore_order) = seam_of(band, normal);
    let start = polygon_centre(&seam.points, normal);
    let way = Way {
        start,
        facing: located.facing,
        seam_normal: normal,
        end: placed.at,
        along: placed.along,
        even: 0.0,
    };
    let radius = seam.points.iter().map(|p| p.distance(start)).fold(0.0, f64::max);
    // The wall lies outside the bore by as much as at the fitting.
    let way = way.with_room(radius.max(placed.bore) + placed.outside - placed.bore);
    let bore_near = joined(kept_near, &band.mesh);
    let line = tangent(scan, &located.loops, located.loops.plane.normal);
    let scanned = joined(kept_near, before);
    let asked = area_to_keep(&scanned, &seam.points, &way, line, placed.bore);
    // The fitting's own bore, so that tilted sections close there, too.
    let tube = {
        let frames = way.frames(9);
        let n = seam.points.len();
        let r = crate::span::area_true_radius(placed.bore, n);
        let ring: Vec<DVec3> = (0..n)
            .map(|j| {
                let a = std::f64::consts::TAU * j as f64 / n as f64;
                frames[8].centre + frames[8].radial(a) * r
            })
            .collect();
        placed.mesh(WallSide::Bore, &Grid { rows: vec![ring] })
    };
    let near = joined(&bore_near, &tube);
    let no_wall = |_: DVec3| 0.0;
    let span = SpanLimits {
        area_min: asked,
        area_loss_share: limits.loss_share,
        wall_min: &no_wall,
        wall_most: 0.0,
        wall_room: 0.0,
        clear: KeepOut::NONE,
        edge: limits.edge,
        led: limits.led,
        wall: &JointGuide::default(),
        stop,
    };
    let bore = span_bore(&way, &seam, placed.bore, &near, &span).map_err(|e| unsolved(end, e))?;
    // Told once the shape is final.
    let bending = Bending { made: 0.0, free: 0.0 };
    let joint = Joint { bore: bore.grid, bore_order, area: (bore.least, asked), way, bending };
    Ok((joint, bore.worst))
}
