//! `fittings FILE`: the round rims at which a solid from a file can be joined.

use std::fmt::Write as _;
use std::path::Path;

use serde::Serialize;
use spile_case::ExactFaces;
use spile_formats::step::{StepBody, StepSolid, is_step};
use spile_joint::{RoundRim, exact_circle, facet, round_rims};
use spile_mesh::{Circle, Mesh};
use spile_proof::exact_faces_off;

use crate::answer::Answer;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::{InputFile, read_mesh, read_step_file};

#[derive(Serialize)]
struct Document {
    file: String,
    sha256: String,
    /// Of exact faces: as they are cut here.
    triangles: usize,
    /// How many exact faces it has, and how far triangles may lie from them.
    exact: Option<Exact>,
    /// The unit that the file states.
    unit: Option<&'static str>,
    rims: Vec<Rim>,
    not_round: Vec<NotRound>,
}

#[derive(Serialize)]
struct Exact {
    faces: usize,
    chord: f64,
    /// Guaranteed bounds on the greatest distance of the triangles from them.
    off: [f64; 2],
}

/// One round rim, in the file's coordinates and unit.
#[derive(Serialize)]
struct Rim {
    centre: [f64; 3],
    /// Unit normal of the end face, off the material.
    axis: [f64; 3],
    bore: Round,
    outside: Round,
}

/// A circle by least squares through the corners, which stand out a little where a
/// file's circle was cut into sides.
#[derive(Serialize)]
struct Round {
    radius: f64,
    sides: usize,
    /// Largest distance of a point from the circle.
    residual: f64,
    residual_rms: f64,
    /// The radius of the file's own circle.
    exact_radius: Option<f64>,
}

#[derive(Serialize)]
struct NotRound {
    near: [f64; 3],
    what: String,
}

/// How far triangles may lie from exact faces here, in millimetres: the `chord` of a
/// case with a `deviation` of 0.1 mm that names none.
const CHORD_MM: f64 = 0.01;

/// Lists the round rims of a file.
pub(crate) fn fitting_rims(path: &Path) -> Result<Answer, Failure> {
    let (file, mesh, exact) = read_solid(path)?;
    let no_fitting = |what| {
        Failure::new(format!("{} is no fitting: {what}", file.name))
            .hint("mend it where it was modelled: a fitting has to be one closed solid")
    };
    let chord = CHORD_MM / file.unit.map_or(1.0, |unit| unit.millimetres());
    let (mesh, exact) = match exact {
        Some(solid) => {
            let facets = facet(&solid, chord).map_err(no_fitting)?;
            (facets.mesh, Some(ExactFaces { solid, face: facets.face }))
        }
        None => (mesh, None),
    };
    let off = exact.as_ref().map(|exact| exact_faces_off(exact, &mesh, chord));
    let off = off.transpose().map_err(|what| {
        Failure::internal(format!("{}: triangles that do not stand for it: {what}", file.name))
    })?;
    let exact = exact.map(|exact| exact.solid);
    let found = round_rims(&mesh).map_err(no_fitting)?;
    let not_round = found.not_round.into_iter();
    let document = Document {
        sha256: file.sha256,
        triangles: mesh.triangles().len(),
        exact: exact.as_ref().zip(off).map(|(solid, off)| {
            let faces = solid.faces.len();
            Exact { faces, chord, off }
        }),
        unit: file.unit.map(|unit| unit.symbol()),
        rims: found.round.iter().map(|found| rim(found, exact.as_ref(), chord)).collect(),
        not_round: not_round.map(|(p, what)| NotRound { near: p.to_array(), what }).collect(),
        file: file.name,
    };
    Ok(Answer::new(Ending::Held, text(&document), &document))
}

/// A file with what it holds: triangles, or exact faces.
fn read_solid(path: &Path) -> Result<(InputFile, Mesh, Option<StepSolid>), Failure> {
    if !is_step(&path.display().to_string()) {
        let (file, mesh) = read_mesh(path)?;
        return Ok((file, mesh, None));
    }
    let (file, read) = read_step_file(path)?;
    Ok(match read.body {
        StepBody::Exact(solid) => (file, Mesh::default(), Some(solid)),
        StepBody::Triangles(mesh) => (file, mesh, None),
    })
}

fn rim(rim: &RoundRim, exact: Option<&StepSolid>, chord: f64) -> Rim {
    let round = |circle: &Circle, sides: usize| Round {
        radius: circle.radius,
        sides,
        residual: circle.largest,
        residual_rms: circle.rms,
        exact_radius: exact.and_then(|solid| exact_circle(solid, circle, chord)).map(|c| c.1),
    };
    let [bore, outside] = &rim.loops;
    Rim {
        centre: rim.centre.to_array(),
        axis: rim.axis.to_array(),
        bore: round(&rim.bore, bore.len()),
        outside: round(&rim.outside, outside.len()),
    }
}

fn text(document: &Document) -> String {
    let point = |p: [f64; 3]| format!("[{:.4}, {:.4}, {:.4}]", p[0], p[1], p[2]);
    let shape = document.exact.as_ref().map_or_else(
        || format!("{} triangles", document.triangles),
        |exact| {
            let (faces, chord, [_, off]) = (exact.faces, exact.chord, exact.off);
            format!(
                "{faces} exact faces, {} triangles within {chord:.1e} of them (guaranteed: {off:.1e})",
                document.triangles
            )
        },
    );
    let unit = document.unit.map_or_else(String::new, |unit| format!(", in {unit}"));
    let rims = document.rims.len();
    let mut text = format!("{}: {shape}{unit}, {rims} round rims\n", document.file);
    for rim in &document.rims {
        let _ = writeln!(text, "  rim = {}  facing {}", point(rim.centre), point(rim.axis));
        for (name, round) in [("bore", &rim.bore), ("outside", &rim.outside)] {
            let exact = round
                .exact_radius
                .map_or_else(String::new, |radius| format!("; the file's own circle: {radius}"));
            let _ = writeln!(
                text,
                "    {name:<8} radius {:.5}, {} sides, at most {:.1e} off the circle{exact}",
                round.radius, round.sides, round.residual
            );
        }
    }
    for flat in &document.not_round {
        let _ = writeln!(text, "  not round, near {}: {}", point(flat.near), flat.what);
    }
    text
}
