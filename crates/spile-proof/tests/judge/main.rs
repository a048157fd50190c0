//! A good part is held; each way of spoiling it, or of lying in the settled
//! case, is caught by the limit that it offends.

#[path = "../scene/mod.rs"]
mod scene;

mod as_asked;
mod attacks;
mod clear;
mod closed;
mod cones;
mod conflicts;
mod ends;
mod forms;
mod lies;
mod mends;
mod one_per_cent;
mod own_limits;
mod rings;
mod stopped;
mod twins;
mod untouched;
mod wild;

use scene::{Recipe, Scene, scene};
use spile_case::{Ball, Keep, Mend, MendKind, Place};
use spile_mesh::{DVec3, Mesh};
use spile_proof::{Proof, ProofError, Verdict, judge};

fn proof(s: &Scene) -> Proof {
    judge(std::slice::from_ref(&s.scan), &s.part, &s.case).expect("the inputs belong together")
}

fn verdict(p: &Proof, name: &str, end: Option<&str>) -> Verdict {
    let found = p.limits.iter().find(|l| l.name == name && l.end.as_deref() == end);
    found.unwrap_or_else(|| panic!("no limit {name} at {end:?}")).verdict
}

/// The limits that are broken or not judged.
fn offended(p: &Proof) -> Vec<(String, Option<String>)> {
    p.limits
        .iter()
        .filter(|l| !matches!(l.verdict, Verdict::Held | Verdict::NotAsked))
        .map(|l| (l.name.clone(), l.end.clone()))
        .collect()
}

fn assert_only(p: &Proof, expected: &[(&str, Option<&str>)]) {
    let expected: Vec<_> =
        expected.iter().map(|(n, e)| (n.to_string(), e.map(str::to_owned))).collect();
    assert_eq!(offended(p), expected, "{:#?}", p.limits);
    assert_eq!(p.verdict, Verdict::Broken);
}

/// The part with its points and triangles changed.
fn edited(s: &Scene, edit: impl FnOnce(&mut Vec<DVec3>, &mut Vec<[u32; 3]>)) -> Scene {
    let (mut points, mut triangles) = s.part.clone().into_parts();
    edit(&mut points, &mut triangles);
    Scene { part: Mesh::new(points, triangles).expect("a mesh"), ..s.clone() }
}

fn next_f32(x: f64) -> f64 {
    f64::from(f32::from_bits((x as f32).to_bits() + 1))
}

const UPPER: Option<&str> = Some("upper");
const LOWER: Option<&str> = Some("lower");

#[test]
fn a_good_part_is_held() {
    let p = proof(&scene(Recipe::default()));
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    assert_eq!(p.verdict, Verdict::Held);
    assert_eq!((p.part.boundary_edges, p.part.self_intersections, p.part.shells), (0, 0, 1));
    // Nine kept rows a wall, two triangles a column.
    assert_eq!(p.changed.triangles_kept, 2 * 9 * 2 * scene::COLUMNS);
}
