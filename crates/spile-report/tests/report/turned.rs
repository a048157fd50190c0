//! The part to be turned: what the page holds of it, and what its script may do. The script
//! here is a line; the real one is tried in a browser.

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use quick_xml::Reader;
use quick_xml::events::Event;
use sha2::{Digest as _, Sha256};
use spile_proof::Region;
use spile_report::{Detail, Turned, html};

use crate::scene::{Scene, held};

const SCRIPT: &str = "//<![CDATA[\nif (1 < 2 && document.body) document.title += ' ';\n//]]>";

fn page(scene: &Scene, most: usize, script: Option<&str>) -> String {
    html(
        &scene.document_with(true, Detail { turned: Turned::With(most), ..Detail::default() }),
        script,
    )
}

/// What stands between two texts.
fn between<'a>(page: &'a str, from: &str, to: &str) -> &'a str {
    page.split_once(from).unwrap().1.split_once(to).unwrap().0
}

#[test]
fn the_policy_lets_run_the_very_script_and_style_and_nothing_else() {
    let page = page(&held(), 1000, Some(SCRIPT));
    let policy = between(&page, "Content-Security-Policy\" content=\"", "\"");
    let script = between(&page, "</main>\n<script>", "</script>");
    assert_eq!(script, SCRIPT);
    let style = between(&page, "<style>", "</style>");
    // Content Security Policy Level 3, section 2.3.1: the hash of the element's text.
    let hash = |text: &str| format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)));
    assert_eq!(
        policy,
        format!(
            "default-src 'none'; script-src {}; style-src {}; img-src data:; base-uri 'none'; form-action 'none'",
            hash(script),
            hash(style)
        )
    );
    let mut reader = Reader::from_str(&page);
    reader.config_mut().check_end_names = true;
    while !matches!(reader.read_event().unwrap(), Event::Eof) {}
}

#[test]
fn without_a_script_or_with_one_that_breaks_off_the_page_is_as_it_was() {
    let plain = html(&held().document(true), None);
    assert!(plain.contains("script-src 'none'"));
    let bad = ["</script>", "a<!--b", "a[b]]>c", "\r\n"];
    let bordered = bad.map(|inner| format!("//<![CDATA[\n{inner}\n//]]>"));
    for script in bordered.iter().map(|s| Some(s.as_str())).chain([None, Some("1 < 2")]) {
        assert!(page(&held(), 1000, script) == plain, "{script:?}");
    }
    // Where there is no part there is nothing to turn.
    assert!(!html(&held().document(false), Some(SCRIPT)).contains("<script"));
}

#[test]
fn a_part_that_is_too_much_to_be_turned_is_told_and_no_script_runs() {
    let detail = Detail { turned: Turned::TooMuch, ..Detail::default() };
    let page = html(&held().document_with(true, detail), Some(SCRIPT));
    assert!(page.contains("This part cannot be turned in the page"));
    assert!(page.contains("script-src 'none'") && !page.contains("<script"));
    assert!(!html(&held().document(true), Some(SCRIPT)).contains("cannot be turned"));
}

/// The words that the page holds.
fn words(told: &serde_json::Value) -> Vec<u32> {
    let packed = BASE64_STANDARD.decode(told["words"].as_str().unwrap()).unwrap();
    let bytes = miniz_oxide::inflate::decompress_to_vec_zlib(&packed).unwrap();
    let count = bytes.len() / 4;
    let mut before = 0_u32;
    let word = |k: usize| {
        let less = u32::from_le_bytes([0, 1, 2, 3].map(|plane| bytes[plane * count + k]));
        before = before.wrapping_add(less);
        before
    };
    (0..count).map(word).collect()
}

#[test]
fn the_page_holds_the_parts_own_points_triangles_and_values() {
    let scene = held();
    let page = page(&scene, 1000, Some(SCRIPT));
    let told = between(&page, "<script type=\"application/json\">", "</script>");
    let told: serde_json::Value = serde_json::from_str(told).unwrap();
    let (points, triangles) = (scene.part.points(), scene.part.triangles());
    assert_eq!(told["points"], points.len());
    assert_eq!([&told["triangles"], &told["whole"], &told["of"]], [triangles.len(); 3]);
    let words = words(&told);
    let maps = told["maps"].as_array().unwrap().len();
    assert_eq!((maps, words.len()), (2, 5 * points.len() + 4 * triangles.len()));
    let (n, m) = (points.len(), triangles.len());
    for (corners, t) in triangles.iter().zip(0..) {
        for (k, v) in corners.iter().enumerate() {
            let shown = words[3 * n + k * m + t] as usize;
            let at = |axis: usize| f32::from_bits(words[axis * n + shown]);
            let own = points[*v as usize].as_vec3().to_array();
            assert_eq!([at(0), at(1), at(2)], own, "triangle {t}");
            let wall = f32::from_bits(words[4 * n + 4 * m + shown]);
            let known = scene.measures.thickness.map.values[*v as usize];
            assert!(known.map_or(wall.is_nan(), |known| wall == known as f32), "{wall} {known:?}");
        }
        // A quarter each: kept, replaced, joint, fitting.
        assert_eq!(words[3 * n + 3 * m + t] as usize, t * 4 / m);
    }
    assert!(page.contains(&format!("All {m} triangles of the part are shown.")));
    assert_eq!(told["places"][0]["name"], "deviation at end upper: 0.0412 mm");
}

#[test]
fn what_is_simplified_says_so() {
    let mut scene = held();
    let count = scene.part.triangles().len();
    scene.labels.part.iter_mut().for_each(|label| label.region = Region::Kept);
    // The end face alone is new.
    scene.labels.part[count / 4..count / 2].iter_mut().for_each(|l| l.region = Region::EndFace);
    let page = page(&scene, 100, Some(SCRIPT));
    let told = between(&page, "<script type=\"application/json\">", "</script>");
    let told: serde_json::Value = serde_json::from_str(told).unwrap();
    assert_eq!((&told["of"], &told["whole"]), (&count.into(), &(count / 4).into()));
    let shown = told["triangles"].as_u64().unwrap() as usize - count / 4;
    // What is new is bordered by all of its points: those stay.
    assert!(shown < count / 2, "{shown}");
    let note = format!("other {} are simplified to {shown} for this picture", count * 3 / 4);
    assert!(page.contains(&note), "{note}");
}
