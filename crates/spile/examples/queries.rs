//! Reads an STL file, copies its bytes, builds a tree over it and asks for the
//! closest point to each place of a file of coordinates (`f64`, three a place);
//! prints the processor seconds of each and writes the distances (`f64`) to a
//! third file. For ratios beside a reference library.

use std::hint::black_box;
use std::process::ExitCode;

use serde_json::json;
use spile_mesh::{Bvh, DVec3};

/// Reading and copying are done so often at a stretch, so that the system's count
/// of processor time tells.
const READS: u32 = 8;
const COPIES: u32 = 100;

fn main() -> ExitCode {
    let named: Vec<String> = std::env::args().skip(1).collect();
    let [stl, places, distances] = named.as_slice() else {
        eprintln!("error: three files are needed: STL, places, distances to write");
        return ExitCode::from(2);
    };
    // All on this thread, whose time is taken.
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global();
    match one.map_err(|e| e.to_string()).and_then(|()| measure(stl, places, distances)) {
        Ok(answer) => {
            println!("{answer}");
            ExitCode::SUCCESS
        }
        Err(fault) => {
            eprintln!("error: {fault}");
            ExitCode::from(2)
        }
    }
}

fn measure(stl: &str, places: &str, distances: &str) -> Result<serde_json::Value, String> {
    let said = |e: std::io::Error| e.to_string();
    let bytes = std::fs::read(stl).map_err(said)?;
    let places: Vec<f64> = std::fs::read(places)
        .map_err(said)?
        .chunks_exact(8)
        .map(|b| f64::from_le_bytes(std::array::from_fn(|k| b[k])))
        .collect();
    let copy = || (0..COPIES).for_each(|_| drop(black_box(black_box(&bytes).to_vec())));
    let read = || (0..READS).for_each(|_| drop(black_box(spile_formats::read_bytes(stl, &bytes))));
    let copy_s = timed(copy)?.1 / f64::from(COPIES);
    let read_s = timed(read)?.1 / f64::from(READS);
    let mesh = spile_formats::read_bytes(stl, &bytes).map_err(|e| e.to_string())?.mesh;
    let (tree, build_s) = timed(|| Bvh::build(&mesh))?;
    let ask = |p: &[f64]| tree.closest(DVec3::from_slice(p)).map_or(f64::NAN, |c| c.distance);
    let (found, closest_s) = timed(|| places.chunks_exact(3).map(ask).collect::<Vec<f64>>())?;
    let out: Vec<u8> = found.iter().flat_map(|d| d.to_le_bytes()).collect();
    std::fs::write(distances, out).map_err(said)?;
    Ok(json!({
        "triangles": mesh.triangles().len(),
        "places": found.len(),
        "copy_s": copy_s,
        "read_s": read_s,
        "build_s": build_s,
        "closest_s": closest_s,
    }))
}

/// What `work` gives and the seconds it took this thread.
fn timed<T>(work: impl FnOnce() -> T) -> Result<(T, f64), String> {
    let start = processor_s()?;
    let made = black_box(work());
    Ok((made, processor_s()? - start))
}

/// Processor seconds of this thread so far, as Linux tells.
fn processor_s() -> Result<f64, String> {
    let said = std::fs::read_to_string("/proc/thread-self/schedstat").map_err(|e| e.to_string())?;
    let nanoseconds = said.split_whitespace().next().and_then(|n| n.parse::<f64>().ok());
    Ok(nanoseconds.ok_or("/proc/thread-self/schedstat tells no time")? * 1e-9)
}
