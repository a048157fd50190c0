//! What making has to say beside the part.

use spile_mesh::DVec3;

use crate::span::Bending;
use crate::walls::WallSide;

/// What the engineer should know of a choice that was made.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// In words.
    Said(String),
    /// Within reach of an end the edge length gave way to the deviation.
    EdgeGaveWay(EdgeGaveWay),
    /// How much a side of an end's joint bends.
    JointBends(JointBends),
}

/// How much one side of an end's joint bends.
#[derive(Debug, Clone, PartialEq)]
pub struct JointBends {
    /// The end's name.
    pub end: String,
    /// The side of the wall.
    pub side: WallSide,
    /// As made, and without limits.
    pub bending: Bending,
}

/// More than this many times the least bending is worth a word.
const WORTH_A_WORD: f64 = 1.5;

impl Note {
    /// Whether it is worth a word beside the proof's table; all are in its file.
    pub fn is_worth_a_word(&self) -> bool {
        match self {
            Self::JointBends(told) => told.bending.is_over(WORTH_A_WORD),
            Self::Said(_) | Self::EdgeGaveWay(_) => true,
        }
    }
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
            Self::JointBends(JointBends { end, side, bending }) => {
                write!(f, "end `{end}`: the joint's {} ", side.name())?;
                match bending.ratio() {
                    Some(ratio) => write!(
                        f,
                        "bends {ratio:.2} times as much (thin-plate energy) as it would without limits"
                    ),
                    None => f.write_str("would not bend at all without limits"),
                }
            }
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
