//! Writes an invented pipe piece whose rim at the cut has 300 points, and a
//! case that joins it with every limit on: `rim FOLDER`. For benches.
//!
//! Both walls are given by formula, in millimetres: an oval, three-cornered and
//! wobbly bore and an outside that is not concentric with it, rough by a
//! hundredth.

use std::f64::consts::TAU;
use std::path::Path;
use std::process::ExitCode;

/// Points of a ring. A cut between two rings crosses each cell's side and its diagonal,
/// so that the rim there has twice as many.
const COLUMNS: u32 = 150;
/// Rings from the lower end to the upper.
const ROWS: u32 = 75;
/// Distance of two rings.
const STEP: f64 = 0.38;

/// The case. `ball_min` is under the bore's polygon, `reach` over the band that
/// fairing works in.
const CASE: &str = r#"# An invented pipe piece for benches, made by formula.
unit = "mm"

[scan]
file = "rim-invented.stl"
form = "shell"

[[end]]
name = "upper"
cut = { through = [0.0, 0.0, 22.0], facing = [0.0, 0.0, 1.0] }
reach = 10.0
fitting = { kind = "tube", bore = 16.0, outside = 20.0, length = 20.0 }
place = { at = [2.0, 1.0, 36.0], along = [0.12, -0.08, 0.9895] }

[[end]]
name = "lower"
cut = { through = [0.0, 0.0, 4.0], facing = [0.0, 0.0, -1.0] }

[limits]
deviation = 0.1
wall_min = 1.5
bore_loss = 0.005
kink = 10.0
ball_min = 14.0
chord = 0.01
"#;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [folder] = words.as_slice() else {
        eprintln!("usage: rim FOLDER");
        return ExitCode::from(2);
    };
    match write(Path::new(folder)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::from(2)
        }
    }
}

/// A point of a wall: 0 the bore, 1 the outside.
fn at(wall: u32, row: u32, column: u32) -> [f32; 3] {
    let angle = TAU * f64::from(column) / f64::from(COLUMNS);
    let z = STEP * f64::from(row);
    // Steps of the golden ratio look rough and repeat nowhere.
    let k = f64::from((wall * ROWS + row) * COLUMNS + column);
    let rough = 0.02 * ((k * 0.618_033_988_749_895).fract() - 0.5);
    let oval = 0.7 * (2.0 * angle).cos() + 0.25 * (3.0 * angle + 1.0).cos();
    let wobble = 0.03 * (7.0 * angle + 1.3 * z).sin();
    let radius = 8.6 + oval + f64::from(wall) * (2.3 + 0.3 * (angle - 0.5).cos()) + wobble + rough;
    [(radius * angle.cos()) as f32, (radius * angle.sin()) as f32, z as f32]
}

/// The triangles of both walls and of the rings that close them.
fn triangles() -> Vec<[[f32; 3]; 3]> {
    let mut triangles = Vec::new();
    // Corners in order round a cell, seen from outside the material.
    let mut cell = |[a, b, c, d]: [[f32; 3]; 4]| triangles.extend([[a, b, c], [a, c, d]]);
    for j in 0..COLUMNS {
        let k = (j + 1) % COLUMNS;
        for i in 0..ROWS - 1 {
            cell([at(1, i, j), at(1, i, k), at(1, i + 1, k), at(1, i + 1, j)]);
            cell([at(0, i, k), at(0, i, j), at(0, i + 1, j), at(0, i + 1, k)]);
        }
        cell([at(0, 0, j), at(0, 0, k), at(1, 0, k), at(1, 0, j)]);
        let top = ROWS - 1;
        cell([at(1, top, j), at(1, top, k), at(0, top, k), at(0, top, j)]);
    }
    triangles
}

fn write(folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("rim.toml"), CASE)?;
    // About one corner of the joint to each point of the rim, for the same rim.
    let fine = CASE.replace("[limits]", "[joint]\nedge = 0.19\n\n[limits]");
    std::fs::write(folder.join("rim-fine.toml"), fine)?;
    let triangles = triangles();
    let mut bytes = vec![b' '; 80];
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for corners in triangles {
        bytes.extend([0; 12]);
        bytes.extend(corners.iter().flatten().flat_map(|c| c.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    std::fs::write(folder.join("rim-invented.stl"), bytes)
}
