//! `prove DIR`: makes the proof of an output folder anew from what lies in it, and
//! compares it with the one that was written.

use std::path::Path;

use serde::Serialize;
use serde_json::Value;
use spile_mesh::{DVec3, Mesh, round_to_f32};

use crate::answer::{Answer, json_text};
use crate::commands::prove::{Asked, proved};
use crate::commands::run::CASE_FILE;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::{read_mesh, sha256, shown};
use crate::output::{PARTS, REPORTS};
use crate::proof_difference::differences;
use crate::proof_file::{Difference, ProofFile, Recomputed};
use crate::proof_table::proof_text;
use crate::written::{OWN_KEY, Written, is_inside, is_whole};

const PROOF: &str = "proof.json";

fn differs(file: &str, what: impl Into<String>) -> Difference {
    Difference { file: file.to_owned(), what: what.into() }
}

/// Proves the folder again and compares, with the case as it was asked that is kept in it, or
/// with another one that is named.
///
/// A byte that has changed in a listed file, a file that is missing or that no proof
/// lists, and a figure that comes out other than it is written each end broken.
pub(crate) fn prove_folder(folder: &Path, asked: Option<&Path>) -> Result<Answer, Failure> {
    let path = folder.join(PROOF);
    let bytes = std::fs::read(&path).map_err(|_| {
        Failure::new(format!("{} holds no {PROOF}", shown(folder)))
            .hint("name a folder that `run` has left, or a case and its `--part`")
    })?;
    let mut found = Vec::new();
    let written = match written_in(&bytes) {
        Ok(written) => written,
        Err(why) => {
            found.push(differs(PROOF, format!("is no proof that can be read: {why}")));
            return Ok(answer(None, found, Vec::new()));
        }
    };
    if !is_whole(&bytes) {
        let what = format!("has changed since it was written: `{OWN_KEY}` is not its text's");
        found.push(differs(PROOF, what));
    }
    for (file, hash) in written.files() {
        found.extend(changed(folder, file, hash));
    }
    found.extend(unlisted(folder, &written));
    let Some(stem) = PARTS.into_iter().find(|stem| written.lists(&format!("{stem}.stl"))) else {
        let left = vec!["no part was made, so there is nothing to judge again".to_owned()];
        return Ok(answer(None, found, left));
    };
    found.extend(other_mesh(folder, stem));
    let stl = folder.join(format!("{stem}.stl"));
    // A name that stands for no file there leads nowhere.
    let place = |name: &str| folder.join(written.asked_file(name).unwrap_or("inputs/none"));
    let kept = || Some(Asked::Kept(folder.join(written.asked()?), &place));
    let judged_by = asked.map(Asked::File).or_else(kept);
    let has_asked = judged_by.is_some();
    let proof = match proved(&folder.join(CASE_FILE), &stl, judged_by.as_ref(), false) {
        Ok(proved) => proved.file,
        // What is wrong with the case or an input is told as what is wrong with the folder.
        Err(failure) if failure.ending == Ending::WrongInput && asked.is_none() => {
            let what = format!("and the part cannot be judged: {}", failure.message);
            found.push(differs(CASE_FILE, what));
            return Ok(answer(None, found, Vec::new()));
        }
        Err(failure) => return Err(failure),
    };
    let left = left_out(&written, has_asked);
    let compared = differences(&written.json, &json_text(&proof), has_asked);
    found.extend(compared.into_iter().map(|what| differs(PROOF, what)));
    Ok(answer(Some(proof), found, left))
}

/// The proof that was written, as far as it must be understood here.
fn written_in(bytes: &[u8]) -> Result<Written, String> {
    let json: Value = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
    Written::of(json).ok_or_else(|| "`inputs` and `outputs` name no files".to_owned())
}

/// Whether a listed file is not what was listed.
fn changed(folder: &Path, file: &str, hash: &str) -> Option<Difference> {
    if !is_inside(file) {
        return Some(differs(PROOF, format!("names a file outside the folder: {file}")));
    }
    match std::fs::read(folder.join(file)) {
        Err(_) => Some(differs(file, "is missing or cannot be read")),
        Ok(bytes) => {
            let own = sha256(&bytes);
            let what = format!("has changed: its SHA-256 is {own}, in {PROOF} it is {hash}");
            (own != hash).then(|| differs(file, what))
        }
    }
}

/// Parts, reports and inputs in the folder that the proof does not list: who looks at them may
/// take them for what was proved.
fn unlisted(folder: &Path, written: &Written) -> Vec<Difference> {
    let parts = PARTS.iter().flat_map(|stem| ["stl", "3mf"].map(|ext| format!("{stem}.{ext}")));
    let shown = parts.chain(REPORTS.map(str::to_owned));
    let mut names: Vec<String> = shown.filter(|name| folder.join(name).exists()).collect();
    if let Ok(entries) = std::fs::read_dir(folder.join("inputs")) {
        let here = entries.filter_map(Result::ok);
        let mut inputs: Vec<String> =
            here.map(|e| format!("inputs/{}", e.file_name().to_string_lossy())).collect();
        inputs.sort();
        names.extend(inputs);
    }
    names.retain(|name| !written.lists(name));
    names.iter().map(|name| differs(name, format!("is not listed in {PROOF}"))).collect()
}

/// Whether the part's 3MF file holds other triangles than its STL file, or another unit's.
fn other_mesh(folder: &Path, stem: &str) -> Option<Difference> {
    let name = format!("{stem}.3mf");
    let [stl, threemf] =
        [format!("{stem}.stl"), name.clone()].map(|file| read_mesh(&folder.join(file)).ok());
    // A file that cannot be read is told already: its bytes have changed.
    let (Some((_, stl)), Some((_, threemf))) = (stl, threemf) else { return None };
    let same = corners(&stl) == corners(&threemf);
    (!same).then(|| differs(&name, format!("holds other triangles than {stem}.stl")))
}

/// The corners' bits of each triangle, in order.
fn corners(mesh: &Mesh) -> Vec<[[u64; 3]; 3]> {
    let bits = |p: DVec3| (round_to_f32(p) + DVec3::ZERO).to_array().map(f64::to_bits);
    (0..mesh.triangles().len()).map(|t| mesh.corners(t).map(bits)).collect()
}

/// What of the written proof is not made anew.
fn left_out(written: &Written, has_asked: bool) -> Vec<String> {
    let mut left = Vec::new();
    if !has_asked && written.has_case_row() {
        let what =
            "`case` needs the case as it was asked, which no file here is: give it with `--asked`";
        left.push(what.to_owned());
    }
    left.push(
        "`conflicts`, `notes`, `gave_way` and `bending` are what `run` told of its own work"
            .to_owned(),
    );
    if let Some(version) = written.version().filter(|v| *v != env!("CARGO_PKG_VERSION")) {
        left.push(format!(
            "the proof was written by spile {version}, this is {}: figures may differ by that alone",
            env!("CARGO_PKG_VERSION")
        ));
    }
    left
}

/// The answer: the proof made anew, if one could be, and how it compares.
fn answer(proof: Option<ProofFile>, found: Vec<Difference>, left: Vec<String>) -> Answer {
    let is_held = proof.as_ref().is_some_and(ProofFile::is_held);
    let is_same = found.is_empty();
    let ending = if is_same && is_held { Ending::Held } else { Ending::Broken };
    let mut text = proof.as_ref().map_or_else(String::new, proof_text);
    for Difference { file, what } in &found {
        text.push_str(&format!("differs: {file} {what}\n"));
    }
    let recomputed = Recomputed { agrees: is_same, differences: found, left_out: left };
    for left in &recomputed.left_out {
        text.push_str(&format!("not recomputed: {left}\n"));
    }
    text.push_str(match (is_same, proof.is_some()) {
        (true, true) => "recomputed: every file is as listed, every figure as written\n",
        (true, false) => "recomputed: every file is as listed\n",
        (false, _) => "recomputed: the folder is not what its proof says\n",
    });
    match proof {
        Some(proof) => {
            let document = ProofFile { recomputed: Some(recomputed), ..proof };
            Answer::new(ending, text, &document)
        }
        None => Answer::new(ending, text, &Alone { recomputed }),
    }
}

/// The document where nothing could be judged again.
#[derive(Serialize)]
struct Alone {
    recomputed: Recomputed,
}
