//! Taking out of a region what leaked in where a shape passes smoothly into
//! something else.

use super::fit::fit;
use super::grow::Grown;
use super::judge::{Left, off_in_blocks};
use super::surface::{Marks, Surface};

/// Tongues narrower than twice so many triangles are taken off.
const RINGS: usize = 4;

/// Rounds of taking out; each fits again, so that less is off the next time.
const ROUNDS: usize = 4;
/// A region of which less than this share is left was no shape.
const LEAST_LEFT_SHARE: f64 = 0.5;

/// The largest piece of the region whose blocks of points lie on the shape, not
/// only their single points; `None` where most of it does not.
pub(super) fn pruned(surface: &Surface, marks: &mut Marks, grown: Grown) -> Option<Grown> {
    let whole = surface.area_of(&grown.triangles);
    let mut now = grown;
    for _ in 0..ROUNDS {
        let cloud = surface.cloud(marks, &now.triangles);
        if Left::over(&now.fit.shape, &cloud).is_rounding(surface.rounding) {
            break;
        }
        let off = off_in_blocks(&now.fit.shape, &cloud);
        let on: Vec<u32> = now
            .triangles
            .iter()
            .zip(&cloud.corners)
            .filter(|(_, corners)| corners.iter().all(|&k| !off[k as usize]))
            .map(|(&t, _)| t)
            .collect();
        if on.len() == now.triangles.len() {
            break;
        }
        let triangles = opened(surface, marks, &on);
        if surface.area_of(&triangles) < LEAST_LEFT_SHARE * whole {
            return None;
        }
        let fit = fit(now.fit.shape, &surface.cloud(marks, &triangles).samples)?;
        now = Grown { triangles, fit, ..now };
    }
    Some(now)
}

/// The largest piece without its narrow tongues, where a bent surface runs along
/// the shape: what is left after `RINGS` rings are taken off, and as many put
/// back.
fn opened(surface: &Surface, marks: &mut Marks, triangles: &[u32]) -> Vec<u32> {
    let mut all = triangles.to_vec();
    all.sort_unstable();
    let mut core = all.clone();
    for _ in 0..RINGS {
        let is_inner = |t: &u32| surface.beside(*t).all(|n| core.binary_search(&n).is_ok());
        core = core.iter().copied().filter(is_inner).collect();
    }
    let mut whole = surface.largest_piece(marks, &core);
    whole.sort_unstable();
    for _ in 0..RINGS {
        let mut more: Vec<u32> = whole
            .iter()
            .flat_map(|&t| surface.beside(t))
            .filter(|n| all.binary_search(n).is_ok())
            .collect();
        more.extend(&whole);
        more.sort_unstable();
        more.dedup();
        whole = more;
    }
    whole
}
