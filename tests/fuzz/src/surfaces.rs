//! Work on surfaces: any small mesh, however hostile, gives what is promised.

use spile_case::Outliers;
use spile_joint::MendOptions;
use spile_mesh::{DVec3, Mesh, RemeshOptions, self_intersections_among, triangles_intersect};

use crate::hostile_mesh;

/// The same pairs by asking for them all, for each triangle alone, triangle by
/// triangle, and on the mesh made so large or so small that plain arithmetic
/// does not do.
pub fn self_intersections(bytes: &[u8]) {
    let Some(mesh) = hostile_mesh(bytes) else { return };
    let found = spile_mesh::self_intersections(&mesh);
    let count = mesh.triangles().len() as u32;
    let mut one_by_one = Vec::new();
    for t in 0..count {
        let with_it = self_intersections_among(&mesh, &[t]);
        one_by_one.extend(with_it.into_iter().filter(|&(lower, _)| lower == t));
    }
    assert_eq!(found, one_by_one, "{mesh:?}");
    for (t, u) in (0..count).flat_map(|t| (t + 1..count).map(move |u| (t, u))) {
        assert_eq!(found.contains(&(t, u)), intersect(&mesh, u, t), "{t} {u} {mesh:?}");
    }
    for power in [-900, 900] {
        if let Some(scaled) = scaled(&mesh, power) {
            assert_eq!(found, spile_mesh::self_intersections(&scaled), "2^{power} {mesh:?}");
        }
    }
}

/// Whether two triangles intersect, each seen from another corner.
fn intersect(mesh: &Mesh, t: u32, u: u32) -> bool {
    let turned = |t: u32| {
        let ([a, b, c], [p, q, r]) = (mesh.triangles()[t as usize], mesh.corners(t as usize));
        ([c, a, b], [r, p, q])
    };
    let ((of_t, t), (of_u, u)) = (turned(t), turned(u));
    let mut shared = Vec::new();
    for (i, p) in (0_u8..).zip(of_t) {
        shared.extend((0_u8..).zip(of_u).filter(|&(_, q)| q == p).map(|(j, _)| (i, j)));
    }
    triangles_intersect(t, u, &shared)
}

/// The mesh times a power of two; none where that is not exact.
fn scaled(mesh: &Mesh, power: i32) -> Option<Mesh> {
    let (by, back) = (2.0_f64.powi(power), 2.0_f64.powi(-power));
    let points: Vec<DVec3> = mesh.points().iter().map(|&p| p * by).collect();
    let is_exact = points.iter().zip(mesh.points()).all(|(&large, &p)| large * back == p);
    if is_exact { Mesh::new(points, mesh.triangles().to_vec()).ok() } else { None }
}

/// A mesh that needs no more mending, each of whose triangles is the scan's or
/// lies in the ball of a mend.
pub fn mend(bytes: &[u8]) {
    let Some(mesh) = hostile_mesh(bytes) else { return };
    for outliers in [Outliers::Keep, Outliers::Mend] {
        mend_with(&mesh, MendOptions { outliers, ..MendOptions::default() });
    }
}

fn mend_with(mesh: &Mesh, options: MendOptions) {
    let mended = spile_joint::mend(mesh, options);
    assert_eq!(mended.mesh.check(), Ok(()));
    assert_eq!(mended.origin.len(), mended.mesh.triangles().len());
    let is_in_a_ball = |corners: [DVec3; 3]| {
        mended.mends.iter().any(|made| {
            let ball = made.mend.ball;
            let reach = |p: &DVec3| p.distance(DVec3::from(ball.at));
            corners.iter().all(|p| reach(p) <= ball.radius || reach(p).is_infinite())
        })
    };
    let sorted = |mut corners: [DVec3; 3]| {
        let key = |p: &DVec3| (p + DVec3::ZERO).to_array().map(f64::to_bits);
        corners.sort_by_key(key);
        corners
    };
    let mut is_kept = vec![false; mesh.triangles().len()];
    for (t, origin) in mended.origin.iter().enumerate() {
        match origin {
            Some(old) => {
                is_kept[*old as usize] = true;
                let (new, old) = (mended.mesh.corners(t), mesh.corners(*old as usize));
                assert_eq!(sorted(new), sorted(old), "{mesh:?}");
            }
            None => assert!(is_in_a_ball(mended.mesh.corners(t)), "{mesh:?} {:?}", mended.mends),
        }
    }
    for t in (0..is_kept.len()).filter(|&t| !is_kept[t]) {
        assert!(is_in_a_ball(mesh.corners(t)), "{t} {mesh:?} {:?}", mended.mends);
    }
    let again =
        spile_joint::mend(&mended.mesh, MendOptions { hole_max: Some(mended.hole_max), ..options });
    assert!(again.mends.is_empty(), "{mesh:?} {:?} {:?}", mended.mends, again.mends);
    assert_eq!(again.mesh, mended.mesh, "{mesh:?}");
}

/// A mesh, as close to the old one as is claimed, or an error.
pub fn remesh(bytes: &[u8]) {
    let Some(mesh) = hostile_mesh(bytes) else { return };
    let across = mesh.bounds().diagonal();
    let (size, deviation) = (0.2 * across, 0.01 * across);
    let size = |_: DVec3| size;
    let options = RemeshOptions { rounds: 2, ..RemeshOptions::new(&size, deviation) };
    if let Ok(made) = spile_mesh::remesh(&mesh, &options) {
        assert_eq!(made.mesh.check(), Ok(()));
        assert_eq!(made.point_of_old.len(), mesh.points().len());
        let bounds = made.deviation.bounds();
        assert!(bounds.hi <= deviation, "{bounds:?} {mesh:?}");
        let again = spile_mesh::hausdorff(&mesh, &made.mesh, 0.01 * deviation).bounds();
        assert!(again.lo <= bounds.hi && bounds.lo <= again.hi, "{bounds:?} {again:?} {mesh:?}");
    }
}
