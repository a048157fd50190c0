//! The smallest sabotage that a good part can suffer, each limit set to what the good
//! part measured: `spile prove` catches each, by name and place, and so does its report.

use rayon::prelude::*;
use serde_json::Value;
use spile_case::{Case, Keep, Unit, write_case};
use spile_formats::threemf::ThreeMfInfo;
use spile_formats::{FileUnit, PartInfo};
use spile_mesh::{DVec3, Mesh};
use spile_proof::{Verdict, judge};

use crate::made::{Made, phantom, trachea};
use crate::narrower::{narrowed, thinned};
use crate::tight::{row, tightened};

/// What was done, the file that came of it, the limit that must see it, and the place:
/// no further from it than a length may the proof's own place be.
pub struct Sabotage {
    pub what: String,
    pub file: (&'static str, Vec<u8>),
    pub limit: &'static str,
    pub place: Option<(DVec3, f64)>,
}

/// The part to be spoilt, with what each test needs to know of it.
pub struct Good<'a> {
    pub made: &'a Made,
    pub case: Case,
    /// A point of the part that is a corner of scan in the keep.
    kept_corner: usize,
    /// Triangles of kept scan, joint (bore, outside), fitting and plain end's ring.
    samples: Vec<(&'static str, usize)>,
}

pub fn stl(mesh: &Mesh) -> (&'static str, Vec<u8>) {
    let mut bytes = Vec::new();
    spile_formats::stl::write(mesh, FileUnit::Millimetre, &mut bytes).unwrap();
    ("bad.stl", bytes)
}

fn threemf(mesh: &Mesh, unit: FileUnit) -> Vec<u8> {
    let part = PartInfo {
        unit,
        title: "part".to_owned(),
        description: "part".to_owned(),
        application: "test".to_owned(),
    };
    let info = ThreeMfInfo { part, more: Vec::new(), thumbnail: None };
    let mut bytes = std::io::Cursor::new(Vec::new());
    spile_formats::threemf::write(mesh, &info, &mut bytes).unwrap();
    bytes.into_inner()
}

pub fn middle(mesh: &Mesh, t: usize) -> DVec3 {
    mesh.corners(t).iter().sum::<DVec3>() / 3.0
}

pub fn longest_edge(mesh: &Mesh, t: usize) -> f64 {
    let [a, b, c] = mesh.corners(t);
    a.distance(b).max(b.distance(c)).max(c.distance(a))
}

impl<'a> Good<'a> {
    fn new(made: &'a Made, sampled: &[&str]) -> Self {
        let case = tightened(made);
        let part = &made.part;
        let Some(Keep::Ball(keep)) = case.keeps.first() else { panic!("a keep") };
        let centre = DVec3::from_array(keep.at);
        let is_scan = made.scan_points();
        let kept_corner = (0..is_scan.len())
            .filter(|&p| is_scan[p])
            .min_by(|&a, &b| {
                let away = |p: usize| part.points()[p].distance(centre);
                away(a).total_cmp(&away(b))
            })
            .unwrap();
        assert!(part.points()[kept_corner].distance(centre) < keep.radius);
        let (at, along, length) = made.fitting();
        let nearest = |from: &[usize], to: DVec3| {
            let away = |t: usize| middle(part, t).distance(to);
            let best = from.iter().copied().min_by(|&a, &b| away(a).total_cmp(&away(b)));
            best.expect("such a triangle")
        };
        let all: Vec<usize> = (0..part.triangles().len()).collect();
        let [bore, outside] = made.seams().map(|seam| joint_of(made, &seam));
        let half_on = at - 3.0 * along;
        let mut samples = vec![
            ("kept scan", nearest(&all, part.points()[kept_corner])),
            ("the joint's bore", nearest(&bore, half_on)),
            ("the joint's outside", nearest(&outside, half_on)),
            ("the fitting", nearest(&all, at + 0.5 * length * along)),
            ("the fitting's far face", nearest(&all, at + length * along + 9.0 * along)),
            ("the plain end's ring", nearest(&ring_of(made), centre)),
        ];
        samples.retain(|(name, _)| sampled.contains(name));
        assert_eq!(samples.len(), sampled.len());
        Self { made, case, kept_corner, samples }
    }

    /// How the proof reads what was spoilt, with the tight case beside it; and its report,
    /// where that is wanted.
    fn proved(
        &self,
        file: &(&'static str, Vec<u8>),
        with_report: bool,
    ) -> (i32, Value, Option<String>) {
        let folder = tempfile::tempdir().unwrap();
        let put = |name: &str, bytes: &[u8]| {
            let path = folder.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        };
        put("case.toml", write_case(&self.case).as_bytes());
        put(&self.case.scan.files[0], &self.made.scan_bytes);
        put(file.0, &file.1);
        let report: &[&str] = if with_report { &["--report", "report.html"] } else { &[] };
        let ran = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spile"))
            .args(["prove", "case.toml", "--json", "--threads", "1", "--part", file.0])
            .args(report)
            .current_dir(folder.path())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        let proof = serde_json::from_slice(&ran.stdout).unwrap_or_else(|e| panic!("{e}: {said}"));
        let page = std::fs::read_to_string(folder.path().join("report.html")).ok();
        (ran.status.code().unwrap(), proof, page)
    }
}

/// The joint's triangles on one side of the wall.
pub fn joint_of(made: &Made, seam: &[u32]) -> Vec<usize> {
    let mut found = made.new_beside(seam);
    found.retain(|&t| made.part.corners(t).iter().all(|&p| made.over_cut(p) > -0.02));
    found
}

/// The triangles in the plane of the last end, which is plain.
fn ring_of(made: &Made) -> Vec<usize> {
    let spile_case::Site::Cut(cut) = made.settled.ends.last().unwrap().site else {
        panic!("a cut")
    };
    let (through, facing) = (DVec3::from_array(cut.through), DVec3::from_array(cut.facing));
    let is_in = |p: DVec3| (p - through).dot(facing.normalize()).abs() < 1e-3;
    (0..made.part.triangles().len())
        .filter(|&t| made.part.corners(t).into_iter().all(is_in))
        .collect()
}

/// A point put into triangle `t`, which becomes three.
pub fn with_point(points: &mut Vec<DVec3>, triangles: &mut Vec<[u32; 3]>, t: usize, at: DVec3) {
    let [a, b, c] = triangles[t];
    points.push(at);
    let m = points.len() as u32 - 1;
    triangles[t] = [a, b, m];
    triangles.extend([[b, c, m], [c, a, m]]);
}

/// One f32 step of one coordinate of a point in the keep.
fn one_step(good: &Good) -> Vec<Sabotage> {
    let part = &good.made.part;
    let p = part.points()[good.kept_corner];
    let beside = (0..part.triangles().len())
        .filter(|&t| part.triangles()[t].contains(&(good.kept_corner as u32)))
        .map(|t| longest_edge(part, t))
        .fold(0.0, f64::max);
    let step = |axis: usize| {
        let spoilt = good.made.edited(|points, _| {
            let x = &mut points[good.kept_corner][axis];
            *x = f64::from((*x as f32).next_up());
        });
        Sabotage {
            what: format!("a point in a keep one step off along axis {axis}"),
            file: stl(&spoilt),
            limit: "untouched",
            place: Some((p, beside)),
        }
    };
    (0..3).map(step).collect()
}

/// The fitting turned by 0.2 degrees about the middle of its near face.
fn tilted(good: &Good, turn_toward: DVec3, what: &str) -> Sabotage {
    let made = good.made;
    let (at, along, length) = made.fitting();
    let axis = along.cross(turn_toward).normalize();
    let (sin, cos) = 0.2_f64.to_radians().sin_cos();
    let turned = |p: DVec3| {
        let v = p - at;
        at + v * cos + axis.cross(v) * sin + axis * axis.dot(v) * (1.0 - cos)
    };
    let spoilt = made.moved(|p| made.over_face(made.part.points()[p]) > -1e-3, turned);
    Sabotage {
        what: format!("the fitting's axis tilted by 0.2 degrees {what}"),
        file: stl(&spoilt),
        limit: "fitting",
        place: Some((at + 0.5 * length * along, 0.5 * length + 11.0)),
    }
}

/// A triangle flipped, doubled, doubled the other way, an edge opened: at every sample.
fn at_samples(good: &Good) -> Vec<Sabotage> {
    let (made, part) = (good.made, &good.made.part);
    let mut all = Vec::new();
    for &(where_, t) in &good.samples {
        let (at, edge) =
            (middle(part, t), longest_edge(part, t).max(longest_edge(part, beside(part, t))));
        let mut add = |what: &str, spoilt: Mesh| {
            all.push(Sabotage {
                what: format!("{what} in {where_}"),
                file: stl(&spoilt),
                limit: "closed",
                place: Some((at, edge)),
            });
        };
        add("a triangle flipped", made.edited(|_, triangles| triangles[t].swap(0, 1)));
        add("a triangle doubled", made.edited(|_, triangles| triangles.push(triangles[t])));
        let doubled_back = made.edited(|_, triangles| {
            let [a, b, c] = triangles[t];
            triangles.insert(0, [b, a, c]);
        });
        add("a triangle doubled the other way", doubled_back);
        // One of the two triangles gets a point in the middle of their edge.
        let opened = made.edited(|points, triangles| {
            let [a, b, c] = triangles[t];
            points.push(points[a as usize].midpoint(points[b as usize]));
            let m = points.len() as u32 - 1;
            triangles[t] = [a, m, c];
            triangles.push([m, b, c]);
        });
        add("an edge opened", opened);
        add("slivers through one another", crossed(made, t));
        // An end face has no other wall behind it.
        if where_.contains("face") || where_.contains("ring") {
            continue;
        }
        let [a, b, c] = part.corners(t);
        let length = 4.0;
        let tip = at - length * (b - a).cross(c - a).normalize();
        all.push(Sabotage {
            what: format!("a sliver through the other wall in {where_}"),
            file: stl(&made.edited(|points, triangles| with_point(points, triangles, t, tip))),
            limit: "closed",
            place: Some((at.midpoint(tip), 0.5 * length + edge)),
        });
    }
    all
}

/// The triangle across the first edge of another.
fn beside(part: &Mesh, t: usize) -> usize {
    let [a, b, _] = part.triangles()[t];
    let has = |n: usize| part.triangles()[n].contains(&a) && part.triangles()[n].contains(&b);
    (0..part.triangles().len()).find(|&n| n != t && has(n)).expect("closed")
}

/// A pit in triangle `t`, and a sliver of its neighbour that comes out in the pit.
fn crossed(made: &Made, t: usize) -> Mesh {
    let part = &made.part;
    let [p, q, r] = part.corners(t);
    let inward = -(q - p).cross(r - p).normalize();
    let height = (q - p).cross(r - p).length() / longest_edge(part, t);
    let (bottom, tip) = (0.2 * height * inward, 0.1 * height * inward);
    made.edited(|points, triangles| {
        let pit = middle(part, t);
        with_point(points, triangles, t, pit + bottom);
        with_point(points, triangles, beside(part, t), pit + tip);
    })
}

/// A small tetrahedron in space, the right way out or inside out, first or last in the file.
fn loose(good: &Good) -> Vec<Sabotage> {
    let made = good.made;
    let part = &made.part;
    let (at, along, length) = made.fitting();
    let side = along.any_orthonormal_vector();
    let places = [
        ("far off", part.bounds().max + DVec3::splat(50.0)),
        ("in the bore", at + 0.5 * length * along),
        ("in the fitting's wall", at + 0.5 * length * along + 9.0 * side),
    ];
    let tetrahedron = |corner: DVec3, inside_out: bool, first: bool| {
        made.edited(|points, triangles| {
            let n = points.len() as u32;
            let edges = [DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z];
            points.extend(edges.map(|e| corner + 0.1 * e));
            let faces = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]].map(|f| f.map(|p| p + n));
            let turned = faces.map(|[a, b, c]| if inside_out { [b, a, c] } else { [a, b, c] });
            let end = if first { 0 } else { triangles.len() };
            triangles.splice(end..end, turned);
        })
    };
    let mut all = Vec::new();
    for (place, corner) in places {
        for (inside_out, first) in [(false, true), (true, false)] {
            let way = if inside_out { "inside out" } else { "the right way out" };
            let order = if first { "first" } else { "last" };
            all.push(Sabotage {
                what: format!("a loose piece {place}, {way}, {order} in the file"),
                file: stl(&tetrahedron(corner, inside_out, first)),
                limit: "closed",
                place: Some((corner, 0.2)),
            });
        }
    }
    all
}

/// The part's own numbers in a file that states another unit.
fn other_units(good: &Good) -> Vec<Sabotage> {
    assert_eq!(good.case.unit, Unit::Millimetre);
    let units = [FileUnit::Inch, FileUnit::Metre, FileUnit::Centimetre, FileUnit::Micron];
    let of = |unit: FileUnit| Sabotage {
        what: format!("the unit swapped for {}", unit.name()),
        file: ("bad.3mf", threemf(&good.made.part, unit)),
        limit: "unit",
        place: None,
    };
    units.into_iter().map(of).collect()
}

/// Everything on one part; what slipped through, in words.
///
/// `with_report`: of the first of each kind the report is read, too.
fn slipped(
    good: &Good,
    with_report: bool,
    more: impl IntoIterator<Item = Sabotage>,
) -> Vec<String> {
    let whole = [
        ("good.stl", stl(&good.made.part).1),
        ("good.3mf", threemf(&good.made.part, FileUnit::Millimetre)),
    ];
    for file in whole {
        let (code, proof, _) = good.proved(&file, false);
        assert_eq!((code, &proof["verdict"]), (0, &Value::from("held")), "{}: {proof:#}", file.0);
    }
    let (_, along, _) = good.made.fitting();
    let side = along.any_orthonormal_vector();
    let mut all = one_step(good);
    all.extend(more);
    all.push(tilted(good, side, "one way"));
    all.push(tilted(good, along.cross(side), "another way"));
    all.extend(at_samples(good));
    all.extend(loose(good));
    all.extend(other_units(good));
    // Of one kind are those that are told alike for three words.
    let kinds: Vec<Vec<&str>> = all.iter().map(|s| s.what.split(' ').take(3).collect()).collect();
    all.par_iter()
        .enumerate()
        .filter_map(|(k, s)| missed(good, s, with_report && !kinds[..k].contains(&kinds[k])))
        .collect()
}

/// Why a sabotage counts as not caught; none if it is.
fn missed(good: &Good, sabotage: &Sabotage, with_report: bool) -> Option<String> {
    let (code, proof, page) = good.proved(&sabotage.file, with_report);
    let rows = proof["limits"].as_array().unwrap();
    let bad = |l: &&Value| l["verdict"] == "broken" || l["verdict"] == "not judged";
    let said = rows
        .iter()
        .filter(bad)
        .map(|l| format!("{} {}: {} at {}", l["name"], l["verdict"], l["how"], l["where"]))
        .collect::<Vec<_>>();
    let wrong = |why: String| Some(format!("{}: {why}; {said:#?}", sabotage.what));
    if code != 1 || proof["verdict"] != "broken" {
        return wrong(format!("ended with {code}, {}", proof["verdict"]));
    }
    let named: Vec<&Value> =
        (rows.iter()).filter(|l| l["name"] == sabotage.limit && l["verdict"] == "broken").collect();
    if named.is_empty() {
        return wrong(format!("`{}` is not broken", sabotage.limit));
    }
    let lines = page.as_deref().map(|page| first_lines(page, sabotage.limit));
    if lines.as_ref().is_some_and(Vec::is_empty) {
        return wrong("the report does not name it first".to_owned());
    }
    let (at, within) = sabotage.place?;
    let nearest = |places: &mut dyn Iterator<Item = Option<[f64; 3]>>| {
        let away = |p| DVec3::from_array(p).distance(at);
        places.map(|p| p.map_or(f64::INFINITY, away)).fold(f64::INFINITY, f64::min)
    };
    let proved =
        nearest(&mut named.iter().map(|l| serde_json::from_value(l["where"].clone()).ok()));
    if proved > within {
        return wrong(format!("told {proved:.3} from its place, {within:.3} let pass"));
    }
    let lines = lines?;
    let told = nearest(&mut lines.iter().map(|line| place_in(line)));
    // The report rounds each coordinate to a hundredth.
    (told > within + 0.01)
        .then(|| wrong(format!("the report tells {told:.3} from its place: {lines:?}")))?
}

/// What a report says first of a limit that is broken, a line each time.
fn first_lines(page: &str, limit: &str) -> Vec<String> {
    let banner = page.split_once("<section class=\"banner broken\"").map_or("", |(_, rest)| rest);
    let banner = banner.split_once("</section>").map_or("", |(banner, _)| banner);
    let points = banner.split("<li>").skip(1).filter_map(|point| point.split("</li>").next());
    let named = format!("<code>{limit}</code>");
    points.filter(|point| point.starts_with(&named)).map(str::to_owned).collect()
}

/// The place that such a line ends with.
fn place_in(line: &str) -> Option<[f64; 3]> {
    let (_, place) = line.rsplit_once(", near ")?;
    let numbers: Vec<f64> = place.split(", ").filter_map(|x| x.parse().ok()).collect();
    numbers.try_into().ok()
}

fn place_of_loss(good: &Good) -> DVec3 {
    let scan = std::slice::from_ref(&good.made.scan);
    let proof = judge(scan, &good.made.part, &good.case).unwrap();
    assert_eq!(proof.verdict, Verdict::Held);
    DVec3::from_array(row(&proof.limits, "bore_loss", &good.case.ends[0].name).where_.unwrap())
}

#[test]
fn each_sabotage_of_a_part_of_a_real_scan_is_caught_by_name_and_place() {
    let sampled = ["kept scan", "the joint's bore", "the fitting", "the plain end's ring"];
    let good = Good::new(trachea(), &sampled);
    // The scan is thin at its seam: its own least wall there, as the proof tells it.
    let thin = thinned(&good, 1.0799);
    let slipped = slipped(&good, false, [thin, narrowed(&good, Some(place_of_loss(&good)))]);
    assert!(slipped.is_empty(), "{}", slipped.join("\n"));
}

#[test]
fn each_sabotage_of_the_demos_part_is_caught_by_name_and_place_in_proof_and_report() {
    let good = Good::new(phantom(), &["the joint's outside", "the fitting's far face"]);
    let thin = thinned(&good, f64::INFINITY);
    let narrow = [Some(place_of_loss(&good)), None].map(|at| narrowed(&good, at));
    let slipped = slipped(&good, true, narrow.into_iter().chain([thin]));
    assert!(slipped.is_empty(), "{}", slipped.join("\n"));
}
