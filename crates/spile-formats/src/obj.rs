//! OBJ: one statement a line, `v` for points and `f` for polygons.
//!
//! # Source
//! check-values 3.4. Indices count from 1, negative ones back from the last
//! point so far.

mod write;

use std::borrow::Cow;

use spile_mesh::DVec3;

use crate::error::Fault;
use crate::gather::Gather;
use crate::numbers::{Words, shown};
use crate::{Format, ReadMesh};

pub use write::write;

/// Statements that say nothing of the surface: texture, normals, names, looks,
/// lines and points.
const PASSED_OVER: [&[u8]; 20] = [
    b"vt",
    b"vn",
    b"vp",
    b"g",
    b"o",
    b"s",
    b"usemtl",
    b"mtllib",
    b"mg",
    b"bevel",
    b"c_interp",
    b"d_interp",
    b"lod",
    b"shadow_obj",
    b"trace_obj",
    b"maplib",
    b"usemap",
    b"l",
    b"p",
    b"call",
];

/// Statements of free-form curves and surfaces.
const FREE_FORM: [&[u8]; 14] = [
    b"cstype", b"deg", b"bmat", b"step", b"curv", b"curv2", b"surf", b"parm", b"trim", b"hole",
    b"scrv", b"sp", b"con", b"end",
];

pub(crate) fn read(bytes: &[u8]) -> Result<ReadMesh, Fault> {
    let text = as_bytes_of_text(bytes)?;
    let mut content = Content::default();
    let mut words = Words::joining_lines(&text);
    while let Some(word) = words.next() {
        match word {
            b"v" => content.point(&mut words)?,
            b"f" | b"fo" => content.face(&mut words)?,
            _ if word[0] == b'#' => {}
            _ if PASSED_OVER.contains(&word) => {}
            _ if FREE_FORM.contains(&word) => {
                let what = format!("free-form geometry in OBJ (line {})", words.line());
                return Err(Fault::unsupported(what));
            }
            _ => {
                let what = format!("{} is no statement of OBJ", shown(word));
                return Err(Fault::line(words.line(), what));
            }
        }
        words.pass_line();
    }
    let mesh = content.into_mesh()?;
    Ok(ReadMesh { mesh, unit: None, format: Format::Obj, metadata: Vec::new() })
}

/// The file as UTF-8 or plain bytes; UTF-16 with its mark is decoded.
fn as_bytes_of_text(bytes: &[u8]) -> Result<Cow<'_, [u8]>, Fault> {
    let big_endian = bytes.starts_with(&[0xFE, 0xFF]);
    if !big_endian && !bytes.starts_with(&[0xFF, 0xFE]) {
        return match bytes.iter().position(|&b| b == 0) {
            None => Ok(Cow::Borrowed(bytes)),
            Some(at) => Err(Fault::byte(at, "a zero byte: this is no text")),
        };
    }
    if !bytes.len().is_multiple_of(2) {
        return Err(Fault::byte(bytes.len() - 1, "the file ends inside a UTF-16 character"));
    }
    let units = bytes[2..].chunks_exact(2).map(|pair| {
        let pair = [pair[0], pair[1]];
        if big_endian { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) }
    });
    let mut text = String::with_capacity(bytes.len() / 2);
    let mut at = 2;
    for decoded in char::decode_utf16(units) {
        let Ok(c) = decoded else {
            return Err(Fault::byte(at, "half a UTF-16 character"));
        };
        text.push(c);
        at += 2 * c.len_utf16();
    }
    Ok(Cow::Owned(text.into_bytes()))
}

/// One face: where its corners end, and its line for messages.
struct Face {
    end: usize,
    line: usize,
}

#[derive(Default)]
struct Content {
    points: Vec<DVec3>,
    /// The lines of points that are malformed: an error only if a face names them.
    malformed: Vec<(u32, usize, String)>,
    corners: Vec<u32>,
    faces: Vec<Face>,
}

/// How many malformed points are remembered one by one.
const MOST_MALFORMED: usize = 1000;

impl Content {
    fn point(&mut self, words: &mut Words<'_>) -> Result<(), Fault> {
        let line = words.line();
        let mut xyz = [0.0; 3];
        let mut wrong = None;
        for value in &mut xyz {
            let Some(word) = words.next_in_line() else {
                return Err(Fault::line(line, "a point needs three coordinates"));
            };
            match std::str::from_utf8(word).ok().and_then(|text| text.parse().ok()) {
                Some(number) => *value = number,
                None => {
                    *value = f64::NAN;
                    wrong.get_or_insert_with(|| format!("{} is no number", shown(word)));
                }
            }
        }
        if let Some(what) = wrong {
            if self.malformed.len() == MOST_MALFORMED {
                return Err(Fault::line(line, what));
            }
            self.malformed.push((self.points.len() as u32, line, what));
        }
        if self.points.len() >= u32::MAX as usize - 1 {
            return Err(Fault::line(line, "more points than this program can index"));
        }
        self.points.push(DVec3::from_array(xyz));
        Ok(())
    }

    fn face(&mut self, words: &mut Words<'_>) -> Result<(), Fault> {
        let line = words.line();
        while let Some(word) = words.next_in_line() {
            if word[0] == b'#' {
                words.rest_of_line();
                break;
            }
            let corner = self.corner(word).map_err(|what| Fault::line(line, what))?;
            self.corners.push(corner);
        }
        self.faces.push(Face { end: self.corners.len(), line });
        Ok(())
    }

    /// The point number, from 0, of `v`, `v/vt`, `v//vn` or `v/vt/vn`. A positive
    /// one may name a point that comes later; that is checked at the end.
    fn corner(&self, word: &[u8]) -> Result<u32, String> {
        let mut fields = word.split(|&b| b == b'/');
        let whole = |field: &[u8]| std::str::from_utf8(field).ok()?.parse::<i64>().ok();
        let index = fields.next().and_then(whole);
        let rest_sound = fields.clone().count() <= 2
            && fields.all(|field| field.is_empty() || whole(field).is_some());
        let index = match index {
            Some(index) if rest_sound => index,
            _ => return Err(format!("{} is no corner of a face", shown(word))),
        };
        let from_start = match index {
            1.. => index - 1,
            0 => return Err("a face names point 0; points count from 1".to_owned()),
            _ => self.points.len() as i64 + index,
        };
        u32::try_from(from_start).ok().filter(|&i| i < u32::MAX - 1).ok_or_else(|| {
            format!("a face names point {index}, but there are {} points so far", self.points.len())
        })
    }

    fn into_mesh(self) -> Result<spile_mesh::Mesh, Fault> {
        let mut gather = Gather::over(&self.points, self.faces.len());
        let mut start = 0;
        for face in &self.faces {
            let corners = &self.corners[start..face.end];
            if let Some(&corner) = corners.iter().find(|&&c| c as usize >= self.points.len()) {
                let what = format!(
                    "a face names point {}, but there are {} points",
                    u64::from(corner) + 1,
                    self.points.len()
                );
                return Err(Fault::line(face.line, what));
            }
            gather.face(corners).map_err(|what| self.fault(corners, face.line, what))?;
            start = face.end;
        }
        gather.finish()
    }

    /// A face's fault; where one of its points is malformed, that point's.
    fn fault(&self, corners: &[u32], line: usize, what: String) -> Fault {
        let malformed = self.malformed.iter().find(|(point, ..)| corners.contains(point));
        match malformed {
            Some((_, line, what)) => Fault::line(*line, what.clone()),
            None => Fault::line(line, what),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: &str = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n";

    fn triangles(text: &str) -> Vec<[u32; 3]> {
        read(text.as_bytes()).unwrap().mesh.triangles().to_vec()
    }

    fn message(text: &str) -> String {
        crate::read_bytes("x.obj", text.as_bytes()).unwrap_err().to_string()
    }

    #[test]
    fn every_form_of_a_corner_is_read() {
        for face in [
            "f 1 2 3 4",
            "f 1/1 2/2 3/3 4/4",
            "f 1// 2// 3// 4//",
            "f 1//9 2//9 3//9 4//9",
            "f 1/1/1 2/2/1 3/3/1 4/4/1",
            "f -4 -3 -2 -1",
            "f -4/-1/-1 -3 -2 -1 # with a remark",
            "\tf 1 2 \\\n 3 4",
            "f 1 2\\\r\n3 4",
        ] {
            let read = triangles(&format!("{SQUARE}{face}\n"));
            assert_eq!(read.len(), 2, "{face}");
            assert_eq!(triangles(&format!("{SQUARE}f 1 2 3 4")), read, "{face}");
        }
    }

    #[test]
    fn a_face_may_come_before_its_points_and_unnamed_points_are_left_out() {
        let read = read(format!("f 1 2 3\n{SQUARE}").as_bytes()).unwrap();
        assert_eq!((read.mesh.triangles().len(), read.mesh.points().len()), (1, 3));
    }

    #[test]
    fn numbers_may_be_spelled_in_many_ways() {
        let read = read(b"v +1. -.5 1e2\nv 2.E1 0 0 1 0.5 0.5\nv 0 1e-2 -0\nf 1 2 3").unwrap();
        assert_eq!(read.mesh.points()[0], DVec3::new(1.0, -0.5, 100.0));
        assert_eq!(read.mesh.points()[1].x, 20.0);
        assert!(read.mesh.points()[2].z.is_sign_positive());
    }

    #[test]
    fn utf_16_of_either_order_is_decoded() {
        let text = format!("# \u{e9}\u{1f600}\n{SQUARE}f 1 2 3");
        let big: Vec<u8> = "\u{feff}"
            .encode_utf16()
            .chain(text.encode_utf16())
            .flat_map(u16::to_be_bytes)
            .collect();
        let little: Vec<u8> = big.chunks(2).flat_map(|pair| [pair[1], pair[0]]).collect();
        assert_eq!(read(&big).unwrap(), read(text.as_bytes()).unwrap());
        assert_eq!(read(&little).unwrap(), read(text.as_bytes()).unwrap());
        let odd = read(&big[..big.len() - 1]);
        assert!(odd.is_err());
    }

    #[test]
    fn mistakes_name_the_line() {
        for (tail, line, what) in [
            ("f 1 2 5", "line 5", "names point 5, but there are 4 points"),
            ("f -5 2 3", "line 5", "names point -5"),
            ("f 0 2 3", "line 5", "point 0; points count from 1"),
            ("f 1 2", "line 5", "2 corners"),
            ("f 1 2 3x", "line 5", "'3x'"),
            ("f 1/2/3/4 2 3", "line 5", "'1/2/3/4'"),
            ("f 1 3 2 4", "line 5", "crosses itself"),
            ("v 1 2", "line 5", "three coordinates"),
            ("v 1 2 3.1+e2\nf 1 2 5", "line 5", "'3.1+e2' is no number"),
            ("v 1 2 inf\nf 1 2 5", "line 6", "point 4"),
            ("facet", "line 5", "'facet'"),
            ("cstype bezier", "not supported", "free-form"),
        ] {
            let text = message(&format!("{SQUARE}{tail}\n"));
            assert!(text.contains(line) && text.contains(what), "{tail}: {text}");
        }
        assert!(message(SQUARE).contains("no triangle"));
        assert!(message("v 0 0 0\0").contains("byte 7"));
    }
}
