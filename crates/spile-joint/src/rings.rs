//! Rings between open rims that no end names.
//!
//! A rim of the bore and a rim of the outside that are each other's nearest are
//! closed by a ring where they lie together as the two edges of one wall do: at
//! every corner of either, the other is nearer than twice the thinnest wall
//! that its own side has within that distance, at least at the triangles there.
//! Any other rim is an error.
//! A ring has no points of its own, so nothing of the scan moves.

mod strip;

use std::collections::BTreeMap;

use spile_mesh::topology::ends;
use spile_mesh::{
    Bounds3, Bvh, DVec3, Mesh, SectionLoop, Topology, boundary_loops, self_intersections_among,
};

use crate::cap::fill_ring;
use crate::close::Dropped;
use crate::ends::area_vector;
use crate::make::MakeError;
use crate::surface::Scan;
use crate::walls::WallSide;
use strip::strips;

/// An open rim that is left.
struct Rim {
    /// Its points in the scan's own direction: the surface on their left.
    points: Vec<u32>,
    /// The same in space.
    line: SectionLoop,
    /// The side of the wall that it ends; none if no end's loop leads there.
    side: Option<WallSide>,
}

impl Rim {
    fn middle(&self) -> DVec3 {
        self.line.points.iter().sum::<DVec3>() / self.line.points.len() as f64
    }

    fn mean_distance(&self, other: &Self) -> f64 {
        let sum: f64 = self.line.points.iter().map(|&p| other.line.distance(p)).sum();
        sum / self.line.points.len() as f64
    }

    /// What it is and where, for a person.
    fn place(&self) -> String {
        let (at, across) =
            (self.middle(), Bounds3::of(self.line.points.iter().copied()).diagonal());
        let side = match self.side {
            Some(WallSide::Bore) => "of the bore",
            Some(WallSide::Outside) => "of the outside",
            None => "of a piece that no end's cut meets",
        };
        format!("the one {side} near ({:.2}, {:.2}, {:.2}), {across:.2} across", at.x, at.y, at.z)
    }
}

/// The rings that close what rims are left, as triangles over the scan's
/// points that face out of the solid, and a sentence on each.
///
/// `gone` tells which triangles are not in the part, `flip` which side's
/// triangles the solid turns round.
///
/// # Errors
/// [`MakeError::Scan`] that names every rim that no ring may close, or the
/// place where a ring would cut through the wall.
pub fn rings(
    scan: &Scan,
    sides: &[Option<WallSide>],
    gone: &Dropped,
    flip: &dyn Fn(WallSide) -> bool,
) -> Result<(Vec<[u32; 3]>, Vec<String>), MakeError> {
    let rims = rims_left(scan, |t| sides[t], gone)?;
    let (mut triangles, mut notes) = (Vec::new(), Vec::new());
    if rims.is_empty() {
        return Ok((triangles, notes));
    }
    let pairs = partners(scan, sides, &rims)?;
    for [bore, outside] in pairs {
        let beside = |t: u32| !gone.contains(t);
        let ring = ring(scan, (&beside, &triangles), &rims[bore], &rims[outside], flip)?;
        let at = rims[outside].middle();
        notes.push(format!(
            "the open rims near ({:.2}, {:.2}, {:.2}), which no end names, are closed by a ring",
            at.x, at.y, at.z
        ));
        triangles.extend(ring);
    }
    Ok((triangles, notes))
}

/// Errs where a scan that is the bore alone has an open rim left.
pub fn none_left(scan: &Scan, gone: &Dropped) -> Result<(), MakeError> {
    let rims = rims_left(scan, |_| Some(WallSide::Bore), gone)?;
    let found: Vec<String> = rims.iter().map(Rim::place).collect();
    if found.is_empty() { Ok(()) } else { Err(unnamed(&found)) }
}

fn unnamed(found: &[String]) -> MakeError {
    let what = match found {
        [one] => format!("the scan has an open rim that no end names: {one}"),
        all => {
            format!("the scan has {} open rims that no end names: {}", all.len(), all.join("; "))
        }
    };
    let hints = vec![
        "name it as an `[[end]]` by `rim` or cut it off by `cut`".into(),
        "if it is a hole in the scan, set `hole_max` above its width".into(),
    ];
    MakeError::Scan { what, hints }
}

/// Errs where a finished part is open all the same.
pub fn nothing_open(part: &Mesh) -> Result<(), MakeError> {
    let topology = Topology::of(part);
    let Some(&h) = topology.boundary().first() else { return Ok(()) };
    let p = part.points()[ends(part, h)[0] as usize];
    Err(unnamed(&[format!("near ({:.2}, {:.2}, {:.2})", p.x, p.y, p.z)]))
}

/// The scan's own rims that the part still has.
fn rims_left(
    scan: &Scan,
    side: impl Fn(usize) -> Option<WallSide>,
    gone: &Dropped,
) -> Result<Vec<Rim>, MakeError> {
    let beside: BTreeMap<[u32; 2], u32> =
        scan.topology.boundary().iter().map(|&h| (ends(&scan.mesh, h), h / 3)).collect();
    let mut rims = Vec::new();
    for points in boundary_loops(&scan.mesh, &scan.topology) {
        let n = points.len();
        let triangles: Vec<u32> =
            (0..n).filter_map(|i| beside.get(&[points[i], points[(i + 1) % n]]).copied()).collect();
        let kept = triangles.iter().filter(|&&t| !gone.contains(t)).count();
        if kept == 0 {
            continue;
        }
        let at = |v: &u32| scan.mesh.points()[*v as usize];
        if kept < n {
            let p = at(&points[0]);
            let what = format!(
                "an open rim that no end names, near ({:.2}, {:.2}, {:.2}), lies at a cut or within reach of an end",
                p.x, p.y, p.z
            );
            let hint = "move that end's cut or make its `reach` shorter, or cut the rim off".into();
            return Err(MakeError::Scan { what, hints: vec![hint] });
        }
        let line = SectionLoop { points: points.iter().map(at).collect(), triangles, closed: true };
        let side = side(line.triangles[0] as usize);
        rims.push(Rim { points, line, side });
    }
    Ok(rims)
}

/// Rims that belong together: bore and outside, as indices.
fn partners(
    scan: &Scan,
    sides: &[Option<WallSide>],
    rims: &[Rim],
) -> Result<Vec<[usize; 2]>, MakeError> {
    let nearest: Vec<Option<usize>> = (0..rims.len())
        .map(|i| {
            let others = (0..rims.len()).filter(|&j| j != i);
            let far = others.map(|j| (rims[i].mean_distance(&rims[j]), j));
            far.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))).map(|(_, j)| j)
        })
        .collect();
    let of_side = |side| {
        let some: Vec<u32> =
            (0..sides.len()).filter(|&t| sides[t] == Some(side)).map(|t| t as u32).collect();
        Bvh::build_of(&scan.mesh, &some)
    };
    let (bore, outside) = (of_side(WallSide::Bore), of_side(WallSide::Outside));
    let (mut pairs, mut found) = (Vec::new(), Vec::new());
    for (i, rim) in rims.iter().enumerate() {
        let why = match nearest[i] {
            None => Some("there is no other to close it with".to_string()),
            Some(j) => {
                let other = &rims[j];
                let sides = [rim.side, other.side];
                let opposite = sides == [Some(WallSide::Bore), Some(WallSide::Outside)]
                    || sides == [Some(WallSide::Outside), Some(WallSide::Bore)];
                let (own, across) = match rim.side {
                    Some(WallSide::Bore) => (&bore, &outside),
                    _ => (&outside, &bore),
                };
                if !opposite {
                    Some("the nearest other is not of the other side of the wall".to_string())
                } else if nearest[j] != Some(i) {
                    Some("the nearest other is nearer to a third".to_string())
                } else {
                    too_far(scan, rim, other, own, across)
                        .or_else(|| too_far(scan, other, rim, across, own))
                }
            }
        };
        match why {
            Some(why) => found.push(format!("{}: {why}", rim.place())),
            None if rim.side == Some(WallSide::Bore) => pairs.extend(nearest[i].map(|j| [i, j])),
            None => {}
        }
    }
    if found.is_empty() { Ok(pairs) } else { Err(unnamed(&found)) }
}

/// Why the two rims are not the edges of one wall, seen from `rim`.
fn too_far(scan: &Scan, rim: &Rim, other: &Rim, own: &Bvh, across: &Bvh) -> Option<String> {
    rim.line.points.iter().find_map(|&p| {
        let gap = other.line.distance(p);
        let near = Bounds3 { min: p - DVec3::splat(gap), max: p + DVec3::splat(gap) };
        let mut wall = f64::INFINITY;
        own.for_each_touching(near, &mut |t| {
            let corners = scan.mesh.corners(t as usize);
            // Beside the place itself also where its triangles are larger.
            let is_here = corners.contains(&p);
            for q in corners {
                if is_here || q.distance(p) <= gap {
                    wall = wall.min(across.closest(q).map_or(f64::INFINITY, |c| c.distance));
                }
            }
        });
        (gap >= 2.0 * wall).then(|| {
            format!("the nearest other lies up to {gap:.2} away, twice the wall of {wall:.2} beside it or more")
        })
    })
}

/// What a ring must not meet: which of the scan's triangles stay, and the rings
/// made so far.
type Beside<'a> = (&'a dyn Fn(u32) -> bool, &'a [[u32; 3]]);

/// The ring between two rims, facing out of the solid, that meets neither
/// itself nor what stays of the scan.
fn ring(
    scan: &Scan,
    beside: Beside<'_>,
    bore: &Rim,
    outside: &Rim,
    flip: &dyn Fn(WallSide) -> bool,
) -> Result<Vec<[u32; 3]>, MakeError> {
    // In the solid's direction; the ring runs along its edges the other way.
    let directed = |rim: &Rim, side: WallSide| {
        let mut points: Vec<(u32, DVec3)> =
            rim.points.iter().copied().zip(rim.line.points.iter().copied()).collect();
        if flip(side) {
            points.reverse();
        }
        points
    };
    let inner = directed(bore, WallSide::Bore);
    let outer = directed(outside, WallSide::Outside);
    // Off the solid, as either rim sees it: the outer one runs clockwise.
    let place = |l: &[(u32, DVec3)]| area_vector(l.iter().map(|p| p.1)).normalize_or_zero();
    let facing = [place(&inner), -place(&outer)];
    let mut candidates = strips(&outer, &inner, facing[0]);
    for normal in facing {
        candidates.extend(fill_ring(&[outer.clone(), inner.clone()], normal).ok());
    }
    // Seen along the bore the ring should cover the wall once. At saw teeth
    // that overhang no ring does.
    candidates.retain(|ring| !is_folded(scan, ring, facing[0]));
    let at = outside.middle();
    let mut why = "would fold over at its teeth".to_string();
    for ring in candidates {
        match meets(scan, beside, &ring) {
            None => return Ok(ring),
            Some(p) => {
                why = format!("meets the wall or itself near ({:.2}, {:.2}, {:.2})", p.x, p.y, p.z);
            }
        }
    }
    Err(MakeError::Scan {
        what: format!(
            "the ring that would close the open rims near ({:.2}, {:.2}, {:.2}) {why}",
            at.x, at.y, at.z
        ),
        hints: vec![
            "name them as a plain `[[end]]`, by `rim` with `trim` or by a `cut` a little below"
                .into(),
        ],
    })
}

/// Whether a triangle does not face `facing`.
fn is_folded(scan: &Scan, ring: &[[u32; 3]], facing: DVec3) -> bool {
    ring.iter().any(|t| {
        let [a, b, c] = t.map(|v| scan.mesh.points()[v as usize]);
        (b - a).cross(c - a).dot(facing) <= 0.0
    })
}

/// A place where the ring meets itself or other triangles, where it must not.
fn meets(scan: &Scan, (stays, rings): Beside<'_>, ring: &[[u32; 3]]) -> Option<DVec3> {
    let at = |v: u32| scan.mesh.points()[v as usize];
    let room = Bounds3::of(ring.iter().flatten().map(|&v| at(v)));
    let mut near = Vec::new();
    scan.bvh.for_each_touching(room, &mut |t| {
        if stays(t) {
            near.push(t);
        }
    });
    near.sort_unstable();
    let mut triangles: Vec<[u32; 3]> = near
        .iter()
        .map(|&t| scan.mesh.triangles()[t as usize])
        .chain(rings.iter().copied())
        .collect();
    let first = triangles.len() as u32;
    triangles.extend(ring);
    let mesh = Mesh::of_used(scan.mesh.points(), triangles).unwrap_or_default();
    let of_ring: Vec<u32> = (first..mesh.triangles().len() as u32).collect();
    let pair = self_intersections_among(&mesh, &of_ring).first().copied();
    let flat = of_ring.iter().copied().find(|&t| mesh.area_normal(t as usize) == DVec3::ZERO);
    let t = pair.map(|(a, b)| a.max(b)).or(flat)?;
    Some(mesh.corners(t as usize).iter().sum::<DVec3>() / 3.0)
}
