//! Files of a part for other programs: what is written reads back, and the rules that a
//! format sets. Reference readers stand in `tests/outside/`.

#![allow(clippy::unwrap_used, reason = "a test's own helpers may fail it")]

use serde_json::Value;
use spile_formats::ply::PointValues;
use spile_formats::{
    Drawing, FileUnit, Group, Groups, Layer, LineColour, PartInfo, Shape, WriteError, dxf, glb,
    obj, ply, read_bytes, svg,
};
use spile_mesh::{DVec3, Mesh};

/// Right-angled at the origin, with legs of 22: check-values 3.5 and C31.
fn tetrahedron() -> Mesh {
    let points = vec![DVec3::ZERO, 22.0 * DVec3::X, 22.0 * DVec3::Y, 22.0 * DVec3::Z];
    Mesh::new(points, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap()
}

/// The corners of these triangles of the tetrahedron: readers number points as they come.
fn of_tetrahedron(order: [usize; 4]) -> Vec<[DVec3; 3]> {
    order.map(|t| tetrahedron().corners(t)).into()
}

fn corners(mesh: &Mesh) -> Vec<[DVec3; 3]> {
    (0..mesh.triangles().len()).map(|t| mesh.corners(t)).collect()
}

fn groups(of: &[u32]) -> Groups {
    let group = |(name, colour): (&str, [u8; 3])| Group { name: name.to_owned(), colour };
    let groups = [("bore", [255, 0, 0]), ("unused", [0; 3]), ("end_face_a-b", [0, 188, 255])];
    Groups { groups: groups.map(group).into(), of: of.to_vec() }
}

fn info(unit: FileUnit) -> PartInfo {
    PartInfo {
        unit,
        title: "left duct \u{e9}".to_owned(),
        description: "geometry only;\nmaterial is for others".to_owned(),
        application: "spile 0.1".to_owned(),
    }
}

fn unfit(result: Result<(), WriteError>) -> String {
    match result {
        Err(WriteError::Unfit { what, .. }) => what,
        other => panic!("{other:?}"),
    }
}

#[test]
fn obj_names_each_group_once_and_reads_back() {
    let mut bytes = Vec::new();
    obj::write(&tetrahedron(), &groups(&[2, 0, 2, 0]), &info(FileUnit::Inch), &mut bytes).unwrap();
    let text = String::from_utf8(bytes.clone()).unwrap();
    let body: Vec<&str> = text.lines().filter(|l| !l.starts_with(['#', 'v'])).collect();
    let wanted = ["o part", "g bore", "f 1 2 4", "f 2 3 4", "g end_face_a-b", "f 1 3 2", "f 1 4 3"];
    assert_eq!(body, wanted);
    for line in ["# left duct \\u{e9}", "# material is for others", "# lengths are in in"] {
        assert!(text.lines().any(|l| l == line), "{line}\n{text}");
    }
    let read = read_bytes("part.obj", &bytes).unwrap().mesh;
    assert_eq!(corners(&read), of_tetrahedron([1, 3, 0, 2]));
}

#[test]
fn groups_that_do_not_fit_the_mesh_or_the_format_are_refused() {
    let write = |groups: &Groups| {
        unfit(obj::write(&tetrahedron(), groups, &info(FileUnit::Inch), &mut Vec::new()))
    };
    assert!(write(&groups(&[0, 0, 0])).contains("not every triangle"));
    assert!(write(&groups(&[0, 0, 0, 3])).contains("not every triangle"));
    let mut wrong = groups(&[0; 4]);
    wrong.groups[1].name = "two words".to_owned();
    assert!(write(&wrong).contains("'two words'"));
    wrong.groups[1].name = "bore".to_owned();
    assert!(write(&wrong).contains("'bore' comes twice"));
}

#[test]
fn ply_carries_values_and_groups_and_reads_back() {
    let deviation = PointValues {
        name: "deviation".to_owned(),
        meaning: "signed, in mm".to_owned(),
        values: vec![0.25, f32::NAN, -1.0, 3.5],
    };
    let write = |values: &[PointValues]| {
        let mut bytes = Vec::new();
        let groups = groups(&[2, 0, 2, 0]);
        ply::write(&tetrahedron(), values, &groups, &info(FileUnit::Millimetre), &mut bytes)
            .map(|()| bytes)
    };
    let bytes = write(std::slice::from_ref(&deviation)).unwrap();
    let end = bytes.windows(11).position(|w| w == b"end_header\n").unwrap() + 11;
    let header = std::str::from_utf8(&bytes[..end]).unwrap();
    for line in [
        "comment deviation: signed, in mm",
        "comment lengths are in mm",
        "comment group 2: end_face_a-b",
        "property float deviation",
        "property uchar group",
    ] {
        assert!(header.lines().any(|l| l == line), "{line}\n{header}");
    }
    // Four points of four floats; four triangles of a count, three indices and a group.
    assert_eq!(bytes.len() - end, 4 * 16 + 4 * (1 + 12 + 1));
    assert_eq!(bytes[end + 12..end + 16], 0.25_f32.to_le_bytes());
    let read = read_bytes("part.ply", &bytes).unwrap().mesh;
    assert_eq!(corners(&read), of_tetrahedron([0, 1, 2, 3]));

    let named = |name: &str| PointValues { name: name.to_owned(), ..deviation.clone() };
    for wrong in [vec![named("x")], vec![named("a b")], vec![named("1a")], vec![named("a"); 2]] {
        assert!(unfit(write(&wrong).map(|_| ())).contains("is no name"));
    }
    let short = PointValues { values: vec![0.0; 3], ..deviation.clone() };
    assert!(unfit(write(&[short]).map(|_| ())).contains("one value a point"));
}

/// The JSON chunk and the binary one.
fn chunks(bytes: &[u8]) -> (Value, Vec<u8>) {
    let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    assert_eq!([word(0), word(4), word(8)], [0x4654_6C67, 2, bytes.len() as u32]);
    let text = word(12) as usize;
    assert_eq!((word(16), text % 4), (0x4E4F_534A, 0));
    let body = 20 + text;
    let size = word(body) as usize;
    assert_eq!((word(body + 4), size % 4, body + 8 + size), (0x004E_4942, 0, bytes.len()));
    (serde_json::from_slice(&bytes[20..body]).unwrap(), bytes[body + 8..].to_vec())
}

/// check-values 3.5, and section 0: a glTF file written in millimetres is 1000 times too large.
#[test]
fn glb_is_in_metres_and_keeps_the_rules_of_its_form() {
    for (unit, wide) in [
        (FileUnit::Millimetre, 0.022_f32),
        (FileUnit::Centimetre, 0.22),
        (FileUnit::Metre, 22.0),
        (FileUnit::Inch, 0.5588),
    ] {
        let mut bytes = Vec::new();
        glb::write(&tetrahedron(), &groups(&[2, 0, 2, 0]), &info(unit), &mut bytes).unwrap();
        let (document, binary) = chunks(&bytes);
        let names: Vec<&Value> =
            document["nodes"].as_array().unwrap().iter().map(|n| &n["name"]).collect();
        assert_eq!(names, ["bore", "end_face_a-b"]);
        // Group `bore` has all four points; three floats, four bytes and, for two
        // triangles, six indices of four bytes each.
        let views = document["bufferViews"].as_array().unwrap();
        let lengths: Vec<u64> = views.iter().map(|v| v["byteLength"].as_u64().unwrap()).collect();
        assert_eq!(lengths, [48, 16, 24, 48, 16, 24]);
        assert_eq!(document["buffers"][0]["byteLength"], 176);
        assert_eq!(binary.len(), 176);
        let positions = &document["accessors"][0];
        assert_eq!(positions["max"], serde_json::json!([wide, wide, wide]), "{unit:?}");
        assert_eq!(binary[12..16], wide.to_le_bytes());
        // sRGB 188 is 0.5 of the light (IEC 61966-2-1), 128 of 255 when rounded.
        assert_eq!(binary[48..52], [255, 0, 0, 255]);
        assert_eq!(binary[88 + 48..88 + 52], [0, 128, 255, 255]);
    }
    let empty = Mesh::new(Vec::new(), Vec::new()).unwrap();
    let refused = glb::write(&empty, &groups(&[]), &info(FileUnit::Metre), &mut Vec::new());
    assert!(unfit(refused).contains("no triangle"));
}

fn drawing(unit: FileUnit) -> Drawing {
    let outline = Shape::Outline(vec![[-2.0, 1.0], [4.0, 1.0], [4.0, 5.0]]);
    let text = Shape::Text { at: [-2.0, 0.0], height: 0.5, text: "5 < \u{d8}".to_owned() };
    let circle = Shape::Circle { centre: [1.0, 2.0], radius: 0.1 };
    let layer =
        |(name, colour, shapes): (&str, _, _)| Layer { name: name.to_owned(), colour, shapes };
    let layers = [
        ("bore", LineColour::Blue, vec![outline]),
        ("notes", LineColour::Black, vec![text, circle, Shape::Line([[0.0, 0.0], [1.0, 1.0]])]),
    ];
    Drawing { info: info(unit), layers: layers.map(layer).into() }
}

/// SVG 1.1, 7.7: the view box lies on the page, so page over box is the scale. 0.16 + 6 and 0.08 of
/// margin on either side of 6 and 5.15; y runs down.
#[test]
fn svg_is_at_true_scale_in_a_unit_that_it_has() {
    for (unit, scale, symbol) in [
        (FileUnit::Millimetre, 1.0, "mm"),
        (FileUnit::Centimetre, 1.0, "cm"),
        (FileUnit::Inch, 1.0, "in"),
        (FileUnit::Metre, 1000.0, "mm"),
    ] {
        let text = svg::text(&drawing(unit));
        let value = |name: &str| {
            let from = text.split(&format!("{name}=\"")).nth(1).unwrap();
            from.split('"').next().unwrap().to_owned()
        };
        let page: f64 = value("width").strip_suffix(symbol).unwrap().parse().unwrap();
        let view: Vec<f64> = value("viewBox").split(' ').map(|x| x.parse().unwrap()).collect();
        assert!((page / view[2] - scale).abs() < 1e-6 * scale, "{text}");
        assert!(view[0] < -2.0 && view[0] + view[2] > 4.0);
        assert!(view[1] < -5.0 && view[1] + view[3] > 0.0);
        assert!(text.contains("<g id=\"bore\""));
        assert!(text.contains("d=\"M-2 -1L4 -1L4 -5Z\""), "{text}");
        assert!(text.contains(">5 &lt; \u{d8}</text>"));
        assert!(text.contains("geometry only"));
    }
}

/// Pairs of lines, code and value; each handle once, the seed above all of them.
#[test]
fn dxf_tells_its_unit_and_numbers_everything_once() {
    for (unit, code) in [
        (FileUnit::Inch, "1"),
        (FileUnit::Millimetre, "4"),
        (FileUnit::Centimetre, "5"),
        (FileUnit::Metre, "6"),
    ] {
        let text = dxf::text(&drawing(unit));
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len() % 2, 0);
        let pairs: Vec<(&str, &str)> = lines.chunks(2).map(|p| (p[0].trim(), p[1])).collect();
        let at = |wanted: (&str, &str)| pairs.iter().position(|&p| p == wanted).unwrap();
        assert_eq!(pairs[at(("9", "$INSUNITS")) + 1], ("70", code));
        let seed = u32::from_str_radix(pairs[at(("9", "$HANDSEED")) + 1].1, 16).unwrap();
        let after = &pairs[at(("2", "TABLES"))..];
        let mut handles: Vec<u32> = after
            .iter()
            .filter(|(code, _)| matches!(*code, "5" | "105"))
            .map(|(_, value)| u32::from_str_radix(value, 16).unwrap())
            .collect();
        handles.sort_unstable();
        assert!(handles.windows(2).all(|pair| pair[0] != pair[1]), "{handles:?}");
        assert!(handles.last().unwrap() < &seed);
        assert!(pairs.contains(&("1", "5 < \\U+00D8")), "{text}");
        assert!(text.is_ascii());
    }
}
