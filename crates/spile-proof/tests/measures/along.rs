//! The line, its sections, balls and losses, and the seams.

use std::f64::consts::PI;

use spile_case::{Flow, Output};
use spile_mesh::DVec3;
use spile_proof::measures::{FlowLine, On, Stop};

use crate::measured;
use crate::scene::{
    self, BORE, COLUMNS, LENGTH, LOWER_CUT, NEAR_FACE, OUTSIDE, Recipe, UPPER_CUT, area_true, turn,
};

fn the_line(recipe: Recipe) -> FlowLine {
    let mut m = measured(&scene::scene(recipe));
    let ways = m.lines.iter().map(|l| (&l.from, l.stop, l.stations.last().map(|s| s.s)));
    let ways: Vec<_> = ways.collect();
    assert_eq!(m.lines.len(), 1, "the line from the upper end comes to the lower one: {ways:?}");
    m.lines.remove(0)
}

#[test]
fn one_line_runs_from_the_fitting_to_the_plain_end() {
    let line = the_line(Recipe::default());
    assert_eq!((line.from.as_str(), line.to.as_deref()), ("upper", Some("lower")));
    assert_eq!(line.stop, Stop::End);
    assert!(line.stations.windows(2).all(|p| p[0].s > p[1].s));
    // It is as long as fitting, joint and scan, but for half a spacing at each end.
    let (first, last) = (&line.stations[0], &line.stations[line.stations.len() - 1]);
    let spacing = BORE / 4.0 + 0.1;
    let far = NEAR_FACE + LENGTH - UPPER_CUT;
    assert!(first.on == On::Fitting && far - first.s < spacing && first.s < far);
    assert!(last.on == On::Scan && (last.s + UPPER_CUT - LOWER_CUT).abs() < spacing);
    for on in [On::Fitting, On::Joint, On::Scan] {
        assert!(line.stations.iter().any(|s| s.on == on), "{on:?}");
    }
    // A straight tube: noise of 0.02 aside the line is straight and the planes square to it.
    for s in &line.stations {
        assert!(DVec3::from_array(s.normal).dot(turn(DVec3::Z)) > 0.9999);
        assert!(s.curvature.is_none_or(|k| k < 1e-3), "{:?}", s.curvature);
        assert_eq!(s.before.is_some(), s.on == On::Scan);
    }
}

#[test]
fn sections_of_the_fitting_are_regular_polygons() {
    // A regular 48-gon of the circle's area (check-values, section 5): area pi r^2,
    // perimeter 2 n R sin(pi / n), inscribed R cos(pi / n), circumscribed R.
    let line = the_line(Recipe::default());
    let n = COLUMNS as f64;
    let corner = area_true(BORE);
    let perimeter = 2.0 * n * corner * (PI / n).sin();
    let wall = (area_true(OUTSIDE) - corner) * (PI / n).cos();
    // Coordinates are f32 values near 60.
    let close = |a: f64, b: f64| (a / b - 1.0).abs() < 2e-6;
    let mut looked = 0;
    for station in line.stations.iter().filter(|s| s.on == On::Fitting) {
        let found = station.after.as_ref().unwrap();
        assert!(close(found.area, PI * BORE * BORE), "{found:?}");
        assert!(close(found.perimeter, perimeter));
        assert!(close(found.hydraulic_diameter, 4.0 * PI * BORE * BORE / perimeter));
        assert!(close(found.circumscribed_diameter, 2.0 * corner));
        let [lo, hi] = found.inscribed_diameter;
        let inscribed = 2.0 * corner * (PI / n).cos();
        assert!(lo <= inscribed * (1.0 + 2e-6) && inscribed <= hi * (1.0 + 2e-6), "{lo} {hi}");
        // Corners of the section lie between those of the mesh, too, where the other
        // side is as far.
        assert!((found.wall.unwrap() / wall - 1.0).abs() < 1e-4, "{:?} {wall}", found.wall);
        looked += 1;
    }
    assert!(looked >= 10);
}

#[test]
fn the_ball_is_as_wide_as_the_narrowest_place_lets_it() {
    let good = the_line(Recipe::default());
    let whole = good.ball_whole.unwrap();
    let [lo, hi] = whole.diameter.bounds.unwrap();
    // The scan's 48 sides of radius 9 less noise of 0.02: 2 r cos(pi / n) at most.
    let polygon = 2.0 * BORE * (PI / COLUMNS as f64).cos();
    assert!(polygon - 0.08 < lo && lo <= hi && hi < polygon + 0.04, "{lo} {hi}");
    // A dent of 1 in the replaced scan is where it gets stuck, after and not before.
    let bent = the_line(Recipe { bump: -1.0, ..Recipe::default() });
    let (before, after) = (bent.ball_before.unwrap(), bent.ball_after.unwrap());
    assert!(before.diameter.value > polygon - 0.08);
    assert!(after.diameter.value < before.diameter.value - 0.4);
    let dent = scene::place(DVec3::new(0.0, 0.0, 26.3));
    assert!(DVec3::from_array(after.where_).distance(dent) < 4.0, "{after:?}");
    assert_eq!((after.on, bent.ball_whole.unwrap().on), (On::Scan, On::Scan));
}

#[test]
fn the_loss_is_that_of_the_tube() {
    // Per flow rate and viscosity 8 L / (pi r^4), r = 9 mm; the polygon's hydraulic
    // diameter is smaller by cos(pi / n) about, which counts twice.
    let line = the_line(Recipe::default());
    for loss in [line.loss_before, line.loss_after, line.loss_whole] {
        let loss = loss.unwrap();
        let tube = 8.0 * loss.length * 1e-3 / (PI * (BORE * 1e-3).powi(4));
        let share = loss.resistance_per_m3.value / tube;
        assert!(0.995 < share && share < 1.02, "{share}");
        assert!(loss.loss_pa.is_none() && loss.reynolds.is_none());
    }
}

#[test]
fn seams_of_a_good_part_are_flat_and_a_bulge_shows() {
    let m = measured(&scene::scene(Recipe::default()));
    let names: Vec<&str> = m.seams.iter().map(|s| s.seam.as_str()).collect();
    // Upper: scan and fitting seams on both sides; lower: the plain end's two.
    assert_eq!(names.len(), 6, "{names:?}");
    let bent = measured(&scene::scene(Recipe { joint_bulge: 0.5, ..Recipe::default() }));
    let of = |m: &spile_proof::measures::Measures| m.seams[0].largest_deg.clone().unwrap();
    // Up 0.5 over the first row's height of 2: atan(1 / 4) = 14.04 degrees.
    assert!(of(&m).value < 2.0);
    let tilt = 0.25_f64.atan().to_degrees();
    assert!((of(&bent).value - tilt).abs() < 0.1, "{:?}", of(&bent));
    assert_eq!(bent.seams[0].along.len(), COLUMNS);
    let round = 2.0 * COLUMNS as f64 * BORE * (PI / COLUMNS as f64).sin();
    assert!((bent.seams[0].length / round - 1.0).abs() < 1e-5);
    assert!((bent.seams[0].mean_deg - tilt).abs() < 0.1);
}

#[test]
fn the_bulk_is_the_proofs() {
    let s = scene::scene(Recipe::default());
    let proof = spile_proof::judge(std::slice::from_ref(&s.scan), &s.part, &s.case).unwrap();
    let m = measured(&s);
    let volume = m.bulk.volume.unwrap();
    assert!((volume.value / proof.part.volume - 1.0).abs() < 1e-12);
    assert!((m.bulk.area.value / proof.part.area - 1.0).abs() < 1e-12);
    assert!((m.voids.len(), m.overhang.is_none()) == (0, true));
}

#[test]
fn mass_and_loss_follow_from_what_the_case_says() {
    let mut s = scene::scene(Recipe::default());
    // check-values, section 4.4: air, 15 L/min in a bore of 18 mm: Re 1166.65, 1.77081 Pa/m.
    let air = Flow { rate_l_min: 15.0, density_kg_m3: 1.204, viscosity_pa_s: 1.825e-5 };
    s.case.output = Output { density_g_cm3: Some(1.05), flow: Some(air), ..Output::default() };
    let m = measured(&s);
    let grams = m.bulk.mass_g.unwrap().value;
    assert!((grams / (1.05e-3 * m.bulk.volume.unwrap().value) - 1.0).abs() < 1e-12);
    let loss = m.lines[0].loss_whole.as_ref().unwrap();
    let per_metre = loss.loss_pa.as_ref().unwrap().value / (loss.length * 1e-3);
    // 48 sides of radius 9 on the scan are a little narrower than the circle.
    assert!((per_metre / 1.77081 - 1.0).abs() < 0.02, "{per_metre}");
    let [low, high] = loss.reynolds.unwrap();
    assert!(1166.65 * 0.99 < low && low <= high && high < 1166.65 * 1.01, "{low} {high}");
    // 0.06 Re D is over a metre, and the line 60 mm long.
    assert_eq!(loss.warnings.len(), 1, "{:?}", loss.warnings);
}

#[test]
fn a_tube_overhangs_by_a_quarter_when_it_lies_and_not_when_it_stands() {
    let built = |up: DVec3| {
        let mut s = scene::scene(Recipe::default());
        s.case.output.build_direction = Some(turn(up).to_array());
        measured(&s).overhang.unwrap()
    };
    // On the fitting's far face, a ring between polygons of the circles' areas.
    let standing = built(-DVec3::Z);
    assert_eq!(standing.area.value, 0.0);
    let ring = PI * (OUTSIDE * OUTSIDE - BORE * BORE);
    assert!((standing.on_plate / ring - 1.0).abs() < 1e-5, "{standing:?}");
    // Lying, the lower quarter of the outside and the upper quarter of the bore face down by
    // less than 45 degrees: 12 of 48 sides.
    let lying = built(DVec3::X).area.value;
    let quarter = 0.25 * 2.0 * PI * (BORE + OUTSIDE) * (NEAR_FACE + LENGTH - LOWER_CUT);
    assert!((lying / quarter - 1.0).abs() < 0.02, "{lying} {quarter}");
}
