//! Takes away what lies beyond the wobbly rims, triangle by triangle, and
//! leaves one clean manifold piece.

use std::collections::HashMap;

use spile_mesh::{Mesh, round_to_f32};

use super::shape::{Shape, Wall};

/// The part of a wall between its rims, with coordinates that are exact `f32`.
pub fn to_rims(shape: &Shape, wall: Wall, raw: &Mesh) -> Mesh {
    let inside = |t: &[u32; 3]| {
        let middle = t.iter().map(|&p| raw.points()[p as usize]).sum::<spile_mesh::DVec3>() / 3.0;
        shape.beyond_rims(wall, middle) < 0.0
    };
    let mut triangles: Vec<[u32; 3]> = raw.triangles().iter().copied().filter(inside).collect();
    // Dropping a fan or a piece can lay bare another: at most as many rounds
    // as there are triangles, in practice two.
    loop {
        let before = triangles.len();
        triangles = largest_piece(&triangles);
        triangles = without_pinched_fans(&triangles);
        if triangles.len() == before {
            break;
        }
    }
    compact(raw, &triangles)
}

type Edges = HashMap<(u32, u32), usize>;

/// The triangle on each directed edge.
fn edges(triangles: &[[u32; 3]]) -> Edges {
    let mut edges = HashMap::with_capacity(3 * triangles.len());
    for (t, &[a, b, c]) in triangles.iter().enumerate() {
        edges.extend([((a, b), t), ((b, c), t), ((c, a), t)]);
    }
    edges
}

/// The triangles of the piece that has most.
fn largest_piece(triangles: &[[u32; 3]]) -> Vec<[u32; 3]> {
    let edges = edges(triangles);
    let mut piece = vec![usize::MAX; triangles.len()];
    let mut sizes = Vec::new();
    for seed in 0..triangles.len() {
        if piece[seed] != usize::MAX {
            continue;
        }
        let name = sizes.len();
        sizes.push(0);
        piece[seed] = name;
        let mut open = vec![seed];
        while let Some(t) = open.pop() {
            sizes[name] += 1;
            let [a, b, c] = triangles[t];
            for twin in [(b, a), (c, b), (a, c)] {
                if let Some(&next) = edges.get(&twin)
                    && piece[next] == usize::MAX
                {
                    piece[next] = name;
                    open.push(next);
                }
            }
        }
    }
    let largest = (0..sizes.len()).max_by_key(|&n| (sizes[n], usize::MAX - n)).unwrap_or(0);
    (0..triangles.len()).filter(|&t| piece[t] == largest).map(|t| triangles[t]).collect()
}

/// Where several fans of triangles meet in one point only, all but the largest
/// go.
fn without_pinched_fans(triangles: &[[u32; 3]]) -> Vec<[u32; 3]> {
    let edges = edges(triangles);
    let mut starts: HashMap<u32, Vec<usize>> = HashMap::new();
    for (t, &[a, b, c]) in triangles.iter().enumerate() {
        // The fan about a corner starts where the edge out of it is a border.
        for (at, next) in [(a, b), (b, c), (c, a)] {
            if !edges.contains_key(&(next, at)) {
                starts.entry(at).or_default().push(t);
            }
        }
    }
    let mut dropped = vec![false; triangles.len()];
    for (&at, fans) in starts.iter().filter(|(_, fans)| fans.len() > 1) {
        let fans: Vec<Vec<usize>> = fans.iter().map(|&t| fan(triangles, &edges, at, t)).collect();
        let most = fans.iter().map(Vec::len).max().unwrap_or(0);
        let keep = fans.iter().position(|f| f.len() == most).unwrap_or(0);
        for (i, fan) in fans.iter().enumerate() {
            if i != keep {
                fan.iter().for_each(|&t| dropped[t] = true);
            }
        }
    }
    (0..triangles.len()).filter(|&t| !dropped[t]).map(|t| triangles[t]).collect()
}

/// The triangles about point `at`, counter-clockwise from triangle `first`.
fn fan(triangles: &[[u32; 3]], edges: &Edges, at: u32, first: usize) -> Vec<usize> {
    let mut fan = vec![first];
    let mut t = first;
    loop {
        let corner = triangles[t].iter().position(|&p| p == at).unwrap_or(0);
        let last = triangles[t][(corner + 2) % 3];
        match edges.get(&(at, last)) {
            Some(&next) if next != first => {
                fan.push(next);
                t = next;
            }
            _ => return fan,
        }
    }
}

/// Only the points that are used, in their first order of use.
fn compact(raw: &Mesh, triangles: &[[u32; 3]]) -> Mesh {
    let mut new = vec![u32::MAX; raw.points().len()];
    let mut points = Vec::new();
    let triangles = triangles
        .iter()
        .map(|t| {
            t.map(|p| {
                if new[p as usize] == u32::MAX {
                    new[p as usize] = points.len() as u32;
                    points.push(round_to_f32(raw.points()[p as usize]));
                }
                new[p as usize]
            })
        })
        .collect();
    Mesh::new(points, triangles).expect("points and triangles come from a mesh")
}
