//! `cargo xtask picture`: draws the demo's finished part off screen, cut open,
//! with scan, joint and fitting in tones that the colour-blind can tell apart;
//! with `--real` the parts of the open scans with hard limits, for the guide.

mod draw;
mod stl;

use std::collections::HashSet;
use std::path::Path;
use std::process::Command;

use draw::{Camera, CutAway, Look, V3, dot, sub, unit};
use stl::Triangle;

use crate::{Fault, built_spile, process, root, target};

/// Where the picture goes; the README and the guide show it.
const PICTURE: &str = "docs/src/demo.png";
/// Width and height in pixels.
const SIZE: [usize; 2] = [1400, 640];

/// Kept scan, new surface, fitting (blue, orange and a light grey-green).
const TONES: [[f64; 3]; 3] = [[0.16, 0.46, 0.72], [0.90, 0.56, 0.10], [0.74, 0.79, 0.75]];

/// Where the guide's pictures of parts on open scans go.
const REAL_PICTURES: &str = "docs/src/real";
/// Their width and height in pixels.
const REAL_SIZE: [usize; 2] = [1000, 480];

/// The fitting as the settled case gives it.
struct Fitting {
    at: V3,
    along: V3,
    /// Its bore, or its outside where that is what the case gives.
    across: f64,
    length: f64,
}

/// Runs the demo and draws its part.
pub fn picture() -> Result<(), Fault> {
    let spile = built_spile()?;
    let folder = target().join("picture");
    if folder.exists() {
        std::fs::remove_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    }
    process::run(Command::new(spile).arg("demo").arg("--out").arg(&folder))?;
    let made = folder.join("phantom-out");
    let path = root().join(PICTURE);
    let scan = stl::read(&folder.join("phantom-invented.stl"))?;
    draw_part(&made, &scan, &path, (SIZE, None))
}

/// Runs the cases on open scans whose names end in `-hard` and draws their ends.
pub fn real_pictures() -> Result<(), Fault> {
    let spile = built_spile()?;
    let cases = root().join("tests/real");
    let folder = root().join(REAL_PICTURES);
    std::fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let list = std::fs::read_dir(&cases).map_err(|e| format!("{}: {e}", cases.display()))?;
    let mut files: Vec<_> = list.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.sort();
    for case in files {
        let name = case.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if !name.ends_with("-hard") {
            continue;
        }
        let out = target().join("picture-real").join(&name);
        process::run(Command::new(&spile).arg("run").arg(&case).arg("--out").arg(&out))?;
        let inputs = out.join("inputs");
        let mut scan = Vec::new();
        for file in std::fs::read_dir(&inputs).map_err(|e| format!("{}: {e}", inputs.display()))? {
            let file = file.map_err(|e| format!("{}: {e}", inputs.display()))?;
            scan.extend(stl::read(&file.path())?);
        }
        let path = folder.join(format!("{name}.png"));
        draw_part(&out, &scan, &path, (REAL_SIZE, Some(NEAR)))?;
    }
    Ok(())
}

/// How much round a fitting's near face is drawn, in its widths.
const NEAR: f64 = 1.6;

/// Draws the part in `made`, all of it or what is so `near` to its first fitting.
fn draw_part(
    made: &Path,
    scan: &[Triangle],
    path: &Path,
    (size, near): ([usize; 2], Option<f64>),
) -> Result<(), Fault> {
    let part = stl::read(&made.join("part.stl"))?;
    let fitting = fitting_of(&made.join("case.toml"))?;
    let tones = tones(&part, scan, &fitting);
    let pixels = draw::draw(&part, &look(&part, tones, &fitting, near), size);
    save(path, &pixels, size)?;
    println!("{} drawn", path.display());
    Ok(())
}

/// The tone of each triangle: a scan's triangle has its very corners.
fn tones(part: &[Triangle], scan: &[Triangle], fitting: &Fitting) -> Vec<[f64; 3]> {
    let kept: HashSet<[[u32; 3]; 3]> = scan.iter().map(corner_bits).collect();
    let tone = |t: &Triangle| {
        if kept.contains(&corner_bits(t)) {
            TONES[0]
        } else if is_of_fitting(t, fitting) {
            TONES[2]
        } else {
            TONES[1]
        }
    };
    part.iter().map(tone).collect()
}

/// The corners' bits in an order that does not depend on the winding.
fn corner_bits(triangle: &Triangle) -> [[u32; 3]; 3] {
    let mut bits = triangle.map(|p| p.map(|c| (c as f32 + 0.0).to_bits()));
    bits.sort_unstable();
    bits
}

fn is_of_fitting(triangle: &Triangle, fitting: &Fitting) -> bool {
    let near = fitting.across * 0.01;
    triangle.iter().all(|p| {
        let d = sub(*p, fitting.at);
        let s = dot(d, fitting.along);
        let radius = (dot(d, d) - s * s).max(0.0).sqrt();
        radius < 2.0 * fitting.across && (-near..=fitting.length + near).contains(&s)
    })
}

fn fitting_of(case: &Path) -> Result<Fitting, Fault> {
    let text = std::fs::read_to_string(case).map_err(|e| format!("{}: {e}", case.display()))?;
    let case: toml::Table = text.parse().map_err(|e| format!("the settled case: {e}"))?;
    let lacks = || "the settled case has no end with a fitting".to_owned();
    let ends = case.get("end").and_then(toml::Value::as_array).ok_or_else(lacks)?;
    let end = ends.iter().find(|e| e.get("fitting").is_some()).ok_or_else(lacks)?;
    let number = |v: Option<&toml::Value>| {
        v.and_then(|v| v.as_float().or_else(|| Some(v.as_integer()? as f64))).ok_or_else(lacks)
    };
    let vector = |v: Option<&toml::Value>| {
        let list = v.and_then(toml::Value::as_array).ok_or_else(lacks)?;
        Ok::<V3, Fault>([number(list.first())?, number(list.get(1))?, number(list.get(2))?])
    };
    let fitting = end.get("fitting").ok_or_else(lacks)?;
    let place = end.get("place").ok_or_else(lacks)?;
    Ok(Fitting {
        at: vector(place.get("at"))?,
        along: unit(vector(place.get("along"))?),
        across: number(fitting.get("bore").or_else(|| fitting.get("outside")))?,
        length: number(fitting.get("length"))?,
    })
}

/// Seen from the side, fitting to the right, the half toward the eye taken away
/// from below the joint to the fitting's middle. `near` bounds what is seen, in
/// the fitting's widths round its near face.
fn look(part: &[Triangle], tones: Vec<[f64; 3]>, fitting: &Fitting, near: Option<f64>) -> Look {
    let Fitting { at, along, across, length } = *fitting;
    let first = unit([0.50, -0.84, 0.20]);
    // An eye that looks along the fitting would see no joint.
    let toward_eye = if dot(first, along).abs() < 0.8 { first } else { unit([0.84, 0.50, 0.20]) };
    let right = unit(sub(along, scaled(toward_eye, dot(along, toward_eye))));
    let is_seen = |t: &&Triangle| {
        near.is_none_or(|near| {
            let d = sub(t[0], at);
            dot(d, d) < (near * across).powi(2)
        })
    };
    let seen: Vec<Triangle> = part.iter().filter(is_seen).copied().collect();
    let camera = Camera::round(&seen, right, toward_eye);
    let down = 0.33 * across;
    let through = [0, 1, 2].map(|k| at[k] - down * along[k]);
    // The section runs through the axis, or round walls would look bent.
    let facing = unit(sub(toward_eye, scaled(along, dot(toward_eye, along))));
    let cut = CutAway {
        through,
        toward_eye: facing,
        along,
        from: -1.45 * across,
        to: down + 0.55 * length,
    };
    Look { camera, cut, tones }
}

fn scaled(v: V3, by: f64) -> V3 {
    v.map(|c| c * by)
}

fn save(path: &Path, pixels: &[u8], size: [usize; 2]) -> Result<(), Fault> {
    let shown = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
    let file = std::fs::File::create(path).map_err(|e| shown(&e))?;
    let mut encoder = png::Encoder::new(file, size[0] as u32, size[1] as u32);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_compression(png::Compression::High);
    let mut writer = encoder.write_header().map_err(|e| shown(&e))?;
    writer.write_image_data(pixels).map_err(|e| shown(&e))
}
