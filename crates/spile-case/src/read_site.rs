//! Where an end is on the scan, and where its fitting is, from TOML.

use crate::reader::{Keys, Reader, Table, Value};
use crate::types::{Cut, Onward, Place, Rim, Site, Station, StationCut, Tilt};

const CUT: Keys = Keys {
    table: "`cut`",
    known: &["through", "facing", "from", "along", "narrowest", "roundest"],
};

/// The place that a fitting's own file has it at.
pub(crate) const AS_MODELLED: &str = "as-modelled";

/// A place, or a reach, that is to be found.
pub(crate) const AUTO: &str = "auto";

/// How a place is written.
pub(crate) const PLACES: &str =
    "give `place = { at, along }`, `place = { gap }`, or `place = \"auto\"` to have it found";

const PLACE: Keys =
    Keys { table: "`place`", known: &["at", "along", "gap", "off", "tilt_deg", "toward"] };

/// The keys of `cut` that name a station, of which one is given.
const STATIONS: [&str; 3] = ["along", "narrowest", "roundest"];

/// How a station is written.
const STATION: &str = "write `cut = { from = [x, y, z], along = 12.0 }`, or in place of `along` \
                       `narrowest = [10.0, 30.0]` or `roundest = [10.0, 30.0]`";

/// A fitting's axis may be turned by this much from the bore's direction.
const TILT_MOST_DEG: f64 = 90.0;

pub(crate) fn read_site(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> Option<Site> {
    match (table.get("cut"), table.get("rim")) {
        (Some(_), Some(_)) => {
            let error = reader
                .error(table.key_span("rim"), "an end has a `cut` or a `rim`, not both")
                .label("leave one out");
            reader.note(error);
            None
        }
        (None, None) => {
            reader.missing(table, "cut", "give `cut = { through, facing }` or `cut = { from, along }`, or `rim = [x, y, z]` for an open rim that the scan has");
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
            read_cut(reader, value)
        }
        (None, Some(value)) => {
            let near = reader.point(value);
            let trim = table.get("trim").and_then(|v| reader.within(v, 0.0, f64::from(f32::MAX)));
            let facing = table.get("facing").and_then(|v| reader.direction(v));
            Some(Site::Rim(Rim { near: near?, trim, facing }))
        }
    }
}

fn read_cut(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<Site> {
    let cut = reader.table(value, &CUT)?;
    let named: Vec<&str> = STATIONS.into_iter().filter(|key| cut.get(key).is_some()).collect();
    if cut.get("from").is_none() && named.is_empty() {
        let through = reader.need_point(&cut, "through");
        let facing = reader.need_direction(&cut, "facing");
        return Some(Site::Cut(Cut { through: through?, facing: facing? }));
    }
    if cut.get("through").is_some() {
        let error = reader
            .error(
                cut.key_span("through"),
                "a `cut` goes `through` a point, or to a station `from` a rim, not both",
            )
            .label("leave one out")
            .advice(STATION);
        reader.note(error);
        return None;
    }
    let from = match cut.get("from") {
        Some(value) => reader.point(value),
        None => {
            reader.missing(&cut, "from", STATION);
            None
        }
    };
    let facing = cut.get("facing").map(|value| reader.direction(value));
    let [key] = named[..] else {
        let what = match named.first() {
            None => "a `cut` `from` a rim needs its station",
            Some(_) => "a `cut` has one station",
        };
        let error = reader.error(cut.span.clone(), what).label("which station?").advice(STATION);
        reader.note(error);
        return None;
    };
    let value = cut.get(key)?;
    let station = match key {
        "along" => Station::Along(reader.positive(value)?),
        "narrowest" => Station::Narrowest(read_span(reader, value)?),
        _ => Station::Roundest(read_span(reader, value)?),
    };
    let facing = match facing {
        Some(read) => Some(read?),
        None => None,
    };
    Some(Site::Station(StationCut { from: from?, facing, station }))
}

/// Two lengths along the centreline, the second the greater.
fn read_span(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<[f64; 2]> {
    if let Some([from, to]) = value.get_ref().as_array().map(|a| &a[..]) {
        let (from, to) = (reader.within(from, 0.0, f64::from(f32::MAX)), reader.positive(to));
        let (from, to) = (from?, to?);
        if from < to {
            return Some([from, to]);
        }
    }
    let error = reader
        .error(value.span(), "expected two lengths along the centreline, the lesser first")
        .label("`[from, to]`");
    reader.note(error);
    None
}

pub(crate) fn read_place(reader: &mut Reader<'_>, value: &Value<'_>) -> Option<Place> {
    if let Some(text) = value.get_ref().as_str() {
        return match text {
            AS_MODELLED => Some(Place::AsModelled),
            AUTO => Some(Place::Auto),
            _ => {
                let error = reader
                    .error(value.span(), "expected a table, found text")
                    .label("expected a table")
                    .advice(PLACES);
                reader.note(error);
                None
            }
        };
    }
    let table = reader.table(value, &PLACE)?;
    let both = table.get("at").or(table.get("along")).is_some();
    match (table.get("gap"), both) {
        (Some(gap), false) => {
            let gap = reader.positive(gap);
            let off = table.get("off").map_or(Some([0.0; 3]), |value| reader.point(value));
            let tilt = read_tilt(reader, &table);
            Some(Place::Onward(Onward { gap: gap?, off: off?, tilt: tilt.ok()? }))
        }
        (Some(_), true) => {
            let error = reader
                .error(table.key_span("gap"), "`place` has `at` and `along`, or `gap`, not both")
                .label("leave one out");
            reader.note(error);
            None
        }
        (None, _) => {
            for key in ["off", "tilt_deg", "toward"] {
                if table.get(key).is_some() {
                    let error = reader
                        .error(
                            table.key_span(key),
                            format!(
                                "`{key}` is taken from the bore's direction: it goes with `gap`"
                            ),
                        )
                        .label("not used without `gap`");
                    reader.note(error);
                }
            }
            let at = reader.need_point(&table, "at");
            let along = reader.need_direction(&table, "along");
            Some(Place::At { at: at?, along: along? })
        }
    }
}

/// `tilt_deg` and `toward`, which go together; `Err` if there is a mistake in them.
fn read_tilt(reader: &mut Reader<'_>, table: &Table<'_, '_>) -> Result<Option<Tilt>, ()> {
    match (table.get("tilt_deg"), table.get("toward")) {
        (None, None) => Ok(None),
        (Some(tilt), Some(toward)) => {
            let tilt_deg = reader.within(tilt, 0.0, TILT_MOST_DEG);
            let toward = reader.direction(toward);
            let tilt = tilt_deg.zip(toward).ok_or(())?;
            Ok(Some(Tilt { tilt_deg: tilt.0, toward: tilt.1 }))
        }
        (tilt, _) => {
            let (given, other) =
                if tilt.is_some() { ("tilt_deg", "toward") } else { ("toward", "tilt_deg") };
            let error = reader
                .error(table.key_span(given), format!("`{given}` needs `{other}`"))
                .label(format!("needs `{other}` beside it"))
                .advice("write `tilt_deg = 6.0, toward = [x, y, z]`: the fitting's axis is turned from the bore's direction toward that one");
            reader.note(error);
            Err(())
        }
    }
}
