//! What a scan shows at a look: its open ends, and its defects by what they do
//! to the job.

use spile_case::Unit;
use spile_mesh::{DVec3, Mesh, Topology, boundary_loops, self_intersections, shells, topology};

use crate::starter::FoundEnd;

/// What a defect does to the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Effect {
    /// The part cannot close while it is there.
    StopsClosing,
    /// It lies near an end, where a joint would be made.
    WithinReach,
    /// It lies where nothing is changed.
    Elsewhere,
}

impl Effect {
    /// Its words in outputs.
    pub fn words(self) -> &'static str {
        match self {
            Effect::StopsClosing => "stops closing",
            Effect::WithinReach => "within reach",
            Effect::Elsewhere => "elsewhere",
        }
    }
}

/// Defects of one kind and effect.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Finding {
    /// The kind, spelled as mends are.
    pub kind: &'static str,
    /// What they do.
    pub effect: Effect,
    /// The place of the largest.
    pub at: DVec3,
    /// How many there are.
    pub count: usize,
    /// How far the largest reaches across.
    pub size: f64,
}

/// What a scan shows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Survey {
    /// Pieces that are connected through edges.
    pub shells: usize,
    /// Whether every edge has exactly two triangles that agree.
    pub closed: bool,
    /// Defects, worst effect first.
    pub findings: Vec<Finding>,
    /// Open ends, the largest first.
    pub ends: Vec<FoundEnd>,
}

/// A lone rim less than this share of the largest is a hole, not an end.
const END_OF_LARGEST_SHARE: f64 = 0.25;
/// A triangle lower than its longest edge over this is a needle.
const NEEDLE_ASPECT: f64 = 100.0;
/// A loop is a hole if it is smaller across than this many median edges.
const HOLE_OF_EDGE: f64 = 2.0;

/// A bore narrower than this share of the outside is none of it.
const BORE_OF_OUTSIDE_SHARE: f64 = 0.4;
/// More large rims than this are no ends of one scan, but holes.
const MOST_RIMS: usize = 256;

/// Looks at a scan.
///
/// Cost: O(n log n), with the exact test for self-intersections.
pub(crate) fn survey(mesh: &Mesh) -> Survey {
    let topology = Topology::of(mesh);
    let sides = boundary_sides(mesh, &topology);
    let mut rims: Vec<Rim> =
        boundary_loops(mesh, &topology).iter().map(|l| Rim::of(mesh, &sides, l)).collect();
    rims.sort_by(|a, b| b.diameter.total_cmp(&a.diameter));
    let hole_max = HOLE_OF_EDGE * median_edge(mesh);
    let open = rims.iter().take_while(|r| r.diameter >= hole_max).count().min(MOST_RIMS);
    let mut holes: Vec<Spot> = rims.split_off(open).iter().map(Rim::spot).collect();
    let largest = rims.first().map_or(0.0, |r| r.diameter);
    let mut ends = Vec::new();
    for (bore, outside) in pair(&rims) {
        // A small rim is an end's only where the other wall ends there too.
        if outside.is_none() && bore.diameter < END_OF_LARGEST_SHARE * largest {
            holes.push(bore.spot());
        } else {
            ends.push(found_end(bore, outside));
        }
    }
    let mut findings = Vec::new();
    for (kind, spots) in defects(mesh, &topology, holes) {
        let stops = matches!(kind, "hole" | "non-manifold-edge" | "flipped");
        findings.extend(grouped(kind, &spots, stops, &ends));
    }
    findings.sort_by(|a, b| a.effect.cmp(&b.effect).then(a.kind.cmp(b.kind)));
    Survey { shells: shells(mesh, &topology).count, closed: topology.is_closed(), findings, ends }
}

/// The unit in which this size, the longest side of a box, would be a part
/// that is held in a hand or carried: from 15 mm to 1.5 m.
pub(crate) fn guess_unit(longest: f64) -> Unit {
    match longest {
        x if x >= 15.0 => Unit::Millimetre,
        x if x >= 1.5 => Unit::Centimetre,
        _ => Unit::Metre,
    }
}

/// The length of the edge in the middle by length.
fn median_edge(mesh: &Mesh) -> f64 {
    let sides = (0..mesh.triangles().len()).flat_map(|t| side_lengths(mesh.corners(t)));
    let mut lengths: Vec<f64> = sides.collect();
    let middle = lengths.len() / 2;
    if lengths.is_empty() {
        return 0.0;
    }
    *lengths.select_nth_unstable_by(middle, f64::total_cmp).1
}

fn side_lengths([a, b, c]: [DVec3; 3]) -> [f64; 3] {
    [a.distance(b), b.distance(c), c.distance(a)]
}

/// A boundary edge by its points, and the way from its middle into its triangle.
type Side = ([u32; 2], DVec3);

fn boundary_sides(mesh: &Mesh, connectivity: &Topology) -> Vec<Side> {
    let at = |i: u32| mesh.points()[i as usize];
    let side = |&h: &u32| {
        let [a, b] = topology::ends(mesh, h);
        let apex = topology::ends(mesh, topology::next(h))[1];
        ([a, b], at(apex) - 0.5 * (at(a) + at(b)))
    };
    let mut sides: Vec<Side> = connectivity.boundary().iter().map(side).collect();
    sides.sort_by_key(|s| s.0);
    sides
}

/// An open loop.
struct Rim {
    centre: DVec3,
    on_rim: DVec3,
    /// Unit, off the scan.
    direction: DVec3,
    /// Of the circle of its area.
    diameter: f64,
}

impl Rim {
    fn of(mesh: &Mesh, boundary: &[Side], points: &[u32]) -> Rim {
        let at = |i: u32| mesh.points()[i as usize];
        let n = points.len();
        let centre = points.iter().map(|&i| at(i)).sum::<DVec3>() / n.max(1) as f64;
        let area: DVec3 = (0..n)
            .map(|k| [at(points[k]), at(points[(k + 1) % n])])
            .map(|[a, b]| 0.5 * (a - centre).cross(b - centre))
            .sum();
        // The sum over the loop points one way or the other, as the wall is
        // turned; off the scan is where its triangles are not.
        let mut normal = area.normalize_or_zero();
        let inside: f64 = (0..n)
            .filter_map(|k| {
                let side = [points[k], points[(k + 1) % n]];
                boundary.binary_search_by_key(&side, |s| s.0).ok().map(|i| boundary[i].1)
            })
            .map(|inward| inward.dot(normal))
            .sum();
        if inside > 0.0 {
            normal = -normal;
        }
        let diameter = (4.0 * area.length() / std::f64::consts::PI).sqrt();
        Rim {
            centre,
            on_rim: points.first().map_or(centre, |&i| at(i)),
            direction: normal,
            diameter,
        }
    }

    fn spot(&self) -> Spot {
        (self.centre, self.diameter)
    }
}

/// Rims of the two walls of one end are each other's nearest, nearer than the
/// larger's radius, and face one way.
fn pair(rims: &[Rim]) -> Vec<(&Rim, Option<&Rim>)> {
    let alike = |a: &Rim, b: &Rim| {
        let (small, large) = (a.diameter.min(b.diameter), a.diameter.max(b.diameter));
        a.direction.dot(b.direction) > 0.5 && small >= BORE_OF_OUTSIDE_SHARE * large
    };
    let nearest = |k: usize| {
        (0..rims.len())
            .filter(|&j| j != k && alike(&rims[j], &rims[k]))
            .map(|j| (rims[j].centre.distance(rims[k].centre), j))
            .filter(|&(d, j)| d < 0.5 * rims[j].diameter.max(rims[k].diameter))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .map(|(_, j)| j)
    };
    let nearest: Vec<Option<usize>> = (0..rims.len()).map(nearest).collect();
    let mut pairs = Vec::new();
    for k in 0..rims.len() {
        match nearest[k].filter(|&j| nearest[j] == Some(k)) {
            // Rims come largest first: the later one is the bore's.
            Some(j) if j > k => pairs.push((&rims[j], Some(&rims[k]))),
            Some(_) => {}
            None => pairs.push((&rims[k], None)),
        }
    }
    pairs
}

fn found_end(bore: &Rim, outside: Option<&Rim>) -> FoundEnd {
    FoundEnd {
        centre: bore.centre,
        on_rim: bore.on_rim,
        direction: bore.direction,
        bore: Some(bore.diameter),
        outside: outside.map(|r| r.diameter),
    }
}

/// Where a defect is, and how far it reaches across.
type Spot = (DVec3, f64);

fn defects(
    mesh: &Mesh,
    connectivity: &Topology,
    holes: Vec<Spot>,
) -> Vec<(&'static str, Vec<Spot>)> {
    let edge = |h: u32| {
        let [a, b] = topology::ends(mesh, h).map(|i| mesh.points()[i as usize]);
        (0.5 * (a + b), a.distance(b))
    };
    let triangle = |t: usize| {
        let corners = mesh.corners(t);
        let size = side_lengths(corners).into_iter().fold(0.0, f64::max);
        ((corners[0] + corners[1] + corners[2]) / 3.0, size)
    };
    let mut keys: Vec<([u32; 3], usize)> = mesh
        .triangles()
        .iter()
        .enumerate()
        .map(|(t, &corners)| {
            let mut key = corners;
            key.sort_unstable();
            (key, t)
        })
        .collect();
    keys.sort_unstable();
    let repeats = keys.windows(2).filter(|w| w[0].0 == w[1].0).map(|w| triangle(w[1].1));
    let (mut flat, mut needles) = (Vec::new(), Vec::new());
    for t in 0..mesh.triangles().len() {
        let (double_area, spot) = (mesh.area_normal(t).length(), triangle(t));
        if double_area == 0.0 {
            flat.push(spot);
        } else if double_area * NEEDLE_ASPECT < spot.1 * spot.1 {
            needles.push(spot);
        }
    }
    let shared = connectivity.nonmanifold_edges();
    vec![
        ("hole", holes),
        (
            "non-manifold-edge",
            shared.iter().filter_map(|e| e.half_edges.first().map(|&h| edge(h))).collect(),
        ),
        ("flipped", connectivity.misoriented_edges().iter().map(|e| edge(e[0])).collect()),
        ("duplicate", repeats.collect()),
        ("degenerate", flat),
        ("needle", needles),
        (
            "self-intersection",
            self_intersections(mesh).iter().map(|&(a, _)| triangle(a as usize)).collect(),
        ),
    ]
}

/// The spots of one kind, put together by what they do.
fn grouped(kind: &'static str, spots: &[Spot], stops: bool, ends: &[FoundEnd]) -> Vec<Finding> {
    let effect_of = |at: DVec3| {
        let near = |e: &FoundEnd| e.centre.distance(at) < e.outside.or(e.bore).unwrap_or(0.0);
        match () {
            () if stops => Effect::StopsClosing,
            () if ends.iter().any(near) => Effect::WithinReach,
            () => Effect::Elsewhere,
        }
    };
    let mut found: Vec<Finding> = Vec::new();
    for &(at, size) in spots {
        let effect = effect_of(at);
        match found.iter_mut().find(|f| f.effect == effect) {
            Some(finding) => {
                finding.count += 1;
                if size > finding.size {
                    (finding.at, finding.size) = (at, size);
                }
            }
            None => found.push(Finding { kind, effect, at, count: 1, size }),
        }
    }
    found
}
