//! The ends of a case, from TOML.

use crate::fitting::{Fitting, MeshFitting, Solid};
use crate::read_fitting::read_fitting;
use crate::read_guidance::{read_end_limits, read_pins};
use crate::read_site::{AUTO, PLACES, read_place, read_site};
use crate::reader::{Keys, Reader, Table, Value};
use crate::types::{End, Place, Seam, Unit};

const END: Keys = Keys {
    table: "`[[end]]`",
    known: &[
        "name", "cut", "rim", "trim", "facing", "reach", "fitting", "place", "roll", "match",
        "limits", "seam",
    ],
};

const SEAM: Keys = Keys { table: "`seam`", known: &["bore", "outside"] };

/// A loop has at least this many points.
const LEAST_LOOP: usize = 3;

/// The ends, and the files that give their fittings; `unit` is the case's, in
/// which a standard's dimensions are taken.
pub(crate) fn read_ends(
    reader: &mut Reader<'_>,
    root: &Table<'_, '_>,
    unit: Unit,
) -> (Vec<End>, Vec<Solid>) {
    let values = reader.tables(root.get("end"));
    if values.is_empty() {
        reader.missing(root, "[[end]]", "add `[[end]]` with `name` and `cut` or `rim`");
    }
    let mut ends: Vec<End> = Vec::new();
    let mut names: Vec<String> = Vec::new();
    let mut solids = Vec::new();
    for value in values {
        let Some(table) = reader.table(value, &END) else { continue };
        let name = read_name(reader, &table, &mut names);
        let site = read_site(reader, &table);
        let (reach, reach_is_auto) = read_reach(reader, &table);
        let fitting = table.get("fitting").map(|v| read_fitting(reader, v, unit, &mut solids));
        let place = table.get("place").map(|v| read_place(reader, v));
        let fitting = Some(read_roll(reader, &table, fitting.flatten(), place.flatten()));
        let pins = read_pins(reader, &table);
        let limits = read_end_limits(reader, &table);
        let seam = table.get("seam").map(|v| read_seam(reader, v));
        check_fitting_needs(reader, &table);
        check_as_modelled(reader, &table, fitting.flatten(), place.flatten());
        if let (Some(name), Some(site)) = (name, site) {
            ends.push(End {
                name,
                site,
                reach,
                reach_is_auto,
                fitting: fitting.flatten(),
                place: place.flatten(),
                pins,
                limits,
                seam: seam.flatten(),
            });
        }
    }
    (ends, solids)
}

fn read_name(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    names: &mut Vec<String>,
) -> Option<String> {
    let Some(value) = table.get("name") else {
        reader.missing(table, "name", "any name that no other end has");
        return None;
    };
    let name = reader.text(value)?;
    if names.contains(&name) {
        let error = reader
            .error(value.span(), format!("two ends have the name `{name}`"))
            .label("used before")
            .advice("give each end its own name");
        reader.note(error);
    }
    names.push(name.clone());
    Some(name)
}

/// A length, or `auto`, which goes with a fitting.
fn read_reach(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> (Option<f64>, bool) {
    let Some(value) = table.get("reach") else { return (None, false) };
    match value.get_ref().as_str() {
        None => return (reader.positive(value), false),
        Some(AUTO) => {}
        Some(_) => {
            let error = reader
                .error(value.span(), "expected a length or `\"auto\"`, found other text")
                .label("expected a length")
                .advice("give a number without quotes, or `reach = \"auto\"` to have it found");
            reader.note(error);
            return (None, false);
        }
    }
    if table.get("fitting").is_none() {
        let error = reader
            .error(value.span(), "`reach = \"auto\"` goes with a `fitting`")
            .label("nothing is joined here")
            .advice("leave `reach` out: at a plain end only what the cut crosses is changed");
        reader.note(error);
    }
    (None, true)
}

/// Only what a file gives has a place there.
fn check_as_modelled(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    fitting: Option<Fitting>,
    place: Option<Place>,
) {
    if place == Some(Place::AsModelled) && fitting.is_some_and(|f| !matches!(f, Fitting::Mesh(_))) {
        let error = reader
            .error(table.key_span("place"), "`as-modelled` is the place of a fitting from a file")
            .label("this fitting has no file")
            .advice(PLACES);
        reader.note(error);
    }
}

/// The fitting turned about its axis by `roll`, where that is given.
fn read_roll(
    reader: &mut Reader<'_>,
    table: &Table<'_, '_>,
    fitting: Option<Fitting>,
    place: Option<Place>,
) -> Option<Fitting> {
    let Some(value) = table.get("roll") else { return fitting };
    let mut refuse = |message: &str, label: &str, advice: &str| {
        let error = reader.error(table.key_span("roll"), message).label(label).advice(advice);
        reader.note(error);
    };
    if table.get("fitting").is_none() {
        refuse("`roll` without a `fitting`", "nothing to turn", "leave it out");
    }
    let mesh = match fitting? {
        Fitting::Mesh(mesh) => mesh,
        round => {
            refuse("`roll` of a fitting that is round", "nothing would turn", "leave it out");
            return Some(round);
        }
    };
    if place == Some(Place::AsModelled) {
        refuse(
            "`roll` of a fitting that stays as modelled",
            "it has its place to the bit",
            "leave it out, or give `place = { at, along }`",
        );
    }
    let roll_deg = reader.within(value, -360.0, 360.0)?;
    Some(Fitting::Mesh(MeshFitting { roll_deg, ..mesh }))
}

fn read_seam(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<Seam> {
    let table = reader.table(value, &SEAM)?;
    let mut of = |key: &str| match table.get(key) {
        Some(value) => {
            let points = reader.f32_points(value)?;
            if !points.is_empty() && points.len() < LEAST_LOOP {
                let error = reader
                    .error(
                        value.span(),
                        format!("a loop has at least three points: {}", points.len()),
                    )
                    .label("too few points");
                reader.note(error);
            }
            Some(points)
        }
        None => Some(Vec::new()),
    };
    let (bore, outside) = (of("bore"), of("outside"));
    Some(Seam { bore: bore?, outside: outside? })
}

/// A fitting needs its place and the reach; a place needs a fitting.
fn check_fitting_needs(reader: &mut Reader<'_>, table: &Table<'_, '_>) {
    if table.get("fitting").is_some() {
        for (key, advice) in [
            ("place", PLACES),
            (
                "reach",
                "`reach` is how far from the cut the scan may be changed; about half a diameter is a good start, and `reach = \"auto\"` finds the least that holds",
            ),
        ] {
            if table.get(key).is_none() {
                let error = reader
                    .error(
                        table.key_span("fitting"),
                        format!("an end with a fitting needs `{key}`"),
                    )
                    .label(format!("needs `{key}` beside it"))
                    .advice(advice);
                reader.note(error);
            }
        }
    } else if table.get("place").is_some() {
        let error = reader
            .error(table.key_span("place"), "`place` without a `fitting`")
            .label("nothing to place")
            .advice("add `fitting = { kind = \"tube\", bore, outside, length }`, or leave `place` out for a plain end");
        reader.note(error);
    }
}
