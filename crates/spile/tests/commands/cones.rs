//! Each cone and socket on the part as written, against `tests/check-values`:
//! the diameters in its planes and its taper, the chord error counted.

use std::collections::BTreeMap;
use std::path::Path;

use crate::shapes::closed_tube;
use crate::support::Work;

/// A tenth of the deviation that the cases below ask.
const CHORD: f64 = 0.01;
/// Sections at an end of a taper are taken this far inside it.
const INSIDE: f64 = 1e-3;

/// What the tables say of one size.
struct Published {
    /// Male: at the free end and at the other; female: the same.
    male: [f64; 2],
    female: [f64; 2],
    /// The basic diameter and where it lies on the male, from the free end.
    basic: [f64; 2],
    length: f64,
    half_angle_deg: f64,
}

fn rows(name: &str) -> Vec<BTreeMap<String, String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/check-values").join(name);
    let text = std::fs::read_to_string(path).unwrap();
    let mut lines = text.lines().map(split);
    let head = lines.next().unwrap();
    lines.map(|line| head.iter().cloned().zip(line).collect()).collect()
}

/// The fields of a line, quotes taken off.
fn split(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => fields.push(String::new()),
            c => fields.last_mut().unwrap().push(c),
        }
    }
    fields
}

/// `cones-iso5356.csv`, this size; reading A of where the basic diameter lies.
fn breathing(size: &str) -> Published {
    let rows = rows("cones-iso5356.csv");
    let row = rows.iter().find(|r| r["size_mm"] == size).unwrap();
    let value = |key: &str| row[key].parse::<f64>().unwrap();
    assert_eq!(row["taper_on_diameter"], "1:40");
    let (basic, length) = (value("basic_diameter_mm"), value("male_cone_length_mm"));
    assert_eq!(length, value("female_taper_length_mm"));
    Published {
        male: [value("reading_A_male_small_end_mm"), value("reading_A_male_large_end_mm")],
        female: [basic, basic - length / 40.0],
        basic: [basic, value("min_engagement_mm")],
        length,
        half_angle_deg: value("half_angle_deg"),
    }
}

/// `cones-luer.csv`: the middle of the limits of a rigid part, taper 6 %.
fn luer() -> Published {
    let rows = rows("cones-luer.csv");
    let value = |item: &str, key: &str| {
        let row = rows.iter().find(|r| r["item"].starts_with(item)).unwrap();
        row[key].parse::<f64>().unwrap()
    };
    let middle = |item: &str| 0.5 * (value(item, "min_mm") + value(item, "max_mm"));
    let (small, opening) = (middle("male, small end diameter, rigid"), middle("female, opening"));
    let length = value("male cone length", "min_mm");
    Published {
        male: [small, small + 0.06 * length],
        female: [opening, opening - 0.06 * length],
        basic: [small, 0.0],
        length,
        half_angle_deg: value("half angle", "min_mm"),
    }
}

type Triangle = [[f64; 3]; 3];

fn triangles_of(stl: &[u8]) -> Vec<Triangle> {
    let number = |at: usize| f64::from(f32::from_le_bytes(stl[at..at + 4].try_into().unwrap()));
    let point = |at: usize| [number(at), number(at + 4), number(at + 8)];
    (84..stl.len()).step_by(50).map(|at| [12, 24, 36].map(|by| point(at + by))).collect()
}

/// The section at height z, of what lies nearer to this radius than `within`:
/// the diameter of the circle of its area, and twice the least and greatest
/// distance from the axis, here the z axis.
fn section(part: &[Triangle], z: f64, radius: f64, within: f64) -> [f64; 3] {
    let (mut twice_area, mut least, mut most) = (0.0_f64, f64::INFINITY, 0.0_f64);
    for c in part {
        let mut cut = Vec::new();
        for k in 0..3 {
            let (a, b) = (c[k], c[(k + 1) % 3]);
            if (a[2] >= z) != (b[2] >= z) {
                let s = (z - a[2]) / (b[2] - a[2]);
                cut.push([a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])]);
            }
        }
        let [p, q] = cut[..] else { continue };
        let far = p[0].hypot(p[1]).max(q[0].hypot(q[1]));
        if (far - radius).abs() > within {
            continue;
        }
        let area = (p[0] * q[1] - p[1] * q[0]).abs();
        twice_area += area;
        most = most.max(far);
        // The foot of the perpendicular from the axis, which lies on a facet of
        // a polygon round it.
        least = least.min(area / (p[0] - q[0]).hypot(p[1] - q[1]));
    }
    [2.0 * (0.5 * twice_area / std::f64::consts::PI).sqrt(), 2.0 * least, 2.0 * most]
}

/// Half angles, in degrees, of the facets between two heights near this radius.
fn half_angles(part: &[Triangle], heights: [f64; 2], radius: f64) -> Vec<f64> {
    let on = |p: &[f64; 3]| {
        (heights[0]..heights[1]).contains(&p[2]) && (p[0].hypot(p[1]) - radius).abs() < 0.5
    };
    let slope = |c: &Triangle| {
        let [u, v] = [1, 2].map(|k| [0, 1, 2].map(|i| c[k][i] - c[0][i]));
        let n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
        n[2].abs().atan2(n[0].hypot(n[1])).to_degrees()
    };
    part.iter().filter(|c| c.iter().all(on)).map(slope).collect()
}

/// Where the given diameters of scan and fittings lie so that all fit.
struct Room {
    scan: [f64; 2],
    cone_bore: f64,
    socket_outside: f64,
    gap: f64,
    reach: f64,
}

/// Joins a cone above and a socket below, and measures both.
fn hold(size: &str, published: &Published, room: &Room) {
    let work = Work::new();
    let [bore, outside] = room.scan;
    work.write("tube.stl", closed_tube(bore, outside, 60.0));
    let (Room { cone_bore, socket_outside, gap, reach, .. }, top) = (room, 41.0 + room.gap);
    let case = format!(
        r#"unit = "mm"
scan = {{ file = "tube.stl", form = "shell" }}
limits = {{ deviation = 0.1 }}

[[end]]
name = "upper"
cut = {{ through = [0, 0, 41], facing = [0, 0, 1] }}
reach = {reach}
fitting = {{ kind = "cone", size = "{size}", bore = {cone_bore} }}
place = {{ at = [0, 0, {top}], along = [0, 0, 1] }}

[[end]]
name = "lower"
cut = {{ through = [0, 0, 11], facing = [0, 0, -1] }}
reach = {reach}
fitting = {{ kind = "socket", size = "{size}", outside = {socket_outside} }}
place = {{ at = [0, 0, {}], along = [0, 0, -1] }}
"#,
        11.0 - gap
    );
    work.write("tube.toml", case);
    let ran = work.spile(&["run", "tube.toml", "--without-report"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    for end in ["upper", "lower"] {
        let told =
            |l: &str| l.starts_with(&format!("note: end `{end}`")) && l.contains("provisional");
        assert!(ran.stdout.lines().any(told), "{}", ran.stdout);
    }
    let part = triangles_of(&std::fs::read(work.path().join("tube-out/part.stl")).unwrap());
    let free_ends = [top + published.length, 11.0 - gap - published.length];
    let [basic, plane] = published.basic;
    let length = published.length;
    for (male, free_end, planes) in [
        (
            true,
            free_ends[0],
            vec![(INSIDE, published.male[0]), (plane, basic), (length - INSIDE, published.male[1])],
        ),
        (
            false,
            free_ends[1],
            vec![(INSIDE, published.female[0]), (length - INSIDE, published.female[1])],
        ),
    ] {
        let inward = if male { -1.0 } else { 1.0 };
        // Nothing but the cone itself is as near as this: the walls are thicker.
        for &(from_free_end, diameter) in planes.iter().filter(|p| p.0 > 0.0) {
            let z = free_end + inward * from_free_end;
            let [by_area, least, most] = section(&part, z, 0.5 * diameter, 0.2);
            let at = format!("{size}, male: {male}, {from_free_end} from the free end");
            // The plane's own distance from the end changes the diameter by less.
            let off = 0.06 * INSIDE + 1e-5;
            assert!(least >= diameter - 2.0 * CHORD - off, "{at}: {least}, {diameter}");
            assert!(most <= diameter + 2.0 * CHORD + off, "{at}: {most}, {diameter}");
            assert!((by_area - diameter).abs() <= 2.0 * CHORD + off, "{at}: {by_area}, {diameter}");
            if !male {
                assert!(by_area >= diameter - off, "{at}: {by_area}, {diameter}");
            }
        }
        let beside = [free_end, free_end + inward * length];
        let heights = [beside[0].min(beside[1]) - 1e-3, beside[0].max(beside[1]) + 1e-3];
        let angles = half_angles(&part, heights, 0.5 * planes[0].1);
        assert!(angles.len() >= 40, "{size}: {} facets", angles.len());
        for angle in angles {
            // A facet's slope is the cone's times its polygon's radius over the circle's.
            let wrong = (angle / published.half_angle_deg - 1.0).abs();
            assert!(wrong <= 2.0 * CHORD / (0.5 * planes[0].1) + 1e-3, "{size}: {angle} degrees");
        }
    }
}

#[test]
fn the_22_mm_breathing_cone_and_socket_measure_as_published() {
    let room =
        Room { scan: [18.0, 23.0], cone_bore: 18.0, socket_outside: 26.0, gap: 20.0, reach: 10.0 };
    hold("breathing-22", &breathing("22"), &room);
}

#[test]
fn the_15_mm_breathing_cone_and_socket_measure_as_published() {
    let room =
        Room { scan: [13.0, 17.0], cone_bore: 12.0, socket_outside: 19.0, gap: 15.0, reach: 10.0 };
    hold("breathing-15", &breathing("15"), &room);
}

#[test]
fn the_luer_cone_and_socket_measure_as_published() {
    let room = Room { scan: [2.6, 5.4], cone_bore: 2.0, socket_outside: 7.0, gap: 8.0, reach: 6.0 };
    hold("luer", &luer(), &room);
}
