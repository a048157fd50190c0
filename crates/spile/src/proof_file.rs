//! `proof.json`: the proof with what it was made of.

use serde::Serialize;
use spile_case::{Case, Mend, Motion};
use spile_joint::{Made, Note};
use spile_proof::measures::Measures;
use spile_proof::{
    Conflict, KnownBy, LimitResult, MendRecord, Proof, Residual, Verdict, Wanted, WantedValue,
};

use crate::answer::json_text;
use crate::inputs::InputFile;
use crate::output::OutputFile;
use crate::written::sealed;

/// What a proof is not about. It goes wherever the part goes.
pub const CAUTION: &str = "This proof covers geometry only. Material, cleaning, sterilisation, fit, \
                           pressure and use are for qualified people under the codes and approvals \
                           that apply where the part is used.";

/// One input file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct InputRecord {
    /// Its name in the output folder.
    pub file: String,
    /// Its hash, lower-case hexadecimal.
    pub sha256: String,
    /// How many triangles it holds.
    pub triangles: usize,
}

impl InputRecord {
    /// `input`, under the name that the proof gives it.
    pub fn of(file: &str, input: &InputFile) -> InputRecord {
        InputRecord {
            file: file.to_owned(),
            sha256: input.sha256.clone(),
            triangles: input.triangles,
        }
    }
}

/// One output file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct OutputRecord {
    /// Its name in the output folder.
    pub file: String,
    /// Its hash, lower-case hexadecimal.
    pub sha256: String,
}

impl OutputRecord {
    /// A file under its name in the output folder.
    pub fn of(file: &OutputFile) -> OutputRecord {
        OutputRecord { file: file.name.clone(), sha256: crate::inputs::sha256(&file.bytes) }
    }

    /// A file with this name and hash.
    pub fn named(file: &str, sha256: &str) -> OutputRecord {
        OutputRecord { file: file.to_owned(), sha256: sha256.to_owned() }
    }
}

/// The case as it was asked, in the output folder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct AskedRecord {
    /// Its name in the output folder.
    pub file: String,
    /// Its hash, lower-case hexadecimal.
    pub sha256: String,
    /// What the names in it stand for.
    pub names: Vec<NamedRecord>,
    /// The files of painted triangles that it names; what else it names is among the inputs.
    pub painted: Vec<OutputRecord>,
}

/// A file that the asked case names.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct NamedRecord {
    /// Its name in the case.
    pub name: String,
    /// Its name in the output folder.
    pub file: String,
}

/// The document. Nothing in it depends on clock, host or place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct ProofFile {
    /// Version of this program.
    pub spile: &'static str,
    /// The case file, beside the proof.
    pub case: String,
    /// The unit of all lengths.
    pub unit: &'static str,
    /// The scans.
    pub inputs: Vec<InputRecord>,
    /// The files that were made from them.
    pub outputs: Vec<OutputRecord>,
    /// The case as it was asked, byte for byte; of a run alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asked: Option<AskedRecord>,
    /// What was judged.
    #[serde(flatten)]
    pub body: Body,
    /// Choices that were made, and conflicts in words.
    pub notes: Vec<String>,
    /// Where the edge length gave way to the deviation; none for a part that was
    /// made elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gave_way: Option<Vec<GaveWayRecord>>,
    /// How much each side of each joint bends; none for a part that was made
    /// elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bending: Option<Vec<BendingRecord>>,
    /// How the scan that the case was written for lies on this one; none where it is this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub align: Option<AlignRecord>,
    /// What the part is like, beside what is judged of it; none where no part closes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measures: Option<Measures>,
    /// How the proof compares with the one that was written; of a folder alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recomputed: Option<Recomputed>,
    /// What this proof is not about.
    pub caution: &'static str,
}

impl ProofFile {
    /// Whether all that was asked is held.
    pub fn is_held(&self) -> bool {
        self.body.verdict() == Verdict::Held
    }

    /// The text of `proof.json`; ends with the hash of itself.
    pub fn text(&self) -> String {
        sealed(&json_text(&Sealed { proof: self, own_sha256: "" }))
    }
}

#[derive(Serialize)]
struct Sealed<'a> {
    #[serde(flatten)]
    proof: &'a ProofFile,
    own_sha256: &'static str,
}

/// How a folder compares with the proof that was written in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Recomputed {
    /// Whether every file is as listed and every figure as written.
    pub agrees: bool,
    /// What is not.
    pub differences: Vec<Difference>,
    /// What of the proof is not made anew, and why.
    pub left_out: Vec<String>,
}

/// What was found in the folder that its proof does not say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Difference {
    /// The file in the folder.
    pub file: String,
    /// What is wrong with it, as the rest of a sentence.
    pub what: String,
}

/// How the scan that the case was written for lies on the one that it is run on, as the
/// proof measures it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct AlignRecord {
    first: String,
    turn: [[f64; 3]; 3],
    shift: [f64; 3],
    rms: f64,
    largest: f64,
    left_out: f64,
}

impl AlignRecord {
    /// The file under its name in the output folder, and what was measured.
    pub fn of(first: &str, motion: &Motion, residual: &Residual) -> AlignRecord {
        let (Motion { turn, shift }, Residual { rms, largest, left_out }) = (*motion, *residual);
        AlignRecord { first: first.to_owned(), turn, shift, rms, largest, left_out }
    }
}

/// Where within reach of an end edges could not be as long as wanted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct GaveWayRecord {
    /// The end.
    pub end: String,
    /// Share of the surface within reach, on one side of the wall.
    pub share: f64,
    /// Where edges are farthest from what was wanted.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
    /// The edge length wanted there.
    pub wanted: f64,
    /// The mean edge length made there.
    pub made: f64,
}

/// How much a side of an end's joint bends.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct BendingRecord {
    /// The end.
    pub end: String,
    /// The side of the wall.
    pub side: &'static str,
    /// Thin-plate energy of the side as it was made.
    pub made: f64,
    /// The least there is without limits.
    pub free: f64,
    /// How many times the least was made; none where the least is nothing.
    pub ratio: Option<f64>,
}

/// What was judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub(crate) enum Body {
    /// A part.
    Judged(Box<Proof>),
    /// No part closes, so there is nothing to judge.
    Unmade(Unmade),
}

impl Body {
    /// The verdict on the whole.
    pub fn verdict(&self) -> Verdict {
        match self {
            Body::Judged(proof) => proof.verdict,
            Body::Unmade(unmade) => unmade.verdict,
        }
    }

    /// Limit by limit.
    pub fn limits(&self) -> &[LimitResult] {
        match self {
            Body::Judged(proof) => &proof.limits,
            Body::Unmade(unmade) => &unmade.limits,
        }
    }

    /// Limits that cannot hold together.
    pub fn conflicts(&self) -> &[Conflict] {
        match self {
            Body::Judged(proof) => &proof.conflicts,
            Body::Unmade(unmade) => &unmade.conflicts,
        }
    }

    /// The same, to add what would hold.
    pub fn conflicts_mut(&mut self) -> &mut [Conflict] {
        match self {
            Body::Judged(proof) => &mut proof.conflicts,
            Body::Unmade(unmade) => &mut unmade.conflicts,
        }
    }

    /// The mends that were made.
    pub fn mends(&self) -> &[MendRecord] {
        match self {
            Body::Judged(proof) => &proof.mends,
            Body::Unmade(unmade) => &unmade.mends,
        }
    }
}

/// The proof's fields where no part closes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Unmade {
    verdict: Verdict,
    limits: Vec<LimitResult>,
    conflicts: Vec<Conflict>,
    mends: Vec<MendRecord>,
    part: Option<()>,
    changed: Option<()>,
    ends: [(); 0],
}

/// The body where no part closes: all that is asked is not judged, and why.
pub(crate) fn unmade(settled: &Case) -> Body {
    let why = "no part closes under these limits; see the conflicts";
    let limits = &settled.limits;
    let asked = [
        ("closed", None),
        ("untouched", None),
        ("deviation", Some(limits.deviation)),
        ("wall_min", limits.wall_min),
        ("bore_loss", limits.bore_loss),
        ("kink", limits.kink_deg),
        ("ball_min", limits.ball_min),
    ];
    let result = |name: &str, end: Option<&str>, asked: Option<f64>| {
        let always = matches!(name, "closed" | "untouched");
        let verdict =
            if asked.is_some() || always { Verdict::NotJudged } else { Verdict::NotAsked };
        LimitResult { asked, ..LimitResult::plain(name, end, verdict, why) }
    };
    let whole = asked.map(|(name, asked)| result(name, None, asked));
    let own = settled.ends.iter().flat_map(|end| {
        let names = asked.iter().map(|&(name, _)| name);
        let own = names.filter_map(|name| end.limits.by_name(name).map(|x| (name, x)));
        own.map(|(name, x)| result(name, Some(&end.name), Some(x))).collect::<Vec<_>>()
    });
    Body::Unmade(Unmade {
        verdict: Verdict::Broken,
        limits: whole.into_iter().chain(own).collect(),
        conflicts: Vec::new(),
        mends: settled.mends.iter().map(mend_record).collect(),
        part: None,
        changed: None,
        ends: [],
    })
}

fn mend_record(mend: &Mend) -> MendRecord {
    MendRecord {
        kind: mend.kind.name().to_owned(),
        where_: mend.ball.at,
        size: 2.0 * mend.ball.radius,
    }
}

/// The body with the conflicts that were met while the part was made; those
/// that the proof found by itself already are not told twice.
pub(crate) fn with_conflicts(mut body: Body, made: &Made) -> Body {
    let conflicts = match &mut body {
        Body::Judged(proof) => &mut proof.conflicts,
        Body::Unmade(unmade) => &mut unmade.conflicts,
    };
    for conflict in &made.conflicts {
        let record = Conflict {
            limits: conflict.limits.clone(),
            end: conflict.end.clone(),
            where_: conflict.at.map(|p| p.to_array()),
            would_hold: conflict
                .would_hold
                .iter()
                .map(|(key, value)| Wanted {
                    key: key.clone(),
                    value: WantedValue::Number(*value),
                    known_by: KnownBy::Computed,
                })
                .collect(),
            certain: conflict.certain,
        };
        let told = conflicts.iter().any(|c| c.limits == record.limits && c.end == record.end);
        if !told {
            conflicts.push(record);
        }
    }
    if body.verdict() != Verdict::Held && body.conflicts().is_empty() {
        let found = all_that_is_broken(body.limits());
        if let Body::Judged(proof) = &mut body {
            proof.conflicts.extend(found);
        }
    }
    body
}

/// Where the proof names no conflict in a part that was made here: every row
/// that is broken, at the first one's end. What was made for the case does not
/// hold it, whatever the reason.
fn all_that_is_broken(rows: &[LimitResult]) -> Option<Conflict> {
    let broken = || rows.iter().filter(|r| r.verdict == Verdict::Broken);
    let mut limits: Vec<String> = Vec::new();
    for row in broken() {
        if !limits.contains(&row.name) {
            limits.push(row.name.clone());
        }
    }
    let end = broken().find_map(|r| r.end.clone());
    broken().next().map(|first| Conflict {
        limits,
        end,
        where_: first.where_.or_else(|| broken().find_map(|r| r.where_)),
        would_hold: Vec::new(),
        certain: false,
    })
}

/// What making had to say: choices, and conflicts in words.
pub(crate) fn notes(made: &Made) -> Vec<String> {
    let sentences = made.conflicts.iter().map(|c| c.sentence.clone());
    let said = made.notes.iter().filter(|n| n.is_worth_a_word()).map(Note::to_string);
    sentences.filter(|s| !s.is_empty()).chain(said).collect()
}

/// Where edges could not be as long as wanted.
pub(crate) fn gave_way(made: &Made) -> Vec<GaveWayRecord> {
    let record = |note: &Note| match note {
        Note::EdgeGaveWay(g) => Some(GaveWayRecord {
            end: g.end.clone(),
            share: g.share,
            where_: g.at.to_array(),
            wanted: g.wanted,
            made: g.made,
        }),
        Note::Said(_) | Note::JointBends(_) => None,
    };
    made.notes.iter().filter_map(record).collect()
}

/// How much each side of each joint bends.
pub(crate) fn bending(made: &Made) -> Vec<BendingRecord> {
    let record = |note: &Note| match note {
        Note::JointBends(told) => Some(BendingRecord {
            end: told.end.clone(),
            side: told.side.name(),
            made: told.bending.made,
            free: told.bending.free,
            ratio: told.bending.ratio(),
        }),
        Note::Said(_) | Note::EdgeGaveWay(_) => None,
    };
    made.notes.iter().filter_map(record).collect()
}
