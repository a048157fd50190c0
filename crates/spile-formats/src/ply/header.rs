//! The header of a PLY file.

use crate::error::Fault;
use crate::numbers::shown;

/// How the rows are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Encoding {
    Text,
    LittleEndian,
    BigEndian,
}

/// The type of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Kind {
    fn from_name(name: &[u8]) -> Option<Self> {
        Some(match name {
            b"char" | b"int8" => Self::I8,
            b"uchar" | b"uint8" => Self::U8,
            b"short" | b"int16" => Self::I16,
            b"ushort" | b"uint16" => Self::U16,
            b"int" | b"int32" => Self::I32,
            b"uint" | b"uint32" => Self::U32,
            b"float" | b"float32" => Self::F32,
            b"double" | b"float64" => Self::F64,
            _ => return None,
        })
    }

    pub(super) fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }

    fn is_whole(self) -> bool {
        !matches!(self, Self::F32 | Self::F64)
    }

    /// Whether a number in a text file fits this type.
    pub(super) fn holds(self, value: f64) -> bool {
        let (least, most) = match self {
            Self::I8 => (f64::from(i8::MIN), f64::from(i8::MAX)),
            Self::U8 => (0.0, f64::from(u8::MAX)),
            Self::I16 => (f64::from(i16::MIN), f64::from(i16::MAX)),
            Self::U16 => (0.0, f64::from(u16::MAX)),
            Self::I32 => (f64::from(i32::MIN), f64::from(i32::MAX)),
            Self::U32 => (0.0, f64::from(u32::MAX)),
            Self::F32 | Self::F64 => return true,
        };
        value >= least && value <= most && value.fract() == 0.0
    }
}

/// A number, or a list of numbers, in each row of an element.
#[derive(Debug)]
pub(super) struct Property {
    pub(super) name: String,
    pub(super) kind: Kind,
    /// For a list, the type of its length.
    pub(super) list_count: Option<Kind>,
}

impl Property {
    pub(super) fn is_corners(&self) -> bool {
        self.list_count.is_some() && matches!(self.name.as_str(), "vertex_index" | "vertex_indices")
    }

    /// The least a row takes for it in a binary file.
    pub(super) fn least_bytes(&self) -> usize {
        self.list_count.unwrap_or(self.kind).size()
    }
}

/// One table of the file.
#[derive(Debug)]
pub(super) struct Element {
    pub(super) name: String,
    pub(super) count: usize,
    pub(super) properties: Vec<Property>,
}

#[derive(Debug)]
pub(super) struct Header {
    pub(super) encoding: Encoding,
    pub(super) elements: Vec<Element>,
    pub(super) comments: Vec<(String, String)>,
    /// In bytes, with the end of its last line.
    pub(super) length: usize,
    /// Its number of lines.
    pub(super) lines: usize,
}

impl Header {
    pub(super) fn read(bytes: &[u8]) -> Result<Self, Fault> {
        let mut lines = Lines { bytes, at: 0, number: 0, end: line_end(bytes) };
        if lines.next()? != b"ply" {
            return Err(Fault::line(1, "a PLY file begins with a line that says 'ply'"));
        }
        let mut encoding = None;
        let mut elements: Vec<Element> = Vec::new();
        let mut comments = Vec::new();
        loop {
            let line = lines.next()?;
            let words: Vec<&[u8]> =
                line.split(u8::is_ascii_whitespace).filter(|w| !w.is_empty()).collect();
            match words.as_slice() {
                [b"end_header"] => break,
                [word @ (b"comment" | b"obj_info"), ..] => {
                    let text = String::from_utf8_lossy(line[word.len()..].trim_ascii());
                    comments.push((String::from_utf8_lossy(word).into_owned(), text.into_owned()));
                }
                [b"format", ..] if encoding.is_none() => {
                    encoding = Some(encoding_of(line).map_err(|what| lines.fault(what))?);
                }
                [b"element", name, count] => {
                    let stated = std::str::from_utf8(count).ok().and_then(|c| c.parse().ok());
                    let Some(count) = stated else {
                        return Err(lines.fault(format!("{} is no count", shown(count))));
                    };
                    let name = String::from_utf8_lossy(name).into_owned();
                    elements.push(Element { name, count, properties: Vec::new() });
                }
                [b"property", rest @ ..] => {
                    let property = property(rest).map_err(|what| lines.fault(what))?;
                    let Some(element) = elements.last_mut() else {
                        return Err(lines.fault("a property before any element"));
                    };
                    element.properties.push(property);
                }
                [] => return Err(lines.fault("an empty line in the header")),
                _ => return Err(lines.fault(format!("{} says nothing known", shown(line)))),
            }
        }
        let Some(encoding) = encoding else {
            return Err(lines.fault("the header states no format"));
        };
        let header = Self { encoding, elements, comments, length: lines.at, lines: lines.number };
        header.check()?;
        Ok(header)
    }

    /// How many points there are.
    pub(super) fn vertices(&self) -> usize {
        self.element("vertex").map_or(0, |element| element.count)
    }

    fn element(&self, name: &str) -> Option<&Element> {
        self.elements.iter().find(|element| element.name == name)
    }

    fn check(&self) -> Result<(), Fault> {
        let fault = |what: &str| Err(Fault::line(self.lines, what));
        for name in ["vertex", "face"] {
            if self.elements.iter().filter(|element| element.name == name).count() > 1 {
                return fault(&format!("the header states the element '{name}' twice"));
            }
        }
        let Some(vertex) = self.element("vertex") else {
            return fault("the header states no element 'vertex'");
        };
        for axis in ["x", "y", "z"] {
            let of_axis = |p: &&Property| p.name == axis && p.list_count.is_none();
            if vertex.properties.iter().filter(of_axis).count() != 1 {
                return fault(&format!("the element 'vertex' needs one property '{axis}'"));
            }
        }
        let lists = |name: &str| self.element(name).map_or(0, |element| element.count);
        if lists("tristrips") > 0 {
            return Err(Fault::unsupported("triangle strips in PLY"));
        }
        match self.element("face") {
            None => fault("the header states no element 'face': the file holds points, no surface"),
            Some(face) => {
                let corners = face.properties.iter().filter(|p| p.is_corners()).count();
                if corners == 1 || (face.count == 0 && corners == 0) {
                    return Ok(());
                }
                fault("the element 'face' needs one list 'vertex_index' or 'vertex_indices'")
            }
        }
    }
}

fn encoding_of(line: &[u8]) -> Result<Encoding, String> {
    match line {
        b"format ascii 1.0" => Ok(Encoding::Text),
        b"format binary_little_endian 1.0" => Ok(Encoding::LittleEndian),
        b"format binary_big_endian 1.0" => Ok(Encoding::BigEndian),
        other => Err(format!(
            "{} where 'format ascii 1.0', 'format binary_little_endian 1.0' or 'format binary_big_endian 1.0' is expected",
            shown(other)
        )),
    }
}

fn property(words: &[&[u8]]) -> Result<Property, String> {
    let kind = |name: &[u8]| {
        Kind::from_name(name).ok_or_else(|| format!("{} is no type of PLY", shown(name)))
    };
    let text = |name: &[u8]| String::from_utf8_lossy(name).into_owned();
    match words {
        [b"list", count, item, name] => {
            let (list_count, kind) = (kind(count)?, kind(item)?);
            let property = Property { name: text(name), kind, list_count: Some(list_count) };
            if !list_count.is_whole() || (property.is_corners() && !kind.is_whole()) {
                return Err("lengths of lists and point numbers must be whole numbers".to_owned());
            }
            Ok(property)
        }
        [item, name] => Ok(Property { name: text(name), kind: kind(item)?, list_count: None }),
        _ => Err("a property is 'property TYPE NAME' or 'property list TYPE TYPE NAME'".to_owned()),
    }
}

/// The header's lines end at LF, with or without CR before it, or, in files
/// whose first line says so, at CR alone. The data may begin with either byte.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    number: usize,
    end: u8,
}

fn line_end(bytes: &[u8]) -> u8 {
    match bytes.get(3..5) {
        Some([b'\r', b'\n']) => b'\n',
        Some([b'\r', _]) => b'\r',
        _ => b'\n',
    }
}

impl<'a> Lines<'a> {
    /// The next line, without blanks at its end.
    fn next(&mut self) -> Result<&'a [u8], Fault> {
        let rest = &self.bytes[self.at..];
        self.number += 1;
        let Some(length) = rest.iter().position(|&b| b == self.end) else {
            return Err(self.fault("the file ends before 'end_header'"));
        };
        self.at += length + 1;
        Ok(rest[..length].trim_ascii_end())
    }

    fn fault(&self, what: impl Into<String>) -> Fault {
        Fault::line(self.number, what)
    }
}
