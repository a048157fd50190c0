//! What making has to say beside the part.

use spile_mesh::DVec3;

/// What the engineer should know of a choice that was made.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// In words.
    Said(String),
    /// Within reach of an end the edge length gave way to the deviation.
    EdgeGaveWay(EdgeGaveWay),
}

/// Where edges could not be as long as wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeGaveWay {
    /// The end's name.
    pub end: String,
    /// The share of the surface within reach, on one side of the wall, that has
    /// other edges than wanted.
    pub share: f64,
    /// The middle of the triangle whose edges are farthest from what was wanted.
    pub at: DVec3,
    /// The edge length wanted there.
    pub wanted: f64,
    /// The mean edge length there.
    pub made: f64,
}

impl From<String> for Note {
    fn from(words: String) -> Self {
        Self::Said(words)
    }
}

impl std::fmt::Display for Note {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Said(words) => f.write_str(words),
            Self::EdgeGaveWay(EdgeGaveWay { end, share, at, wanted, made }) => write!(
                f,
                "end `{end}`: on {:.0} % of the surface within reach the edge length gave way to \
                 the deviation; most near ({:.2}, {:.2}, {:.2}), where {made:.3} was made and \
                 {wanted:.3} wanted",
                100.0 * share,
                at.x,
                at.y,
                at.z
            ),
        }
    }
}
