//! Keeps and mends of a case, from TOML.

use crate::names::MEND_KINDS;
use crate::read::Painted;
use crate::reader::{Keys, Reader, Table, Value};
use crate::types::{Ball, Keep, Mend, Vec3};

const KEEP: Keys = Keys { table: "`[[keep]]`", known: &["ball", "box", "file", "triangles"] };

const BALL: Keys = Keys { table: "`ball`", known: &["at", "radius"] };

const BOX: Keys = Keys { table: "`box`", known: &["min", "max"] };

const TRIANGLES: Keys = Keys { table: "`triangles`", known: &["scan_sha256", "numbers"] };

const MEND: Keys = Keys { table: "`[[mend]]`", known: &["kind", "at", "radius"] };

type Open<'o> = &'o mut dyn FnMut(&str) -> Result<Painted, String>;

pub(crate) fn read_keeps(
    reader: &mut Reader<'_>,
    root: &Table<'_, '_>,
    painted: Open<'_>,
) -> Vec<Keep> {
    let mut keeps = Vec::new();
    for value in reader.tables(root.get("keep")) {
        let Some(table) = reader.table(value, &KEEP) else { continue };
        let given: Vec<&str> =
            KEEP.known.iter().copied().filter(|key| table.get(key).is_some()).collect();
        match given[..] {
            [key] => {
                let Some(value) = table.get(key) else { continue };
                keeps.extend(read_keep(reader, key, value, painted));
            }
            [] => reader.missing(&table, "ball", "give one of `ball`, `box`, `file`"),
            [_, second, ..] => {
                let error = reader
                    .error(table.key_span(second), "a keep is one region; two are given")
                    .label("give it its own `[[keep]]`");
                reader.note(error);
            }
        }
    }
    keeps
}

fn read_keep(
    reader: &mut Reader<'_>,
    key: &str,
    value: &Value<'_>,
    painted: Open<'_>,
) -> Option<Keep> {
    match key {
        "ball" => read_ball(reader, value).map(Keep::Ball),
        "box" => read_box(reader, value).map(|[min, max]| Keep::Box { min, max }),
        "file" => {
            let file = reader.text(value)?;
            match painted(&file) {
                Ok(Painted { scan_sha256, triangles }) => {
                    Some(Keep::Triangles { scan_sha256, triangles })
                }
                Err(message) => {
                    let error = reader.error(value.span(), message).label("this file");
                    reader.note(error);
                    None
                }
            }
        }
        _ => read_triangles(reader, value),
    }
}

/// A ball with a radius above 0.
pub(crate) fn read_ball(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<Ball> {
    let table = reader.table(value, &BALL)?;
    let at = reader.need_point(&table, "at");
    let radius = reader.need_positive(&table, "radius");
    Some(Ball { at: at?, radius: radius? })
}

/// The corners of a box that is not empty.
pub(crate) fn read_box(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<[Vec3; 2]> {
    let table = reader.table(value, &BOX)?;
    let (min, max) = (reader.need_point(&table, "min"), reader.need_point(&table, "max"));
    let (min, max) = (min?, max?);
    if let Some(axis) = (0..3).find(|&k| min[k] > max[k]) {
        let name = ["x", "y", "z"][axis];
        let message = format!("the box is empty: in {name} its `min` is above its `max`");
        let error = reader.error(value.span(), message).label("empty").advice("exchange the two");
        reader.note(error);
        return None;
    }
    Some([min, max])
}

fn read_triangles(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<Keep> {
    let table = reader.table(value, &TRIANGLES)?;
    let hash = match table.get("scan_sha256") {
        Some(value) => {
            let hash = reader.text(value)?;
            if !is_sha256(&hash) {
                let error = reader
                    .error(value.span(), "expected 64 lower-case hexadecimal digits")
                    .label("not a SHA-256");
                reader.note(error);
            }
            Some(hash)
        }
        None => {
            reader.missing(&table, "scan_sha256", "");
            None
        }
    };
    let numbers = match table.get("numbers") {
        Some(value) => reader.numbers_from_zero(value),
        None => {
            reader.missing(&table, "numbers", "");
            None
        }
    };
    Some(Keep::Triangles { scan_sha256: hash?, triangles: numbers? })
}

fn is_sha256(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
}

pub(crate) fn read_mends(reader: &mut Reader<'_>, root: &Table<'_, '_>) -> Vec<Mend> {
    let mut mends = Vec::new();
    for value in reader.tables(root.get("mend")) {
        let Some(table) = reader.table(value, &MEND) else { continue };
        let kind = match table.get("kind") {
            Some(value) => reader.word(value, MEND_KINDS),
            None => {
                reader.missing(&table, "kind", "");
                None
            }
        };
        let at = reader.need_point(&table, "at");
        let radius = match table.get("radius") {
            // A doubled triangle is taken out where it is: its ball may be a point.
            Some(value) => reader.within(value, 0.0, f64::from(f32::MAX)),
            None => {
                reader.missing(&table, "radius", "");
                None
            }
        };
        if let (Some(kind), Some(at), Some(radius)) = (kind, at, radius) {
            mends.push(Mend { kind, ball: Ball { at, radius } });
        }
    }
    mends
}
