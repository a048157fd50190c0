//! `fittings`: what can be joined, and on whose word its dimensions stand.

use std::fmt::Write as _;

use serde::Serialize;

use crate::answer::Answer;
use crate::exit::Ending;

/// One kind of fitting.
#[derive(Debug, Clone, Copy, Serialize)]
struct FittingKind {
    kind: &'static str,
    shape: &'static str,
    dimensions: &'static [Dimension],
    source: &'static str,
    standing: &'static str,
    example: &'static str,
}

/// One dimension that the case gives.
#[derive(Debug, Clone, Copy, Serialize)]
struct Dimension {
    key: &'static str,
    meaning: &'static str,
}

const KINDS: &[FittingKind] = &[FittingKind {
    kind: "tube",
    shape: "two coaxial cylinders between two flat faces",
    dimensions: &[
        Dimension { key: "bore", meaning: "inner diameter" },
        Dimension { key: "outside", meaning: "outer diameter" },
        Dimension { key: "length", meaning: "length along the axis" },
    ],
    source: "closed form; the dimensions are the case's own",
    standing: "exact within `chord`; no standard is claimed",
    example: "fitting = { kind = \"tube\", bore = 18.0, outside = 22.0, length = 25.0 }",
}];

#[derive(Serialize)]
struct Document {
    fittings: &'static [FittingKind],
}

/// Lists the known fittings.
pub(crate) fn fittings() -> Answer {
    let mut text = String::new();
    for kind in KINDS {
        let _ = writeln!(text, "{}: {}", kind.kind, kind.shape);
        for dimension in kind.dimensions {
            let _ = writeln!(text, "  {:<9} {}", dimension.key, dimension.meaning);
        }
        let _ = writeln!(text, "  source:   {}", kind.source);
        let _ = writeln!(text, "  standing: {}", kind.standing);
        let _ = writeln!(text, "  example:  {}", kind.example);
    }
    Answer::new(Ending::Held, text, &Document { fittings: KINDS })
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_example_reads_in_a_case() {
        for kind in super::KINDS {
            let case = format!(
                "unit = \"mm\"\nscan = {{ file = \"a.stl\", form = \"shell\" }}\n\
                 limits = {{ deviation = 0.1 }}\n[[end]]\nname = \"a\"\nrim = [0, 0, 0]\n\
                 reach = 5\nplace = {{ gap = 5 }}\n{}\n",
                kind.example
            );
            assert!(spile_case::read_case(&case, "case.toml").is_ok(), "{case}");
        }
    }
}
