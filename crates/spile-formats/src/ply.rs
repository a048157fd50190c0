//! PLY: a header that describes rows of numbers, then the rows, as text or in
//! either byte order.
//!
//! # Source
//! check-values 3.3 (Turk, "The PLY Polygon File Format"). Faces are the list
//! `vertex_indices` or `vertex_index` of the element `face`.

mod header;
mod write;

use spile_mesh::DVec3;

use crate::error::Fault;
use crate::gather::Gather;
use crate::numbers::{Words, shown};
use crate::{Format, ReadMesh};
use header::{Element, Encoding, Header, Kind, Property};

pub use write::{PointValues, write};

pub(crate) fn read(bytes: &[u8]) -> Result<ReadMesh, Fault> {
    let header = Header::read(bytes)?;
    let body = &bytes[header.length..];
    let mut content = Content::default();
    let format = match header.encoding {
        Encoding::Text => {
            let words = Words::from_line(body, header.lines + 1);
            content.read(&header, &mut TextRows { words, left: body.len() })?;
            Format::PlyText
        }
        Encoding::LittleEndian | Encoding::BigEndian => {
            let big_endian = header.encoding == Encoding::BigEndian;
            content.read(&header, &mut BinaryRows { bytes, at: header.length, big_endian })?;
            if big_endian { Format::PlyBigEndian } else { Format::PlyLittleEndian }
        }
    };
    let mesh = content.into_mesh()?;
    Ok(ReadMesh { mesh, unit: None, format, metadata: header.comments })
}

/// Where numbers come from, one after the other.
trait Rows {
    /// The next number, of this type.
    fn number(&mut self, kind: Kind) -> Result<f64, Fault>;
    /// Passes over as many numbers of this type.
    fn skip(&mut self, kind: Kind, count: usize) -> Result<(), Fault>;
    /// Fails if so many rows of at least so many bytes cannot follow.
    fn expect_rows(&mut self, element: &Element) -> Result<(), Fault>;
    /// A fault at the number given last.
    fn fault(&self, what: String) -> Fault;
    /// Fails if anything follows.
    fn end(&mut self) -> Result<(), Fault>;
}

struct BinaryRows<'a> {
    bytes: &'a [u8],
    at: usize,
    big_endian: bool,
}

impl BinaryRows<'_> {
    fn ends(&self) -> Fault {
        Fault::byte(self.bytes.len(), "the file ends before all rows that its header states")
    }

    fn raw<const N: usize>(&mut self) -> Result<[u8; N], Fault> {
        let slice = self.bytes.get(self.at..self.at + N).ok_or_else(|| self.ends())?;
        let mut raw = [0; N];
        raw.copy_from_slice(slice);
        if self.big_endian {
            raw.reverse();
        }
        self.at += N;
        Ok(raw)
    }
}

impl Rows for BinaryRows<'_> {
    fn number(&mut self, kind: Kind) -> Result<f64, Fault> {
        Ok(match kind {
            Kind::I8 => f64::from(i8::from_le_bytes(self.raw()?)),
            Kind::U8 => f64::from(u8::from_le_bytes(self.raw()?)),
            Kind::I16 => f64::from(i16::from_le_bytes(self.raw()?)),
            Kind::U16 => f64::from(u16::from_le_bytes(self.raw()?)),
            Kind::I32 => f64::from(i32::from_le_bytes(self.raw()?)),
            Kind::U32 => f64::from(u32::from_le_bytes(self.raw()?)),
            Kind::F32 => f64::from(f32::from_le_bytes(self.raw()?)),
            Kind::F64 => f64::from_le_bytes(self.raw()?),
        })
    }

    fn skip(&mut self, kind: Kind, count: usize) -> Result<(), Fault> {
        let end = count.checked_mul(kind.size()).and_then(|bytes| self.at.checked_add(bytes));
        match end.filter(|&end| end <= self.bytes.len()) {
            Some(end) => self.at = end,
            None => return Err(self.ends()),
        }
        Ok(())
    }

    fn expect_rows(&mut self, element: &Element) -> Result<(), Fault> {
        let least: usize = element.properties.iter().map(Property::least_bytes).sum();
        let left = self.bytes.len() - self.at;
        match element.count.checked_mul(least) {
            Some(bytes) if bytes <= left && (least > 0 || element.count == 0) => Ok(()),
            _ => {
                let (count, name) = (element.count, &element.name);
                let what = format!(
                    "the file ends, but its header states {count} rows of '{name}', of at least {least} bytes each, from byte {}",
                    self.at
                );
                Err(Fault::byte(self.bytes.len(), what))
            }
        }
    }

    fn fault(&self, what: String) -> Fault {
        Fault::byte(self.at, what)
    }

    fn end(&mut self) -> Result<(), Fault> {
        let more = self.bytes.len() - self.at;
        if more == 0 {
            return Ok(());
        }
        Err(Fault::byte(self.at, format!("{more} more bytes than the rows that the header states")))
    }
}

struct TextRows<'a> {
    words: Words<'a>,
    left: usize,
}

impl Rows for TextRows<'_> {
    fn number(&mut self, kind: Kind) -> Result<f64, Fault> {
        let Some(word) = self.words.next() else {
            return Err(self.fault("the file ends before all rows that its header states".into()));
        };
        // Text may carry NaN where a scanner saw nothing; it counts only where a face names it.
        let value = std::str::from_utf8(word).ok().and_then(|text| text.parse::<f64>().ok());
        match value {
            Some(value) if kind.holds(value) => Ok(value),
            Some(_) => Err(self.fault(format!("{} does not fit type {kind:?}", shown(word)))),
            None => Err(self.fault(format!("{} is no number", shown(word)))),
        }
    }

    fn skip(&mut self, kind: Kind, count: usize) -> Result<(), Fault> {
        for _ in 0..count {
            self.number(kind)?;
        }
        Ok(())
    }

    fn expect_rows(&mut self, element: &Element) -> Result<(), Fault> {
        // Each number takes a digit and a blank.
        let least = 2 * element.properties.len();
        match element.count.checked_mul(least) {
            Some(bytes) if bytes <= self.left + 1 && (least > 0 || element.count == 0) => Ok(()),
            _ => {
                let (count, name) = (element.count, &element.name);
                let what = format!(
                    "the header states {count} rows of '{name}', more than the file can hold"
                );
                Err(self.fault(what))
            }
        }
    }

    fn fault(&self, what: String) -> Fault {
        Fault::line(self.words.line(), what)
    }

    fn end(&mut self) -> Result<(), Fault> {
        match self.words.next() {
            None => Ok(()),
            Some(word) => {
                let what = format!("{} after the rows that the header states", shown(word));
                Err(self.fault(what))
            }
        }
    }
}

/// What is kept of the rows.
#[derive(Default)]
struct Content {
    points: Vec<DVec3>,
    /// All faces' corners in one row, and for each face where it ends.
    corners: Vec<u32>,
    ends: Vec<usize>,
}

impl Content {
    fn read(&mut self, header: &Header, rows: &mut impl Rows) -> Result<(), Fault> {
        for element in &header.elements {
            rows.expect_rows(element)?;
            match element.name.as_str() {
                "vertex" => self.vertices(element, rows)?,
                "face" => self.faces(element, header.vertices(), rows)?,
                _ => {
                    for _ in 0..element.count {
                        for property in &element.properties {
                            skip(property, rows)?;
                        }
                    }
                }
            }
        }
        rows.end()
    }

    fn vertices(&mut self, element: &Element, rows: &mut impl Rows) -> Result<(), Fault> {
        self.points.reserve_exact(element.count);
        let axis = |property: &Property| ["x", "y", "z"].iter().position(|n| *n == property.name);
        let plan: Vec<_> = element.properties.iter().map(|p| (p, axis(p))).collect();
        for _ in 0..element.count {
            let mut point = DVec3::ZERO;
            for (property, axis) in &plan {
                match axis {
                    Some(axis) => point[*axis] = rows.number(property.kind)?,
                    None => skip(property, rows)?,
                }
            }
            self.points.push(point);
        }
        Ok(())
    }

    fn faces(
        &mut self,
        element: &Element,
        points: usize,
        rows: &mut impl Rows,
    ) -> Result<(), Fault> {
        self.ends.reserve_exact(element.count);
        self.corners.reserve(element.count.saturating_mul(3));
        for face in 0..element.count {
            for property in &element.properties {
                match property.list_count {
                    Some(count) if property.is_corners() => {
                        let corners = list_length(rows.number(count)?, face, rows)?;
                        for _ in 0..corners {
                            let index = rows.number(property.kind)?;
                            if !(index >= 0.0 && index < points as f64) {
                                let what = format!(
                                    "face {face} names point {index}, but there are {points} points, numbered from 0"
                                );
                                return Err(rows.fault(what));
                            }
                            self.corners.push(index as u32);
                        }
                    }
                    _ => skip(property, rows)?,
                }
            }
            self.ends.push(self.corners.len());
        }
        Ok(())
    }

    fn into_mesh(self) -> Result<spile_mesh::Mesh, Fault> {
        let mut gather = Gather::over(&self.points, self.ends.len());
        let mut start = 0;
        for (face, &end) in self.ends.iter().enumerate() {
            gather
                .face(&self.corners[start..end])
                .map_err(|what| Fault::at(crate::Place::Whole, format!("face {face}: {what}")))?;
            start = end;
        }
        gather.finish()
    }
}

fn skip(property: &Property, rows: &mut impl Rows) -> Result<(), Fault> {
    let count = match property.list_count {
        Some(kind) => list_length(rows.number(kind)?, 0, rows)?,
        None => 1,
    };
    rows.skip(property.kind, count)
}

fn list_length(value: f64, face: usize, rows: &impl Rows) -> Result<usize, Fault> {
    // Lists longer than 32 bits can count cannot be stated.
    if value >= 0.0 && value <= f64::from(u32::MAX) {
        return Ok(value as usize);
    }
    Err(rows.fault(format!("row {face} states a list of {value} numbers")))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "element vertex 4\nproperty double x\nproperty uchar seen\nproperty float y\n\
         property float z\nelement face 2\nproperty list uchar int vertex_index\n\
         property list uchar short more\nelement edge 1\nproperty int a\nend_header\n";

    fn text() -> String {
        format!(
            "ply\nformat ascii 1.0\ncomment unit: none\n{HEAD}0 1 0 0\n1 1 0 0\n0 1 1 0\n\
             1 1 1 0\n3 0 1 2 0\n3 1 3 2 2 -7 8\n5\n"
        )
    }

    fn binary(name: &str, order: fn(&[u8]) -> Vec<u8>) -> Vec<u8> {
        let mut bytes = format!("ply\nformat {name} 1.0\n{HEAD}").into_bytes();
        let mut put = |raw: &[u8]| bytes.extend(order(raw));
        for (x, y) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
            put(&f64::to_le_bytes(x));
            put(&[1]);
            put(&f32::to_le_bytes(y));
            put(&f32::to_le_bytes(0.0));
        }
        for (corners, more) in [([0, 1, 2], &[][..]), ([1, 3, 2], &[-7_i16, 8][..])] {
            put(&[3]);
            for corner in corners {
                put(&i32::to_le_bytes(corner));
            }
            put(&[more.len() as u8]);
            for value in more {
                put(&value.to_le_bytes());
            }
        }
        put(&5_i32.to_le_bytes());
        bytes
    }

    fn message(bytes: &[u8]) -> String {
        crate::read_bytes("x.ply", bytes).unwrap_err().to_string()
    }

    #[test]
    fn the_three_encodings_give_the_same_mesh() {
        let from_text = read(text().as_bytes()).unwrap();
        assert_eq!(from_text.mesh.triangles(), [[0, 1, 2], [1, 3, 2]]);
        assert_eq!(from_text.mesh.points()[3], DVec3::new(1.0, 1.0, 0.0));
        assert_eq!(from_text.metadata, [("comment".to_owned(), "unit: none".to_owned())]);
        let little = read(&binary("binary_little_endian", |raw| raw.to_vec())).unwrap();
        let big = read(&binary("binary_big_endian", |raw| raw.iter().rev().copied().collect()));
        assert_eq!(little.mesh, from_text.mesh);
        assert_eq!(little.format, Format::PlyLittleEndian);
        let big = big.unwrap();
        assert_eq!((big.mesh, big.format), (from_text.mesh, Format::PlyBigEndian));
    }

    #[test]
    fn a_file_cut_short_or_too_long_names_the_byte() {
        let whole = binary("binary_little_endian", |raw| raw.to_vec());
        let length = whole.len();
        for cut in [1, 4, 20, 60] {
            let text = message(&whole[..length - cut]);
            assert!(text.contains(&format!("at byte {}", length - cut)), "{text}");
        }
        let longer = [&whole[..], b"\n\n"].concat();
        assert!(message(&longer).contains(&format!("at byte {length}: 2 more bytes")));
    }

    #[test]
    fn mistakes_in_text_name_the_line() {
        for (from, to, line, what) in [
            ("3 0 1 2 0", "3 0 1 4 0", "line 19", "names point 4"),
            ("3 0 1 2 0", "3 0 -1 2 0", "line 19", "names point -1"),
            ("3 0 1 2 0", "3 0 1.5 2 0", "line 19", "'1.5' does not fit"),
            ("3 0 1 2 0", "3 0 one 2 0", "line 19", "'one' is no number"),
            ("-7 8\n5\n", "-7 8\n", "line 21", "the file ends"),
            ("\n5\n", "\n5 6\n", "line 21", "'6' after the rows"),
            ("vertex 4", "vertex 4000000000", "line 15", "more than the file can hold"),
            ("property double x\n", "", "line 13", "'x'"),
            ("int vertex_index", "float vertex_index", "line 10", "whole numbers"),
        ] {
            let changed = text().replacen(from, to, 1);
            assert_ne!(changed, text());
            let text = message(changed.as_bytes());
            assert!(text.contains(line) && text.contains(what), "{from} to {to}: {text}");
        }
    }

    #[test]
    fn a_point_that_is_no_number_matters_only_where_a_face_names_it() {
        let unseen = text().replace("1 1 1 0\n", "nan 0 nan nan\n");
        assert!(message(unseen.as_bytes()).contains("face 1: point 3"));
        let unnamed = unseen.replace("3 1 3 2 2", "3 1 0 2 2");
        let mesh = read(unnamed.as_bytes()).unwrap().mesh;
        assert_eq!((mesh.triangles().len(), mesh.points().len()), (2, 3));
    }
}
