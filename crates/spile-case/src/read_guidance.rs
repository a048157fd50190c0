//! Guidance of a case, from TOML.

use crate::guidance::{Clear, EndLimits};
use crate::read_keep::{read_ball, read_box};
use crate::reader::{Keys, Reader, Table};

const END_LIMITS: Keys = Keys {
    table: "`limits` of an end",
    known: &["deviation", "wall_min", "bore_loss", "kink", "ball_min", "chord"],
    later: &[],
};

const CLEAR: Keys = Keys { table: "`[[clear]]`", known: &["ball", "box"], later: &[] };

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
