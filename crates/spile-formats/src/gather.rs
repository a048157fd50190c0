//! From a file's own point numbers to a mesh.

use spile_mesh::{DVec3, Mesh};

use crate::error::{Fault, Place};
use crate::numbers::sound_point;
use crate::polygon::{MOST_EFFORT, triangulate};
use crate::weld::Welder;

const NOT_YET: u32 = u32::MAX;

/// Collects faces over the points of a file that numbers its points.
///
/// Points that no face names are left out: they are no part of the surface,
/// and depth scanners write NaN for the ones they did not see. Points with
/// equal coordinates become one, as in STL, so that a surface means the same
/// in every format.
pub(crate) struct Gather<'a> {
    points: &'a [DVec3],
    renamed: Vec<u32>,
    welder: Welder,
    triangles: Vec<[u32; 3]>,
    /// Left for cutting polygons.
    effort: u64,
    /// Scratch for one polygon.
    names: Vec<u32>,
    corners: Vec<DVec3>,
    cut: Vec<[u32; 3]>,
}

impl<'a> Gather<'a> {
    pub(crate) fn over(points: &'a [DVec3], faces: usize) -> Self {
        Self {
            points,
            renamed: vec![NOT_YET; points.len()],
            welder: Welder::for_about(points.len()),
            triangles: Vec::with_capacity(faces),
            effort: MOST_EFFORT,
            names: Vec::new(),
            corners: Vec::new(),
            cut: Vec::new(),
        }
    }

    /// Adds a face with these corners, all of them below the number of points,
    /// as one triangle or as many as the polygon takes.
    ///
    /// # Errors
    /// A sentence: too few corners, a point that is not finite, or a polygon
    /// that cannot be cut into triangles.
    pub(crate) fn face(&mut self, corners: &[u32]) -> Result<(), String> {
        if let &[a, b, c] = corners {
            let triangle = [self.rename(a)?, self.rename(b)?, self.rename(c)?];
            self.triangles.push(triangle);
            return Ok(());
        }
        if corners.len() < 3 {
            return Err(format!("a face of {} corners is no triangle", corners.len()));
        }
        self.names.clear();
        for &corner in corners {
            let name = self.rename(corner)?;
            self.names.push(name);
        }
        self.corners.clear();
        self.corners.extend(corners.iter().map(|&i| self.points[i as usize]));
        self.cut.clear();
        triangulate(&self.corners, &mut self.cut, &mut self.effort)?;
        let named = |triangle: &[u32; 3]| triangle.map(|k| self.names[k as usize]);
        self.triangles.extend(self.cut.iter().map(named));
        Ok(())
    }

    fn rename(&mut self, point: u32) -> Result<u32, String> {
        let at = point as usize;
        if self.renamed[at] == NOT_YET {
            let p =
                sound_point(self.points[at]).map_err(|what| format!("point {point}: {what}"))?;
            self.renamed[at] =
                self.welder.index(p).ok_or("more points than this program can index")?;
        }
        Ok(self.renamed[at])
    }

    pub(crate) fn finish(self) -> Result<Mesh, Fault> {
        Mesh::new(self.welder.into_points(), self.triangles)
            .map_err(|error| Fault::at(Place::Whole, error.to_string()))
    }
}
