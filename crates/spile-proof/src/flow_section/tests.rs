//! Queries against plain searches.

use super::*;

/// Triangles strewn in a box, in runs that lie together and across it.
fn strewn(count: u32) -> BoreSurface {
    let at = |k: u32, j: u32| {
        let hash = |n: u32| f64::from(n.wrapping_mul(2_654_435_761) >> 16) / 65536.0;
        let home = 9.0 * f64::from(k / 50) / 20.0;
        DVec3::new(home + hash(9 * k + j), hash(9 * k + j + 3), hash(9 * k + j + 6))
    };
    let points = (0..count).flat_map(|k| [at(k, 0), at(k, 1), at(k, 2)]).collect();
    let mesh = Mesh::new(points, (0..count).map(|k| [3 * k, 3 * k + 1, 3 * k + 2]).collect());
    BoreSurface::of(&mesh.unwrap(), &(0..count).collect::<Vec<_>>())
}

#[test]
fn runs_leave_out_nothing_that_a_plain_search_finds() {
    let bore = strewn(1000);
    for k in 0..40 {
        let s = 0.25 * f64::from(k);
        let (centre, radius) = (DVec3::new(s, 0.4, 0.6), 0.3 + 0.02 * s);
        let ball = |t: &u32| {
            bore.balls[*t as usize].0.distance(centre) <= radius + bore.balls[*t as usize].1
        };
        let plain: Vec<u32> = (0..1000).filter(ball).collect();
        assert_eq!(bore.touching(centre, radius), plain);
        let frame = Frame::new(centre, DVec3::new(1.0, 0.1 * s, -0.2));
        let crossed = |t: &u32| {
            let [low, high] = bore.heights(*t, &frame);
            low <= 0.1 && high >= 0.0
        };
        let plain: Vec<u32> = (0..1000).filter(crossed).collect();
        assert_eq!(bore.between(&frame, 0.0, 0.1), plain);
        assert!(plain.len() > 3 && plain.len() < 900);
        let both = |t: &u32| ball(t) && bore.heights(*t, &frame)[0] <= 0.0;
        let plain: Vec<u32> =
            (0..1000).filter(|t| both(t) && bore.heights(*t, &frame)[1] >= 0.0).collect();
        assert_eq!(bore.crossing(&frame, radius), plain);
    }
}
