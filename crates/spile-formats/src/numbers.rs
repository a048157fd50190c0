//! Numbers and words in text files.

use spile_mesh::DVec3;

/// A word for a message: at most 40 characters of it, unprintable ones escaped.
pub(crate) fn shown(word: &[u8]) -> String {
    let text = String::from_utf8_lossy(word);
    let mut short: String = text.chars().take(40).flat_map(char::escape_debug).collect();
    if text.chars().nth(40).is_some() {
        short.push_str("...");
    }
    format!("'{short}'")
}

/// The number that a word spells.
///
/// # Errors
/// A sentence for the message: it spells none, or one that is not finite.
pub(crate) fn number(word: &[u8]) -> Result<f64, String> {
    let spelled = std::str::from_utf8(word).ok().and_then(|text| text.parse::<f64>().ok());
    match spelled {
        Some(value) if value.is_finite() => Ok(value),
        Some(_) => Err(format!("{} is no finite number", shown(word))),
        None => Err(format!("{} is no number", shown(word))),
    }
}

/// `p` with -0.0 made 0.0, if every coordinate is finite also as a 32-bit number.
///
/// # Errors
/// A sentence for the message.
pub(crate) fn sound_point(p: DVec3) -> Result<DVec3, String> {
    if !p.is_finite() {
        return Err(format!("a coordinate is no finite number: {}, {}, {}", p.x, p.y, p.z));
    }
    if !p.as_vec3().is_finite() {
        // Everything that is written carries 32-bit coordinates.
        return Err(format!("a coordinate is too large: {:e}, {:e}, {:e}", p.x, p.y, p.z));
    }
    Ok(p + DVec3::ZERO)
}

/// Words and lines of a text file. A line ends at LF, CR or CR LF.
pub(crate) struct Words<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
    joining: bool,
}

impl<'a> Words<'a> {
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        let at = if bytes.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
        Self { bytes, at, line: 1, joining: false }
    }

    /// As [`Words::new`], where a backslash at the end of a line joins the next to it.
    pub(crate) fn joining_lines(bytes: &'a [u8]) -> Self {
        Self { joining: true, ..Self::new(bytes) }
    }

    /// As [`Words::new`], for text that begins at this line of its file.
    pub(crate) fn from_line(bytes: &'a [u8], line: usize) -> Self {
        Self { bytes, at: 0, line, joining: false }
    }

    /// The line that holds the word given last.
    pub(crate) fn line(&self) -> usize {
        self.line
    }

    /// The next word, on this line or a later one; none at the end.
    pub(crate) fn next(&mut self) -> Option<&'a [u8]> {
        loop {
            if let Some(word) = self.next_in_line() {
                return Some(word);
            }
            if self.at == self.bytes.len() {
                return None;
            }
            self.end_line();
        }
    }

    /// The next word if it stands on this line.
    pub(crate) fn next_in_line(&mut self) -> Option<&'a [u8]> {
        loop {
            match self.bytes.get(self.at) {
                None | Some(b'\n' | b'\r') => return None,
                Some(b' ' | b'\t' | 0x0B | 0x0C) => self.at += 1,
                Some(b'\\') if self.joins_here() => {
                    self.at += 1;
                    self.end_line();
                }
                Some(_) => break,
            }
        }
        let start = self.at;
        while self.bytes.get(self.at).is_some_and(|b| !is_blank(*b)) && !self.joins_here() {
            self.at += 1;
        }
        Some(&self.bytes[start..self.at])
    }

    /// The rest of this line without blanks at its ends; the line is not left.
    pub(crate) fn rest_of_line(&mut self) -> &'a [u8] {
        let start = self.at;
        while self.bytes.get(self.at).is_some_and(|b| !matches!(b, b'\n' | b'\r')) {
            self.at += 1;
        }
        self.bytes[start..self.at].trim_ascii()
    }

    /// Passes over the rest of this line and those joined to it.
    pub(crate) fn pass_line(&mut self) {
        while self.next_in_line().is_some() {}
    }

    fn joins_here(&self) -> bool {
        self.joining
            && self.bytes[self.at] == b'\\'
            && matches!(self.bytes.get(self.at + 1), Some(b'\n' | b'\r'))
    }

    fn end_line(&mut self) {
        let crlf = self.bytes[self.at..].starts_with(b"\r\n");
        self.at += if crlf { 2 } else { 1 };
        self.line += 1;
    }
}

fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\n' | b'\r' | 0x0B | 0x0C)
}
