//! The part that all of these tests start from, and what lies where on it.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::path::Path;
use std::sync::OnceLock;

use spile_case::{Case, Fitting, Place, Site, read_case};
use spile_mesh::{DVec3, Mesh, round_to_f32};
use spile_proof::{Proof, Verdict, judge_as_asked};

/// Scan, part and cases of one run.
pub struct Made {
    pub scan: Mesh,
    /// The scan's own file.
    pub scan_bytes: Vec<u8>,
    /// Points at one place are one point.
    pub part: Mesh,
    pub settled: Case,
    pub asked: Case,
}

/// The part of the trachea that is cut and joined, as the program makes it.
pub fn trachea() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    MADE.get_or_init(|| {
        let case = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/real/trachea-cut.toml");
        let out = tempfile::tempdir().unwrap();
        let folder = out.path().join("out");
        spile(&[
            "run".as_ref(),
            case.as_ref(),
            "--without-report".as_ref(),
            "--out".as_ref(),
            folder.as_ref(),
        ]);
        made_in(&folder, &case)
    })
}

/// The part of the demo's invented scan.
pub fn phantom() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    MADE.get_or_init(|| {
        let out = tempfile::tempdir().unwrap();
        spile(&["demo".as_ref(), "--out".as_ref(), out.path().as_ref()]);
        made_in(&out.path().join("phantom-out"), &out.path().join("phantom.toml"))
    })
}

fn spile(words: &[&OsStr]) {
    let ran = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spile")).args(words).output().unwrap();
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
}

fn made_in(folder: &Path, asked: &Path) -> Made {
    let settled = case_at(&folder.join("case.toml"));
    let bytes = |name: &str| std::fs::read(folder.join(name)).unwrap();
    let mesh = |name: &str| spile_formats::read_bytes(name, &bytes(name)).unwrap().mesh;
    Made {
        scan: mesh(&settled.scan.files[0]),
        scan_bytes: bytes(&settled.scan.files[0]),
        part: welded(&mesh("part.stl")),
        asked: case_at(asked),
        settled,
    }
}

fn case_at(path: &Path) -> Case {
    read_case(&std::fs::read_to_string(path).unwrap(), "case.toml").unwrap()
}

type Bits = [u64; 3];

fn bits(p: DVec3) -> Bits {
    (round_to_f32(p) + DVec3::ZERO).to_array().map(f64::to_bits)
}

fn welded(mesh: &Mesh) -> Mesh {
    let mut number: BTreeMap<Bits, u32> = BTreeMap::new();
    let mut points = Vec::new();
    let mut of = |p: DVec3| {
        *number.entry(bits(p)).or_insert_with(|| {
            points.push(p);
            points.len() as u32 - 1
        })
    };
    let triangles = (0..mesh.triangles().len()).map(|t| mesh.corners(t).map(&mut of)).collect();
    Mesh::new(points, triangles).unwrap()
}

/// The judgement of a changed part and settled case against what was asked.
pub fn judged(made: &Made, part: &Mesh, settled: &Case) -> Proof {
    judge_as_asked(std::slice::from_ref(&made.scan), part, settled, &made.asked).unwrap()
}

/// The limits that are broken or not judged.
pub fn offended(proof: &Proof) -> Vec<String> {
    let bad = |v: Verdict| !matches!(v, Verdict::Held | Verdict::NotAsked);
    proof.limits.iter().filter(|l| bad(l.verdict)).map(|l| l.name.clone()).collect()
}

impl Made {
    /// Height over the upper cut's plane.
    pub fn over_cut(&self, p: DVec3) -> f64 {
        let Site::Cut(cut) = self.settled.ends[0].site else { panic!("a cut") };
        (p - DVec3::from_array(cut.through)).dot(DVec3::from_array(cut.facing).normalize())
    }

    /// Centre of the fitting's near face, its axis and length.
    pub fn fitting(&self) -> (DVec3, DVec3, f64) {
        let Some(Place::At { at, along }) = self.settled.ends[0].place else { panic!("settled") };
        let Some(Fitting::Tube { length, .. }) = self.settled.ends[0].fitting else {
            panic!("a tube")
        };
        (DVec3::from_array(at), DVec3::from_array(along).normalize(), length)
    }

    /// Height over the fitting's near face.
    pub fn over_face(&self, p: DVec3) -> f64 {
        let (at, along, _) = self.fitting();
        (p - at).dot(along)
    }

    /// Which points of the part are the scan's.
    pub fn scan_points(&self) -> Vec<bool> {
        let there: BTreeSet<Bits> = self.scan.points().iter().map(|&p| bits(p)).collect();
        self.part.points().iter().map(|&p| there.contains(&bits(p))).collect()
    }

    /// Which triangles of the part are not the scan's.
    pub fn is_new(&self) -> Vec<bool> {
        let key = |mesh: &Mesh, t: usize| {
            let mut k = mesh.corners(t).map(bits);
            k.sort_unstable();
            k
        };
        let there: BTreeSet<[Bits; 3]> =
            (0..self.scan.triangles().len()).map(|t| key(&self.scan, t)).collect();
        (0..self.part.triangles().len()).map(|t| !there.contains(&key(&self.part, t))).collect()
    }

    /// The settled upper seam as points of the part: bore, outside.
    pub fn seams(&self) -> [Vec<u32>; 2] {
        let place: BTreeMap<Bits, u32> =
            (0..).zip(self.part.points()).map(|(i, &p)| (bits(p), i)).collect();
        let seam = self.settled.ends[0].seam.clone().unwrap();
        [seam.bore, seam.outside]
            .map(|loop_| loop_.iter().map(|&p| place[&bits(DVec3::from_array(p))]).collect())
    }

    /// New triangles that hang together with a seam, short of the fitting: replaced
    /// scan and joint of one side of the wall.
    pub fn new_beside(&self, seam: &[u32]) -> Vec<usize> {
        let is_new = self.is_new();
        let counts =
            |t: usize| is_new[t] && self.part.corners(t).iter().all(|&p| self.over_face(p) < 0.5);
        let mut around: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for (t, corners) in self.part.triangles().iter().enumerate().filter(|&(t, _)| counts(t)) {
            for &p in corners {
                around.entry(p).or_default().push(t);
            }
        }
        let mut found = BTreeSet::new();
        let mut open: Vec<u32> = seam.to_vec();
        while let Some(p) = open.pop() {
            for &t in around.get(&p).map_or(&[][..], Vec::as_slice) {
                if found.insert(t) {
                    open.extend(self.part.triangles()[t]);
                }
            }
        }
        found.into_iter().collect()
    }

    /// The part with its points and triangles changed.
    pub fn edited(&self, edit: impl FnOnce(&mut Vec<DVec3>, &mut Vec<[u32; 3]>)) -> Mesh {
        let (mut points, mut triangles) = self.part.clone().into_parts();
        edit(&mut points, &mut triangles);
        points.iter_mut().for_each(|p| *p = round_to_f32(*p));
        Mesh::new(points, triangles).unwrap()
    }

    /// The part with those points moved that are wanted.
    pub fn moved(&self, wanted: impl Fn(usize) -> bool, to: impl Fn(DVec3) -> DVec3) -> Mesh {
        self.edited(|points, _| {
            let mut count = 0;
            for (_, p) in points.iter_mut().enumerate().filter(|(i, _)| wanted(*i)) {
                *p = to(*p);
                count += 1;
            }
            assert!(count > 0, "nothing was moved");
        })
    }
}
