//! The ends of a case, from TOML.

use crate::read_fitting::read_fitting;
use crate::reader::{Keys, Reader, Table, Value};
use crate::types::{Cut, End, Place, Rim, Seam, Site, Unit};

const END: Keys = Keys {
    table: "`[[end]]`",
    known: &["name", "cut", "rim", "trim", "facing", "reach", "fitting", "place", "seam"],
    later: &["limits", "match", "roll"],
};

const CUT: Keys = Keys { table: "`cut`", known: &["through", "facing"], later: &[] };

const PLACE: Keys = Keys { table: "`place`", known: &["at", "along", "gap"], later: &[] };

const SEAM: Keys = Keys { table: "`seam`", known: &["bore", "outside"], later: &[] };

/// A loop has at least this many points.
const LEAST_LOOP: usize = 3;

/// `unit` is the case's, in which a standard's dimensions are taken.
pub(crate) fn read_ends(reader: &mut Reader<'_>, root: &Table<'_, '_>, unit: Unit) -> Vec<End> {
    let values = reader.tables(root.get("end"));
    if values.is_empty() {
        reader.missing(root, "[[end]]", "add `[[end]]` with `name` and `cut` or `rim`");
    }
    let mut ends: Vec<End> = Vec::new();
    let mut names: Vec<String> = Vec::new();
    for value in values {
        let Some(table) = reader.table(value, &END) else { continue };
        let name = read_name(reader, &table, &mut names);
        let site = read_site(reader, &table);
        let reach = reader.maybe_positive(&table, "reach");
        let fitting = table.get("fitting").map(|v| read_fitting(reader, v, unit));
        let place = table.get("place").map(|v| read_place(reader, v));
        let seam = table.get("seam").map(|v| read_seam(reader, v));
        check_fitting_needs(reader, &table);
        if let (Some(name), Some(site)) = (name, site) {
            ends.push(End {
                name,
                site,
                reach,
                fitting: fitting.flatten(),
                place: place.flatten(),
                seam: seam.flatten(),
            });
        }
    }
    ends
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

fn read_site(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> Option<Site> {
    match (table.get("cut"), table.get("rim")) {
        (Some(_), Some(_)) => {
            let error = reader
                .error(table.key_span("rim"), "an end has a `cut` or a `rim`, not both")
                .label("leave one out");
            reader.note(error);
            None
        }
        (None, None) => {
            reader.missing(table, "cut", "give `cut = { through, facing }`, or `rim = [x, y, z]` for an open rim that the scan has");
            None
        }
        (Some(value), None) => {
            for key in ["trim", "facing"] {
                if table.get(key).is_some() {
                    let error = reader
                        .error(
                            table.key_span(key),
                            format!("`{key}` beside `cut`: it goes with `rim`"),
                        )
                        .label("not used with a cut");
                    reader.note(error);
                }
            }
            let cut = reader.table(value, &CUT)?;
            let through = reader.need_point(&cut, "through");
            let facing = reader.need_direction(&cut, "facing");
            Some(Site::Cut(Cut { through: through?, facing: facing? }))
        }
        (None, Some(value)) => {
            let near = reader.point(value);
            let trim = table.get("trim").and_then(|v| reader.within(v, 0.0, f64::from(f32::MAX)));
            let facing = table.get("facing").and_then(|v| reader.direction(v));
            Some(Site::Rim(Rim { near: near?, trim, facing }))
        }
    }
}

fn read_place(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<Place> {
    if let Some(text) = value.get_ref().as_str() {
        let known = matches!(text, "auto" | "as-modelled");
        let message = if known {
            format!("`place = \"{text}\"` is not supported yet by this version")
        } else {
            "expected a table, found text".to_owned()
        };
        let error = reader
            .error(value.span(), message)
            .label(if known { "not supported yet" } else { "expected a table" })
            .advice("give `place = { at, along }` or `place = { gap }`");
        reader.note(error);
        return None;
    }
    let table = reader.table(value, &PLACE)?;
    let both = table.get("at").or(table.get("along")).is_some();
    match (table.get("gap"), both) {
        (Some(gap), false) => Some(Place::Gap(reader.positive(gap)?)),
        (Some(_), true) => {
            let error = reader
                .error(table.key_span("gap"), "`place` has `at` and `along`, or `gap`, not both")
                .label("leave one out");
            reader.note(error);
            None
        }
        (None, _) => {
            let at = reader.need_point(&table, "at");
            let along = reader.need_direction(&table, "along");
            Some(Place::At { at: at?, along: along? })
        }
    }
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
            ("place", "give `place = { at, along }` or `place = { gap }`"),
            (
                "reach",
                "`reach` is how far from the cut the scan may be changed; about half a diameter is a good start",
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
