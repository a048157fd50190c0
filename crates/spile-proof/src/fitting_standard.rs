//! What a cone or socket measures in its standard's planes, for a person to
//! hold against the standard. Shown; what is judged is every place's distance
//! from the exact surface.

use std::f64::consts::PI;

use spile_case::{Fitting, Gender};
use spile_mesh::{DVec3, closest_on_segment};

use crate::fitting::section_area;
use crate::fitting_find::{Face, Found, coordinate_spacing};
use crate::labels::{FittingFrame, Labelled, LabelledEnd};

/// Planes at an end of the taper are taken this many coordinate spacings inside
/// it, where rounded corners all lie on one side.
const INSIDE: f64 = 16.0;

/// One sentence on the fixed diameters; none for a tube.
pub(crate) fn standard_planes(
    l: &Labelled,
    end: &LabelledEnd,
    frame: &FittingFrame,
    found: &Found,
) -> Option<String> {
    let Fitting::Cone(cone) = l.case.ends[end.index].fitting? else { return None };
    let standard = cone.dimensions();
    let (face, run) = match cone.gender {
        Gender::Male => (Face::Outside, frame.outside),
        Gender::Female => (Face::Bore, frame.bore),
    };
    let fixed: Vec<[DVec3; 3]> = (found.triangles.iter().filter(|f| f.1 == face))
        .map(|&(t, _)| l.part.corners(t as usize))
        .collect();
    let inside = INSIDE * coordinate_spacing(l.part);
    let basic = frame.length - standard.plane_mm / l.case.unit.in_millimetres();
    let mut planes = vec![("at the free end", frame.length - inside)];
    if standard.plane_mm > 0.0 {
        planes.push(("in the basic plane", basic));
    }
    planes.push(("at the other end of the taper", run.begin + inside));
    let measured: Option<Vec<(f64, [f64; 2])>> =
        planes.iter().map(|&(_, height)| across(&fixed, frame, height)).collect();
    let measured = measured?;
    let shown: Vec<String> = (planes.iter().zip(&measured))
        .map(|((name, height), (round, [least, most]))| {
            let drawn = 2.0
                * if face == Face::Bore {
                    frame.bore_at(*height)
                } else {
                    frame.outside_at(*height)
                };
            format!("{name} {round:.4} of {drawn:.4} by area, {least:.4} to {most:.4} across")
        })
        .collect();
    let (first, last) = (planes.first()?.1, planes.last()?.1);
    let taper = (first - last) / (measured.first()?.0 - measured.last()?.0).abs();
    Some(format!(
        "{} {}, provisional, drawn to its basic dimensions with an allowance of {} on the diameter: \
         {}; taper 1 : {taper:.3} of 1 : {:.3}",
        cone.gender.name(),
        cone.size.name(),
        cone.allowance,
        shown.join(", "),
        standard.taper_length,
    ))
}

/// The section at a height: the diameter of the circle of its area, and twice
/// its least and greatest distance from the axis.
fn across(side: &[[DVec3; 3]], frame: &FittingFrame, height: f64) -> Option<(f64, [f64; 2])> {
    let (area, _) = section_area(side, frame, height)?;
    let mut range = [f64::INFINITY, 0.0_f64];
    let axis = frame.at + height * frame.along;
    for corners in side {
        let heights = corners.map(|p| frame.height(p) - height);
        let crossing: Vec<DVec3> = [(0, 1), (1, 2), (2, 0)]
            .into_iter()
            .filter(|&(i, j)| (heights[i] >= 0.0) != (heights[j] >= 0.0))
            .map(|(i, j)| corners[i].lerp(corners[j], heights[i] / (heights[i] - heights[j])))
            .collect();
        if let [p, q] = crossing[..] {
            range[0] = range[0].min(2.0 * closest_on_segment(axis, p, q).distance(axis));
            range[1] = range[1].max(2.0 * p.distance(axis).max(q.distance(axis)));
        }
    }
    Some((2.0 * (area / PI).sqrt(), range))
}
