//! The part as a reader may turn it in the page: its surface, what belongs to what, and its
//! maps. What changed is there triangle for triangle; of the rest, where it is large, a
//! simpler likeness, which the page says.

mod coarse;
mod packed;

use serde::Serialize;
use spile_proof::measures::Measures;
use spile_proof::{PartLabel, Region};
use ts_rs::TS;

use crate::colour::{Map, NO_VALUE, hex};
use crate::evidence::Evidence;
use crate::maps::{deviation_range, deviation_scale, wall_range};
use crate::number::measured_text;
use crate::views::{REGIONS, frame, region_number};
use coarse::coarse;
use packed::packed;

/// Colours of a map that are told, evenly from its one end to the other.
const STEPS: usize = 64;

/// All that the page's script needs.
#[derive(Debug, Clone, PartialEq, Serialize, TS)]
pub struct Turnable {
    /// The unit of lengths.
    pub unit: String,
    /// How many points are shown.
    pub points: usize,
    /// How many triangles are shown.
    pub triangles: usize,
    /// How many of them are the part's own: what changed, and the rest where it is not simplified.
    pub whole: usize,
    /// How many triangles the part has.
    pub of: usize,
    /// What triangles belong to.
    pub regions: Vec<RegionTold>,
    /// What the part can be coloured by.
    pub maps: Vec<MapTold>,
    /// The ends.
    pub ends: Vec<EndTold>,
    /// The worst places of limits.
    pub places: Vec<PlaceTold>,
    /// As packed words: the points' coordinates as `f32`, all first ones, all second ones, all
    /// third ones; the triangles' points in the same way; the triangles' regions; each map's
    /// values at the points, as `f32`, not a number where there is none.
    pub words: String,
}

/// What triangles belong to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, TS)]
pub struct RegionTold {
    /// In words.
    pub name: String,
    /// `#rrggbb`.
    pub colour: String,
}

/// What the part can be coloured by.
#[derive(Debug, Clone, PartialEq, Serialize, TS)]
pub struct MapTold {
    /// In words.
    pub name: String,
    /// What its colours are called.
    pub scale: String,
    /// The values at the ends of its colours.
    pub range: [f64; 2],
    /// Its colours, evenly from end to end, `#rrggbb`.
    pub colours: Vec<String>,
    /// The colour where there is no value.
    pub none: String,
}

/// An end.
#[derive(Debug, Clone, PartialEq, Serialize, TS)]
pub struct EndTold {
    /// Its name.
    pub name: String,
    /// Its middle.
    pub at: [f64; 3],
    /// Off the scan.
    pub along: [f64; 3],
    /// How wide it is, about.
    pub across: f64,
}

/// The worst place of a limit.
#[derive(Debug, Clone, PartialEq, Serialize, TS)]
pub struct PlaceTold {
    /// Limit, end and what was measured.
    pub name: String,
    /// Where.
    pub at: [f64; 3],
}

/// The part to be turned, with at most about `most` triangles of what did not change; none
/// where no part closes.
pub(crate) fn turnable(evidence: &Evidence, most: usize) -> Option<Turnable> {
    let (mesh, labels) = (evidence.mesh?, evidence.labels?);
    let is_whole: Vec<bool> = labels.part.iter().map(changed).collect();
    let shown = coarse(mesh, &is_whole, most);
    let points = || shown.points.iter().map(|v| mesh.points()[*v as usize]);
    let [x, y, z] = [0, 1, 2].map(|k| points().map(move |p| word(p[k])));
    let mut words: Vec<u32> = x.chain(y).chain(z).collect();
    for k in 0..3 {
        words.extend(shown.triangles.iter().map(|t| t[k]));
    }
    words.extend(shown.of.iter().map(|t| region_number(&labels.part[*t as usize]) as u32));
    let mut maps = Vec::new();
    if let Some(measures) = evidence.measures {
        for (told, values) in maps_told(measures, evidence.unit) {
            words.extend(
                shown.points.iter().map(|v| values[*v as usize].map_or(word(f64::NAN), word)),
            );
            maps.push(told);
        }
    }
    let is_all = shown.of.len() == mesh.triangles().len();
    let whole = if is_all { shown.of.len() } else { is_whole.iter().filter(|w| **w).count() };
    Some(Turnable {
        unit: evidence.unit.to_owned(),
        points: shown.points.len(),
        triangles: shown.of.len(),
        whole,
        of: mesh.triangles().len(),
        regions: REGIONS
            .map(|(name, colour)| RegionTold { name: name.into(), colour: hex(colour) })
            .to_vec(),
        maps,
        ends: ends(evidence),
        places: places(evidence),
        words: packed(&words),
    })
}

/// The bits of a number as `f32`.
fn word(x: f64) -> u32 {
    (x as f32).to_bits()
}

/// Whether a triangle is new: of joint, reach, fitting or end face.
fn changed(label: &PartLabel) -> bool {
    !matches!(label.region, Region::Kept | Region::MadeWall)
}

/// The maps with their values at the points, as the report's own pictures show them.
fn maps_told<'a>(measures: &'a Measures, unit: &str) -> Vec<(MapTold, &'a [Option<f64>])> {
    let told = |name: &str, scale: String, map: Map, range| MapTold {
        name: name.to_owned(),
        scale,
        range,
        colours: colours(map),
        none: hex(NO_VALUE),
    };
    let deviation = deviation_range(measures).map(|range| {
        let scale = deviation_scale(unit);
        let told = told("how far replaced scan lies from the scan", scale, Map::Signed, range);
        (told, measures.deviation.map.values.as_slice())
    });
    let wall = wall_range(measures).map(|range| {
        let scale = format!("wall, {unit}");
        let told = told("how thick the wall is", scale, Map::Unsigned, range);
        (told, measures.thickness.map.values.as_slice())
    });
    deviation.into_iter().chain(wall).collect()
}

fn colours(map: Map) -> Vec<String> {
    let at = |k: usize| {
        let t = k as f64 / (STEPS - 1) as f64;
        hex(map.at(map.least() + (1.0 - map.least()) * t))
    };
    (0..STEPS).map(at).collect()
}

fn ends(evidence: &Evidence) -> Vec<EndTold> {
    let told = |(k, end): (usize, &spile_case::End)| {
        let stations = evidence.ends.iter().find(|e| e.name == end.name);
        let frame = frame(evidence.settled, k, stations)?;
        Some(EndTold {
            name: end.name.clone(),
            at: frame.at.to_array(),
            along: frame.along.to_array(),
            across: frame.across,
        })
    };
    evidence.settled.ends.iter().enumerate().filter_map(told).collect()
}

fn places(evidence: &Evidence) -> Vec<PlaceTold> {
    let told = |limit: &spile_proof::LimitResult| {
        let measured = measured_text(&limit.name, limit.measured?, evidence.unit);
        let end = limit.end.as_ref().map_or_else(String::new, |end| format!(" at end {end}"));
        Some(PlaceTold { name: format!("{}{end}: {measured}", limit.name), at: limit.where_? })
    };
    evidence.limits.iter().filter_map(told).collect()
}
