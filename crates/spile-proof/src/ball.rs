//! The ball that passes: a line of centres whose clearance is certified.
//!
//! The lower bound is a construction. Centres start on the line along the middle
//! of the bore and move off it, square to it, as long as that gives them more
//! room; then the straight pieces between them are certified. The upper bound comes
//! from the sections: whatever its way, the ball's centre crosses each of them,
//! and there it has no more room than the largest circle inside.

use spile_mesh::{Bounds, Bvh, DVec3, Finder, Mesh, nearest};

/// A ball that travels the whole line.
#[derive(Debug, Clone, PartialEq)]
pub struct PassingBall {
    /// Certified: a ball of this diameter passes.
    pub lo: f64,
    /// A place on the line of centres where the clearance is that, to the gap.
    pub at: DVec3,
    /// The line of centres.
    pub centres: Vec<DVec3>,
}

/// A first centre and the direction of travel there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    /// The first centre.
    pub at: DVec3,
    /// The centre may move square to this unit direction; zero: not at all.
    pub along: DVec3,
}

/// Share of the clearance by which a centre is first tried to be moved: it starts
/// in the middle of its section, or beside the centre before.
const FIRST_STEP_SHARE: f64 = 0.03;
/// Share of the clearance to which a centre is moved.
const CENTRE_SHARE: f64 = 5e-4;
/// Share of the clearance to which the line is certified where rounding leaves
/// its bounds apart.
const CERTIFIED_SHARE: f64 = 1e-5;
/// The tightest place gets a centre of its own this many times.
const CENTRES_ADDED: usize = 8;

/// The largest ball found to travel along the gates, first to last.
///
/// `bore` is the surface it must stay clear of. Each gate's centre starts where
/// the one before ended up, so that neighbours stay neighbours. None for fewer
/// than two gates or an empty surface.
pub fn passing_ball(bore: &Bvh, gates: &[Gate]) -> Option<PassingBall> {
    let first = gates.first()?;
    if gates.len() < 2 {
        return None;
    }
    let mut nearby = Finder::new(bore);
    let enough = most_room(bore);
    let (start, _) = grown(&mut nearby, first.at, first.along, enough)?;
    let mut centres = vec![start];
    for pair in gates.windows(2) {
        // The offset from the line is carried on to the next gate.
        let offset = centres[centres.len() - 1] - pair[0].at;
        let carried = pair[1].at + offset - offset.dot(pair[1].along) * pair[1].along;
        let along = pair[1].along;
        let (a, of_a) = grown(&mut nearby, carried, along, enough)?;
        let (b, of_b) = grown(&mut nearby, pair[1].at, along, enough)?;
        let better = of_b > of_a * (1.0 + CENTRE_SHARE);
        // A far jump to a wider place would cut the corner between them.
        let is_near = a.distance(b) < 0.25 * pair[0].at.distance(pair[1].at);
        centres.push(if better && is_near { b } else { a });
    }
    let mut best = certified(bore, &centres)?;
    for _ in 0..CENTRES_ADDED {
        let Some(denser) = with_centre_at_tightest((&mut nearby, enough), &centres, best.at) else {
            break;
        };
        let found = certified(bore, &denser)?;
        if found.tightest <= best.tightest * (1.0 + 0.1 * CENTRE_SHARE) {
            break;
        }
        (centres, best) = (denser, found);
    }
    Some(PassingBall { lo: 2.0 * best.least.max(0.0), at: best.at, centres })
}

/// More room than this is nowhere in a bore with such a surface: a centre that has as much
/// has left it, by a fold or a hole, and would run on for long.
fn most_room(bore: &Bvh) -> f64 {
    0.5 * bore.bounds().diagonal()
}

/// The centre moved square to `along` to where it has the most room nearby, and how much;
/// left where it has `enough`.
fn grown(bore: &mut Finder, from: DVec3, along: DVec3, enough: f64) -> Option<(DVec3, f64)> {
    let mut room = bore.closest(from)?.distance;
    if along == DVec3::ZERO {
        return Some((from, room));
    }
    let (u, v) = along.any_orthonormal_pair();
    let mut at = from;
    let mut step = FIRST_STEP_SHARE * room;
    while step > CENTRE_SHARE * room && step > 0.0 && room < enough {
        let mut is_better = false;
        for k in 0..6 {
            let angle = std::f64::consts::TAU * f64::from(k) / 6.0;
            let to = at + step * (angle.cos() * u + angle.sin() * v);
            if let Some(there) = bore.farther(to, room) {
                (at, room, is_better) = (to, there, true);
            }
        }
        if !is_better {
            step *= 0.5;
        }
    }
    Some((at, room))
}

/// The line with three more centres on the piece that passes `tightest`: there,
/// and half-way to its ends, each moved to where it has the most room.
fn with_centre_at_tightest(
    (bore, enough): (&mut Finder, f64),
    centres: &[DVec3],
    tightest: DVec3,
) -> Option<Vec<DVec3>> {
    let off = |pair: &[DVec3]| {
        let along = pair[1] - pair[0];
        let share = (tightest - pair[0]).dot(along) / along.length_squared().max(f64::MIN_POSITIVE);
        (pair[0] + share.clamp(0.0, 1.0) * along).distance(tightest)
    };
    let piece = (0..centres.len() - 1)
        .min_by(|&i, &j| off(&centres[i..i + 2]).total_cmp(&off(&centres[j..j + 2])))?;
    let along = (centres[piece + 1] - centres[piece]).try_normalize()?;
    let [before, after] = [piece, piece + 1].map(|i| 0.5 * (centres[i] + tightest));
    let added = [before, tightest, after].map(|p| grown(bore, p, along, enough));
    let mut denser = centres[..=piece].to_vec();
    denser.extend(added.into_iter().flatten().map(|(centre, _)| centre));
    denser.extend(&centres[piece + 1..]);
    Some(denser)
}

/// The clearance along a line.
struct Clearance {
    /// Certified: nowhere less.
    least: f64,
    /// The least that is attained, and its place.
    tightest: f64,
    at: DVec3,
}

/// The clearance along the whole line: the certified distance of its pieces, as
/// triangles without width, from the surface.
fn certified(bore: &Bvh, centres: &[DVec3]) -> Option<Clearance> {
    let pieces = (1..centres.len() as u32).map(|i| [i - 1, i, i]).collect();
    let line = Mesh::new(centres.to_vec(), pieces).ok()?;
    let gap = CERTIFIED_SHARE * bore.closest(*centres.first()?)?.distance;
    let Bounds { lo, hi, at } = nearest(&line, None, bore, gap)?;
    Some(Clearance { least: lo, tightest: hi, at })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_centre_outside_does_not_run_away() {
        let points = vec![DVec3::ZERO, DVec3::new(4.0, 0.0, 0.0), DVec3::new(0.0, 4.0, 0.0)];
        let bore = Bvh::build(&Mesh::new(points, vec![[0, 1, 2]]).unwrap());
        let enough = most_room(&bore);
        let mut nearby = Finder::new(&bore);
        let beside = DVec3::new(1.0, 1.0, 0.1);
        let (_, room) = grown(&mut nearby, beside, DVec3::X, enough).unwrap();
        assert!(room >= enough && room < enough + 0.1, "{room} of {enough}");
        // Without that bound it would have gone on for sixty times the room it began with.
        let (_, free) = grown(&mut nearby, beside, DVec3::X, f64::INFINITY).unwrap();
        assert!(free > 1.9 * enough, "{free}");
    }
}
