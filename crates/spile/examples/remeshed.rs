//! Remeshes each patch on standard input and prints what came out and its
//! certified bounds, one JSON document a line. A line states the wanted edge
//! length, the deviation, then the mesh in numbers.

mod numbers;

use std::io::{BufRead, Write};
use std::process::ExitCode;

use numbers::Words;
use serde_json::{Value, json};
use spile_mesh::{DVec3, RemeshOptions, remesh};

fn main() -> ExitCode {
    for (number, line) in std::io::stdin().lock().lines().enumerate() {
        let answer = line.map_err(|e| e.to_string()).and_then(|line| remeshed(&line));
        let said = answer
            .and_then(|answer| writeln!(std::io::stdout(), "{answer}").map_err(|e| e.to_string()));
        if let Err(fault) = said {
            eprintln!("error: line {}: {fault}", number + 1);
            return ExitCode::from(2);
        }
    }
    ExitCode::SUCCESS
}

fn remeshed(line: &str) -> Result<Value, String> {
    let mut words = Words::of(line);
    let (edge, deviation) = (words.next()?, words.next()?);
    let patch = words.mesh()?;
    let size = |_: DVec3| edge;
    let made = remesh(&patch, &RemeshOptions::new(&size, deviation)).map_err(|e| e.to_string())?;
    Ok(json!({
        "points": made.mesh.points().iter().map(DVec3::to_array).collect::<Vec<_>>(),
        "triangles": made.mesh.triangles(),
        "old_to_new": made.deviation.a_to_b.hi,
        "new_to_old": made.deviation.b_to_a.hi,
    }))
}
