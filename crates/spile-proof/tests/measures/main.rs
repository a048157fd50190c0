//! Measures against closed forms, on parts made by hand.

#[path = "../scene/mod.rs"]
mod scene;

mod along;
mod maps;

use scene::Scene;
use spile_proof::Claim;
use spile_proof::measures::Measures;

fn measured(s: &Scene) -> Measures {
    let scans = std::slice::from_ref(&s.scan);
    let claim = Claim::new(scans, &s.part, &s.case).expect("the inputs belong together");
    let look = claim.look().expect("nobody stops it");
    look.measure(&look.judge().expect("nobody stops it")).expect("nobody stops it")
}
