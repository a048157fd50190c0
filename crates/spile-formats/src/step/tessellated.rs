//! The triangles of a tessellated solid (ISO 10303-42, as AP242 uses it).

use std::collections::BTreeMap;

use spile_mesh::{DVec3, Mesh};

use super::Source;
use super::part21::{Instances, Record, Value};
use crate::error::Fault;
use crate::gather::Gather;
use crate::numbers::sound_point;

const EXACT_INSTEAD: &str = "export the solid with its exact faces, or as a mesh";

/// The triangles of a `TESSELLATED_SOLID`, face by face in the file's order.
/// Places that are equal in all three coordinates are one: faces of one solid
/// name their borders each in its own list.
pub(crate) fn triangles(file: &Instances, solid: u64) -> Result<Mesh, Fault> {
    let (record, source) = file.record(solid, Source::default())?;
    let mut content = Content::default();
    for item in record.references(1, source)? {
        let (item, at) = file.record(item, source)?;
        content.face(file, item, at)?;
    }
    let Content { points, triangles, .. } = content;
    let mut gather = Gather::over(&points, triangles.len());
    for triangle in &triangles {
        gather.face(triangle).map_err(|what| Fault::at(source.place(), what))?;
    }
    if triangles.is_empty() {
        return Err(Fault::at(source.place(), "it holds no triangle"));
    }
    gather.finish()
}

#[derive(Default)]
struct Content {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    /// The points of each list of coordinates: the first, and how many.
    lists: BTreeMap<u64, (usize, usize)>,
}

impl Content {
    /// The points of a list of coordinates: the first, and how many.
    fn list(&mut self, file: &Instances, number: u64, by: Source) -> Result<(usize, usize), Fault> {
        if let Some(&list) = self.lists.get(&number) {
            return Ok(list);
        }
        let (list, at) = file.record(number, by)?;
        if list.name != "COORDINATES_LIST" {
            let what = format!("{} is not taken where a list of coordinates is due", list.name);
            return Err(Fault::refused(at.place(), what, EXACT_INSTEAD));
        }
        let first = self.points.len();
        for triple in rows(list, 2, at)? {
            let [x, y, z] = triple[..] else {
                return Err(list.wrong(2, "a list of three numbers each", at));
            };
            let p = sound_point(DVec3::new(x, y, z));
            self.points.push(p.map_err(|what| Fault::at(at.place(), what))?);
        }
        if self.points.len() >= u32::MAX as usize {
            return Err(Fault::at(at.place(), "more points than this program can index"));
        }
        let found = (first, self.points.len() - first);
        self.lists.insert(number, found);
        Ok(found)
    }

    /// Adds the triangles of one tessellated face.
    fn face(&mut self, file: &Instances, item: &Record, source: Source) -> Result<(), Fault> {
        // Where the list of indices stands, that of triangles or strips, and that of fans.
        let (index, lists, fans) = match item.name.as_str() {
            // name, coordinates, pnmax, normals, geometric_link, pnindex, triangles
            "TRIANGULATED_FACE" => (5, 6, None),
            // name, coordinates, pnmax, normals, geometric_link, pnindex, strips, fans
            "COMPLEX_TRIANGULATED_FACE" => (5, 6, Some(7)),
            // name, coordinates, pnmax, normals, pnindex, triangles
            "TRIANGULATED_SURFACE_SET" => (4, 5, None),
            "COMPLEX_TRIANGULATED_SURFACE_SET" => (4, 5, Some(6)),
            name => {
                let what = format!("{name} is not taken where a triangulated face is due");
                return Err(Fault::refused(source.place(), what, EXACT_INSTEAD));
            }
        };
        let (first, count) = self.list(file, item.reference(1, source)?, source)?;
        let wrong = || item.wrong(index, "a list of numbers", source);
        let Value::List(named) = item.value(index, source)? else { return Err(wrong()) };
        let named: Vec<f64> =
            named.iter().map(|v| v.as_number().ok_or_else(wrong)).collect::<Result<_, _>>()?;
        let corner = |x: f64| {
            let whole = |x: f64, most: usize| {
                (x >= 1.0 && x <= most as f64 && x.fract() == 0.0).then(|| x as usize - 1)
            };
            // An empty list of indices names the points as they stand.
            let of_list = match named.is_empty() {
                true => whole(x, count),
                false => whole(x, named.len()).and_then(|k| whole(named[k], count)),
            };
            of_list.map(|k| (first + k) as u32).ok_or_else(|| {
                Fault::at(source.place(), format!("it names point {x}, which is not there"))
            })
        };
        let corners = |row: Vec<f64>| row.into_iter().map(corner).collect::<Result<Vec<u32>, _>>();
        let points = &self.points;
        // Strips pass over a place by naming a point twice.
        let covers = |t: &[u32; 3]| {
            let [a, b, c] = t.map(|v| points[v as usize]);
            a != b && b != c && c != a
        };
        for row in rows(item, lists, source)? {
            let row = corners(row)?;
            match (fans, &row[..]) {
                (None, &[a, b, c]) => self.triangles.push([a, b, c]),
                (None, _) => return Err(item.wrong(lists, "a list of three numbers each", source)),
                (Some(_), row) => self.triangles.extend(
                    row.windows(3)
                        .enumerate()
                        .map(
                            |(k, w)| {
                                if k % 2 == 0 { [w[0], w[1], w[2]] } else { [w[1], w[0], w[2]] }
                            },
                        )
                        .filter(covers),
                ),
            }
        }
        for row in fans.map_or(Ok(Vec::new()), |fans| rows(item, fans, source))? {
            let row = corners(row)?;
            self.triangles
                .extend(row.windows(2).skip(1).map(|w| [row[0], w[0], w[1]]).filter(covers));
        }
        Ok(())
    }
}

impl Value {
    fn as_number(&self) -> Option<f64> {
        match self {
            Self::Number(x) => Some(*x),
            _ => None,
        }
    }
}

/// A list of lists of numbers.
fn rows(record: &Record, k: usize, source: Source) -> Result<Vec<Vec<f64>>, Fault> {
    let wrong = || record.wrong(k, "a list of lists of numbers", source);
    let Value::List(rows) = record.value(k, source)? else { return Err(wrong()) };
    let row = |row: &Value| {
        let Value::List(values) = row else { return Err(wrong()) };
        values.iter().map(|v| v.as_number().ok_or_else(wrong)).collect()
    };
    rows.iter().map(row).collect()
}
