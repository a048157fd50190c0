//! `fittings FILE`: the round rims at which a solid from a file can be joined.

use std::fmt::Write as _;
use std::path::Path;

use serde::Serialize;
use spile_joint::{RoundRim, round_rims};
use spile_mesh::Circle;

use crate::answer::Answer;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::read_mesh;

#[derive(Serialize)]
struct Document {
    file: String,
    sha256: String,
    triangles: usize,
    /// The unit that the file states.
    unit: Option<&'static str>,
    rims: Vec<Rim>,
    not_round: Vec<NotRound>,
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

/// A circle by least squares.
#[derive(Serialize)]
struct Round {
    radius: f64,
    sides: usize,
    /// Largest distance of a point from the circle.
    residual: f64,
    residual_rms: f64,
}

#[derive(Serialize)]
struct NotRound {
    near: [f64; 3],
    what: String,
}

/// Lists the round rims of a file.
pub(crate) fn fitting_rims(path: &Path) -> Result<Answer, Failure> {
    let (file, mesh) = read_mesh(path)?;
    let found = round_rims(&mesh).map_err(|what| {
        Failure::new(format!("{} is no fitting: {what}", file.name))
            .hint("mend it where it was modelled: a fitting has to be one closed solid")
    })?;
    let not_round = found.not_round.into_iter();
    let document = Document {
        sha256: file.sha256,
        triangles: file.triangles,
        unit: file.unit.map(|unit| unit.symbol()),
        rims: found.round.iter().map(rim).collect(),
        not_round: not_round.map(|(p, what)| NotRound { near: p.to_array(), what }).collect(),
        file: file.name,
    };
    Ok(Answer::new(Ending::Held, text(&document), &document))
}

fn rim(rim: &RoundRim) -> Rim {
    let round = |circle: &Circle, sides: usize| Round {
        radius: circle.radius,
        sides,
        residual: circle.largest,
        residual_rms: circle.rms,
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
    let mut text = format!(
        "{}: {} triangles, {} round rims\n",
        document.file,
        document.triangles,
        document.rims.len()
    );
    for rim in &document.rims {
        let _ = writeln!(text, "  rim = {}  facing {}", point(rim.centre), point(rim.axis));
        for (name, round) in [("bore", &rim.bore), ("outside", &rim.outside)] {
            let _ = writeln!(
                text,
                "    {name:<8} radius {:.5}, {} sides, at most {:.1e} off the circle",
                round.radius, round.sides, round.residual
            );
        }
    }
    for flat in &document.not_round {
        let _ = writeln!(text, "  not round, near {}: {}", point(flat.near), flat.what);
    }
    text
}
