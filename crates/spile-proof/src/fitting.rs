//! The limit `fitting`: axis, place and length as asked, every triangle within
//! `chord` of its exact surface, the bore's section at each height no less than
//! the circle's there and no more than that of radius plus `chord`.

use std::f64::consts::PI;

use spile_case::ExactFaces;
use spile_mesh::{DVec3, Mesh};

use crate::fitting_find::{Face, Found, coordinate_spacing};
use crate::fitting_mesh::{Given, given, solid_of};
use crate::fitting_standard::standard_planes;
use crate::labels::{FittingFrame, Labelled, LabelledEnd};
use crate::polyline::winding;
use crate::proof::{LimitResult, Verdict};

/// Judges one end's fitting; `None` at a plain end.
pub(crate) fn judge_fitting(l: &Labelled, end: &LabelledEnd) -> Option<LimitResult> {
    let chord = l.limits(end).chord;
    let name = Some(end.name.as_str());
    let from_file = given(l.case, &l.case.ends[end.index]);
    if let Some(Err(text)) = &from_file {
        let row = LimitResult::plain("fitting", name, Verdict::Broken, text.clone());
        return Some(LimitResult { asked: Some(chord), ..row });
    }
    let frame = end.fitting.as_ref()?;
    let found = &l.fittings[end.index];
    if found.triangles.is_empty() || end.fitting_seam_bore.is_empty() {
        let why = l.faults.iter().find(|f| f.end == Some(end.index));
        let why = why.map_or("it was not found in the part", |f| f.text.as_str());
        return Some(LimitResult {
            asked: Some(chord),
            where_: Some(frame.at.to_array()),
            ..LimitResult::plain(
                "fitting",
                name,
                Verdict::Broken,
                format!("no such fitting: {why}"),
            )
        });
    }
    let exact = solid_of(l.case, &l.case.ends[end.index]).and_then(|solid| solid.exact.as_ref());
    if let (Some(Ok(given)), Some(exact)) = (&from_file, exact) {
        return Some(of_exact_faces(l, end, given, exact));
    }
    if let Some(Ok(given)) = from_file {
        let how = format!(
            "its {} triangles are the file's, corner for corner, but for the end face that is \
             joined; shown is how far the rim's points lie from their circles, of radius {:.5} on \
             the bore and {:.5} on the outside",
            found.triangles.len(),
            frame.bore.near,
            frame.outside.near,
        );
        let off = [given.off_round; 2];
        return Some(LimitResult::at_most("fitting", name, Some(chord), off, given.off_at, how));
    }
    let spacing = coordinate_spacing(l.part);
    let (miss, at) = greatest_miss(l.part, frame, found, end);
    // The exact surface is known to f64; written coordinates are as near to it
    // as `f32` allows, and that much is not the fitting's fault nor its credit.
    let mut faults = Vec::new();
    if let Some(text) = covers(l, frame, found, end) {
        faults.push(text);
    }
    let shown = match bore_areas(l.part, frame, found, (spacing, chord)) {
        Some(areas) => {
            faults.extend(areas.faults());
            areas.shown(frame, chord)
        }
        None => {
            faults.push("the bore's section is no closed loop all along".to_owned());
            String::from("bore section not measured")
        }
    };
    let mut how = format!(
        "greatest distance of its {} triangles from the exact {}; {shown}",
        found.triangles.len(),
        if frame.is_tube() { "tube" } else { "surface" },
    );
    how.extend(standard_planes(l, end, frame, found).map(|text| format!("; {text}")));
    let mut result = LimitResult::at_most("fitting", name, Some(chord), miss, at, how);
    if !faults.is_empty() {
        result.verdict = Verdict::Broken;
        result.how = format!("{}; {}", faults.join("; "), result.how);
    }
    Some(result)
}

/// Judges a fitting whose file has exact faces, once its triangles are found in the part.
fn of_exact_faces(
    l: &Labelled,
    end: &LabelledEnd,
    given: &Given,
    exact: &ExactFaces,
) -> LimitResult {
    let chord = l.limits(end).chord;
    let name = Some(end.name.as_str());
    let off = match given.off_exact(exact, l.part, chord) {
        Ok(off) => off,
        Err(what) => {
            let text = format!("its triangles do not stand for the file's exact faces: {what}");
            let row = LimitResult::plain("fitting", name, Verdict::Broken, text);
            return LimitResult { asked: Some(chord), ..row };
        }
    };
    let radii = [given.frame.bore.near, given.frame.outside.near];
    let [circle, most] = [radii[0], radii[0] + chord].map(|r| PI * r * r);
    let area = given.bore_area();
    let room = 2.0 * PI * radii[0] * coordinate_spacing(l.part);
    let how = format!(
        "greatest distance of its {} triangles from the file's {} exact faces, which they cover          along all of their edges; joined at exact circles of radius {} on the bore and {} on the          outside; bore section at the rim {area:.4} (circle {circle:.4}, at most {most:.4},          allowance for coordinates {room:.1e})",
        l.fittings[end.index].triangles.len(),
        exact.solid.faces.len(),
        radii[0],
        radii[1],
    );
    let mut row = LimitResult::at_most("fitting", name, Some(chord), off.bounds, off.at, how);
    if area < circle - room || area > most + room {
        row.verdict = Verdict::Broken;
        row.how = format!("the bore's rim has not its circle's area; {}", row.how);
    }
    row
}

/// Bounds on the greatest distance of any place of the fitting's triangles
/// from its exact faces, its borders' distance from the near face included.
fn greatest_miss(
    part: &Mesh,
    frame: &FittingFrame,
    found: &Found,
    end: &LabelledEnd,
) -> ([f64; 2], DVec3) {
    let error =
        16.0 * f64::EPSILON * (part.bounds().diagonal() + part.bounds().max.abs().max_element());
    let (mut lo, mut hi, mut at) = (0.0_f64, 0.0_f64, frame.at);
    let mut take = |low: f64, high: f64, p: DVec3| {
        if low > lo {
            (lo, at) = (low, p);
        }
        hi = hi.max(high);
    };
    for &(t, face) in &found.triangles {
        let corners = part.corners(t as usize);
        let miss = frame.miss(corners, face);
        // Each corner's own distance is attained; the triangle's is bounded by `miss`.
        for p in corners {
            take(frame.distance(p, face), miss, p);
        }
    }
    for &v in end.fitting_seam_bore.iter().chain(&end.fitting_seam_outside) {
        let p = part.points()[v as usize];
        let off = frame.height(p).abs();
        take(off, off, p);
    }
    ([(lo - error).max(0.0), hi + error], at)
}

/// Whether the found triangles cover the whole surface. They lie within a thin
/// layer about it and are one piece with the shape of an annulus whose two
/// borders run once round the axis at the near face; carried onto the surface by
/// nearest points they then cover it once.
fn covers(l: &Labelled, frame: &FittingFrame, found: &Found, end: &LabelledEnd) -> Option<String> {
    let edges = &l.part_edges;
    let mut points = std::collections::BTreeSet::new();
    let mut sides = std::collections::BTreeSet::new();
    for &(t, _) in &found.triangles {
        points.extend(l.part.triangles()[t as usize]);
        sides.extend(edges.of_triangle(t));
    }
    let euler = points.len() as i64 - sides.len() as i64 + found.triangles.len() as i64;
    if euler != 0 {
        return Some(format!("its surface is not whole (Euler number {euler}, not 0)"));
    }
    if let Some(&e) = sides.iter().find(|&&e| edges.triangles(e).len() != 2) {
        return Some(format!("an edge of it has {} triangles", edges.triangles(e).len()));
    }
    for (side, seam) in [("bore", &end.fitting_seam_bore), ("outside", &end.fitting_seam_outside)] {
        let ring: Vec<DVec3> = seam.iter().map(|&v| l.part.points()[v as usize]).collect();
        if winding(&ring, frame.at, frame.along).abs() != 1 {
            return Some(format!("its border on the {side} does not run once round the axis"));
        }
    }
    None
}

/// Areas of the bore's sections square to the axis, all along.
struct Areas {
    least: f64,
    greatest: f64,
    rounding: f64,
    /// Least and greatest excess over the circle at the same height.
    excess: [f64; 2],
    /// Greatest excess over the circle of radius plus `chord` at the same height.
    beyond: f64,
}

impl Areas {
    fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if self.excess[0] < -self.rounding {
            faults.push(format!(
                "the bore's section is less than the circle's: by {:.6} somewhere",
                -self.excess[0]
            ));
        }
        if self.beyond > 0.0 {
            faults.push(format!(
                "the bore's section is wider than radius plus chord: by {:.6} somewhere",
                self.beyond
            ));
        }
        faults
    }

    fn shown(&self, frame: &FittingFrame, chord: f64) -> String {
        let (least, greatest, rounding) = (self.least, self.greatest, self.rounding);
        let run = frame.bore;
        let circles = if run.near == run.far {
            let [circle, most] = [run.near, run.near + chord].map(|r| PI * r * r);
            format!("circle {circle:.4}, at most {most:.4}")
        } else {
            let [low, high] = self.excess;
            format!("{low:.1e} to {high:.1e} over the circle at the same height")
        };
        format!(
            "bore section {least:.4} to {greatest:.4} ({circles}, allowance for coordinates \
             {rounding:.1e})"
        )
    }
}

/// The areas of the bore's sections. Between neighbouring heights of points, and
/// of the exact bore's own creases, section and circle are quadratics in the
/// height, which three sections inside give exactly. Heights closer together
/// than rounding can tell are one.
fn bore_areas(
    part: &Mesh,
    frame: &FittingFrame,
    found: &Found,
    (spacing, chord): (f64, f64),
) -> Option<Areas> {
    let bore: Vec<[DVec3; 3]> = found
        .triangles
        .iter()
        .filter(|(_, f)| *f == Face::Bore)
        .map(|&(t, _)| part.corners(t as usize))
        .collect();
    let mut heights: Vec<f64> = bore.iter().flatten().map(|&p| frame.height(p)).collect();
    if heights.iter().any(|&h| h < frame.bore.begin) {
        heights.push(frame.bore.begin.min(frame.length));
    }
    heights.sort_by(f64::total_cmp);
    let mut areas: Option<Areas> = None;
    for pair in heights.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        if to - from <= 8.0 * spacing {
            continue;
        }
        let mut sections = [(0.0, 0.0); 3];
        let mut over = [[0.0; 3]; 2];
        for (k, share) in [0.25, 0.5, 0.75].into_iter().enumerate() {
            let height = from + share * (to - from);
            sections[k] = section_area(&bore, frame, height)?;
            let radius = frame.bore_at(height);
            over[0][k] = sections[k].0 - PI * radius.powi(2);
            over[1][k] = sections[k].0 - PI * (radius + chord).powi(2);
        }
        let (least, greatest) = quadratic_range(sections.map(|s| s.0));
        let (low, high) = quadratic_range(over[0]);
        let (_, beyond) = quadratic_range(over[1]);
        let rounding = spacing * sections.iter().map(|s| s.1).fold(0.0, f64::max);
        let here = Areas { least, greatest, rounding, excess: [low, high], beyond };
        areas = Some(match areas {
            None => here,
            Some(all) => Areas {
                least: all.least.min(here.least),
                greatest: all.greatest.max(here.greatest),
                rounding: all.rounding.max(here.rounding),
                excess: [all.excess[0].min(low), all.excess[1].max(high)],
                beyond: all.beyond.max(beyond),
            },
        });
    }
    areas
}

/// Area and perimeter of the section at a height that no point has. Each
/// crossed triangle gives one piece, directed as the triangle is wound, so the
/// pieces need no chaining. `None` if they do not close.
pub(crate) fn section_area(
    bore: &[[DVec3; 3]],
    frame: &FittingFrame,
    height: f64,
) -> Option<(f64, f64)> {
    let o = frame.at + height * frame.along;
    let (mut twice, mut perimeter, mut drift) = (0.0, 0.0, DVec3::ZERO);
    for c in bore {
        let h = c.map(|p| frame.height(p) - height);
        let mut piece = [None, None];
        for k in 0..3 {
            let (i, j) = (k, (k + 1) % 3);
            if (h[i] >= 0.0) != (h[j] >= 0.0) {
                // Taken from the lower point, so that both triangles of an
                // edge give the same place.
                let (low, high) = if h[i] < h[j] { (i, j) } else { (j, i) };
                let p = c[low] + (c[high] - c[low]) * (h[low] / (h[low] - h[high]));
                piece[usize::from(h[i] >= 0.0)] = Some(p - o);
            }
        }
        if let [Some(p), Some(q)] = piece {
            twice += p.cross(q).dot(frame.along);
            perimeter += (q - p).length();
            drift += q - p;
        }
    }
    let closes = drift.length() <= 1e-9 * perimeter && perimeter > 0.0;
    closes.then_some((0.5 * twice.abs(), perimeter))
}

/// Circles inside the bore's polygon, as radii.
pub(crate) struct InCircle {
    /// No circle inside the narrowest section is larger than this.
    pub greatest: f64,
    /// A circle round the axis that lies inside all along.
    pub round_axis: f64,
    /// Where it touches.
    pub at: DVec3,
}

/// The circles inside a fitting's bore; `None` where the bore is not closed.
pub(crate) fn bore_in_circle(part: &Mesh, frame: &FittingFrame, found: &Found) -> Option<InCircle> {
    let bore: Vec<[DVec3; 3]> = found
        .triangles
        .iter()
        .filter(|(_, f)| *f == Face::Bore)
        .map(|&(t, _)| part.corners(t as usize))
        .collect();
    let nearest =
        bore.iter().map(|c| (frame.radii(*c)[0], c[0])).min_by(|a, b| a.0.total_cmp(&b.0))?;
    let greatest = [0.1, 0.3, 0.5, 0.7, 0.9]
        .into_iter()
        .map(|share| section_area(&bore, frame, share * frame.length))
        .map(|section| section.map(|(area, perimeter)| 2.0 * area / perimeter))
        .try_fold(f64::INFINITY, |least, here| here.map(|h: f64| least.min(h)))?;
    Some(InCircle { greatest, round_axis: nearest.0, at: nearest.1 })
}

/// Least and greatest value on [0, 1] of the quadratic with these values at
/// 1/4, 1/2 and 3/4.
fn quadratic_range([a, b, c]: [f64; 3]) -> (f64, f64) {
    // With x = 4 t - 2: value b + p x + q x^2 for x from -2 to 2.
    let (p, q) = (0.5 * (c - a), 0.5 * (a + c) - b);
    let value = |x: f64| b + p * x + q * x * x;
    let turn = if q == 0.0 { 0.0 } else { (-0.5 * p / q).clamp(-2.0, 2.0) };
    let all = [value(-2.0), value(2.0), value(turn), a, b, c];
    let least = all.iter().copied().fold(f64::INFINITY, f64::min);
    (least, all.iter().copied().fold(f64::NEG_INFINITY, f64::max))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quadratic_is_found_again() {
        // 3 - 2 t + 5 t^2 on [0, 1]: least 2.8 at 0.2, greatest 6 at 1.
        let f = |t: f64| 3.0 - 2.0 * t + 5.0 * t * t;
        let (least, greatest) = quadratic_range([f(0.25), f(0.5), f(0.75)]);
        assert!((least - 2.8).abs() < 1e-12 && (greatest - 6.0).abs() < 1e-12);
    }

    #[test]
    fn miss_of_a_flat_strip_is_its_sagitta() {
        // A facet with both edges on the cylinder: farthest in mid-facet, by
        // r (1 - cos(half angle)), closed form.
        let run = |r: f64| crate::SideRun { near: r, begin: 25.0, far: r };
        let frame = FittingFrame {
            at: DVec3::ZERO,
            along: DVec3::Z,
            bore: run(9.0),
            outside: run(11.0),
            length: 25.0,
            flange: None,
        };
        let half = 0.1_f64;
        let p = |a: f64, z: f64| DVec3::new(9.0 * a.cos(), 9.0 * a.sin(), z);
        let strip = [p(-half, 0.0), p(half, 0.0), p(half, 25.0)];
        let miss = frame.miss(strip, Face::Bore);
        assert!((miss - 9.0 * (1.0 - half.cos())).abs() < 1e-12, "{miss}");
    }
}
