//! 3MF written and read: the rules of check-values 3.1, and what breaks them.

#![allow(clippy::unwrap_used, reason = "a test's own helpers may fail it")]

use std::io::{Cursor, Read, Write};

use spile_formats::threemf::{ThreeMfInfo, write};
use spile_formats::{FileUnit, PartInfo, ReadError, ReadMesh, read_bytes};
use spile_mesh::{DVec3, Mesh};

fn tetrahedron(scale: f64) -> Mesh {
    let points = vec![DVec3::ZERO, scale * DVec3::X, scale * DVec3::Y, scale * DVec3::Z];
    Mesh::new(points, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap()
}

fn info() -> ThreeMfInfo {
    ThreeMfInfo {
        part: PartInfo {
            unit: FileUnit::Inch,
            title: "left & \"right\" <duct>".into(),
            description: "geometry only;\nmaterial is for others".into(),
            application: "spile 0.1".into(),
        },
        more: vec![("Caution".into(), "a > b \u{e9} \u{1}".into())],
        thumbnail: None,
    }
}

fn written(mesh: &Mesh) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    write(mesh, &info(), &mut bytes).unwrap();
    bytes.into_inner()
}

fn model_of(package: &[u8]) -> String {
    let mut zip = zip::ZipArchive::new(Cursor::new(package)).unwrap();
    let mut text = String::new();
    zip.by_name("3D/3dmodel.model").unwrap().read_to_string(&mut text).unwrap();
    text
}

/// A package round this model.
fn package(model: &[u8]) -> Vec<u8> {
    let rels = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/m.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for (part, bytes) in [("_rels/.rels", rels.as_bytes()), ("3D/m.model", model)] {
        zip.start_file(part, options).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

const TETRAHEDRON: &str = r#"<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>
<vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/></vertices><triangles>
<triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/><triangle v1="0" v2="3" v3="2"/>
<triangle v1="1" v2="2" v3="3"/></triangles></mesh>"#;

fn model(attributes: &str, resources: &str, items: &str) -> String {
    format!(
        r#"<?xml version="1.0"?><model xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" {attributes}>
<resources>{resources}</resources><build>{items}</build></model>"#
    )
}

fn one(items: &str) -> String {
    model("", &format!(r#"<object id="1">{TETRAHEDRON}</object>"#), items)
}

fn read(model: &str) -> Result<ReadMesh, ReadError> {
    read_bytes("x.3mf", &package(model.as_bytes()))
}

fn message(model: &str) -> String {
    read(model).unwrap_err().to_string()
}

#[test]
fn what_is_written_is_read_again_with_unit_and_metadata() {
    let mesh = tetrahedron(0.1);
    let read = read_bytes("x.3mf", &written(&mesh)).unwrap();
    assert_eq!(read.unit, Some(FileUnit::Inch));
    for t in 0..4 {
        // Fewest digits that give the f32 back: 0.1, read as f64, rounds to it.
        let rounded = read.mesh.corners(t).map(spile_mesh::round_to_f32);
        assert_eq!(rounded, mesh.corners(t).map(spile_mesh::round_to_f32));
    }
    let value =
        |name: &str| read.metadata.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str());
    assert_eq!(value("Title"), Some("left & \"right\" <duct>"));
    assert_eq!(value("Description"), Some("geometry only;\nmaterial is for others"));
    // A character that XML cannot hold is left out.
    assert_eq!(value("spile:Caution"), Some("a > b \u{e9} "));
}

#[test]
fn the_same_part_gives_the_same_bytes_and_the_shortest_numbers() {
    let mesh = tetrahedron(0.1);
    assert_eq!(written(&mesh), written(&mesh));
    let text = model_of(&written(&mesh));
    assert!(text.contains(r#"<vertex x="0.1" y="0" z="0"/>"#), "{text}");
    assert!(text.contains(r#"unit="inch""#));
    // Dates: the fixed one only, also in the ZIP entries.
    let mut zip = zip::ZipArchive::new(Cursor::new(written(&mesh))).unwrap();
    for i in 0..zip.len() {
        let entry = zip.by_index(i).unwrap();
        assert_eq!(entry.last_modified().unwrap().year(), 1980);
    }
}

/// The rules of check-values 3.1 that need no XML schema, by plain text search.
#[test]
fn metadata_names_are_from_the_list_or_have_a_namespace() {
    let text = model_of(&written(&tetrahedron(1.0)));
    let listed = [
        "Title",
        "Designer",
        "Description",
        "Copyright",
        "LicenseTerms",
        "Rating",
        "CreationDate",
        "ModificationDate",
        "Application",
    ];
    let names: Vec<&str> = text
        .split("<metadata name=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap())
        .collect();
    assert_eq!(names.len(), 5);
    for name in &names {
        match name.split_once(':') {
            Some((prefix, _)) => assert!(text.contains(&format!("xmlns:{prefix}=\""))),
            None => assert!(listed.contains(name), "{name}"),
        }
        assert_eq!(names.iter().filter(|other| other == &name).count(), 1);
    }
    assert!(!text.contains("<!DOCTYPE"));
}

#[test]
fn only_a_closed_outward_mesh_is_called_a_model() {
    let kind = |triangles: &[[u32; 3]]| {
        let points = tetrahedron(1.0).points().to_vec();
        let text = model_of(&written(&Mesh::new(points, triangles.to_vec()).unwrap()));
        text.split("type=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
    };
    assert_eq!(kind(&[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]), "model");
    assert_eq!(kind(&[[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]]), "surface");
    assert_eq!(kind(&[[0, 2, 1], [0, 1, 3], [0, 3, 2]]), "surface");
    assert_eq!(kind(&[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 3, 2]]), "surface");
}

#[test]
fn a_mesh_or_name_that_breaks_a_rule_is_not_written() {
    let points = tetrahedron(1.0).points().to_vec();
    let twice = Mesh::new(points, vec![[0, 1, 2], [0, 1, 1]]).unwrap();
    let error = |mesh: &Mesh, more: &[&str]| {
        let more = more.iter().map(|n| ((*n).to_owned(), String::new())).collect();
        let info = ThreeMfInfo { more, ..info() };
        write(mesh, &info, Cursor::new(Vec::new())).unwrap_err().to_string()
    };
    assert!(error(&twice, &[]).contains("triangle 1 names a point twice"));
    assert!(error(&Mesh::default(), &[]).contains("no triangle"));
    assert!(error(&tetrahedron(1.0), &["a b"]).contains("'a b'"));
    assert!(error(&tetrahedron(1.0), &["a", "a"]).contains("twice"));
}

#[test]
fn transforms_are_row_major_and_a_mirrored_one_keeps_the_volume() {
    // 3MF 1.4, 3.3: x' = x m00 + y m10 + z m20 + m30. Rows 0 1 0, 0 0 1, 2 0 0.
    let read_one =
        |t: &str| read(&one(&format!(r#"<item objectid="1" transform="{t}"/>"#))).unwrap().mesh;
    let turned = read_one("0 1 0 0 0 1 2 0 0 10 20 30");
    assert!((turned.volume() - 2.0 / 6.0).abs() < 1e-12);
    let bounds = turned.bounds();
    assert_eq!(bounds.min, DVec3::new(10.0, 20.0, 30.0));
    assert_eq!(bounds.max, DVec3::new(12.0, 21.0, 31.0));
    let mirrored = read_one("-1 0 0 0 1 0 0 0 1 0 0 0");
    assert!((mirrored.volume() - 1.0 / 6.0).abs() < 1e-12);
}

#[test]
fn components_are_placed_inside_each_other() {
    let resources = format!(
        r#"<object id="1">{TETRAHEDRON}</object>
        <object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>
        <component objectid="1"/></components></object>
        <object id="7"><components><component objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 0"/></components></object>"#
    );
    let mesh = read(&model("", &resources, r#"<item objectid="7"/>"#)).unwrap().mesh;
    assert_eq!((mesh.triangles().len(), mesh.points().len()), (8, 8));
    // Shifted by 5, then scaled by 2.
    assert_eq!(mesh.bounds().max.x, 12.0);
}

#[test]
fn what_breaks_the_rules_is_refused_with_its_place() {
    let object = |inner: &str| model("", &format!(r#"<object id="1">{inner}</object>"#), "");
    let item = r#"<item objectid="1"/>"#;
    for (text, says) in [
        (one(""), "no triangle"),
        (one(r#"<item objectid="2"/>"#), "no object 2"),
        (one(r#"<item objectid="1" transform="1 0 0"/>"#), "12 numbers"),
        (one(r#"<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>"#), "flattens"),
        (one(item).replace(r#"id="1">"#, r#"id="0">"#), "count from 1"),
        (one(item).replace(r#"z="1""#, r#"z="nan""#), "'nan' is no finite number"),
        (one(item).replace(r#"z="1""#, ""), "lacks 'z'"),
        (one(item).replace(r#"v3="1""#, r#"v3="4""#), "there are 4 vertices"),
        (one(item).replace("</mesh>", ""), "no sound XML"),
        (one(item).replace("<mesh>", "<cells/><mesh>"), "'cells'"),
        (one(item).replace("?><model", "?><!DOCTYPE model><model"), "document type"),
        (one(item).replace("<vertices>", "<vertices>&bomb;"), "entity"),
        (model(r#"unit="yard""#, "", ""), "unit \"yard\""),
        (object(""), "neither mesh nor components"),
        (object(r#"<components><component objectid="1"/></components>"#), "no object 1 before"),
        ("<model/>".to_owned(), "no 3MF model"),
        ("".to_owned(), "empty"),
    ] {
        let said = message(&text);
        assert!(said.contains(says), "{says}: {said}\n{text}");
    }
    assert!(message(&one(item).replace(r#"z="1""#, r#"z="x""#)).contains("at byte"));
}

#[test]
fn extensions_that_change_the_surface_are_not_supported() {
    let required = r#"requiredextensions="v" xmlns:v="http://schemas.example/volumes""#;
    let production = r#"xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06""#;
    let object = format!(r#"<object id="1">{TETRAHEDRON}</object>"#);
    for text in [
        model(required, &object, ""),
        model(production, &object, r#"<item objectid="1" p:path="/3D/other.model"/>"#),
    ] {
        assert!(matches!(read(&text), Err(ReadError::NotSupported { .. })), "{text}");
    }
    // Named identifiers of the production extension alone do no harm.
    let named = model(production, &object, r#"<item objectid="1" p:UUID="a"/>"#);
    assert!(read(&named).is_ok());
}

#[test]
fn bombs_are_refused_in_little_time_and_memory() {
    // Sixty levels of two components each: 2^60 tetrahedra.
    let mut resources = format!(r#"<object id="1">{TETRAHEDRON}</object>"#);
    for id in 2..=60 {
        let part = format!(r#"<component objectid="{}"/>"#, id - 1);
        resources +=
            &format!(r#"<object id="{id}"><components>{part}{part}</components></object>"#);
    }
    assert!(message(&model("", &resources, r#"<item objectid="60"/>"#)).contains("at most"));
    // A part of blanks that packs to a thousandth.
    let blanks = vec![b' '; 64 << 20];
    let said = read_bytes("x.3mf", &package(&blanks)).unwrap_err().to_string();
    assert!(said.contains("unpacks to more than"), "{said}");
    assert!(read_bytes("x.3mf", b"PK\x03\x04 no package").is_err());
}

/// 3MF 1.4, 2.1.1: a thumbnail is a part of its own, named by a relationship of the package.
#[test]
fn a_thumbnail_is_a_part_of_the_package() {
    let picture = b"\x89PNG\r\n\x1A\nand so on".to_vec();
    let with = ThreeMfInfo { thumbnail: Some(picture.clone()), ..info() };
    let mut bytes = Cursor::new(Vec::new());
    write(&tetrahedron(1.0), &with, &mut bytes).unwrap();
    let mut zip = zip::ZipArchive::new(bytes).unwrap();
    let mut read = |name: &str| {
        let mut found = Vec::new();
        zip.by_name(name).unwrap().read_to_end(&mut found).unwrap();
        found
    };
    assert_eq!(read("Metadata/thumbnail.png"), picture);
    let of_package = String::from_utf8(read("_rels/.rels")).unwrap();
    assert!(of_package.contains("Target=\"/Metadata/thumbnail.png\" Id=\"rel1\""), "{of_package}");
    let types = String::from_utf8(read("[Content_Types].xml")).unwrap();
    assert!(types.contains("ContentType=\"image/png\""), "{types}");
    let wrong = ThreeMfInfo { thumbnail: Some(b"GIF89a".to_vec()), ..info() };
    let refused = write(&tetrahedron(1.0), &wrong, Cursor::new(Vec::new()));
    assert!(refused.unwrap_err().to_string().contains("no PNG file"));
}
