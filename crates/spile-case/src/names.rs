//! How the case's words are spelled in files: one table for reading and writing.

use crate::fitting::{ConeSize, Gender};
use crate::guidance::JointShape;
use crate::output::FileKind;
use crate::types::{Form, Inherit, MendKind, Outliers, Unit};

/// Spelling and meaning of one type's words.
pub(crate) type Words<T> = &'static [(&'static str, T)];

pub(crate) const UNITS: Words<Unit> =
    &[("mm", Unit::Millimetre), ("cm", Unit::Centimetre), ("m", Unit::Metre), ("in", Unit::Inch)];

pub(crate) const FORMS: Words<Form> = &[
    ("shell", Form::Shell),
    ("sheets", Form::Sheets),
    ("bore", Form::Bore),
    ("cavity", Form::Cavity),
];

pub(crate) const INHERITS: Words<Inherit> = &[("self-intersection", Inherit::SelfIntersection)];

pub(crate) const OUTLIERS: Words<Outliers> = &[("keep", Outliers::Keep), ("mend", Outliers::Mend)];

pub(crate) const SHAPES: Words<JointShape> =
    &[("tangent", JointShape::Tangent), ("shortest", JointShape::Shortest)];

pub(crate) const FILE_KINDS: Words<FileKind> = &[
    ("stl", FileKind::Stl),
    ("3mf", FileKind::ThreeMf),
    ("obj", FileKind::Obj),
    ("ply", FileKind::Ply),
    ("glb", FileKind::Glb),
    ("step", FileKind::Step),
    ("svg", FileKind::Svg),
    ("dxf", FileKind::Dxf),
    ("csv", FileKind::Csv),
];

pub(crate) const CONE_SIZES: Words<ConeSize> = &[
    ("breathing-15", ConeSize::Breathing15),
    ("breathing-22", ConeSize::Breathing22),
    ("luer", ConeSize::Luer),
];

/// The words for cones by gender.
pub(crate) const CONES: Words<Gender> = &[("cone", Gender::Male), ("socket", Gender::Female)];

pub(crate) const MEND_KINDS: Words<MendKind> = &[
    ("duplicate", MendKind::Duplicate),
    ("degenerate", MendKind::Degenerate),
    ("flipped", MendKind::Flipped),
    ("hole", MendKind::Hole),
    ("non-manifold-edge", MendKind::NonManifoldEdge),
    ("non-manifold-vertex", MendKind::NonManifoldVertex),
    ("loose-piece", MendKind::LoosePiece),
    ("self-intersection", MendKind::SelfIntersection),
    ("outlier", MendKind::Outlier),
];

fn spelled<T: PartialEq>(words: Words<T>, meant: &T) -> &'static str {
    // Every variant stands in its table: the test below goes through them all.
    words.iter().find(|(_, value)| value == meant).map_or("", |&(name, _)| name)
}

impl Unit {
    /// Its spelling in files: `mm`, `cm`, `m`, `in`.
    pub fn name(self) -> &'static str {
        spelled(UNITS, &self)
    }

    /// How many millimetres one of it is: exact.
    pub fn in_millimetres(self) -> f64 {
        match self {
            Unit::Millimetre => 1.0,
            Unit::Centimetre => 10.0,
            Unit::Metre => 1000.0,
            Unit::Inch => 25.4,
        }
    }
}

impl Form {
    /// Its spelling in files: `shell`, `sheets`, `bore`.
    pub fn name(self) -> &'static str {
        spelled(FORMS, &self)
    }
}

impl ConeSize {
    /// Its spelling in files: `breathing-15`, `breathing-22`, `luer`.
    pub fn name(self) -> &'static str {
        spelled(CONE_SIZES, &self)
    }
}

impl Gender {
    /// The word for a fitting of this gender: `cone`, `socket`.
    pub fn name(self) -> &'static str {
        spelled(CONES, &self)
    }
}

impl Inherit {
    /// Its spelling in files.
    pub fn name(self) -> &'static str {
        spelled(INHERITS, &self)
    }
}

impl Outliers {
    /// Its spelling in files: `keep`, `mend`.
    pub fn name(self) -> &'static str {
        spelled(OUTLIERS, &self)
    }
}

impl JointShape {
    /// Its spelling in files: `tangent`, `shortest`.
    pub fn name(self) -> &'static str {
        spelled(SHAPES, &self)
    }
}

impl FileKind {
    /// Its spelling in files: `stl`, `3mf`, `obj`, ...
    pub fn name(self) -> &'static str {
        spelled(FILE_KINDS, &self)
    }
}

impl MendKind {
    /// Its spelling in files: `duplicate`, `hole`, `non-manifold-edge`, ...
    pub fn name(self) -> &'static str {
        spelled(MEND_KINDS, &self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fails to compile when a variant is added, so that the table is not forgotten.
    fn listed(kind: MendKind) -> usize {
        match kind {
            MendKind::Duplicate => 0,
            MendKind::Degenerate => 1,
            MendKind::Flipped => 2,
            MendKind::Hole => 3,
            MendKind::NonManifoldEdge => 4,
            MendKind::NonManifoldVertex => 5,
            MendKind::LoosePiece => 6,
            MendKind::SelfIntersection => 7,
            MendKind::Outlier => 8,
        }
    }

    #[test]
    fn every_word_has_one_spelling() {
        for (place, &(name, kind)) in MEND_KINDS.iter().enumerate() {
            assert_eq!(listed(kind), place);
            assert_eq!(kind.name(), name);
        }
        assert!(UNITS.iter().all(|&(name, unit)| unit.name() == name));
        assert!(FORMS.iter().all(|&(name, form)| form.name() == name));
        assert!(INHERITS.iter().all(|&(name, inherit)| inherit.name() == name));
        assert!(OUTLIERS.iter().all(|&(name, outliers)| outliers.name() == name));
        assert!(SHAPES.iter().all(|&(name, shape)| shape.name() == name));
        assert!(CONE_SIZES.iter().all(|&(name, size)| size.name() == name));
        assert!(FILE_KINDS.iter().map(|&(_, kind)| kind).eq(FileKind::ALL));
        assert!(CONES.iter().all(|&(name, gender)| gender.name() == name));
        assert_eq!((CONE_SIZES.len(), CONES.len()), (3, 2));
        assert_eq!((UNITS.len(), FORMS.len(), INHERITS.len()), (4, 4, 1));
    }
}
