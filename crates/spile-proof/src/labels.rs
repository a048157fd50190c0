//! What each triangle of part and scan is, told anew from the two surfaces and
//! checked against what the settled case claims.

use spile_case::Case;
use spile_mesh::{DVec3, Mesh};

/// What a triangle of the part belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Region {
    /// A triangle of the scan, bit for bit.
    Kept,
    /// New, on the scan's side of a seam or in a mended place.
    Replaced,
    /// New, from a scan seam to the fitting.
    Joint,
    /// Of a fitting, from its near face on, its far face excepted.
    Fitting,
    /// A fitting's far face, a plain end's ring or a ring that closes another rim.
    EndFace,
    /// Made outside ([`spile_case::Form::Bore`]) away from every joint.
    MadeWall,
}

/// Which side of the wall a triangle is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Side {
    /// The flow side.
    Bore,
    /// The other side.
    Outside,
    /// An end face, a void, or not to be told.
    Neither,
}

/// What became of a triangle of the scan. The number is that of the end, in
/// the case's order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Fate {
    /// It is in the part, bit for bit.
    Kept,
    /// It lies within reach of this end and other triangles stand in its place.
    Replaced(usize),
    /// It lies wholly beyond this end's cut, or was trimmed off at its rim.
    Removed(usize),
    /// A listed mend took it away, and the proof found the defect too.
    MendedAway,
    /// It is not in the part, and nothing that is allowed explains it.
    Lost,
}

/// An exact plain tube in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittingFrame {
    /// Centre of the near face.
    pub at: DVec3,
    /// Unit axis, off the scan.
    pub along: DVec3,
    /// Radius of the bore.
    pub bore_radius: f64,
    /// Radius of the outside.
    pub outside_radius: f64,
    /// Length along the axis.
    pub length: f64,
}

/// A plane with unit normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// A point of it.
    pub point: DVec3,
    /// Its unit normal.
    pub normal: DVec3,
}

/// One end of the case as the proof sees it.
#[derive(Debug, Clone)]
pub struct LabelledEnd {
    /// Its name in the case.
    pub name: String,
    /// Its place in the case's list.
    pub index: usize,
    /// The asked plane; at a rim the best plane of the seam. The normal points
    /// off the scan.
    pub plane: Plane,
    /// Whether it is a rim that the scan has, not a cut.
    pub is_rim: bool,
    /// Unit direction off the scan: the cut's `facing`, at a rim the settled one.
    pub facing: DVec3,
    /// How far from the cut the scan may change; 0 where the case gives none.
    pub reach: f64,
    /// The scan's own loop on the bore: section by the plane, or its rim.
    pub scan_loop_bore: Vec<DVec3>,
    /// The scan's own loop on the outside; empty for form bore.
    pub scan_loop_outside: Vec<DVec3>,
    /// The settled seam on the bore as points of the part, in order round it.
    pub seam_bore: Vec<u32>,
    /// The settled seam on the outside; empty where the outside is made.
    pub seam_outside: Vec<u32>,
    /// The fitting; none at a plain end.
    pub fitting: Option<FittingFrame>,
    /// Where joint and fitting meet on the bore, as points of the part.
    pub fitting_seam_bore: Vec<u32>,
    /// Where joint and fitting meet on the outside.
    pub fitting_seam_outside: Vec<u32>,
}

/// Scan and part, triangle by triangle.
///
/// Invariants: `region`, `side` and `end` and `scan_of` have one entry a part
/// triangle; `fate` and `scan_side` one a scan triangle; `scan_of[t]` is `Some`
/// exactly where `region[t]` is [`Region::Kept`].
#[derive(Debug)]
pub struct Labelled<'a> {
    /// The settled case.
    pub case: &'a Case,
    /// The scan files' meshes as given.
    pub scans: &'a [Mesh],
    /// All of them in one mesh: file 0's triangles first. Points at one place
    /// in one file are one point. Coordinates are as read, not rounded.
    pub scan: Mesh,
    /// The part; points at one place are one point.
    pub part: &'a Mesh,
    /// What each part triangle belongs to.
    pub region: Vec<Region>,
    /// Which side of the wall each part triangle is on.
    pub side: Vec<Side>,
    /// The end whose joint, fitting, end face or reach it belongs to.
    pub end: Vec<Option<usize>>,
    /// The scan triangle that each kept part triangle is.
    pub scan_of: Vec<Option<u32>>,
    /// What became of each scan triangle.
    pub fate: Vec<Fate>,
    /// Which side of the wall each scan triangle is on.
    pub scan_side: Vec<Side>,
    /// The ends, in the case's order.
    pub ends: Vec<LabelledEnd>,
}

impl Labelled<'_> {
    /// Part triangles for which `wanted` holds, in order.
    pub fn part_where(&self, wanted: impl Fn(usize) -> bool) -> Vec<u32> {
        (0..self.part.triangles().len()).filter(|&t| wanted(t)).map(|t| t as u32).collect()
    }

    /// Scan triangles for which `wanted` holds, in order.
    pub fn scan_where(&self, wanted: impl Fn(usize) -> bool) -> Vec<u32> {
        (0..self.scan.triangles().len()).filter(|&t| wanted(t)).map(|t| t as u32).collect()
    }
}
