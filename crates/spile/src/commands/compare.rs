//! `compare`: the certified two-sided distance of two surfaces; of two folders what was
//! asked and what came of it; of a part and a scan of its print how the one lies on the other.

use serde::Serialize;
use spile_mesh::{Bounds, Mesh, TwoSided, hausdorff};
use spile_report::number::place;

use crate::answer::Answer;
use crate::args::CompareArgs;
use crate::commands::compare_folders::compare_folders;
use crate::commands::compare_report::{Surfaces, compare_report};
use crate::commands::first_article::{FirstArticle, first_article};
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::{InputFile, read_mesh, shown};
use crate::output::write_whole;
use crate::progress::Progress;
use crate::report_file::ReportKind;
use crate::signed_distance::SignedDistance;
use crate::table::{Align, Table};

/// Bounds no further apart than the size over this, if nothing is asked.
const SIZE_OVER_GAP: f64 = 1e4;

/// Bounds of the distances, each way and both.
#[derive(Debug, Serialize)]
pub(crate) struct Distances {
    bounds: [f64; 2],
    a_to_b: [f64; 2],
    b_to_a: [f64; 2],
    #[serde(rename = "where")]
    where_: [f64; 3],
    /// How far apart the bounds may be: as asked, or by default.
    within: f64,
    /// Whether all three are no further apart.
    reached: bool,
    #[serde(skip)]
    ways: [Bounds; 3],
}

#[derive(Serialize)]
struct Document {
    a: String,
    b: String,
    #[serde(flatten)]
    distances: Distances,
    #[serde(skip_serializing_if = "Option::is_none")]
    align: Option<FirstArticle>,
}

/// Compares two surfaces, or two folders.
pub(crate) fn compare(args: &CompareArgs) -> Result<Answer, Failure> {
    match [args.a.is_dir(), args.b.is_dir()] {
        [true, true] if args.align => {
            Err(Failure::new("`--align` lays one surface on another, not folders")
                .hint("name the part and the scan of its print"))
        }
        [true, true] => compare_folders(args),
        [false, false] => compare_surfaces(args),
        [a_is_folder, _] => {
            let [folder, file] = if a_is_folder { [&args.a, &args.b] } else { [&args.b, &args.a] };
            let message = format!("{} is a folder, {} is none", shown(folder), shown(file));
            Err(Failure::new(message).hint("compare two files, or two folders that `run` has left"))
        }
    }
}

fn compare_surfaces(args: &CompareArgs) -> Result<Answer, Failure> {
    let kind = args.report.as_deref().map(ReportKind::of).transpose()?;
    let ((a, mesh_a), (b, mesh_b)) = (read_mesh(&args.a)?, read_mesh(&args.b)?);
    check_same_unit(&a, &b)?;
    let progress = Progress::new(2);
    let surface = (args.align || kind.is_some()).then(|| SignedDistance::new(&mesh_a));
    let (align, mesh_b) = match surface.as_ref().filter(|_| args.align) {
        Some(surface) => {
            spile_joint::Watch::step(&progress, "align", None);
            let part = (&mesh_a, surface);
            let (record, moved) = first_article(part, &mesh_b, &b.name, args.tolerance)?;
            (Some(record), moved)
        }
        None => (None, mesh_b),
    };
    spile_joint::Watch::step(&progress, "compare", None);
    let distances = Distances::of(&mesh_a, &mesh_b, args.within);
    progress.done();
    let mut text = format!("A: {}\nB: {}\n", a.name, b.name);
    text.push_str(&align.as_ref().map_or_else(String::new, FirstArticle::text));
    text.push_str(&distances.text());
    if let (Some(report), Some(kind), Some(surface)) = (&args.report, kind, &surface) {
        let surfaces = Surfaces { files: [&a, &b], a: surface, b: &mesh_b };
        let document = compare_report(&surfaces, &distances, align.as_ref(), args.tolerance);
        write_whole(report, &kind.write(&document)?)?;
        text.push_str(&format!("written: {}\n", shown(report)));
    }
    let ending = distances.ending(args.within);
    Ok(Answer::new(ending, text, &Document { a: a.name, b: b.name, distances, align }))
}

/// Files that state their units state one.
pub(crate) fn check_same_unit(a: &InputFile, b: &InputFile) -> Result<(), Failure> {
    match (a.unit, b.unit) {
        (Some(of_a), Some(of_b)) if of_a != of_b => Err(Failure::new(format!(
            "the files state different units: {} and {}",
            of_a.symbol(),
            of_b.symbol()
        ))
        .hint("nothing is scaled: export both in one unit")),
        _ => Ok(()),
    }
}

impl Distances {
    /// The distances of two surfaces, the bounds no further apart than `within`.
    pub fn of(a: &Mesh, b: &Mesh, within: Option<f64>) -> Distances {
        let gap = within.unwrap_or_else(|| size(a).max(size(b)) / SIZE_OVER_GAP);
        let distance: TwoSided = hausdorff(a, b, gap);
        let both = distance.bounds();
        let range = |b: Bounds| [b.lo, b.hi];
        let ways = [distance.a_to_b, distance.b_to_a, both];
        Distances {
            bounds: range(both),
            a_to_b: range(distance.a_to_b),
            b_to_a: range(distance.b_to_a),
            where_: both.at.to_array(),
            within: gap,
            reached: ways.iter().all(|b| b.hi - b.lo <= gap),
            ways,
        }
    }

    /// What was asked for and not reached is no answer to what was asked.
    pub fn ending(&self, asked: Option<f64>) -> Ending {
        if self.reached || asked.is_none() { Ending::Held } else { Ending::Broken }
    }

    /// From A to B, from B to A, and both ways.
    pub fn ways(&self) -> [Bounds; 3] {
        self.ways
    }

    /// How far apart the bounds may be.
    pub fn within(&self) -> f64 {
        self.within
    }

    /// The table of distances.
    pub fn text(&self) -> String {
        let mut table = Table::new(&[
            ("distance", Align::Left),
            ("at least", Align::Right),
            ("at most", Align::Right),
            ("where", Align::Left),
        ]);
        for (name, bounds) in ["from A to B", "from B to A", "both ways"].into_iter().zip(self.ways)
        {
            let [lo, hi] = outward([bounds.lo, bounds.hi], self.within);
            table.row([name.to_owned(), lo, hi, place(bounds.at.to_array())]);
        }
        let mut text = table.text();
        if !self.reached {
            text.push_str(&not_reached(&self.ways, self.within));
        }
        text
    }
}

/// Bounds as text, rounded outward, so that what is printed is a bound still.
pub(crate) fn outward([lo, hi]: [f64; 2], gap: f64) -> [String; 2] {
    let decimals = decimals_of(gap);
    [rounded(lo, decimals, f64::floor), rounded(hi, decimals, f64::ceil)]
}

/// A line that says how close the bounds came, and why no closer.
fn not_reached(ways: &[Bounds], gap: f64) -> String {
    let apart = ways.iter().map(|b| b.hi - b.lo).fold(0.0, f64::max);
    format!(
        "the bounds hold, but lie up to {apart:.3e} apart and not within {gap:.3e}: the surfaces \
         are too large or too fine for that, or it is less than rounding leaves\nhint: ask for \
         `--within {:.1e}` or more\n",
        2.0 * apart
    )
}

/// The diagonal of the mesh's box.
pub(crate) fn size(mesh: &Mesh) -> f64 {
    let bounds = mesh.bounds();
    (bounds.max - bounds.min).length()
}

/// Decimals that show a tenth of `gap`.
fn decimals_of(gap: f64) -> usize {
    (1.0 - gap.log10().floor()).clamp(0.0, 12.0) as usize
}

fn rounded(x: f64, decimals: usize, outward: fn(f64) -> f64) -> String {
    let scale = 10f64.powi(decimals as i32);
    let scaled = x * scale;
    let x = if scaled.is_finite() { outward(scaled) / scale } else { x };
    format!("{:.decimals$}", x.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::{decimals_of, rounded};

    #[test]
    fn bounds_are_rounded_outward() {
        assert_eq!(decimals_of(0.001), 4);
        assert_eq!(rounded(5.196152, 4, f64::floor), "5.1961");
        assert_eq!(rounded(5.196152, 4, f64::ceil), "5.1962");
        assert_eq!(rounded(-1e-16, 4, f64::floor), "0.0000");
    }
}
