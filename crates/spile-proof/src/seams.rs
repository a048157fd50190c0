//! The settled seams, looked up in the part. They are a claim: each must be a
//! closed loop of the part's own edges.

use spile_case::Case;
use spile_mesh::{DVec3, Mesh};

use crate::edges::Edges;
use crate::identity::Places;
use crate::labels::{Fault, Side};

/// The seams of one end as points of the part, in order; empty where there is none.
#[derive(Debug, Clone, Default)]
pub(crate) struct EndSeams {
    /// On the bore.
    pub bore: Vec<u32>,
    /// On the outside.
    pub outside: Vec<u32>,
}

/// Seam edges of the part.
pub(crate) struct Seams {
    /// By end, in the case's order.
    pub ends: Vec<EndSeams>,
    /// For each edge of the part, the end and side of the seam on it.
    pub on_edge: Vec<Option<(usize, Side)>>,
}

/// Looks all settled seams up. What does not fit is a fault of its end, and
/// that seam stays empty.
pub(crate) fn find_seams(
    case: &Case,
    part: &Mesh,
    edges: &Edges,
    faults: &mut Vec<Fault>,
) -> Seams {
    let places = Places::of(part);
    let mut seams = Seams { ends: Vec::new(), on_edge: vec![None; edges.len()] };
    let mut taken = vec![false; part.points().len()];
    for (index, end) in case.ends.iter().enumerate() {
        let mut found = EndSeams::default();
        let settled = end.seam.clone().unwrap_or_default();
        let wants_outside = !case.scan.form.makes_wall() || end.fitting.is_none();
        for (side, points, wanted) in
            [(Side::Bore, &settled.bore, true), (Side::Outside, &settled.outside, wants_outside)]
        {
            if !wanted && points.is_empty() {
                continue;
            }
            let points: Vec<DVec3> = points.iter().map(|&p| DVec3::from_array(p)).collect();
            let looked_up = if wanted {
                look_up(&points, part, &places, edges, &mut taken)
            } else {
                Err(("none is due there".to_owned(), None))
            };
            match looked_up {
                Ok((loop_points, loop_edges)) => {
                    for e in loop_edges {
                        seams.on_edge[e as usize] = Some((index, side));
                    }
                    match side {
                        Side::Bore => found.bore = loop_points,
                        _ => found.outside = loop_points,
                    }
                }
                Err((text, at)) => faults.push(Fault {
                    end: Some(index),
                    text: format!("the settled seam on the {}: {text}", name(side)),
                    at,
                }),
            }
        }
        seams.ends.push(found);
    }
    seams
}

/// `bore` or `outside`.
pub(crate) fn name(side: Side) -> &'static str {
    match side {
        Side::Bore => "bore",
        Side::Outside => "outside",
        Side::Neither => "neither side",
    }
}

type Looked = Result<(Vec<u32>, Vec<u32>), (String, Option<DVec3>)>;

fn look_up(
    points: &[DVec3],
    part: &Mesh,
    places: &Places,
    edges: &Edges,
    taken: &mut [bool],
) -> Looked {
    if points.is_empty() {
        let why = "none is given, so scan and joint cannot be told apart";
        return Err((why.to_owned(), None));
    }
    if points.len() < 3 {
        return Err((format!("it has {} points, a loop needs three", points.len()), None));
    }
    let mut found = Vec::with_capacity(points.len());
    for &p in points {
        let v = places
            .find(p)
            .filter(|&v| part.points()[v as usize] == p + DVec3::ZERO)
            .ok_or_else(|| ("a point of it is no point of the part".to_owned(), Some(p)))?;
        if std::mem::replace(&mut taken[v as usize], true) {
            return Err(("it meets itself or another seam".to_owned(), Some(p)));
        }
        found.push(v);
    }
    let mut on = Vec::with_capacity(points.len());
    for i in 0..found.len() {
        let (a, b) = (found[i], found[(i + 1) % found.len()]);
        let e = edges.find(a, b).filter(|&e| edges.triangles(e).len() == 2).ok_or_else(|| {
            (
                "two neighbouring points of it share no edge of two triangles".to_owned(),
                Some(points[i]),
            )
        })?;
        on.push(e);
    }
    Ok((found, on))
}
