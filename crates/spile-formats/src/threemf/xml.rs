//! XML as 3MF has it: elements with attributes, no document type.

use std::borrow::Cow;

use quick_xml::XmlVersion;
use quick_xml::events::{BytesStart, Event};
use quick_xml::name::ResolveResult;
use quick_xml::reader::NsReader;

use crate::error::{Fault, Place};

/// A document read from front to end.
pub(super) struct Xml<'a> {
    reader: NsReader<&'a [u8]>,
    part: &'a str,
    /// An element without content gives its end next.
    pending_end: bool,
}

/// What comes next in the document.
pub(super) enum Node<'a> {
    /// An element begins.
    Open(Tag<'a>),
    /// The innermost open element ends.
    Close,
    /// Text in the innermost open element; long text may come in pieces.
    Text(String),
}

/// The beginning of an element.
pub(super) struct Tag<'a> {
    start: BytesStart<'a>,
    namespace: Option<String>,
    place: Place,
}

impl<'a> Xml<'a> {
    pub(super) fn new(text: &'a str, part: &'a str) -> Self {
        let mut reader = NsReader::from_str(text);
        reader.config_mut().check_end_names = true;
        Self { reader, part, pending_end: false }
    }

    fn place(&self, byte: u64) -> Place {
        Place::Part { part: self.part.to_owned(), byte }
    }

    /// The next node; none at the document's end.
    pub(super) fn next(&mut self) -> Result<Option<Node<'a>>, Fault> {
        if std::mem::take(&mut self.pending_end) {
            return Ok(Some(Node::Close));
        }
        loop {
            let byte = self.reader.buffer_position();
            let (resolved, event) = match self.reader.read_resolved_event() {
                Ok(read) => read,
                Err(error) => {
                    let place = self.place(self.reader.error_position());
                    return Err(Fault::at(place, format!("no sound XML: {error}")));
                }
            };
            let namespace = match resolved {
                ResolveResult::Bound(namespace) => Some(namespace.as_ref().to_owned()),
                _ => None,
            };
            match event {
                Event::Start(start) => {
                    let tag = Tag { start, namespace, place: self.place(byte) };
                    return Ok(Some(Node::Open(tag)));
                }
                Event::Empty(start) => {
                    self.pending_end = true;
                    let tag = Tag { start, namespace, place: self.place(byte) };
                    return Ok(Some(Node::Open(tag)));
                }
                Event::End(_) => return Ok(Some(Node::Close)),
                Event::Text(text) => {
                    let text = text.xml_content(XmlVersion::Implicit1_0).into_owned();
                    return Ok(Some(Node::Text(text)));
                }
                Event::CData(text) => {
                    let text = text.xml_content(XmlVersion::Implicit1_0).into_owned();
                    return Ok(Some(Node::Text(text)));
                }
                Event::GeneralRef(entity) => {
                    let plain = match entity.resolve_char_ref() {
                        Ok(Some(c)) => Some(c),
                        Ok(None) => {
                            predefined(entity.xml_content(XmlVersion::Implicit1_0).as_ref())
                        }
                        Err(_) => None,
                    };
                    let Some(c) = plain else {
                        return Err(Fault::at(self.place(byte), "an entity that is not defined"));
                    };
                    return Ok(Some(Node::Text(c.into())));
                }
                Event::DocType(_) => {
                    let what = "a document type definition, which 3MF forbids";
                    return Err(Fault::at(self.place(byte), what));
                }
                Event::Eof => return Ok(None),
                Event::Comment(_) | Event::Decl(_) | Event::PI(_) => {}
            }
        }
    }

    /// Passes over the content and the end of the element that was just opened.
    pub(super) fn pass_over(&mut self) -> Result<(), Fault> {
        let mut depth = 1_u64;
        while depth > 0 {
            match self.need_node()? {
                Node::Open(_) => depth += 1,
                Node::Close => depth -= 1,
                Node::Text(_) => {}
            }
        }
        Ok(())
    }

    /// The next node inside an element.
    pub(super) fn need_node(&mut self) -> Result<Node<'a>, Fault> {
        match self.next()? {
            Some(node) => Ok(node),
            None => {
                let place = self.place(self.reader.buffer_position());
                Err(Fault::at(place, "the document ends inside an element"))
            }
        }
    }

    /// The next element inside the one that is open; none at its end.
    pub(super) fn child(&mut self) -> Result<Option<Tag<'a>>, Fault> {
        loop {
            match self.need_node()? {
                Node::Open(tag) => return Ok(Some(tag)),
                Node::Close => return Ok(None),
                Node::Text(_) => {}
            }
        }
    }
}

fn predefined(name: &str) -> Option<char> {
    Some(match name {
        "lt" => '<',
        "gt" => '>',
        "amp" => '&',
        "apos" => '\'',
        "quot" => '"',
        _ => return None,
    })
}

impl Tag<'_> {
    pub(super) fn is(&self, namespace: &str, name: &str) -> bool {
        self.namespace.as_deref() == Some(namespace) && self.name() == name
    }

    /// Its name without prefix.
    pub(super) fn name(&self) -> &str {
        self.start.local_name().into_inner()
    }

    pub(super) fn namespace(&self) -> &str {
        self.namespace.as_deref().unwrap_or("")
    }

    /// The value of an attribute without prefix.
    pub(super) fn get(&self, name: &str) -> Result<Option<Cow<'_, str>>, Fault> {
        self.find(|key| key == name)
    }

    /// The value of an attribute with any prefix and this local name.
    pub(super) fn get_prefixed(&self, name: &str) -> Result<Option<Cow<'_, str>>, Fault> {
        self.find(|key| key.split_once(':').is_some_and(|(_, local)| local == name))
    }

    /// The namespaces that this element gives to prefixes.
    pub(super) fn namespace_of_prefix(&self, prefix: &str) -> Result<Option<Cow<'_, str>>, Fault> {
        self.find(|key| key.strip_prefix("xmlns:").is_some_and(|declared| declared == prefix))
    }

    fn find(&self, wanted: impl Fn(&str) -> bool) -> Result<Option<Cow<'_, str>>, Fault> {
        let mut found = None;
        for attribute in self.start.attributes() {
            let attribute = attribute.map_err(|error| self.fault(error.to_string()))?;
            if found.is_none() && wanted(attribute.key.into_inner()) {
                let value = attribute
                    .normalized_value(XmlVersion::Implicit1_0)
                    .map_err(|error| self.fault(error.to_string()))?;
                found = Some(value);
            }
        }
        Ok(found)
    }

    pub(super) fn need(&self, name: &str) -> Result<Cow<'_, str>, Fault> {
        match self.get(name)? {
            Some(value) => Ok(value),
            None => Err(self.fault(format!("the element '{}' lacks '{name}'", self.name()))),
        }
    }

    /// The attribute as a whole number below 2^31.
    pub(super) fn whole(&self, name: &str) -> Result<Option<u32>, Fault> {
        let Some(text) = self.get(name)? else { return Ok(None) };
        match text.trim().parse::<u32>().ok().filter(|&n| n < 1 << 31) {
            Some(number) => Ok(Some(number)),
            None => Err(self.fault(format!("{name}=\"{text}\" is no whole number below 2^31"))),
        }
    }

    pub(super) fn need_whole(&self, name: &str) -> Result<u32, Fault> {
        match self.whole(name)? {
            Some(number) => Ok(number),
            None => Err(self.fault(format!("the element '{}' lacks '{name}'", self.name()))),
        }
    }

    pub(super) fn fault(&self, what: impl Into<String>) -> Fault {
        Fault::at(self.place.clone(), what)
    }
}
