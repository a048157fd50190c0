//! What is judged and measured, looked at once for both.

use std::sync::OnceLock;

use spile_case::Case;
use spile_mesh::{Bvh, Mesh, StopAsked};

use crate::identity::weld;
use crate::judge::check_inputs;
use crate::labels::{Labelled, Side, label};
use crate::proof::ProofError;
use crate::stop::Stop;

/// Scan, part and settled case that belong together: that the part does what the case says is a
/// claim, to be checked.
pub struct Claim<'a> {
    pub(crate) scans: &'a [Mesh],
    pub(crate) part: &'a Mesh,
    pub(crate) settled: &'a Case,
    /// The part with one point a place.
    pub(crate) welded: Mesh,
    /// Whether nobody wants the proof any more.
    pub(crate) stop: Stop<'a>,
}

impl<'a> Claim<'a> {
    /// `scans` has one mesh, for form sheets two (inner, outer), as read; `part` carries
    /// the coordinates of the written file (`f32` values).
    ///
    /// # Errors
    /// The inputs do not belong together; see [`ProofError`].
    pub fn new(scans: &'a [Mesh], part: &'a Mesh, settled: &'a Case) -> Result<Self, ProofError> {
        check_inputs(scans, part, settled)?;
        Ok(Self { scans, part, settled, welded: weld(part), stop: Stop::never() })
    }

    /// The same, looked at, judged and measured until `stop` says so: each of these is then
    /// the error [`ProofError::Stopped`], and no verdict.
    pub fn until(self, stop: StopAsked<'a>) -> Self {
        Self { stop: Stop::new(stop), ..self }
    }

    /// Tells what each triangle is, which all else rests on.
    ///
    /// # Errors
    /// It was stopped; see [`Claim::until`].
    pub fn look(&self) -> Result<Look<'_>, ProofError> {
        let labelled = label(self.scans, &self.welded, self.settled, &self.stop)?;
        Ok(Look { claim: self, labelled, trees: OnceLock::new() })
    }
}

/// A claim with its triangles told apart: what it takes longest to find is found once,
/// for the proof and for the measures.
pub struct Look<'a> {
    pub(crate) claim: &'a Claim<'a>,
    pub(crate) labelled: Labelled<'a>,
    trees: OnceLock<Trees>,
}

impl Look<'_> {
    /// Trees over both sides of the part, made when first asked for. Not to be asked for
    /// within parallel work: making them is parallel itself, and could wait for itself.
    pub(crate) fn trees(&self) -> &Trees {
        self.trees.get_or_init(|| Trees::of(&self.labelled))
    }
}

/// Trees over bore and outside of the part.
pub(crate) struct Trees {
    pub bore: Bvh,
    pub outside: Bvh,
}

impl Trees {
    fn of(l: &Labelled) -> Self {
        let of = |side: Side| Bvh::build_of(l.part, &l.part_where(|t| l.side[t] == side));
        let (bore, outside) = rayon::join(|| of(Side::Bore), || of(Side::Outside));
        Self { bore, outside }
    }
}
