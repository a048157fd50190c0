//! `compare`: the certified two-sided distance of two surfaces.

use serde::Serialize;
use spile_mesh::{Bounds, Mesh, hausdorff};

use crate::answer::Answer;
use crate::args::CompareArgs;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::read_mesh;
use crate::progress::Progress;
use crate::table::{Align, Table};

/// Bounds no further apart than the size over this, if nothing is asked.
const SIZE_OVER_GAP: f64 = 1e4;

#[derive(Serialize)]
struct Document {
    a: String,
    b: String,
    bounds: [f64; 2],
    a_to_b: [f64; 2],
    b_to_a: [f64; 2],
    #[serde(rename = "where")]
    where_: [f64; 3],
    /// How far apart the bounds may be: as asked, or by default.
    within: f64,
    /// Whether all three are no further apart.
    reached: bool,
}

/// Bounds the distance of two surfaces, each way and both.
pub(crate) fn compare(args: &CompareArgs) -> Result<Answer, Failure> {
    let ((a, mesh_a), (b, mesh_b)) = (read_mesh(&args.a)?, read_mesh(&args.b)?);
    if let (Some(of_a), Some(of_b)) = (a.unit, b.unit)
        && of_a != of_b
    {
        return Err(Failure::new(format!(
            "the files state different units: {} and {}",
            of_a.symbol(),
            of_b.symbol()
        ))
        .hint("nothing is scaled: export both in one unit"));
    }
    let gap = args.within.unwrap_or_else(|| size(&mesh_a).max(size(&mesh_b)) / SIZE_OVER_GAP);
    let progress = Progress::new(1);
    spile_joint::Watch::step(&progress, "compare", None);
    let distance = hausdorff(&mesh_a, &mesh_b, gap);
    progress.done();
    let both = distance.bounds();
    let range = |b: Bounds| [b.lo, b.hi];
    let ways = [distance.a_to_b, distance.b_to_a, both];
    let reached = ways.iter().all(|b| b.hi - b.lo <= gap);
    let document = Document {
        a: a.name,
        b: b.name,
        bounds: range(both),
        a_to_b: range(distance.a_to_b),
        b_to_a: range(distance.b_to_a),
        where_: both.at.to_array(),
        within: gap,
        reached,
    };
    let mut table = Table::new(&[
        ("distance", Align::Left),
        ("at least", Align::Right),
        ("at most", Align::Right),
        ("where", Align::Left),
    ]);
    for (name, bounds) in
        [("from A to B", distance.a_to_b), ("from B to A", distance.b_to_a), ("both ways", both)]
    {
        let [x, y, z] = bounds.at.to_array();
        let decimals = decimals_of(gap);
        table.row([
            name.to_owned(),
            // Outward, so that what is printed is a bound still.
            rounded(bounds.lo, decimals, f64::floor),
            rounded(bounds.hi, decimals, f64::ceil),
            format!("{x:.2}, {y:.2}, {z:.2}"),
        ]);
    }
    let mut text = format!("A: {}\nB: {}\n{}", document.a, document.b, table.text());
    // What was asked for and not reached is no answer to what was asked.
    let ending = if reached || args.within.is_none() { Ending::Held } else { Ending::Broken };
    if !reached {
        text.push_str(&not_reached(&ways, gap));
    }
    Ok(Answer::new(ending, text, &document))
}

/// A line that says how close the bounds came, and why no closer.
fn not_reached(ways: &[Bounds], gap: f64) -> String {
    let apart = ways.iter().map(|b| b.hi - b.lo).fold(0.0, f64::max);
    format!(
        "the bounds hold, but lie up to {apart:.3e} apart and not within {gap:.3e}: the surfaces \
         are too large or too fine for that, or it is less than rounding leaves\nhint: ask for \
         `--within {:.1e}` or more\n",
        2.0 * apart
    )
}

/// The diagonal of the mesh's box.
fn size(mesh: &Mesh) -> f64 {
    let bounds = mesh.bounds();
    (bounds.max - bounds.min).length()
}

/// Decimals that show a tenth of `gap`.
fn decimals_of(gap: f64) -> usize {
    (1.0 - gap.log10().floor()).clamp(0.0, 12.0) as usize
}

fn rounded(x: f64, decimals: usize, outward: fn(f64) -> f64) -> String {
    let scale = 10f64.powi(decimals as i32);
    let scaled = x * scale;
    let x = if scaled.is_finite() { outward(scaled) / scale } else { x };
    format!("{:.decimals$}", x.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::{decimals_of, rounded};

    #[test]
    fn bounds_are_rounded_outward() {
        assert_eq!(decimals_of(0.001), 4);
        assert_eq!(rounded(5.196152, 4, f64::floor), "5.1961");
        assert_eq!(rounded(5.196152, 4, f64::ceil), "5.1962");
        assert_eq!(rounded(-1e-16, 4, f64::floor), "0.0000");
    }
}
