//! `fittings`, and that its JSON document stands alone on standard output.

use crate::support::Work;

#[test]
fn the_list_for_a_person_and_for_a_script() {
    let work = Work::new();
    insta::assert_snapshot!("fittings", work.spile(&["fittings"]).whole());
    let ran = work.spile(&["fittings", "--json"]);
    insta::assert_snapshot!("fittings json", ran.whole());
    assert_eq!(ran.json()["fittings"][0]["kind"], "tube");
    // Nothing is called conforming.
    for text in [work.spile(&["fittings"]).whole(), ran.whole()] {
        assert!(!text.contains("conform") && !text.contains("compliant"), "{text}");
    }
}
