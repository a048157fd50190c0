//! `close`: puts kept triangles, bands, joints, fittings and end faces together.
//!
//! Vertices are shared by index from the start, so there is no gap to stitch
//! and no tolerance to tune.

use spile_mesh::{DVec3, Mesh, round_to_f32};

use crate::reach::Band;
use crate::span::Grid;
use crate::surface::Scan;
use crate::walls::WallSide;

/// A part under construction.
#[derive(Default)]
pub struct Builder {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

/// The points of a surface within the part.
#[derive(Debug, Clone, Copy)]
pub struct Base(u32);

impl Builder {
    /// Takes a surface's points up; they may be used from now on.
    pub fn add_surface(&mut self, scan: &Scan) -> Base {
        let first = self.points.len() as u32;
        self.points.extend_from_slice(scan.mesh.points());
        Base(first)
    }

    /// Adds triangle `t` of the surface, turned round if `flip`.
    pub fn keep(&mut self, base: Base, scan: &Scan, t: usize, flip: bool) {
        let c = scan.mesh.triangles()[t].map(|v| v + base.0);
        self.triangles.push(turned(c, flip));
    }

    /// Adds a cut's pieces as they are, new points appended; tells the part's
    /// index of each point of the rim.
    pub fn add_pieces(
        &mut self,
        base: Base,
        scan: &Scan,
        cut: &crate::cut::CutSide,
        flip: bool,
    ) -> Vec<u32> {
        let count = scan.mesh.points().len() as u32;
        let first = self.points.len() as u32;
        self.points.extend(cut.new_points.iter().map(|&p| round_to_f32(p)));
        let at = |v: u32| if v < count { v + base.0 } else { v - count + first };
        for piece in &cut.pieces {
            self.triangles.push(turned(piece.map(at), flip));
        }
        cut.rim.iter().map(|&v| at(v)).collect()
    }

    /// Adds a band; tells the part's index of each point of its rim.
    pub fn add_band(&mut self, base: Base, band: &Band, flip: bool) -> Vec<u32> {
        let first = self.points.len() as u32;
        let shared = band.shared as u32;
        self.points.extend(band.mesh.points()[band.shared..].iter().map(|&p| round_to_f32(p)));
        let at = |v: u32| {
            if v < shared { band.scan_points[v as usize] + base.0 } else { v - shared + first }
        };
        for t in band.mesh.triangles() {
            self.triangles.push(turned(t.map(at), flip));
        }
        band.rim.iter().map(|&v| at(v)).collect()
    }

    /// Adds one side of a joint and its fitting of the given length; `seam`
    /// are the part's indices of the grid's first row. Tells those of the
    /// fitting's far ring, in the same order.
    pub fn add_joint(
        &mut self,
        seam: &[u32],
        grid: &Grid,
        side: WallSide,
        along: DVec3,
        length: f64,
    ) -> Vec<u32> {
        let columns = seam.len() as u32;
        let first = self.points.len() as u32;
        for row in &grid.rows[1..] {
            self.points.extend(row.iter().map(|&p| round_to_f32(p)));
        }
        let near = self.points.len() as u32 - columns;
        let last = &grid.rows[grid.rows.len() - 1];
        let far = self.points.len() as u32;
        self.points.extend(last.iter().map(|&p| round_to_f32(p + along * length)));
        let outward = side == WallSide::Outside;
        let at = |v: u32| if v < columns { seam[v as usize] } else { v - columns + first };
        for t in grid.triangles(outward) {
            self.triangles.push(t.map(at));
        }
        for j in 0..columns {
            let k = (j + 1) % columns;
            let (a, b, c, d) = (near + j, near + k, far + k, far + j);
            self.triangles.push(turned([a, b, c], !outward));
            self.triangles.push(turned([a, c, d], !outward));
        }
        (far..far + columns).collect()
    }

    /// Adds triangles over the part's points.
    pub fn add_triangles(&mut self, triangles: &[[u32; 3]]) {
        self.triangles.extend_from_slice(triangles);
    }

    /// A point of the part.
    pub fn point(&self, v: u32) -> DVec3 {
        self.points[v as usize]
    }

    /// The part: only the points that are used, in the order of first use.
    pub fn finish(self) -> Mesh {
        const UNUSED: u32 = u32::MAX;
        let mut place = vec![UNUSED; self.points.len()];
        let mut points = Vec::new();
        let triangles = self
            .triangles
            .iter()
            .map(|t| {
                t.map(|v| {
                    let p = &mut place[v as usize];
                    if *p == UNUSED {
                        *p = points.len() as u32;
                        points.push(self.points[v as usize]);
                    }
                    *p
                })
            })
            .collect();
        Mesh::new(points, triangles).unwrap_or_default()
    }
}

fn turned(t: [u32; 3], flip: bool) -> [u32; 3] {
    if flip { [t[0], t[2], t[1]] } else { t }
}
