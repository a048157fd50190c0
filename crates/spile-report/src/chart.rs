//! Charts as SVG: lines over a length, and histograms. Small enough to be read.

use std::fmt::Write as _;

use crate::number::digits;

/// Width and height of a chart in its own units; text in it is 12 high, so that two side by
/// side on paper have text of 8 points.
pub const SIZE: [usize; 2] = [360, 240];
/// Room for labels: left, top, right, bottom.
const ROOM: [f64; 4] = [58.0, 30.0, 14.0, 44.0];
/// The darkest ink, and that of rules.
const INK: &str = "#1c2126";
const RULE: &str = "#d9dde1";

/// One line of a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Its name.
    pub name: String,
    /// Its points in order; a gap is where y is NaN.
    pub points: Vec<[f64; 2]>,
    /// Its colour, `#rrggbb`.
    pub colour: &'static str,
    /// How it is drawn: lines are told apart without colour, too.
    pub stroke: Stroke,
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    /// Without gaps.
    Solid,
    /// In dashes.
    Dashed,
}

/// A value with a name at which a rule is drawn across.
pub type Mark = (f64, String);

/// A chart of lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Lines {
    /// What runs to the right, with its unit.
    pub x: String,
    /// What runs up, with its unit.
    pub y: String,
    /// The lines.
    pub series: Vec<Series>,
    /// Places along x.
    pub at_x: Vec<Mark>,
}

/// A chart of how much lies between values.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// What runs to the right, with its unit.
    pub x: String,
    /// What runs up, with its unit.
    pub y: String,
    /// Where the bins begin and end: one more than there are bins.
    pub edges: Vec<f64>,
    /// How much lies in each.
    pub heights: Vec<f64>,
    /// Places along x.
    pub at_x: Vec<Mark>,
}

/// Ends of an axis and the values that are written beside it.
struct Axis {
    low: f64,
    high: f64,
    ticks: Vec<f64>,
}

impl Axis {
    /// An axis over these values with steps of 1, 2 or 5 times a power of ten.
    fn over(low: f64, high: f64, wanted: usize) -> Self {
        let (low, high) = match (low.is_finite() && high.is_finite(), high > low) {
            (false, _) => (0.0, 1.0),
            (true, true) => (low, high),
            (true, false) => (low - 0.5 * low.abs().max(1.0), high + 0.5 * high.abs().max(1.0)),
        };
        let rough = (high - low) / wanted as f64;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|k| k * power).into_iter().find(|s| *s >= rough);
        let step = step.unwrap_or(rough);
        let (first, last) = ((low / step).ceil() as i64, (high / step).floor() as i64);
        let ticks = (first..=last).map(|k| k as f64 * step).collect();
        Self { low, high, ticks }
    }

    /// The same, from tick to tick.
    fn rounded(low: f64, high: f64, wanted: usize) -> Self {
        let inner = Self::over(low, high, wanted);
        let [Some(a), Some(b)] = [inner.ticks.first(), inner.ticks.get(1)] else { return inner };
        let step = b - a;
        let (low, high) = ((inner.low / step).floor() * step, (inner.high / step).ceil() * step);
        Self::over(low, high, wanted)
    }

    fn share(&self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }
}

/// A drawing under way.
struct Drawing {
    svg: String,
    x: Axis,
    y: Axis,
}

impl Drawing {
    fn begin(x: Axis, y: Axis, names: [&str; 2]) -> Self {
        let mut drawing = Self { svg: open(SIZE), x, y };
        let bottom = SIZE[1] as f64 - ROOM[3];
        for &tick in &drawing.y.ticks {
            let at = drawing.up(tick);
            let left = ROOM[0];
            let right = SIZE[0] as f64 - ROOM[2];
            let _ = write!(
                drawing.svg,
                r#"<path d="M{left:.1} {at:.1}H{right:.1}" stroke="{RULE}" fill="none"/>"#
            );
            text(&mut drawing.svg, [left - 6.0, at + 4.0], "end", &digits(tick));
        }
        for &tick in &drawing.x.ticks {
            let at = drawing.across(tick);
            let _ = write!(
                drawing.svg,
                r##"<path d="M{at:.1} {bottom:.1}v4" stroke="{INK}" fill="none"/>"##
            );
            text(&mut drawing.svg, [at, bottom + 17.0], "middle", &digits(tick));
        }
        let right = SIZE[0] as f64 - ROOM[2];
        text(&mut drawing.svg, [right, SIZE[1] as f64 - 8.0], "end", names[0]);
        text(&mut drawing.svg, [4.0, 14.0], "start", names[1]);
        drawing
    }

    fn across(&self, x: f64) -> f64 {
        ROOM[0] + self.x.share(x) * (SIZE[0] as f64 - ROOM[0] - ROOM[2])
    }

    fn up(&self, y: f64) -> f64 {
        SIZE[1] as f64 - ROOM[3] - self.y.share(y) * (SIZE[1] as f64 - ROOM[1] - ROOM[3])
    }

    fn mark(&mut self, (value, name): &Mark) {
        let at = self.across(*value);
        let bottom = SIZE[1] as f64 - ROOM[3];
        let _ = write!(
            self.svg,
            r##"<path d="M{at:.1} {:.1}V{bottom:.1}" stroke="{INK}" stroke-dasharray="1.5 3" fill="none"/>"##,
            ROOM[1]
        );
        let is_left = at > 0.5 * SIZE[0] as f64;
        let (shift, anchor) = if is_left { (-4.0, "end") } else { (4.0, "start") };
        text(&mut self.svg, [at + shift, ROOM[1] + 10.0], anchor, name);
    }

    fn end(mut self) -> String {
        let bottom = SIZE[1] as f64 - ROOM[3];
        let right = SIZE[0] as f64 - ROOM[2];
        let _ = write!(
            self.svg,
            r##"<path d="M{:.1} {bottom:.1}H{right:.1}" stroke="{INK}" fill="none"/></svg>"##,
            ROOM[0]
        );
        self.svg
    }
}

/// The beginning of an SVG element of this size.
pub(crate) fn open([width, height]: [usize; 2]) -> String {
    format!(
        r#"<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" font-family="Libertinus Serif" font-size="12">"#
    )
}

/// A word in a drawing.
pub(crate) fn text(svg: &mut String, [x, y]: [f64; 2], anchor: &str, words: &str) {
    let _ = write!(
        svg,
        r##"<text x="{x:.1}" y="{y:.1}" text-anchor="{anchor}" fill="{INK}">{}</text>"##,
        escaped(words)
    );
}

/// Text as XML carries it.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // What XML cannot carry at all.
            '\0'..='\u{8}' | '\u{b}' | '\u{c}' | '\u{e}'..='\u{1f}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

fn ends(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values
        .filter(|v| v.is_finite())
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| [low.min(v), high.max(v)])
}

/// The chart as an SVG element.
pub fn lines(chart: &Lines) -> String {
    let all = || chart.series.iter().flat_map(|s| &s.points);
    let [left, right] = ends(all().map(|p| p[0]));
    let [low, high] = ends(all().map(|p| p[1]));
    // Areas are shown from nothing where that leaves the differences to be seen.
    let low = if low > 0.0 && low < 0.6 * high { 0.0 } else { low };
    let x = Axis::over(left, right, 7);
    let mut drawing = Drawing::begin(x, Axis::rounded(low, high, 5), [&chart.x, &chart.y]);
    chart.at_x.iter().for_each(|mark| drawing.mark(mark));
    for series in &chart.series {
        let mut path = String::new();
        let mut is_open = false;
        for [x, y] in &series.points {
            if y.is_finite() {
                let letter = if is_open { 'L' } else { 'M' };
                let _ = write!(path, "{letter}{:.1} {:.1}", drawing.across(*x), drawing.up(*y));
            }
            is_open = y.is_finite();
        }
        let dashes = match series.stroke {
            Stroke::Solid => "",
            Stroke::Dashed => r#" stroke-dasharray="7 4""#,
        };
        let _ = write!(
            drawing.svg,
            r#"<path d="{path}" stroke="{}" stroke-width="2"{dashes} fill="none"/>"#,
            series.colour
        );
    }
    legend(&mut drawing.svg, &chart.series);
    drawing.end()
}

/// Names of the lines, top right.
fn legend(svg: &mut String, series: &[Series]) {
    let mut right = SIZE[0] as f64 - ROOM[2];
    for one in series.iter().rev() {
        text(svg, [right, 14.0], "end", &one.name);
        // A letter is a little over half as wide as high.
        let left = right - 6.6 * one.name.chars().count() as f64 - 8.0;
        let dashes = match one.stroke {
            Stroke::Solid => "",
            Stroke::Dashed => r#" stroke-dasharray="7 4""#,
        };
        let _ = write!(
            svg,
            r#"<path d="M{:.1} 10H{left:.1}" stroke="{}" stroke-width="2"{dashes} fill="none"/>"#,
            left - 26.0,
            one.colour
        );
        right = left - 40.0;
    }
}

/// The chart as an SVG element.
pub fn histogram(chart: &Histogram) -> String {
    let [left, right] = ends(chart.edges.iter().copied());
    let most = chart.heights.iter().fold(0.0_f64, |a, &b| a.max(b));
    let marks = ends(chart.at_x.iter().map(|m| m.0).chain([left, right]));
    let x = Axis::over(marks[0], marks[1], 7);
    let mut drawing = Drawing::begin(x, Axis::rounded(0.0, most, 5), [&chart.x, &chart.y]);
    let foot = drawing.up(0.0);
    for (edges, height) in chart.edges.windows(2).zip(&chart.heights) {
        if *height > 0.0 {
            let (a, b) = (drawing.across(edges[0]), drawing.across(edges[1]));
            let top = drawing.up(*height);
            let _ = write!(
                drawing.svg,
                r##"<path d="M{:.1} {foot:.1}V{top:.1}H{:.1}V{foot:.1}z" fill="#4a6d8c"/>"##,
                a + 0.4,
                (b - 0.4).max(a + 0.6)
            );
        }
    }
    chart.at_x.iter().for_each(|mark| drawing.mark(mark));
    drawing.end()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let axis = Axis::over(-28.6, 12.0, 7);
        assert_eq!(axis.ticks, [-20.0, -10.0, 0.0, 10.0]);
        let axis = Axis::rounded(0.0, 0.37, 5);
        assert!((axis.high - 0.4).abs() < 1e-12);
        // Nothing to show is no reason to fail.
        assert!(Axis::over(f64::INFINITY, f64::NEG_INFINITY, 5).ticks.len() > 1);
        assert!(Axis::rounded(3.0, 3.0, 5).ticks.len() > 1);
    }

    #[test]
    fn text_in_a_drawing_is_escaped() {
        let chart = Histogram {
            x: "a < b & \"c\"".into(),
            y: "share".into(),
            edges: vec![0.0, 1.0, 2.0],
            heights: vec![0.25, 0.75],
            at_x: vec![(1.5, "limit".into())],
        };
        let svg = histogram(&chart);
        assert!(svg.contains("a &lt; b &amp; &quot;c&quot;"));
        // Three quarters stand three times as high as one: foot at 196, top at 30.
        let axis = Axis::rounded(0.0, 0.75, 5);
        assert!((axis.high - 0.8).abs() < 1e-12);
        let top = |share: f64| format!("V{:.1}H", 196.0 - 166.0 * share / 0.8);
        assert!(svg.contains(&top(0.25)) && svg.contains(&top(0.75)), "{svg}");
    }
}
