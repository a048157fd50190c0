//! The ZIP package: finding the model and unpacking it within limits.

use std::io::{Cursor, Read};
use std::sync::Mutex;

use zip::ZipArchive;

use super::START_PART;
use super::xml::{Node, Xml};
use crate::error::{Fault, Place};

/// No part is unpacked beyond this many bytes; about thirty million triangles.
const MOST_BYTES: u64 = 3 << 30;
/// Nor beyond this multiple of the whole package. The most regular mesh that
/// was tried packs to a fortieth; a bomb to a thousandth.
const MOST_RATIO: u64 = 250;
/// But so much may always be unpacked.
const FREE_BYTES: u64 = 16 << 20;

const RELATIONSHIPS: &str = "http://schemas.openxmlformats.org/package/2006/relationships";

pub(super) struct Package<'a> {
    /// Reading a part moves the archive's cursor.
    archive: Mutex<ZipArchive<Cursor<&'a [u8]>>>,
    most: u64,
}

impl<'a> Package<'a> {
    pub(super) fn open(bytes: &'a [u8]) -> Result<Self, Fault> {
        let archive = ZipArchive::new(Cursor::new(bytes))
            .map_err(|error| Fault::at(Place::Whole, format!("no sound ZIP package: {error}")))?;
        if archive.has_duplicate_names() {
            return Err(Fault::at(Place::Whole, "the package holds two parts of one name"));
        }
        let most = (MOST_RATIO * bytes.len() as u64).clamp(FREE_BYTES, MOST_BYTES);
        Ok(Self { archive: Mutex::new(archive), most })
    }

    /// The name of the model part, without its leading slash.
    pub(super) fn model_part(&self) -> Result<String, Fault> {
        let rels = "_rels/.rels";
        let text = self.text_of(rels)?;
        let mut xml = Xml::new(&text, rels);
        while let Some(node) = xml.next()? {
            let Node::Open(tag) = node else { continue };
            if !tag.is(RELATIONSHIPS, "Relationship") || tag.get("Type")? != Some(START_PART.into())
            {
                continue;
            }
            if tag.get("TargetMode")?.is_some_and(|mode| mode == "External") {
                return Err(tag.fault("the model lies outside the package"));
            }
            let target = tag.need("Target")?;
            return Ok(target.trim_start_matches('/').to_owned());
        }
        Err(Fault::at(Place::Whole, "the package names no 3D model"))
    }

    /// The text of a part, without byte order mark.
    pub(super) fn text_of(&self, part: &str) -> Result<String, Fault> {
        let fault = |what: String| Fault::at(Place::Whole, format!("part {part}: {what}"));
        let mut archive = match self.archive.lock() {
            Ok(archive) => archive,
            Err(poisoned) => poisoned.into_inner(),
        };
        let Some(index) = self.index_of(&archive, part) else {
            return Err(fault("the package does not hold it".into()));
        };
        let file = archive.by_index(index).map_err(|error| fault(error.to_string()))?;
        let mut bytes = Vec::new();
        file.take(self.most + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| fault(format!("cannot be unpacked: {error}")))?;
        if bytes.len() as u64 > self.most {
            let most = self.most;
            return Err(fault(format!(
                "it unpacks to more than {most} bytes, which no sound file of this size does"
            )));
        }
        if bytes.starts_with(b"\xEF\xBB\xBF") {
            bytes.drain(..3);
        }
        String::from_utf8(bytes).map_err(|error| {
            let byte = error.utf8_error().valid_up_to() as u64;
            Fault::at(Place::Part { part: part.to_owned(), byte }, "not UTF-8")
        })
    }

    /// Part names are compared without regard to case (OPC).
    fn index_of(&self, archive: &ZipArchive<Cursor<&'a [u8]>>, part: &str) -> Option<usize> {
        archive.index_for_name_raw(part.as_bytes()).or_else(|| {
            archive.file_names_raw().position(|name| name.eq_ignore_ascii_case(part.as_bytes()))
        })
    }
}
