//! The loops in which a plane cuts a scan, told without regard to winding,
//! and which of them an end means.

use spile_mesh::{DVec3, Mesh};

use crate::edges::Edges;
use crate::labels::Plane;
use crate::polyline::{Polyline, height, winding};

/// A loop on the scan: where a plane cuts it, or one of its own rims.
#[derive(Debug, Clone, Default)]
pub(crate) struct ScanLoop {
    /// Its points in order round it.
    pub points: Vec<DVec3>,
    /// The scan's triangles that the loop runs through, or that end at the rim.
    pub triangles: Vec<u32>,
}

/// All closed loops of `mesh` in `plane`, each by its first triangle in order.
/// Points on the plane count as above it. `skip` names triangles that are not
/// there (second copies). Chains that end at a rim or at an edge of more than
/// two triangles are left out; the second answer says whether there are any.
pub(crate) fn cut_loops(
    mesh: &Mesh,
    edges: &Edges,
    plane: Plane,
    skip: &[bool],
) -> (Vec<ScanLoop>, bool) {
    let above: Vec<bool> = mesh.points().iter().map(|&p| height(plane, p) >= 0.0).collect();
    let crossed = |e: u32| {
        let [a, b] = edges.points(e);
        above[a as usize] != above[b as usize]
    };
    let is_cut = |t: u32| {
        let c = mesh.triangles()[t as usize].map(|p| above[p as usize]);
        !skip[t as usize] && (c[0] != c[1] || c[1] != c[2])
    };
    let mut seen = vec![false; mesh.triangles().len()];
    let mut loops = Vec::new();
    let mut any_open = false;
    for start in 0..mesh.triangles().len() as u32 {
        if seen[start as usize] || !is_cut(start) {
            continue;
        }
        let mut found = ScanLoop::default();
        let mut closed = false;
        let (mut t, mut entered) = (start, u32::MAX);
        loop {
            seen[t as usize] = true;
            found.triangles.push(t);
            let Some(out) = edges.of_triangle(t).into_iter().find(|&e| e != entered && crossed(e))
            else {
                break;
            };
            let [a, b] = edges.points(out).map(|p| mesh.points()[p as usize]);
            let (ha, hb) = (height(plane, a), height(plane, b));
            found.points.push(a + (b - a) * (ha / (ha - hb)).clamp(0.0, 1.0));
            let mut others = edges.triangles(out).iter().filter(|&&n| n != t && !skip[n as usize]);
            let (Some(&next), None) = (others.next(), others.next()) else { break };
            if next == start {
                closed = true;
                break;
            }
            if seen[next as usize] {
                break;
            }
            (t, entered) = (next, out);
        }
        if closed && found.points.len() >= 3 {
            loops.push(found);
        } else {
            any_open |= !closed;
        }
    }
    (loops, any_open)
}

/// For each loop the others that run round it, seen along `normal`. Loops of
/// one plane do not cross, so one point speaks for all.
pub(crate) fn enclosing(loops: &[ScanLoop], normal: DVec3) -> Vec<Vec<usize>> {
    let inside =
        |i: usize, j: usize| i != j && winding(&loops[j].points, loops[i].points[0], normal) != 0;
    (0..loops.len()).map(|i| (0..loops.len()).filter(|&j| inside(i, j)).collect()).collect()
}

/// Which loops an end means.
pub(crate) struct Chosen {
    /// On the bore.
    pub bore: ScanLoop,
    /// On the outside; none where the scan is the bore alone.
    pub outside: Option<ScanLoop>,
}

/// For scans with both walls in one mesh: the loop nearest `through` and its
/// partner. A loop inside an odd number of others is bore, for going inward
/// one passes from outside into the wall, then into the bore, in turns.
///
/// # Errors
/// A sentence that says what is missing.
pub(crate) fn choose_nested(
    loops: Vec<ScanLoop>,
    through: DVec3,
    normal: DVec3,
) -> Result<Chosen, String> {
    let round = enclosing(&loops, normal);
    let nearest = nearest_loop(&loops, through, |_| true)
        .ok_or_else(|| "the cut's plane meets the scan in no closed loop".to_owned())?;
    let depth = |i: usize| round[i].len();
    let (bore, outside) = if depth(nearest) % 2 == 1 {
        let parent = round[nearest]
            .iter()
            .copied()
            .find(|&j| depth(j) + 1 == depth(nearest))
            .ok_or_else(|| "the section loops at the cut do not nest".to_owned())?;
        (nearest, parent)
    } else {
        let is_child = |i: usize| depth(i) == depth(nearest) + 1 && round[i].contains(&nearest);
        let child = nearest_loop(&loops, through, is_child)
            .ok_or_else(|| "the wall's section at the cut has no bore loop inside it".to_owned())?;
        (child, nearest)
    };
    Ok(Chosen { bore: loops[bore].clone(), outside: Some(loops[outside].clone()) })
}

/// For scans of two files: the inner file's loop nearest `through`, and the
/// outer file's loop nearest to it that runs round it.
///
/// # Errors
/// A sentence that says what is missing.
pub(crate) fn choose_from_sheets(
    loops: Vec<ScanLoop>,
    is_inner: impl Fn(u32) -> bool,
    through: DVec3,
    normal: DVec3,
) -> Result<Chosen, String> {
    let inner = |i: usize| is_inner(loops[i].triangles[0]);
    let bore = nearest_loop(&loops, through, inner)
        .ok_or_else(|| "the cut's plane meets the inner sheet in no closed loop".to_owned())?;
    let start = loops[bore].points[0];
    let outside =
        nearest_loop(&loops, start, |i| !inner(i) && winding(&loops[i].points, start, normal) != 0)
            .ok_or_else(|| {
                "no loop of the outer sheet runs round the inner one at the cut".to_owned()
            })?;
    Ok(Chosen { bore: loops[bore].clone(), outside: Some(loops[outside].clone()) })
}

/// For scans of the bore alone: the loop nearest `through`.
///
/// # Errors
/// A sentence that says what is missing.
pub(crate) fn choose_single(loops: Vec<ScanLoop>, through: DVec3) -> Result<Chosen, String> {
    let bore = nearest_loop(&loops, through, |_| true)
        .ok_or_else(|| "the cut's plane meets the scan in no closed loop".to_owned())?;
    Ok(Chosen { bore: loops[bore].clone(), outside: None })
}

fn nearest_loop(loops: &[ScanLoop], p: DVec3, among: impl Fn(usize) -> bool) -> Option<usize> {
    (0..loops.len())
        .filter(|&i| among(i))
        .map(|i| (Polyline::closed(&loops[i].points).distance(p), i))
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
        .map(|(_, i)| i)
}

/// Of two rims, whether `a` lies inside `b` as seen along `normal`: nine in
/// ten of its points do, for saw teeth may cross over.
pub(crate) fn lies_within(a: &[DVec3], b: &[DVec3], normal: DVec3) -> bool {
    let inside = a.iter().filter(|&&p| winding(b, p, normal) != 0).count();
    10 * inside >= 9 * a.len() && !a.is_empty()
}
