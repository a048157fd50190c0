//! Writes the demo's invented phantom with a wanted number of triangles, and
//! its case beside it: `phantom TRIANGLES FOLDER`.

use std::path::PathBuf;
use std::process::ExitCode;

use spile::demo;
use spile_mesh::Mesh;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [count, folder] = words.as_slice() else {
        eprintln!("usage: phantom TRIANGLES FOLDER");
        return ExitCode::from(2);
    };
    let outcome = match count.parse() {
        Ok(count) => write(&demo::phantom_of_size(count), &PathBuf::from(folder)),
        Err(error) => Err(std::io::Error::other(format!("{count}: {error}"))),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::from(2)
        }
    }
}

fn write(mesh: &Mesh, folder: &std::path::Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("phantom.toml"), demo::case_text())?;
    // Binary STL by hand: 80 bytes of text, a count, and 50 bytes a triangle.
    let mut bytes = format!("{:<80}", demo::ORIGIN).into_bytes();
    bytes.truncate(80);
    bytes.extend((mesh.triangles().len() as u32).to_le_bytes());
    for t in 0..mesh.triangles().len() {
        bytes.extend([0; 12]);
        for corner in mesh.corners(t) {
            for coordinate in corner.to_array() {
                bytes.extend((coordinate as f32).to_le_bytes());
            }
        }
        bytes.extend([0; 2]);
    }
    std::fs::write(folder.join(demo::SCAN_NAME), bytes)
}
