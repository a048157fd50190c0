//! The surface where a field is zero, cut out of a grid of tetrahedra.
//!
//! Each grid cube is cut into six tetrahedra round one diagonal (Kuhn 1960),
//! the field is taken as linear in each, and its zero surface there is one
//! triangle or two. Such a surface is manifold and free of self-intersections
//! by construction, and its triangles are as uneven as a raw scan's.

use std::collections::HashMap;

use spile_mesh::{DVec3, Mesh};

use super::shape::{BUMPS, Shape, Wall};

/// The box that holds the phantom, with room round it.
const LOW: DVec3 = DVec3::new(-27.0, -22.0, 12.0);
const HIGH: DVec3 = DVec3::new(26.0, 26.0, 102.0);

/// No grid value comes nearer to zero than this share of the grid step, which
/// bounds from below how short an edge of the surface can be.
const LEAST_SHARE: f64 = 0.03;

/// Even permutations of a tetrahedron's corners, one for each first corner.
const FIRST: [[usize; 4]; 4] = [[0, 1, 2, 3], [1, 0, 3, 2], [2, 0, 1, 3], [3, 0, 2, 1]];
/// Even permutations, one for each pair of first corners.
const PAIRS: [[usize; 4]; 6] =
    [[0, 1, 2, 3], [0, 2, 3, 1], [0, 3, 1, 2], [1, 2, 0, 3], [1, 3, 2, 0], [2, 3, 0, 1]];
/// The six tetrahedra of a cube, corners as bits (x 1, y 2, z 4), all
/// positively oriented.
const TETRAHEDRA: [[usize; 4]; 6] =
    [[0, 1, 3, 7], [0, 5, 1, 7], [0, 3, 2, 7], [0, 2, 6, 7], [0, 4, 5, 7], [0, 6, 4, 7]];

struct Grid {
    step: f64,
    counts: [usize; 3],
    values: Vec<f64>,
}

impl Grid {
    fn of(shape: &Shape, wall: Wall, step: f64) -> Self {
        let counts = ((HIGH - LOW) / step).ceil().to_array().map(|n| n as usize + 1);
        let mut grid = Self { step, counts, values: Vec::new() };
        let least = LEAST_SHARE * step;
        for node in 0..counts.iter().product() {
            let place = grid.place(node);
            let value = shape.noisy(wall, grid.point(node), place.map(|c| c as i64));
            grid.values.push(value);
        }
        for bump in BUMPS.iter().filter(|o| o.wall == wall) {
            let at = shape.on_tube(wall, bump.t, bump.turn_rad);
            let [i, j, k] = ((at - LOW) / step).round().to_array().map(|c| c as usize);
            grid.values[i + counts[0] * (j + counts[1] * k)] -= bump.height;
        }
        for value in &mut grid.values {
            *value = if *value < 0.0 { value.min(-least) } else { value.max(least) };
        }
        grid
    }

    fn place(&self, node: usize) -> [usize; 3] {
        let [nx, ny, _] = self.counts;
        [node % nx, node / nx % ny, node / (nx * ny)]
    }

    fn point(&self, node: usize) -> DVec3 {
        let [i, j, k] = self.place(node).map(|c| c as f64);
        LOW + self.step * DVec3::new(i, j, k)
    }
}

/// Collects the surface and shares its points by the grid edge they lie on.
struct Builder<'a> {
    grid: &'a Grid,
    of_edge: HashMap<(usize, usize), u32>,
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

impl Builder<'_> {
    fn point_between(&mut self, a: usize, b: usize) -> u32 {
        let (a, b) = (a.min(b), a.max(b));
        *self.of_edge.entry((a, b)).or_insert_with(|| {
            let (va, vb) = (self.grid.values[a], self.grid.values[b]);
            let (pa, pb) = (self.grid.point(a), self.grid.point(b));
            self.points.push(pa + (pb - pa) * (va / (va - vb)));
            self.points.len() as u32 - 1
        })
    }

    /// The zero surface in one tetrahedron, seen counter-clockwise from where
    /// the field is positive.
    fn tetrahedron(&mut self, nodes: [usize; 4]) {
        let inside = nodes.map(|n| self.grid.values[n] < 0.0);
        match inside.iter().filter(|&&i| i).count() {
            1 | 3 => {
                let alone_inside = inside.iter().filter(|&&i| i).count() == 1;
                for [i, j, k, l] in FIRST {
                    if inside[i] == alone_inside {
                        let [a, b, c] =
                            [j, k, l].map(|other| self.point_between(nodes[i], nodes[other]));
                        self.triangles.push(if alone_inside { [a, b, c] } else { [a, c, b] });
                    }
                }
            }
            2 => {
                for [i, j, k, l] in PAIRS {
                    if inside[i] == inside[j] {
                        let [a, b, c, d] = [(i, k), (i, l), (j, l), (j, k)]
                            .map(|(from, to)| self.point_between(nodes[from], nodes[to]));
                        if inside[i] {
                            self.triangles.extend([[a, b, c], [a, c, d]]);
                        } else {
                            self.triangles.extend([[a, c, b], [a, d, c]]);
                        }
                        return;
                    }
                }
            }
            _ => {}
        }
    }
}

/// A wall of the phantom before its ends are trimmed, normals out of the wall.
pub fn surface(shape: &Shape, wall: Wall, step: f64) -> Mesh {
    let grid = Grid::of(shape, wall, step);
    let [nx, ny, nz] = grid.counts;
    let mut builder =
        Builder { grid: &grid, of_edge: HashMap::new(), points: Vec::new(), triangles: Vec::new() };
    for k in 0..nz - 1 {
        for j in 0..ny - 1 {
            for i in 0..nx - 1 {
                let node = |bits: usize| {
                    let (x, y, z) = (i + (bits & 1), j + (bits >> 1 & 1), k + (bits >> 2));
                    x + nx * (y + ny * z)
                };
                for tetrahedron in TETRAHEDRA {
                    builder.tetrahedron(tetrahedron.map(node));
                }
            }
        }
    }
    let Builder { points, mut triangles, .. } = builder;
    if wall == Wall::Bore {
        triangles.iter_mut().for_each(|t| t.swap(1, 2));
    }
    Mesh::new(points, triangles).expect("grid points are finite and few")
}

/// Several meshes as one, without sharing points.
pub fn together(meshes: &[Mesh]) -> Mesh {
    Mesh::joined(meshes).expect("the parts are few and small")
}
