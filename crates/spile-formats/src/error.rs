//! What can go wrong in reading and writing, and where.

use std::fmt;

use crate::SUPPORTED;

/// Where in a file something is wrong. Lines count from 1, bytes and triangles from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Place {
    /// In the file as a whole.
    Whole,
    /// At this byte.
    Byte(u64),
    /// In this line of a text file.
    Line(u64),
    /// At this instance of a STEP file.
    Entity {
        /// Its number, that stands after `#`.
        entity: u64,
        /// The line that it begins in.
        line: u64,
    },
    /// At this byte of a part inside a package.
    Part {
        /// The part's name.
        part: String,
        /// The byte in the unpacked part.
        byte: u64,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Whole => Ok(()),
            Self::Byte(byte) => write!(f, " at byte {byte}"),
            Self::Line(line) => write!(f, " in line {line}"),
            Self::Entity { entity, line } => write!(f, " at #{entity} in line {line}"),
            Self::Part { part, byte } => write!(f, " at byte {byte} of {part}"),
        }
    }
}

/// Why a mesh file could not be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The system would not give the file's bytes.
    #[error("cannot read {file}: {source}")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file breaks the rules of its format.
    #[error("{file}{place}: {what}")]
    Malformed {
        /// The file.
        file: String,
        /// Where in it.
        place: Place,
        /// What is wrong.
        what: String,
    },
    /// The file is sound, but holds something that this program does not take.
    #[error("{file}{place}: {what}")]
    Refused {
        /// The file.
        file: String,
        /// Where in it.
        place: Place,
        /// What is not taken.
        what: String,
        /// What to do instead.
        hint: String,
    },
    /// The file may be sound, but this program does not read such files.
    #[error("{file} is not supported: {what}; supported are {SUPPORTED}")]
    NotSupported {
        /// The file.
        file: String,
        /// What is not supported.
        what: String,
    },
}

impl ReadError {
    /// What the user can do about it.
    pub fn hints(&self) -> Vec<String> {
        match self {
            Self::Unreadable { .. } => vec!["check the path and that the file may be read".into()],
            Self::Malformed { .. } => {
                vec!["export or copy the file again; it may have been cut short or changed".into()]
            }
            Self::Refused { hint, .. } => vec![hint.clone()],
            Self::NotSupported { .. } => {
                vec!["export the surface as binary STL, PLY, OBJ or 3MF core".into()]
            }
        }
    }
}

/// Why a mesh file could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The system would not take the bytes.
    #[error("cannot write: {0}")]
    Refused(#[from] std::io::Error),
    /// A coordinate does not fit the 32-bit numbers that files carry.
    #[error("point {point} does not fit a 32-bit coordinate: {x}, {y}, {z}")]
    OutOfRange {
        /// Index of the point, from 0.
        point: usize,
        /// Its x.
        x: f64,
        /// Its y.
        y: f64,
        /// Its z.
        z: f64,
    },
    /// The mesh breaks a rule of the format.
    #[error("cannot write {format}: {what}")]
    Unfit {
        /// The format.
        format: &'static str,
        /// Which rule, and where.
        what: String,
    },
}

/// A [`ReadError`] that does not know its file yet.
#[derive(Debug)]
pub(crate) enum Fault {
    Malformed { place: Place, what: String },
    Refused { place: Place, what: String, hint: String },
    Unsupported { what: String },
}

impl Fault {
    pub(crate) fn at(place: Place, what: impl Into<String>) -> Self {
        Self::Malformed { place, what: what.into() }
    }

    pub(crate) fn byte(byte: usize, what: impl Into<String>) -> Self {
        Self::at(Place::Byte(byte as u64), what)
    }

    pub(crate) fn line(line: usize, what: impl Into<String>) -> Self {
        Self::at(Place::Line(line as u64), what)
    }

    /// Something that is sound but not taken, and what to do instead.
    pub(crate) fn refused(place: Place, what: impl Into<String>, hint: &str) -> Self {
        Self::Refused { place, what: what.into(), hint: hint.to_owned() }
    }

    pub(crate) fn unsupported(what: impl Into<String>) -> Self {
        Self::Unsupported { what: what.into() }
    }

    pub(crate) fn of_file(self, file: &str) -> ReadError {
        let file = file.to_owned();
        match self {
            Self::Malformed { place, what } => ReadError::Malformed { file, place, what },
            Self::Refused { place, what, hint } => ReadError::Refused { file, place, what, hint },
            Self::Unsupported { what } => ReadError::NotSupported { file, what },
        }
    }
}
