//! Which instance is the solid, and in which units it is written.

use std::collections::BTreeSet;

use super::Source;
use super::part21::{Instance, Instances, Record, Value};
use crate::error::{Fault, Place};
use crate::unit::FileUnit;

const EXPORT_ONE: &str =
    "export the one part that is the fitting as a solid of its own, in one STEP file";

/// The solid of a file.
pub(crate) struct Found {
    pub kind: Kind,
    /// Number of the solid's instance.
    pub number: u64,
    pub unit: FileUnit,
    /// What a plane angle of 1 is in radians.
    pub angle_in_rad: f64,
}

/// What the solid is given by.
pub(crate) enum Kind {
    /// Exact faces, of the shell of this number.
    Exact(u64),
    /// Triangles.
    Tessellated,
}

impl Instances {
    /// The instance of a number.
    pub(crate) fn get(&self, number: u64, by: Source) -> Result<(&Instance, Source), Fault> {
        let instance = self.all.get(&number).ok_or_else(|| {
            Fault::at(by.place(), format!("it names #{number}, which is not in the file"))
        })?;
        Ok((instance, Source { entity: number, line: instance.line }))
    }

    /// The instance of a number, as one record.
    pub(crate) fn record(&self, number: u64, by: Source) -> Result<(&Record, Source), Fault> {
        let (instance, source) = self.get(number, by)?;
        match instance.records.as_slice() {
            [record] => Ok((record, source)),
            [] => Err(Fault::at(source.place(), "an instance of no type")),
            [first, ..] => Err(Fault::refused(
                source.place(),
                format!(
                    "an entity of several types, {} among them, where a plain one is due",
                    first.name
                ),
                "export the part anew, with plane, cylindrical, conical, spherical and toroidal faces",
            )),
        }
    }

    /// Instances with a record of this name, rising.
    pub(crate) fn named<'a>(&'a self, name: &'a str) -> impl Iterator<Item = (Source, &'a Record)> {
        self.all.iter().flat_map(move |(&entity, instance)| {
            let source = Source { entity, line: instance.line };
            instance.records.iter().filter(move |r| r.name == name).map(move |r| (source, r))
        })
    }
}

impl Record {
    /// A value by its place in the record, from 0.
    pub(crate) fn value(&self, k: usize, source: Source) -> Result<&Value, Fault> {
        let what = || format!("{} needs more values than {}", self.name, self.values.len());
        self.values.get(k).ok_or_else(|| Fault::at(source.place(), what()))
    }

    pub(crate) fn wrong(&self, k: usize, wanted: &str, source: Source) -> Fault {
        Fault::at(source.place(), format!("value {} of {} is not {wanted}", k + 1, self.name))
    }

    pub(crate) fn reference(&self, k: usize, source: Source) -> Result<u64, Fault> {
        match self.value(k, source)? {
            Value::Reference(number) => Ok(*number),
            _ => Err(self.wrong(k, "a reference", source)),
        }
    }

    pub(crate) fn references(&self, k: usize, source: Source) -> Result<Vec<u64>, Fault> {
        let wrong = || self.wrong(k, "a list of references", source);
        let Value::List(values) = self.value(k, source)? else { return Err(wrong()) };
        let number = |v: &Value| match v {
            Value::Reference(number) => Ok(*number),
            _ => Err(wrong()),
        };
        values.iter().map(number).collect()
    }

    pub(crate) fn number(&self, k: usize, source: Source) -> Result<f64, Fault> {
        match self.value(k, source)? {
            Value::Number(number) => Ok(*number),
            Value::Typed(_, values) => match values.as_slice() {
                [Value::Number(number)] => Ok(*number),
                _ => Err(self.wrong(k, "a number", source)),
            },
            _ => Err(self.wrong(k, "a number", source)),
        }
    }

    pub(crate) fn is_true(&self, k: usize, source: Source) -> Result<bool, Fault> {
        match self.value(k, source)? {
            Value::Word(word) if word == "T" || word == "TRUE" => Ok(true),
            Value::Word(word) if word == "F" || word == "FALSE" => Ok(false),
            _ => Err(self.wrong(k, ".T. or .F.", source)),
        }
    }
}

/// Things that place a part or make another shape of it, and what they are.
const PLACING: [(&str, &str); 5] = [
    ("NEXT_ASSEMBLY_USAGE_OCCURRENCE", "the file is an assembly"),
    ("REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION", "a part that is moved to its place"),
    ("MAPPED_ITEM", "a part that is used by a mapping"),
    ("REPOSITIONED_TESSELLATED_ITEM", "triangles that are moved to their place"),
    ("TESSELLATED_GEOMETRIC_SET", "loose tessellated items, which are no solid"),
];

/// Shapes that are no single closed solid of exact faces.
const OTHER_SHAPES: [(&str, &str); 8] = [
    ("BREP_WITH_VOIDS", "a solid with voids inside"),
    ("FACETED_BREP", "a faceted solid"),
    ("SHELL_BASED_SURFACE_MODEL", "surfaces, not a solid"),
    ("FACE_BASED_SURFACE_MODEL", "surfaces, not a solid"),
    ("TESSELLATED_SHELL", "a tessellated surface, not a solid"),
    ("GEOMETRIC_CURVE_SET", "curves, not a solid"),
    ("CSG_SOLID", "a solid that is told by how it is made"),
    ("EXTRUDED_AREA_SOLID", "a solid that is told by how it is made"),
];

/// Finds the one solid of a file and the units of its context.
pub(crate) fn solid_of(file: &Instances) -> Result<Found, Fault> {
    for (name, what) in PLACING {
        if let Some((source, _)) = file.named(name).next() {
            let what = format!("{what} ({name}), and parts are not put together here");
            return Err(Fault::refused(source.place(), what, EXPORT_ONE));
        }
    }
    let mut exact: Vec<_> = file.named("MANIFOLD_SOLID_BREP").collect();
    let mut tessellated: Vec<_> = file.named("TESSELLATED_SOLID").collect();
    // A tessellated solid beside the exact one that it shows is not needed.
    if !exact.is_empty() {
        let shown = |r: &Record| match r.values.get(2) {
            Some(Value::Reference(link)) => exact.iter().any(|(s, _)| s.entity == *link),
            _ => false,
        };
        tessellated.retain(|(_, r)| !shown(r));
    }
    let all: Vec<Source> = exact.iter().chain(&tessellated).map(|(s, _)| *s).collect();
    let others = OTHER_SHAPES
        .iter()
        .filter(|(name, _)| *name != "TESSELLATED_SHELL" || all.is_empty())
        .find_map(|&(name, what)| file.named(name).next().map(|(s, _)| (s, name, what)));
    if let Some((source, name, what)) = others {
        return Err(Fault::refused(source.place(), format!("{what} ({name})"), EXPORT_ONE));
    }
    match all.as_slice() {
        [] => return Err(Fault::refused(Place::Whole, "the file holds no solid", EXPORT_ONE)),
        [_] => {}
        several => {
            let named: Vec<String> = several
                .iter()
                .take(8)
                .map(|s| format!("#{} in line {}", s.entity, s.line))
                .collect();
            let what = format!("the file holds {} solids: {}", several.len(), named.join(", "));
            return Err(Fault::refused(Place::Whole, what, EXPORT_ONE));
        }
    }
    let (source, kind) = match (exact.pop(), tessellated.pop()) {
        (Some((source, record)), _) => (source, Kind::Exact(record.reference(1, source)?)),
        (None, Some((source, _))) => (source, Kind::Tessellated),
        (None, None) => {
            return Err(Fault::refused(Place::Whole, "the file holds no solid", EXPORT_ONE));
        }
    };
    let (unit, angle_in_rad) = units(file, source)?;
    Ok(Found { kind, number: source.entity, unit, angle_in_rad })
}

/// Length and plane angle of the context in which the solid is represented.
fn units(file: &Instances, solid: Source) -> Result<(FileUnit, f64), Fault> {
    let holds = |r: &Record| match r.values.get(1) {
        Some(Value::List(items)) => items.contains(&Value::Reference(solid.entity)),
        _ => false,
    };
    let mut contexts = BTreeSet::new();
    for (&entity, instance) in &file.all {
        let source = Source { entity, line: instance.line };
        for record in &instance.records {
            if record.name.ends_with("REPRESENTATION") && holds(record) {
                contexts.insert(record.reference(2, source)?);
            }
        }
    }
    let mut contexts = contexts.into_iter();
    let (Some(context), None) = (contexts.next(), contexts.next()) else {
        let what = "not in just one representation, so its unit cannot be told";
        return Err(Fault::at(solid.place(), what));
    };
    let (context, source) = file.get(context, solid)?;
    let assigned = context.records.iter().find(|r| r.name == "GLOBAL_UNIT_ASSIGNED_CONTEXT");
    let Some(assigned) = assigned else {
        return Err(Fault::at(source.place(), "the solid's context assigns no units"));
    };
    let (mut length, mut angle) = (None, None);
    for number in assigned.references(0, source)? {
        let (unit, at) = file.get(number, source)?;
        let has = |name: &str| unit.records.iter().any(|r| r.name == name);
        if has("LENGTH_UNIT") && length.replace((factor(file, number, at, 0)?, at)).is_some() {
            return Err(Fault::at(source.place(), "two units of length"));
        }
        if has("PLANE_ANGLE_UNIT") && angle.replace(factor(file, number, at, 0)?).is_some() {
            return Err(Fault::at(source.place(), "two units of plane angle"));
        }
    }
    let (Some((metres, at)), Some(angle)) = (length, angle) else {
        return Err(Fault::at(
            source.place(),
            "units of length and plane angle are not both there",
        ));
    };
    let same = |unit: &FileUnit| (metres * 1e3 / unit.millimetres() - 1.0).abs() < UNIT_DIGITS;
    let known = [FileUnit::Millimetre, FileUnit::Centimetre, FileUnit::Metre, FileUnit::Inch];
    let unit = known.into_iter().find(same).ok_or_else(|| {
        let what = format!("its lengths are in a unit of {} mm", metres * 1e3);
        Fault::refused(at.place(), what, "export it in millimetres, centimetres, metres or inches")
    })?;
    Ok((unit, angle))
}

/// A conversion is written in decimals: to this share it is the unit meant.
const UNIT_DIGITS: f64 = 1e-9;
/// Units may be told by others so often.
const MOST_CONVERSIONS: usize = 8;

/// A unit as a multiple of the metre or radian.
fn factor(file: &Instances, number: u64, by: Source, depth: usize) -> Result<f64, Fault> {
    let (unit, source) = file.get(number, by)?;
    if depth > MOST_CONVERSIONS {
        return Err(Fault::at(source.place(), "units that are told by each other without end"));
    }
    for record in &unit.records {
        match record.name.as_str() {
            "SI_UNIT" => {
                let base = match record.value(1, source)? {
                    Value::Word(word) if word == "METRE" || word == "RADIAN" => 1.0,
                    _ => return Err(record.wrong(1, ".METRE. or .RADIAN.", source)),
                };
                return match record.value(0, source)? {
                    Value::None => Ok(base),
                    Value::Word(word) => prefix(word)
                        .map(|times| base * times)
                        .ok_or_else(|| record.wrong(0, "a prefix of the SI", source)),
                    _ => Err(record.wrong(0, "a prefix of the SI", source)),
                };
            }
            "CONVERSION_BASED_UNIT" => {
                let measure = record.reference(1, source)?;
                let (measure, at) = file.get(measure, source)?;
                let Some(of) = measure.records.iter().find(|r| r.values.len() == 2) else {
                    return Err(Fault::at(at.place(), "a measure of a value and its unit is due"));
                };
                let value = of.number(0, at)?;
                let factor = value * factor(file, of.reference(1, at)?, at, depth + 1)?;
                if factor.is_finite() && factor > 0.0 {
                    return Ok(factor);
                }
                return Err(Fault::at(at.place(), "a unit of no size"));
            }
            _ => {}
        }
    }
    Err(Fault::at(source.place(), "a unit that is neither of the SI nor told by another"))
}

/// Prefixes of the SI (ISO 80000-1).
fn prefix(word: &str) -> Option<f64> {
    Some(match word {
        "EXA" => 1e18,
        "PETA" => 1e15,
        "TERA" => 1e12,
        "GIGA" => 1e9,
        "MEGA" => 1e6,
        "KILO" => 1e3,
        "HECTO" => 1e2,
        "DECA" => 1e1,
        "DECI" => 1e-1,
        "CENTI" => 1e-2,
        "MILLI" => 1e-3,
        "MICRO" => 1e-6,
        "NANO" => 1e-9,
        "PICO" => 1e-12,
        "FEMTO" => 1e-15,
        "ATTO" => 1e-18,
        _ => return None,
    })
}
