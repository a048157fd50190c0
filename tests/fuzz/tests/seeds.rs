//! Every seed of every fuzz target, what fuzzing found among them, through the
//! target's own check.

use std::path::Path;

use spile_fuzz_checks::{TARGETS, hostile_mesh};

/// The seeds of a target, by name.
fn seeds(target: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("seeds").join(target);
    let entries = std::fs::read_dir(&folder).unwrap_or_else(|e| panic!("{folder:?}: {e}"));
    let mut paths: Vec<_> = entries.map(|entry| entry.expect("it can be listed").path()).collect();
    paths.sort();
    let seed = |path: &Path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        (name, std::fs::read(path).expect("the seed reads"))
    };
    paths.iter().map(|path| seed(path)).collect()
}

#[test]
fn every_target_holds_on_its_seeds() {
    for (target, check) in TARGETS {
        let seeds = seeds(target);
        assert!(seeds.len() >= 5, "{target} has {} seeds", seeds.len());
        for (name, bytes) in seeds {
            // On what a panic says, this names the file.
            println!("{target}/{name}");
            check(&bytes);
        }
    }
}

#[test]
fn every_target_is_a_program_of_its_own() {
    let targets = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/fuzz_targets");
    let mut programs: Vec<String> = std::fs::read_dir(targets)
        .expect("the folder is there")
        .map(|entry| entry.expect("it can be listed").path())
        .filter_map(|path| Some(path.file_stem()?.to_string_lossy().into_owned()))
        .collect();
    programs.sort();
    assert_eq!(programs, TARGETS.map(|(name, _)| name));
}

#[test]
fn seeds_of_meshes_give_meshes() {
    for target in ["mend", "remesh", "self_intersections"] {
        let meshes =
            seeds(target).iter().filter(|(_, bytes)| hostile_mesh(bytes).is_some()).count();
        assert!(meshes >= 5, "{target}: {meshes}");
    }
}
