//! The outside of one end: spanned from the wall that is asked, and checked.

use spile_case::{Clear, End, JointGuide};
use spile_mesh::{Bounds3, Bvh, DVec3, Mesh, StopAsked};

use crate::bore_side::Joint;
use crate::ends::{at_end, seam_of, unsolved, with_angles};
use crate::fitting::Placed;
use crate::locate::Located;
use crate::make::{MakeError, go_on};
use crate::reach::Band;
use crate::span::{Bending, Grid, KeepOut, Led, SpanLimits, joined, span_outside};
use crate::surface::Scan;
use crate::walls::WallSide;

/// What the outside of a joint must hold.
#[derive(Clone, Copy)]
pub struct OutsideLimits<'a> {
    /// Least wall at a place.
    pub wall_min: &'a dyn Fn(DVec3) -> f64,
    /// The most of it at any place.
    pub wall_most: f64,
    /// What no joint may enter.
    pub clears: &'a [Clear],
    /// Length of the edges to make.
    pub edge: f64,
    /// Largest angle at a seam, degrees, if asked.
    pub kink_deg: Option<f64>,
    /// How far the band may lie from what was scanned.
    pub deviation: f64,
    /// How the joint is led.
    pub led: Led<'a>,
    /// The wall that is wanted along it.
    pub wall: &'a JointGuide,
}

/// The outside of one end.
pub struct OutsideJoint {
    /// The band, moved a little where an angle asked for it.
    pub band: Band,
    /// The joint's outside.
    pub grid: Grid,
    /// Part order of the band's rim points in the grid's first row.
    pub order: Vec<usize>,
    /// By how much the joint's wall is above what is asked, at its worst place.
    pub spare: f64,
    /// How much it bends.
    pub bending: Bending,
}

/// Spans the outside of an end on `surface`; `before` is the band as scanned,
/// `bore_near` the bore side near the joint.
pub fn join_outside(
    (end, surface, located): (&End, &Scan, &Located),
    (before, band): (&Mesh, &Band),
    joint: &Joint,
    bore_near: &Mesh,
    placed: &Placed,
    limits: &OutsideLimits<'_>,
    stop: StopAsked<'_>,
) -> Result<OutsideJoint, MakeError> {
    is_gentle(end, limits.wall, joint.way.length())?;
    let (seam, order) = seam_of(band, located.loops.plane.normal);
    let index = Bvh::build(bore_near);
    let mut best: Option<OutsideJoint> = None;
    // Half an edge, so that no region slips through between the places measured.
    let room = 0.5 * limits.edge + limits.deviation;
    let clear = KeepOut { regions: limits.clears, room };
    // Facets between the places measured bulge by far less than this share of
    // an edge; where more is lost to flat angles, more room is made.
    for share in [0.05, 0.1, 0.2] {
        let span = SpanLimits {
            area_min: 0.0,
            area_loss_share: 1.0,
            wall_min: limits.wall_min,
            wall_most: limits.wall_most,
            wall_room: share * limits.edge,
            clear,
            edge: limits.edge,
            led: limits.led,
            wall: limits.wall,
            stop,
        };
        let grid = span_outside(&joint.way, &seam, placed.outside, &index, &span)
            .map_err(|e| unsolved(end, e))?;
        let (band, grid) = with_angles(
            end,
            surface,
            (before, band),
            (&grid, &order),
            (limits.kink_deg, limits.deviation),
            stop,
        )?;
        go_on(stop)?;
        let outside = grid.mesh(true);
        let beyond = joined(&joined(&outside, &band.mesh), &placed.mesh(WallSide::Outside, &grid));
        let spare = wall_spare(&outside, &index, limits, f64::INFINITY);
        let spare = wall_spare(&joint.bore.mesh(true), &Bvh::build(&beyond), limits, spare);
        if best.as_ref().is_none_or(|b| spare > b.spare) {
            let (seam, order) = seam_of(&band, located.loops.plane.normal);
            let bending =
                Bending::of(&grid, &joint.way, &seam, placed.outside, limits.edge, &limits.led)
                    .map_err(|e| unsolved(end, e))?;
            best = Some(OutsideJoint { band, grid, order, spare, bending });
        }
        if spare > 0.2 * share * limits.edge {
            break;
        }
    }
    best.ok_or_else(|| at_end(end, "the outside has no shape", &[]))
}

/// A wall that gets thicker faster than this has an outside that leans so far off the
/// bore that the nearest way across is no longer the thickness meant.
const STEEPEST_WALL: f64 = 0.3;

/// Errs where the wall that is wanted changes too fast over a joint of this length.
fn is_gentle(end: &End, guide: &JointGuide, length: f64) -> Result<(), MakeError> {
    let steep = guide.wall.windows(2).find_map(|pair| {
        let way = (pair[1].at - pair[0].at) * length;
        let change = (pair[1].thickness - pair[0].thickness).abs();
        (change > STEEPEST_WALL * way).then_some((change, way, pair[0].at))
    });
    steep.map_or(Ok(()), |(change, way, at)| {
        Err(at_end(
            end,
            format!(
                "the wall of `[joint]` changes by {change:.2} over {way:.2} from {at} on, more than {STEEPEST_WALL} of the way"
            ),
            &["set its places further apart, or their thicknesses nearer to each other"],
        ))
    })
}

/// By how much the way from a surface to the other side is longer than asked,
/// at its worst place, or `known` if that is less: measured at corners, middles
/// of edges and of triangles.
fn wall_spare(surface: &Mesh, other: &Bvh, limits: &OutsideLimits<'_>, known: f64) -> f64 {
    let corner = |v: u32| surface.points()[v as usize];
    let mut edges: Vec<[u32; 2]> = (surface.triangles().iter())
        .flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]])
        .map(|[a, b]| [a.min(b), a.max(b)])
        .collect();
    edges.sort_unstable();
    edges.dedup();
    let middles = edges.into_iter().map(|[a, b]| 0.5 * (corner(a) + corner(b)));
    let inside = surface.triangles().iter().map(|t| t.map(corner).iter().sum::<DVec3>() / 3.0);
    let mut least = known;
    for p in surface.points().iter().copied().chain(middles).chain(inside) {
        // What is farther than this has more to spare than the least so far.
        let Some(found) = other.closest_within(p, limits.wall_most + least) else { continue };
        let asked = (limits.wall_min)(p).max((limits.wall_min)(found.point));
        least = least.min(found.distance - asked);
    }
    least
}

/// The thinnest wall of the scan along a seam, near each place.
pub struct SeamWall {
    samples: Vec<(DVec3, f64)>,
    /// Over the samples' places, one triangle of no size each.
    index: Bvh,
}

impl SeamWall {
    /// Walls from the points of each loop to the other side.
    pub fn new(bore_loop: &[DVec3], outside_loop: &[DVec3], bore: &Bvh, outside: &Bvh) -> Self {
        let wall = |p: &DVec3, other: &Bvh| (*p, other.closest(*p).map_or(0.0, |c| c.distance));
        let samples: Vec<(DVec3, f64)> = bore_loop
            .iter()
            .map(|p| wall(p, outside))
            .chain(outside_loop.iter().map(|p| wall(p, bore)))
            .collect();
        let places = samples.iter().map(|s| s.0).collect();
        let each = (0..samples.len() as u32).map(|k| [k, k, k]).collect();
        let index = Bvh::build(&Mesh::new(places, each).unwrap_or_default());
        Self { samples, index }
    }

    /// The least wall asked at `p`: `wall_min`, or near the seam the scan's own
    /// thinnest wall there if that is less. What is nearer to `p` than `cell`
    /// is asked the same.
    pub fn asked(&self, p: DVec3, wall_min: f64, cell: f64) -> f64 {
        let reach = 2.0 * wall_min - cell;
        let mut least = wall_min;
        if reach <= 0.0 {
            return least;
        }
        let near = Bounds3 { min: p - reach, max: p + reach };
        self.index.for_each_touching(near, &mut |k| {
            let (q, wall) = self.samples[k as usize];
            if q.distance(p) < reach {
                least = least.min(wall);
            }
        });
        least
    }
}
