//! What each triangle of part and scan is, for files and pictures that name or colour it.

use crate::claim::Look;
use crate::labels::{Fate, Labelled, Region, Side};

/// What one triangle of a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PartLabel {
    /// What it belongs to.
    pub region: Region,
    /// Which side of the wall it is on.
    pub side: Side,
    /// The end whose joint, fitting, end face or reach it belongs to, by its number in the case.
    pub end: Option<usize>,
}

/// What each triangle is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartLabels {
    /// One label a triangle of the part, in its order.
    pub part: Vec<PartLabel>,
    /// What became of each triangle of the scan; of two files the first's come first.
    pub scan: Vec<Fate>,
}

impl PartLabels {
    pub(crate) fn of(l: &Labelled) -> Self {
        let part = (0..l.region.len())
            .map(|t| PartLabel { region: l.region[t], side: l.side[t], end: l.end[t] })
            .collect();
        Self { part, scan: l.fate.clone() }
    }
}

impl Look<'_> {
    /// The labels by which the part is judged. Its measures ([`Look::measure`]) hold them, too.
    pub fn labels(&self) -> PartLabels {
        PartLabels::of(&self.labelled)
    }
}
