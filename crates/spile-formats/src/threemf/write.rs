//! Writing a part as 3MF.

use std::io::{Seek, Write};

use quick_xml::escape::escape;
use spile_mesh::{Mesh, round_to_f32};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, System, ZipWriter};

use super::{CORE, START_PART};
use crate::error::WriteError;
use crate::part_info::PartInfo;
use crate::pieces::Pieces;
use crate::stl::check_range;

/// What a 3MF file says beside the mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct ThreeMfInfo {
    /// What every file says of the part.
    pub part: PartInfo,
    /// More names and values, such as cautions, in this order. The names are
    /// letters and digits; in the file they stand in this program's own namespace.
    pub more: Vec<(String, String)>,
    /// A small picture of the part, as the bytes of a PNG file.
    pub thumbnail: Option<Vec<u8>>,
}

/// Own metadata names need a namespace (3MF 1.4, 3.4.1).
const OWN_NAMESPACE: &str = "urn:x-spile:metadata:1";
/// Every file is dated so: outputs hold no clock time.
const DATE: &str = "1980-01-01";
const MODEL: &str = "3D/3dmodel.model";
const THUMBNAIL: &str = "Metadata/thumbnail.png";
/// The type of the relationship that names a package's thumbnail (3MF 1.4, 2.1.1 and C.2).
const THUMBNAIL_TYPE: &str =
    "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail";
/// The first bytes of every PNG file (ISO/IEC 15948, 5.2).
const PNG: [u8; 8] = *b"\x89PNG\r\n\x1A\n";

/// Writes `mesh` as a 3MF package.
///
/// Shape: a closed, consistently oriented mesh with positive volume becomes an
/// object of type `model`; any other, such as a broken part, becomes one of
/// type `surface`, which may be open. Coordinates are rounded to the nearest
/// `f32` and written with the fewest digits that give it back. The same mesh
/// and information give the same bytes.
///
/// # Errors
/// A coordinate that does not fit `f32`, no triangle, a triangle that names a
/// point twice, a name in `more` that is not letters and digits or comes twice,
/// or what the writer refuses.
///
/// # Source
/// 3MF core specification 1.4.0 (check-values 3.1).
pub fn write(mesh: &Mesh, info: &ThreeMfInfo, to: impl Write + Seek) -> Result<(), WriteError> {
    check_range(mesh)?;
    check(mesh, info)?;
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .compression_level(Some(6))
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644)
        .system(System::Unix);
    let mut zip = ZipWriter::new(to).set_auto_large_file();
    let thumbnail = info.thumbnail.as_deref();
    let (types, relationships) = (content_types(thumbnail), relationships(thumbnail));
    for (part, text) in [("[Content_Types].xml", types), ("_rels/.rels", relationships)] {
        zip.start_file(part, options).map_err(refused)?;
        zip.write_all(text.as_bytes())?;
    }
    zip.start_file(MODEL, options).map_err(refused)?;
    write_model(mesh, info, &mut zip)?;
    if let Some(picture) = thumbnail {
        zip.start_file(THUMBNAIL, options).map_err(refused)?;
        zip.write_all(picture)?;
    }
    zip.finish().map_err(refused)?.flush()?;
    Ok(())
}

fn refused(error: zip::result::ZipError) -> WriteError {
    WriteError::Refused(std::io::Error::other(error))
}

fn content_types(thumbnail: Option<&[u8]>) -> String {
    let picture = match thumbnail {
        Some(_) => r#"<Default Extension="png" ContentType="image/png"/>"#,
        None => "",
    };
    [
        r#"<?xml version="1.0" encoding="UTF-8"?>"#,
        "\n",
        r#"<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">"#,
        r#"<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>"#,
        r#"<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>"#,
        picture,
        "</Types>\n",
    ]
    .concat()
}

fn relationships(thumbnail: Option<&[u8]>) -> String {
    let picture = thumbnail.map_or_else(String::new, |_| {
        format!("<Relationship Target=\"/{THUMBNAIL}\" Id=\"rel1\" Type=\"{THUMBNAIL_TYPE}\"/>")
    });
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">\
         <Relationship Target=\"/{MODEL}\" Id=\"rel0\" Type=\"{START_PART}\"/>{picture}</Relationships>\n"
    )
}

fn check(mesh: &Mesh, info: &ThreeMfInfo) -> Result<(), WriteError> {
    let unfit = |what: String| Err(WriteError::Unfit { format: "3MF", what });
    if mesh.triangles().is_empty() {
        return unfit("the mesh holds no triangle".to_owned());
    }
    let twice = mesh.triangles().iter().position(|[a, b, c]| a == b || b == c || c == a);
    if let Some(t) = twice {
        return unfit(format!("triangle {t} names a point twice"));
    }
    if info.thumbnail.as_ref().is_some_and(|picture| !picture.starts_with(&PNG)) {
        return unfit("the thumbnail is no PNG file".to_owned());
    }
    for (i, (name, _)) in info.more.iter().enumerate() {
        let sound = name.starts_with(|c: char| c.is_ascii_alphabetic())
            && name.chars().all(|c| c.is_ascii_alphanumeric());
        if !sound {
            return unfit(format!("the metadata name '{name}' is not letters and digits"));
        }
        if info.more[..i].iter().any(|(earlier, _)| earlier == name) {
            return unfit(format!("the metadata name '{name}' comes twice"));
        }
    }
    Ok(())
}

fn write_model(mesh: &Mesh, info: &ThreeMfInfo, to: &mut impl Write) -> Result<(), WriteError> {
    let mut text = Pieces::new(to);
    text.push(format_args!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <model unit=\"{}\" xml:lang=\"en-US\" xmlns=\"{CORE}\" xmlns:spile=\"{OWN_NAMESPACE}\">\n",
        info.part.unit.name()
    ))?;
    let listed = [
        ("Title", info.part.title.as_str()),
        ("Description", info.part.description.as_str()),
        ("Application", info.part.application.as_str()),
        ("CreationDate", DATE),
    ];
    for (name, value) in listed {
        text.push(format_args!("<metadata name=\"{name}\">{}</metadata>\n", plain(value)))?;
    }
    for (name, value) in &info.more {
        text.push(format_args!("<metadata name=\"spile:{name}\">{}</metadata>\n", plain(value)))?;
    }
    let kind = if is_solid(mesh) { "model" } else { "surface" };
    text.push(format_args!(
        "<resources>\n<object id=\"1\" type=\"{kind}\" name=\"{}\">\n<mesh>\n<vertices>\n",
        plain(&info.part.title)
    ))?;
    for &point in mesh.points() {
        let [x, y, z] = round_to_f32(point).as_vec3().to_array();
        text.push(format_args!("<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>\n"))?;
    }
    text.push(format_args!("</vertices>\n<triangles>\n"))?;
    for [a, b, c] in mesh.triangles() {
        text.push(format_args!("<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>\n"))?;
    }
    text.push(format_args!(
        "</triangles>\n</mesh>\n</object>\n</resources>\n<build>\n<item objectid=\"1\"/>\n</build>\n</model>\n"
    ))?;
    text.finish()
}

/// Text fit for XML: marks escaped, characters that XML cannot hold left out.
fn plain(text: &str) -> String {
    let allowed = |c: &char| {
        matches!(c, '\t' | '\n') || !(c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}'))
    };
    escape(text.chars().filter(allowed).collect::<String>()).into_owned()
}

/// Whether the mesh may be an object of type `model` (3MF 1.4, 4.1, 4.1.4): at
/// least four triangles, every edge shared by exactly two that run it in
/// opposite directions, and positive volume.
fn is_solid(mesh: &Mesh) -> bool {
    let mut edges: Vec<(u32, u32)> =
        mesh.triangles().iter().flat_map(|&[a, b, c]| [(a, b), (b, c), (c, a)]).collect();
    edges.sort_unstable();
    // Each directed edge once, and its opposite once.
    let once = edges.windows(2).all(|pair| pair[0] != pair[1]);
    let paired = || edges.iter().all(|&(a, b)| edges.binary_search(&(b, a)).is_ok());
    mesh.triangles().len() >= 4 && once && paired() && mesh.volume() > 0.0
}
