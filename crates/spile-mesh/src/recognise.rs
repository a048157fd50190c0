//! Regions of a mesh that really are a plane, sphere, cylinder or cone, and
//! loops that really are circles.

mod circle;
mod evidence;
mod extent;
mod fit;
mod grow;
mod judge;
mod prune;
mod shape;
mod start;
mod surface;
#[cfg(test)]
mod tests;

use rayon::prelude::*;

pub use circle::{Circle, fit_circle};
pub use extent::Extent;
pub use fit::{Fit, Sample, StandardErrors, fit};
pub use shape::Shape;

use crate::{Mesh, Topology};
use evidence::{is_shape, may_be_shape};
use grow::{Grown, grown, hypothesis, simplest};
use judge::Left;
use prune::pruned;
use surface::{FREE, Marks, Surface};

/// A region of a mesh that really is a simple shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Recognised {
    /// The shape, what is left over, and how well it is known.
    pub fit: Fit,
    /// How much of it is there.
    pub extent: Extent,
    /// Whether the facets face the axis or centre: a bore, not a boss. False for
    /// a plane.
    pub is_hollow: bool,
    /// Whether nothing but rounding of coordinates is left over.
    pub is_exact: bool,
    /// Its triangles, rising.
    pub triangles: Vec<u32>,
}

/// Places where a search begins, spread evenly over the area: a region of the
/// least share is met six times on average.
const SEEDS: usize = 2048;
/// The first of them also look for shapes with noise on them, which are larger.
const NOISY_SEEDS: usize = 192;
/// So many of them are looked at together, before what was found is taken out.
const AT_ONCE: usize = 64;
/// Triangles of the first patch where facets are exact, and where noise hides
/// the shape.
const EXACT_PATCHES: [usize; 2] = [2, 16];
const NOISY_PATCHES: [usize; 2] = [100, 400];
/// A first look grows no further.
const FIRST_LOOK: usize = 1600;

/// Regions of `mesh` that really are planes, spheres, cylinders or cones, the
/// largest first.
///
/// From seeds spread over the area, small patches are explained by the simplest
/// shape that leaves about as little over as any (plane, then sphere and
/// cylinder, then cone), grown over what lies on it by distance and normal,
/// trimmed of what leaked in, and fitted again by orthogonal distance. A region
/// counts where what is left over is rounding, or is noise that is independent
/// from point to point and small against the shape's size. A smooth surface that
/// merely resembles a shape leaves lumps, in which neighbours agree, and is not
/// reported. Of exact facets, a round shape needs points that its facets
/// surround, or a full turn with sharp ends; of noisy ones, 200 degrees and half
/// a radius of length. Exact regions below 0.3 % of the area are not looked for,
/// nor noisy ones below 2 %. Facets count as round from twelve sides to the turn
/// up. Noise that was smoothed is not independent: shapes with such noise are
/// missed rather than guessed.
///
/// Shape: any mesh; regions do not cross edges that are not manifold.
/// Accuracy: least squares with standard errors; what is found or missed is a
/// heuristic and certifies nothing.
/// Cost: O(n log n); the search is bounded whatever the mesh.
/// # Source
/// Region growing after Besl and Jain 1988; the simplest model that explains as
/// in Leonardis, Gupta and Bajcsy 1995; lumps told as in an analysis of variance by blocks.
pub fn recognise(mesh: &Mesh, topology: &Topology) -> Vec<Recognised> {
    let surface = Surface::of(mesh, topology);
    if !(surface.area.is_finite() && surface.area > 0.0) {
        return Vec::new();
    }
    let mut taken = vec![FREE; mesh.triangles().len()];
    let mut marks = Marks::of(mesh);
    let mut found: Vec<Grown> = Vec::new();
    for (round, seeds) in seeds(&surface).chunks(AT_ONCE).enumerate() {
        let free: Vec<u32> = seeds.iter().copied().filter(|&t| taken[t as usize] == FREE).collect();
        let halves: Vec<&[u32]> = free.chunks(AT_ONCE / 4).collect();
        let noisy = round * AT_ONCE < NOISY_SEEDS;
        let looks: Vec<Vec<Grown>> = halves
            .par_iter()
            .map(|seeds| {
                let mut marks = Marks::of(mesh);
                seeds
                    .iter()
                    .filter_map(|&seed| first_look(&surface, &mut marks, &taken, seed, noisy))
                    .collect()
            })
            .collect();
        let mut looks: Vec<Grown> = looks.into_iter().flatten().collect();
        looks.sort_by(|a, b| {
            let area = |g: &Grown| surface.area_of(&g.triangles);
            area(b).total_cmp(&area(a)).then(a.triangles[0].cmp(&b.triangles[0]))
        });
        for look in looks {
            if look.triangles.iter().any(|&t| taken[t as usize] != FREE) {
                continue;
            }
            let whole = grown(&surface, &mut marks, &taken, look, usize::MAX)
                .and_then(|g| pruned(&surface, &mut marks, g))
                .and_then(|g| settled(&surface, &mut marks, g))
                .filter(|g| is_shape(&surface, &mut marks, g));
            if let Some(whole) = whole {
                whole.triangles.iter().for_each(|&t| taken[t as usize] = found.len() as u32);
                found.push(whole);
            }
        }
    }
    let mut shapes: Vec<Recognised> =
        found.into_iter().map(|g| told(&surface, &mut marks, g)).collect();
    shapes.sort_by(|a, b| {
        b.extent.area.total_cmp(&a.extent.area).then(a.triangles[0].cmp(&b.triangles[0]))
    });
    shapes
}

/// Triangles at even steps of the summed area, in an order that spreads early
/// ones widely (van der Corput).
fn seeds(surface: &Surface) -> Vec<u32> {
    let step = surface.area / SEEDS as f64;
    let mut places: Vec<u32> = Vec::with_capacity(SEEDS);
    let mut sum = 0.0;
    for (t, facet) in surface.facets.iter().enumerate() {
        sum += facet.area;
        while places.len() < SEEDS && sum >= step * (places.len() as f64 + 0.5) {
            places.push(t as u32);
        }
    }
    let bits = SEEDS.trailing_zeros();
    let mut order: Vec<u32> = (0..SEEDS as u32)
        .map(|k| k.reverse_bits() >> (u32::BITS - bits))
        .filter_map(|k| places.get(k as usize).copied())
        .collect();
    let mut seen = std::collections::HashSet::new();
    order.retain(|&t| seen.insert(t));
    order
}

/// The largest region about a seed that may be a shape, as far as a first look
/// goes: an exact one, or else one with noise on it.
fn first_look(
    surface: &Surface,
    marks: &mut Marks,
    taken: &[u32],
    seed: u32,
    noisy: bool,
) -> Option<Grown> {
    let mut best: Option<(f64, Grown)> = None;
    let mut look = |marks: &mut Marks, patch: Grown| {
        let look = grown(surface, marks, taken, patch, FIRST_LOOK)?;
        let is_whole = look.triangles.len() < FIRST_LOOK;
        let fits = if is_whole && look.fit.sigma <= surface.rounding {
            is_shape(surface, marks, &look)
        } else {
            may_be_shape(surface, marks, &look)
        };
        let area = surface.area_of(&look.triangles);
        if fits && best.as_ref().is_none_or(|(most, _)| area > *most) {
            best = Some((area, look));
        }
        Some(())
    };
    for size in EXACT_PATCHES {
        match hypothesis(surface, marks, taken, seed, size) {
            Some(patch) if patch.fit.sigma <= surface.rounding => look(marks, patch),
            _ => None,
        };
    }
    for size in NOISY_PATCHES.into_iter().filter(|_| noisy) {
        // What a small patch shows to be of another form, a large one does too.
        match hypothesis(surface, marks, taken, seed, size) {
            Some(patch) if may_be_shape(surface, marks, &patch) => look(marks, patch),
            _ => break,
        };
    }
    best.map(|(_, look)| look)
}

/// The simplest shape that explains the whole region, for it may be another
/// than the one it was grown by.
fn settled(surface: &Surface, marks: &mut Marks, whole: Grown) -> Option<Grown> {
    let cloud = surface.cloud(marks, &whole.triangles);
    let simple = simplest(surface, &whole.triangles, &cloud)?;
    let mut fit = fit(simple.shape, &cloud.samples)?;
    // A taper that noise hides is none.
    if let Shape::Cone { through, axis, radius, half_angle_rad } = fit.shape {
        let length = extent::extent(surface, &whole.triangles, &fit.shape).length;
        if (half_angle_rad.tan() * length).abs() < fit.sigma
            && let Some(straight) =
                self::fit(Shape::Cylinder { through, axis, radius }, &cloud.samples)
        {
            fit = straight;
        }
    }
    let facing = surface.facing(&whole.triangles, &fit.shape);
    Some(Grown { fit, facing, ..whole })
}

fn told(surface: &Surface, marks: &mut Marks, grown: Grown) -> Recognised {
    let Grown { mut triangles, mut fit, facing } = grown;
    let cloud = surface.cloud(marks, &triangles);
    let is_exact = Left::over(&fit.shape, &cloud).is_rounding(surface.rounding);
    if let Shape::Plane { through, normal } = fit.shape {
        fit.shape = Shape::Plane { through, normal: normal * facing };
    }
    triangles.sort_unstable();
    Recognised {
        extent: extent::extent(surface, &triangles, &fit.shape),
        is_hollow: facing < 0.0 && !matches!(fit.shape, Shape::Plane { .. }),
        fit,
        is_exact,
        triangles,
    }
}
