//! Deviation and wall as maps on the part, with their scales, shares and histograms.

use spile_mesh::DVec3;
use spile_proof::EndStations;
use spile_proof::measures::{
    Deviation, Figure as Measured, Histogram, Measures, Percentile, Thickness, VertexMap,
};

use crate::chart::{self, open};
use crate::colour::{Map, hex};
use crate::contents::{Shot, figures, heading};
use crate::document::{Block, Figure, Image, Key, Text, plain};
use crate::evidence::Evidence;
use crate::measures_told::told;
use crate::number::{Sense, digits, place};
use crate::picture::{Camera, CutAway, Look, Paint, Shading, Surface, draw};
use crate::views::{cut_open, frame, whole};

/// Width and height of a scale.
const SCALE: [usize; 2] = [360, 46];
/// Fields of its bar.
const FIELDS: usize = 64;

/// A measure that is drawn on the part.
pub(crate) struct Drawn<'a> {
    /// One number a point; NaN where there is none.
    pub values: &'a [f64],
    /// Which map.
    pub map: Map,
    /// The numbers at its ends.
    pub range: [f64; 2],
    /// The drawing of its scale.
    pub scale: Key,
    /// Width and height in pixels.
    pub size: [usize; 2],
}

impl Drawn<'_> {
    /// The picture from somewhere, with a ring round a place.
    pub fn shot<'a>(
        &'a self,
        surface: &'a Surface<'a>,
        (camera, cut): (Camera, Option<CutAway>),
        ring: Option<DVec3>,
        (alt, below): (String, String),
    ) -> Shot<'a> {
        let paint = Paint::Measure { values: self.values, map: self.map, range: self.range };
        let look = Look { camera, cut, paint, shading: Shading::Smooth, size: self.size };
        Shot {
            picture: Box::new(move || {
                let mut picture = draw(surface, &look);
                if let Some(at) = ring {
                    picture.ring(&camera, at);
                }
                picture
            }),
            alt,
            caption: plain(below),
            key: Some(self.scale.clone()),
        }
    }
}

/// The values at the ends of the deviation's colours; none where nothing was replaced.
pub(crate) fn deviation_range(measures: &Measures) -> Option<[f64; 2]> {
    let Deviation { map, limit, area, .. } = &measures.deviation;
    let largest = map.range().map_or(0.0, |[low, high]| high.max(-low));
    // No further than the limit, and no further than there is anything to see.
    let most = if *limit > 0.0 { limit.min(largest) } else { largest }.max(f64::MIN_POSITIVE);
    (*area > 0.0).then_some([-most, most])
}

/// The values at the ends of the wall's colours; none where there is no wall.
pub(crate) fn wall_range(measures: &Measures) -> Option<[f64; 2]> {
    let Thickness { least, histogram, .. } = &measures.thickness;
    let least = least.as_ref()?.value;
    Some([least, histogram.to.max(least * 1.01)])
}

/// The name of the deviation's scale.
pub(crate) fn deviation_scale(unit: &str) -> String {
    format!("deviation, {unit}: below zero material was lost, above it was added")
}

/// How far replaced scan lies from the scan.
pub(crate) fn deviation(
    evidence: &Evidence,
    surface: &Surface,
    measures: &Measures,
    size: [usize; 2],
) -> Vec<Block> {
    let (deviation, unit) = (&measures.deviation, evidence.unit);
    let limit = deviation.limit;
    let Some([_, most]) = deviation_range(measures) else { return Vec::new() };
    let values = numbers(&deviation.map);
    let name = format!("deviation, {unit}");
    let scale = scale(Map::Signed, [-most, most], &name, ["material lost", "added"]);
    let drawn = Drawn { values: &values, map: Map::Signed, range: [-most, most], scale, size };
    let ring = deviation.largest_where.map(DVec3::from_array);
    let mut blocks = vec![heading("Deviation")];
    let mut facts = vec![certain("Largest, both ways", deviation.largest.as_ref(), unit)];
    facts.extend(
        deviation.percentiles.iter().map(|p| share(p, "of the replaced area lie within", unit)),
    );
    if let Some(out) = &deviation.outward {
        facts.push((
            "Farthest outward".to_owned(),
            plain(format!("{} {unit}, near {}", digits(out.value), place(out.where_))),
        ));
    }
    if let Some(inward) = &deviation.inward {
        facts.push((
            "Deepest inward".to_owned(),
            plain(format!("{} {unit}, near {}", digits(inward.value), place(inward.where_))),
        ));
    }
    let area = &deviation.area_above_limit;
    facts.push((
        "Area above the limit".to_owned(),
        plain(told(area, &format!("{unit}\u{b2}"), digits)),
    ));
    blocks.push(Block::Facts(facts));
    for (k, end) in evidence.settled.ends.iter().enumerate() {
        let stations = evidence.ends.iter().find(|e| e.name == end.name);
        let Some(views) = end_views(evidence, k, stations) else { continue };
        if end.fitting.is_none() {
            continue;
        }
        let alt = |what: &str| {
            format!(
                "Deviation of replaced scan at end {}, {what}, on a map from -{m} to {m} {unit}.",
                end.name,
                m = digits(most)
            )
        };
        let below = |what: &str| {
            format!("End {}, {what}. Grey with no value: joint, fitting, end faces.", end.name)
        };
        blocks.extend(figures(
            vec![
                drawn.shot(
                    surface,
                    (views.0, None),
                    ring,
                    (alt("from outside"), below("from outside")),
                ),
                drawn.shot(
                    surface,
                    (views.0, Some(views.1)),
                    None,
                    (alt("cut open"), below("cut open")),
                ),
            ],
            evidence.stop,
        ));
    }
    let marks = [(-limit, "limit"), (limit, "limit")].map(|(x, name)| (x, name.to_owned()));
    blocks.push(Block::Figures(vec![histogram(
        &deviation.histogram,
        &marks,
        (&format!("deviation, {unit}"), "Replaced area by its deviation from the scan.", unit),
    )]));
    blocks.push(Block::Note(plain(
        "The largest value is certified over the whole surface and both ways; the map and the shares are \
         read at the part's points, from part to scan. Ring: the place of the largest value, drawn through \
         the part where that hides it. Colour runs evenly to the eye and is told apart without red and green.",
    )));
    blocks
}

/// How thick the wall is.
pub(crate) fn wall(
    evidence: &Evidence,
    surface: &Surface,
    measures: &Measures,
    size: [usize; 2],
) -> Vec<Block> {
    let (thickness, unit) = (&measures.thickness, evidence.unit);
    let (Some(least), Some(range)) = (&thickness.least, wall_range(measures)) else {
        return Vec::new();
    };
    let values = numbers(&thickness.map);
    let scale = scale(Map::Unsigned, range, &format!("wall, {unit}"), ["", ""]);
    let drawn = Drawn { values: &values, map: Map::Unsigned, range, scale, size };
    let ring = thickness.least_where.map(DVec3::from_array);
    let mut facts = vec![certain("Thinnest of the whole part", Some(least), unit)];
    if let Some(at) = thickness.least_where {
        facts.push(("Where it is thinnest".to_owned(), plain(place(at))));
    }
    facts.extend(
        thickness
            .percentiles
            .iter()
            .map(|p| share(p, "of the bore have no thicker wall than", unit)),
    );
    let from = whole(surface.mesh);
    let name = format!("Wall on a map from {} to {} {unit}", digits(range[0]), digits(range[1]));
    let mut shots = vec![drawn.shot(
        surface,
        (from, None),
        ring,
        (
            format!("{name}: the whole part from outside. Dark is thin."),
            "The whole part from outside. Dark is thin; ring: the thinnest place.".to_owned(),
        ),
    )];
    let first = evidence.settled.ends.iter().position(|e| e.fitting.is_some()).unwrap_or(0);
    let stations = |k: usize| {
        let name = &evidence.settled.ends.get(k)?.name;
        evidence.ends.iter().find(|e| e.name == *name)
    };
    if let Some((camera, cut)) = end_views(evidence, first, stations(first)) {
        let end = &evidence.settled.ends[first].name;
        shots.push(drawn.shot(
            surface,
            (camera, Some(cut)),
            None,
            (
                format!("{name}: end {end} cut open, so that the bore is seen. Dark is thin."),
                format!("End {end} cut open. Dark is thin."),
            ),
        ));
    }
    let marks: Vec<chart::Mark> =
        evidence.settled.limits.wall_min.iter().map(|m| (*m, "limit".to_owned())).collect();
    let chart = histogram(
        &thickness.histogram,
        &marks,
        (&format!("wall, {unit}"), "Area of the bore by the wall behind it.", unit),
    );
    let mut blocks = vec![heading("Wall"), Block::Facts(facts)];
    blocks.extend(figures(shots, evidence.stop));
    blocks.push(Block::Figures(vec![chart]));
    blocks.push(Block::Note(plain(
        "Wall at a point is the shortest straight distance to the other side. The thinnest is certified over \
         the whole part, scan included; where the limit applies, and how it is eased beside a scan that is \
         thin by itself, stands with the limit. The map and the shares are read at the part's points.",
    )));
    blocks
}

fn end_views(
    evidence: &Evidence,
    end: usize,
    stations: Option<&EndStations>,
) -> Option<(Camera, CutAway)> {
    Some(cut_open(&frame(evidence.settled, end, stations)?))
}

fn numbers(map: &VertexMap) -> Vec<f64> {
    map.values.iter().map(|v| v.unwrap_or(f64::NAN)).collect()
}

fn certain(name: &str, figure: Option<&Measured>, unit: &str) -> (String, Text) {
    let text = match figure {
        None => "not judged".to_owned(),
        Some(figure) => match figure.bounds {
            Some([low, high]) => format!(
                "between {} and {} {unit}, guaranteed",
                Sense::AtLeast.digits(low),
                Sense::AtMost.digits(high)
            ),
            None => told(figure, unit, digits),
        },
    };
    (name.to_owned(), plain(text))
}

fn share(percentile: &Percentile, what: &str, unit: &str) -> (String, Text) {
    let name = format!("{} % {what}", digits(percentile.percent));
    (name, plain(told(&percentile.value, unit, digits)))
}

/// A bar of a map's colours with the values at its ends and middle, and what the ends mean.
pub(crate) fn scale(map: Map, [low, high]: [f64; 2], name: &str, meant: [&str; 2]) -> Key {
    use std::fmt::Write as _;
    let mut svg = open(SCALE);
    let width = SCALE[0] as f64 / FIELDS as f64;
    for k in 0..FIELDS {
        let t = map.least() + (1.0 - map.least()) * (k as f64 + 0.5) / FIELDS as f64;
        // Each field reaches a little below the next, so that no seam shows.
        let _ = write!(
            svg,
            r#"<rect x="{:.2}" y="16" width="{:.2}" height="12" fill="{}"/>"#,
            k as f64 * width,
            (width + 0.6).min(SCALE[0] as f64 - k as f64 * width),
            hex(map.at(t))
        );
    }
    let with = |x: f64, meant: &str| match meant {
        "" => digits(x),
        meant => format!("{} ({meant})", digits(x)),
    };
    let ends = [with(low, meant[0]), with(high, meant[1])];
    chart::text(&mut svg, [0.0, 42.0], "start", &ends[0]);
    chart::text(&mut svg, [0.5 * SCALE[0] as f64, 42.0], "middle", &digits(0.5 * (low + high)));
    chart::text(&mut svg, [SCALE[0] as f64, 42.0], "end", &ends[1]);
    chart::text(&mut svg, [0.0, 11.0], "start", name);
    svg.push_str("</svg>");
    let alt = format!("Scale of {name}: from {} to {}", ends[0], ends[1]);
    Key::Scale(Image::Svg(svg, SCALE), alt)
}

/// A histogram of areas as shares of all.
pub(crate) fn histogram(
    shares: &Histogram,
    marks: &[chart::Mark],
    (x, below, unit): (&str, &str, &str),
) -> Figure {
    let bins = shares.areas.len();
    let width = (shares.to - shares.from) / bins.max(1) as f64;
    let all: f64 = shares.areas.iter().sum::<f64>() + shares.below + shares.above;
    let all = if all > 0.0 { all } else { 1.0 };
    let svg = chart::histogram(&chart::Histogram {
        x: x.to_owned(),
        y: "share of area, %".to_owned(),
        edges: (0..=bins).map(|k| shares.from + k as f64 * width).collect(),
        heights: shares.areas.iter().map(|a| 100.0 * a / all).collect(),
        at_x: marks.to_vec(),
    });
    let most =
        shares.areas.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)));
    let (k, most) = most.map_or((0, 0.0), |(k, a)| (k, 100.0 * a / all));
    let [from, to] = [k, k + 1].map(|k| digits(shares.from + k as f64 * width));
    let alt = format!(
        "Histogram: {below} Most of it, {} %, lies between {from} and {to} {unit}.",
        digits(most)
    );
    let beyond = 100.0 * shares.above / all;
    let caption = if beyond > 0.0 {
        format!("{below} {} % lies beyond the right end.", digits(beyond))
    } else {
        below.to_owned()
    };
    Figure { image: Image::Svg(svg, chart::SIZE), alt, caption: plain(caption), key: None }
}
