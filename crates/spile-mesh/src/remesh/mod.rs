//! Local isotropic remeshing of a patch under a deviation limit.
//!
//! Long edges are split, short ones collapsed, edges flipped and points relaxed
//! until edges are about as long as asked; every step keeps within a sampled
//! envelope of the original, and the whole is certified at the end in both
//! directions. Where that fails the work is done again with smaller triangles
//! and a tighter envelope there; where that does not help, the old triangles
//! stay. So the deviation holds for every input, and the edge length gives way.
//!
//! # Source
//! Botsch and Kobbelt 2004 for the cycle; Cheng et al. 2019 for tightening
//! where a bound fails.

mod assemble;
mod certify;
mod guard;
mod lines;
mod operations;
mod polish;
mod quality;
mod relax;
mod sizing;
mod working;

#[cfg(test)]
mod tests;

use glam::DVec3;

use crate::{Bvh, Mesh, NEVER_STOP, StopAsked, TwoSided};
use guard::{Guard, Tight};
pub use quality::{edge_shares, least_angles_deg, near_boundary, radius_ratios};

/// What may happen to edges that stay lines: open rims and named edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Lines {
    /// Their points and edges stay as they are.
    #[default]
    Frozen,
    /// Points may be put in and taken out along them, on the given polyline;
    /// where it turns by more than the feature angle its points stay.
    Resampled,
}

/// How to remesh.
#[derive(Clone, Copy)]
pub struct RemeshOptions<'a> {
    /// The wanted edge length at a place.
    pub size: &'a (dyn Fn(DVec3) -> f64 + Sync),
    /// The most that the new surface may lie from the old one and the old from
    /// the new.
    pub deviation: f64,
    /// How far apart the bounds of the deviation that came out may be; infinite
    /// where all that matters is that it is within what was asked.
    pub gap: f64,
    /// Edges that turn by more than this are kept as lines, in degrees.
    pub feature_deg: f64,
    /// So many points, the first, stay in place and keep their index: for a
    /// lifted patch its [`crate::Patch::border`]. Boundary edges between them
    /// stay as they are.
    pub kept_points: usize,
    /// Further points that stay in place; [`Remeshed::point_of_old`] tells where
    /// they went.
    pub fixed_points: &'a [u32],
    /// Edges that stay lines.
    pub fixed_edges: &'a [[u32; 2]],
    /// What may happen to `fixed_edges` and to boundary edges other than those
    /// between kept points.
    pub lines: Lines,
    /// How often at most smaller triangles are tried where the deviation was not
    /// met, before old ones stay.
    pub rounds: usize,
    /// Asked between cycles whether to stop.
    pub stop: StopAsked<'a>,
}

impl<'a> RemeshOptions<'a> {
    /// Remeshing to this size within this deviation, with all else as usual:
    /// bounds within a fiftieth of the deviation, features from 45 degrees, lines frozen, nothing kept by number, up to 5
    /// rounds.
    pub fn new(size: &'a (dyn Fn(DVec3) -> f64 + Sync), deviation: f64) -> Self {
        Self {
            size,
            deviation,
            gap: 0.02 * deviation,
            feature_deg: 45.0,
            kept_points: 0,
            fixed_points: &[],
            fixed_edges: &[],
            lines: Lines::Frozen,
            rounds: 5,
            stop: NEVER_STOP,
        }
    }
}

/// Why a patch is not remeshed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RemeshError {
    /// The limit is no length.
    #[error("the deviation must be a positive length: {deviation}")]
    Deviation {
        /// The value given.
        deviation: f64,
    },
    /// The size field gave no length.
    #[error("the wanted edge length at {at} must be a positive length: {size}")]
    Size {
        /// The place.
        at: DVec3,
        /// What the field gave.
        size: f64,
    },
    /// The wanted edge length asks for more triangles than is sensible.
    #[error(
        "the wanted edge length asks for about {triangles:.0} triangles, more than {most}: \
         it is {size} at {at}; ask for longer edges or a smaller patch"
    )]
    TooFine {
        /// About how many.
        triangles: f64,
        /// How many at most are made.
        most: f64,
        /// The smallest length asked for.
        size: f64,
        /// Where.
        at: DVec3,
    },
    /// A triangle names a point twice.
    #[error("triangle {triangle} of the patch names a point twice: mend it first")]
    Collapsed {
        /// The triangle, as the patch counts them.
        triangle: u32,
    },
    /// A point that is to stay does not exist.
    #[error("point {point} is to stay in place, but the patch has no such point")]
    NoSuchPoint {
        /// Its index.
        point: u32,
    },
    /// An edge that is to stay does not exist.
    #[error("the edge from point {from} to point {to} is to stay, but the patch has no such edge")]
    NoSuchEdge {
        /// One end.
        from: u32,
        /// The other.
        to: u32,
    },
    /// [`RemeshOptions::stop`] said so.
    #[error("stopped on request")]
    Stopped,
}

/// Where the wanted edge length gave way to the deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaveWay {
    /// New triangles, away from the patch's boundary, whose edges are on the
    /// mean shorter than 0.6 or longer than 1.5 of what was wanted, and those
    /// that were made smaller or kept as they were so that the deviation holds.
    pub triangles: usize,
    /// Their area.
    pub area: f64,
    /// How many of them are the patch's own triangles, kept as they were.
    pub kept: usize,
    /// The middle of the one whose edges are farthest from what was wanted.
    pub at: DVec3,
    /// The edge length wanted there.
    pub wanted: f64,
    /// Its mean edge length.
    pub made: f64,
}

/// A remeshed patch.
#[derive(Debug, Clone)]
pub struct Remeshed {
    /// The new patch: first the kept points at their index, then those old
    /// points that are still there in their order, then new ones.
    pub mesh: Mesh,
    /// The new index of each old point; [`crate::NONE`] where it is gone. Points
    /// that were not kept or fixed may have moved.
    pub point_of_old: Vec<u32>,
    /// The distance from the old surface to the new and from the new to the
    /// old, certified; never above what was asked.
    pub deviation: TwoSided,
    /// Where the wanted edge length could not be had within the deviation.
    pub gave_way: Option<GaveWay>,
    /// How many rounds it took.
    pub rounds: usize,
}

/// The patch with edges about as long as asked, close to where it was.
///
/// Shape: any triangles without a point named twice; edges that are not
/// manifold stay as they are. Boundary edges between kept points stay as they
/// are, other boundary edges as `lines` says. Creases that turn by more than
/// `feature_deg`, and flatter ones that the wanted edge length could not
/// follow, stay lines. The result is as manifold as the patch was.
/// Accuracy: new points lie on the old surface within rounding; both surfaces
/// are within `deviation` of each other, for every patch: where smaller
/// triangles do not get there, the old ones stay, in a neighbourhood that grows
/// up to the whole patch. [`GaveWay`] tells where that was. They stay, too, where
/// at the boundary a new angle under 30 degrees is smaller than any that was there,
/// as long as a few tries do.
/// Deterministic. Cost: about O(n log n) in the larger of old and new triangle
/// counts, a round.
///
/// # Errors
/// Where the options or the patch make no sense; see [`RemeshError`].
pub fn remesh(patch: &Mesh, options: &RemeshOptions) -> Result<Remeshed, RemeshError> {
    if !(options.deviation > 0.0 && options.deviation.is_finite()) {
        return Err(RemeshError::Deviation { deviation: options.deviation });
    }
    let mut ground = Ground::default();
    let mut made = within(patch, options, &mut ground)?;
    let least = quality::least_at_boundary(patch, BOUNDARY_RINGS).min(GOOD_AT_BOUNDARY);
    for _ in 0..MOST_GIVING_AT_BOUNDARY {
        let new = quality::worse_at_boundary(&made.mesh, BOUNDARY_RINGS, least);
        if new.is_empty() {
            break;
        }
        let found =
            certify::Found { deviation: made.deviation, old: Vec::new(), new, places: Vec::new() };
        ground.give(patch, &made.mesh, &found, options);
        let again = within(patch, options, &mut ground)?;
        let rounds = made.rounds + again.rounds;
        made = Remeshed { rounds, ..again };
    }
    made.gave_way = ground.gave_way(patch, &made.mesh, options);
    Ok(made)
}

/// Rounds until the deviation is met, from the ground that was given so far.
fn within(
    patch: &Mesh,
    options: &RemeshOptions,
    ground: &mut Ground,
) -> Result<Remeshed, RemeshError> {
    let (mut mesh, mut point_of_old) = once(patch, options, ground)?;
    go_on(options)?;
    let mut found = certify::certify(patch, &mesh, options);
    let mut rounds = 1;
    while !found.is_met() {
        go_on(options)?;
        let tightens = rounds < options.rounds.max(1);
        if tightens {
            certify::tighten(&mut ground.tight, &found.places, options);
        } else {
            ground.give(patch, &mesh, &found, options);
        }
        let made = match once(patch, options, ground) {
            // Only tightening made it too fine: from here on ground is given.
            Err(RemeshError::TooFine { .. }) if tightens => {
                ground.tight.clear();
                ground.give(patch, &mesh, &found, options);
                rounds = options.rounds;
                once(patch, options, ground)
            }
            made => made,
        };
        (mesh, point_of_old) = made?;
        if ground.times > MOST_GIVING {
            // All of it was to stay; this makes sure that it has.
            mesh = patch.clone();
            point_of_old = (0..patch.points().len() as u32).collect();
        }
        go_on(options)?;
        found = certify::certify(patch, &mesh, options);
        rounds += 1;
    }
    Ok(Remeshed { mesh, point_of_old, deviation: found.deviation, gave_way: None, rounds })
}

/// What the wanted edge length has given up so far.
#[derive(Default)]
struct Ground {
    /// Places where triangles are made smaller.
    tight: Vec<Tight>,
    /// The old triangles that stay; empty while none does.
    kept: Vec<bool>,
    /// How often old triangles came back.
    times: i32,
}

/// Sine of the least angle, 30 degrees, from which on a triangle at the boundary is
/// good enough, whatever was there.
const GOOD_AT_BOUNDARY: f64 = 0.5;

/// How often at most old triangles come back where at the boundary there are new
/// ones with a smaller angle than any that was there.
const MOST_GIVING_AT_BOUNDARY: usize = 4;

/// After so many times the whole patch stays as it is.
const MOST_GIVING: i32 = 10;

impl Ground {
    /// Lets old triangles stay near those that fail, each time twice as far.
    fn give(&mut self, patch: &Mesh, mesh: &Mesh, found: &certify::Found, options: &RemeshOptions) {
        self.kept.resize(patch.triangles().len(), false);
        let reach = 0.5 * 2f64.powi(self.times);
        self.times += 1;
        if self.times > MOST_GIVING {
            self.kept.fill(true);
            return;
        }
        let index = Bvh::build(patch);
        certify::give_back(&mut self.kept, (patch, &index), mesh, found, (reach, options));
    }

    /// The triangles of `mesh` that are not as wanted for the deviation's sake.
    fn gave_way(&self, patch: &Mesh, mesh: &Mesh, options: &RemeshOptions) -> Option<GaveWay> {
        let stayed = certify::those_of(patch, &self.kept);
        let at_boundary = quality::near_boundary(mesh, BOUNDARY_RINGS);
        let mut all: Option<(GaveWay, f64)> = None;
        for (t, &at_boundary) in at_boundary.iter().enumerate() {
            let [a, b, c] = mesh.corners(t);
            let at = (a + b + c) / 3.0;
            let wanted = (options.size)(at);
            let made = (a.distance(b) + b.distance(c) + c.distance(a)) / 3.0;
            let is_off = !at_boundary && !AS_WANTED.contains(&(made / wanted));
            let is_kept = stayed.contains(&certify::key(mesh, t));
            if !is_off && !is_kept && guard::shares(&self.tight, at).0 >= 1.0 {
                continue;
            }
            let off = (made / wanted).ln().abs();
            let none = GaveWay { triangles: 0, area: 0.0, kept: 0, at, wanted, made };
            let (sum, worst) = all.get_or_insert((none, off));
            sum.triangles += 1;
            sum.kept += usize::from(is_kept);
            sum.area += 0.5 * mesh.area_normal(t).length();
            if off > *worst {
                (sum.at, sum.wanted, sum.made, *worst) = (at, wanted, made, off);
            }
        }
        all.map(|(sum, _)| sum)
    }
}

/// Edges within these shares of the wanted length are as wanted.
const AS_WANTED: std::ops::RangeInclusive<f64> = 0.6..=1.5;

/// So many rings of triangles at the boundary follow its own edges.
const BOUNDARY_RINGS: usize = 2;

/// How many cycles of split, collapse, flip and relax a round has.
const CYCLES: usize = 5;

/// How often the worst triangles are gone over in the end.
const POLISHES: usize = 4;

/// Refuses to go on where nobody wants the answer any more.
fn go_on(options: &RemeshOptions) -> Result<(), RemeshError> {
    if (options.stop)() { Err(RemeshError::Stopped) } else { Ok(()) }
}

/// One round: the whole cycle from the original on.
fn once(
    patch: &Mesh,
    options: &RemeshOptions,
    Ground { tight, kept, .. }: &Ground,
) -> Result<(Mesh, Vec<u32>), RemeshError> {
    let frozen = sizing::Frozen::of(patch, options, kept);
    let size = |p: DVec3| frozen.heeded(p, guard::tightened(tight, p, (options.size)(p)));
    let (mut w, lines) = lines::begin(patch, options, &size, (tight, kept))?;
    let guard = Guard::new(patch, lines, options, tight);
    let (mut idle, mut in_vain) = (Vec::new(), operations::InVain::new());
    for _ in 0..CYCLES {
        go_on(options)?;
        operations::split_long(&mut w, &guard, &size);
        go_on(options)?;
        operations::collapse_short(&mut w, &guard, &mut in_vain);
        go_on(options)?;
        operations::flip_all(&mut w, &guard);
        relax::relax(&mut w, &guard, &size, &mut idle);
        relax::relax(&mut w, &guard, &size, &mut idle);
        operations::flip_all(&mut w, &guard);
    }
    for _ in 0..POLISHES {
        go_on(options)?;
        if polish::polish(&mut w, &guard, &size) == 0 {
            break;
        }
    }
    #[cfg(test)]
    w.check().expect("the working patch holds its invariants");
    Ok(assemble::assemble(&w, patch, options))
}
