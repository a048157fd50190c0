//! `compare --report`: one surface held against another, as a file to hand over.

use spile_mesh::Mesh;
use spile_proof::measures::Histogram;
use spile_report::{Apart, Comparison, Document, FileRecord, comparison};

use crate::commands::compare::{Distances, size};
use crate::commands::first_article::FirstArticle;
use crate::commands::run::file_name;
use crate::inputs::InputFile;
use crate::refined::refined;
use crate::signed_distance::SignedDistance;

/// What a comparison is not about.
pub(super) const CAUTION: &str = "This covers geometry only, as far as the two files show it. Material, cleaning, \
                       sterilisation, fit, pressure and use are for qualified people under the codes \
                       and approvals that apply where the part is used.";
/// Bins of the histogram, half of them below zero.
const BINS: usize = 40;
/// Share of the area of B that differs whose deviations the map's ends take in, where no
/// tolerance says.
const SHARE_SHOWN: f64 = 0.99;
/// A deviation of no more than this share of the largest is none.
const ROUNDING_SHARE: f64 = 1e-6;
/// Values are read at places no further apart than the size over this.
const READ_ACROSS: f64 = 150.0;
/// How far beyond a tolerance the map goes.
const BEYOND_TOLERANCE: f64 = 1.5;

/// The two surfaces, A and B.
pub(super) struct Surfaces<'a> {
    /// Their files.
    pub files: [&'a InputFile; 2],
    /// The one, to measure from.
    pub a: &'a SignedDistance<'a>,
    /// The other, where it was compared.
    pub b: &'a Mesh,
}

/// The record as a document.
pub(super) fn compare_report(
    surfaces: &Surfaces,
    distances: &Distances,
    align: Option<&FirstArticle>,
    tolerance: Option<f64>,
) -> Document {
    let read = Read::of(surfaces.a, surfaces.b, tolerance);
    let files = surfaces.files.map(|file| FileRecord {
        file: file_name(file.name.as_ref()),
        sha256: file.sha256.clone(),
        triangles: Some(file.triangles),
    });
    let unit = surfaces.files.iter().find_map(|file| file.unit);
    comparison(&Comparison {
        version: env!("CARGO_PKG_VERSION"),
        unit: unit.map_or("", |unit| unit.symbol()),
        files: &files,
        apart: read.apart(distances),
        facts: &align.map_or_else(Vec::new, FirstArticle::facts),
        tolerance,
        caution: CAUTION,
    })
}

/// B's deviations from A, read at its points and, where its triangles are large, between them.
pub(super) struct Read {
    mesh: Mesh,
    deviation: Vec<f64>,
    histogram: Histogram,
    same: f64,
}

impl Read {
    /// How far the places of `b` lie from `a`.
    pub fn of(a: &SignedDistance, b: &Mesh, tolerance: Option<f64>) -> Read {
        let mesh = refined(b, size(b) / READ_ACROSS);
        let deviation = a.of_all(mesh.points());
        let mut weighted: Vec<_> = deviation.iter().copied().zip(mesh.point_areas()).collect();
        let area = |of: &[(f64, f64)]| of.iter().map(|(_, area)| area).sum::<f64>();
        let whole = area(&weighted);
        let largest = weighted.iter().fold(0.0, |most: f64, (x, _)| most.max(x.abs()));
        // Where B is A's own surface for the most part, the rest is what there is to see.
        weighted.retain(|(x, _)| x.abs() > ROUNDING_SHARE * largest);
        let most = shown_up_to(&weighted, tolerance);
        let histogram = Histogram::of(&weighted, [-most, most], BINS);
        let same = if whole > 0.0 { 1.0 - area(&weighted) / whole } else { 1.0 };
        Read { mesh, deviation, histogram, same }
    }

    /// The same beside the guaranteed distances.
    pub fn apart<'a>(&'a self, distances: &Distances) -> Apart<'a> {
        let bounds = distances.ways().map(|way| ([way.lo, way.hi], way.at));
        let Read { mesh, deviation, histogram, same } = self;
        Apart { bounds, mesh, deviation, histogram, same: *same }
    }
}

/// Where map and histogram end.
fn shown_up_to(weighted: &[(f64, f64)], tolerance: Option<f64>) -> f64 {
    let mut sizes: Vec<(f64, f64)> = weighted.iter().map(|&(x, area)| (x.abs(), area)).collect();
    sizes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let largest = sizes.last().map_or(0.0, |last| last.0);
    let wanted = tolerance.map(|t| BEYOND_TOLERANCE * t).unwrap_or_else(|| {
        let mut left = SHARE_SHOWN * sizes.iter().map(|(_, area)| area).sum::<f64>();
        let within = sizes.iter().find(|(_, area)| {
            left -= area;
            left <= 0.0
        });
        within.map_or(largest, |(size, _)| *size)
    });
    // Where nothing differs there is still a scale to be drawn.
    if largest > 0.0 { wanted.min(largest) } else { tolerance.unwrap_or(1.0) }
}

#[cfg(test)]
mod tests {
    use super::shown_up_to;

    #[test]
    fn the_map_ends_with_most_of_the_area_or_beyond_the_tolerance() {
        let mut weighted: Vec<(f64, f64)> = (0..200).map(|k| (0.001 * f64::from(k), 1.0)).collect();
        weighted.push((-9.0, 0.5));
        assert!((shown_up_to(&weighted, None) - 0.198).abs() < 1e-12);
        assert!((shown_up_to(&weighted, Some(0.1)) - 0.15).abs() < 1e-12);
        assert_eq!(shown_up_to(&weighted, Some(100.0)), 9.0);
        assert_eq!(shown_up_to(&[(0.0, 1.0)], None), 1.0);
    }
}
