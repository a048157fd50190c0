//! A fitting, from TOML.

use crate::fitting::{Cone, Fitting, Flange, Gender, MeshFitting, Solid, SolidKind};
use crate::names::{CONE_SIZES, UNITS, Words};
use crate::reader::{Keys, Reader, Table, Value};
use crate::types::Unit;

const FITTING: Keys = Keys {
    table: "`fitting`",
    known: &[
        "kind",
        "size",
        "bore",
        "outside",
        "length",
        "allowance",
        "flange",
        "file",
        "unit",
        "rim",
    ],
};

const FLANGE: Keys = Keys { table: "`flange`", known: &["outside", "thickness", "at"] };

#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Tube,
    Cone(Gender),
    File(SolidKind),
}

const KINDS: Words<Kind> = &[
    ("tube", Kind::Tube),
    ("cone", Kind::Cone(Gender::Male)),
    ("socket", Kind::Cone(Gender::Female)),
    ("mesh", Kind::File(SolidKind::Mesh)),
    ("step", Kind::File(SolidKind::Step)),
];

/// Reads a fitting of a case in `unit`. A length and a flange's place that are
/// left out are written into it. The file that gives a fitting is added to `solids`.
pub(crate) fn read_fitting(
    reader: &mut Reader<'_>,
    value: &Value<'_>,
    unit: Unit,
    solids: &mut Vec<Solid>,
) -> Option<Fitting> {
    let table = reader.table(value, &FITTING)?;
    let kind = match table.get("kind") {
        Some(kind) => reader.word(kind, KINDS),
        None => {
            reader.missing(
                &table,
                "kind",
                "write `kind = \"tube\"`, `\"cone\"`, `\"socket\"`, `\"mesh\"` or `\"step\"`",
            );
            None
        }
    };
    match kind {
        Some(Kind::File(kind)) => read_file(reader, &table, kind, unit, solids),
        Some(Kind::Cone(gender)) => read_cone(reader, &table, gender, unit),
        Some(Kind::Tube) => read_tube(reader, &table),
        // Which keys it takes is not known.
        None => None,
    }
}

fn read_file(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    kind: SolidKind,
    unit: Unit,
    solids: &mut Vec<Solid>,
) -> Option<Fitting> {
    for key in ["size", "bore", "outside", "length", "flange"] {
        refuse(reader, table, key, "its shape is the file's");
    }
    refuse(
        reader,
        table,
        "allowance",
        "all its diameters are the file's, to be changed where it was modelled; a standard `cone` or `socket` takes an allowance",
    );
    let file = match table.get("file") {
        Some(file) => reader.text(file),
        None => {
            let which = match kind {
                SolidKind::Mesh => "name the mesh file: STL, PLY, OBJ or 3MF",
                SolidKind::Step => "name the STEP file",
            };
            reader.missing(table, "file", which);
            None
        }
    };
    // A STEP file says itself what its unit is.
    let unit = match table.get("unit") {
        Some(value) => reader.word(value, UNITS).map(Some),
        None => Some((kind == SolidKind::Mesh).then_some(unit)),
    };
    let rim = table.get("rim").map(|v| reader.point(v));
    let (file, unit) = (file?, unit?);
    let rim = rim.map_or(Some(None), |point| point.map(Some))?;
    let (points, triangles) = (Vec::new(), Vec::new());
    solids.push(Solid { file, kind, unit, points, triangles, exact: None });
    Some(Fitting::Mesh(MeshFitting { solid: solids.len() - 1, rim, roll_deg: 0.0 }))
}

fn read_tube(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> Option<Fitting> {
    refuse_file(reader, table);
    for key in ["size", "allowance"] {
        refuse(reader, table, key, "a tube's diameters are `bore` and `outside`, as they are made");
    }
    let bore = reader.need_positive(table, "bore");
    let outside = reader.need_positive(table, "outside");
    let length = reader.need_positive(table, "length");
    let flange = read_flange(reader, table, outside.zip(length), 0.0);
    let (bore, outside) = (bore?, outside?);
    if bore >= outside {
        let message = format!("the fitting's bore is not below its outside: {bore} and {outside}");
        wrong(reader, table, "bore", message, "must be below `outside`");
        return None;
    }
    Some(Fitting::Tube { bore, outside, length: length?, flange: flange? })
}

fn read_cone(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    gender: Gender,
    unit: Unit,
) -> Option<Fitting> {
    let (other_key, fixed_key) = match gender {
        Gender::Male => ("bore", "outside"),
        Gender::Female => ("outside", "bore"),
    };
    refuse_file(reader, table);
    let why = format!("a {}'s {fixed_key} follows from its `size`", gender.name());
    refuse(reader, table, fixed_key, &why);
    let size = match table.get("size") {
        Some(size) => reader.word(size, CONE_SIZES),
        None => {
            reader.missing(table, "size", "`spile fittings` lists the sizes");
            None
        }
    };
    let other = reader.need_positive(table, other_key);
    let length = table.get("length").map(|v| reader.positive(v));
    let allowance = table.get("allowance").map_or(Some(0.0), |v| reader.number(v));
    let (size, other, allowance) = (size?, other?, allowance?);
    let mut cone = Cone { size, gender, other, length: 0.0, allowance, flange: None };
    let taper = cone.taper_in(unit);
    cone.length = length.unwrap_or(Some(taper))?;
    if cone.length < taper {
        let message = format!("the fitting is shorter than its taper: {} and {taper}", cone.length);
        wrong(reader, table, "length", message, &format!("must be {taper} or more"));
        return None;
    }
    let ends = cone.ends_in(unit);
    if ends.iter().any(|&d| d <= 0.0) {
        let message =
            format!("the allowance is larger than the {} itself: {allowance}", gender.name());
        wrong(reader, table, "allowance", message, "leaves a diameter below 0");
        return None;
    }
    let [free, wide] = ends;
    check_cone(reader, table, &cone, (free, other_key))?;
    let body = if gender == Gender::Male { wide } else { other };
    let kept_free = if gender == Gender::Male { taper } else { 0.0 };
    cone.flange = read_flange(reader, table, Some((body, cone.length)), kept_free)?;
    Some(Fitting::Cone(cone))
}

/// Sees that the wall has a thickness at the free end, where it is thinnest.
fn check_cone(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    cone: &Cone,
    (free, other_key): (f64, &str),
) -> Option<()> {
    let (fits, must) = match cone.gender {
        Gender::Male => (cone.other < free, format!("must be below {free}")),
        Gender::Female => (cone.other > free, format!("must be above {free}")),
    };
    if fits {
        return Some(());
    }
    let other = cone.other;
    let message = match cone.gender {
        Gender::Male => format!("the cone's bore is not below its small end: {other} and {free}"),
        Gender::Female => {
            format!("the socket's outside is not above its opening: {other} and {free}")
        }
    };
    wrong(reader, table, other_key, message, &must);
    None
}

/// Reads the flange of a fitting with this outside and length; `kept_free` is
/// the length of the mating cone before the far face, where no flange may be.
/// The inner option tells whether there is one.
fn read_flange(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    body: Option<(f64, f64)>,
    kept_free: f64,
) -> Option<Option<Flange>> {
    let Some(value) = table.get("flange") else { return Some(None) };
    let inner = reader.table(value, &FLANGE)?;
    let outside = reader.need_positive(&inner, "outside");
    let thickness = reader.need_positive(&inner, "thickness");
    let at = inner.get("at").map(|v| reader.positive(v));
    let ((body, length), outside, thickness) = (body?, outside?, thickness?);
    if outside <= body {
        let message = format!("the flange is not wider than the fitting: {outside} and {body}");
        wrong(reader, &inner, "outside", message, &format!("must be above {body}"));
        return None;
    }
    let most = length - kept_free - thickness;
    let at = at.unwrap_or(Some(most))?;
    if at <= 0.0 || at > most + 1e-9 * length {
        let key = if inner.get("at").is_some() { "at" } else { "thickness" };
        let room = if kept_free > 0.0 { "before its taper" } else { "within its length" };
        let message = format!(
            "the flange does not lie {room}: from {at} to {}, where {} are free",
            at + thickness,
            length - kept_free
        );
        let error = reader
            .error(inner.get(key).map_or(value.span(), Value::span), message)
            .label("does not fit")
            .advice("make the fitting's `length` longer, or the flange thinner");
        reader.note(error);
        return None;
    }
    Some(Some(Flange { outside, thickness, at }))
}

/// Notes the keys of a file, which this kind of fitting does not have.
fn refuse_file(reader: &mut Reader<'_>, table: &Table<'_, '_>) {
    for key in ["file", "unit", "rim"] {
        refuse(reader, table, key, "it goes with `kind = \"mesh\"` and `\"step\"`");
    }
}

/// Notes a key that this kind of fitting does not have.
fn refuse(reader: &mut Reader<'_>, table: &Table<'_, '_>, key: &str, why: &str) {
    if table.get(key).is_some() {
        let error = reader
            .error(table.key_span(key), format!("this kind of fitting has no `{key}`: {why}"))
            .label("leave it out");
        reader.note(error);
    }
}

/// Notes a wrong value of a key.
fn wrong(reader: &mut Reader<'_>, table: &Table<'_, '_>, key: &str, message: String, label: &str) {
    let span = table.get(key).map_or(table.span.clone(), Value::span);
    let error = reader.error(span, message).label(label);
    reader.note(error);
}
