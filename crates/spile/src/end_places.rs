//! Which end a place of a part is nearest to.

use spile_case::{Case, Fitting, Place, Site};
use spile_mesh::{DVec3, Mesh, closest_on_segment};

/// Where the ends of two cases lie: each from its cut or rim to its fitting's far face.
pub(crate) struct EndPlaces {
    names: Vec<String>,
    lines: Vec<(usize, [DVec3; 2])>,
}

impl EndPlaces {
    /// The ends of both cases; those of one name are one.
    pub fn of(cases: [&Case; 2]) -> EndPlaces {
        let mut places = EndPlaces { names: Vec::new(), lines: Vec::new() };
        for end in cases.into_iter().flat_map(|case| &case.ends) {
            let index = places.names.iter().position(|name| *name == end.name);
            let index = index.unwrap_or_else(|| {
                places.names.push(end.name.clone());
                places.names.len() - 1
            });
            let from = DVec3::from_array(match end.site {
                Site::Cut(cut) => cut.through,
                Site::Station(cut) => cut.from,
                Site::Rim(rim) => rim.near,
            });
            let to = match (end.place, end.fitting) {
                (Some(Place::At { at, along }), fitting) => {
                    let length = match fitting {
                        Some(Fitting::Tube { length, .. }) => length,
                        Some(Fitting::Cone(cone)) => cone.length,
                        Some(Fitting::Mesh(_)) | None => 0.0,
                    };
                    DVec3::from_array(at) + length * DVec3::from_array(along)
                }
                _ => from,
            };
            places.lines.push((index, [from, to]));
        }
        places
    }

    /// Their names, in order.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// The triangles by the end that their middle is nearest to.
    pub fn by_end(&self, mesh: &Mesh, triangles: &[u32]) -> Vec<Vec<u32>> {
        let mut found = vec![Vec::new(); self.names.len()];
        for &t in triangles {
            let middle = mesh.corners(t as usize).iter().sum::<DVec3>() / 3.0;
            let away = |&[a, b]: &[DVec3; 2]| middle.distance(closest_on_segment(middle, a, b));
            let nearest = self.lines.iter().min_by(|a, b| away(&a.1).total_cmp(&away(&b.1)));
            if let Some((end, _)) = nearest {
                found[*end].push(t);
            }
        }
        found
    }
}
