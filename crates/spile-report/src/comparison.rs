//! The report of one surface held against another: a record of a first article, or of what
//! changed between two revisions.

use spile_mesh::{DVec3, Mesh, NEVER_STOP};
use spile_proof::Verdict;
use spile_proof::measures::Histogram;

use crate::colour::Map;
use crate::contents::{figures, heading};
use crate::document::{Align, Banner, Block, Cell, Document, Table, Text, plain};
use crate::evidence::FileRecord;
use crate::maps::{Drawn, histogram, scale};
use crate::number::{Sense, digits, place};
use crate::picture::Surface;
use crate::records_told::file_table;
use crate::views::{behind, whole};

/// A share of the surface that is not worth a word is below this.
const LEAST_TOLD: f64 = 0.001;
/// Pictures are this many pixels wide and high.
const PICTURE: [usize; 2] = [840, 500];

/// One surface, B, held against another, A. Lengths are in one unit.
#[derive(Debug, Clone, Copy)]
pub struct Comparison<'a> {
    /// Version of the program.
    pub version: &'a str,
    /// The unit of all lengths; empty where no file states one.
    pub unit: &'a str,
    /// The files, A and B.
    pub files: &'a [FileRecord; 2],
    /// How far they lie apart.
    pub apart: Apart<'a>,
    /// How B was laid on A, and what was read there, each with its name.
    pub facts: &'a [(String, String)],
    /// How far B may lie from A, where that was asked.
    pub tolerance: Option<f64>,
    /// What this is not about.
    pub caution: &'a str,
}

/// How far one surface, B, lies from another, A.
#[derive(Debug, Clone, Copy)]
pub struct Apart<'a> {
    /// Guaranteed bounds from A to B, from B to A, and both ways, with a place that is as far
    /// off as the lower bound.
    pub bounds: [([f64; 2], DVec3); 3],
    /// The surface B, where it was compared, in triangles that are small enough for the map.
    pub mesh: &'a Mesh,
    /// How far each of its points lies from A, above zero where it stands off it.
    pub deviation: &'a [f64],
    /// The area of what differs by that.
    pub histogram: &'a Histogram,
    /// Share of B's area that does not differ.
    pub same: f64,
}

/// Writes the record as a document.
pub fn comparison(record: &Comparison) -> Document {
    let mut blocks = vec![heading("Distances")];
    blocks.extend(distances(&record.apart, record.unit));
    blocks.extend(map(&record.apart, record.tolerance, record.unit));
    let is_first_article = !record.facts.is_empty();
    if is_first_article {
        blocks.push(heading("Fit and deviations"));
        let told = record.facts.iter().map(|(name, text)| (name.clone(), plain(text.as_str())));
        blocks.push(Block::Facts(told.collect()));
    }
    blocks.push(heading("Files"));
    blocks.push(file_table(
        "The files that this record is about; a file with another hash is another file",
        [("A", &record.files[0]), ("B", &record.files[1])],
    ));
    blocks.push(heading("Cautions"));
    let cautions = [
        record.caution,
        "A scan of a print has noise and gaps of its own; what it does not show is not judged.",
        "STL files carry no unit: both surfaces were taken to be in the same one.",
    ];
    blocks.push(Block::List(cautions.map(plain).to_vec()));
    Document {
        title: format!("{} held against {}", record.files[1].file, record.files[0].file),
        subtitle: format!(
            "{}; made by spile {}",
            if is_first_article {
                "Record of a first article: how far the scan of a print (B) lies from its part (A)"
            } else {
                "How far one surface (B) lies from another (A)"
            },
            record.version
        ),
        banner: banner(record),
        blocks,
    }
}

/// A length with its unit.
pub(crate) fn length(x: &str, unit: &str) -> String {
    if unit.is_empty() { x.to_owned() } else { format!("{x} {unit}") }
}

/// A tolerance is judged by the bounds from B to A: what B lacks is told, not judged.
fn banner(record: &Comparison) -> Banner {
    let ([low, high], at) = record.apart.bounds[1];
    let said = |x: f64, sense: Sense| length(&sense.digits(x), record.unit);
    let far = format!(
        "B lies up to {} from A, for certain no more than {}, near {}",
        said(low, Sense::AtLeast),
        said(high, Sense::AtMost),
        place(at.to_array())
    );
    let (verdict, sentence) = match record.tolerance {
        None => (Verdict::NotAsked, format!("{far}. No tolerance was asked.")),
        Some(t) if high <= t => (
            Verdict::Held,
            format!("Within {} for certain: {far}.", length(&digits(t), record.unit)),
        ),
        Some(t) if low > t => {
            (Verdict::Broken, format!("Not within {}: {far}.", length(&digits(t), record.unit)))
        }
        Some(t) => (
            Verdict::NotJudged,
            format!("Too close to {} to tell: {far}.", length(&digits(t), record.unit)),
        ),
    };
    Banner { verdict, sentence, points: Vec::new(), caution: record.caution.to_owned() }
}

/// The table of distances, and what they are.
pub(crate) fn distances(apart: &Apart, unit: &str) -> [Block; 2] {
    let names = ["from A to B", "from B to A", "both ways"];
    let row = |(name, ([low, high], at)): (&str, ([f64; 2], DVec3))| -> Vec<Cell> {
        vec![
            name.into(),
            Sense::AtLeast.digits(low).into(),
            Sense::AtMost.digits(high).into(),
            place(at.to_array()).into(),
        ]
    };
    let of_unit = |name: &str| match unit {
        "" => name.to_owned(),
        unit => format!("{name}, {unit}"),
    };
    let table = Block::Table(Table {
        caption: "How far the surfaces lie apart".to_owned(),
        head: vec![
            ("Distance".to_owned(), Align::Left),
            (of_unit("At least"), Align::Right),
            (of_unit("At most"), Align::Right),
            ("Where".to_owned(), Align::Left),
        ],
        rows: names.into_iter().zip(apart.bounds).map(row).collect(),
    });
    let note = "Guaranteed bounds of the largest distance, each way over the whole surface: from every \
                place of the one to the nearest of the other. They come from branch and bound, are no \
                samples, and include rounding.";
    [table, Block::Note(plain(note))]
}

/// How B's deviations are drawn: the numbers at the map's ends, and their scale.
pub(crate) fn drawn<'a>(apart: &Apart<'a>, unit: &str) -> Drawn<'a> {
    let shares = apart.histogram;
    let most = shares.to.max(-shares.from).max(f64::MIN_POSITIVE);
    let name = length("deviation of B from A,", unit);
    let name = name.trim_end_matches(',');
    let range = [-most, most];
    let scale = scale(Map::Signed, range, name, ["B lacks", "B stands off"]);
    Drawn { values: apart.deviation, map: Map::Signed, range, scale, size: PICTURE }
}

/// B's deviations as a map, from two sides, and their histogram.
pub(crate) fn map(apart: &Apart, tolerance: Option<f64>, unit: &str) -> Vec<Block> {
    let drawn = drawn(apart, unit);
    let ring = Some(apart.bounds[1].1);
    let surface = Surface::of(apart.mesh);
    let front = whole(apart.mesh);
    let shots = [(front, "One side"), (behind(apart.mesh, &front), "The other side")];
    let shots = shots.map(|(from, side)| {
        let alt = format!(
            "{side} of B, coloured by its deviation from A, on a map from -{m} to {m} {unit}.",
            m = digits(drawn.range[1])
        );
        drawn.shot(&surface, (from, None), ring, (alt, format!("{side} of B.")))
    });
    let marks = tolerance.map(|t| [(-t, "tolerance".to_owned()), (t, "tolerance".to_owned())]);
    let x = length("deviation of B from A,", unit);
    let mut below = "Area of B by its deviation from A".to_owned();
    if apart.same >= LEAST_TOLD {
        below.push_str(&format!(
            "; {} %, which do not differ, are left out",
            digits(100.0 * apart.same)
        ));
    }
    below.push('.');
    let chart = histogram(
        apart.histogram,
        marks.as_ref().map_or(&[], |marks| marks.as_slice()),
        (x.trim_end_matches(','), &below, unit),
    );
    let note: Text = plain(
        "The map and the histogram are read at places of B that lie close together; colours \
         end where the histogram does, and what lies beyond has the end's colour. Ring: the place of the \
         largest distance from B to A, drawn through the part where that hides it.",
    );
    [
        Some(heading("Deviation")),
        figures(shots.into(), NEVER_STOP),
        Some(Block::Figures(vec![chart])),
    ]
    .into_iter()
    .flatten()
    .chain([Block::Note(note)])
    .collect()
}
