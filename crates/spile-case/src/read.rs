//! A case from TOML.

use toml::de::DeTable;

use crate::error::CaseError;
use crate::names::{FORMS, INHERITS, OUTLIERS, UNITS};
use crate::read_align::{check_align, read_align, read_moved};
use crate::read_end::read_ends;
use crate::read_guidance::{read_clears, read_joint};
use crate::read_keep::{read_keeps, read_mends};
use crate::read_output::read_output;
use crate::reader::{Keys, Reader, Table, Value};
use crate::types::{Case, Form, Inherit, Limits, Outliers, Scan, Unit, Wall, WallAt};

const ROOT: Keys = Keys {
    table: "a case",
    known: &["name", "unit", "scan", "end", "joint", "limits", "keep", "clear", "output", "mend"],
};

const SCAN: Keys = Keys {
    table: "`[scan]`",
    known: &["file", "files", "form", "wall", "hole_max", "inherit", "outliers", "align", "moved"],
};

const WALL_AT: Keys = Keys { table: "a place of `wall`", known: &["at", "thickness"] };

/// How a graded wall is written.
const GRADED: &str =
    "write `wall = [{ at = [x, y, z], thickness = t }, { at = ..., thickness = ... }]`";

/// A wall that gets thicker faster than this has an outside that leans so far off the
/// bore that the nearest way across is no longer the thickness meant.
const STEEPEST_WALL: f64 = 0.3;

const LIMITS: Keys = Keys {
    table: "`[limits]`",
    known: &["deviation", "wall_min", "bore_loss", "kink", "ball_min", "chord"],
};

/// A limit on chord that is left out is the deviation over this: the two then
/// scale with the part, whatever its unit.
const DEVIATION_OVER_CHORD: f64 = 10.0;

/// The triangles that a `keep` file names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Painted {
    /// SHA-256 of the scan file that was painted, lower-case hexadecimal.
    pub scan_sha256: String,
    /// Triangle numbers in the scan's file order, from 0.
    pub triangles: Vec<u32>,
}

/// Reads a case from TOML text.
///
/// Directions come out with length 1. A `chord` that is left out is a tenth of
/// `deviation`. `file_name` is only named in messages; no file is opened, so a
/// `keep` by `file` is a mistake here: see [`read_case_with`].
///
/// # Errors
/// Every mistake in the text, in the order in which they stand; never empty.
pub fn read_case(text: &str, file_name: &str) -> Result<Case, Vec<CaseError>> {
    read_case_with(text, file_name, &mut |_| {
        Err("a keep from a file cannot be read here".to_owned())
    })
}

/// Reads a case as [`read_case`] does, with `painted` to open the files that
/// its keeps name. `painted` gets the file as written in the case, and answers
/// with its triangles or with what is wrong, in a sentence.
///
/// # Errors
/// Every mistake in the text, in the order in which they stand; never empty.
pub fn read_case_with(
    text: &str,
    file_name: &str,
    painted: &mut dyn FnMut(&str) -> Result<Painted, String>,
) -> Result<Case, Vec<CaseError>> {
    let mut reader = Reader::new(text, file_name);
    let root = match DeTable::parse(text) {
        Ok(root) => root,
        Err(error) => {
            let span = error.span().unwrap_or(text.len()..text.len());
            let message = format!("not valid TOML: {}", lower_first(error.message()));
            return Err(vec![reader.error(span, message).label("here")]);
        }
    };
    let root = reader.root(&root, &ROOT);
    let name = read_name(&mut reader, &root);
    let unit = read_unit(&mut reader, &root);
    let scan = read_scan(&mut reader, &root);
    // Without a unit the case is refused; reading goes on for its other mistakes.
    let (ends, solids) = read_ends(&mut reader, &root, unit.unwrap_or(Unit::Millimetre));
    let (edge, joint) = read_joint(&mut reader, &root);
    let limits = read_limits(&mut reader, &root);
    let keeps = read_keeps(&mut reader, &root, painted);
    let clears = read_clears(&mut reader, &root);
    let output = read_output(&mut reader, &root);
    let mends = read_mends(&mut reader, &root);
    check_align(&mut reader, &root, scan.as_ref(), &ends, &keeps);
    match (unit, scan, limits) {
        (Some(unit), Some(scan), Some(limits)) if reader.mistakes.is_empty() => Ok(Case {
            name,
            unit,
            scan,
            ends,
            edge,
            joint,
            solids,
            limits,
            keeps,
            clears,
            output,
            mends,
        }),
        _ => {
            let mut mistakes = reader.mistakes;
            mistakes.sort_by_key(|m| m.span.start);
            Err(mistakes)
        }
    }
}

fn lower_first(message: &str) -> String {
    let mut chars = message.chars();
    chars.next().map_or(String::new(), |c| c.to_lowercase().chain(chars).collect())
}

/// What the job is called.
fn read_name(reader: &mut Reader<'_>, root: &Table<'_, '_>) -> Option<String> {
    root.get("name").and_then(|value| reader.text(value))
}

fn read_unit(reader: &mut Reader<'_>, root: &Table<'_, '_>) -> Option<Unit> {
    match root.get("unit") {
        Some(value) => reader.word(value, UNITS),
        None => {
            reader.missing(root, "unit", "write `unit = \"mm\"` (or `cm`, `m`, `in`) at the top");
            None
        }
    }
}

fn read_scan(reader: &mut Reader<'_>, root: &Table<'_, '_>) -> Option<Scan> {
    let Some(value) = root.get("scan") else {
        reader.missing(root, "scan", "add `[scan]` with `file` and `form`");
        return None;
    };
    let table = reader.table(value, &SCAN)?;
    let form = match table.get("form") {
        Some(value) => reader.word(value, FORMS),
        None => {
            let advice = "`form` is `shell` (both walls in one file), `sheets` (two files: inner, \
                          outer), `bore` (inner wall only) or `cavity` (the hollow, closed)";
            reader.missing(&table, "form", advice);
            None
        }
    };
    let files = read_files(reader, &table, form);
    let wall = table.get("wall").and_then(|value| read_wall(reader, value));
    match (form, table.get("wall")) {
        (Some(form @ (Form::Bore | Form::Cavity)), None) => {
            let advice = format!(
                "form `{}` has one wall only; `wall` is the thickness of the wall to make",
                form.name()
            );
            reader.missing(&table, "wall", &advice);
        }
        (Some(form @ (Form::Shell | Form::Sheets)), Some(value)) => {
            let message = format!(
                "form `{}` has its own wall; `wall` is for `bore` and `cavity`",
                form.name()
            );
            let error = reader
                .error(value.span(), message)
                .label("not used")
                .advice("leave it out, or state the thinnest wall with `wall_min` in `[limits]`");
            reader.note(error);
        }
        _ => {}
    }
    let hole_max = reader.maybe_positive(&table, "hole_max");
    let inherit = read_inherit(reader, &table);
    let outliers = match table.get("outliers") {
        Some(value) => reader.word(value, OUTLIERS).unwrap_or_default(),
        None => Outliers::default(),
    };
    let align = read_align(reader, &table);
    let moved = read_moved(reader, &table);
    Some(Scan { files: files?, form: form?, wall, hole_max, inherit, outliers, align, moved })
}

/// One thickness, or two with their places.
fn read_wall(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<Wall> {
    let Some(array) = value.get_ref().as_array() else {
        return reader.positive(value).map(Wall::Even);
    };
    let places: Vec<Option<WallAt>> = array
        .iter()
        .map(|value| {
            let table = reader.table(value, &WALL_AT)?;
            let at = reader.need_point(&table, "at");
            let thickness = reader.need_positive(&table, "thickness");
            Some(WallAt { at: at?, thickness: thickness? })
        })
        .collect();
    let [a, b] = places[..] else {
        let error = reader
            .error(value.span(), "a graded wall goes from one place to another")
            .label("two places")
            .advice(GRADED);
        reader.note(error);
        return None;
    };
    let (a, b) = (a?, b?);
    let way = [0, 1, 2].map(|k| b.at[k] - a.at[k]);
    let length = way.iter().map(|x| x * x).sum::<f64>().sqrt();
    let change = (b.thickness - a.thickness).abs();
    if change > STEEPEST_WALL * length || length == 0.0 {
        let error = reader
            .error(
                value.span(),
                format!(
                    "the wall changes by {change} over {length}, more than {STEEPEST_WALL} of the way"
                ),
            )
            .label("too steep")
            .advice("set the two places further apart, or their thicknesses nearer to each other");
        reader.note(error);
        return None;
    }
    Some(Wall::Graded([a, b]))
}

fn read_files(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    form: Option<Form>,
) -> Option<Vec<String>> {
    let two = form == Some(Form::Sheets);
    let (key, other) = if two { ("files", "file") } else { ("file", "files") };
    if form.is_some() && table.get(other).is_some() {
        let message = if two {
            "form `sheets` takes `files = [inner, outer]`, not `file`"
        } else {
            "only form `sheets` takes `files`; use `file`"
        };
        let error = reader.error(table.key_span(other), message).label(format!("use `{key}`"));
        reader.note(error);
        return None;
    }
    if !two {
        let value = table.get("file").or(table.get("files"));
        return match value {
            Some(value) if table.get("file").is_some() => Some(vec![reader.text(value)?]),
            Some(_) => None,
            None => {
                reader.missing(table, "file", "`file` is the scan, relative to the case file");
                None
            }
        };
    }
    let Some(value) = table.get("files") else {
        reader.missing(table, "files", "form `sheets` takes `files = [inner, outer]`");
        return None;
    };
    match value.get_ref().as_array() {
        Some(array) if array.len() == 2 => {
            let files: Vec<Option<String>> = array.iter().map(|v| reader.text(v)).collect();
            files.into_iter().collect()
        }
        _ => {
            let error = reader
                .error(value.span(), "expected two files: `[inner, outer]`")
                .label("two files");
            reader.note(error);
            None
        }
    }
}

fn read_inherit(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> Vec<Inherit> {
    let Some(value) = table.get("inherit") else { return Vec::new() };
    let Some(array) = value.get_ref().as_array() else {
        let error = reader
            .error(value.span(), "expected a list of faults that may stay")
            .label("a list")
            .advice("write `inherit = [\"self-intersection\"]`");
        reader.note(error);
        return Vec::new();
    };
    let mut inherit = Vec::new();
    for value in array.iter() {
        if let Some(fault) = reader.word(value, INHERITS)
            && !inherit.contains(&fault)
        {
            inherit.push(fault);
        }
    }
    inherit
}

fn read_limits(reader: &mut Reader<'_>, root: &Table<'_, '_>) -> Option<Limits> {
    let Some(value) = root.get("limits") else {
        reader.missing(root, "limits", "add `[limits]` with at least `deviation`");
        return None;
    };
    let table = reader.table(value, &LIMITS)?;
    let deviation = match table.get("deviation") {
        Some(value) => reader.positive(value),
        None => {
            let advice =
                "`deviation` is how far the scan's surface may move within reach; 0.1 mm is common";
            reader.missing(&table, "deviation", advice);
            None
        }
    };
    let wall_min = reader.maybe_positive(&table, "wall_min");
    let bore_loss = table.get("bore_loss").and_then(|v| reader.within(v, 0.0, 1.0));
    let kink_deg = table.get("kink").and_then(|v| reader.within(v, 0.0, 180.0));
    let ball_min = reader.maybe_positive(&table, "ball_min");
    let chord = reader.maybe_positive(&table, "chord");
    let deviation = deviation?;
    let chord = chord.unwrap_or(deviation / DEVIATION_OVER_CHORD);
    Some(Limits { deviation, wall_min, bore_loss, kink_deg, ball_min, chord })
}
