//! Guidance of a case, from TOML.

use crate::guidance::{Clear, EndLimits, JointGuide, Pin, WallShare};
use crate::names::SHAPES;
use crate::read_keep::{read_ball, read_box};
use crate::reader::{Keys, Reader, Table, Value};

const END_LIMITS: Keys = Keys {
    table: "`limits` of an end",
    known: &["deviation", "wall_min", "bore_loss", "kink", "ball_min", "chord"],
};

const JOINT: Keys = Keys { table: "`[joint]`", known: &["edge", "shape", "wall"] };

const WALL_SHARE: Keys =
    Keys { table: "a place of `wall` in `[joint]`", known: &["at", "thickness"] };

/// How the wall of a joint is written.
const WALL_ADVICE: &str = "write `wall = [{ at = 0.2, thickness = 2.0 }, { at = 0.8, thickness = 3.0 }]`: two places \
     or more, each a share of the joint from 0 at the scan's seam to 1 at the fitting, rising";

/// How pins are written.
const PIN_ADVICE: &str = "write `match = [[[x, y, z], angle], ...]`: a place on the rim and its angle about the fitting's \
     axis in degrees";

const CLEAR: Keys = Keys { table: "`[[clear]]`", known: &["ball", "box"] };

/// Limits that are only judged where there is a fitting.
const WITH_FITTING: [&str; 3] = ["kink", "ball_min", "chord"];

/// The regions that no joint may enter.
pub(crate) fn read_clears(reader: &mut Reader<'_>, root: &Table<'_, '_>) -> Vec<Clear> {
    let mut clears = Vec::new();
    for value in reader.tables(root.get("clear")) {
        let Some(table) = reader.table(value, &CLEAR) else { continue };
        match (table.get("ball"), table.get("box")) {
            (Some(ball), None) => clears.extend(read_ball(reader, ball).map(Clear::Ball)),
            (None, Some(value)) => {
                clears.extend(read_box(reader, value).map(|[min, max]| Clear::Box { min, max }))
            }
            (None, None) => reader.missing(&table, "ball", "give one of `ball`, `box`"),
            (Some(_), Some(_)) => {
                let error = reader
                    .error(table.key_span("box"), "a clear is one region; two are given")
                    .label("give it its own `[[clear]]`");
                reader.note(error);
            }
        }
    }
    clears
}

/// The limits of one end that differ from the case's.
pub(crate) fn read_end_limits(reader: &mut Reader<'_>, end: &Table<'_, '_>) -> EndLimits {
    let Some(value) = end.get("limits") else { return EndLimits::default() };
    let Some(table) = reader.table(value, &END_LIMITS) else { return EndLimits::default() };
    if end.get("fitting").is_none() {
        for key in WITH_FITTING.into_iter().filter(|key| table.get(key).is_some()) {
            let error = reader
                .error(table.key_span(key), format!("`{key}` in the limits of a plain end"))
                .label("not judged at a plain end")
                .advice("leave it out, or give this end a `fitting`");
            reader.note(error);
        }
    }
    EndLimits {
        deviation: reader.maybe_positive(&table, "deviation"),
        wall_min: reader.maybe_positive(&table, "wall_min"),
        bore_loss: table.get("bore_loss").and_then(|v| reader.within(v, 0.0, 1.0)),
        kink_deg: table.get("kink").and_then(|v| reader.within(v, 0.0, 180.0)),
        ball_min: reader.maybe_positive(&table, "ball_min"),
        chord: reader.maybe_positive(&table, "chord"),
    }
}

/// Edge length and guidance of the joints.
pub(crate) fn read_joint(
    reader: &mut Reader<'_>,
    root: &Table<'_, '_>,
) -> (Option<f64>, JointGuide) {
    let table = root.get("joint").and_then(|value| reader.table(value, &JOINT));
    let Some(table) = table else { return (None, JointGuide::default()) };
    let edge = reader.maybe_positive(&table, "edge");
    let shape = table.get("shape").and_then(|v| reader.word(v, SHAPES)).unwrap_or_default();
    let wall = table.get("wall").map_or(Vec::new(), |value| read_wall_shares(reader, value));
    (edge, JointGuide { shape, wall })
}

/// Two places or more, rising.
fn read_wall_shares(reader: &mut Reader<'_>, value: &Value<'_>) -> Vec<WallShare> {
    let wrong = |reader: &mut Reader<'_>, message: &str, label: &str| {
        let error = reader.error(value.span(), message).label(label).advice(WALL_ADVICE);
        reader.note(error);
    };
    let Some(array) = value.get_ref().as_array().filter(|a| a.len() >= 2) else {
        wrong(reader, "the wall of a joint is given at two places or more", "two places or more");
        return Vec::new();
    };
    let mut wall: Vec<WallShare> = Vec::new();
    for value in array.iter() {
        let Some(table) = reader.table(value, &WALL_SHARE) else { continue };
        let at = match table.get("at") {
            Some(at) => reader.within(at, 0.0, 1.0),
            None => {
                reader.missing(&table, "at", "");
                None
            }
        };
        let thickness = reader.need_positive(&table, "thickness");
        wall.extend(at.zip(thickness).map(|(at, thickness)| WallShare { at, thickness }));
    }
    if wall.windows(2).any(|pair| pair[0].at >= pair[1].at) {
        wrong(reader, "the places of the wall do not rise", "put them in order, each once");
    }
    wall
}

/// Which places of the rim face which places of the fitting.
pub(crate) fn read_pins(reader: &mut Reader<'_>, end: &Table<'_, '_>) -> Vec<Pin> {
    let Some(value) = end.get("match") else { return Vec::new() };
    if end.get("fitting").is_none() {
        let error = reader
            .error(end.key_span("match"), "`match` without a `fitting`")
            .label("nothing to match with")
            .advice("leave it out, or give this end a `fitting`");
        reader.note(error);
    }
    let Some(array) = value.get_ref().as_array() else {
        let error = reader
            .error(value.span(), "expected a list of places and angles")
            .label("a list")
            .advice(PIN_ADVICE);
        reader.note(error);
        return Vec::new();
    };
    let mut pins = Vec::new();
    for value in array.iter() {
        let pair = value.get_ref().as_array().filter(|pair| pair.len() == 2);
        let Some((scan, angle)) = pair.and_then(|pair| pair.first().zip(pair.get(1))) else {
            let error = reader
                .error(value.span(), "expected a place and an angle")
                .label("`[[x, y, z], angle]`")
                .advice(PIN_ADVICE);
            reader.note(error);
            continue;
        };
        let (scan, angle) = (reader.point(scan), reader.within(angle, -360.0, 360.0));
        pins.extend(scan.zip(angle).map(|(scan, angle_deg)| Pin { scan, angle_deg }));
    }
    pins
}
