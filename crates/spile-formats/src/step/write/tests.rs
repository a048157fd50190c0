//! What is written reads back by this crate's own reader, face by face. An open CAD kernel
//! reads it in `tests/outside/`.

use std::f64::consts::PI;

use super::{Revolved, real, write};
use crate::step::{StepCurve, StepSolid, StepSurface, brep, entities, part21, tessellated};
use crate::{FileUnit, Group, Groups, PartInfo, WriteError};
use spile_mesh::{DVec3, Mesh};

/// check-values 3.7: the smallest sample, 10 along each leg, volume 166.6667.
fn tetrahedron() -> Mesh {
    let points = vec![DVec3::ZERO, 10.0 * DVec3::X, 10.0 * DVec3::Y, 10.0 * DVec3::Z];
    Mesh::new(points, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap()
}

fn groups() -> Groups {
    let group = |name: &str| Group { name: name.to_owned(), colour: [0; 3] };
    Groups { groups: ["bore", "none", "outside"].map(group).into(), of: vec![2, 0, 0, 2] }
}

/// A tube with a bore that widens 1:40 on the diameter, a flange, in a skew place.
fn flanged() -> Revolved {
    let outline = vec![
        [7.5, 0.0],
        [10.0, 0.0],
        [10.0, 6.0],
        [15.0, 6.0],
        [15.0, 8.0],
        [10.0, 8.0],
        [10.0, 20.0],
        [7.75, 20.0],
    ];
    let along = DVec3::new(1.0, 2.0, 2.0) / 3.0;
    Revolved { name: "up'per \u{fc}".to_owned(), at: DVec3::new(1.0, 2.0, 3.0), along, outline }
}

fn written(unit: FileUnit, fittings: &[Revolved]) -> Result<String, WriteError> {
    let info = PartInfo {
        unit,
        title: "part".to_owned(),
        description: "geometry only;\nnot material".to_owned(),
        application: "spile 0.1".to_owned(),
    };
    let mut bytes = Vec::new();
    write(&tetrahedron(), &groups(), fittings, &info, &mut bytes)?;
    Ok(String::from_utf8(bytes).unwrap())
}

/// The exact solids of a text.
fn solids(text: &str) -> Vec<StepSolid> {
    let file = part21::instances(text.as_bytes()).unwrap();
    let found = file.named("MANIFOLD_SOLID_BREP");
    found
        .map(|(at, record)| brep::solid(&file, record.reference(1, at).unwrap(), 1.0).unwrap())
        .collect()
}

#[test]
fn the_tessellated_solid_is_the_mesh_in_every_unit() {
    for unit in [FileUnit::Millimetre, FileUnit::Centimetre, FileUnit::Metre, FileUnit::Inch] {
        let text = written(unit, &[]).unwrap();
        let file = part21::instances(text.as_bytes()).unwrap();
        let found = entities::solid_of(&file).unwrap();
        assert_eq!(found.unit, unit);
        assert_eq!(found.angle_in_rad, 1.0);
        let mesh = tessellated::triangles(&file, found.number).unwrap();
        assert!((mesh.volume() - 1000.0 / 6.0).abs() < 1e-9, "{}", mesh.volume());
        let corners: Vec<_> = (0..4).map(|t| mesh.corners(t)).collect();
        // Group by group, in the order of the groups.
        assert_eq!(corners, [1, 2, 0, 3].map(|t| tetrahedron().corners(t)));
        assert!(text.contains("'geometry only;','not material'"));
    }
}

#[test]
fn a_fitting_has_exact_faces_in_its_place() {
    let fitting = flanged();
    let mut turned = fitting.clone();
    turned.outline.reverse();
    for given in [&fitting, &turned] {
        let text = written(FileUnit::Millimetre, std::slice::from_ref(given)).unwrap();
        assert!(text.contains("'up''per \\X2\\00FC\\X0\\'"));
        let [solid] = &solids(&text)[..] else { panic!("one solid") };
        assert_eq!(solid.faces.len(), 8);
        let mut radii = Vec::new();
        for face in &solid.faces {
            match face.surface {
                StepSurface::Cylinder { at, axis, radius } => {
                    assert!(axis.distance(fitting.along) < 1e-15);
                    assert!((at - fitting.at).cross(axis).length() < 1e-14);
                    // Toward the axis lies the material, but round the bore.
                    assert!(face.outward);
                    radii.push(radius);
                }
                StepSurface::Cone { axis, radius, half_angle_rad, .. } => {
                    assert!(axis.distance(fitting.along) < 1e-15 && !face.outward);
                    assert_eq!(radius, 7.5);
                    // check-values 0: 1:40 on the diameter is 0.71616 degrees.
                    assert!((half_angle_rad.to_degrees() - 0.716_16).abs() < 1e-5);
                }
                StepSurface::Plane { normal, .. } => {
                    assert!(normal.cross(fitting.along).length() < 1e-15);
                }
                ref other => panic!("{other:?}"),
            }
        }
        radii.sort_by(f64::total_cmp);
        assert_eq!(radii, [10.0, 10.0, 15.0]);
        let wanted = PI * (15.0 * 15.0 * 2.0 + 100.0 * 18.0)
            - PI * 20.0 / 3.0 * (7.5 * 7.5 + 7.5 * 7.75 + 7.75 * 7.75);
        assert!((volume(solid, &fitting) / wanted - 1.0).abs() < 1e-12);
    }
}

/// The volume of a solid of revolution by its circles alone: each face between two of them
/// adds, by the divergence theorem, the frustum under it (check-values 5), signed by
/// which way it faces; flat ones add nothing.
fn volume(solid: &StepSolid, fitting: &Revolved) -> f64 {
    let mut sum = 0.0;
    for face in &solid.faces {
        if matches!(face.surface, StepSurface::Plane { .. }) {
            continue;
        }
        let circles: Vec<[f64; 2]> = face.loops[0]
            .iter()
            .filter_map(|&(edge, _)| match solid.edges[edge as usize].curve {
                StepCurve::Circle { centre, radius, .. } => {
                    Some([radius, (centre - fitting.at).dot(fitting.along)])
                }
                StepCurve::Line => None,
            })
            .collect();
        let [[r, h], [s, k]] = circles[..] else { panic!("two circles") };
        let frustum = PI * (k - h).abs() / 3.0 * (r * r + r * s + s * s);
        sum += if face.outward { frustum } else { -frustum };
    }
    sum
}

#[test]
fn what_is_no_solid_is_refused() {
    let good = flanged();
    for outline in [
        vec![[7.5, 0.0], [10.0, 0.0]],
        vec![[0.0, 0.0], [10.0, 0.0], [10.0, 5.0]],
        vec![[7.5, 0.0], [7.5, 0.0], [10.0, 5.0], [8.0, 9.0]],
        vec![[7.5, 0.0], [8.5, 0.0], [9.5, 0.0]],
    ] {
        let wrong = Revolved { outline, ..good.clone() };
        assert!(matches!(written(FileUnit::Inch, &[wrong]), Err(WriteError::Unfit { .. })));
    }
}

/// ISO 10303-21: a real has a decimal point.
#[test]
fn every_number_has_its_point() {
    assert_eq!(real(1.0_f32), "1.");
    assert_eq!(real(0.1_f32), "0.1");
    assert_eq!(real(-1e-7_f64), "-0.0000001");
    assert_eq!(real(1e22_f64), "10000000000000000000000.");
}
