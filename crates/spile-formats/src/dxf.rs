//! DXF drawings out, in the text form of release 2000.
//!
//! # Source
//! The format's public reference (group codes, sections, `$INSUNITS`); checked by a
//! reference library in `tests/outside/`.

use std::fmt::{Display, Write as _};

use crate::FileUnit;
use crate::drawing::{Drawing, LineColour, Shape, digits};

/// Handles of what every drawing has; those of layers and shapes follow.
const FIRST_FREE: u32 = 0x40;
/// The block records of model space and paper space.
const MODEL: u32 = 0x10;
const PAPER: u32 = 0x11;

/// The drawing as DXF at true scale, its unit told by `$INSUNITS`, with its layers.
///
/// Text other than ASCII is written as `\U+XXXX`. Title, description and application stand as comments at the top,
/// which not every program shows: what must be seen is drawn as text.
pub fn text(drawing: &Drawing) -> String {
    let mut out = Pairs { text: String::new(), next: FIRST_FREE };
    for line in drawing.info.lines() {
        out.pair(999, line);
    }
    let mut body = Pairs { text: String::new(), next: out.next };
    body.tables(drawing);
    body.blocks();
    body.entities(drawing);
    body.objects();
    out.header(drawing, body.next);
    out.text.push_str(&body.text);
    out.pair(0, "EOF");
    out.text
}

/// Pairs of group code and value, each on a line of its own.
struct Pairs {
    text: String,
    /// The next handle.
    next: u32,
}

impl Pairs {
    fn pair(&mut self, code: u16, value: impl Display) {
        // Writing to a string cannot fail.
        let _ = writeln!(self.text, "{code:>3}\n{value}");
    }

    fn pairs(&mut self, pairs: &[(u16, &str)]) {
        for (code, value) in pairs {
            self.pair(*code, value);
        }
    }

    /// A number, with its decimal point.
    fn number(&mut self, code: u16, x: f64) {
        self.pair(code, format_args!("{:?}", digits(x)));
    }

    /// A place in the plane, in codes 10, 20 or those so far beyond.
    fn place(&mut self, beyond: u16, [x, y]: [f64; 2]) {
        self.number(10 + beyond, x);
        self.number(20 + beyond, y);
    }

    fn handle(&mut self, handle: u32) {
        self.pair(5, format_args!("{handle:X}"));
    }

    fn new_handle(&mut self) {
        self.handle(self.next);
        self.next += 1;
    }

    fn owner(&mut self, handle: u32) {
        self.pair(330, format_args!("{handle:X}"));
    }

    fn header(&mut self, drawing: &Drawing, seed: u32) {
        // The format's codes of units.
        let unit = match drawing.info.unit {
            FileUnit::Inch => 1,
            FileUnit::Foot => 2,
            FileUnit::Millimetre => 4,
            FileUnit::Centimetre => 5,
            FileUnit::Metre => 6,
            FileUnit::Micron => 13,
        };
        let metric = !matches!(drawing.info.unit, FileUnit::Inch | FileUnit::Foot);
        self.pairs(&[(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1015")]);
        self.pairs(&[(9, "$DWGCODEPAGE"), (3, "ANSI_1252"), (9, "$HANDSEED")]);
        self.handle(seed);
        self.pair(9, "$INSUNITS");
        self.pair(70, unit);
        self.pair(9, "$MEASUREMENT");
        self.pair(70, u8::from(metric));
        let [least, most] = drawing.bounds();
        for (name, place) in [("$EXTMIN", least), ("$EXTMAX", most)] {
            self.pair(9, name);
            self.place(0, place);
            self.number(30, 0.0);
        }
        self.pairs(&[(0, "ENDSEC"), (0, "SECTION"), (2, "CLASSES"), (0, "ENDSEC")]);
    }

    /// A table's head; its records follow, then `ENDTAB`.
    fn table(&mut self, name: &str, handle: u32, count: usize) {
        self.pairs(&[(0, "TABLE"), (2, name)]);
        self.handle(handle);
        self.owner(0);
        self.pair(100, "AcDbSymbolTable");
        self.pair(70, count);
    }

    /// A record's head.
    fn record(&mut self, kind: &str, handle: u32, table: u32, class: &str) {
        self.pair(0, kind);
        self.handle(handle);
        self.owner(table);
        self.pairs(&[(100, "AcDbSymbolTableRecord"), (100, class)]);
    }

    fn tables(&mut self, drawing: &Drawing) {
        self.pairs(&[(0, "SECTION"), (2, "TABLES")]);
        for (handle, name) in [(1, "VPORT"), (2, "VIEW"), (3, "UCS")] {
            self.table(name, handle, 0);
            self.pair(0, "ENDTAB");
        }
        self.table("LTYPE", 4, 3);
        for (handle, name) in [(0x12, "ByBlock"), (0x13, "ByLayer"), (0x14, "Continuous")] {
            self.record("LTYPE", handle, 4, "AcDbLinetypeTableRecord");
            self.pairs(&[(2, name), (70, "0"), (3, ""), (72, "65"), (73, "0"), (40, "0.0")]);
        }
        self.pair(0, "ENDTAB");
        self.table("LAYER", 5, 1 + drawing.layers.len());
        self.layer(0x15, "0", 7);
        for layer in &drawing.layers {
            let handle = self.next;
            self.next += 1;
            let colour = match layer.colour {
                // Black on a white ground, white on a black one.
                LineColour::Black => 7,
                LineColour::Blue => 5,
                LineColour::Grey => 8,
            };
            self.layer(handle, &layer.name, colour);
        }
        self.pair(0, "ENDTAB");
        self.table("STYLE", 6, 1);
        self.record("STYLE", 0x16, 6, "AcDbTextStyleTableRecord");
        self.pairs(&[(2, "Standard"), (70, "0"), (40, "0.0"), (41, "1.0"), (50, "0.0")]);
        self.pairs(&[(71, "0"), (42, "2.5"), (3, "txt"), (4, ""), (0, "ENDTAB")]);
        self.table("APPID", 7, 1);
        self.record("APPID", 0x17, 7, "AcDbRegAppTableRecord");
        self.pairs(&[(2, "ACAD"), (70, "0"), (0, "ENDTAB")]);
        self.table("DIMSTYLE", 8, 1);
        self.pair(100, "AcDbDimStyleTable");
        self.pair(0, "DIMSTYLE");
        // Alone of all records this one has its handle in code 105.
        self.pair(105, "18");
        self.owner(8);
        self.pairs(&[(100, "AcDbSymbolTableRecord"), (100, "AcDbDimStyleTableRecord")]);
        self.pairs(&[(2, "Standard"), (70, "0"), (0, "ENDTAB")]);
        self.table("BLOCK_RECORD", 9, 2);
        for (handle, name) in [(MODEL, "*Model_Space"), (PAPER, "*Paper_Space")] {
            self.record("BLOCK_RECORD", handle, 9, "AcDbBlockTableRecord");
            self.pair(2, name);
        }
        self.pairs(&[(0, "ENDTAB"), (0, "ENDSEC")]);
    }

    fn layer(&mut self, handle: u32, name: &str, colour: u8) {
        self.record("LAYER", handle, 5, "AcDbLayerTableRecord");
        self.pairs(&[(2, name), (70, "0")]);
        self.pair(62, colour);
        self.pair(6, "Continuous");
    }

    fn blocks(&mut self) {
        self.pairs(&[(0, "SECTION"), (2, "BLOCKS")]);
        let spaces = [(MODEL, 0x20, "*Model_Space"), (PAPER, 0x22, "*Paper_Space")];
        for (record, handle, name) in spaces {
            self.pair(0, "BLOCK");
            self.handle(handle);
            self.owner(record);
            self.pairs(&[(100, "AcDbEntity"), (8, "0"), (100, "AcDbBlockBegin"), (2, name)]);
            self.pair(70, 0);
            self.place(0, [0.0; 2]);
            self.number(30, 0.0);
            self.pairs(&[(3, name), (1, ""), (0, "ENDBLK")]);
            self.handle(handle + 1);
            self.owner(record);
            self.pairs(&[(100, "AcDbEntity"), (8, "0"), (100, "AcDbBlockEnd")]);
        }
        self.pair(0, "ENDSEC");
    }

    fn entities(&mut self, drawing: &Drawing) {
        self.pairs(&[(0, "SECTION"), (2, "ENTITIES")]);
        for layer in &drawing.layers {
            for shape in &layer.shapes {
                self.entity(shape, &layer.name);
            }
        }
        self.pair(0, "ENDSEC");
    }

    fn entity(&mut self, shape: &Shape, layer: &str) {
        let (kind, class) = match shape {
            Shape::Outline(_) => ("LWPOLYLINE", "AcDbPolyline"),
            Shape::Line(_) => ("LINE", "AcDbLine"),
            Shape::Circle { .. } => ("CIRCLE", "AcDbCircle"),
            Shape::Text { .. } => ("TEXT", "AcDbText"),
        };
        self.pair(0, kind);
        self.new_handle();
        self.owner(MODEL);
        self.pairs(&[(100, "AcDbEntity"), (8, layer), (100, class)]);
        match shape {
            Shape::Outline(points) => {
                self.pair(90, points.len());
                // 1: closed.
                self.pair(70, 1);
                for &p in points {
                    self.place(0, p);
                }
            }
            Shape::Line([a, b]) => {
                self.place(0, *a);
                self.number(30, 0.0);
                self.place(1, *b);
                self.number(31, 0.0);
            }
            Shape::Circle { centre, radius } => {
                self.place(0, *centre);
                self.number(30, 0.0);
                self.number(40, *radius);
            }
            Shape::Text { at, height, text } => {
                self.place(0, *at);
                self.number(30, 0.0);
                self.number(40, *height);
                self.pair(1, plain(text));
                // A text's class stands twice: before its place and before its fit.
                self.pair(100, class);
            }
        }
    }

    /// The root dictionary, without which a drawing is not opened.
    fn objects(&mut self) {
        self.pairs(&[(0, "SECTION"), (2, "OBJECTS"), (0, "DICTIONARY")]);
        self.handle(0x30);
        self.owner(0);
        self.pairs(&[(100, "AcDbDictionary"), (281, "1"), (3, "ACAD_GROUP"), (350, "31")]);
        self.pair(0, "DICTIONARY");
        self.handle(0x31);
        self.owner(0x30);
        self.pairs(&[(100, "AcDbDictionary"), (281, "1"), (0, "ENDSEC")]);
    }
}

/// Text in ASCII: other characters as `\U+XXXX`, control characters as blanks.
fn plain(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            ' '..='~' => out.push(c),
            _ if c.is_control() => out.push(' '),
            _ => {
                for unit in c.encode_utf16(&mut [0; 2]) {
                    // Writing to a string cannot fail.
                    let _ = write!(out, "\\U+{unit:04X}");
                }
            }
        }
        out
    })
}
