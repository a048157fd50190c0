//! The exchange structure of ISO 10303-21: instances `#12 = NAME(...);`, whatever
//! they mean.

use std::collections::BTreeMap;

use crate::error::{Fault, Place};
use crate::numbers::shown;

/// Lists within lists deeper than this are refused.
const MOST_NESTED: usize = 64;

/// A value of an instance.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Value {
    /// `$` or `*`: left out, or told elsewhere.
    None,
    Number(f64),
    Text(String),
    /// `.NAME.`
    Word(String),
    /// `#12`
    Reference(u64),
    List(Vec<Value>),
    /// `NAME(value)`
    Typed(String, Vec<Value>),
}

/// One record of an instance: its type's name and its values.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Record {
    pub name: String,
    pub values: Vec<Value>,
}

/// An instance; one of several types has several records.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Instance {
    pub line: u64,
    pub records: Vec<Record>,
}

/// All instances of a file by their numbers.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Instances {
    pub all: BTreeMap<u64, Instance>,
}

/// The instances of the data sections of `bytes`.
///
/// # Errors
/// The bytes are no exchange structure; with the line.
pub(crate) fn instances(bytes: &[u8]) -> Result<Instances, Fault> {
    let mut parser = Parser { bytes, at: 0, line: 1 };
    if bytes.starts_with(b"\xEF\xBB\xBF") {
        parser.at = 3;
    }
    parser.keyword("ISO-10303-21")?;
    parser.punctuation(b';')?;
    parser.keyword("HEADER")?;
    parser.punctuation(b';')?;
    let mut instances = Instances::default();
    while parser.word_ahead("ENDSEC")?.is_none() {
        parser.record(0)?;
        parser.punctuation(b';')?;
    }
    parser.punctuation(b';')?;
    loop {
        let line = parser.line_of_next()?;
        let section = parser.name()?;
        match section.as_str() {
            "DATA" => {
                if parser.peek()? == Some(b'(') {
                    parser.list(0)?;
                }
                parser.punctuation(b';')?;
                parser.data(&mut instances)?;
            }
            "END-ISO-10303-21" => return Ok(instances),
            "REFERENCE" | "ANCHOR" | "SIGNATURE" => {
                return Err(Fault::refused(
                    Place::Line(line),
                    format!("a section {section}, which leads to other files or signs this one"),
                    "write the part into one STEP file without such sections",
                ));
            }
            _ => {
                let what = format!("{} begins no section", shown(section.as_bytes()));
                return Err(Fault::at(Place::Line(line), what));
            }
        }
    }
}

struct Parser<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl Parser<'_> {
    fn fault(&self, what: impl Into<String>) -> Fault {
        Fault::at(Place::Line(self.line), what)
    }

    /// The next byte that is neither blank nor in a comment.
    fn peek(&mut self) -> Result<Option<u8>, Fault> {
        loop {
            match self.bytes.get(self.at) {
                None => return Ok(None),
                Some(b'\n') => {
                    self.line += 1;
                    self.at += 1;
                }
                Some(b' ' | b'\t' | b'\r' | 0x0B | 0x0C) => self.at += 1,
                Some(b'/') if self.bytes.get(self.at + 1) == Some(&b'*') => self.comment()?,
                Some(&byte) => return Ok(Some(byte)),
            }
        }
    }

    fn comment(&mut self) -> Result<(), Fault> {
        let begun = self.line;
        let mut at = self.at + 2;
        loop {
            match self.bytes.get(at) {
                None => return Err(Fault::at(Place::Line(begun), "a comment that does not end")),
                Some(b'*') if self.bytes.get(at + 1) == Some(&b'/') => break,
                Some(b'\n') => self.line += 1,
                Some(_) => {}
            }
            at += 1;
        }
        self.at = at + 2;
        Ok(())
    }

    fn line_of_next(&mut self) -> Result<u64, Fault> {
        self.peek()?;
        Ok(self.line)
    }

    fn punctuation(&mut self, wanted: u8) -> Result<(), Fault> {
        match self.peek()? {
            Some(byte) if byte == wanted => {
                self.at += 1;
                Ok(())
            }
            None => Err(self.fault(format!("the file ends where '{}' is due", wanted as char))),
            Some(_) => {
                let found = shown(self.ahead());
                Err(self.fault(format!("found {found} where '{}' is due", wanted as char)))
            }
        }
    }

    /// What comes next, for a message.
    fn ahead(&self) -> &[u8] {
        let rest = &self.bytes[self.at..];
        let end = rest.iter().position(|b| matches!(b, b'\n' | b'\r' | b';')).unwrap_or(rest.len());
        &rest[..end.max(1).min(rest.len())]
    }

    fn is_name(byte: u8) -> bool {
        byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-' | b'!')
    }

    fn name(&mut self) -> Result<String, Fault> {
        self.peek()?;
        let rest = &self.bytes[self.at..];
        let length = rest.iter().position(|&b| !Self::is_name(b)).unwrap_or(rest.len());
        if length == 0 || !(rest[0].is_ascii_alphabetic() || rest[0] == b'!') {
            return Err(match rest.is_empty() {
                true => self.fault("the file ends too early"),
                false => self.fault(format!("found {} where a name is due", shown(self.ahead()))),
            });
        }
        self.at += length;
        Ok(String::from_utf8_lossy(&rest[..length]).to_ascii_uppercase())
    }

    fn keyword(&mut self, wanted: &str) -> Result<(), Fault> {
        match self.word_ahead(wanted)? {
            Some(()) => Ok(()),
            None if self.bytes.get(self.at).is_none() => {
                Err(self.fault(format!("the file ends where {wanted} is due")))
            }
            None => {
                let found = shown(self.ahead());
                Err(self
                    .fault(format!("found {found} where {wanted} is due: this is no STEP file")))
            }
        }
    }

    /// Passes over `wanted` if it comes next.
    fn word_ahead(&mut self, wanted: &str) -> Result<Option<()>, Fault> {
        self.peek()?;
        let rest = &self.bytes[self.at..];
        let length = rest.iter().position(|&b| !Self::is_name(b)).unwrap_or(rest.len());
        let is_it = rest[..length].eq_ignore_ascii_case(wanted.as_bytes());
        if is_it {
            self.at += length;
        }
        Ok(is_it.then_some(()))
    }

    /// The instances up to the end of a data section.
    fn data(&mut self, instances: &mut Instances) -> Result<(), Fault> {
        while self.word_ahead("ENDSEC")?.is_none() {
            let line = self.line_of_next()?;
            self.punctuation(b'#')?;
            let number = self.digits()?;
            self.punctuation(b'=')?;
            let records = if self.peek()? == Some(b'(') {
                self.at += 1;
                let mut records = Vec::new();
                while self.peek()? != Some(b')') {
                    records.push(self.record(0)?);
                }
                self.at += 1;
                records
            } else {
                vec![self.record(0)?]
            };
            self.punctuation(b';')?;
            if instances.all.insert(number, Instance { line, records }).is_some() {
                let place = Place::Entity { entity: number, line };
                return Err(Fault::at(place, "a second instance of this number"));
            }
        }
        self.punctuation(b';')
    }

    fn digits(&mut self) -> Result<u64, Fault> {
        let rest = &self.bytes[self.at..];
        let length = rest.iter().position(|b| !b.is_ascii_digit()).unwrap_or(rest.len());
        let number = std::str::from_utf8(&rest[..length]).ok().and_then(|t| t.parse().ok());
        self.at += length;
        number.ok_or_else(|| self.fault("a '#' without a number that can be counted with"))
    }

    fn record(&mut self, depth: usize) -> Result<Record, Fault> {
        let name = self.name()?;
        Ok(Record { name, values: self.list(depth)? })
    }

    fn list(&mut self, depth: usize) -> Result<Vec<Value>, Fault> {
        if depth > MOST_NESTED {
            return Err(self.fault(format!("lists more than {MOST_NESTED} deep")));
        }
        self.punctuation(b'(')?;
        let mut values = Vec::new();
        if self.peek()? == Some(b')') {
            self.at += 1;
            return Ok(values);
        }
        loop {
            values.push(self.value(depth)?);
            match self.peek()? {
                Some(b',') => self.at += 1,
                _ => {
                    self.punctuation(b')')?;
                    return Ok(values);
                }
            }
        }
    }

    fn value(&mut self, depth: usize) -> Result<Value, Fault> {
        match self.peek()? {
            Some(b'$' | b'*') => {
                self.at += 1;
                Ok(Value::None)
            }
            Some(b'#') => {
                self.at += 1;
                Ok(Value::Reference(self.digits()?))
            }
            Some(b'(') => Ok(Value::List(self.list(depth + 1)?)),
            Some(b'\'') => self.text(),
            Some(b'"') => {
                let rest = &self.bytes[self.at + 1..];
                let Some(length) = rest.iter().position(|&b| b == b'"') else {
                    return Err(self.fault("a binary value that does not end"));
                };
                self.at += length + 2;
                Ok(Value::None)
            }
            Some(b'.') if self.bytes.get(self.at + 1).is_some_and(u8::is_ascii_alphabetic) => {
                self.at += 1;
                let name = self.name()?;
                self.punctuation(b'.')?;
                Ok(Value::Word(name))
            }
            Some(b'+' | b'-' | b'.' | b'0'..=b'9') => self.number(),
            Some(byte) if byte.is_ascii_alphabetic() || byte == b'!' => {
                let record = self.record(depth + 1)?;
                Ok(Value::Typed(record.name, record.values))
            }
            Some(_) => {
                let found = shown(self.ahead());
                Err(self.fault(format!("found {found} where a value is due")))
            }
            None => Err(self.fault("the file ends too early")),
        }
    }

    fn number(&mut self) -> Result<Value, Fault> {
        let rest = &self.bytes[self.at..];
        let is_part = |b: u8| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'E' | b'e');
        let length = rest.iter().position(|&b| !is_part(b)).unwrap_or(rest.len());
        let number = crate::numbers::number(&rest[..length]).map_err(|what| self.fault(what))?;
        self.at += length;
        Ok(Value::Number(number))
    }

    /// Text, `''` being one quote. What stands for other letters is left as it is.
    fn text(&mut self) -> Result<Value, Fault> {
        let begun = self.line;
        let mut text = Vec::new();
        let mut at = self.at + 1;
        loop {
            match self.bytes.get(at) {
                None => return Err(Fault::at(Place::Line(begun), "text that does not end")),
                Some(b'\'') if self.bytes.get(at + 1) == Some(&b'\'') => {
                    text.push(b'\'');
                    at += 2;
                }
                Some(b'\'') => break,
                Some(&byte) => {
                    self.line += u64::from(byte == b'\n');
                    text.push(byte);
                    at += 1;
                }
            }
        }
        self.at = at + 1;
        Ok(Value::Text(String::from_utf8_lossy(&text).into_owned()))
    }
}
