//! The part in the files that a case asks for beside STL and 3MF.

mod groups;
mod sections;
mod tables;

use spile_case::{Case, FileKind};
use spile_formats::ply::PointValues;
use spile_formats::step::{self, Revolved};
use spile_formats::{Groups, PartInfo, WriteError, dxf, glb, obj, ply, svg};
use spile_mesh::Mesh;
use spile_proof::measures::{Measures, VertexMap};
use spile_proof::{FittingFrame, Proof};

use crate::failure::Failure;
use crate::files::groups::{groups_of, plain_names};
use crate::files::sections::{Drawn, sections};
use crate::output::OutputFile;

/// A part that was made and judged.
pub(crate) struct Finished<'a> {
    /// The part, as its file has it.
    pub part: &'a Mesh,
    /// The case that it was judged by.
    pub settled: &'a Case,
    /// The proof.
    pub proof: &'a Proof,
    /// What was measured beside it.
    pub measures: &'a Measures,
    /// The name of its files, without what tells their kind.
    pub stem: &'a str,
    /// What files say of it.
    pub info: PartInfo,
}

/// The files that the case asks for beside STL and 3MF, in their fixed order.
pub(crate) fn more_files(finished: &Finished<'_>) -> Result<Vec<OutputFile>, Failure> {
    let asked = &finished.settled.output.files;
    let Finished { part, settled, proof, stem, info, .. } = finished;
    let wants = |kinds: &[FileKind]| asked.iter().any(|kind| kinds.contains(kind));
    let mut files = Vec::new();
    let mut add = |more: String, bytes: Vec<u8>| {
        files.push(OutputFile { name: format!("{stem}{more}"), bytes });
    };
    if wants(&[FileKind::Obj, FileKind::Ply, FileKind::Glb, FileKind::Step]) {
        let (groups, info) = grouped(finished);
        for &kind in asked {
            if let Some(bytes) = surface(kind, finished, &groups, &info)? {
                add(format!(".{}", kind.name()), bytes);
            }
        }
    }
    if wants(&[FileKind::Svg, FileKind::Dxf]) {
        let names = plain_names(&settled.ends);
        for Drawn { name, drawing } in sections(part, settled, &proof.ends, info, &names) {
            if wants(&[FileKind::Svg]) {
                add(format!("-sections/{name}.svg"), svg::text(&drawing).into_bytes());
            }
            if wants(&[FileKind::Dxf]) {
                add(format!("-sections/{name}.dxf"), dxf::text(&drawing).into_bytes());
            }
        }
    }
    if wants(&[FileKind::Csv]) {
        let unit = settled.unit.name();
        add("-stations.csv".to_owned(), tables::stations(proof, unit).into_bytes());
        add("-limits.csv".to_owned(), tables::limits(proof, unit).into_bytes());
        add("-cautions.txt".to_owned(), tables::cautions(info).into_bytes());
    }
    Ok(files)
}

/// The part's named groups, and what files say of it, doubts about the groups included.
fn grouped(finished: &Finished<'_>) -> (Groups, PartInfo) {
    let Finished { settled, measures, info, .. } = finished;
    let mut info = info.clone();
    if let Some(doubt) = measures.doubts.first() {
        info.description = format!("{} Groups are in doubt: {doubt}.", info.description);
    }
    (groups_of(&measures.labels.part, &settled.ends), info)
}

/// The part as one file; none of a kind that is written elsewhere.
fn surface(
    kind: FileKind,
    finished: &Finished<'_>,
    groups: &Groups,
    info: &PartInfo,
) -> Result<Option<Vec<u8>>, Failure> {
    let Finished { part, settled, measures, .. } = finished;
    let mut bytes = Vec::new();
    let written = match kind {
        FileKind::Obj => obj::write(part, groups, info, &mut bytes),
        FileKind::Ply => {
            ply::write(part, &values(measures, settled.unit.name()), groups, info, &mut bytes)
        }
        FileKind::Glb => glb::write(part, groups, info, &mut bytes),
        FileKind::Step => step::write(part, groups, &exact_fittings(settled), info, &mut bytes),
        _ => return Ok(None),
    };
    written.map_err(refused)?;
    Ok(Some(bytes))
}

/// What is measured at each point.
fn values(measures: &Measures, unit: &str) -> Vec<PointValues> {
    let values = |name: &str, meaning: &str, map: &VertexMap| PointValues {
        name: name.to_owned(),
        meaning: format!("{meaning}, in {unit}; nan where there is none"),
        values: map.values.iter().map(|x| x.map_or(f32::NAN, |x| x as f32)).collect(),
    };
    let Measures { deviation, thickness, .. } = measures;
    vec![
        values("deviation", "signed distance of replaced scan from the scan", &deviation.map),
        values("thickness", "shortest straight distance to the other side", &thickness.map),
        values("thickness_ray", "distance to the other side along the normal", &thickness.ray),
        values("thickness_ball", "diameter of the largest ball that touches both", &thickness.ball),
    ]
}

/// The fittings that the case's words fix, as solids; a fitting from a mesh file has no
/// exact surface that is known.
fn exact_fittings(settled: &Case) -> Vec<Revolved> {
    let exact = |end| Some((end, FittingFrame::exact(settled, end)?));
    let ends = settled.ends.iter().filter_map(exact);
    ends.map(|(end, frame)| Revolved {
        name: format!("fitting {}", end.name),
        at: frame.at,
        along: frame.along,
        outline: frame.outline(),
    })
    .collect()
}

/// What could not be written.
pub(crate) fn refused(error: WriteError) -> Failure {
    Failure::internal(format!("the part cannot be written: {error}"))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use spile_case::read_case;

    use super::exact_fittings;

    /// The volume of the solid that an outline makes: frusta, signed (check-values 5).
    fn volume(fitting: &str) -> f64 {
        let text = format!(
            "unit = \"mm\"\n[scan]\nfile = \"a.stl\"\nform = \"shell\"\n[[end]]\nname = \"up\"\nreach = 10\n\
             cut = {{ through = [0, 0, 0], facing = [0, 0, 1] }}\nfitting = {{ {fitting} }}\n\
             place = {{ at = [1, 2, 3], along = [0, 3, 4] }}\n[limits]\ndeviation = 0.1\n"
        );
        let case = read_case(&text, "case.toml").unwrap();
        let [solid] = &exact_fittings(&case)[..] else { panic!("one fitting") };
        assert_eq!(
            (solid.at.to_array(), solid.along.to_array()),
            ([1.0, 2.0, 3.0], [0.0, 0.6, 0.8])
        );
        let outline = &solid.outline;
        let pairs = (0..outline.len()).map(|k| (outline[k], outline[(k + 1) % outline.len()]));
        pairs.map(|([r, h], [s, k])| PI / 3.0 * (k - h) * (r * r + r * s + s * s)).sum()
    }

    /// Within the three decimals of the published volume.
    fn is_near(a: f64, b: f64) -> bool {
        (a / b - 1.0).abs() < 3e-7
    }

    #[test]
    fn a_fittings_outline_makes_its_exact_solid() {
        let tube = "kind = \"tube\", bore = 16, outside = 20, length = 25";
        let ring = |outer: f64, inner: f64, length: f64| {
            PI / 4.0 * (outer * outer - inner * inner) * length
        };
        let plain = ring(20.0, 16.0, 25.0);
        assert!(is_near(volume(tube), plain));
        // A flange between the faces, and one at the far face.
        for at in [10.0, 22.0] {
            let flange = format!("{tube}, flange = {{ outside = 30, thickness = 3, at = {at} }}");
            assert!(is_near(volume(&flange), plain + ring(30.0, 20.0, 3.0)), "{at}");
        }
        // check-values 1.1: the frustum of reading A, 22 mm, has 8171.129 mm^3; 4 mm of
        // straight wall come before it, as wide as its large end, 22.520.
        let cone =
            "kind = \"cone\", size = \"breathing-22\", bore = 18, length = 25, allowance = 0";
        let wanted = 8171.129 + ring(22.520, 0.0, 4.0) - ring(18.0, 0.0, 25.0);
        assert!(is_near(volume(cone), wanted), "{} {wanted}", volume(cone));
    }
}
