//! Where another scan lies, from TOML.

use crate::reader::{Keys, Reader, Table};
use crate::types::{Align, End, Form, Keep, Motion, Place, Scan, Vec3};

const ALIGN: Keys = Keys { table: "`align`", known: &["to"] };

const MOVED: Keys = Keys { table: "`moved`", known: &["turn", "shift"] };

/// A rotation's rows are square to each other, and of length 1, within this.
const ROTATION_ROUNDING: f64 = 1e-9;

/// The file of the scan that the case was written for.
pub(crate) fn read_align(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> Option<Align> {
    let align = reader.table(table.get("align")?, &ALIGN)?;
    let Some(to) = align.get("to") else {
        let advice = "write `align = { to = \"first.stl\" }`: the scan in whose coordinates the \
                      case is written";
        reader.missing(&align, "to", advice);
        return None;
    };
    Some(Align { to: reader.text(to)?, ..Align::default() })
}

/// The motion that was found.
pub(crate) fn read_moved(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> Option<Motion> {
    let value = table.get("moved")?;
    let moved = reader.table(value, &MOVED)?;
    let shift = reader.need_point(&moved, "shift");
    let rows = moved.get("turn").and_then(|turn| turn.get_ref().as_array());
    let rows: Option<Vec<Vec3>> =
        rows.and_then(|rows| rows.iter().map(|row| reader.point(row)).collect());
    let turn = rows.and_then(|rows| <[Vec3; 3]>::try_from(rows).ok()).filter(is_rotation);
    if turn.is_none() {
        let error = reader
            .error(value.span(), "expected the three rows of a rotation's matrix")
            .label("no rotation")
            .advice("`run` writes `moved`; leave it out of a case written by hand");
        reader.note(error);
    }
    Some(Motion { turn: turn?, shift: shift? })
}

fn is_rotation([x, y, z]: &[Vec3; 3]) -> bool {
    let dot = |a: &Vec3, b: &Vec3| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let cross = [x[1] * y[2] - x[2] * y[1], x[2] * y[0] - x[0] * y[2], x[0] * y[1] - x[1] * y[0]];
    let off = [dot(x, x) - 1.0, dot(y, y) - 1.0, dot(x, y), dot(&cross, z) - 1.0, dot(z, z) - 1.0];
    off.iter().all(|off| off.abs() <= ROTATION_ROUNDING)
}

/// What cannot be moved onto another scan.
pub(crate) fn check_align(
    reader: &mut Reader<'_>,
    root: &Table<'_, '_>,
    scan: Option<&Scan>,
    ends: &[End],
    keeps: &[Keep],
) {
    let Some(scan) = scan.filter(|scan| scan.align.is_some()) else { return };
    let Some(value) = root.get("scan") else { return };
    let mut refuse = |what: &str, advice: &str| {
        let error = reader.error(value.span(), what).label("`align` here").advice(advice);
        reader.note(error);
    };
    if scan.form == Form::Sheets {
        refuse(
            "`align` takes a scan in one file; form `sheets` has two",
            "move the places of the case by hand",
        );
    }
    if scan.moved.is_some() {
        refuse(
            "`align` beside `moved`: the places of a settled case are moved already",
            "leave one out",
        );
    }
    if keeps.iter().any(|keep| matches!(keep, Keep::Triangles { .. })) {
        refuse(
            "with `align` a keep cannot name triangles: the other scan has others",
            "use `ball` or `box`",
        );
    }
    if ends.iter().any(|end| end.place == Some(Place::AsModelled)) {
        refuse(
            "with `align` a place cannot be `as-modelled`: the fitting's file does not move",
            "give `place = { at, along }` or `place = { gap }`",
        );
    }
    if ends.iter().any(|end| !end.pins.is_empty()) {
        refuse(
            "with `align` an end cannot have a `match`: its angles do not turn with the scan",
            "name places and angles on this scan, without `align`",
        );
    }
}
