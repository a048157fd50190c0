//! What the report says, in its order: the verdict first.

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh, StopAsked, Topology};
use spile_proof::{EndStations, LimitResult, Verdict};

use crate::chart::{self, Lines, Series, Stroke};
use crate::document::{Block, Document, Figure, Image, Key, Text, plain};
use crate::evidence::Evidence;
use crate::limits_told::{banner, conflicts, how_measured, limits, notes};
use crate::maps;
use crate::measures_told;
use crate::number::{digits, measured_text, place};
use crate::picture::{Camera, CutAway, Picture, Surface};
use crate::records_told::{cautions, changed, facts, mends, records};
use crate::section_drawing::{self, Section, drawn, plane_at};
use crate::turnable::turnable;
use crate::views::{
    EndFrame, behind, cut_open, frame, into, part_key, part_tones, scan_key, scan_tones, toned,
    whole,
};

/// Pictures are this many pixels wide and high where there are few.
const PICTURE: [usize; 2] = [840, 500];
/// So many ends have pictures in full size; of more each is smaller.
const ENDS_IN_FULL: usize = 3;
/// Sections are drawn at no more places than this.
const SECTIONS: usize = 8;

/// The limits whose worst place is shown in a section.
const SHOWN_IN_SECTION: [&str; 3] = ["wall_min", "bore_loss", "deviation"];

/// How much a report shows: less, where it would be too large otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Detail {
    /// Pictures have this share of their usual width and height.
    pub picture_share: f64,
    /// The part, to be turned.
    pub turned: Turned,
}

/// Whether the part is there to be turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turned {
    /// Nobody could turn it.
    No,
    /// With about so many triangles of what did not change.
    With(usize),
    /// Even what changed is too much for a report: that is told in its place.
    TooMuch,
}

impl Default for Detail {
    fn default() -> Self {
        Self { picture_share: 1.0, turned: Turned::No }
    }
}

/// Writes the report as a document.
pub fn document(evidence: &Evidence, detail: Detail) -> Document {
    let size = picture_size(evidence.settled.ends.len(), detail.picture_share);
    let mut blocks = facts(evidence);
    blocks.push(heading("Limits"));
    blocks.extend(limits(evidence));
    blocks.extend(conflicts(evidence));
    blocks.extend(notes(evidence));
    let scan = Mesh::joined(evidence.scans);
    let (of_scan, of_part) =
        rayon::join(|| scan.as_ref().map(Surface::of), || evidence.mesh.map(Surface::of));
    let (scan, part) = (of_scan.as_ref(), of_part.as_ref());
    // The part to be turned is simplified one step after the other: pictures are drawn
    // meanwhile.
    let (pictures, (to_be_turned, sections)) = rayon::join(
        || pictures(evidence, scan, part, size),
        || rayon::join(|| turned(evidence, detail.turned), || sections(evidence)),
    );
    blocks.extend(pictures.whole);
    blocks.extend(to_be_turned.filter(|_| part.is_some()));
    blocks.extend(pictures.more);
    blocks.extend(sections);
    blocks.extend(changed(evidence));
    blocks.extend(mends(evidence));
    blocks.extend(how_measured(evidence));
    if let Some(measures) = evidence.measures {
        blocks.extend(measures_told::bore(evidence, measures));
        blocks.extend(measures_told::seams(evidence, measures));
        blocks.extend(measures_told::material(evidence, measures));
    }
    blocks.extend(records(evidence));
    blocks.extend(cautions(evidence));
    Document {
        title: format!("Proof of {}", evidence.name),
        subtitle: "A part made from a scan, held against the limits of its case".to_owned(),
        banner: banner(evidence),
        blocks,
    }
}

/// The parts of the report that show what is drawn off screen.
struct Pictures {
    /// The whole part, or the scan where no part closes.
    whole: Vec<Block>,
    /// Its ends and its maps.
    more: Vec<Block>,
}

/// Draws one part of the report after the other: each picture takes many threads by itself,
/// and much memory.
fn pictures(
    evidence: &Evidence,
    scan: Option<&Surface>,
    part: Option<&Surface>,
    size: [usize; 2],
) -> Pictures {
    let whole = match (part, scan) {
        (Some(part), _) => whole_part(evidence, part, size),
        (None, Some(scan)) => scan_alone(scan, size, evidence.stop),
        (None, None) => Vec::new(),
    };
    let mut more = ends(evidence, scan, part, size);
    if let (Some(surface), Some(measures)) = (part, evidence.measures) {
        more.extend(measures_told::doubts(measures));
        more.extend(maps::deviation(evidence, surface, measures, size));
        more.extend(maps::wall(evidence, surface, measures, size));
    }
    Pictures { whole, more }
}

/// The part to be turned, or why it is not there.
fn turned(evidence: &Evidence, turned: Turned) -> Option<Block> {
    match turned {
        Turned::No => None,
        Turned::With(most) => {
            turnable(evidence, most).map(|turned| Block::Turnable(Box::new(turned)))
        }
        Turned::TooMuch => Some(Block::Note(plain(
            "This part cannot be turned in the page: what changed of it alone has so many triangles \
             that the page would be larger than a report may be. Pictures and measures are of all \
             its triangles.",
        ))),
    }
}

pub(crate) fn heading(text: &str) -> Block {
    Block::Heading { level: 2, text: text.to_owned() }
}

/// A picture that is still to be drawn.
pub(crate) struct Shot<'a> {
    /// Draws it.
    pub picture: Box<dyn Fn() -> Picture + Send + Sync + 'a>,
    /// What is to be seen.
    pub alt: String,
    /// What stands below.
    pub caption: Text,
    /// What colours mean.
    pub key: Option<Key>,
}

/// Pictures side by side, without those that `stop` comes before.
pub(crate) fn figures(shots: Vec<Shot>, stop: StopAsked<'_>) -> Option<Block> {
    let taken = |shot: Shot| {
        if stop() {
            return None;
        }
        let picture = (shot.picture)();
        let image = Image::Png(picture.png().ok()?, picture.size());
        Some(Figure { image, alt: shot.alt, caption: shot.caption, key: shot.key })
    };
    let figures: Vec<Figure> = shots.into_par_iter().filter_map(taken).collect();
    (!figures.is_empty()).then_some(Block::Figures(figures))
}

/// Width and height of pictures where there are so many ends.
fn picture_size(ends: usize, picture_share: f64) -> [usize; 2] {
    let share = (ENDS_IN_FULL as f64 / ends.max(1) as f64).sqrt().min(1.0);
    PICTURE.map(|n| ((n as f64 * share * picture_share) as usize).max(1))
}

/// The whole part from two sides.
fn whole_part(evidence: &Evidence, surface: &Surface, size: [usize; 2]) -> Vec<Block> {
    let Some(labels) = evidence.labels else { return Vec::new() };
    let tones = &part_tones(&labels.part);
    let front = whole(surface.mesh);
    let back = behind(surface.mesh, &front);
    let shots = [(front, "One side"), (back, "The other side")].map(|(from, side)| Shot {
        picture: Box::new(move || toned(surface, tones, (from, None), size)),
        alt: format!("{side} of the finished part, coloured by what each surface is."),
        caption: plain(format!("{side} of the part.")),
        key: Some(part_key(&labels.part)),
    });
    [Some(heading("The part")), figures(shots.into(), evidence.stop)]
        .into_iter()
        .flatten()
        .collect()
}

/// The scan, where no part closes.
fn scan_alone(scan: &Surface, size: [usize; 2], stop: StopAsked<'_>) -> Vec<Block> {
    let tones = &vec![crate::colour::tone::KEPT; scan.mesh.triangles().len()];
    let from = whole(scan.mesh);
    let shot = Shot {
        picture: Box::new(move || toned(scan, tones, (from, None), size)),
        alt: "The scan as it was given.".to_owned(),
        caption: plain("The scan as it was given; no part closes under these limits."),
        key: None,
    };
    [Some(heading("The scan")), figures(vec![shot], stop)].into_iter().flatten().collect()
}

/// Each end before and after, from outside, and its areas.
fn ends(
    evidence: &Evidence,
    scan: Option<&Surface>,
    part: Option<&Surface>,
    size: [usize; 2],
) -> Vec<Block> {
    let (Some(part), Some(scan), Some(labels)) = (part, scan, evidence.labels) else {
        return Vec::new();
    };
    let mut blocks = vec![heading("Before and after, end by end")];
    let tones = [part_tones(&labels.part), scan_tones(&labels.scan)];
    for (k, end) in evidence.settled.ends.iter().enumerate() {
        let stations = evidence.ends.iter().find(|e| e.name == end.name);
        blocks.push(Block::Heading { level: 3, text: format!("End {}", end.name) });
        if let Some(frame) = frame(evidence.settled, k, stations) {
            let views = EndViews { name: &end.name, frame, size };
            blocks.extend(figures(
                views.before_and_after(
                    (scan, &tones[1], scan_key(&labels.scan)),
                    (part, &tones[0], part_key(&labels.part)),
                ),
                evidence.stop,
            ));
            let mut side_by_side =
                figures(vec![views.straight_on((part, &tones[0]))], evidence.stop);
            if let (Some(Block::Figures(list)), Some(chart)) =
                (&mut side_by_side, stations.and_then(|s| areas(s, evidence.unit)))
            {
                list.push(chart);
            }
            blocks.extend(side_by_side);
        }
    }
    blocks
}

/// The pictures of one end.
struct EndViews<'a> {
    name: &'a str,
    frame: EndFrame,
    size: [usize; 2],
}

impl EndViews<'_> {
    fn before_and_after<'a>(
        &self,
        (scan, scan_tones, scan_key): (&'a Surface<'a>, &'a [[f64; 3]], Key),
        (part, part_tones, part_key): (&'a Surface<'a>, &'a [[f64; 3]], Key),
    ) -> Vec<Shot<'a>> {
        let (camera, cut) = cut_open(&self.frame);
        let shot =
            |surface: &'a Surface<'a>, tones: &'a [[f64; 3]], key, alt: String, below: &str| {
                let view: (Camera, Option<CutAway>) = (camera, Some(cut));
                let size = self.size;
                Shot {
                    picture: Box::new(move || toned(surface, tones, view, size)),
                    alt,
                    caption: plain(below),
                    key: Some(key),
                }
            };
        let name = self.name;
        vec![
            shot(
                scan,
                scan_tones,
                scan_key,
                format!("End {name} of the scan, cut open along the axis of the end."),
                "Before: the scan, cut open along the axis of the end.",
            ),
            shot(
                part,
                part_tones,
                part_key,
                format!(
                    "End {name} of the part from the same side, cut open along the same plane."
                ),
                "After: the part from the same side, cut open along the same plane.",
            ),
        ]
    }

    fn straight_on<'a>(&self, (part, tones): (&'a Surface<'a>, &'a [[f64; 3]])) -> Shot<'a> {
        let (camera, size) = (into(&self.frame), self.size);
        Shot {
            picture: Box::new(move || toned(part, tones, (camera, None), size)),
            alt: format!("End {} of the part, seen straight on from outside.", self.name),
            caption: plain("The end straight on, from outside."),
            key: None,
        }
    }
}

/// Area along the bore, before and after.
fn areas(end: &EndStations, unit: &str) -> Option<Figure> {
    let of = |area: fn(&spile_proof::Station) -> Option<f64>| {
        let point = |s: &spile_proof::Station| [s.s, area(s).unwrap_or(f64::NAN)];
        end.stations.iter().map(point).collect::<Vec<_>>()
    };
    let (scan, part) = (of(|s| s.area_scan), of(|s| s.area_part));
    if part.iter().filter(|p| p[1].is_finite()).count() < 2 {
        return None;
    }
    let least = part.iter().filter(|p| p[1].is_finite()).min_by(|a, b| a[1].total_cmp(&b[1]))?;
    let alt = format!(
        "Line chart of the bore's area along end {}: the part's least area is {} {unit}\u{b2}, {} {unit} \
         from the scan's seam.",
        end.name,
        digits(least[1]),
        digits(least[0])
    );
    let series = |name: &str, points, colour, stroke| Series {
        name: name.to_owned(),
        points,
        colour,
        stroke,
    };
    let svg = chart::lines(&Lines {
        x: format!("along the bore, {unit}"),
        y: format!("area, {unit}\u{b2}"),
        series: vec![
            series("part", part, "#1f4f86", Stroke::Solid),
            series("scan", scan, "#a34a00", Stroke::Dashed),
        ],
        at_x: vec![(0.0, "seam".to_owned())],
    });
    let below = "Area of the bore square to the centreline, before and after. Negative lengths are in \
                 the scan, positive ones in the joint, which ends at the fitting.";
    Some(Figure { image: Image::Svg(svg, chart::SIZE), alt, caption: plain(below), key: None })
}

/// Sections at the places where limits are nearest to broken.
fn sections(evidence: &Evidence) -> Vec<Block> {
    let Some(mesh) = evidence.mesh else { return Vec::new() };
    let stations = || {
        let all = evidence.ends.iter().flat_map(|e| &e.stations);
        all.map(|s| (DVec3::from_array(s.at), DVec3::from_array(s.normal)))
    };
    let is_shown = |l: &&LimitResult| {
        SHOWN_IN_SECTION.contains(&l.name.as_str()) && l.where_.is_some() && l.measured.is_some()
    };
    let mut shown: Vec<&LimitResult> = evidence.limits.iter().filter(is_shown).collect();
    // What is broken first, then as the table has them.
    shown.sort_by_key(|l| l.verdict != Verdict::Broken);
    shown.truncate(SECTIONS);
    let with_edges = |m: &Mesh| (m.clone(), Topology::of(m));
    let part = with_edges(mesh);
    let scans: Vec<_> = evidence.scans.iter().map(with_edges).collect();
    let figures: Vec<Figure> = shown
        .par_iter()
        .filter_map(|limit| {
            let at = DVec3::from_array(limit.where_?);
            let plane = plane_at(at, stations())?;
            let unit = evidence.unit;
            let svg = drawn(&Section { plane, at, scans: &scans, part: &part, unit })?;
            Some(section_figure(limit, svg, unit))
        })
        .collect();
    if figures.is_empty() {
        return Vec::new();
    }
    let note = "Each is square to the bore through the place where its limit was measured. Filled: \
                material of the part. Dashed: the scan. Ring: the place.";
    vec![
        heading("Sections at the tightest places"),
        Block::Note(plain(note)),
        Block::Figures(figures),
    ]
}

fn section_figure(limit: &LimitResult, svg: String, unit: &str) -> Figure {
    let measured = limit.measured.map_or_else(String::new, |m| measured_text(&limit.name, m, unit));
    let end = limit.end.as_ref().map_or_else(String::new, |e| format!(" at end {e}"));
    let near = limit.where_.map(place).unwrap_or_default();
    let alt = format!(
        "Section of part and scan where {} is measured{end}: {measured}, near {near}.",
        limit.name
    );
    let mut caption =
        crate::document::with_names(&format!("`{}`{end}: {measured}, near ", limit.name));
    caption.extend(plain(format!("{near}.")));
    Figure { image: Image::Svg(svg, section_drawing::SIZE), alt, caption, key: None }
}
