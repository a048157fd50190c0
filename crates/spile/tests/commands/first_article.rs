//! `compare --align`: a scan of a print laid on its part. The motion that was planted is
//! found again, and deviations are those that were planted.

use serde_json::Value;
use spile_formats::FileUnit;
use spile_mesh::{DVec3, Mesh};

use crate::support::Work;

/// A block with a step and a slanting face: it lies on itself in one way only.
fn block(cells: usize) -> Mesh {
    // The outline in the plane, as a fan of quads between two polylines, drawn up by 30.
    let outline = [(0.0, 0.0), (60.0, 0.0), (60.0, 18.0), (35.0, 18.0), (28.0, 40.0), (0.0, 33.0)];
    let mut ring: Vec<(f64, f64)> = Vec::new();
    for k in 0..outline.len() {
        let ((ax, ay), (bx, by)) = (outline[k], outline[(k + 1) % outline.len()]);
        ring.extend((0..cells).map(|i| {
            let s = i as f64 / cells as f64;
            (ax + s * (bx - ax), ay + s * (by - ay))
        }));
    }
    let (n, centre) = (ring.len() as u32, (17.0, 14.0));
    let (mut points, mut triangles) = (Vec::new(), Vec::new());
    let rows = 8_u32;
    for row in 0..=rows {
        let z = 30.0 * f64::from(row) / f64::from(rows);
        points.extend(ring.iter().map(|&(x, y)| DVec3::new(x, y, z)));
    }
    for row in 0..rows {
        for i in 0..n {
            let j = (i + 1) % n;
            let [a, b, c, d] = [row * n + i, row * n + j, (row + 1) * n + i, (row + 1) * n + j];
            triangles.extend([[a, b, d], [a, d, c]]);
        }
    }
    points.extend([0.0, 30.0].map(|z| DVec3::new(centre.0, centre.1, z)));
    let [low, high] = [(rows + 1) * n, (rows + 1) * n + 1];
    for i in 0..n {
        let j = (i + 1) % n;
        triangles.push([low, j, i]);
        triangles.push([high, rows * n + i, rows * n + j]);
    }
    Mesh::new(points, triangles).unwrap()
}

fn stl(mesh: &Mesh) -> Vec<u8> {
    let mut bytes = Vec::new();
    spile_formats::stl::write(mesh, FileUnit::Millimetre, &mut bytes).unwrap();
    bytes
}

/// A turn by an angle about an axis: Rodrigues's formula.
fn turned(p: DVec3, axis: DVec3, degrees: f64) -> DVec3 {
    let (sin, cos) = degrees.to_radians().sin_cos();
    p * cos + axis.cross(p) * sin + axis * axis.dot(p) * (1.0 - cos)
}

fn moved(mesh: &Mesh, to: impl Fn(DVec3) -> DVec3) -> Mesh {
    let (points, triangles) = mesh.clone().into_parts();
    Mesh::new(points.into_iter().map(to).collect(), triangles).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

/// Where the record's motion takes a point.
fn by_record(record: &Value, p: DVec3) -> DVec3 {
    let row = |k: usize| DVec3::from([0, 1, 2].map(|j| number(&record["turn"][k][j])));
    let shift = DVec3::from([0, 1, 2].map(|k| number(&record["shift"][k])));
    DVec3::new(row(0).dot(p), row(1).dot(p), row(2).dot(p)) + shift
}

fn aligned(part: &Mesh, scan: &Mesh, tolerance: &str) -> (Work, Value) {
    let work = Work::new();
    work.write("part.stl", stl(part)).write("print.stl", stl(scan));
    let words = ["compare", "part.stl", "print.stl", "--align", "--tolerance", tolerance];
    let ran = work.spile(&[&words[..], &["--within", "0.001", "--json"]].concat());
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    (work, ran.json())
}

#[test]
fn a_planted_motion_is_found_again() {
    let part = block(8);
    let axes = [DVec3::new(1.0, 2.0, -0.5), DVec3::new(-0.3, 0.2, 1.0)];
    for (axis, degrees) in axes.into_iter().zip([37.0, 164.0]) {
        let (axis, shift) = (axis.normalize(), DVec3::new(120.0, -45.0, 8.0));
        let scan = moved(&part, |p| turned(p, axis, degrees) + shift);
        let (_, told) = aligned(&part, &scan, "0.01");
        let record = &told["align"];
        // Coordinates of 200 in f32 are a few 1e-5 off; so is what comes back.
        for &p in part.points() {
            let back = by_record(record, turned(p, axis, degrees) + shift);
            assert!(back.distance(p) < 1e-4, "{p} comes back to {back}");
        }
        assert!(number(&told["bounds"][1]) < 2e-3, "{}", told["bounds"]);
        assert!(number(&record["rms"]) < 2e-5 && number(&record["left_out"]) < 0.01, "{record}");
        assert_eq!(record["tolerance"]["certified"], 1.0);
        assert!(record["alike"].is_null(), "{record}");
    }
}

/// The print stands 0.12 too high on one face, which is a known share of the area, and
/// everything else is as it should be: closed form.
#[test]
fn a_planted_deviation_has_its_share_its_sign_and_its_place() {
    let part = block(8);
    let high = |p: DVec3| if p.z > 29.9 { p + 0.12 * DVec3::Z } else { p };
    let axis = DVec3::new(0.2, -1.0, 0.4).normalize();
    let scan = moved(&moved(&part, high), |p| turned(p, axis, 12.0) + DVec3::new(3.0, 4.0, -2.0));
    let (work, told) = aligned(&part, &scan, "0.05");
    let record = &told["align"];
    let share_of = |mesh: &Mesh, wanted: &dyn Fn([DVec3; 3]) -> bool| {
        let area = |t: usize| 0.5 * mesh.area_normal(t).length();
        let all: f64 = (0..mesh.triangles().len()).map(area).sum();
        let some = (0..mesh.triangles().len()).filter(|&t| wanted(mesh.corners(t)));
        some.map(area).sum::<f64>() / all
    };
    let top = share_of(&part, &|c| c.iter().all(|p| p.z > 29.9));
    let sampled = number(&record["tolerance"]["sampled"]);
    assert!((sampled - (1.0 - top)).abs() < 0.003, "{sampled} for {}", 1.0 - top);
    // Triangles of the top's rim reach beyond it by 0.12 alone; the rest is within.
    let certified = number(&record["tolerance"]["certified"]);
    assert!(certified <= sampled + 0.003 && certified > 1.0 - top - 0.16, "{certified}");
    let at = |percent: f64| {
        let all = record["deviation"].as_array().unwrap();
        number(&all.iter().find(|p| p["percent"] == percent).unwrap()["value"])
    };
    assert!(top > 0.06, "{top}");
    assert!((at(95.0) - 0.12).abs() < 2e-3 && at(50.0).abs() < 2e-3, "{record}");
    let b_to_a = [0, 1].map(|k| number(&told["b_to_a"][k]));
    assert!(b_to_a[0] < 0.122 && b_to_a[1] > 0.118, "{b_to_a:?}");
    assert!((number(&told["where"][2]) - 30.0).abs() < 0.2, "{}", told["where"]);
    let words = ["compare", "part.stl", "print.stl", "--align", "--tolerance", "0.05"];
    let more = ["--within", "0.001", "--report", "record.html"];
    let text = work.spile(&[&words[..], &more].concat()).stdout;
    for said in ["; no scale", "left out of the fit", "within 0.05 of A: ", "nothing left out"] {
        assert!(text.contains(said), "{text}");
    }
    assert!(text.ends_with("written: record.html\n"), "{text}");
    let page = work.read("record.html");
    let banner = page.split_once("<section class=\"banner broken\"").unwrap().1;
    let (banner, _) = banner.split_once("</section>").unwrap();
    assert!(banner.contains("Not within 0.05: B lies up to 0.1"), "{banner}");
    assert!(page.contains("<title>print.stl held against part.stl</title>"));
    assert!(page.contains("% of B's area for certain"), "the fit is told");
    // Two sides of B, each with its scale, and a histogram with the tolerance marked.
    assert_eq!(page.matches("<img ").count(), 2);
    assert!(page.contains("tolerance</text>"));
}

#[test]
fn what_does_not_lie_on_the_part_is_refused() {
    let work = Work::new();
    let part = block(4);
    work.write("part.stl", stl(&part)).write("large.stl", stl(&moved(&part, |p| 1.4 * p)));
    let ran = work.spile(&["compare", "part.stl", "large.stl", "--align"]);
    assert_eq!(ran.code, 2, "{}", ran.stdout);
    assert!(ran.stderr.contains("nothing is scaled"), "{}", ran.stderr);
}

#[test]
fn a_pose_that_fits_as_well_is_told() {
    let work = Work::new();
    work.write("a.stl", crate::shapes::cube(10.0)).write("b.stl", crate::shapes::cube(10.0));
    let ran = work.spile(&["compare", "a.stl", "b.stl", "--align"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(ran.stdout.contains("which is meant cannot be told from the shape"), "{}", ran.stdout);
}
