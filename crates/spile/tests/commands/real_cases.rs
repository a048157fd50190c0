//! Cases on a real scan that the open scans' own case files do not have: its two walls
//! as two files, and limits that do not hold together.

use serde_json::Value;
use spile_formats::{FileUnit, read_bytes, stl};
use spile_mesh::{Mesh, Topology, shells};

use crate::support::{Work, repository_scan};

/// The scan of a trachea with both walls (licence beside it) and its case.
const SCAN: &str = "anatomy/vhm-trachea-jagged-derived.stl";

/// The case, with another scan and other keys: what each is replaced by.
fn case(changes: &[(&str, &str)]) -> String {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let text = std::fs::read_to_string(root.join("tests/real/trachea-cut.toml")).unwrap();
    changes.iter().fold(text, |text, (from, to)| {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text.replace(from, to)
    })
}

const FILE: &str = "file = \"../scans/anatomy/vhm-trachea-jagged-derived.stl\"";

/// The scan's two walls as STL files, the smaller first.
fn walls() -> [Vec<u8>; 2] {
    let scan = read_bytes("scan.stl", &repository_scan(SCAN)).unwrap().mesh;
    let pieces = shells(&scan, &Topology::of(&scan));
    let mut walls: Vec<Mesh> = (0..pieces.count as u32)
        .map(|piece| {
            let own = scan.triangles().iter().zip(&pieces.label).filter(|(_, l)| **l == piece);
            Mesh::of_used(scan.points(), own.map(|(t, _)| *t).collect()).unwrap()
        })
        .collect();
    walls.sort_by(|a, b| a.area().total_cmp(&b.area()));
    let [inner, outer] = walls.try_into().expect("two walls");
    [inner, outer].map(|wall| {
        let mut bytes = Vec::new();
        stl::write(&wall, FileUnit::Millimetre, &mut bytes).unwrap();
        bytes
    })
}

#[test]
fn a_scan_of_two_sheets_gives_a_part_that_holds_what_one_of_both_walls_holds() {
    let work = Work::new();
    let [inner, outer] = walls();
    work.write("inner.stl", inner)
        .write("outer.stl", outer)
        .write("scan.stl", repository_scan(SCAN));
    let sheets = [(FILE, "files = [\"inner.stl\", \"outer.stl\"]"), ("\"shell\"", "\"sheets\"")];
    work.write("sheets.toml", case(&sheets))
        .write("shell.toml", case(&[(FILE, "file = \"scan.stl\"")]));
    let measured = ["sheets", "shell"].map(|name| {
        let ran = work.spile(&["run", &format!("{name}.toml"), "--without-report"]);
        assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
        let proof: Value =
            serde_json::from_str(&work.read(&format!("{name}-out/proof.json"))).unwrap();
        let rows = proof["limits"].as_array().unwrap().clone();
        let row = |limit: &str| {
            let row = rows.iter().find(|r| r["name"] == limit && r["end"] == "upper");
            row.and_then(|r| r["measured"].as_f64()).unwrap()
        };
        ["deviation", "wall_min", "kink"].map(row)
    });
    // The same surface in another order of triangles: its part may differ by little.
    for (sheets, shell) in measured[0].iter().zip(measured[1]) {
        assert!((sheets - shell).abs() < 0.1 * shell, "{measured:?}");
    }
    let ran = work.spile(&["prove", "sheets-out"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
}

/// A wall that the fitting itself has not: no part can hold it, and each of the two
/// values that are told ends held when it is put into the case.
#[test]
fn what_is_told_to_hold_on_a_real_scan_does_hold() {
    let work = Work::new();
    work.write("scan.stl", repository_scan(SCAN));
    let thick = |wall: &str, outside: &str| {
        let changes =
            [(FILE, "file = \"scan.stl\""), ("wall_min = 1.2", wall), ("outside = 20.0", outside)];
        case(&changes)
    };
    work.write("a.toml", thick("wall_min = 2.3", "outside = 20.0"));
    let ran = work.spile(&["run", "a.toml", "--without-report"]);
    assert_eq!(ran.code, 1, "{}{}", ran.stdout, ran.stderr);
    let proof: Value = serde_json::from_str(&work.read("a-out/proof.json")).unwrap();
    let conflict = &proof["conflicts"][0];
    assert_eq!(conflict["certain"], true, "{conflict}");
    let told = conflict["would_hold"].as_array().unwrap();
    let keys: Vec<&str> = told.iter().filter_map(|w| w["key"].as_str()).collect();
    assert_eq!(keys, ["limits.wall_min", "end.fitting.outside"], "{conflict}");
    for way in told {
        assert_eq!(way["known_by"], "made again", "{way}");
        let value = way["value"].as_f64().unwrap();
        let changed = match way["key"].as_str() {
            Some("limits.wall_min") => thick(&format!("wall_min = {value}"), "outside = 20.0"),
            _ => thick("wall_min = 2.3", &format!("outside = {value}")),
        };
        work.write("b.toml", changed);
        let ran = work.spile(&["run", "b.toml", "--without-report"]);
        assert_eq!(ran.code, 0, "{way}\n{}{}", ran.stdout, ran.stderr);
    }
}
