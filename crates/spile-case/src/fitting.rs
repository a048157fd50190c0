//! The round parts that can be joined, and the dimensions that standards fix.
//!
//! Only data: how a surface follows from it, maker and prover each work out on
//! their own.

use spile_formats::step::StepSolid;

use crate::types::{Unit, Vec3};

/// The exact round part that is joined at an end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fitting {
    /// A plain tube: two coaxial cylinders between two flat faces.
    Tube {
        /// Inner diameter.
        bore: f64,
        /// Outer diameter.
        outside: f64,
        /// Length along the axis.
        length: f64,
        /// A flat ring round it.
        flange: Option<Flange>,
    },
    /// A standard cone or socket: one side tapers, the other is a cylinder.
    Cone(Cone),
    /// A solid that a mesh or STEP file gives, joined at one of its round rims.
    Mesh(MeshFitting),
}

/// Which solid a mesh fitting is and which of its rims is joined.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeshFitting {
    /// Its number in [`crate::Case::solids`].
    pub solid: usize,
    /// The round rim nearest this point is meant, in the file's own coordinates
    /// and unit. Settled: the centre of its bore circle.
    pub rim: Option<Vec3>,
    /// By how many degrees it is turned about its axis once it is in its place,
    /// right-handed about the direction off the scan.
    pub roll_deg: f64,
}

/// The file of a fitting, and what it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Solid {
    /// The file, relative to the case file.
    pub file: String,
    /// What kind of file it is.
    pub kind: SolidKind,
    /// The unit of its coordinates. None where the case leaves to a STEP file what
    /// it is, until whoever opens files has read it.
    pub unit: Option<Unit>,
    /// Its points as the file has them, or those of the triangles that stand for its exact
    /// faces; empty until whoever opens files has read it.
    pub points: Vec<Vec3>,
    /// Its triangles over `points`.
    pub triangles: Vec<[u32; 3]>,
    /// What the triangles stand for; none where the file itself gives triangles.
    pub exact: Option<ExactFaces>,
}

impl Solid {
    /// What the file's lengths are multiplied by in a case of this unit: 1 while its
    /// own is not known.
    pub fn scale(&self, case: Unit) -> f64 {
        self.unit.unwrap_or(case).in_millimetres() / case.in_millimetres()
    }
}

/// What kind of file gives a fitting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SolidKind {
    /// Triangles: STL, PLY, OBJ, 3MF.
    Mesh,
    /// A STEP file.
    Step,
}

/// The exact faces of a fitting's file, and which of them each triangle stands for.
/// Maker and prover each see for themselves that it does.
#[derive(Debug, Clone, PartialEq)]
pub struct ExactFaces {
    /// The faces, in the file's coordinates and unit.
    pub solid: StepSolid,
    /// For each triangle the number of its face in `solid`.
    pub face: Vec<u32>,
}

/// A round flat ring on the outside of a fitting, square to its axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flange {
    /// Outer diameter of the ring.
    pub outside: f64,
    /// Its thickness along the axis.
    pub thickness: f64,
    /// Distance from the fitting's near face to the ring's nearer side.
    pub at: f64,
}

impl Flange {
    /// Whether the ring's farther side is the far face of a fitting of this
    /// length, to what adding two numbers may round.
    pub fn is_at_far_face(&self, length: f64) -> bool {
        (self.at + self.thickness - length).abs() <= 1e-9 * length
    }
}

/// A standard cone (male: its outside tapers and is fixed) or socket (female:
/// its bore tapers and is fixed). The free end is the fitting's far face.
///
/// From the far face on over [`ConeDimensions::length_mm`] the fixed side
/// tapers; what `length` leaves beyond is a cylinder as wide as the taper's end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cone {
    /// Which standard size.
    pub size: ConeSize,
    /// Which of the two mates.
    pub gender: Gender,
    /// Diameter of the side that no standard fixes: a cone's bore, a socket's
    /// outside.
    pub other: f64,
    /// Length along the axis; not below that of the taper.
    pub length: f64,
    /// By how much the fixed diameter gives clearance: a cone is made smaller
    /// by it, a socket larger. Negative is tighter.
    pub allowance: f64,
    /// A flat ring round it.
    pub flange: Option<Flange>,
}

/// Male or female.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gender {
    /// The cone, whose outside is fixed.
    Male,
    /// The socket, whose bore is fixed.
    Female,
}

/// A standard size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConeSize {
    /// Conical connector of breathing systems, 15 mm.
    Breathing15,
    /// Conical connector of breathing systems, 22 mm.
    Breathing22,
    /// Small conical fitting with 6 % taper.
    Luer,
}

/// What a standard says of one cone or socket, as far as it was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConeDimensions {
    /// Diameter in the basic plane, in millimetres.
    pub diameter_mm: f64,
    /// Distance of the basic plane from the free end, in millimetres.
    pub plane_mm: f64,
    /// Change of the diameter over the length: 1 : this.
    pub taper_length: f64,
    /// Length of the taper, in millimetres.
    pub length_mm: f64,
    /// Where the values come from, as a sentence for a person.
    pub source: &'static str,
    /// How far the values are to be trusted, as a sentence for a person.
    pub standing: &'static str,
}

const BREATHING_SOURCE: &str = "ISO 5356-1, second-hand: as two public hardware models quote it; the standard itself was not read";
const BREATHING_STANDING: &str = "provisional: drawn to the basic dimensions, without tolerances; the sources disagree by 0.15 mm on where \
     the basic diameter lies, and here it is a cone's diameter at the least engagement and a socket's at its opening";
const LUER_SOURCE: &str = "ISO 594-1 (withdrawn, replaced by ISO 80369-7), second-hand and from memory; neither standard was read";
const LUER_STANDING: &str = "provisional: drawn to the middle of the limits of a rigid part, 3.925 to 3.990 at a cone's small end and 4.270 \
     to 4.315 at a socket's opening";

impl ConeSize {
    /// The dimensions, in millimetres whatever the case's unit.
    ///
    /// # Source
    /// `tests/check-values/cones-iso5356.csv` and `cones-luer.csv`, which also
    /// say how each value is known.
    pub fn dimensions(self, gender: Gender) -> ConeDimensions {
        let breathing = |diameter_mm, engagement, length_mm| ConeDimensions {
            diameter_mm,
            plane_mm: if gender == Gender::Male { engagement } else { 0.0 },
            taper_length: 40.0,
            length_mm,
            source: BREATHING_SOURCE,
            standing: BREATHING_STANDING,
        };
        match self {
            ConeSize::Breathing15 => breathing(15.47, 10.0, 16.0),
            ConeSize::Breathing22 => breathing(22.37, 15.0, 21.0),
            ConeSize::Luer => ConeDimensions {
                diameter_mm: if gender == Gender::Male { 3.9575 } else { 4.2925 },
                plane_mm: 0.0,
                taper_length: 100.0 / 6.0,
                length_mm: 7.5,
                source: LUER_SOURCE,
                standing: LUER_STANDING,
            },
        }
    }
}

impl Cone {
    /// The dimensions of its size and gender.
    pub fn dimensions(&self) -> ConeDimensions {
        self.size.dimensions(self.gender)
    }

    /// Length of the taper, in a case's unit.
    pub fn taper_in(&self, unit: Unit) -> f64 {
        self.dimensions().length_mm / unit.in_millimetres()
    }

    /// The fixed side's diameter at the two ends of the taper, in a case's
    /// unit, the allowance given: at the free end and at the other.
    pub fn ends_in(&self, unit: Unit) -> [f64; 2] {
        let d = self.dimensions();
        let (widens, clearance) = match self.gender {
            Gender::Male => (1.0, -self.allowance),
            Gender::Female => (-1.0, self.allowance),
        };
        [0.0, d.length_mm].map(|from_free_end| {
            let diameter = d.diameter_mm + widens * (from_free_end - d.plane_mm) / d.taper_length;
            diameter / unit.in_millimetres() + clearance
        })
    }
}

impl Fitting {
    /// The outer diameter at the near face, where the joint meets it, in a
    /// case's unit; none of a mesh, whose rims tell it.
    pub fn near_outside(&self, unit: Unit) -> Option<f64> {
        match self {
            Fitting::Tube { outside, .. } => Some(*outside),
            Fitting::Cone(cone) if cone.gender == Gender::Male => Some(cone.ends_in(unit)[1]),
            Fitting::Cone(cone) => Some(cone.other),
            Fitting::Mesh(_) => None,
        }
    }
}
