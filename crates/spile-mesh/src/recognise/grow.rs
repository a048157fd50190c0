//! From a small patch to the whole of a shape.

use super::fit::{Fit, Sample, fit};
use super::judge::Left;
use super::shape::Shape;
use super::start::{self, Facet};
use super::surface::{Cloud, Marks, OnShape, Surface};

/// A point further off than so many standard deviations is not of the shape.
const STRAY: f64 = 3.5;
/// A simpler shape that leaves no more than this over, as a multiple of what
/// the best leaves, explains as well.
const AS_GOOD: f64 = 1.04;
/// Where growing lets the deviation rise by more than this, another kind of
/// shape may explain better.
const WORSE: f64 = 1.2;
/// Growing never lets the deviation rise above so many times that of the first
/// patch: a shape must not win its region by getting worse.
const MOST_WORSE: f64 = 2.0;
/// A first patch is a hypothesis where this share of its area lies on the shape.
const PATCH_SHARE: f64 = 0.7;
/// Rounds of growing; each takes three times as many triangles.
const ROUNDS: usize = 32;
/// Rounds of leaving strays out of a first patch.
const TRIMS: usize = 4;
/// More samples than this are thinned while a shape is sought.
const ENOUGH: usize = 400;

/// Triangles and the shape that they lie on.
#[derive(Debug, Clone)]
pub(super) struct Grown {
    pub(super) triangles: Vec<u32>,
    pub(super) fit: Fit,
    pub(super) facing: f64,
}

/// The simplest shape that explains a patch, if one does.
pub(super) fn hypothesis(
    surface: &Surface,
    marks: &mut Marks,
    taken: &[u32],
    seed: u32,
    size: usize,
) -> Option<Grown> {
    let triangles = surface.patch(marks, taken, seed, size);
    if triangles.len() < 2 {
        return None;
    }
    let cloud = surface.cloud(marks, &triangles);
    let fit = simplest(surface, &triangles, &cloud)?;
    let facing = surface.facing(&triangles, &fit.shape);
    Some(Grown { triangles, fit, facing })
}

/// The same shape over all that hangs together with the patch and lies on it,
/// fitted again as it grows; at most about `most` triangles.
pub(super) fn grown(
    surface: &Surface,
    marks: &mut Marks,
    taken: &[u32],
    from: Grown,
    most: usize,
) -> Option<Grown> {
    let mut now = from;
    let first = now.triangles.clone();
    let allowed = MOST_WORSE * now.fit.sigma.max(surface.rounding);
    let mut limit = (3 * first.len()).min(most);
    for _ in 0..ROUNDS {
        let test = on_shape(surface, &now);
        let triangles = surface.flood(marks, taken, &first, &test, limit);
        if triangles.len() < 2 {
            return None;
        }
        let cloud = surface.cloud(marks, &triangles);
        let samples = thinned(&cloud.samples, most);
        let mut next = fit(now.fit.shape, &samples)?;
        if next.sigma > WORSE * now.fit.sigma.max(surface.rounding)
            && let Some(other) = simplest(surface, &triangles, &cloud)
        {
            next = other;
        }
        if next.sigma > allowed || !Left::over(&next.shape, &cloud).may_grow(surface.rounding) {
            return None;
        }
        let settled = triangles.len() == now.triangles.len() || triangles.len() == most;
        let facing = surface.facing(&triangles, &next.shape);
        let full = triangles.len() == limit && limit < most;
        now = Grown { triangles, fit: next, facing };
        if settled && !full {
            break;
        }
        limit = (3 * limit).min(most);
    }
    Some(now)
}

fn on_shape(surface: &Surface, grown: &Grown) -> OnShape {
    // Rounded coordinates are half a spacing off at most.
    let within = STRAY * grown.fit.sigma + surface.rounding;
    OnShape { shape: grown.fit.shape, within, facing: grown.facing }
}

/// Every so manieth sample, so that about `most` are left.
fn thinned(samples: &[Sample], most: usize) -> Vec<Sample> {
    let most = if most == usize::MAX { usize::MAX } else { ENOUGH };
    let step = samples.len().div_ceil(most.max(1)).max(1);
    samples.iter().step_by(step).copied().collect()
}

/// The simplest shape that leaves about as little over as any.
pub(super) fn simplest(surface: &Surface, triangles: &[u32], cloud: &Cloud) -> Option<Fit> {
    let facets = surface.facets_of(triangles);
    let samples = thinned(&cloud.samples, 0);
    let mut fits: Vec<Fit> = Vec::with_capacity(4);
    let enough = |fit: &Fit| fit.sigma <= surface.rounding;
    for kind in [Kind::Plane, Kind::Sphere, Kind::Cylinder, Kind::Cone] {
        // Two rows of a tube lie on a sphere too, but tell of none.
        if matches!(kind, Kind::Sphere) && cloud.inner == 0 {
            continue;
        }
        // Nothing simpler can be better than what is exact.
        if fits.iter().any(enough) {
            break;
        }
        fits.extend(trimmed(surface, triangles, &samples, &facets, kind));
    }
    let best = fits.iter().map(|f| f.sigma).fold(f64::INFINITY, f64::min);
    let as_good = |f: &&Fit| f.sigma <= (AS_GOOD * best).max(surface.rounding);
    let rank = |f: &Fit| f.shape.parameters();
    fits.iter().filter(as_good).min_by_key(|f| rank(f)).copied()
}

#[derive(Clone, Copy)]
enum Kind {
    Plane,
    Sphere,
    Cylinder,
    Cone,
}

fn starts(kind: Kind, samples: &[Sample], facets: &[Facet]) -> Vec<Shape> {
    let starts = match kind {
        Kind::Plane => vec![start::plane(samples, facets)],
        Kind::Sphere => vec![start::sphere(samples)],
        Kind::Cylinder => vec![start::cylinder(samples, facets)],
        Kind::Cone => vec![
            start::cone(samples, facets),
            start::cylinder(samples, facets).and_then(start::as_cone),
        ],
    };
    starts.into_iter().flatten().collect()
}

/// The best shape of a kind, strays left out; `None` where most of the patch
/// does not lie on it.
fn trimmed(
    surface: &Surface,
    triangles: &[u32],
    samples: &[Sample],
    facets: &[Facet],
    kind: Kind,
) -> Option<Fit> {
    let found = starts(kind, samples, facets).into_iter().filter_map(|s| fit(s, samples));
    let mut now = found.min_by(|a, b| a.rms.total_cmp(&b.rms))?;
    for _ in 0..TRIMS {
        // 1.4826 times the median is the standard deviation of a normal spread.
        let scale = 1.4826 * weighted_median(&now.shape, samples);
        let within = STRAY * scale + surface.rounding;
        let kept: Vec<Sample> = samples
            .iter()
            .filter(|s| now.shape.signed_distance(s.at).abs() <= within)
            .copied()
            .collect();
        if kept.len() == samples.len() {
            break;
        }
        now = fit(now.shape, &kept)?;
    }
    let facing = surface.facing(triangles, &now.shape);
    let within = STRAY * now.sigma + surface.rounding;
    let test = OnShape { shape: now.shape, within, facing };
    let on: f64 = triangles
        .iter()
        .filter(|&&t| surface.lies_on(t, &test))
        .map(|&t| surface.facets[t as usize].area)
        .sum();
    (on >= PATCH_SHARE * surface.area_of(triangles)).then_some(now)
}

/// Half of the weight lies no further from the shape than this.
fn weighted_median(shape: &Shape, samples: &[Sample]) -> f64 {
    let mut distances: Vec<(f64, f64)> =
        samples.iter().map(|s| (shape.signed_distance(s.at).abs(), s.weight)).collect();
    distances.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * distances.iter().map(|d| d.1).sum::<f64>();
    let mut sum = 0.0;
    for (distance, weight) in distances {
        sum += weight;
        if sum >= half {
            return distance;
        }
    }
    0.0
}
