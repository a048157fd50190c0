//! Recognised shapes and round rims, for `examine`'s text and document.

use std::fmt::Write as _;

use serde::Serialize;
use spile_mesh::{Circle, DVec3, Extent, Mesh, Recognised, Shape, Topology, recognise};
use spile_report::number::digits;

use super::examine::place;
use crate::table::{Align, Table};

/// A region that really is a plane, sphere, cylinder or cone.
#[derive(Debug, Clone, Serialize)]
pub(super) struct ShapeRecord {
    kind: &'static str,
    /// On plane or axis beside the middle of the region; a sphere's centre.
    at: [f64; 3],
    /// A plane's normal, or the axis; a cone's toward its wide end.
    axis: Option<[f64; 3]>,
    /// At `at`.
    radius: Option<f64>,
    half_angle_deg: Option<f64>,
    apex: Option<[f64; 3]>,
    /// Whether its surface faces the axis or centre.
    hollow: bool,
    /// Whether only rounding of coordinates is left over.
    exact: bool,
    rms: f64,
    largest: f64,
    standard_errors: ErrorsRecord,
    extent: ExtentRecord,
    /// As the file counts them, from 0.
    triangles: Vec<u32>,
}

#[derive(Debug, Clone, Copy, Serialize)]
struct ErrorsRecord {
    at: f64,
    axis_deg: f64,
    radius: f64,
    half_angle_deg: f64,
}

#[derive(Debug, Clone, Copy, Serialize)]
struct ExtentRecord {
    area: f64,
    /// Of the whole surface.
    area_share: f64,
    length: f64,
    width: f64,
    swept_deg: f64,
}

/// The circle that a rim is.
#[derive(Debug, Clone, Copy, Serialize)]
pub(super) struct CircleRecord {
    centre: [f64; 3],
    /// Off the scan.
    axis: [f64; 3],
    radius: f64,
    rms: f64,
    largest: f64,
    radius_error: f64,
}

/// Rows of the table; the document has all.
const MOST_ROWS: usize = 12;
/// So many planes square to the file's axes are more than a box has.
const MANY_PLANES: usize = 8;
/// Less than this share of a radius is rounding to the reader.
const ROUNDING_SHARE: f64 = 1e-6;
/// Axes within this angle, in degrees, are parallel: a tenth of what a joint's
/// direction is commonly stated to.
const PARALLEL_DEG: f64 = 0.1;
/// Axes within this share of the radius are one.
const COAXIAL_SHARE: f64 = 0.01;

pub(super) fn shapes(mesh: &Mesh) -> Vec<ShapeRecord> {
    let whole = mesh.area();
    recognise(mesh, &Topology::of(mesh)).into_iter().map(|r| record(r, whole)).collect()
}

fn record(found: Recognised, whole: f64) -> ShapeRecord {
    let Recognised { fit, extent, is_hollow, is_exact, triangles } = found;
    let (kind, radius, half_angle) = match fit.shape {
        Shape::Plane { .. } => ("plane", None, None),
        Shape::Sphere { radius, .. } => ("sphere", Some(radius), None),
        Shape::Cylinder { radius, .. } => ("cylinder", Some(radius), None),
        Shape::Cone { radius, half_angle_rad, .. } => ("cone", Some(radius), Some(half_angle_rad)),
    };
    let Extent { area, length, width, swept_rad } = extent;
    ShapeRecord {
        kind,
        at: fit.shape.place().to_array(),
        axis: fit.shape.direction().map(|axis| axis.to_array()),
        radius,
        half_angle_deg: half_angle.map(f64::to_degrees),
        apex: fit.shape.apex().map(|apex| apex.to_array()),
        hollow: is_hollow,
        exact: is_exact,
        rms: fit.rms,
        largest: fit.largest,
        standard_errors: ErrorsRecord {
            at: fit.errors.place,
            axis_deg: fit.errors.direction_rad.to_degrees(),
            radius: fit.errors.radius,
            half_angle_deg: fit.errors.half_angle_rad.to_degrees(),
        },
        extent: ExtentRecord {
            area,
            area_share: area / whole,
            length,
            width,
            swept_deg: swept_rad.to_degrees(),
        },
        triangles,
    }
}

pub(super) fn circle(circle: Circle) -> CircleRecord {
    CircleRecord {
        centre: circle.centre.to_array(),
        axis: circle.axis.to_array(),
        radius: circle.radius,
        rms: circle.rms,
        largest: circle.largest,
        radius_error: circle.radius_error,
    }
}

/// The circle of an end's rim in a sentence; `wall` is the rim's.
pub(super) fn circle_told(wall: &str, circle: &CircleRecord, out: &mut String) {
    let (at, diameter) = (shown(circle.centre), digits(2.0 * circle.radius));
    let left = if circle.largest <= ROUNDING_SHARE * circle.radius {
        "to rounding".to_owned()
    } else {
        let error = digits(2.0 * circle.radius_error);
        format!("standard error {error}, largest distance {}", digits(circle.largest))
    };
    let _ = writeln!(out, "the {wall} rim at {at} is a circle: diameter {diameter}, {left}");
}

/// The table of shapes, the largest first, and what they mean.
pub(super) fn told(shapes: &[ShapeRecord], out: &mut String) {
    if shapes.is_empty() {
        let _ = writeln!(out, "recognised shapes: none");
        return;
    }
    let mut table = Table::new(&[
        ("recognised shape", Align::Left),
        ("at", Align::Left),
        ("normal or axis", Align::Left),
        ("diameter", Align::Right),
        ("length", Align::Right),
        ("swept", Align::Right),
        ("of area", Align::Right),
        ("rms", Align::Right),
    ]);
    for shape in shapes.iter().take(MOST_ROWS) {
        let swept = shape.radius.map(|_| format!("{:.0} deg", shape.extent.swept_deg));
        table.row([
            shape.name(),
            shown(shape.at),
            shape.axis.map_or_else(String::new, shown),
            shape.radius.map_or_else(String::new, |r| digits(2.0 * r)),
            digits(shape.extent.length),
            swept.unwrap_or_default(),
            format!("{:.1} %", 100.0 * shape.extent.area_share),
            if shape.exact { "rounding".to_owned() } else { digits(shape.rms) },
        ]);
    }
    out.push_str(&table.text());
    if shapes.len() > MOST_ROWS {
        let _ = writeln!(out, "and {} smaller ones, named with `--json`", shapes.len() - MOST_ROWS);
    }
    let steps = shapes.iter().filter(|shape| shape.is_square_to_file()).count();
    if steps > MANY_PLANES {
        let _ = writeln!(
            out,
            "{steps} planes are square to the file's axes: often steps of a voxel grid, not a designed part"
        );
    }
    for (bore, outside) in tubes(shapes) {
        let _ = writeln!(
            out,
            "a round tube is in the scan already: bore {}, outside {}, at {}; a run treats it as any scan",
            digits(2.0 * bore.radius.unwrap_or_default()),
            digits(2.0 * outside.radius.unwrap_or_default()),
            shown(outside.at)
        );
    }
}

/// Hollow and full cylinders on one axis.
fn tubes(shapes: &[ShapeRecord]) -> Vec<(&ShapeRecord, &ShapeRecord)> {
    let cylinders = |hollow| {
        shapes.iter().filter(move |shape| shape.kind == "cylinder" && shape.hollow == hollow)
    };
    let mut tubes = Vec::new();
    for outside in cylinders(false) {
        let bore = cylinders(true)
            .filter(|bore| bore.radius < outside.radius && bore.is_coaxial(outside))
            .max_by(|a, b| a.radius.unwrap_or(0.0).total_cmp(&b.radius.unwrap_or(0.0)));
        tubes.extend(bore.map(|bore| (bore, outside)));
    }
    tubes
}

impl ShapeRecord {
    fn name(&self) -> String {
        match (self.kind, self.half_angle_deg, self.hollow) {
            ("plane", _, _) => "plane".to_owned(),
            (kind, Some(angle), hollow) => {
                format!("{kind} of {} deg, {}", digits(angle), side(hollow))
            }
            (kind, None, hollow) => format!("{kind}, {}", side(hollow)),
        }
    }

    fn is_square_to_file(&self) -> bool {
        let on_axis = |axis: [f64; 3]| axis.iter().filter(|x| x.abs() > 1e-6).count() == 1;
        self.kind == "plane" && self.axis.is_some_and(on_axis)
    }

    fn is_coaxial(&self, other: &ShapeRecord) -> bool {
        let (Some(a), Some(b), Some(radius)) = (self.axis, other.axis, self.radius) else {
            return false;
        };
        let [a, b] = [a, b].map(DVec3::from_array);
        let apart = DVec3::from_array(self.at) - DVec3::from_array(other.at);
        let along = apart.dot(b).abs();
        a.cross(b).length() < PARALLEL_DEG.to_radians().sin()
            && (apart - b * apart.dot(b)).length() < COAXIAL_SHARE * radius
            && along < 0.5 * (self.extent.length + other.extent.length)
    }
}

/// A place whose numbers that round to nothing have no sign.
fn shown(p: [f64; 3]) -> String {
    place(p.map(|x| if digits(x) == "-0" { 0.0 } else { x }))
}

fn side(hollow: bool) -> &'static str {
    if hollow { "bore" } else { "outside" }
}
