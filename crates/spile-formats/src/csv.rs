//! Tables as CSV out.
//!
//! # Source
//! RFC 4180: a header line, records on lines that end in CR LF, fields with a comma, a quote or a
//! line's end in quotes. It knows no comments: what must be said beside the table goes elsewhere.

/// A table as CSV, in UTF-8; every record has as many fields as the header.
pub fn text(header: &[String], records: &[Vec<String>]) -> String {
    let line = |fields: &[String]| {
        let fields: Vec<String> = fields.iter().map(|f| field(f)).collect();
        format!("{}\r\n", fields.join(","))
    };
    records.iter().fold(line(header), |out, record| out + &line(record))
}

fn field(text: &str) -> String {
    match text.contains([',', '"', '\r', '\n']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    /// RFC 4180, section 2, rules 5 to 7.
    #[test]
    fn fields_are_quoted_where_they_must_be() {
        let row = |fields: [&str; 3]| fields.map(str::to_owned).to_vec();
        let text = super::text(&row(["a", "b", "c"]), &[row(["1", "b\r\nb", "c\"c,"])]);
        assert_eq!(text, "a,b,c\r\n1,\"b\r\nb\",\"c\"\"c,\"\r\n");
    }
}
