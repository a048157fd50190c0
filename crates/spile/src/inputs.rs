//! The inputs of a case: its text, its scans, the keeps painted on them.

use std::path::{Path, PathBuf};

use serde::Deserialize;
use sha2::{Digest as _, Sha256};
use spile_case::{
    Case, ExactFaces, Fitting, Keep, Painted, Solid, SolidKind, Unit, read_case_with,
};
use spile_formats::FileUnit;
use spile_formats::step::{ReadStep, StepBody, is_step, read_step};
use spile_joint::facet;
use spile_mesh::Mesh;

use crate::failure::Failure;

/// A mesh file as it was read, without the mesh itself.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct InputFile {
    /// The file as it was named, with forward slashes.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
    /// How many triangles it holds.
    pub triangles: usize,
    /// The unit it states.
    pub unit: Option<FileUnit>,
}

/// A case with all that it names.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Loaded {
    /// The case, with a name.
    pub case: Case,
    /// Its scan files, those of its fittings, in the case's order, and the scan that it
    /// was written for, if that is another.
    pub files: Vec<InputFile>,
    /// What the scan files hold, in the same order.
    pub scans: Vec<Mesh>,
    /// The case's own text.
    pub text: String,
    /// The files of painted triangles that it names, as it names them, with their bytes.
    pub painted: Vec<(String, Vec<u8>)>,
}

/// SHA-256 of `bytes`, lower-case hexadecimal.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

/// The mesh file at `path`.
pub(crate) fn read_mesh(path: &Path) -> Result<(InputFile, Mesh), Failure> {
    read_mesh_named(path, &shown(path))
}

fn read_mesh_named(path: &Path, name: &str) -> Result<(InputFile, Mesh), Failure> {
    let bytes = read_bytes(path)?;
    let read = spile_formats::read_bytes(name, &bytes)?;
    let file = InputFile {
        name: name.to_owned(),
        sha256: sha256(&bytes),
        bytes,
        triangles: read.mesh.triangles().len(),
        unit: read.unit,
    };
    Ok((file, read.mesh))
}

/// The case at `path`, the scans it names, and its painted keeps.
///
/// Files that the case names are sought from the case's own folder.
pub(crate) fn load(path: &Path) -> Result<Loaded, Failure> {
    let folder = path.parent().unwrap_or(Path::new(""));
    load_placed(path, &|file| folder.join(file))
}

/// The case at `path` with what it names, each file where `place` says.
pub(crate) fn load_placed(path: &Path, place: &dyn Fn(&str) -> PathBuf) -> Result<Loaded, Failure> {
    let name = shown(path);
    let text = String::from_utf8(read_bytes(path)?).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        Failure::new(format!("the case is not UTF-8 text: {name}, byte {at}"))
            .hint("save the case as UTF-8")
    })?;
    let mut painted = Vec::new();
    let read = read_case_with(&text, &name, &mut |file| {
        let (bytes, read) = painted_at(&place(file), file)?;
        painted.push((file.to_owned(), bytes));
        Ok(read)
    });
    let mut case = read.map_err(|mistakes| Failure::in_case(mistakes, &text))?;
    case.name.get_or_insert_with(|| name_of(path));
    let named = |file: &str| {
        read_mesh_named(&place(file), &file.replace('\\', "/"))
            .map_err(|f| f.hint(format!("it is named in {name}, from that file's folder")))
    };
    let (mut files, scans): (Vec<_>, Vec<_>) = case
        .scan
        .files
        .iter()
        .map(|file| named(file))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .unzip();
    check_units(case.unit, &files)?;
    check_painted(&case, &files)?;
    let chords = chords(&case);
    for (solid, chord) in case.solids.iter_mut().zip(chords) {
        let path = place(&solid.file);
        let shown = solid.file.replace('\\', "/");
        let read = match solid.kind {
            SolidKind::Mesh if is_step(&shown) => {
                Err(Failure::new(format!("{shown} is a STEP file, and the case says it is a mesh"))
                    .hint("write `kind = \"step\"`: its exact faces are then joined and proved"))
            }
            SolidKind::Mesh => read_mesh_named(&path, &shown)
                .and_then(|(file, mesh)| check_solid_unit(solid, &file).map(|()| (file, mesh))),
            SolidKind::Step => read_step_solid(&path, &shown, solid, chord),
        };
        let (file, mesh) =
            read.map_err(|f| f.hint(format!("it is named in {name}, from that file's folder")))?;
        files.push(file);
        let (points, triangles) = mesh.into_parts();
        solid.points = points.into_iter().map(|p| p.to_array()).collect();
        solid.triangles = triangles;
    }
    if let Some(align) = &mut case.scan.align {
        let (file, mesh) = named(&align.to)?;
        check_units(case.unit, std::slice::from_ref(&file))?;
        files.push(file);
        let (points, triangles) = mesh.into_parts();
        align.points = points.into_iter().map(|p| p.to_array()).collect();
        align.triangles = triangles;
    }
    Ok(Loaded { case, files, scans, text, painted })
}

/// What a case is called that has no name of its own: as its file.
fn name_of(path: &Path) -> String {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let name: String = stem.chars().filter(|c| !c.is_control()).collect();
    if name.trim().is_empty() { "case".to_owned() } else { name }
}

/// For each solid of a case how far triangles may lie from its exact faces, in millimetres.
fn chords(case: &Case) -> Vec<f64> {
    let of_end = |(number, _)| {
        let is_its = |end: &&spile_case::End| matches!(end.fitting, Some(Fitting::Mesh(m)) if m.solid == number);
        let limits = case.ends.iter().find(is_its).map_or(case.limits, |end| case.limits_at(end));
        limits.chord * case.unit.in_millimetres()
    };
    case.solids.iter().enumerate().map(of_end).collect()
}

/// The STEP file of a fitting and its triangles, those that stand for exact faces within
/// `chord_mm` of them; its unit and its faces are written into `solid`.
fn read_step_solid(
    path: &Path,
    name: &str,
    solid: &mut Solid,
    chord_mm: f64,
) -> Result<(InputFile, Mesh), Failure> {
    let (mut file, read) = read_step_named(path, name)?;
    check_solid_unit(solid, &file)?;
    let units = [Unit::Millimetre, Unit::Centimetre, Unit::Metre, Unit::Inch];
    solid.unit = units.into_iter().find(|unit| unit.name() == read.unit.symbol());
    let exact = match read.body {
        StepBody::Triangles(mesh) => return Ok((file, mesh)),
        StepBody::Exact(exact) => exact,
    };
    let facets = facet(&exact, chord_mm / read.unit.millimetres()).map_err(|what| {
        Failure::new(format!("{name} is no fitting: {what}"))
            .hint("mend it where it was modelled: a fitting has to be one closed solid")
    })?;
    file.triangles = facets.mesh.triangles().len();
    solid.exact = Some(ExactFaces { solid: exact, face: facets.face });
    Ok((file, facets.mesh))
}

/// The STEP file at `path`.
pub(crate) fn read_step_file(path: &Path) -> Result<(InputFile, ReadStep), Failure> {
    read_step_named(path, &shown(path))
}

fn read_step_named(path: &Path, name: &str) -> Result<(InputFile, ReadStep), Failure> {
    let name = name.to_owned();
    let bytes = read_bytes(path)?;
    let read = read_step(&name, &bytes)?;
    let triangles = match &read.body {
        StepBody::Exact(_) => 0,
        StepBody::Triangles(mesh) => mesh.triangles().len(),
    };
    let sha256 = sha256(&bytes);
    Ok((InputFile { name, sha256, bytes, triangles, unit: Some(read.unit) }, read))
}

/// `path` as it was typed, fit for a message.
pub(crate) fn shown(path: &Path) -> String {
    path.display().to_string().replace('\\', "/")
}

/// The bytes of a file, with the file named if it cannot be read.
pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|error| {
        Failure::new(format!("cannot read {}: {}", shown(path), said(&error)))
            .hint("check the path and that the file may be read")
    })
}

/// What the system said, in our voice: lower case, without its error number.
pub(crate) fn said(error: &std::io::Error) -> String {
    let text = error.to_string();
    let text = text.split(" (os error").next().unwrap_or(&text);
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_lowercase().chain(chars).collect())
}

/// A file of painted triangles.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PaintedFile {
    scan_sha256: String,
    triangles: Vec<u32>,
}

/// The painted triangles in a file of `folder`, or what is wrong with it.
pub(crate) fn painted(folder: &Path, file: &str) -> Result<Painted, String> {
    painted_at(&folder.join(file), file).map(|(_, painted)| painted)
}

fn painted_at(path: &Path, file: &str) -> Result<(Vec<u8>, Painted), String> {
    let bytes =
        std::fs::read(path).map_err(|error| format!("cannot read {file}: {}", said(&error)))?;
    let read: PaintedFile = serde_json::from_slice(&bytes)
        .map_err(|error| format!("{file} is not {{ scan_sha256, triangles }} in JSON: {error}"))?;
    let scan_sha256 = read.scan_sha256.to_lowercase();
    Ok((bytes, Painted { scan_sha256, triangles: read.triangles }))
}

fn check_units(case_unit: Unit, files: &[InputFile]) -> Result<(), Failure> {
    for scan in files {
        if let Some(unit) = scan.unit
            && unit.symbol() != case_unit.name()
        {
            let message = format!(
                "{} states its unit as {}, the case says {}",
                scan.name,
                unit.symbol(),
                case_unit.name()
            );
            return Err(Failure::new(message)
                .hint("nothing is scaled: write the case in the scan file's unit"));
        }
    }
    Ok(())
}

/// A fitting's file that states a unit states the one that the case gives it.
fn check_solid_unit(solid: &Solid, file: &InputFile) -> Result<(), Failure> {
    match file.unit {
        Some(unit) if solid.unit.is_some_and(|said| said.name() != unit.symbol()) => {
            let said = solid.unit.map_or("", Unit::name);
            let failure = Failure::new(format!(
                "{} states its unit as {}, the case says {said}",
                file.name,
                unit.symbol(),
            ));
            let hint = match solid.kind {
                SolidKind::Mesh => format!("write `unit = \"{}\"` beside `file`", unit.symbol()),
                SolidKind::Step => "leave `unit` out: the file's lengths are converted by the unit \
                                    that it states; if that is wrong, export it anew in the right one"
                    .to_owned(),
            };
            Err(failure.hint(hint))
        }
        _ => Ok(()),
    }
}

/// Painted triangles belong to one scan: to another the numbers mean nothing.
fn check_painted(case: &Case, files: &[InputFile]) -> Result<(), Failure> {
    for keep in &case.keeps {
        let Keep::Triangles { scan_sha256, triangles } = keep else { continue };
        let Some(scan) = files.first() else { continue };
        if files.len() > 1 {
            return Err(Failure::new("a keep by triangle numbers needs a scan in one file")
                .hint("with form `sheets` use `ball` or `box`"));
        }
        if *scan_sha256 != scan.sha256 {
            return Err(Failure::new(format!(
                "a keep was painted on another scan than {}: its scan_sha256 is {scan_sha256}, the scan's {}",
                scan.name, scan.sha256
            ))
            .hint("paint it again on this scan, or name the scan that was painted"));
        }
        let count = scan.triangles;
        if let Some(number) = triangles.iter().find(|&&t| t as usize >= count) {
            return Err(Failure::new(format!(
                "a keep names triangle {number}, but {} has {count}, counted from 0",
                scan.name
            )));
        }
    }
    Ok(())
}
