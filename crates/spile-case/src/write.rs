//! A case as TOML, in a fixed layout.
//!
//! Numbers are the shortest that read back to the same value: `f64` for all
//! but seam points, which are `f32` values and are written as such.

use std::fmt::Write as _;

use crate::fitting::{Fitting, Flange, Gender, Solid, SolidKind};
use crate::guidance::{Clear, EndLimits, JointGuide, JointShape, Pin, WallShare};
use crate::output::{Flow, Output};
use crate::read_site::{AS_MODELLED, AUTO};
use crate::types::{
    Ball, Case, End, Form, Keep, Limits, Mend, Onward, Outliers, Place, Scan, Seam, Site, Station,
    StationCut, Tilt, Vec3, Wall, WallAt,
};

/// The case as TOML text that [`crate::read_case`] reads back equal.
///
/// Shape: directions have length 1 and seam points are `f32` values, as their
/// types say; the same case gives the same bytes.
pub fn write_case(case: &Case) -> String {
    let mut out = String::new();
    if let Some(name) = &case.name {
        line(&mut out, "name", &quoted(name));
    }
    line(&mut out, "unit", &quoted(case.unit.name()));
    write_scan(&mut out, &case.scan);
    for end in &case.ends {
        write_end(&mut out, end, &case.solids);
    }
    write_joint(&mut out, case.edge, &case.joint);
    write_limits(&mut out, &case.limits);
    for keep in &case.keeps {
        write_keep(&mut out, keep);
    }
    for clear in &case.clears {
        write_clear(&mut out, clear);
    }
    write_output(&mut out, &case.output);
    for mend in &case.mends {
        write_mend(&mut out, mend);
    }
    out
}

fn write_joint(out: &mut String, edge: Option<f64>, joint: &JointGuide) {
    if edge.is_none() && *joint == JointGuide::default() {
        return;
    }
    out.push_str("\n[joint]\n");
    maybe(out, "edge", edge);
    if joint.shape != JointShape::default() {
        line(out, "shape", &quoted(joint.shape.name()));
    }
    if !joint.wall.is_empty() {
        let place = |&WallShare { at, thickness }: &_| {
            table(&[("at", at), ("thickness", thickness)].map(in_text))
        };
        let places: Vec<String> = joint.wall.iter().map(place).collect();
        line(out, "wall", &format!("[{}]", places.join(", ")));
    }
}

fn write_scan(out: &mut String, scan: &Scan) {
    out.push_str("\n[scan]\n");
    let files: Vec<String> = scan.files.iter().map(|f| quoted(f)).collect();
    if scan.form == Form::Sheets {
        line(out, "files", &format!("[{}]", files.join(", ")));
    } else {
        line(out, "file", &files.join(", "));
    }
    line(out, "form", &quoted(scan.form.name()));
    match scan.wall {
        None => {}
        Some(Wall::Even(thickness)) => line(out, "wall", &number(thickness)),
        Some(Wall::Graded(places)) => {
            let place = |p: WallAt| {
                format!("{{ at = {}, thickness = {} }}", point(p.at), number(p.thickness))
            };
            line(out, "wall", &format!("[{}]", places.map(place).join(", ")));
        }
    }
    maybe(out, "hole_max", scan.hole_max);
    if !scan.inherit.is_empty() {
        let faults: Vec<String> = scan.inherit.iter().map(|f| quoted(f.name())).collect();
        line(out, "inherit", &format!("[{}]", faults.join(", ")));
    }
    if scan.outliers != Outliers::default() {
        line(out, "outliers", &quoted(scan.outliers.name()));
    }
    if let Some(align) = &scan.align {
        line(out, "align", &table(&[("to", quoted(&align.to))]));
    }
    if let Some(moved) = scan.moved {
        let turn = format!("[{}]", moved.turn.map(point).join(", "));
        line(out, "moved", &table(&[("turn", turn), ("shift", point(moved.shift))]));
    }
}

fn write_end(out: &mut String, end: &End, solids: &[Solid]) {
    out.push_str("\n[[end]]\n");
    line(out, "name", &quoted(&end.name));
    match end.site {
        Site::Cut(cut) => {
            let (through, facing) = (point(cut.through), point(cut.facing));
            line(out, "cut", &format!("{{ through = {through}, facing = {facing} }}"));
        }
        Site::Station(cut) => line(out, "cut", &station_table(cut)),
        Site::Rim(rim) => {
            line(out, "rim", &point(rim.near));
            maybe(out, "trim", rim.trim);
            if let Some(facing) = rim.facing {
                line(out, "facing", &point(facing));
            }
        }
    }
    if end.reach_is_auto {
        line(out, "reach", &quoted(AUTO));
    }
    maybe(out, "reach", end.reach);
    if let Some(fitting) = end.fitting {
        line(out, "fitting", &fitting_table(fitting, solids));
    }
    match end.place {
        Some(Place::At { at, along }) => {
            let (at, along) = (point(at), point(along));
            line(out, "place", &format!("{{ at = {at}, along = {along} }}"));
        }
        Some(Place::Onward(onward)) => line(out, "place", &onward_table(onward)),
        Some(Place::AsModelled) => line(out, "place", &quoted(AS_MODELLED)),
        Some(Place::Auto) => line(out, "place", &quoted(AUTO)),
        None => {}
    }
    if let Some(Fitting::Mesh(mesh)) = end.fitting
        && mesh.roll_deg != 0.0
    {
        line(out, "roll", &number(mesh.roll_deg));
    }
    if !end.pins.is_empty() {
        let pin = |pin: &Pin| format!("[{}, {}]", point(pin.scan), number(pin.angle_deg));
        let pins: Vec<String> = end.pins.iter().map(pin).collect();
        line(out, "match", &format!("[{}]", pins.join(", ")));
    }
    write_end_limits(out, &end.limits);
    if let Some(seam) = &end.seam {
        write_seam(out, seam);
    }
}

fn station_table(cut: StationCut) -> String {
    let span = |[from, to]: [f64; 2]| format!("[{from:?}, {to:?}]");
    let station = match cut.station {
        Station::Along(along) => ("along", number(along)),
        Station::Narrowest(within) => ("narrowest", span(within)),
        Station::Roundest(within) => ("roundest", span(within)),
    };
    let from = std::iter::once(("from", point(cut.from)));
    let facing = cut.facing.map(|facing| ("facing", point(facing)));
    table(&from.chain(facing).chain([station]).collect::<Vec<_>>())
}

fn onward_table(onward: Onward) -> String {
    let mut keys = vec![("gap", number(onward.gap))];
    if onward.off != [0.0; 3] {
        keys.push(("off", point(onward.off)));
    }
    if let Some(Tilt { tilt_deg, toward }) = onward.tilt {
        keys.extend([("tilt_deg", number(tilt_deg)), ("toward", point(toward))]);
    }
    table(&keys)
}

fn write_end_limits(out: &mut String, limits: &EndLimits) {
    let all = [
        ("deviation", limits.deviation),
        ("wall_min", limits.wall_min),
        ("bore_loss", limits.bore_loss),
        ("kink", limits.kink_deg),
        ("ball_min", limits.ball_min),
        ("chord", limits.chord),
    ];
    let given: Vec<_> =
        all.into_iter().filter_map(|(key, x)| x.map(|x| in_text((key, x)))).collect();
    if !given.is_empty() {
        line(out, "limits", &table(&given));
    }
}

fn fitting_table(fitting: Fitting, solids: &[Solid]) -> String {
    let mut keys: Vec<(&str, String)> = Vec::new();
    let flange = match fitting {
        Fitting::Tube { bore, outside, length, flange } => {
            keys.push(("kind", quoted("tube")));
            keys.extend([("bore", bore), ("outside", outside), ("length", length)].map(in_text));
            flange
        }
        Fitting::Cone(cone) => {
            let other = if cone.gender == Gender::Male { "bore" } else { "outside" };
            keys.push(("kind", quoted(cone.gender.name())));
            keys.push(("size", quoted(cone.size.name())));
            let numbers =
                [(other, cone.other), ("length", cone.length), ("allowance", cone.allowance)];
            keys.extend(numbers.map(in_text));
            cone.flange
        }
        Fitting::Mesh(mesh) => {
            if let Some(solid) = solids.get(mesh.solid) {
                let kind = match solid.kind {
                    SolidKind::Mesh => "mesh",
                    SolidKind::Step => "step",
                };
                keys.push(("kind", quoted(kind)));
                keys.push(("file", quoted(&solid.file)));
                keys.extend(solid.unit.map(|unit| ("unit", quoted(unit.name()))));
            }
            keys.extend(mesh.rim.map(|rim| ("rim", point(rim))));
            None
        }
    };
    if let Some(Flange { outside, thickness, at }) = flange {
        let inner = [("outside", outside), ("thickness", thickness), ("at", at)].map(in_text);
        keys.push(("flange", table(&inner)));
    }
    table(&keys)
}

fn in_text((key, value): (&'static str, f64)) -> (&'static str, String) {
    (key, number(value))
}

/// An inline table.
fn table(keys: &[(&str, String)]) -> String {
    let keys: Vec<String> = keys.iter().map(|(key, value)| format!("{key} = {value}")).collect();
    format!("{{ {} }}", keys.join(", "))
}

fn write_seam(out: &mut String, seam: &Seam) {
    out.push_str("\n[end.seam]\n");
    for (key, points) in [("bore", &seam.bore), ("outside", &seam.outside)] {
        let _ = writeln!(out, "{key} = [");
        for [x, y, z] in points {
            let _ = writeln!(out, "    [{:?}, {:?}, {:?}],", *x as f32, *y as f32, *z as f32);
        }
        out.push_str("]\n");
    }
}

fn write_limits(out: &mut String, limits: &Limits) {
    out.push_str("\n[limits]\n");
    line(out, "deviation", &number(limits.deviation));
    maybe(out, "wall_min", limits.wall_min);
    maybe(out, "bore_loss", limits.bore_loss);
    maybe(out, "kink", limits.kink_deg);
    maybe(out, "ball_min", limits.ball_min);
    line(out, "chord", &number(limits.chord));
}

fn write_keep(out: &mut String, keep: &Keep) {
    out.push_str("\n[[keep]]\n");
    match keep {
        Keep::Ball(ball) => write_ball(out, *ball),
        Keep::Box { min, max } => write_box(out, *min, *max),
        Keep::Triangles { scan_sha256, triangles } => {
            let numbers: Vec<String> = triangles.iter().map(u32::to_string).collect();
            let (hash, numbers) = (quoted(scan_sha256), numbers.join(", "));
            let value = format!("{{ scan_sha256 = {hash}, numbers = [{numbers}] }}");
            line(out, "triangles", &value);
        }
    }
}

fn write_clear(out: &mut String, clear: &Clear) {
    out.push_str("\n[[clear]]\n");
    match *clear {
        Clear::Ball(ball) => write_ball(out, ball),
        Clear::Box { min, max } => write_box(out, min, max),
    }
}

fn write_ball(out: &mut String, ball: Ball) {
    let (at, radius) = (point(ball.at), number(ball.radius));
    line(out, "ball", &format!("{{ at = {at}, radius = {radius} }}"));
}

fn write_box(out: &mut String, min: Vec3, max: Vec3) {
    line(out, "box", &format!("{{ min = {}, max = {} }}", point(min), point(max)));
}

fn write_output(out: &mut String, output: &Output) {
    if *output == Output::default() {
        return;
    }
    out.push_str("\n[output]\n");
    maybe(out, "density", output.density_g_cm3);
    if let Some(up) = output.build_direction {
        line(out, "build_direction", &point(up));
    }
    if let Some(Flow { rate_l_min, density_kg_m3, viscosity_pa_s }) = output.flow {
        let keys = [
            ("rate_l_min", rate_l_min),
            ("density_kg_m3", density_kg_m3),
            ("viscosity_pa_s", viscosity_pa_s),
        ];
        line(out, "flow", &table(&keys.map(in_text)));
    }
    if !output.files.is_empty() {
        let files: Vec<String> = output.files.iter().map(|f| quoted(f.name())).collect();
        line(out, "files", &format!("[{}]", files.join(", ")));
    }
}

fn write_mend(out: &mut String, mend: &Mend) {
    out.push_str("\n[[mend]]\n");
    line(out, "kind", &quoted(mend.kind.name()));
    line(out, "at", &point(mend.ball.at));
    line(out, "radius", &number(mend.ball.radius));
}

fn line(out: &mut String, key: &str, value: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{key} = {value}");
}

fn maybe(out: &mut String, key: &str, value: Option<f64>) {
    if let Some(value) = value {
        line(out, key, &number(value));
    }
}

/// Rust prints the shortest digits that read back the same; its forms (`1.0`,
/// `1e-7`) are TOML floats as they are.
fn number(x: f64) -> String {
    format!("{x:?}")
}

fn point([x, y, z]: Vec3) -> String {
    format!("[{x:?}, {y:?}, {z:?}]")
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
