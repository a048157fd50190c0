//! Deviation and thickness, point by point.

use spile_mesh::{DVec3, Mesh};

use crate::measured;
use crate::scene::{
    self, BORE, COLUMNS, LENGTH, NEAR_FACE, OUTSIDE, Recipe, Scene, area_true, place,
};

/// The number of the part's point at a place of the tube's own frame.
fn point_at(s: &Scene, p: DVec3) -> usize {
    s.part.points().iter().position(|&q| q == place(p)).expect("the recipe made this point")
}

fn on_ring(radius: f64, column: usize, height: f64) -> DVec3 {
    let a = std::f64::consts::TAU * column as f64 / COLUMNS as f64;
    DVec3::new(radius * a.cos(), radius * a.sin(), height)
}

#[test]
fn a_good_part_stays_within_its_limit_everywhere() {
    let s = scene::scene(Recipe::default());
    let m = measured(&s);
    assert!(m.doubts.is_empty());
    let d = &m.deviation;
    let [low, high] = d.map.range().unwrap();
    let largest = d.largest.as_ref().unwrap();
    assert!(largest.certified && largest.value <= 0.1);
    assert!(high.max(-low) <= largest.value);
    assert_eq!(d.outward.unwrap().value, high);
    assert_eq!(d.inward.unwrap().value, low);
    assert_eq!((d.area_above_limit.value, d.area_above_limit.certified), (0.0, true));
    // Bins and percentiles stand for the same area, and rise.
    assert!((d.histogram.areas.iter().sum::<f64>() / d.area - 1.0).abs() < 1e-12);
    assert!(d.percentiles.windows(2).all(|p| p[0].value.value <= p[1].value.value));
    // Kept rows have 0, the fitting none.
    assert_eq!(d.map.values[0], Some(0.0));
    let far = point_at(&s, on_ring(area_true(BORE), 3, NEAR_FACE + LENGTH));
    assert_eq!(d.map.values[far], None);
}

#[test]
fn a_bore_pushed_into_its_wall_is_negative_by_as_much() {
    // The scan's noise is 0.02 at most, and the chord between its rows takes another
    // 0.02: r (1 - cos(pi / 48)).
    let noise = 0.02 + BORE * (1.0 - (std::f64::consts::PI / COLUMNS as f64).cos());
    for bump in [0.3, -0.3] {
        let s = scene::scene(Recipe { bump, ..Recipe::default() });
        let m = measured(&s);
        let at = point_at(&s, on_ring(BORE + bump, 7, 26.3));
        let found = m.deviation.map.values[at].unwrap();
        assert!((found + bump).abs() < noise + 0.02, "{found}");
        let worst = if bump > 0.0 { m.deviation.inward } else { m.deviation.outward }.unwrap();
        assert_eq!(worst.value, found);
        assert_eq!(worst.where_, s.part.points()[at].to_array());
        let above = &m.deviation.area_above_limit;
        assert!(!above.certified && above.value > 0.0);
    }
}

#[test]
fn the_fittings_wall_is_that_of_two_polygons() {
    // Two regular 48-gons whose corners face each other, of circumradius r and R: from
    // a corner of the inner one the nearest is a facet's plane, (R - r) cos(pi / n);
    // the ray meets the corner, R - r; the ball that touches both facets beside it has
    // the diameter 2 (R - r) c / (1 + c), c = cos(pi / n). Outward corners have the
    // inner corner nearest, R - r.
    let s = scene::scene(Recipe { rings: RINGS, ..Recipe::default() });
    let t = measured(&s).thickness;
    let (r, big) = (area_true(BORE), area_true(OUTSIDE));
    let c = (std::f64::consts::PI / COLUMNS as f64).cos();
    // Coordinates are f32 values near 60.
    let close = |a: Option<f64>, b: f64| (a.unwrap() - b).abs() < 2e-5;
    for column in 0..COLUMNS {
        let inner = point_at(&s, on_ring(r, column, NEAR_FACE + 12.0));
        assert!(close(t.map.values[inner], (big - r) * c));
        assert!(close(t.ray.values[inner], big - r));
        // The ball is told to a thousandth, and its closed form is nearer to the shortest way.
        let ball = t.ball.values[inner].unwrap() / (2.0 * (big - r) * c / (1.0 + c));
        assert!((ball - 1.0).abs() < 1.1e-3, "{ball}");
        let outer = point_at(&s, on_ring(big, column, NEAR_FACE + 12.0));
        assert!(close(t.map.values[outer], big - r));
    }
}

/// The plain tube's rings with one half-way along.
const RINGS: Option<[&[(f64, f64)]; 2]> = Some([
    &[(0.0, BORE), (12.0, BORE), (LENGTH, BORE)],
    &[(0.0, OUTSIDE), (12.0, OUTSIDE), (LENGTH, OUTSIDE)],
]);

#[test]
fn the_least_wall_is_certified_and_below_every_point() {
    let m = measured(&scene::scene(Recipe::default()));
    let least = m.thickness.least.unwrap();
    let [lowest, _] = m.thickness.map.range().unwrap();
    let [lo, hi] = least.bounds.unwrap();
    assert!(least.certified && least.value == lo && lo <= lowest);
    // Two walls with noise of 0.02 each, 2 apart, less the chord of 48 sides.
    assert!(1.9 < lo && hi < 2.0, "{lo} {hi}");
    let total: f64 = m.thickness.histogram.areas.iter().sum::<f64>() + m.thickness.histogram.above;
    assert!(total > 0.0);
}

#[test]
fn the_ball_lies_between_the_shortest_way_and_the_ray() {
    // The ball's far side is no nearer than the nearest place, and no place of the other
    // side lies in it, so the ray leaves it first. Noise makes every normal lean.
    let t = measured(&scene::scene(Recipe { bump: 0.3, ..Recipe::default() })).thickness;
    let all = t.map.values.iter().zip(&t.ball.values).zip(&t.ray.values);
    let mut looked = 0;
    for ((shortest, ball), ray) in all {
        if let (Some(shortest), Some(ball), Some(ray)) = (shortest, ball, ray) {
            assert!(shortest <= &(ball * (1.0 + 2e-6)) && ball <= &(ray * (1.0 + 1e-9)));
            looked += 1;
        }
    }
    assert!(looked > 1000);
}

#[test]
fn a_made_outside_has_no_deviation_and_a_wall() {
    let s = scene::bore_scene(Recipe::default());
    let m = measured(&s);
    let at = point_at(&s, on_ring(area_true(OUTSIDE), 5, 20.0));
    assert_eq!(m.deviation.map.values[at], None);
    let least = m.thickness.least.unwrap();
    assert!(least.certified && least.value <= m.thickness.map.range().unwrap()[0]);
    assert!((m.thickness.map.values[at].unwrap() - (OUTSIDE - BORE)).abs() < 0.1);
}

#[test]
fn points_at_one_place_have_one_value_and_unused_ones_none() {
    let s = scene::scene(Recipe::default());
    let one = measured(&s);
    // Every triangle with corners of its own, and a point that none names.
    let mut points: Vec<DVec3> = Vec::new();
    let mut triangles = Vec::new();
    for t in 0..s.part.triangles().len() {
        let n = points.len() as u32;
        points.extend(s.part.corners(t));
        triangles.push([n, n + 1, n + 2]);
    }
    points.push(DVec3::ZERO);
    let apart = Scene { part: Mesh::new(points, triangles).unwrap(), ..s.clone() };
    let m = measured(&apart);
    for (t, corners) in s.part.triangles().iter().enumerate() {
        for (k, &v) in corners.iter().enumerate() {
            assert_eq!(m.thickness.map.values[3 * t + k], one.thickness.map.values[v as usize]);
            assert_eq!(m.deviation.map.values[3 * t + k], one.deviation.map.values[v as usize]);
        }
    }
    assert_eq!(m.thickness.map.values.last(), Some(&None));
}

#[test]
fn one_and_many_threads_give_the_same() {
    let s = scene::scene(Recipe { bump: 0.05, ..Recipe::default() });
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| measured(&s))
    };
    let one = on(1);
    assert_eq!(one, on(2));
    assert_eq!(one, on(8));
}
