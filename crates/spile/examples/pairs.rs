//! Prints which triangles intersect, one JSON document a line: for each file
//! named, as read and once more with its coordinates rounded to `f32`; without
//! a file, for each mesh on standard input, a line each: the numbers of points
//! and triangles, three coordinates a point, three indices a triangle.

mod numbers;

use std::io::{BufRead, Write};
use std::path::Path;
use std::process::ExitCode;

use numbers::Words;
use serde_json::{Value, json};
use spile_mesh::{DVec3, self_intersections};

fn main() -> ExitCode {
    let files: Vec<String> = std::env::args().skip(1).collect();
    match if files.is_empty() { of_lines() } else { of_files(&files) } {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("error: {fault}");
            ExitCode::from(2)
        }
    }
}

fn of_files(files: &[String]) -> Result<(), String> {
    for file in files {
        let mesh = spile_formats::read(Path::new(file)).map_err(|e| e.to_string())?.mesh;
        for mesh in [&mesh, &mesh.rounded()] {
            print(&json!({
                "points": mesh.points().iter().map(DVec3::to_array).collect::<Vec<_>>(),
                "triangles": mesh.triangles(),
                "pairs": self_intersections(mesh),
            }))?;
        }
    }
    Ok(())
}

fn of_lines() -> Result<(), String> {
    for (number, line) in std::io::stdin().lock().lines().enumerate() {
        let mesh = line.map_err(|e| e.to_string()).and_then(|line| Words::of(&line).mesh());
        let mesh = mesh.map_err(|fault| format!("line {}: {fault}", number + 1))?;
        print(&json!(self_intersections(&mesh)))?;
    }
    Ok(())
}

fn print(document: &Value) -> Result<(), String> {
    writeln!(std::io::stdout(), "{document}").map_err(|e| e.to_string())
}
