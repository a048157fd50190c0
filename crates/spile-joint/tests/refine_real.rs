//! Remeshing near the ends of the openly licensed scans of `tests/scans`
//! (origin and licence of each in its README): evenness, the certified bound,
//! and that the rest of the scan stays as it is.
#![expect(clippy::unwrap_used, reason = "the scans are in the repository and known to be whole")]

use std::path::Path;

use spile_mesh::{
    Bvh, DVec3, Lines, Mesh, Patch, RemeshOptions, SizeField, Topology, least_angles_deg,
    near_boundary, radius_ratios, remesh, self_intersections, topology::ends,
};

/// What to do near which end.
struct End {
    scan: &'static str,
    centre: DVec3,
    radius: f64,
    /// Edge length at the rim, and its growth a length.
    edge: f64,
    growth: f64,
    deviation: f64,
}

/// Remeshes as `refine` would, and tests what must hold away from the two rings
/// of triangles at the patch's boundary: a least angle above 25 degrees in
/// 99.5 % of triangles and of 5 in all, a mean radius ratio above 0.9, 98 % of
/// edges between 0.6 and 1.5 of the wanted length; and that no triangle at the
/// boundary is worse than the worst that was there.
fn check(end: &End) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans").join(end.scan);
    let scan = spile_formats::read(&path).unwrap().mesh;
    let near: Vec<u32> = (0..scan.triangles().len() as u32)
        .filter(|&t| scan.corners(t as usize).iter().all(|p| p.distance(end.centre) < end.radius))
        .collect();
    let patch = Patch::lift(&scan, &near);
    let rim = rim_index(&patch);
    let field = SizeField::of(&patch.mesh, end.deviation, 0.1);
    let size = |p: DVec3| {
        let away = rim.closest(p).map_or(0.0, |c| c.distance);
        (end.edge + end.growth * away).min(field.at(p).max(end.edge))
    };
    let options = RemeshOptions {
        kept_points: patch.border,
        lines: Lines::Resampled,
        ..RemeshOptions::new(&size, end.deviation)
    };
    let result = remesh(&patch.mesh, &options).unwrap();
    assert!(result.deviation.bounds().hi <= end.deviation, "{:?}", result.deviation);

    let topology = Topology::of(&result.mesh);
    assert!(topology.nonmanifold_edges().is_empty());
    let beside = near_boundary(&result.mesh, 2);
    let away = |t: usize| !beside[t];
    let angles = least_angles_deg(&result.mesh);
    let inner: Vec<f64> = (0..angles.len()).filter(|&t| away(t)).map(|t| angles[t]).collect();
    let sharp = inner.iter().filter(|&&a| a <= 25.0).count() as f64 / inner.len() as f64;
    let least = inner.iter().copied().fold(90.0, f64::min);
    let ratios = radius_ratios(&result.mesh);
    let ratio =
        (0..ratios.len()).filter(|&t| away(t)).map(|t| ratios[t]).sum::<f64>() / inner.len() as f64;
    let (mut uneven, mut count) = (0, 0);
    for h in (0..3 * result.mesh.triangles().len() as u32).filter(|&h| topology.twin(h) > h) {
        if away(h as usize / 3) && away(topology.twin(h) as usize / 3) {
            let [a, b] = ends(&result.mesh, h).map(|v| result.mesh.points()[v as usize]);
            count += 1;
            let share = a.distance(b) / size(a.midpoint(b));
            uneven += usize::from(!(0.6..=1.5).contains(&share));
        }
    }
    let uneven = f64::from(uneven as u32) / f64::from(count as u32);
    let at_border = near_boundary(&patch.mesh, 2);
    let was = least_angles_deg(&patch.mesh).into_iter().zip(at_border);
    let was = was.filter(|&(_, is_beside)| is_beside).map(|(a, _)| a).fold(90.0, f64::min);
    let now = angles.iter().zip(&beside).filter(|&(_, &b)| b).map(|(&a, _)| a).fold(90.0, f64::min);
    println!(
        "{}: {:.2} % at most 25 degrees, least {least:.1}, radius ratio {ratio:.3}, {:.2} % of edges uneven, \
         at the border {now:.2} where {was:.2} was, {:?}",
        end.scan,
        100.0 * sharp,
        100.0 * uneven,
        result.gave_way
    );
    assert!(sharp < 0.005, "{}: {sharp} of the triangles have an angle of 25 or less", end.scan);
    assert!(least >= 5.0, "{}: an angle of {least}", end.scan);
    assert!(uneven < 0.02, "{}: {uneven} of the edges are uneven", end.scan);
    assert!(ratio > 0.9, "{}: a mean ratio of {ratio}", end.scan);
    assert!(now >= was, "{}: {now} where {was} was", end.scan);

    let back = patch.put_back_mapped(&scan, &result.mesh).unwrap();
    for (new, &old) in back.kept_triangles.iter().enumerate() {
        assert_eq!(back.mesh.corners(new), scan.corners(old as usize));
    }
    // Where the scan has some already, they may go, or stay in the rest.
    let met = self_intersections(&back.mesh.rounded()).len();
    assert!(met <= self_intersections(&scan).len(), "{}: {met} pairs", end.scan);
}

/// The edges where the scan itself ends, for distances from them.
fn rim_index(patch: &Patch) -> Bvh {
    let topology = Topology::of(&patch.mesh);
    let open = topology.boundary().iter().map(|&h| ends(&patch.mesh, h));
    let open = open.filter(|edge| patch.border_edges.binary_search(edge).is_err());
    let segments = open.map(|[a, b]| [a, b, b]).collect();
    Bvh::build(&Mesh::new(patch.mesh.points().to_vec(), segments).unwrap())
}

#[test]
fn a_coarse_trachea_with_a_jagged_rim() {
    // Edges of 1.46 mm; a sampled trial with other code left 0.063 at this
    // edge length and growth.
    let end = End {
        scan: "anatomy/vhm-trachea-jagged-derived.stl",
        centre: DVec3::new(-0.8, 632.5, 37.1),
        radius: 12.0,
        edge: 0.4,
        growth: 0.12,
        deviation: 0.03,
    };
    check(&end);
    check(&End { deviation: 0.005, ..end });
}

#[test]
fn a_trachea_cut_with_slivers() {
    check(&End {
        scan: "anatomy/vhm-trachea-cut-derived.stl",
        centre: DVec3::new(-1.0, 640.4, 39.0),
        radius: 16.0,
        edge: 0.4,
        growth: 0.1,
        deviation: 0.03,
    });
}

#[test]
fn an_airway_full_of_needles_far_from_the_origin() {
    check(&End {
        scan: "anatomy/airway-ct-lumen-derived.stl",
        centre: DVec3::new(1.8, 167.6, 784.7),
        radius: 20.0,
        edge: 0.5,
        growth: 0.1,
        deviation: 0.03,
    });
}

#[test]
fn an_aorta_cut_with_slivers() {
    check(&End {
        scan: "anatomy/aorta-arch-cut-derived.stl",
        centre: DVec3::new(-25.1, 108.1, 700.3),
        radius: 25.0,
        edge: 0.5,
        growth: 0.1,
        deviation: 0.03,
    });
}

#[test]
fn both_walls_of_an_aortic_arch() {
    for (centre, radius) in [((-0.7, 483.4, 2.5), 22.0), ((30.3, 488.6, -54.0), 18.0)] {
        check(&End {
            scan: "anatomy/vhf-aortic-arch-derived.stl",
            centre: DVec3::from(centre),
            radius,
            edge: 0.5,
            growth: 0.1,
            deviation: 0.03,
        });
    }
}

#[test]
fn a_leg_sleeve_and_a_colon_of_large_triangles() {
    check(&End {
        scan: "anatomy/vhf-lower-leg-sleeve-derived.stl",
        centre: DVec3::new(128.8, -664.9, -87.5),
        radius: 60.0,
        edge: 1.5,
        growth: 0.1,
        deviation: 0.05,
    });
    check(&End {
        scan: "anatomy/sbuf-descending-colon-derived.stl",
        centre: DVec3::new(-9.7, 54.9, -18.1),
        radius: 35.0,
        edge: 0.8,
        growth: 0.1,
        deviation: 0.05,
    });
}

#[test]
fn a_jagged_airway_and_the_other_end_of_an_aorta() {
    check(&End {
        scan: "anatomy/airway-ct-lumen-jagged-derived.stl",
        centre: DVec3::new(3.5, 165.7, 771.0),
        radius: 16.0,
        edge: 0.5,
        growth: 0.1,
        deviation: 0.03,
    });
    check(&End {
        scan: "anatomy/aorta-arch-cut-derived.stl",
        centre: DVec3::new(-5.1, 184.4, 700.3),
        radius: 24.0,
        edge: 0.5,
        growth: 0.1,
        deviation: 0.03,
    });
}
