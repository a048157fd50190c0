//! Draws the part in a folder that `spile run` left, cut open at its first fitting:
//! `part_picture FOLDER PNG WIDTH HEIGHT [near]`. With `near` only that end is seen.

use std::error::Error;
use std::path::Path;

use spile_mesh::Mesh;
use spile_proof::Claim;
use spile_report::picture::{Camera, Surface};
use spile_report::views::{cut_open, frame, part_tones, toned};

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let (folder, png, size, is_near) = match words.as_slice() {
        [folder, png, width, height] => (folder, png, [width.parse()?, height.parse()?], false),
        [folder, png, width, height, near] if near == "near" => {
            (folder, png, [width.parse()?, height.parse()?], true)
        }
        _ => return Err("part_picture FOLDER PNG WIDTH HEIGHT [near]".into()),
    };
    let folder = Path::new(folder);
    let text = std::fs::read_to_string(folder.join("case.toml"))?;
    let mut case = spile_case::read_case(&text, "case.toml").map_err(|m| format!("{m:?}"))?;
    let scans = case.scan.files.iter().map(|f| read(&folder.join(f)));
    let scans = scans.collect::<Result<Vec<Mesh>, _>>()?;
    for solid in &mut case.solids {
        let (points, triangles) = read(&folder.join(&solid.file))?.into_parts();
        solid.points = points.into_iter().map(|p| p.to_array()).collect();
        solid.triangles = triangles;
    }
    let part = read(&folder.join("part.stl"))?;
    let labels = Claim::new(&scans, &part, &case)?.look()?.labels();
    let number =
        case.ends.iter().position(|e| e.fitting.is_some()).ok_or("no end has a fitting")?;
    let frame = frame(&case, number, None).ok_or("the fitting's place is not settled")?;
    let (near, cut) = cut_open(&frame);
    let all = part.points().iter().copied();
    let camera = if is_near { near } else { Camera::round(all, near.right(), near.toward_eye()) };
    let picture = toned(&Surface::of(&part), &part_tones(&labels.part), (camera, Some(cut)), size);
    std::fs::write(png, picture.png()?)?;
    println!("{png} drawn");
    Ok(())
}

fn read(path: &Path) -> Result<Mesh, Box<dyn Error>> {
    let bytes = std::fs::read(path).map_err(|e| format!("{}: {e}", path.display()))?;
    Ok(spile_formats::read_bytes(&path.to_string_lossy(), &bytes)?.mesh)
}
