//! The made wall of form `bore`: an outside at a thickness from the bore.
//!
//! Moving vertices along their normals folds in tight places. Here the outside
//! is the level surface of the distance from the bore, taken on a lattice,
//! evened out, and lifted until the distance between whole triangles is held.
//! The distance has no sign: the outermost part of the level surface is
//! followed from a place that is outside for certain, so neither the bore's
//! orientation nor its self-intersections matter, and spaces that the wall
//! encloses between branches are filled.

use spile_mesh::{Bvh, DVec3, Mesh, MeshError, StopAsked, Topology, self_intersections, shells};

mod even;
mod field;
mod lattice;
mod surface;

use even::{even_out, lift, settle, too_near, unfold};
use field::{Distance, Rounded};
use lattice::{Lattice, surface_round};
use surface::Surface;

/// The thickness of a wall that is to be made.
#[non_exhaustive]
pub enum Thickness<'a> {
    /// The same everywhere.
    Constant(f64),
    /// By place in the wall; it must be continuous and change by less than a
    /// third of the way gone.
    Varying(&'a (dyn Fn(DVec3) -> f64 + Sync)),
}

impl Thickness<'_> {
    /// The thickness asked at `p`.
    pub fn at(&self, p: DVec3) -> f64 {
        match self {
            Self::Constant(thickness) => *thickness,
            Self::Varying(thickness) => thickness(p),
        }
    }
}

/// How the wall is made.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct OffsetOptions {
    /// The edge length that the outside's triangles are brought to. Left out,
    /// it is half to three quarters of the least thickness, the longer the
    /// wider the bore; more than twice the least thickness counts as that.
    pub edge: Option<f64>,
}

/// The longest edge that is chosen, as a share of the thickness; the hull is two
/// thicknesses through where it is thinnest, and the lattice must not miss it.
const LONGEST_SHARE: f64 = 0.75;

/// Why no outside is made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OffsetError {
    /// The bore is empty.
    #[error("the bore has no triangle")]
    NoBore,
    /// The bore is open.
    #[error("the bore is open at {at}; a wall can only be made round a closed bore")]
    Open {
        /// A point of an open edge.
        at: DVec3,
    },
    /// A thickness or edge length that is not a positive number.
    #[error("the {what} at {at} is {value}; it must be a positive number")]
    NotPositive {
        /// Which.
        what: &'static str,
        /// Where it was asked.
        at: DVec3,
        /// What it is.
        value: f64,
    },
    /// More places would have to be looked at than fit in memory.
    #[error("an edge length of {edge} is too fine for a part of {size} across")]
    TooFine {
        /// The edge length.
        edge: f64,
        /// The bore's diagonal.
        size: f64,
    },
    /// A piece of the bore lies so far from the rest that no one wall encloses both.
    #[error("the piece of the bore at {at} lies apart from the rest")]
    Apart {
        /// A point of that piece.
        at: DVec3,
    },
    /// The outside could not be made without crossing itself or coming too near.
    #[error("no wall of the thickness asked could be made at {at}")]
    NotHeld {
        /// Where.
        at: DVec3,
    },
    /// The outside would need more triangles than can be indexed.
    #[error("the made wall is no mesh")]
    Mesh(#[from] MeshError),
    /// Nobody wants it any more.
    #[error("stopped on request")]
    Stopped,
}

impl OffsetError {
    /// What to do about it, for the screen.
    pub fn hints(&self) -> &'static [&'static str] {
        match self {
            Self::TooFine { .. } => &["ask for a thicker wall or a longer edge"],
            Self::Apart { .. } => {
                &["remove the loose piece from the scan, or ask for a thicker wall"]
            }
            Self::NotHeld { .. } => &["ask for a shorter edge", "ask for another wall thickness"],
            _ => &[],
        }
    }
}

/// The outside of a wall of the given thickness round a closed bore.
///
/// Method: level surface of the distance by marching tetrahedra on a
/// body-centred cubic lattice, valleys closed by a ball; then splitting,
/// collapsing, flipping and tangential relaxation on the level, then lifting.
/// Shape: `bore` must be closed; orientation and self-intersections do not
/// matter. The outside is a closed manifold that faces outward, without
/// self-intersection by exact test, its coordinates rounded to f32; it encloses
/// the bore. Enclosed spaces are filled, and so is what a ball of radius 0.6
/// edge lengths (or 0.45 thicknesses) cannot reach from outside.
/// Accuracy: the distance from every point of the outside to the bore is at
/// least the thickness (the greatest one asked at the triangle's corners),
/// taken between whole triangles. It is greater by what flat triangles need,
/// about `edge`^2 / (6 r) where the outside's radius is r, and in valleys by up
/// to 0.6 edge lengths.
/// Cost: O(a log n) for a wall of area a, in squared edge lengths, round n triangles.
///
/// # Errors
/// [`OffsetError`]; the last resort before [`OffsetError::NotHeld`] is the
/// coarse lattice surface, set a little further out.
///
/// # Source
/// Body-centred cubic lattice: Labelle, Shewchuk 2007, Isosurface stuffing;
/// remeshing: Botsch, Kobbelt 2004, section 4. Following from outside, closing
/// and lifting are ours.
pub fn made_wall(
    bore: &Mesh,
    thickness: &Thickness,
    options: &OffsetOptions,
    stop: StopAsked<'_>,
) -> Result<Mesh, OffsetError> {
    let (least, most) = thickness_range(bore, thickness)?;
    let edge = options.edge.unwrap_or_else(|| edge_for(bore, least));
    if !(edge > 0.0 && edge.is_finite()) {
        let at = bore.bounds().middle();
        return Err(OffsetError::NotPositive { what: "edge length", at, value: edge });
    }
    let edge = edge.min(2.0 * least);
    let grain = edge.min(LONGEST_SHARE * least);
    let topology = Topology::of(bore);
    if let Some(&h) = topology.boundary().first() {
        let [point, _] = spile_mesh::topology::ends(bore, h);
        return Err(OffsetError::Open { at: bore.points()[point as usize] });
    }
    let bvh = Bvh::build(bore);
    // Coordinates of the outside are rounded to f32.
    let far = bore.bounds().min.abs().max(bore.bounds().max.abs()).max_element() + most;
    let margin = 4.0 * f64::from(f32::EPSILON) * far;
    let (bvh, topology) = (&bvh, &topology);
    let job = Job { bore, bvh, topology, thickness, margin, most, edge, grain, stop };
    job.even_wall().or_else(|error| match error {
        OffsetError::NotHeld { .. } => job.coarse_wall(),
        other => Err(other),
    })
}

/// The least and greatest thickness asked at the bore.
fn thickness_range(bore: &Mesh, thickness: &Thickness) -> Result<(f64, f64), OffsetError> {
    if bore.triangles().is_empty() {
        return Err(OffsetError::NoBore);
    }
    let (mut least, mut most) = (f64::INFINITY, 0.0_f64);
    for &at in bore.points() {
        let value = thickness.at(at);
        if !(value > 0.0 && value.is_finite()) {
            return Err(OffsetError::NotPositive { what: "wall thickness", at, value });
        }
        (least, most) = (least.min(value), most.max(value));
    }
    Ok((least, most))
}

/// The edge length at which a flat triangle round a tube as wide as the bore
/// dips by about a hundredth of the thickness, within the bounds that keep the
/// lattice finer than the wall and the triangles from being needlessly many.
fn edge_for(bore: &Mesh, thickness: f64) -> f64 {
    // Of a tube the radius is twice volume over area; a triangle of equal sides
    // dips by the square of its edge over six radii.
    let radius = 2.0 * bore.volume().abs() / bore.area().max(f64::MIN_POSITIVE);
    (0.06 * thickness * (radius + thickness))
        .sqrt()
        .clamp(0.5 * thickness, LONGEST_SHARE * thickness)
}

struct Job<'a> {
    bore: &'a Mesh,
    topology: &'a Topology,
    bvh: &'a Bvh,
    thickness: &'a Thickness<'a>,
    /// What rounding the outside to f32 may take away, and more.
    margin: f64,
    /// Greatest thickness asked at the bore.
    most: f64,
    edge: f64,
    /// The edge length, or what the thickness allows the lattice if that is less.
    grain: f64,
    /// Asked at each place that is measured.
    stop: StopAsked<'a>,
}

impl Job<'_> {
    /// Refuses to go on where nobody wants the wall any more.
    fn go_on(&self) -> Result<(), OffsetError> {
        if (self.stop)() { Err(OffsetError::Stopped) } else { Ok(()) }
    }

    /// The outside in even triangles, valleys rounded out.
    fn even_wall(&self) -> Result<Mesh, OffsetError> {
        /// Radius of a valley's floor, as a share of the edge length: so wide
        /// that triangles turn round it without folding.
        const FLOOR_SHARE: f64 = 0.6;
        let floor = FLOOR_SHARE * self.grain;
        let further = self.distance(floor);
        let (mut points, triangles) =
            self.level_surface(&|places| further.excesses(places))?.into_parts();
        settle(&mut points, &further);
        self.go_on()?;
        let rounded = Rounded::new(&Mesh::new(points, triangles)?, &further, floor);
        let raw = self.level_surface(&|places| rounded.excesses(places))?;
        let mut surface = Surface::of(raw);
        even_out(&mut surface, &rounded, self.edge);
        self.go_on()?;

        self.held(Surface::of(surface.into_mesh()?))
    }

    /// The surface lifted where it is too near, and smoothed where it crosses itself.
    fn held(&self, mut surface: Surface) -> Result<Mesh, OffsetError> {
        /// Rounds of opening folds, each with one ring more.
        const ROUNDS: usize = 5;
        let distance = self.distance(0.0);
        let mut at = DVec3::ZERO;
        for round in 0..=ROUNDS {
            let mut bad = lift(&mut surface, &distance)?;
            self.go_on()?;
            let mesh = surface.mesh()?;
            bad.extend(self_intersections(&mesh).into_iter().flat_map(|(a, b)| [a, b]));
            bad.sort_unstable();
            bad.dedup();
            let Some(&first) = bad.first() else { return Ok(mesh) };
            at = mesh.corners(first as usize)[0];
            unfold(&mut surface, &distance, &bad, round + 1);
        }
        Err(OffsetError::NotHeld { at })
    }

    /// The outside as the lattice gives it, set out until it is far enough: not
    /// pretty, but it cannot cross itself.
    fn coarse_wall(&self) -> Result<Mesh, OffsetError> {
        let mut at = DVec3::ZERO;
        for share in [0.1, 0.2, 0.4, 0.8] {
            let further = self.distance(share * self.grain);
            let mesh = self.level_surface(&|places| further.excesses(places))?.rounded();
            let near = too_near(&mesh, &self.distance(0.0));
            self.go_on()?;
            let crossing = self_intersections(&mesh);
            match near.first().or(crossing.first().map(|pair| &pair.0)) {
                None => return Ok(mesh),
                Some(&t) => at = mesh.corners(t as usize)[0],
            }
        }
        Err(OffsetError::NotHeld { at })
    }

    fn distance(&self, further: f64) -> Distance<'_> {
        let Self { bvh, thickness, margin, stop, .. } = *self;
        Distance { bvh, thickness, margin, further, stop }
    }

    /// The outermost surface round what has values below zero, on the lattice.
    fn level_surface(
        &self,
        values: &(dyn Fn(&[DVec3]) -> Vec<f64> + Sync),
    ) -> Result<Mesh, OffsetError> {
        /// Lattice points looked at before the job is called too fine; a square
        /// cell of surface takes about two.
        const MOST_SITES: usize = 16_000_000;
        /// Cubes this much longer than the aim give about three times the
        /// vertices that remain, and still two cubes through the thinnest part
        /// of the hull, which is twice the thickness.
        const CELL_SHARE: f64 = 1.25;
        let bounds = self.bore.bounds();
        let cell = CELL_SHARE * self.grain;
        let too_fine = || OffsetError::TooFine { edge: self.edge, size: bounds.diagonal() };
        if 2.0 * self.bore.area() / (cell * cell) > MOST_SITES as f64 {
            return Err(too_fine());
        }
        let lattice = Lattice { origin: bounds.middle(), cell };
        let seeds = self.seeds();
        let from_x = bounds.max.x + 2.0 * (self.most + self.edge);
        let found = surface_round(lattice, &seeds, from_x, MOST_SITES, values);
        self.go_on()?;
        match found {
            None => Err(too_fine()),
            Some(mesh) => self.checked_round_all(mesh?, &seeds),
        }
    }

    /// For each shell of the bore its point furthest along +x.
    fn seeds(&self) -> Vec<DVec3> {
        let shells = shells(self.bore, self.topology).triangles();
        let furthest = |triangles: &Vec<u32>| {
            let corners = triangles.iter().flat_map(|&t| self.bore.corners(t as usize));
            corners.max_by(|a, b| a.x.total_cmp(&b.x))
        };
        shells.iter().filter_map(furthest).collect()
    }

    /// `mesh` if every shell of the bore lies within its one shell.
    fn checked_round_all(&self, mesh: Mesh, seeds: &[DVec3]) -> Result<Mesh, OffsetError> {
        let found = shells(&mesh, &Topology::of(&mesh)).count;
        let tree = Bvh::build(&mesh);
        for &seed in seeds {
            // A ray through an edge hits both of its triangles at the same place.
            let mut hits = tree.ray(seed, DVec3::new(0.61, 0.37, 0.71));
            hits.dedup_by(|a, b| a.t == b.t);
            if found != 1 || hits.len().is_multiple_of(2) {
                return Err(OffsetError::Apart { at: seed });
            }
        }
        Ok(mesh)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tube of 16 sides along x, closed at both ends.
    fn closed_tube() -> Mesh {
        let mut points = vec![DVec3::ZERO, 20.0 * DVec3::X];
        for k in 0..32 {
            let (sin, cos) = (std::f64::consts::TAU * f64::from(k % 16) / 16.0).sin_cos();
            points.push(DVec3::new(if k < 16 { 0.0 } else { 20.0 }, 4.0 * cos, 4.0 * sin));
        }
        let at = |row: u32, k: u32| 2 + 16 * row + k % 16;
        let triangles = (0..16).flat_map(|k| {
            [
                [0, at(0, k + 1), at(0, k)],
                [1, at(1, k), at(1, k + 1)],
                [at(0, k), at(0, k + 1), at(1, k + 1)],
                [at(0, k), at(1, k + 1), at(1, k)],
            ]
        });
        Mesh::new(points, triangles.collect()).unwrap()
    }

    fn with_job(test: impl Fn(&Job)) {
        let bore = closed_tube();
        let (bvh, topology) = (Bvh::build(&bore), Topology::of(&bore));
        assert!(topology.is_closed());
        let (bore, bvh, topology) = (&bore, &bvh, &topology);
        let thickness = &Thickness::Constant(2.0);
        test(&Job {
            bore,
            bvh,
            topology,
            thickness,
            margin: 1e-5,
            most: 2.0,
            edge: 1.0,
            grain: 1.0,
            stop: spile_mesh::NEVER_STOP,
        });
    }

    fn check(job: &Job, wall: &Mesh) {
        assert!(Topology::of(wall).is_closed());
        assert_eq!(self_intersections(wall), []);
        assert_eq!(too_near(wall, &job.distance(0.0)), Vec::<u32>::new());
        assert!(*wall == wall.rounded());
    }

    #[test]
    fn the_last_resort_holds_too() {
        with_job(|job| check(job, &job.coarse_wall().unwrap()));
    }

    #[test]
    fn folds_are_opened() {
        with_job(|job| {
            let mut surface = Surface::of(job.even_wall().unwrap());
            // Every fortieth vertex is thrown across its neighbours.
            for v in (0..surface.points.len()).step_by(40) {
                let near = surface.neighbours(v as u32)[0] as usize;
                let step = surface.points[near] - surface.points[v];
                surface.points[v] += 2.2 * step;
            }
            assert!(!self_intersections(&surface.mesh().unwrap()).is_empty());
            check(job, &job.held(surface).unwrap());
        });
    }
}
