//! The part's points: side of the wall, the area each stands for, and normals.

use rayon::prelude::*;
use spile_mesh::{DVec3, VertexTriangles, vertex_triangles};

use crate::labels::{Labelled, Side};

/// What is told of each point of the part from the triangles at it.
pub(super) struct PartPoints {
    /// The side of its triangles; where both sides meet, the bore.
    pub side: Vec<Side>,
    /// A third of the area of its triangles on `side`.
    pub area: Vec<f64>,
    around: VertexTriangles,
}

impl PartPoints {
    pub(super) fn of(l: &Labelled) -> Self {
        let around = vertex_triangles(l.part);
        let each: Vec<(Side, f64)> = (0..l.part.points().len() as u32)
            .into_par_iter()
            .map(|v| {
                let at = around.of(v);
                let has = |side: Side| at.iter().any(|&t| l.side[t as usize] == side);
                let side = [Side::Bore, Side::Outside].into_iter().find(|&side| has(side));
                let Some(side) = side else { return (Side::Neither, 0.0) };
                let own = at.iter().filter(|&&t| l.side[t as usize] == side);
                (side, own.map(|&t| l.part.area_normal(t as usize).length() / 6.0).sum())
            })
            .collect();
        let (side, area) = each.into_iter().unzip();
        Self { side, area, around }
    }

    /// Unit normal at a point, out of the material: that of its triangles on its side, weighted
    /// by their angle there (Baerentzen and Aanaes 2005). Zero where there is none.
    pub(super) fn normal(&self, l: &Labelled, v: usize) -> DVec3 {
        let side = self.side[v];
        let at = self.around.of(v as u32).iter();
        let own = at.filter(|&&t| side != Side::Neither && l.side[t as usize] == side);
        let normals = own.map(|&t| {
            let angle = l.part.corner_angle(t as usize, v as u32);
            angle * l.part.area_normal(t as usize).normalize_or_zero()
        });
        normals.fold(DVec3::ZERO, |sum, normal| sum + normal).normalize_or_zero()
    }
}
