//! Writes invented ends for the stress suite: `stress OUT FROM COUNT`.
//!
//! Each seed gets a folder with `scan.stl`, `case.toml` and `drawn.txt`. The
//! scenes are made by formula from their seed and share no code with spile.

mod scene;
mod seeded;
mod space;
mod sweep;

use std::path::Path;
use std::{env, fs, io};

use space::{Point, cross, plus};

fn main() -> io::Result<()> {
    let given: Vec<String> = env::args().skip(1).collect();
    let number = |i: usize| given.get(i).and_then(|text| text.parse::<u64>().ok());
    let (Some(out), Some(from), Some(count)) = (given.first(), number(1), number(2)) else {
        return Err(io::Error::other(
            "give a folder, the first seed and how many: stress OUT 0 10",
        ));
    };
    for seed in from..from + count {
        let folder = Path::new(out).join(format!("seed-{seed}"));
        fs::create_dir_all(&folder)?;
        let made = scene::scene(seed);
        written(&folder.join("scan.stl"), &stl(&made.triangles))?;
        written(&folder.join("case.toml"), made.case.as_bytes())?;
        written(&folder.join("drawn.txt"), made.drawn.as_bytes())?;
    }
    Ok(())
}

/// Writes a file, unless it is there as it should be: what was made from it is not
/// older then.
fn written(file: &Path, bytes: &[u8]) -> io::Result<()> {
    if fs::read(file).is_ok_and(|old| old == bytes) { Ok(()) } else { fs::write(file, bytes) }
}

/// Binary STL, whose coordinates the scene has already rounded.
fn stl(triangles: &[[Point; 3]]) -> Vec<u8> {
    let mut bytes = vec![0; 80];
    bytes[..17].copy_from_slice(b"invented by spile");
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for &[a, b, c] in triangles {
        let normal = cross(plus(b, a, -1.0), plus(c, a, -1.0));
        for corner in [normal, a, b, c] {
            bytes.extend(corner.iter().flat_map(|&x| (x as f32).to_le_bytes()));
        }
        bytes.extend([0; 2]);
    }
    bytes
}
