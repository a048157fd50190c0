//! Measures against closed forms, on parts made by hand.

#[path = "../scene/mod.rs"]
mod scene;

mod along;
mod maps;

use scene::Scene;
use spile_proof::judge;
use spile_proof::measures::{Measures, measure};

fn measured(s: &Scene) -> Measures {
    let scans = std::slice::from_ref(&s.scan);
    let proof = judge(scans, &s.part, &s.case).expect("the inputs belong together");
    measure(scans, &s.part, &s.case, &proof).expect("the inputs belong together")
}
