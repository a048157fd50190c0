//! Sections of a part as drawings: at each end's tightest station, seam and face.

use spile_case::{Case, End, Fitting, Place, Site};
use spile_formats::{Drawing, Layer, LineColour, PartInfo, Shape};
use spile_mesh::{DVec3, Mesh, Plane, SectionLoop, Topology, section};
use spile_proof::flow_section::{Frame, is_inside, signed_area};
use spile_proof::inscribed::inscribed_circle;
use spile_proof::stations::loop_centre;
use spile_proof::{EndStations, Station};

/// A section and what its file is called, without the kind.
pub(crate) struct Drawn {
    /// The end's name as files have it, and which section it is.
    pub name: String,
    /// The drawing.
    pub drawing: Drawing,
}

/// Text stands this share of the outline's width high.
const TEXT_SHARE: f64 = 1.0 / 40.0;
/// Lines of text are broken at about so many letters.
const TEXT_LETTERS: usize = 56;
/// Inscribed circles are found to this share of the section's size.
const CIRCLE_SHARE: f64 = 2e-4;

/// The sections of a part, end by end: `tightest` (the station of least area), `seam`
/// (where the joint leaves the scan) and `face` (as far inside the end's face as
/// `deviation` allows to move it). A plane in which no surface closes gives none.
pub(crate) fn sections(
    part: &Mesh,
    case: &Case,
    stations: &[EndStations],
    info: &PartInfo,
    names: &[String],
) -> Vec<Drawn> {
    let topology = Topology::of(part);
    let mut all = Vec::new();
    for (end, name) in case.ends.iter().zip(names) {
        for (kind, said, frame) in planes(case, end, stations) {
            let plane = Plane { point: frame.origin, normal: frame.normal };
            let loops = section(part, &topology, plane, None);
            if let Some(cut) = nearest(&loops, &frame) {
                let title = format!("{}: section at end {}, {said}", info.title, end.name);
                let info = PartInfo { title, ..info.clone() };
                all.push(Drawn { name: format!("{name}_{kind}"), drawing: drawing(&cut, info) });
            }
        }
    }
    all
}

/// The planes of an end: what each is called in files and in words.
fn planes(case: &Case, end: &End, stations: &[EndStations]) -> Vec<(&'static str, String, Frame)> {
    let mut planes = Vec::new();
    let of_end = stations.iter().find(|s| s.name == end.name);
    if let Some(tightest) = of_end.and_then(tightest) {
        let frame = Frame::new(tightest.at.into(), tightest.normal.into());
        planes.push(("tightest", format!("tightest station, s = {}", short(tightest.s)), frame));
    }
    let inset = case.limits_at(end).deviation;
    let seam: Vec<DVec3> = end.seam.iter().flat_map(|seam| &seam.bore).map(|&p| p.into()).collect();
    let facing = match end.site {
        Site::Cut(cut) => Some(DVec3::from(cut.facing)),
        Site::Rim(rim) => rim.facing.map(DVec3::from),
        Site::Station(_) => None,
    };
    if let (Some(centre), Some(facing)) = (loop_centre(&seam), facing) {
        match end.fitting {
            Some(_) => {
                planes.push(("seam", "at the scan's seam".to_owned(), Frame::new(centre, facing)));
            }
            None => {
                let frame = Frame::new(centre - inset * facing, facing);
                planes.push(("face", "just inside its face".to_owned(), frame));
            }
        }
    }
    let length = match end.fitting {
        Some(Fitting::Tube { length, .. }) => Some(length),
        Some(Fitting::Cone(cone)) => Some(cone.length),
        Some(Fitting::Mesh(_)) | None => None,
    };
    if let (Some(length), Some(Place::At { at, along })) = (length, end.place) {
        let height = (length - inset).max(0.5 * length);
        let frame = Frame::new(DVec3::from(at) + height * DVec3::from(along), along.into());
        planes.push(("face", "just inside its face".to_owned(), frame));
    }
    planes
}

/// The station where the part's bore has the least area.
fn tightest(stations: &EndStations) -> Option<&Station> {
    let area = |s: &&Station| s.area_part.unwrap_or(f64::INFINITY);
    let known = stations.stations.iter().filter(|s| s.area_part.is_some());
    known.min_by(|a, b| area(a).total_cmp(&area(b)))
}

/// What is drawn of one plane.
struct Cut {
    /// Outlines of hollows.
    bore: Vec<Vec<[f64; 2]>>,
    /// Outlines of material.
    outside: Vec<Vec<[f64; 2]>>,
}

/// Of all loops in a plane the hollow at its origin (that round it, or else the nearest), the outside
/// round that, and what else is hollow within that. On an outward surface a hollow's loop
/// runs clockwise.
fn nearest(loops: &[SectionLoop], frame: &Frame) -> Option<Cut> {
    let flat = |l: &SectionLoop| -> Vec<[f64; 2]> {
        let mut points: Vec<[f64; 2]> = l.points.iter().map(|&p| frame.flat(p)).collect();
        points.dedup();
        points
    };
    let closed: Vec<_> = loops.iter().filter(|l| l.closed).map(|l| (l, flat(l))).collect();
    let hollow = |points: &[[f64; 2]]| signed_area(points) < 0.0;
    let (hollows, solids): (Vec<_>, Vec<_>) = closed.iter().partition(|(_, p)| hollow(p));
    let size = |points: &[[f64; 2]]| signed_area(points).abs();
    let least = |among: Vec<&Vec<[f64; 2]>>| {
        among.into_iter().min_by(|a, b| size(a).total_cmp(&size(b))).cloned()
    };
    let round = hollows.iter().map(|(_, p)| p).filter(|p| is_inside([0.0; 2], p)).collect();
    let beside = || {
        let far = |l: &SectionLoop| l.distance(frame.origin);
        hollows.iter().min_by(|a, b| far(a.0).total_cmp(&far(b.0))).map(|(_, p)| p.clone())
    };
    let chosen = least(round).or_else(beside)?;
    let start = *chosen.first()?;
    let holds = |p: &[[f64; 2]]| is_inside(start, p);
    let outside = least(solids.iter().map(|(_, p)| p).filter(|p| holds(p)).collect());
    let within = |p: &Vec<[f64; 2]>| {
        *p != chosen
            && outside.as_ref().is_some_and(|o| p.first().is_some_and(|&q| is_inside(q, o)))
    };
    let others = hollows.iter().map(|(_, p)| p).filter(|p| within(p)).cloned();
    let bore = std::iter::once(chosen.clone()).chain(others).collect();
    Some(Cut { bore, outside: outside.into_iter().collect() })
}

/// The loops on their layers, the largest circle within the bore and a cross at the
/// plane's origin as `dimensions`, and what is said of them as `notes`, below.
fn drawing(cut: &Cut, info: PartInfo) -> Drawing {
    let unit = info.unit.symbol();
    let area = signed_area(&cut.bore[0]).abs();
    let circle = inscribed_circle(&cut.bore[0..1], CIRCLE_SHARE * area.sqrt());
    let mut said = vec![info.title.clone(), format!("bore area {} {unit}^2", short(area))];
    let outlines = |of: &[Vec<[f64; 2]>]| of.iter().cloned().map(Shape::Outline).collect();
    let mut dimensions = Vec::new();
    if let Some(found) = circle {
        said.push(format!("largest circle within it: diameter {} {unit}", short(2.0 * found.lo)));
        dimensions.push(Shape::Circle { centre: found.centre, radius: found.lo });
    }
    if let Some(outside) = cut.outside.first() {
        said.push(format!("area within the outside {} {unit}^2", short(signed_area(outside))));
    }
    said.push(format!("true scale, lengths in {unit}"));
    said.push(info.description.clone());
    let layer = |name: &str, colour, shapes| Layer { name: name.to_owned(), colour, shapes };
    let mut layers = vec![
        layer("bore", LineColour::Blue, outlines(&cut.bore)),
        layer("outside", LineColour::Black, outlines(&cut.outside)),
    ];
    let all = Drawing { info: info.clone(), layers: layers.clone() };
    let [[x0, y0], [x1, y1]] = all.bounds();
    let arm = 0.5 * TEXT_SHARE * (x1 - x0).max(y1 - y0);
    dimensions.push(Shape::Line([[-arm, 0.0], [arm, 0.0]]));
    dimensions.push(Shape::Line([[0.0, -arm], [0.0, arm]]));
    layers.push(layer("dimensions", LineColour::Grey, dimensions));
    let height = TEXT_SHARE * (x1 - x0).max(y1 - y0);
    let lines = said.iter().flat_map(|text| broken(text));
    let notes = lines.enumerate().map(|(k, text)| {
        let at = [x0, y0 - height * (2.0 + 1.8 * k as f64)];
        Shape::Text { at, height, text }
    });
    let notes = notes.collect();
    layers.push(layer("notes", LineColour::Black, notes));
    Drawing { info, layers }
}

/// Text in lines of bounded length.
fn broken(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < TEXT_LETTERS => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// A figure in five digits.
fn short(x: f64) -> String {
    if x == 0.0 {
        return "0".to_owned();
    }
    let before = x.abs().log10().floor() as i32 + 1;
    format!("{x:.*}", (5 - before).clamp(0, 12) as usize)
}

#[cfg(test)]
mod tests {
    use spile_formats::{FileUnit, PartInfo, Shape};
    use spile_mesh::{DVec3, Mesh, Plane, Topology, section};
    use spile_proof::flow_section::{Frame, signed_area};

    use super::{broken, drawing, nearest, short};

    /// Square pipes along z: half widths of hollow and outside, and where.
    fn pipes(of: &[(f64, f64, f64)]) -> Mesh {
        let (mut points, mut triangles) = (Vec::new(), Vec::new());
        for &(inner, outer, x) in of {
            for (half, flip) in [(inner, true), (outer, false)] {
                let first = points.len() as u32;
                for z in [0.0, 10.0] {
                    let corners = [[-half, -half], [half, -half], [half, half], [-half, half]];
                    points.extend(corners.map(|[u, v]| DVec3::new(x + u, v, z)));
                }
                for k in 0..4 {
                    let [a, b] = [first + k, first + (k + 1) % 4];
                    for [p, q, r] in [[a, b, b + 4], [a, b + 4, a + 4]] {
                        triangles.push(if flip { [p, r, q] } else { [p, q, r] });
                    }
                }
            }
        }
        Mesh::new(points, triangles).unwrap()
    }

    /// A plane cuts two pipes: that at its origin is drawn, and its areas are those of squares.
    #[test]
    fn the_pipe_that_is_meant_is_drawn() {
        let mesh = pipes(&[(2.0, 3.0, 0.0), (1.0, 1.5, 8.0)]);
        for (x, inner, outer) in [(0.5, 2.0, 3.0), (8.2, 1.0, 1.5), (4.5, 2.0, 3.0)] {
            let frame = Frame::new(DVec3::new(x, 0.25, 5.0), DVec3::Z);
            let plane = Plane { point: frame.origin, normal: frame.normal };
            let loops = section(&mesh, &Topology::of(&mesh), plane, None);
            let cut = nearest(&loops, &frame).unwrap();
            assert_eq!((cut.bore.len(), cut.outside.len()), (1, 1));
            assert!((signed_area(&cut.bore[0]) + 4.0 * inner * inner).abs() < 1e-12);
            assert!((signed_area(&cut.outside[0]) - 4.0 * outer * outer).abs() < 1e-12);
            let info = PartInfo {
                unit: FileUnit::Millimetre,
                title: "part".to_owned(),
                description: "geometry only".to_owned(),
                application: "spile".to_owned(),
            };
            let drawn = drawing(&cut, info);
            let names: Vec<&str> = drawn.layers.iter().map(|l| l.name.as_str()).collect();
            assert_eq!(names, ["bore", "outside", "dimensions", "notes"]);
            let Shape::Circle { radius, .. } = drawn.layers[2].shapes[0] else { panic!("circle") };
            assert!((radius - inner).abs() < 1e-3 * inner, "{radius}");
        }
    }

    #[test]
    fn text_is_broken_at_words_and_figures_have_five_digits() {
        let lines = broken(&"word ".repeat(40));
        assert!(lines.len() > 1 && lines.iter().all(|l| l.len() <= 56));
        let figures = [0.0, 1.0, 123_456.7, 0.012_345_67, 254.469_0].map(short);
        assert_eq!(figures, ["0", "1.0000", "123457", "0.012346", "254.47"]);
    }
}
