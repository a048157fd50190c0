use glam::DVec3;
use proptest::prelude::*;

use super::{by_several, may_meet, passed};
use crate::{Bvh, Mesh};

/// Cells a side of the sheets below.
const CELLS: usize = 5;

/// A sheet of unit cells from (0, 0), each point moved by its own offset, without
/// the triangles that are left out.
fn sheet(moves: &[DVec3], left_out: impl Fn(usize) -> bool) -> Mesh {
    let n = CELLS + 1;
    let points = (0..n * n).map(|i| DVec3::new((i % n) as f64, (i / n) as f64, 0.0) + moves[i]);
    let mut triangles = Vec::new();
    for i in (0..CELLS).flat_map(|row| (0..CELLS).map(move |column| (row * n + column) as u32)) {
        let above = i + n as u32;
        triangles.extend([[i, i + 1, above + 1], [i, above + 1, above]]);
    }
    let kept = triangles.into_iter().enumerate().filter(|&(t, _)| !left_out(t)).map(|(_, t)| t);
    Mesh::new(points.collect(), kept.collect()).unwrap()
}

/// Places of a triangle on a grid, its corners among them.
fn places([a, b, c]: [DVec3; 3]) -> impl Iterator<Item = DVec3> {
    const N: u32 = 12;
    let share = |i: u32| f64::from(i) / f64::from(N);
    (0..=N).flat_map(move |i| (0..=N - i).map(move |j| a + (b - a) * share(i) + (c - a) * share(j)))
}

/// The distance to the nearest triangle, each asked for alone.
fn distance(p: DVec3, mesh: &Mesh) -> f64 {
    let each = (0..mesh.triangles().len() as u32)
        .map(|t| Bvh::build_of(mesh, &[t]).closest(p).map_or(f64::INFINITY, |c| c.distance));
    each.fold(f64::INFINITY, f64::min)
}

#[test]
fn a_flat_sheet_is_as_far_as_it_is_high() {
    // Closed form: a piece 0.25 over a plane, level with it.
    let still = vec![DVec3::ZERO; (CELLS + 1) * (CELLS + 1)];
    let piece = [(0.3, 0.4), (3.7, 1.1), (1.9, 3.2)].map(|(x, y)| DVec3::new(x, y, 0.25));
    let whole = Bvh::build(&sheet(&still, |_| false));
    for turned in [piece, [piece[1], piece[0], piece[2]]] {
        let bound = by_several(turned, &whole, 0.3).unwrap();
        assert!((0.25..0.25 + 1e-12).contains(&bound), "{bound}");
        assert_eq!(by_several(turned, &whole, 0.2), None);
    }
    // Doubled, it is gone round twice; with its double turned over, not at all.
    let doubled = |turn: bool| {
        let mesh = sheet(&still, |_| false);
        let more =
            mesh.triangles().iter().map(|&[a, b, c]| if turn { [a, c, b] } else { [a, b, c] });
        let all = mesh.triangles().iter().copied().chain(more).collect();
        Bvh::build(&Mesh::new(mesh.points().to_vec(), all).unwrap())
    };
    let small = [(1.3, 1.4), (2.7, 1.1), (1.9, 2.2)].map(|(x, y)| DVec3::new(x, y, 0.25));
    assert!(by_several(small, &doubled(false), 0.3).is_some());
    assert_eq!(by_several(small, &doubled(true), 0.3), None);
}

#[test]
fn a_sheet_with_any_triangle_missing_below_the_piece_covers_it_no_more() {
    let still = vec![DVec3::ZERO; (CELLS + 1) * (CELLS + 1)];
    let piece = [(0.6, 0.7), (3.7, 1.1), (1.9, 3.2)].map(|(x, y)| DVec3::new(x, y, 0.1));
    let whole = sheet(&still, |_| false);
    let mut below = 0;
    for t in 0..whole.triangles().len() {
        // By places of the piece: whether its foot lies well within triangle t.
        let [a, b, c] = whole.corners(t);
        let is_in = |p: DVec3| {
            let p = DVec3::new(p.x, p.y, 0.0);
            [(a, b), (b, c), (c, a)].iter().all(|&(m, n)| (n - m).cross(p - m).z > 1e-6)
        };
        let is_below = places(piece).any(is_in);
        let bound = by_several(piece, &Bvh::build(&sheet(&still, |u| u == t)), 0.2);
        assert!(!is_below || bound.is_none(), "without triangle {t}: {bound:?}");
        below += usize::from(is_below);
    }
    assert!(below > 10, "{below}");
}

#[test]
fn what_touches_meets() {
    let piece = [(0.0, 0.0), (2.0, 0.0), (0.0, 2.0)].map(|(x, y)| glam::DVec2::new(x, y));
    let edge = |a: (f64, f64), b: (f64, f64)| [glam::DVec2::from(a), glam::DVec2::from(b)];
    // By hand, on a sheet of paper.
    assert!(may_meet(edge((1.0, 1.0), (2.0, 2.0)), piece));
    assert!(may_meet(edge((-1.0, 0.0), (3.0, 0.0)), piece));
    assert!(may_meet(edge((-1.0, 1.0), (1.0, -1.0)), piece));
    assert!(may_meet(edge((0.5, 0.5), (0.6, 0.5)), piece));
    assert!(!may_meet(edge((1.1, 1.1), (2.0, 2.0)), piece));
    assert!(!may_meet(edge((-1.0, 0.9), (0.9, -1.0)), piece));
    assert!(!may_meet(edge((-1.0, -0.1), (3.0, -0.1)), piece));
    assert_eq!(passed(edge((1.0, -1.0), (1.0, 1.0)), piece[0]), 1);
    assert_eq!(passed(edge((1.0, 1.0), (1.0, -1.0)), piece[0]), -1);
    assert_eq!(passed(edge((-1.0, -1.0), (-1.0, 1.0)), piece[0]), 0);
}

fn offsets(across: f64, high: f64) -> impl Strategy<Value = Vec<DVec3>> {
    let one = (-across..across, -across..across, -high..high).prop_map(DVec3::from);
    prop::collection::vec(one, (CELLS + 1) * (CELLS + 1))
}

fn piece() -> impl Strategy<Value = [DVec3; 3]> {
    let free = (0.0..5.0_f64, 0.0..5.0_f64, -0.2..0.2_f64);
    let on_grid = (0..6_i32, 0..6_i32, 0..2_i32)
        .prop_map(|(x, y, z)| (f64::from(x), f64::from(y), 0.125 * f64::from(z)));
    let corner = prop_oneof![free, on_grid].prop_map(DVec3::from);
    prop::array::uniform3(corner)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    /// Jagged sheets with triangles missing, up to sheets whose cells fold over
    /// each other, far from the origin too.
    #[test]
    fn no_place_is_farther_than_the_bound(
        moves in prop_oneof![offsets(0.2, 0.3), offsets(1.5, 0.5), offsets(1e-9, 0.1)],
        missing in prop::collection::vec(0..2 * CELLS * CELLS, 0..6),
        piece in piece(),
        away in prop_oneof![Just(0.0), Just(1000.0)],
        enough in 0.2..1.5_f64,
    ) {
        let moves: Vec<DVec3> = moves.into_iter().map(|m| m + away).collect();
        let piece = piece.map(|p| p + away);
        let mesh = sheet(&moves, |t| missing.contains(&t));
        if let Some(bound) = by_several(piece, &Bvh::build(&mesh), enough) {
            prop_assert!(bound <= enough);
            for p in places(piece) {
                let distance = distance(p, &mesh);
                prop_assert!(distance <= bound, "{distance} at {p} over {bound}");
            }
        }
    }

    /// Level sheets that do not fold are seen to cover what lies within them.
    #[test]
    fn a_whole_sheet_covers_what_lies_over_it(
        moves in offsets(0.2, 0.05),
        corners in prop::array::uniform3((1.0..4.0_f64, 1.0..4.0_f64)),
    ) {
        let piece = corners.map(|(x, y)| DVec3::new(x, y, 0.0));
        let is_wide = (piece[1] - piece[0]).cross(piece[2] - piece[0]).length() > 0.5;
        let tree = Bvh::build(&sheet(&moves, |_| false));
        let bound = by_several(piece, &tree, 0.1);
        prop_assert!(!is_wide || bound.is_some_and(|b| b <= 0.05 + 1e-9), "{:?}", bound);
    }
}
