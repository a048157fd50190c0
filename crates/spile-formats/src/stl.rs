//! STL: 80 bytes of free text, a count and 50 bytes a facet; or text.
//!
//! # Source
//! check-values 3.2. Whether a file is binary is decided by its size alone:
//! 84 + 50 n bytes with n the count it states. A header that begins with
//! `solid` proves nothing.

use std::io::Write;

use spile_mesh::{DVec3, Mesh};

use crate::error::{Fault, WriteError};
use crate::numbers::{Words, number, shown, sound_point};
use crate::weld::Welder;
use crate::{FileUnit, Format, ReadMesh};

const HEADER: usize = 80;
const RECORDS: usize = 84;
const RECORD: usize = 50;

pub(crate) fn read(bytes: &[u8]) -> Result<ReadMesh, Fault> {
    let count = stated_count(bytes);
    if count.is_some_and(|n| bytes_of(n) == bytes.len() as u64) {
        return read_binary(bytes);
    }
    if looks_like_text(bytes) { read_text(bytes) } else { Err(wrong_size(bytes, count)) }
}

fn stated_count(bytes: &[u8]) -> Option<u32> {
    let field = bytes.get(HEADER..RECORDS)?;
    Some(u32::from_le_bytes(field.try_into().ok()?))
}

fn bytes_of(count: u32) -> u64 {
    RECORDS as u64 + RECORD as u64 * u64::from(count)
}

/// Text begins with `solid`, and has no control character among its first bytes.
fn looks_like_text(bytes: &[u8]) -> bool {
    let solid = Words::new(bytes).next().is_some_and(|word| word.eq_ignore_ascii_case(b"solid"));
    let head = &bytes[..bytes.len().min(1024)];
    solid && !head.iter().any(|&b| b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0B | 0x0C))
}

fn wrong_size(bytes: &[u8], count: Option<u32>) -> Fault {
    let have = bytes.len();
    let Some(count) = count else {
        let what = format!(
            "neither text that begins with 'solid' nor a whole binary header of {RECORDS} bytes: the file ends"
        );
        return Fault::byte(have, what);
    };
    let want = bytes_of(count);
    if (have as u64) < want {
        let whole = (have - RECORDS) / RECORD;
        let what = format!(
            "the file ends, but its header states {count} triangles, which take {want} bytes; {whole} are whole"
        );
        Fault::byte(have, what)
    } else {
        let more = have as u64 - want;
        let what = format!("{more} more bytes than the {count} triangles that the header states");
        Fault::byte(want as usize, what)
    }
}

fn read_binary(bytes: &[u8]) -> Result<ReadMesh, Fault> {
    let records = &bytes[RECORDS..];
    let count = records.len() / RECORD;
    // A closed surface has half as many points as triangles.
    let mut welder = Welder::for_about(count / 2 + 3);
    let mut triangles = Vec::with_capacity(count);
    for (t, record) in records.chunks_exact(RECORD).enumerate() {
        let mut corners = [0; 3];
        for (k, corner) in corners.iter_mut().enumerate() {
            // 12 bytes of normal, then 12 a corner.
            let start = 12 + 12 * k;
            let value = |axis: usize| {
                let at = start + 4 * axis;
                let raw = [record[at], record[at + 1], record[at + 2], record[at + 3]];
                f64::from(f32::from_le_bytes(raw))
            };
            let fault = |what| Fault::byte(RECORDS + RECORD * t + start, what);
            let point = sound_point(DVec3::new(value(0), value(1), value(2)))
                .map_err(|what| fault(format!("triangle {t}: {what}")))?;
            *corner = welder.index(point).ok_or_else(|| fault(too_many()))?;
        }
        triangles.push(corners);
    }
    finish(welder, triangles, Format::StlBinary, Vec::new())
}

fn too_many() -> String {
    "more points than this program can index".to_owned()
}

fn finish(
    welder: Welder,
    triangles: Vec<[u32; 3]>,
    format: Format,
    metadata: Vec<(String, String)>,
) -> Result<ReadMesh, Fault> {
    let mesh = Mesh::new(welder.into_points(), triangles)
        .map_err(|error| Fault::at(crate::Place::Whole, error.to_string()))?;
    Ok(ReadMesh { mesh, unit: None, format, metadata })
}

/// The text form: any case, any blanks, CR, LF or CR LF, several solids.
fn read_text(bytes: &[u8]) -> Result<ReadMesh, Fault> {
    // No facet takes less than 100 bytes or so; a small one only costs a doubling.
    let mut text = Text {
        words: Words::new(bytes),
        welder: Welder::for_about(bytes.len() / 400),
        triangles: Vec::with_capacity(bytes.len() / 200),
    };
    let mut metadata = Vec::new();
    while let Some(word) = text.words.next() {
        if !word.eq_ignore_ascii_case(b"solid") {
            return Err(text.fault(format!("{} where 'solid' is expected", shown(word))));
        }
        let name = String::from_utf8_lossy(text.words.rest_of_line()).into_owned();
        if !name.is_empty() {
            metadata.push(("solid".to_owned(), name));
        }
        text.solid()?;
    }
    finish(text.welder, text.triangles, Format::StlText, metadata)
}

struct Text<'a> {
    words: Words<'a>,
    welder: Welder,
    triangles: Vec<[u32; 3]>,
}

impl Text<'_> {
    fn fault(&self, what: impl Into<String>) -> Fault {
        Fault::line(self.words.line(), what)
    }

    /// From after the name to the end of `endsolid`.
    fn solid(&mut self) -> Result<(), Fault> {
        loop {
            match self.words.next() {
                Some(word) if word.eq_ignore_ascii_case(b"facet") => self.facet()?,
                Some(word) if word.eq_ignore_ascii_case(b"endsolid") => {
                    self.words.rest_of_line();
                    return Ok(());
                }
                Some(word) => {
                    let what = format!("{} where 'facet' or 'endsolid' is expected", shown(word));
                    return Err(self.fault(what));
                }
                None => return Err(self.fault("the file ends before 'endsolid'")),
            }
        }
    }

    fn facet(&mut self) -> Result<(), Fault> {
        // The stated normal is not used: the corners' order gives it.
        self.words.rest_of_line();
        self.expect("outer")?;
        self.expect("loop")?;
        let mut corners = [0; 3];
        for corner in &mut corners {
            self.expect("vertex")?;
            *corner = self.point()?;
        }
        self.expect("endloop")?;
        self.expect("endfacet")?;
        self.triangles.push(corners);
        Ok(())
    }

    fn expect(&mut self, wanted: &str) -> Result<(), Fault> {
        match self.words.next() {
            Some(word) if word.eq_ignore_ascii_case(wanted.as_bytes()) => Ok(()),
            Some(word) => Err(self.fault(format!("{} where '{wanted}' is expected", shown(word)))),
            None => Err(self.fault(format!("the file ends where '{wanted}' is expected"))),
        }
    }

    fn point(&mut self) -> Result<u32, Fault> {
        let t = self.triangles.len();
        let mut xyz = [0.0; 3];
        for value in &mut xyz {
            let Some(word) = self.words.next() else {
                return Err(self.fault(format!("triangle {t}: the file ends inside a vertex")));
            };
            *value = number(word).map_err(|what| self.fault(format!("triangle {t}: {what}")))?;
        }
        let point = sound_point(DVec3::from_array(xyz))
            .map_err(|what| self.fault(format!("triangle {t}: {what}")))?;
        self.welder.index(point).ok_or_else(|| self.fault(too_many()))
    }
}

/// Writes `mesh` as binary STL; the header names the unit, which STL itself cannot.
///
/// Shape: any mesh. Coordinates are rounded to the nearest `f32`, -0.0 to 0.0;
/// normals are those of the rounded corners, zero for a triangle without area.
/// The same mesh gives the same bytes.
///
/// # Errors
/// A coordinate that does not fit `f32`, or what the writer refuses.
pub fn write(mesh: &Mesh, unit: FileUnit, mut to: impl Write) -> Result<(), WriteError> {
    check_range(mesh)?;
    to.write_all(&header(unit))?;
    to.write_all(&(mesh.triangles().len() as u32).to_le_bytes())?;
    let mut block = Vec::with_capacity(RECORD * 4096);
    for t in 0..mesh.triangles().len() {
        let corners = mesh.corners(t).map(spile_mesh::round_to_f32);
        for vector in [normal(corners), corners[0], corners[1], corners[2]] {
            for value in vector.to_array() {
                block.extend_from_slice(&(value as f32).to_le_bytes());
            }
        }
        block.extend_from_slice(&[0, 0]);
        if block.len() + RECORD > block.capacity() {
            to.write_all(&block)?;
            block.clear();
        }
    }
    to.write_all(&block)?;
    to.flush()?;
    Ok(())
}

/// Every coordinate must be finite as `f32`.
pub(crate) fn check_range(mesh: &Mesh) -> Result<(), WriteError> {
    match mesh.points().iter().position(|p| !p.as_vec3().is_finite()) {
        None => Ok(()),
        Some(point) => {
            let DVec3 { x, y, z } = mesh.points()[point];
            Err(WriteError::OutOfRange { point, x, y, z })
        }
    }
}

/// Does not begin with `solid`, so that no reader takes the file for text.
fn header(unit: FileUnit) -> [u8; HEADER] {
    let text = format!("binary STL, unit: {}, written by spile", unit.symbol());
    let mut header = [b' '; HEADER];
    header[..text.len()].copy_from_slice(text.as_bytes());
    header
}

/// Unit normal; zero where the corners lie on a line.
fn normal([a, b, c]: [DVec3; 3]) -> DVec3 {
    let (u, v) = (b - a, c - a);
    // Scaled first: the cross product of two tiny edges would underflow.
    let size = u.abs().max(v.abs()).max_element();
    if size == 0.0 {
        return DVec3::ZERO;
    }
    (u / size).cross(v / size).normalize_or_zero() + DVec3::ZERO
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tetrahedron() -> Mesh {
        let points = vec![DVec3::ZERO, DVec3::X, 2.0 * DVec3::Y, 3.0 * DVec3::Z];
        Mesh::new(points, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap()
    }

    fn written(mesh: &Mesh) -> Vec<u8> {
        let mut bytes = Vec::new();
        write(mesh, FileUnit::Millimetre, &mut bytes).unwrap();
        bytes
    }

    fn message(bytes: &[u8]) -> String {
        crate::read_bytes("x.stl", bytes).unwrap_err().to_string()
    }

    #[test]
    fn size_header_and_normals_are_as_the_format_wants() {
        let bytes = written(&tetrahedron());
        // check-values 3.2: size = 84 + 50 n.
        assert_eq!(bytes.len(), 84 + 50 * 4);
        assert_eq!(stated_count(&bytes), Some(4));
        let head = std::str::from_utf8(&bytes[..80]).unwrap();
        assert!(!head.to_lowercase().contains("solid"), "{head}");
        assert!(head.contains("unit: mm"), "{head}");
        // First facet: (0,0,0), (0,2,0), (1,0,0), so the normal is -z, by hand.
        let normal: Vec<f32> =
            bytes[84..96].chunks(4).map(|b| f32::from_le_bytes(b.try_into().unwrap())).collect();
        assert_eq!(normal, [0.0, 0.0, -1.0]);
        assert!(normal.iter().all(|n| *n != 0.0 || n.is_sign_positive()));
    }

    #[test]
    fn what_is_written_is_read_again() {
        let read = read(&written(&tetrahedron())).unwrap();
        assert_eq!(read.format, Format::StlBinary);
        assert_eq!(read.mesh.triangles().len(), 4);
        assert_eq!(read.mesh.points().len(), 4);
        for t in 0..4 {
            assert_eq!(read.mesh.corners(t), tetrahedron().corners(t));
        }
    }

    #[test]
    fn a_header_that_begins_with_solid_is_binary_if_the_size_says_so() {
        let mut bytes = written(&tetrahedron());
        bytes[..6].copy_from_slice(b"solid ");
        assert_eq!(read(&bytes).unwrap().format, Format::StlBinary);
    }

    #[test]
    fn minus_zero_is_welded_to_zero() {
        let mut bytes = written(&tetrahedron());
        // The first corner's x: 0.0 becomes -0.0.
        bytes[84 + 12 + 3] = 0x80;
        assert_eq!(read(&bytes).unwrap().mesh.points().len(), 4);
    }

    #[test]
    fn wrong_sizes_name_the_byte() {
        let bytes = written(&tetrahedron());
        assert!(message(&bytes[..200]).contains("at byte 200"), "{}", message(&bytes[..200]));
        assert!(message(&bytes[..200]).contains("states 4 triangles, which take 284 bytes; 2 are"));
        let longer = [&bytes[..], &[7; 18]].concat();
        assert!(message(&longer).contains("at byte 284: 18 more bytes"), "{}", message(&longer));
        assert!(message(&bytes[..83]).contains("at byte 83"), "{}", message(&bytes[..83]));
        assert!(message(b"").contains("the file is empty"));
    }

    #[test]
    fn a_huge_count_is_refused_before_anything_is_allocated() {
        let mut bytes = vec![0; 84];
        bytes[80..].copy_from_slice(&u32::MAX.to_le_bytes());
        assert!(message(&bytes).contains("states 4294967295 triangles"), "{}", message(&bytes));
    }

    #[test]
    fn a_coordinate_that_is_no_number_names_its_triangle_and_byte() {
        let mut bytes = written(&tetrahedron());
        // Triangle 2, corner 1, y.
        let at = 84 + 2 * 50 + 12 + 12 + 4;
        bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
        let text = message(&bytes);
        assert!(text.contains("triangle 2") && text.contains("at byte 208"), "{text}");
    }

    #[test]
    fn text_may_be_upper_case_with_any_line_ends_and_several_solids() {
        let facet = "facet normal nan 0 0|outer\tloop|vertex 0 0 0|vertex 1. .5 0|\
                     vertex 0 1e0 -0|endloop|endfacet|";
        let one = format!("solid a name with facet|{facet}endsolid a name|solid|endsolid|");
        let many = format!("{one}{}", one.to_uppercase());
        for end in ["\n", "\r", "\r\n"] {
            let read = read(many.replace('|', end).as_bytes()).unwrap();
            assert_eq!(read.format, Format::StlText);
            assert_eq!((read.mesh.triangles().len(), read.mesh.points().len()), (2, 3));
        }
    }

    #[test]
    fn mistakes_in_text_name_the_line() {
        let facet = "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\n";
        let ends = "endloop\nendfacet\n";
        for (text, line, what) in [
            (format!("solid\n{facet}{ends}"), "line 9", "ends before 'endsolid'"),
            (format!("solid\n{facet}vertex 1 1 0\n{ends}endsolid"), "line 7", "'endloop'"),
            (format!("solid\n{facet}{ends}endsolid\nmore"), "line 10", "'solid' is expected"),
            ("solid\r\nfacet\r\nouter loop\r\nvertex 1 2 x3\r\n".into(), "line 4", "'x3'"),
            ("solid\nfacet\nouter loop\nvertex 1 inf 3\n".into(), "line 4", "triangle 0: 'inf'"),
            ("solid\nfacet\nouter loop\nvertex 1 1e99 3\n".into(), "line 4", "too large"),
        ] {
            let text = message(text.as_bytes());
            assert!(text.contains(line) && text.contains(what), "{text}");
        }
    }

    #[test]
    fn a_coordinate_beyond_32_bits_is_not_written() {
        let points = vec![DVec3::ZERO, DVec3::X, DVec3::new(0.0, 1e39, 0.0)];
        let mesh = Mesh::new(points, vec![[0, 1, 2]]).unwrap();
        let error = write(&mesh, FileUnit::Metre, Vec::new()).unwrap_err();
        assert!(error.to_string().contains("point 2"), "{error}");
    }
}
