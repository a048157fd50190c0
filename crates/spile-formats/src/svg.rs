//! SVG drawings out.
//!
//! # Source
//! W3C, "Scalable Vector Graphics (SVG) 1.1": units of the outermost element, its view box.

use std::fmt::Write as _;

use quick_xml::escape::escape;

use crate::FileUnit;
use crate::drawing::{Drawing, LineColour, Shape, digits};

/// The margin round all that is drawn, as a share of its larger side.
const MARGIN: f64 = 0.04;
/// Lines are as wide as this share of the larger side.
const LINE: f64 = 0.002;

/// The drawing as SVG at true scale: one user unit is the drawing's unit, and the page's size is told
/// in a unit that SVG has. Each layer is a group with the layer's name as `id`; y, which
/// runs down in SVG, is turned over. Title and description stand in `title` and `desc`.
pub fn text(drawing: &Drawing) -> String {
    let info = &drawing.info;
    let [[x0, y0], [x1, y1]] = drawing.bounds();
    let larger = (x1 - x0).max(y1 - y0);
    let margin = MARGIN * larger;
    let size = [x1 - x0 + 2.0 * margin, y1 - y0 + 2.0 * margin];
    // SVG has millimetres, centimetres and inches.
    let (factor, unit) = match info.unit {
        FileUnit::Centimetre => (1.0, "cm"),
        FileUnit::Inch => (1.0, "in"),
        other => (other.millimetres(), "mm"),
    };
    let [width, height] = size.map(|s| digits(factor * s));
    let view = [x0 - margin, -y1 - margin, size[0], size[1]].map(digits);
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" width=\"{width}{unit}\" height=\"{height}{unit}\" \
         viewBox=\"{} {} {} {}\">\n<title>{}</title>\n<desc>{} Lengths are in {}. {}</desc>\n",
        view[0],
        view[1],
        view[2],
        view[3],
        plain(&info.title),
        plain(&info.description),
        info.unit.symbol(),
        plain(&info.application),
    );
    let line = digits(LINE * larger);
    for layer in &drawing.layers {
        let colour = match layer.colour {
            LineColour::Black => "#000000",
            LineColour::Blue => "#0050a0",
            LineColour::Grey => "#606060",
        };
        // Writing to a string cannot fail.
        let _ = writeln!(
            out,
            "<g id=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{line}\">",
            plain(&layer.name)
        );
        for shape in &layer.shapes {
            shape_text(&mut out, shape, colour);
        }
        out.push_str("</g>\n");
    }
    out.push_str("</svg>\n");
    out
}

fn shape_text(out: &mut String, shape: &Shape, colour: &str) {
    let flat = |[x, y]: [f64; 2]| [digits(x), digits(-y)];
    // Writing to a string cannot fail.
    let _ = match shape {
        Shape::Outline(points) => {
            out.push_str("<path d=\"");
            for (k, &p) in points.iter().enumerate() {
                let [x, y] = flat(p);
                let _ = write!(out, "{}{x} {y}", if k == 0 { "M" } else { "L" });
            }
            writeln!(out, "Z\"/>")
        }
        Shape::Line([a, b]) => {
            let ([x1, y1], [x2, y2]) = (flat(*a), flat(*b));
            writeln!(out, "<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\"/>")
        }
        Shape::Circle { centre, radius } => {
            let [x, y] = flat(*centre);
            writeln!(out, "<circle cx=\"{x}\" cy=\"{y}\" r=\"{}\"/>", digits(*radius))
        }
        Shape::Text { at, height, text } => {
            let [x, y] = flat(*at);
            // Capitals are about 0.7 of the font's size.
            let size = digits(height / 0.7);
            writeln!(
                out,
                "<text x=\"{x}\" y=\"{y}\" font-family=\"sans-serif\" font-size=\"{size}\" fill=\"{colour}\" \
                 stroke=\"none\">{}</text>",
                plain(text)
            )
        }
    };
}

/// Text fit for XML.
fn plain(text: &str) -> String {
    let fit = |c: char| if c.is_control() { ' ' } else { c };
    escape(text.chars().map(fit).collect::<String>()).into_owned()
}
