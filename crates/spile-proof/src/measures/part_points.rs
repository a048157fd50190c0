//! The part's points: side of the wall, normal, and the area each stands for.

use rayon::prelude::*;
use spile_mesh::{DVec3, vertex_triangles};

use crate::labels::{Labelled, Side};

/// What is told of each point of the part from the triangles at it.
pub(super) struct PartPoints {
    /// The side of its triangles; where both sides meet, the bore.
    pub side: Vec<Side>,
    /// Unit normal, out of the material: that of its triangles on `side`, weighted by
    /// their angle there (Baerentzen and Aanaes 2005). Zero where there is none.
    pub normal: Vec<DVec3>,
    /// A third of the area of its triangles on `side`.
    pub area: Vec<f64>,
}

impl PartPoints {
    pub(super) fn of(l: &Labelled) -> Self {
        let around = vertex_triangles(l.part);
        let each: Vec<(Side, DVec3, f64)> = (0..l.part.points().len() as u32)
            .into_par_iter()
            .map(|v| {
                let at = around.of(v);
                let has = |side: Side| at.iter().any(|&t| l.side[t as usize] == side);
                let side = [Side::Bore, Side::Outside].into_iter().find(|&side| has(side));
                let Some(side) = side else { return (Side::Neither, DVec3::ZERO, 0.0) };
                let (mut normal, mut area) = (DVec3::ZERO, 0.0);
                for &t in at.iter().filter(|&&t| l.side[t as usize] == side) {
                    let own = l.part.area_normal(t as usize);
                    let angle = l.part.corner_angle(t as usize, v);
                    normal += angle * own.normalize_or_zero();
                    area += own.length() / 6.0;
                }
                (side, normal.normalize_or_zero(), area)
            })
            .collect();
        Self {
            side: each.iter().map(|e| e.0).collect(),
            normal: each.iter().map(|e| e.1).collect(),
            area: each.iter().map(|e| e.2).collect(),
        }
    }
}
