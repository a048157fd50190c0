//! The samples of `tests/scans/step`, written by an open CAD kernel, and mistakes
//! made in one of them.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use super::*;

fn sample(name: &str) -> String {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans/step");
    std::fs::read_to_string(path.join(name)).unwrap()
}

fn exact(text: &str) -> (FileUnit, StepSolid) {
    let read = read_step("x.step", text.as_bytes()).unwrap();
    let StepBody::Exact(solid) = read.body else { panic!("exact faces") };
    (read.unit, solid)
}

fn message(text: &str) -> String {
    read_step("x.step", text.as_bytes()).unwrap_err().to_string()
}

/// Radii as the kernel was told to draw them: bore 8, outside 10, flange 15.
#[test]
fn the_faces_of_a_flanged_tube_are_read() {
    let (unit, solid) = exact(&sample("flanged.step"));
    assert_eq!((unit, solid.faces.len()), (FileUnit::Millimetre, 8));
    let mut radii: Vec<f64> = (solid.faces.iter())
        .filter_map(|face| match face.surface {
            StepSurface::Cylinder { radius, .. } => Some(radius),
            _ => None,
        })
        .collect();
    radii.sort_by(f64::total_cmp);
    assert_eq!(radii, [8.0, 10.0, 10.0, 15.0]);
}

/// The same solid in inches: 25.4 mm each (international yard and pound
/// agreement, 1959), to the 12 digits that the file has.
#[test]
fn lengths_are_in_the_files_own_unit() {
    let (unit, solid) = exact(&sample("flanged-inch.step"));
    assert_eq!(unit, FileUnit::Inch);
    let widest = solid.faces.iter().filter_map(|face| match face.surface {
        StepSurface::Cylinder { radius, .. } => Some(25.4 * radius),
        _ => None,
    });
    assert!((widest.fold(0.0, f64::max) - 15.0).abs() < 1e-9);
}

#[test]
fn tori_cones_and_spheres_are_read() {
    let kinds = |name: &str| {
        let (_, solid) = exact(&sample(name));
        let is = |f: &dyn Fn(&StepSurface) -> bool| solid.faces.iter().any(|s| f(&s.surface));
        [
            is(&|s| matches!(s, StepSurface::Torus { .. })),
            is(&|s| matches!(s, StepSurface::Cone { .. })),
            is(&|s| matches!(s, StepSurface::Sphere { .. })),
        ]
    };
    assert_eq!(kinds("filleted.step"), [true, false, false]);
    assert_eq!(kinds("socket.step"), [false, true, true]);
}

#[test]
fn mistakes_name_the_instance_its_line_and_what_to_do() {
    let whole = sample("flanged.step");
    let with = |from: &str, to: &str| {
        assert!(whole.contains(from), "{from}");
        message(&whole.replacen(from, to, 1))
    };
    let cases = [
        (
            with("CYLINDRICAL_SURFACE('',#33,10.)", "B_SPLINE_SURFACE('',3)"),
            ["#32 in line 44", "B_SPLINE_SURFACE"],
        ),
        (with("CYLINDRICAL_SURFACE('',#33,10.)", "CYLINDRICAL_SURFACE('',#33,-1.)"), ["#32", "-1"]),
        (
            with("CYLINDRICAL_SURFACE('',#33,10.)", "CYLINDRICAL_SURFACE('',#33,10.5)"),
            ["off the surface", "#17"],
        ),
        (
            with("#16 = CLOSED_SHELL('',(#17,", "#16 = CLOSED_SHELL('',("),
            ["not closed here", "#16"],
        ),
        (with("VERTEX_POINT('',#23)", "VERTEX_POINT('',#99999)"), ["#22", "#99999"]),
        (with("MANIFOLD_SOLID_BREP", "BREP_WITH_VOIDS"), ["#15", "voids"]),
        (with("MANIFOLD_SOLID_BREP", "NEXT_ASSEMBLY_USAGE_OCCURRENCE"), ["#15", "assembly"]),
        (with(".MILLI.", ".MICRO."), ["unit", "0.001 mm"]),
        (with("ENDSEC;\nDATA;", "ENDSEC;\nDATA"), ["line", "';'"]),
        (with("ISO-10303-21;", "solid"), ["line 1", "no STEP file"]),
    ];
    for (text, said) in cases {
        for part in said {
            assert!(text.contains(part), "{part}: {text}");
        }
    }
    assert!(message("").contains("empty"));
}

/// Lists in lists are bounded, so that no text overflows the stack.
#[test]
fn deep_lists_are_refused() {
    let deep = "(".repeat(100_000);
    let text = format!("ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n#1=A{deep}");
    assert!(message(&text).contains("deep"));
}

/// Two faces of a tetrahedron as triangles, one as a strip, one as a fan; the
/// corners are the file's, the faces share them by place.
#[test]
fn a_tessellated_solid_is_read_triangle_for_triangle() {
    let text = "ISO-10303-21;
HEADER;
ENDSEC;
DATA;
#1=TESSELLATED_SOLID('',(#2,#3),$);
#2=TRIANGULATED_FACE('',#4,4,(),$,(),((1,3,2),(1,2,4)));
#3=COMPLEX_TRIANGULATED_FACE('',#4,4,(),$,(2,3,4,1),((1,2,3)),((2,4,3)));
#4=COORDINATES_LIST('',4,((0.,0.,0.),(1.,0.,0.),(0.,1.,0.),(0.,0.,1.)));
#5=TESSELLATED_SHAPE_REPRESENTATION('',(#1),#6);
#6=(GLOBAL_UNIT_ASSIGNED_CONTEXT((#7,#8)) REPRESENTATION_CONTEXT('',''));
#7=(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.CENTI.,.METRE.));
#8=(NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.));
ENDSEC;
END-ISO-10303-21;
";
    let read = read_step("x.stp", text.as_bytes()).unwrap();
    assert_eq!(read.unit, FileUnit::Centimetre);
    let StepBody::Triangles(mesh) = read.body else { panic!("triangles") };
    assert_eq!((mesh.points().len(), mesh.triangles().len()), (4, 4));
    // A tetrahedron over the unit triangle: a sixth.
    assert!((mesh.volume() - 1.0 / 6.0).abs() < 1e-15, "{}", mesh.volume());
}
