//! The angle at each edge of each seam, along the seam.

use serde::Serialize;

use super::figure::Figure;
use crate::kink::{normal_angle_deg, seams};
use crate::labels::Labelled;

/// The angles between the two triangles at each edge of one seam.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeamAngles {
    /// The end.
    pub end: String,
    /// Which of its seams.
    pub seam: String,
    /// Length round it.
    pub length: f64,
    /// The largest angle, in degrees; none where a triangle at the seam has no area.
    pub largest_deg: Option<Figure>,
    /// The middle of the edge that has it.
    #[serde(rename = "where")]
    pub where_: Option<[f64; 3]>,
    /// The mean, each edge weighted by its length, in degrees.
    pub mean_deg: f64,
    /// For each edge the length along the seam to its middle, from the settled case's first
    /// seam point, and the angle there in degrees.
    pub along: Vec<[f64; 2]>,
}

/// All seams of all ends, in the case's order.
pub(super) fn seam_angles(l: &Labelled) -> Vec<SeamAngles> {
    let each = l.ends.iter().flat_map(|end| seams(end).map(|(name, points)| (end, name, points)));
    each.filter(|(_, _, points)| points.len() > 2)
        .map(|(end, name, points)| of_seam(l, &end.name, name, points))
        .collect()
}

fn of_seam(l: &Labelled, end: &str, seam: &str, points: &[u32]) -> SeamAngles {
    let (mut length, mut turned) = (0.0, 0.0);
    let mut bounds: Option<[f64; 2]> = Some([0.0, 0.0]);
    let (mut where_, mut along) = (None, Vec::with_capacity(points.len()));
    for (i, &a) in points.iter().enumerate() {
        let b = points[(i + 1) % points.len()];
        let [p, q] = [a, b].map(|v| l.part.points()[v as usize]);
        let edge = p.distance(q);
        let angle = l.part_edges.find(a, b).and_then(|e| match *l.part_edges.triangles(e) {
            [s, t] => normal_angle_deg(l.part, s, t),
            _ => None,
        });
        if let Some((angle, error)) = angle {
            turned += angle * edge;
            along.push([length + 0.5 * edge, angle]);
            if let Some([lo, hi]) = &mut bounds {
                if angle - error > *lo {
                    (*lo, where_) = (angle - error, Some((0.5 * (p + q)).to_array()));
                }
                *hi = hi.max(angle + error);
            }
        } else {
            bounds = None;
        }
        length += edge;
    }
    let how = "between the normals of the two triangles at each edge; there are no other places";
    SeamAngles {
        end: end.to_owned(),
        seam: seam.to_owned(),
        length,
        largest_deg: bounds.map(|b| Figure::certified(b[1], b, how)),
        where_,
        mean_deg: if length > 0.0 { turned / length } else { 0.0 },
        along,
    }
}
