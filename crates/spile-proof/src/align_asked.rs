//! Whether a settled case has its places where the asked one has them on its own scan.
//!
//! The motion between the two scans is a claim of the settled case. Here it must be a
//! rotation and a shift that lay the first scan on the other, by distances that the
//! proof measures itself, and each place of the settled case the asked one's so moved.
//! That no other pose fits as well is not judged.

use spile_case::{
    Align, Case, Clear, Keep, Motion, Onward, Place, Site, Tilt, Vec3, Wall, unit_direction,
};
use spile_mesh::{Bvh, DVec3, Mesh};

/// A fit leaves out at most this share of the first scan's area,
const MOST_LEFT_OUT: f64 = 0.4;
/// and its root mean square is at most this share of the scan's size.
const MOST_RMS_SHARE: f64 = 0.005;
/// What lies farther off than this many times the root mean square of the nearest 60 % of
/// the area is left out.
const WITHIN: f64 = 5.0;
/// Nor is what lies nearer than this share of the scan's size: what rounding to `f32` does
/// to scans that lie several times their size from the origin.
const ROUNDING_SHARE: f64 = 2e-6;
/// Moved places are the same within this share of the scan's size: what two orders of
/// adding up can do.
const SAME_PLACE_SHARE: f64 = 1e-9;

/// How the first scan lies on the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// Root mean square of the distances that count, over the first scan's area.
    pub rms: f64,
    /// The largest of them.
    pub largest: f64,
    /// Share of the first scan's area that is left out.
    pub left_out: f64,
}

/// How `first` lies on `scan` after `motion`: the distances of its triangles' middles,
/// weighted by area.
pub fn residual(first: &Align, scan: &Mesh, motion: &Motion) -> Option<Residual> {
    let onto = Bvh::build(scan);
    let mut off: Vec<(f64, f64)> = Vec::with_capacity(first.triangles.len());
    for t in &first.triangles {
        let [a, b, c] = t.map(|v| DVec3::from_array(at(motion, first.points[v as usize])));
        off.push((onto.closest((a + b + c) / 3.0)?.distance, 0.5 * (b - a).cross(c - a).length()));
    }
    off.sort_by(|x, y| x.0.total_cmp(&y.0));
    let whole: f64 = off.iter().map(|o| o.1).sum();
    let rms = |of: &[(f64, f64)]| {
        let (sum, area) = of.iter().fold((0.0, 0.0), |(s, a), o| (s + o.1 * o.0 * o.0, a + o.1));
        (sum / area).sqrt()
    };
    let mut gone = 0.0;
    let near = off.iter().take_while(|o| {
        gone += o.1;
        gone <= (1.0 - MOST_LEFT_OUT) * whole
    });
    let near = near.count().max(1);
    let rounding = ROUNDING_SHARE * scan.bounds().diagonal();
    let most = (WITHIN * rms(&off[..near])).max(off[near - 1].0).max(rounding);
    let kept = &off[..off.partition_point(|o| o.0 <= most)];
    let counted: f64 = kept.iter().map(|o| o.1).sum();
    Some(Residual { rms: rms(kept), largest: kept.last()?.0, left_out: 1.0 - counted / whole })
}

/// The asked case as it is on the scan: places moved as the settled case claims, each
/// equal to the settled one's where it agrees with it; and what is wrong with the claim.
pub(crate) fn on_scan(scans: &[Mesh], settled: &Case, asked: &Case) -> (Case, Vec<String>) {
    let mut moved = asked.clone();
    moved.scan.align = None;
    let Some(align) = &asked.scan.align else {
        let wrong = (settled.scan.moved != asked.scan.moved).then(|| "`scan.moved` differs".into());
        return (moved, wrong.into_iter().collect());
    };
    let (Some(motion), Some(scan)) = (settled.scan.moved, scans.first()) else {
        return (moved, vec!["`scan.moved` is missing, and the case asked for `align`".into()]);
    };
    moved.scan.moved = Some(motion);
    let size = scan.bounds().diagonal();
    let room = SAME_PLACE_SHARE * scan.points().iter().map(|p| p.length()).fold(size, f64::max);
    let mut wrong = Vec::new();
    if !is_rotation(&motion) {
        wrong.push("`scan.moved` is no rotation".to_owned());
    }
    match residual(align, scan, &motion) {
        Some(r) if r.rms <= MOST_RMS_SHARE * size && r.left_out <= MOST_LEFT_OUT => {}
        Some(r) => wrong.push(format!(
            "`scan.moved` does not lay the first scan on the scan: {:.4} (root mean square) is left, {:.0} % left out",
            r.rms,
            100.0 * r.left_out
        )),
        None => wrong.push("the first scan has no surface".to_owned()),
    }
    snapped(&mut moved, settled, &Mover { motion, room });
    (moved, wrong)
}

/// Whether a claimed motion turns and does not stretch.
pub(crate) fn is_rotation(motion: &Motion) -> bool {
    let [x, y, z] = motion.turn.map(DVec3::from_array);
    let near = |a: f64, b: f64| (a - b).abs() <= SAME_PLACE_SHARE;
    near(x.length(), 1.0)
        && near(y.length(), 1.0)
        && near(x.dot(y), 0.0)
        && (x.cross(y) - z).length() <= SAME_PLACE_SHARE
}

fn turned(motion: &Motion, v: Vec3) -> Vec3 {
    let v = DVec3::from_array(v);
    motion.turn.map(|row| DVec3::from_array(row).dot(v))
}

fn at(motion: &Motion, p: Vec3) -> Vec3 {
    (DVec3::from_array(turned(motion, p)) + DVec3::from_array(motion.shift)).to_array()
}

struct Mover {
    motion: Motion,
    room: f64,
}

impl Mover {
    /// The asked point moved, or the settled one where they are the same.
    fn point(&self, asked: &mut Vec3, settled: Option<Vec3>) {
        *asked = at(&self.motion, *asked);
        if let Some(s) = settled
            && DVec3::from_array(s).distance(DVec3::from_array(*asked)) <= self.room
        {
            *asked = s;
        }
    }

    fn vector(&self, asked: &mut Vec3) {
        *asked = turned(&self.motion, *asked);
    }

    fn direction(&self, asked: &mut Vec3) {
        let v = turned(&self.motion, *asked);
        *asked = unit_direction(v).unwrap_or(v);
    }

    /// The box along the axes round the moved one's corners.
    fn corners(&self, [min, max]: [&mut Vec3; 2], settled: Option<[Vec3; 2]>) {
        let middle = [0, 1, 2].map(|k| 0.5 * (min[k] + max[k]));
        let half = DVec3::from([0, 1, 2].map(|k| 0.5 * (max[k] - min[k])));
        let centre = DVec3::from_array(at(&self.motion, middle));
        let reach = self.motion.turn.map(|row| DVec3::from_array(row).abs().dot(half));
        let reach = DVec3::from_array(reach);
        (*min, *max) = ((centre - reach).to_array(), (centre + reach).to_array());
        if let Some([low, high]) = settled {
            let same =
                |a: Vec3, b: Vec3| DVec3::from_array(a).distance(DVec3::from_array(b)) <= self.room;
            if same(low, *min) && same(high, *max) {
                (*min, *max) = (low, high);
            }
        }
    }
}

/// Moves every place of `case`.
fn snapped(case: &mut Case, settled: &Case, by: &Mover) {
    for (k, end) in case.ends.iter_mut().enumerate() {
        let claim = settled.ends.get(k);
        end.seam = None;
        match (&mut end.site, claim.map(|c| c.site)) {
            (Site::Cut(cut), claim) => {
                let through = claim.and_then(|c| match c {
                    Site::Cut(c) => Some(c.through),
                    _ => None,
                });
                by.point(&mut cut.through, through);
                by.direction(&mut cut.facing);
            }
            (Site::Rim(rim), claim) => {
                let near = claim.and_then(|c| match c {
                    Site::Rim(c) => Some(c.near),
                    _ => None,
                });
                by.point(&mut rim.near, near);
                rim.facing.iter_mut().for_each(|v| by.direction(v));
            }
            (Site::Station(cut), _) => {
                by.point(&mut cut.from, None);
                cut.facing.iter_mut().for_each(|v| by.direction(v));
            }
        }
        match &mut end.place {
            Some(Place::At { at, along }) => {
                let claim = claim.and_then(|c| match c.place {
                    Some(Place::At { at, .. }) => Some(at),
                    _ => None,
                });
                by.point(at, claim);
                by.direction(along);
            }
            Some(Place::Onward(Onward { off, tilt, .. })) => {
                by.vector(off);
                if let Some(Tilt { toward, .. }) = tilt {
                    by.direction(toward);
                }
            }
            Some(Place::AsModelled | Place::Auto) | None => {}
        }
    }
    for (k, keep) in case.keeps.iter_mut().enumerate() {
        match (keep, settled.keeps.get(k)) {
            (Keep::Ball(ball), claim) => {
                let claim = claim.and_then(|c| match c {
                    Keep::Ball(c) => Some(c.at),
                    _ => None,
                });
                by.point(&mut ball.at, claim);
            }
            (Keep::Box { min, max }, claim) => {
                let claim = claim.and_then(|c| match c {
                    Keep::Box { min, max } => Some([*min, *max]),
                    _ => None,
                });
                by.corners([min, max], claim);
            }
            (Keep::Triangles { .. }, _) => {}
        }
    }
    for (k, clear) in case.clears.iter_mut().enumerate() {
        match (clear, settled.clears.get(k)) {
            (Clear::Ball(ball), claim) => {
                let claim = claim.and_then(|c| match c {
                    Clear::Ball(c) => Some(c.at),
                    Clear::Box { .. } => None,
                });
                by.point(&mut ball.at, claim);
            }
            (Clear::Box { min, max }, claim) => {
                let claim = claim.and_then(|c| match c {
                    Clear::Box { min, max } => Some([*min, *max]),
                    Clear::Ball(_) => None,
                });
                by.corners([min, max], claim);
            }
        }
    }
    if let Some(Wall::Graded(places)) = &mut case.scan.wall {
        let claim = match settled.scan.wall {
            Some(Wall::Graded(claim)) => Some(claim),
            _ => None,
        };
        for (k, place) in places.iter_mut().enumerate() {
            by.point(&mut place.at, claim.map(|c| c[k].at));
        }
    }
}
