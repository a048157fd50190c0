//! `cargo xtask picture`: draws the demo's finished part off screen, cut open,
//! with scan, joint and tube in tones that the colour-blind can tell apart.

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

/// Kept scan, new surface, tube (blue, orange and a light grey-green).
const TONES: [[f64; 3]; 3] = [[0.16, 0.46, 0.72], [0.90, 0.56, 0.10], [0.74, 0.79, 0.75]];

/// The tube as the settled case gives it.
struct Tube {
    at: V3,
    along: V3,
    bore: f64,
    outside: f64,
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
    let part = stl::read(&made.join("part.stl"))?;
    let scan = stl::read(&folder.join("phantom-invented.stl"))?;
    let tube = tube_of(&made.join("case.toml"))?;
    let tones = tones(&part, &scan, &tube);
    let pixels = draw::draw(&part, &look(&part, tones, &tube), SIZE);
    let path = root().join(PICTURE);
    save(&path, &pixels)?;
    println!("{} drawn", path.display());
    Ok(())
}

/// The tone of each triangle: a scan's triangle has its very corners.
fn tones(part: &[Triangle], scan: &[Triangle], tube: &Tube) -> Vec<[f64; 3]> {
    let kept: HashSet<[[u32; 3]; 3]> = scan.iter().map(corner_bits).collect();
    let tone = |t: &Triangle| {
        if kept.contains(&corner_bits(t)) {
            TONES[0]
        } else if is_of_tube(t, tube) {
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

fn is_of_tube(triangle: &Triangle, tube: &Tube) -> bool {
    let near = tube.outside * 0.01;
    triangle.iter().all(|p| {
        let d = sub(*p, tube.at);
        let s = dot(d, tube.along);
        let radius = (dot(d, d) - s * s).max(0.0).sqrt();
        let on_wall = [tube.bore, tube.outside].iter().any(|w| (radius - 0.5 * w).abs() < near);
        on_wall && (-near..=tube.length + near).contains(&s)
    })
}

fn tube_of(case: &Path) -> Result<Tube, Fault> {
    let text = std::fs::read_to_string(case).map_err(|e| format!("{}: {e}", case.display()))?;
    let case: toml::Table = text.parse().map_err(|e| format!("the settled case: {e}"))?;
    let lacks = || "the settled case has no end with a tube".to_owned();
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
    Ok(Tube {
        at: vector(place.get("at"))?,
        along: unit(vector(place.get("along"))?),
        bore: number(fitting.get("bore"))?,
        outside: number(fitting.get("outside"))?,
        length: number(fitting.get("length"))?,
    })
}

/// Seen from the side, tube to the right, the half toward the eye taken away
/// from a little below the joint to the tube's middle.
fn look(part: &[Triangle], tones: Vec<[f64; 3]>, tube: &Tube) -> Look {
    let toward_eye = unit([0.50, -0.84, 0.20]);
    let right = unit(sub(tube.along, scaled(toward_eye, dot(tube.along, toward_eye))));
    let camera = Camera::round(part, right, toward_eye);
    let middle = [0, 1, 2].map(|k| tube.at[k] - 6.0 * tube.along[k]);
    let cut = CutAway {
        through: middle,
        toward_eye,
        along: tube.along,
        from: -26.0,
        to: 6.0 + 0.55 * tube.length,
    };
    Look { camera, cut, tones }
}

fn scaled(v: V3, by: f64) -> V3 {
    v.map(|c| c * by)
}

fn save(path: &Path, pixels: &[u8]) -> Result<(), Fault> {
    let shown = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
    let file = std::fs::File::create(path).map_err(|e| shown(&e))?;
    let mut encoder = png::Encoder::new(file, SIZE[0] as u32, SIZE[1] as u32);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_compression(png::Compression::High);
    let mut writer = encoder.write_header().map_err(|e| shown(&e))?;
    writer.write_image_data(pixels).map_err(|e| shown(&e))
}
