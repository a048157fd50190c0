//! Writes an invented scan of the print of a part, for pictures of a first-article record:
//! a little wavy, with one dent, its lower end not seen, and lying elsewhere.
//!
//! `invented_print PART.stl OUT.stl`

use std::path::Path;
use std::process::ExitCode;

use spile_formats::FileUnit;
use spile_mesh::{DVec3, Mesh};

/// How far the surface waves, in the part's unit.
const WAVE: f64 = 0.05;
/// How deep the dent is, and how wide.
const DENT: [f64; 2] = [0.35, 4.0];
/// Below this share of its height nothing is seen.
const UNSEEN: f64 = 0.12;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [part, out] = words.as_slice() else {
        eprintln!("invented_print PART.stl OUT.stl");
        return ExitCode::from(2);
    };
    match printed(Path::new(part), Path::new(out)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("error: {fault}");
            ExitCode::from(2)
        }
    }
}

fn printed(part: &Path, out: &Path) -> Result<(), String> {
    let mesh = spile_formats::read(part).map_err(|e| e.to_string())?.mesh;
    let bounds = mesh.bounds();
    let dented = mesh.points().iter().copied().max_by(|a, b| a.x.total_cmp(&b.x));
    let normals = mesh.point_normals();
    let moved = mesh.points().iter().zip(&normals).map(|(&p, &normal)| {
        let wave = (0.9 * p.x + 0.4 * p.z).sin() + (0.7 * p.y - 0.5 * p.z).sin();
        let away = dented.map_or(f64::INFINITY, |at| at.distance(p)) / DENT[1];
        let off = 0.5 * WAVE * wave - DENT[0] * (-away * away).exp();
        elsewhere(p + off * normal)
    });
    let least = bounds.min.z + UNSEEN * (bounds.max.z - bounds.min.z);
    let seen = (0..mesh.triangles().len())
        .filter(|&t| mesh.corners(t).iter().all(|p| p.z > least))
        .map(|t| mesh.triangles()[t]);
    let scan = Mesh::new(moved.collect(), seen.collect()).map_err(|e| e.to_string())?;
    let mut bytes = Vec::new();
    spile_formats::stl::write(&scan, FileUnit::Millimetre, &mut bytes)
        .map_err(|e| e.to_string())?;
    std::fs::write(out, bytes).map_err(|e| format!("{}: {e}", out.display()))
}

/// A turn of 40 degrees about the upright axis and a shift.
fn elsewhere(p: DVec3) -> DVec3 {
    let (sin, cos) = 40_f64.to_radians().sin_cos();
    DVec3::new(cos * p.x - sin * p.y + 30.0, sin * p.x + cos * p.y - 80.0, p.z + 12.0)
}
