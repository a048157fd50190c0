//! What is in a scan: its ends, and its defects by what they do to the job.

mod defects;
mod rims;

use spile_mesh::{DVec3, Mesh, Topology, shells};

pub use rims::FoundEnd;

use crate::mend::median_edge;

/// What a defect does to the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Effect {
    /// No closed part can come of the scan while it is there.
    StopsClosing,
    /// It lies near an end, where a joint is made.
    WithinReach,
    /// It lies where nothing changes.
    Elsewhere,
}

/// What is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum FindingKind {
    /// An open loop smaller across than the hole limit.
    Hole,
    /// An open loop that is no hole and, by its size, no end.
    OpenRim,
    /// An edge of more than two triangles.
    NonManifoldEdge,
    /// A point where separate fans of triangles touch.
    NonManifoldVertex,
    /// An edge whose two triangles disagree which side is out.
    Flipped,
    /// A second triangle on the same three points.
    Duplicate,
    /// A triangle whose corners lie on a line.
    Degenerate,
    /// A triangle with an edge far shorter than the other two.
    Needle,
    /// A triangle with an angle of almost 180 degrees.
    Cap,
    /// A pair of triangles that meet where they share nothing.
    SelfIntersection,
    /// A point that stands out from its neighbours like none near it.
    Outlier,
    /// A loose open crumb.
    LoosePiece,
}

impl FindingKind {
    /// Why mending leaves what it finds of this kind, and what to do; none for
    /// kinds that it mends or refuses spot by spot.
    pub fn why_left(self) -> Option<&'static str> {
        Some(match self {
            Self::OpenRim => {
                "larger than the hole limit: name it as an end, or raise `hole_max` in the case"
            }
            Self::Needle | Self::Cap => {
                "they have area and do no harm: within reach of a joint they are remeshed"
            }
            Self::SelfIntersection => {
                "which of the crossing sheets is meant is not for this program to say: rescan, \
                 repair the spot by hand, or name it under `inherit`"
            }
            Self::Outlier => {
                "a point may stand out and be right: remeshing keeps within the deviation of it"
            }
            _ => return None,
        })
    }
}

/// Defects of one kind and effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finding {
    /// What is wrong.
    pub kind: FindingKind,
    /// What it does.
    pub effect: Effect,
    /// The place of the largest of them.
    pub at: DVec3,
    /// How many there are.
    pub count: usize,
    /// How far the largest reaches across.
    pub size: f64,
}

/// How to look.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ExamineOptions {
    /// An open loop smaller across than this is a hole; twice the median edge
    /// if left out.
    pub hole_max: Option<f64>,
}

/// What a scan shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Examination {
    /// Defects, worst effect first, then by kind.
    pub findings: Vec<Finding>,
    /// Open ends, the largest first.
    pub ends: Vec<FoundEnd>,
    /// The box's sides.
    pub size: DVec3,
    /// Pieces that hang together by edges.
    pub shells: usize,
    /// Whether every edge has exactly two triangles that agree.
    pub closed: bool,
    /// The length of the edge in the middle by length.
    pub median_edge: f64,
    /// How far, in the middle of all points by that measure, a point stands off
    /// the mean of its neighbours: noise and curvature together.
    pub noise: f64,
}

/// Looks at a scan; judges nothing.
///
/// Shape: any mesh. Degenerate triangles and self-intersections are told
/// exactly; needles, caps, outliers and ends by the thresholds named here.
/// Cost: O(n log n).
pub fn examine(mesh: &Mesh, options: ExamineOptions) -> Examination {
    let topology = Topology::of(mesh);
    let middle = median_edge(mesh);
    let hole_max = options.hole_max.unwrap_or(2.0 * middle);
    let rims = rims::Rims::of(mesh, &topology, hole_max);
    let relief = defects::relief(mesh);
    let mut findings = Vec::new();
    for (kind, spots) in defects::all(mesh, &topology, &rims, &relief, hole_max) {
        group(kind, &spots, &rims.ends, &mut findings);
    }
    findings.sort_by(|a, b| a.effect.cmp(&b.effect).then(a.kind.cmp(&b.kind)));
    let bounds = mesh.bounds();
    let size = if mesh.points().is_empty() { DVec3::ZERO } else { bounds.max - bounds.min };
    Examination {
        findings,
        ends: rims.ends,
        size,
        shells: shells(mesh, &topology).count,
        closed: topology.is_closed(),
        median_edge: middle,
        noise: relief.middle,
    }
}

/// Where a defect is, and how far it reaches across.
type Spot = (DVec3, f64);

fn stops_closing(kind: FindingKind) -> bool {
    use FindingKind::{Flipped, Hole, NonManifoldEdge, OpenRim};
    matches!(kind, Hole | OpenRim | NonManifoldEdge | Flipped)
}

/// Puts the spots of one kind together by what they do.
fn group(kind: FindingKind, spots: &[Spot], ends: &[FoundEnd], into: &mut Vec<Finding>) {
    let first = into.len();
    for &(at, size) in spots {
        // As far as a joint commonly reaches: one diameter.
        let near = |end: &FoundEnd| end.centre.distance(at) < end.outside.unwrap_or(end.bore);
        let effect = match () {
            () if stops_closing(kind) => Effect::StopsClosing,
            () if ends.iter().any(near) => Effect::WithinReach,
            () => Effect::Elsewhere,
        };
        match into[first..].iter_mut().find(|finding| finding.effect == effect) {
            None => into.push(Finding { kind, effect, at, count: 1, size }),
            Some(finding) => {
                finding.count += 1;
                if size > finding.size {
                    (finding.at, finding.size) = (at, size);
                }
            }
        }
    }
}
