//! `new`: a starter case for a scan.

use serde::Serialize;
use spile_case::{Form, Unit};
use spile_formats::FileUnit;
use spile_joint::{ExamineOptions, FoundEnd, examine};
use spile_mesh::Mesh;

use crate::answer::Answer;
use crate::args::NewArgs;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::read_mesh;
use crate::starter::{Found, guess_unit, starter_case};

#[derive(Serialize)]
struct Document {
    file: String,
    case: String,
}

/// Prints a starter case.
pub(crate) fn new(args: &NewArgs) -> Result<Answer, Failure> {
    let (file, mesh) = read_mesh(&args.scan)?;
    let ends = examine(&mesh, ExamineOptions::default()).ends;
    let case = starter(&file.name, file.unit, &mesh, ends);
    let document = Document { file: file.name, case: case.clone() };
    Ok(Answer::new(Ending::Held, case, &document))
}

/// The starter case for a scan whose open ends are known.
pub(super) fn starter(
    file: &str,
    unit: Option<FileUnit>,
    mesh: &Mesh,
    ends: Vec<FoundEnd>,
) -> String {
    let bounds = mesh.bounds();
    let stated = unit.and_then(case_unit);
    let one_wall = !ends.is_empty() && ends.iter().all(|e| e.outside.is_none());
    starter_case(&Found {
        file: file.to_owned(),
        unit: stated.unwrap_or(guess_unit((bounds.max - bounds.min).max_element())),
        unit_is_stated: stated.is_some(),
        form: if one_wall { Form::Bore } else { Form::Shell },
        bounds,
        ends,
    })
}

/// The case's unit for what a file states; a case has no micron and no foot.
fn case_unit(unit: FileUnit) -> Option<Unit> {
    match unit {
        FileUnit::Millimetre => Some(Unit::Millimetre),
        FileUnit::Centimetre => Some(Unit::Centimetre),
        FileUnit::Metre => Some(Unit::Metre),
        FileUnit::Inch => Some(Unit::Inch),
        FileUnit::Micron | FileUnit::Foot => None,
    }
}
