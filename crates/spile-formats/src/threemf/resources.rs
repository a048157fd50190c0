//! Objects, and how the build puts them together.

use std::collections::BTreeMap;

use spile_mesh::{DVec3, Mesh};

use crate::error::{Fault, Place};
use crate::gather::Gather;

/// No build of more triangles or objects than this is put together: components
/// of components can ask for any number.
const MOST_BUILT: u64 = 60_000_000;
/// Nor one in which components nest deeper.
const MOST_DEPTH: u32 = 100;

/// x' = x * rows\[0\] + y * rows\[1\] + z * rows\[2\] + rows\[3\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Transform {
    rows: [DVec3; 4],
}

impl Transform {
    pub(super) const IDENTITY: Self = Self { rows: [DVec3::X, DVec3::Y, DVec3::Z, DVec3::ZERO] };

    /// From 12 numbers, row by row (3MF 1.4, 3.3); none if it is singular.
    pub(super) fn from_rows(m: [f64; 12]) -> Option<Self> {
        let row = |i: usize| DVec3::new(m[3 * i], m[3 * i + 1], m[3 * i + 2]);
        let transform = Self { rows: [row(0), row(1), row(2), row(3)] };
        let size = transform.determinant();
        (size != 0.0 && size.is_finite()).then_some(transform)
    }

    fn determinant(&self) -> f64 {
        self.rows[0].dot(self.rows[1].cross(self.rows[2]))
    }

    fn turn(&self, p: DVec3) -> DVec3 {
        self.rows[0] * p.x + self.rows[1] * p.y + self.rows[2] * p.z
    }

    fn apply(&self, p: DVec3) -> DVec3 {
        self.turn(p) + self.rows[3]
    }

    /// First this one, then `outer`.
    fn then(&self, outer: &Self) -> Self {
        let [a, b, c, d] = self.rows;
        Self { rows: [outer.turn(a), outer.turn(b), outer.turn(c), outer.apply(d)] }
    }
}

/// An object at a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Component {
    /// Its number in [`Resources`], always below that of the object it belongs to.
    pub(super) object: usize,
    pub(super) transform: Transform,
}

pub(super) enum Shape {
    Mesh { points: Vec<DVec3>, triangles: Vec<[u32; 3]> },
    Components(Vec<Component>),
}

pub(super) struct Object {
    pub(super) kind: String,
    pub(super) shape: Shape,
}

#[derive(Clone, Copy)]
enum Resource {
    Object(usize),
    Group(u32),
}

/// All that a model defines, in the order of definition.
#[derive(Default)]
pub(super) struct Resources {
    by_id: BTreeMap<u32, Resource>,
    objects: Vec<Object>,
}

impl Resources {
    fn add(&mut self, id: u32, resource: Resource) -> Result<(), String> {
        if id == 0 {
            return Err("an id of 0; ids count from 1".to_owned());
        }
        match self.by_id.insert(id, resource) {
            None => Ok(()),
            Some(_) => Err(format!("the id {id} is given twice")),
        }
    }

    pub(super) fn add_object(&mut self, id: u32, object: Object) -> Result<(), String> {
        self.add(id, Resource::Object(self.objects.len()))?;
        self.objects.push(object);
        Ok(())
    }

    pub(super) fn add_group(&mut self, id: u32, members: u32) -> Result<(), String> {
        self.add(id, Resource::Group(members))
    }

    pub(super) fn object(&self, id: u32) -> Option<usize> {
        match self.by_id.get(&id) {
            Some(Resource::Object(index)) => Some(*index),
            _ => None,
        }
    }

    /// How many properties the group with this id holds.
    pub(super) fn group(&self, id: u32) -> Option<u32> {
        match self.by_id.get(&id) {
            Some(Resource::Group(members)) => Some(*members),
            _ => None,
        }
    }

    /// All items as one mesh.
    pub(super) fn build(&self, items: &[Component], part: &str) -> Result<Mesh, Fault> {
        let fault = |what: String| Fault::at(Place::Whole, format!("part {part}: {what}"));
        let (sizes, depths) = self.sizes();
        let built = items.iter().fold(0, |sum: u64, item| sum.saturating_add(sizes[item.object]));
        if built > MOST_BUILT {
            return Err(fault(format!(
                "the build asks for {built} triangles or objects; at most {MOST_BUILT} are put together"
            )));
        }
        if items.iter().any(|item| depths[item.object] > MOST_DEPTH) {
            return Err(fault(format!("components nest deeper than {MOST_DEPTH}")));
        }
        let mut points = Vec::new();
        let mut triangles = Vec::new();
        for item in items {
            let kind = self.objects[item.object].kind.as_str();
            match kind {
                "model" | "surface" => {}
                "other" => return Err(fault("an item builds an object of type 'other'".into())),
                _ => return Err(Fault::unsupported(format!("a 3MF build item of type '{kind}'"))),
            }
            self.place(*item, &mut points, &mut triangles).map_err(fault)?;
        }
        let mut gather = Gather::over(&points, triangles.len());
        for (t, triangle) in triangles.iter().enumerate() {
            gather.face(triangle).map_err(|what| fault(format!("triangle {t}: {what}")))?;
        }
        gather.finish()
    }

    /// For each object how many triangles and objects it comes to, and how deep
    /// it nests. Objects name only earlier ones, so one pass is enough.
    fn sizes(&self) -> (Vec<u64>, Vec<u32>) {
        let mut sizes = Vec::with_capacity(self.objects.len());
        let mut depths = Vec::with_capacity(self.objects.len());
        for object in &self.objects {
            let (mut size, mut depth) = (1_u64, 1_u32);
            match &object.shape {
                Shape::Mesh { points, triangles } => {
                    size += (points.len() + triangles.len()) as u64;
                }
                Shape::Components(parts) => {
                    for part in parts {
                        size = size.saturating_add(sizes[part.object]);
                        depth = depth.max(1 + depths[part.object]);
                    }
                }
            }
            sizes.push(size);
            depths.push(depth);
        }
        (sizes, depths)
    }

    fn place(
        &self,
        item: Component,
        points: &mut Vec<DVec3>,
        triangles: &mut Vec<[u32; 3]>,
    ) -> Result<(), String> {
        let mut waiting = vec![item];
        while let Some(next) = waiting.pop() {
            match &self.objects[next.object].shape {
                Shape::Components(parts) => {
                    // The first part is wanted first.
                    waiting.extend(parts.iter().rev().map(|part| Component {
                        object: part.object,
                        transform: part.transform.then(&next.transform),
                    }));
                }
                Shape::Mesh { points: own, triangles: corners } => {
                    let first = u32::try_from(points.len()).map_err(|_| "too many points")?;
                    if points.len() + own.len() >= u32::MAX as usize {
                        return Err("more points than this program can index".to_owned());
                    }
                    points.extend(own.iter().map(|&p| next.transform.apply(p)));
                    let mirrored = next.transform.determinant() < 0.0;
                    triangles.extend(corners.iter().map(|&[a, b, c]| {
                        // A mirrored object keeps the sign of its volume (3MF 1.4, 3.3).
                        let [b, c] = if mirrored { [c, b] } else { [b, c] };
                        [first + a, first + b, first + c]
                    }));
                }
            }
        }
        Ok(())
    }
}
