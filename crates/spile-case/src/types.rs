//! The types of a case. A *settled* case is one in which every automatic value
//! is written out: `reach`, `place` as [`Place::At`], `edge`, `hole_max`, for a
//! rim its `trim` and `facing`, a station's cut as [`Site::Cut`], and each end's
//! [`Seam`], and all mends.

use crate::fitting::{Fitting, Solid};
use crate::guidance::{Clear, EndLimits, JointGuide, Pin};
use crate::output::Output;

/// A point or direction, in the case's unit.
pub type Vec3 = [f64; 3];

/// The unit of the scan file and of every length in the case.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Millimetre.
    Millimetre,
    /// Centimetre.
    Centimetre,
    /// Metre.
    Metre,
    /// Inch.
    Inch,
}

/// What the scan is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// A surface that has both walls, in one file.
    Shell,
    /// Two files: inner wall, outer wall.
    Sheets,
    /// The inner wall only; the wall is made.
    Bore,
    /// The hollow as a closed surface, cut open at the ends; the wall is made.
    Cavity,
}

impl Form {
    /// Whether the scan has the bore's side alone and the wall is made.
    pub fn makes_wall(self) -> bool {
        matches!(self, Self::Bore | Self::Cavity)
    }
}

/// The thickness of a wall that is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wall {
    /// The same everywhere.
    Even(f64),
    /// From the first to the second, evenly along the line between their places, and
    /// square to it the same; beyond either as there.
    Graded([WallAt; 2]),
}

/// How thick a wall is at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallAt {
    /// The place.
    pub at: Vec3,
    /// The thickness there.
    pub thickness: f64,
}

impl Wall {
    /// The thickness at `p`.
    pub fn at(&self, p: Vec3) -> f64 {
        match self {
            Self::Even(thickness) => *thickness,
            Self::Graded([a, b]) => {
                let way = [0, 1, 2].map(|k| b.at[k] - a.at[k]);
                let dot = |u: Vec3, v: Vec3| u[0] * v[0] + u[1] * v[1] + u[2] * v[2];
                let along = dot([0, 1, 2].map(|k| p[k] - a.at[k]), way) / dot(way, way);
                a.thickness + (b.thickness - a.thickness) * along.clamp(0.0, 1.0)
            }
        }
    }
}

/// A fault of the scan that may stay in the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Inherit {
    /// Intersections among triangles that are not touched.
    SelfIntersection,
}

/// What becomes of outliers: single points far off the surface round them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Outliers {
    /// They stay, or within reach follow the deviation limit.
    #[default]
    Keep,
    /// They are mended: the point goes and its neighbours close the place.
    Mend,
}

/// The scan file or files and how to read them.
#[derive(Debug, Clone, PartialEq)]
pub struct Scan {
    /// One file, or for [`Form::Sheets`] two: inner, outer. Relative to the case file.
    pub files: Vec<String>,
    /// What the scan is.
    pub form: Form,
    /// The thickness of the wall that is made ([`Form::makes_wall`]).
    pub wall: Option<Wall>,
    /// An open loop smaller across than this is a hole to mend.
    pub hole_max: Option<f64>,
    /// Faults that may stay.
    pub inherit: Vec<Inherit>,
    /// What becomes of outliers.
    pub outliers: Outliers,
    /// The scan that the case was written for, where this one lies elsewhere.
    pub align: Option<Align>,
    /// Settled: the motion that took the case's places from there to this scan; its
    /// places are moved already.
    pub moved: Option<Motion>,
}

/// The scan in whose coordinates a case is written.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Align {
    /// Its file, relative to the case file.
    pub to: String,
    /// Its points; filled by who opens files.
    pub points: Vec<Vec3>,
    /// Its triangles, likewise.
    pub triangles: Vec<[u32; 3]>,
}

/// A rigid motion: a turn about the origin, then a shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// The rows of a rotation's matrix.
    pub turn: [Vec3; 3],
    /// Added after it.
    pub shift: Vec3,
}

impl Motion {
    /// Where the direction `v` points afterwards.
    pub fn turned(&self, v: Vec3) -> Vec3 {
        self.turn.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
    }

    /// Where the place `p` is afterwards.
    pub fn moved(&self, p: Vec3) -> Vec3 {
        let turned = self.turned(p);
        [0, 1, 2].map(|k| turned[k] + self.shift[k])
    }
}

/// A cut by a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// A point of the plane, near the branch that is meant.
    pub through: Vec3,
    /// Unit normal, pointing off the scan, toward the fitting.
    pub facing: Vec3,
}

/// An open rim that the scan already has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rim {
    /// The rim nearest this point is meant.
    pub near: Vec3,
    /// How much may be given up, measured from the rim, to get rid of teeth.
    pub trim: Option<f64>,
    /// Settled: the unit tangent of the scan's centreline at the rim, off the scan.
    pub facing: Option<Vec3>,
}

/// A cut square to the scan's centreline at a station of it.
///
/// The line begins at a rim, or at a place of the bore, and is measured from there
/// into the scan; what lies between its beginning and the station is cut off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationCut {
    /// The line begins at the middle of the open rim nearest this point; with
    /// `facing`, in the middle of the bore's section through it.
    pub from: Vec3,
    /// Where the line does not begin at a rim: unit direction off the scan there.
    pub facing: Option<Vec3>,
    /// Which station is meant.
    pub station: Station,
}

/// A station of a centreline, by lengths along the line from its beginning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Station {
    /// So far along.
    Along(f64),
    /// Where the bore's area is least between two lengths.
    Narrowest([f64; 2]),
    /// Where 4 pi area / perimeter^2 of the bore, which is 1 for a circle, is
    /// greatest between two lengths.
    Roundest([f64; 2]),
}

/// Where on the scan an end is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Site {
    /// Cut by a plane.
    Cut(Cut),
    /// Cut at a station of the centreline; settled it is a [`Site::Cut`].
    Station(StationCut),
    /// At an existing rim.
    Rim(Rim),
}

/// Where the fitting is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// Centre of the near face, and unit direction off the scan.
    At {
        /// Centre of the fitting's near face.
        at: Vec3,
        /// Unit direction of the fitting's axis, off the scan.
        along: Vec3,
    },
    /// On along the bore.
    Onward(Onward),
    /// Where its file has it: a mesh fitting in the scan's own coordinates.
    AsModelled,
    /// Straight on along the bore, at the least gap that is found to hold all limits.
    Auto,
}

/// A place that follows the bore: straight on along the centreline's tangent, then
/// aside and tilted if wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onward {
    /// From the middle of the bore's section at the cut to the centre of the
    /// fitting's near face, along the tangent.
    pub gap: f64,
    /// The near face's centre is then moved by this vector; zero for none.
    pub off: Vec3,
    /// The fitting is then turned about the centre of its near face.
    pub tilt: Option<Tilt>,
}

impl From<f64> for Onward {
    /// Straight on by a gap.
    fn from(gap: f64) -> Self {
        Self { gap, off: [0.0; 3], tilt: None }
    }
}

/// A turn of a fitting's axis from the bore's direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tilt {
    /// By how much, 0 to 90 degrees.
    pub tilt_deg: f64,
    /// Unit direction that the axis is turned toward.
    pub toward: Vec3,
}

/// Settled: the loops where the joint (or a plain end's flat ring) meets the
/// scan's side, as points of the part in order round the loop, exactly as the
/// part's file carries them (`f32` values).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Seam {
    /// On the bore.
    pub bore: Vec<Vec3>,
    /// On the outside; empty for a form that [makes its wall](Form::makes_wall) with a fitting, where the
    /// outside is made from end to end. At a plain end of that form it is the
    /// made wall's rim.
    pub outside: Vec<Vec3>,
}

/// One end of the scan.
#[derive(Debug, Clone, PartialEq)]
pub struct End {
    /// Its name; unique in the case.
    pub name: String,
    /// Where on the scan it is.
    pub site: Site,
    /// How far from the cut the scan may be changed. Required with a fitting.
    pub reach: Option<f64>,
    /// The least reach that holds all limits is sought; `reach` is none until then.
    pub reach_is_auto: bool,
    /// The fitting; none for a plain end.
    pub fitting: Option<Fitting>,
    /// Where the fitting is; given exactly when there is a fitting.
    pub place: Option<Place>,
    /// Places of the rim that are to face given places of the fitting.
    pub pins: Vec<Pin>,
    /// Limits that differ here from the case's.
    pub limits: EndLimits,
    /// Settled: the seam on the scan's side.
    pub seam: Option<Seam>,
}

impl End {
    /// A plain end: cut off flat, nothing joined, nothing settled.
    pub fn plain(name: &str, site: Site) -> Self {
        Self {
            name: name.to_owned(),
            site,
            reach: None,
            reach_is_auto: false,
            fitting: None,
            place: None,
            pins: Vec::new(),
            limits: EndLimits::default(),
            seam: None,
        }
    }
}

/// What the result must hold. A limit that is `None` is measured, not judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Two-sided distance between replaced scan and the scan it replaced.
    pub deviation: f64,
    /// Shortest straight distance between bore and outside.
    pub wall_min: Option<f64>,
    /// Share of bore area that may be lost, 0 to 1.
    pub bore_loss: Option<f64>,
    /// Greatest angle between the two triangles at a seam edge, in degrees.
    pub kink_deg: Option<f64>,
    /// Diameter of the ball that must pass.
    pub ball_min: Option<f64>,
    /// How far a fitting's triangles may lie from its exact surface.
    pub chord: f64,
}

/// A ball.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ball {
    /// Its centre.
    pub at: Vec3,
    /// Its radius.
    pub radius: f64,
}

/// A region that stays bit for bit as scanned.
#[derive(Debug, Clone, PartialEq)]
pub enum Keep {
    /// Everything that touches this ball.
    Ball(Ball),
    /// Everything that touches this axis-parallel box.
    Box {
        /// Least coordinates.
        min: Vec3,
        /// Greatest coordinates.
        max: Vec3,
    },
    /// The listed triangles of the scan with this hash.
    Triangles {
        /// SHA-256 of the scan file, lower-case hexadecimal.
        scan_sha256: String,
        /// Triangle numbers in the scan's file order, from 0.
        triangles: Vec<u32>,
    },
}

/// What kind of defect a mend removed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MendKind {
    /// A second triangle on the same three points.
    Duplicate,
    /// A triangle whose corners lie on a line or fall together.
    Degenerate,
    /// A patch of triangles turned inside out.
    Flipped,
    /// A small open loop that was closed.
    Hole,
    /// An edge with more than two triangles.
    NonManifoldEdge,
    /// A point where separate fans of triangles touch.
    NonManifoldVertex,
    /// A loose piece that was left out.
    LoosePiece,
    /// A small fold in which the surface met itself.
    SelfIntersection,
    /// A single point far off the surface round it.
    Outlier,
}

/// Settled: one repair of the scan. All that it changed lies in its ball.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mend {
    /// The defect.
    pub kind: MendKind,
    /// The ball outside which nothing moved.
    pub ball: Ball,
}

/// One job.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// What the job is called in its report; by its file if left out. Settled: written out.
    pub name: Option<String>,
    /// Unit of everything.
    pub unit: Unit,
    /// The input surface.
    pub scan: Scan,
    /// The ends, at least one; names are unique.
    pub ends: Vec<End>,
    /// Edge length of the joint; chosen by spile if left out.
    pub edge: Option<f64>,
    /// How joints are to be shaped.
    pub joint: JointGuide,
    /// The files of fittings ([`Fitting::Mesh`]), in the order of their ends.
    pub solids: Vec<Solid>,
    /// What must hold.
    pub limits: Limits,
    /// What must not move.
    pub keeps: Vec<Keep>,
    /// What no joint may enter.
    pub clears: Vec<Clear>,
    /// What is written beside the part.
    pub output: Output,
    /// Settled: the mends that were made.
    pub mends: Vec<Mend>,
}
