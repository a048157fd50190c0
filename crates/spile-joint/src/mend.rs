//! Mending: the least repair of a scan's defects, each listed with its place.
//!
//! What is mended: second copies of a triangle, triangles without area, edges
//! of more than two triangles, patches turned inside out, small holes, loose
//! crumbs, points where separate fans of triangles touch, small folds in which
//! the surface meets itself and, where asked, outliers. Everything else stays
//! bit for bit, in its order.

mod crossings;
mod crumbs;
mod edges;
mod fill;
mod flips;
mod holes;
mod outliers;
mod pinches;
mod refill;
mod repeats;
mod work;

pub(crate) use crumbs::CRUMB_AREA_SHARE;
use spile_case::{Ball, Outliers};
use spile_mesh::{DVec3, Mesh, NEVER_STOP, StopAsked};

pub(crate) use repeats::{on_a_line, second_copies};
use work::Work;

use crate::examine::FindingKind;

/// How to mend.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MendOptions {
    /// An open loop smaller across than this is a hole to close; twice the
    /// median edge if left out.
    pub hole_max: Option<f64>,
    /// What becomes of outliers; the default keeps them.
    pub outliers: Outliers,
}

impl MendOptions {
    /// As a case's `[scan]` asks.
    pub(crate) fn of(scan: &spile_case::Scan) -> Self {
        Self { hole_max: scan.hole_max, outliers: scan.outliers }
    }
}

/// One repair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MendMade {
    /// What was wrong, and the ball that holds every triangle that was removed,
    /// added or turned, or that met another. Nothing outside it changed.
    pub mend: spile_case::Mend,
    /// Triangles taken away.
    pub removed_triangles: usize,
    /// Triangles put in.
    pub added_triangles: usize,
    /// Triangles turned over, their corners unmoved.
    pub turned_triangles: usize,
    /// No point of what was taken away lies further than this from the mended
    /// surface, and no point of what was put in further from the scan; certified.
    pub change: f64,
}

/// A defect that could not be mended.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// What is wrong.
    pub kind: FindingKind,
    /// A ball round it.
    pub ball: Ball,
    /// Why it stays, as a sentence.
    pub why: String,
}

/// A mended scan.
#[derive(Debug, Clone, PartialEq)]
pub struct Mended {
    /// The scan, kept triangles first, in their order. Bit for bit the input
    /// where there was nothing to mend.
    pub mesh: Mesh,
    /// For each triangle of `mesh` the scan's triangle that it is, if it is one;
    /// a triangle that was turned over still counts.
    pub origin: Vec<Option<u32>>,
    /// What was done, in order.
    pub mends: Vec<MendMade>,
    /// What could not be done.
    pub refused: Vec<Refusal>,
    /// The hole limit that was used.
    pub hole_max: f64,
}

/// Rounds after which mending stops, done or not. Each round that changes
/// anything removes a triangle or closes a loop; scans took two or three.
const MOST_ROUNDS: usize = 64;

/// Mends `mesh`.
///
/// Shape: any mesh. Mending the answer again, with the same `hole_max`, changes
/// nothing. Where points must part (pinches), the copies keep the coordinates,
/// so a file written from the answer looks as before there.
/// Accuracy: which triangles have no area is decided exactly; new triangles use
/// points that were there, and meet no other triangle (exact test).
/// Cost: O(n log n) a round; one round where nothing is wrong.
pub fn mend(mesh: &Mesh, options: MendOptions) -> Mended {
    let mut work = work_on(mesh, options);
    let _ = mend_all(&mut work, options, NEVER_STOP);
    work.finish(mesh)
}

/// The same; none where `stop` said so.
pub(crate) fn mend_until(mesh: &Mesh, options: MendOptions, stop: StopAsked<'_>) -> Option<Mended> {
    let mut work = work_on(mesh, options);
    mend_all(&mut work, options, stop)?;
    Some(work.finish(mesh))
}

fn work_on(mesh: &Mesh, options: MendOptions) -> Work {
    Work::of(mesh, options.hole_max.unwrap_or_else(|| 2.0 * median_edge(mesh)))
}

/// What is mended each round, in this order.
const EACH_ROUND: [fn(&mut Work); 7] = [
    repeats::remove_duplicates,
    repeats::remove_degenerate,
    edges::part_shared_edges,
    crumbs::remove_crumbs,
    flips::turn_flipped_patches,
    holes::close_holes,
    pinches::part_pinched_points,
];

/// Mends round after round; none where it was stopped.
fn mend_all(work: &mut Work, options: MendOptions, stop: StopAsked<'_>) -> Option<()> {
    let go_on = || (!stop()).then_some(());
    for _ in 0..MOST_ROUNDS {
        let before = work.mends.len();
        work.refused.clear();
        for repair in EACH_ROUND {
            go_on()?;
            repair(work);
        }
        go_on()?;
        if work.mends.len() == before {
            crossings::mend_crossings(work);
        }
        go_on()?;
        if work.mends.len() == before && options.outliers == Outliers::Mend {
            outliers::mend_outliers(work);
        }
        go_on()?;
        if work.mends.len() == before {
            break;
        }
    }
    Some(())
}

/// The length of the edge in the middle when all edges are sorted by length;
/// zero for a mesh without triangles.
///
/// An edge counts once for each triangle that has it.
pub fn median_edge(mesh: &Mesh) -> f64 {
    let points = mesh.points();
    let mut lengths: Vec<f64> = mesh
        .triangles()
        .iter()
        .flat_map(|&[a, b, c]| [(a, b), (b, c), (c, a)])
        .map(|(a, b)| points[a as usize].distance(points[b as usize]))
        .collect();
    if lengths.is_empty() {
        return 0.0;
    }
    let middle = lengths.len() / 2;
    *lengths.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// A ball that holds all of these points, with room for rounding.
pub(crate) fn ball_round(points: impl Iterator<Item = DVec3> + Clone) -> Ball {
    let middle = spile_mesh::Bounds3::of(points.clone()).middle();
    let radius = points.map(|p| p.distance(middle)).fold(0.0, f64::max);
    // The centre is rounded, and so is each distance: a few ulps of either.
    let room = 8.0 * f64::EPSILON * (radius + middle.abs().max_element());
    Ball { at: middle.to_array(), radius: if radius > 0.0 { radius + room } else { 0.0 } }
}

/// The largest distance between two of these points.
pub(crate) fn across(points: &[DVec3]) -> f64 {
    let mut most = 0.0_f64;
    for (i, &a) in points.iter().enumerate() {
        for &b in &points[i + 1..] {
            most = most.max(a.distance_squared(b));
        }
    }
    most.sqrt()
}
