//! What is in a scan: its ends, and its defects by what they do to the job.

mod defects;
mod outliers;
mod rims;
mod sheets;

use spile_mesh::{DVec3, Mesh, Topology, self_intersections, shells, vertex_triangles};

pub(crate) use outliers::outliers;
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
    /// A sheet or closed shell inside the material, or across the cavity.
    InternalWall,
    /// A sheet that lies twice, the layers far nearer to each other than their
    /// triangles are wide.
    DoubledSheet,
    /// Two shells that pass through each other.
    OverlappingShells,
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
            Self::Outlier => {
                "a point may stand out and be right: have it mended with `outliers = \"mend\"` \
                 under `[scan]`, or `examine --mend OUT --outliers`"
            }
            Self::InternalWall => {
                "whether it is a wall or left over from segmenting is not for this program to \
                 say: take its triangles out, or turn it inside out if it bounds a cavity"
            }
            Self::DoubledSheet => {
                "which of the two layers is meant is not for this program to say: take the \
                 triangles of one out, or export the surface once"
            }
            Self::OverlappingShells => {
                "what their union is is not for this program to say: unite the shells before \
                 they are exported, or take one of them out"
            }
            _ => return None,
        })
    }
}

/// Defects of one kind and effect.
#[derive(Debug, Clone, PartialEq)]
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
    /// The sheets that it is about; for kinds that are about sheets, not spots.
    pub sheets: Option<SheetExtent>,
    /// What of the scan each of them is, in the order in which they were found; not of sheets.
    pub traces: Vec<Trace>,
}

/// What of a scan a defect is, by the numbers of its points and triangles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Trace {
    /// A point.
    Point(u32),
    /// An edge between two points.
    Edge([u32; 2]),
    /// A closed loop of points.
    Loop(Vec<u32>),
    /// Triangles.
    Triangles(Vec<u32>),
}

/// How far sheets extend that are not the wall that matters.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SheetExtent {
    /// Area of their triangles, both layers and both shells together.
    pub area: f64,
    /// Their triangles as the scan counts them, rising.
    pub triangles: Vec<u32>,
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
    let around = vertex_triangles(mesh);
    let mut findings = Vec::new();
    let meeting = self_intersections(mesh);
    for (kind, spots) in defects::all(mesh, &topology, &rims, &around, hole_max, &meeting) {
        group(kind, spots, &rims.ends, &mut findings);
    }
    for sheet in sheets::all(mesh, &topology, &meeting, hole_max) {
        enter_sheet(mesh, sheet, &rims.ends, &mut findings);
    }
    for all in findings.iter_mut().filter_map(|finding| finding.sheets.as_mut()) {
        all.triangles.sort_unstable();
        all.triangles.dedup();
        all.area = sheets::area_of(mesh, &all.triangles);
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
        noise: defects::noise(mesh, &around),
    }
}

/// One defect.
#[derive(Debug, Clone)]
struct Spot {
    /// Where it is.
    at: DVec3,
    /// How far it reaches across.
    size: f64,
    /// What it is.
    trace: Trace,
}

fn stops_closing(kind: FindingKind) -> bool {
    use FindingKind::{Flipped, Hole, InternalWall, NonManifoldEdge, OpenRim};
    matches!(kind, Hole | OpenRim | NonManifoldEdge | Flipped | InternalWall)
}

fn effect(kind: FindingKind, at: DVec3, ends: &[FoundEnd]) -> Effect {
    // As far as a joint commonly reaches: one diameter.
    let near = |end: &FoundEnd| end.centre.distance(at) < end.outside.unwrap_or(end.bore);
    match () {
        () if stops_closing(kind) => Effect::StopsClosing,
        () if ends.iter().any(near) => Effect::WithinReach,
        () => Effect::Elsewhere,
    }
}

/// Puts the spots of one kind together by what they do.
fn group(kind: FindingKind, spots: Vec<Spot>, ends: &[FoundEnd], into: &mut Vec<Finding>) {
    let first = into.len();
    for Spot { at, size, trace } in spots {
        let effect = effect(kind, at, ends);
        match into[first..].iter_mut().find(|finding| finding.effect == effect) {
            None => {
                let traces = vec![trace];
                into.push(Finding { kind, effect, at, count: 1, size, sheets: None, traces });
            }
            Some(finding) => {
                finding.add(at, size);
                finding.traces.push(trace);
            }
        }
    }
}

impl Finding {
    fn add(&mut self, at: DVec3, size: f64) {
        self.count += 1;
        if size > self.size {
            (self.at, self.size) = (at, size);
        }
    }
}

/// Puts a sheet to the finding of its kind and effect. Its place is the middle
/// of that of its triangles which lies nearest its own middle.
fn enter_sheet(mesh: &Mesh, sheet: sheets::Sheet, ends: &[FoundEnd], into: &mut Vec<Finding>) {
    let sheets::Sheet { kind, triangles } = sheet;
    let bounds = sheets::box_of(mesh, &triangles);
    let middle = |t: u32| mesh.corners(t as usize).iter().sum::<DVec3>() / 3.0;
    let from = |t: &u32| middle(*t).distance_squared(bounds.middle());
    let nearest = triangles.iter().copied().min_by(|a, b| from(a).total_cmp(&from(b)));
    let at = nearest.map_or(bounds.middle(), middle);
    let within = |t: &u32| effect(kind, middle(*t), ends);
    let effect = triangles.iter().map(within).min().unwrap_or(Effect::Elsewhere);
    let size = bounds.diagonal();
    let alike = |f: &&mut Finding| f.kind == kind && f.effect == effect;
    match into.iter_mut().find(alike) {
        Some(finding) => {
            finding.add(at, size);
            finding.sheets.get_or_insert_default().triangles.extend(triangles);
        }
        None => {
            let sheets = Some(SheetExtent { area: 0.0, triangles });
            let traces = Vec::new();
            into.push(Finding { kind, effect, at, count: 1, size, sheets, traces });
        }
    }
}
