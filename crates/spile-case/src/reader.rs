//! Values out of a TOML table, with every mistake noted at its place.
//!
//! Reading goes on after a mistake, so that one run shows all of them; what
//! could not be read is `None`, and the mistake is in [`Reader::mistakes`].

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::direction::unit_direction;
use crate::error::CaseError;
use crate::names::Words;
use crate::types::Vec3;

/// A value with its place in the text.
pub(crate) type Value<'t> = Spanned<DeValue<'t>>;

/// The keys of one table.
pub(crate) struct Keys {
    /// What the table is called in messages, for instance `[scan]`.
    pub table: &'static str,
    /// Keys that are read.
    pub known: &'static [&'static str],
}

/// A table whose keys have been checked.
pub(crate) struct Table<'a, 't> {
    pub keys: &'static Keys,
    items: &'a DeTable<'t>,
    pub span: Range<usize>,
    /// Keys that unknown ones were probably meant to be.
    meant: Vec<String>,
}

impl<'a, 't> Table<'a, 't> {
    pub fn get(&self, key: &str) -> Option<&'a Value<'t>> {
        self.items.get(key)
    }

    /// Where the key itself stands; the table's place if it does not.
    pub fn key_span(&self, key: &str) -> Range<usize> {
        self.items.get_key_value(key).map_or(self.span.clone(), |(k, _)| k.span())
    }
}

/// What is being read, and the mistakes found so far.
pub(crate) struct Reader<'s> {
    text: &'s str,
    file: &'s str,
    pub mistakes: Vec<CaseError>,
}

impl<'s> Reader<'s> {
    pub fn new(text: &'s str, file: &'s str) -> Reader<'s> {
        Reader { text, file, mistakes: Vec::new() }
    }

    pub fn error(&self, span: Range<usize>, message: impl Into<String>) -> CaseError {
        CaseError::new(self.text, self.file, span, message.into())
    }

    /// Notes a mistake.
    pub fn note(&mut self, error: CaseError) {
        self.mistakes.push(error);
    }

    /// The table at the top of the file.
    pub fn root<'a, 't>(
        &mut self,
        table: &'a Spanned<DeTable<'t>>,
        keys: &'static Keys,
    ) -> Table<'a, 't> {
        self.checked(table.get_ref(), 0..0, keys)
    }

    /// `value` as a table with these keys.
    pub fn table<'a, 't>(
        &mut self,
        value: &'a Value<'t>,
        keys: &'static Keys,
    ) -> Option<Table<'a, 't>> {
        match value.get_ref().as_table() {
            Some(items) => Some(self.checked(items, value.span(), keys)),
            None => {
                self.expected(value, "a table");
                None
            }
        }
    }

    fn checked<'a, 't>(
        &mut self,
        items: &'a DeTable<'t>,
        span: Range<usize>,
        keys: &'static Keys,
    ) -> Table<'a, 't> {
        let mut meant = Vec::new();
        for (key, _) in items {
            let name: &str = key.get_ref();
            if keys.known.contains(&name) {
                continue;
            }
            let error = self
                .error(key.span(), format!("unknown key in {}: `{}`", keys.table, shown(name)))
                .label("unknown key")
                .allowed(name, keys.known);
            meant.extend(error.nearest.clone());
            self.note(error);
        }
        Table { keys, items, span, meant }
    }

    /// The tables of an array of tables, as `[[end]]`; none if there is no such key.
    pub fn tables<'a, 't>(&mut self, value: Option<&'a Value<'t>>) -> Vec<&'a Value<'t>> {
        let Some(value) = value else { return Vec::new() };
        match value.get_ref().as_array() {
            Some(array) => array.iter().collect(),
            // One table where several could stand is one.
            None => vec![value],
        }
    }

    /// Notes that a required key is missing, unless a misspelt one stands for it.
    pub fn missing(&mut self, table: &Table<'_, '_>, key: &str, advice: &str) {
        if table.meant.iter().any(|m| m == key) {
            return;
        }
        let error = self
            .error(table.span.clone(), format!("{} needs `{key}`", table.keys.table))
            .label(format!("no `{key}` here"));
        self.note(if advice.is_empty() { error } else { error.advice(advice) });
    }

    fn expected(&mut self, value: &Value<'_>, what: &str) {
        let found = kind_of(value.get_ref());
        let error = self
            .error(value.span(), format!("expected {what}, found {found}"))
            .label(format!("expected {what}"));
        self.note(error);
    }

    /// A finite number that an `f32` coordinate could hold.
    pub fn number(&mut self, value: &Value<'_>) -> Option<f64> {
        let read: Option<f64> = match value.get_ref() {
            DeValue::Float(f) => f.as_str().parse().ok(),
            DeValue::Integer(i) => integer(i.as_str(), i.radix()).map(|i| i as f64),
            _ => {
                self.expected(value, "a number");
                return None;
            }
        };
        match read {
            Some(x) if x.is_finite() && x.abs() <= f64::from(f32::MAX) => Some(x),
            _ => {
                let error = self
                    .error(value.span(), "expected a finite number below 3.4e38")
                    .label("out of range");
                self.note(error);
                None
            }
        }
    }

    /// A number above zero.
    pub fn positive(&mut self, value: &Value<'_>) -> Option<f64> {
        let x = self.number(value)?;
        if x > 0.0 {
            return Some(x);
        }
        let error = self
            .error(value.span(), format!("expected a number above 0: {x}"))
            .label("must be above 0");
        self.note(error);
        None
    }

    /// A number from `lo` to `hi`.
    pub fn within(&mut self, value: &Value<'_>, lo: f64, hi: f64) -> Option<f64> {
        let x = self.number(value)?;
        if (lo..=hi).contains(&x) {
            return Some(x);
        }
        let error = self
            .error(value.span(), format!("expected a number from {lo} to {hi}: {x}"))
            .label(format!("must be from {lo} to {hi}"));
        self.note(error);
        None
    }

    /// An optional number above zero.
    pub fn maybe_positive(&mut self, table: &Table<'_, '_>, key: &str) -> Option<f64> {
        table.get(key).and_then(|v| self.positive(v))
    }

    /// A required number above zero.
    pub fn need_positive(&mut self, table: &Table<'_, '_>, key: &str) -> Option<f64> {
        match table.get(key) {
            Some(value) => self.positive(value),
            None => {
                self.missing(table, key, "");
                None
            }
        }
    }

    /// A required point.
    pub fn need_point(&mut self, table: &Table<'_, '_>, key: &str) -> Option<Vec3> {
        match table.get(key) {
            Some(value) => self.point(value),
            None => {
                self.missing(table, key, "");
                None
            }
        }
    }

    /// A required direction, normalised.
    pub fn need_direction(&mut self, table: &Table<'_, '_>, key: &str) -> Option<Vec3> {
        match table.get(key) {
            Some(value) => self.direction(value),
            None => {
                self.missing(table, key, "");
                None
            }
        }
    }

    /// Three numbers.
    pub fn point(&mut self, value: &Value<'_>) -> Option<Vec3> {
        let Some([x, y, z]) = value.get_ref().as_array().and_then(|a| three(a)) else {
            self.expected(value, "three numbers `[x, y, z]`");
            return None;
        };
        // All three are read, so that all their mistakes are shown.
        let (x, y, z) = (self.number(x), self.number(y), self.number(z));
        Some([x?, y?, z?])
    }

    /// Three numbers, scaled to length 1.
    pub fn direction(&mut self, value: &Value<'_>) -> Option<Vec3> {
        let v = self.point(value)?;
        let unit = unit_direction(v);
        if unit.is_none() {
            let error = self
                .error(value.span(), "a direction cannot be zero")
                .label("no direction")
                .advice("give any vector that points the right way; its length does not matter");
            self.note(error);
        }
        unit
    }

    /// Points whose coordinates are `f32` values.
    ///
    /// Parsed as `f32` from the text itself: by way of `f64` the value could
    /// be rounded twice.
    pub fn f32_points(&mut self, value: &Value<'_>) -> Option<Vec<Vec3>> {
        let Some(array) = value.get_ref().as_array() else {
            self.expected(value, "a list of points");
            return None;
        };
        let mut points = Vec::with_capacity(array.len());
        for item in array.iter() {
            let mut point = self.point(item)?;
            for (x, of) in point.iter_mut().zip(item.get_ref().as_array()?.iter()) {
                if let DeValue::Float(f) = of.get_ref() {
                    *x = f64::from(f.as_str().parse::<f32>().ok()?);
                } else {
                    *x = f64::from(*x as f32);
                }
            }
            points.push(point);
        }
        Some(points)
    }

    /// Text that is not empty and holds no control characters.
    pub fn text(&mut self, value: &Value<'_>) -> Option<String> {
        let Some(text) = value.get_ref().as_str() else {
            self.expected(value, "text in quotes");
            return None;
        };
        if text.trim().is_empty() || text.chars().any(char::is_control) {
            let error = self
                .error(value.span(), "expected text that is not empty, without control characters")
                .label("not usable as a name");
            self.note(error);
            return None;
        }
        Some(text.to_owned())
    }

    /// One of a list of words.
    pub fn word<T: Copy>(&mut self, value: &Value<'_>, words: Words<T>) -> Option<T> {
        let names: Vec<&str> = words.iter().map(|&(name, _)| name).collect();
        let Some(text) = value.get_ref().as_str() else {
            let found = kind_of(value.get_ref());
            let error = self
                .error(value.span(), format!("expected text in quotes, found {found}"))
                .label("expected text in quotes")
                .allowed("", &names);
            self.note(error);
            return None;
        };
        if let Some(&(_, meant)) = words.iter().find(|&&(name, _)| name == text) {
            return Some(meant);
        }
        let error = self
            .error(value.span(), format!("unknown value: `{}`", shown(text)))
            .label("unknown value")
            .allowed(text, &names);
        self.note(error);
        None
    }

    /// Whole numbers from 0.
    pub fn numbers_from_zero(&mut self, value: &Value<'_>) -> Option<Vec<u32>> {
        let Some(array) = value.get_ref().as_array() else {
            self.expected(value, "a list of whole numbers from 0");
            return None;
        };
        let mut numbers = Vec::with_capacity(array.len());
        for item in array.iter() {
            let read = match item.get_ref() {
                DeValue::Integer(i) => {
                    integer(i.as_str(), i.radix()).and_then(|i| u32::try_from(i).ok())
                }
                _ => None,
            };
            let Some(read) = read else {
                self.expected(item, "a whole number from 0");
                return None;
            };
            numbers.push(read);
        }
        Some(numbers)
    }
}

fn integer(digits: &str, radix: u32) -> Option<i64> {
    i64::from_str_radix(digits, radix).ok()
}

fn three<'a, 't>(array: &'a [Value<'t>]) -> Option<[&'a Value<'t>; 3]> {
    match array {
        [x, y, z] => Some([x, y, z]),
        _ => None,
    }
}

/// A key or value fit to stand in a sentence.
fn shown(text: &str) -> String {
    let short: String =
        text.chars().take(40).map(|c| if c.is_control() { '?' } else { c }).collect();
    if text.chars().count() > 40 { format!("{short}...") } else { short }
}

fn kind_of(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(_) => "text".to_owned(),
        DeValue::Integer(_) | DeValue::Float(_) => "a number".to_owned(),
        DeValue::Boolean(_) => "true or false".to_owned(),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(a) => format!("a list of {}", a.len()),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
