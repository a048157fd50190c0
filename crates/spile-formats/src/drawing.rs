//! A flat drawing at true scale, as SVG and DXF have it.

use crate::PartInfo;

/// A flat drawing in its own two directions, x to the right and y up.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// What it says of the part; the unit is that of all its lengths.
    pub info: PartInfo,
    /// Its layers, in the order in which they are drawn.
    pub layers: Vec<Layer>,
}

/// A named layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Its name: letters, digits, `-` and `_`.
    pub name: String,
    /// The colour of its lines.
    pub colour: LineColour,
    /// What is on it.
    pub shapes: Vec<Shape>,
}

/// The colours of lines that both formats have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineColour {
    /// Black on white.
    Black,
    /// Blue.
    Blue,
    /// Grey.
    Grey,
}

/// One thing drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A closed line through these places; the first is not repeated.
    Outline(Vec<[f64; 2]>),
    /// A straight line.
    Line([[f64; 2]; 2]),
    /// A circle.
    Circle {
        /// Its centre.
        centre: [f64; 2],
        /// Its radius.
        radius: f64,
    },
    /// A line of text.
    Text {
        /// The left end of its base line.
        at: [f64; 2],
        /// The height of its capitals.
        height: f64,
        /// What it says.
        text: String,
    },
}

/// The width of a letter over its height, on the safe side: neither format says.
const LETTER: f64 = 0.8;

impl Drawing {
    /// Least and greatest coordinates of all that is drawn; zero where nothing is.
    pub fn bounds(&self) -> [[f64; 2]; 2] {
        let mut bounds = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
        let shapes = self.layers.iter().flat_map(|layer| &layer.shapes);
        for [x, y] in shapes.flat_map(Shape::corners) {
            let [least, most] = bounds;
            bounds = [[least[0].min(x), least[1].min(y)], [most[0].max(x), most[1].max(y)]];
        }
        if bounds[0][0] <= bounds[1][0] { bounds } else { [[0.0; 2]; 2] }
    }
}

impl Shape {
    /// Places between which it lies.
    fn corners(&self) -> Vec<[f64; 2]> {
        match self {
            Self::Outline(points) => points.clone(),
            Self::Line(ends) => ends.to_vec(),
            Self::Circle { centre: [x, y], radius: r } => vec![[x - r, y - r], [x + r, y + r]],
            Self::Text { at: [x, y], height, text } => {
                let width = LETTER * height * text.chars().count() as f64;
                vec![[*x, y - 0.3 * height], [x + width, y + height]]
            }
        }
    }
}

/// A coordinate in the digits of 32 bits: more would be rounding, and the same
/// figure in every file.
pub(crate) fn digits(x: f64) -> f32 {
    // Negative zero is zero.
    x as f32 + 0.0
}
