//! The renderer against closed forms: silhouettes, depth, section faces, colours,
//! and the same bytes on any number of threads.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::f64::consts::{PI, TAU};

use spile_mesh::{DVec3, Mesh};
use spile_report::colour::{Map, lab};
use spile_report::picture::{Camera, CutAway, Look, Paint, Picture, Shading, Surface, draw};

/// A sphere of radius 1 round the origin, from rings of points.
fn sphere(rings: u32) -> Mesh {
    let turns = 2 * rings;
    let mut points = vec![DVec3::Z];
    for ring in 1..rings {
        let (z, r) = {
            let angle = PI * f64::from(ring) / f64::from(rings);
            (angle.cos(), angle.sin())
        };
        for turn in 0..turns {
            let angle = TAU * f64::from(turn) / f64::from(turns);
            points.push(DVec3::new(r * angle.cos(), r * angle.sin(), z));
        }
    }
    points.push(-DVec3::Z);
    let last = points.len() as u32 - 1;
    let at = |ring: u32, turn: u32| match ring {
        0 => 0,
        r if r == rings => last,
        r => 1 + (r - 1) * turns + turn % turns,
    };
    let mut triangles = Vec::new();
    for ring in 0..rings {
        for turn in 0..turns {
            let [a, b] = [at(ring, turn), at(ring, turn + 1)];
            let [c, d] = [at(ring + 1, turn), at(ring + 1, turn + 1)];
            triangles.extend(
                [[a, c, d], [a, d, b]]
                    .into_iter()
                    .filter(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0]),
            );
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// A square of half-width 1 at this height, seen from above.
fn square(z: f64) -> (Vec<DVec3>, Vec<[u32; 3]>) {
    let points = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
    (points.map(|[x, y]| DVec3::new(x, y, z)).to_vec(), vec![[0, 1, 2], [0, 2, 3]])
}

fn both(a: (Vec<DVec3>, Vec<[u32; 3]>), b: (Vec<DVec3>, Vec<[u32; 3]>)) -> Mesh {
    let shift = a.0.len() as u32;
    let triangles = b.1.into_iter().map(|t| t.map(|c| c + shift));
    Mesh::new([a.0, b.0].concat(), a.1.into_iter().chain(triangles).collect()).unwrap()
}

fn from_above<'a>(mesh: &Mesh, paint: Paint<'a>) -> Look<'a> {
    Look {
        camera: Camera::round(mesh.points().iter().copied(), DVec3::X, DVec3::Z),
        cut: None,
        paint,
        shading: Shading::Smooth,
        size: [200, 200],
    }
}

fn pixel(picture: &Picture, x: usize, y: usize) -> [u8; 3] {
    let at = 3 * (y * picture.size()[0] + x);
    [0, 1, 2].map(|k| picture.pixels()[at + k])
}

#[test]
fn a_sphere_covers_a_disc() {
    let mesh = sphere(90);
    let colours = vec![[0.3, 0.3, 0.3]; mesh.triangles().len()];
    let look = from_above(&mesh, Paint::Triangles(&colours));
    let picture = draw(&Surface::of(&mesh), &look);
    let covered = picture.pixels().chunks(3).filter(|p| p[0] < 250).count() as f64;
    // Pi r^2, r in pixels; the border's own pixels, 2 pi r of them, may count either way.
    let r = look.camera.scale(look.size);
    assert!((covered - PI * r * r).abs() < PI * r, "{covered} for {}", PI * r * r);
}

#[test]
fn what_is_nearer_hides_what_is_farther_in_either_order() {
    for (low, high) in [(0.0, 1.0), (1.0, 0.0)] {
        let mesh = both(square(low), square(high));
        let red = [0.9, 0.1, 0.1];
        let blue = [0.1, 0.1, 0.9];
        let colours = if low < high { [blue, blue, red, red] } else { [red, red, blue, blue] };
        let picture = draw(&Surface::of(&mesh), &from_above(&mesh, Paint::Triangles(&colours)));
        let [r, _, b] = pixel(&picture, 100, 100);
        assert!(r > 2 * b, "{r} {b}");
    }
}

#[test]
fn a_measure_is_laid_evenly_between_its_ends() {
    let (points, triangles) = square(0.0);
    let mesh = Mesh::new(points, triangles).unwrap();
    // The measure is x: -1 to 1.
    let values: Vec<f64> = mesh.points().iter().map(|p| p.x).collect();
    let paint = Paint::Measure { values: &values, map: Map::Unsigned, range: [-1.0, 1.0] };
    let picture = draw(&Surface::of(&mesh), &from_above(&mesh, paint));
    let lightness = |x: usize| lab(pixel(&picture, x, 100).map(|c| f64::from(c) / 255.0))[0];
    // The map's lightness is a line; even light takes the same share of all.
    let [a, b, c] = [20, 100, 180].map(lightness);
    assert!((b - 0.5 * (a + c)).abs() < 1.5, "{a} {b} {c}");
    assert!((12..190).all(|x| lightness(x + 1) >= lightness(x) - 0.3));
    // Without a measure there is no hue.
    let none = vec![f64::NAN; 4];
    let paint = Paint::Measure { values: &none, map: Map::Unsigned, range: [-1.0, 1.0] };
    let [r, g, b] = pixel(&draw(&Surface::of(&mesh), &from_above(&mesh, paint)), 100, 100);
    assert!(r == g && g == b);
}

#[test]
fn a_solid_cut_open_shows_a_flat_face() {
    let mesh = sphere(60);
    let colours = vec![[0.2, 0.4, 0.6]; mesh.triangles().len()];
    let cut = CutAway {
        through: DVec3::ZERO,
        toward_eye: DVec3::Z,
        along: DVec3::X,
        from: f64::NEG_INFINITY,
        to: f64::INFINITY,
    };
    let look = Look { cut: Some(cut), ..from_above(&mesh, Paint::Triangles(&colours)) };
    let picture = draw(&Surface::of(&mesh), &look);
    let middle = pixel(&picture, 100, 100);
    assert_eq!(middle, pixel(&picture, 60, 120));
    let uncut = Look { cut: None, ..look };
    assert_ne!(middle, pixel(&draw(&Surface::of(&mesh), &uncut), 100, 100));
    // Half the sphere taken away along x alone: the other half is as it was.
    let half = Look { cut: Some(CutAway { from: 0.0, ..cut }), ..look };
    let picture = draw(&Surface::of(&mesh), &half);
    assert_eq!(pixel(&picture, 120, 100), pixel(&draw(&Surface::of(&mesh), &look), 120, 100));
    assert_ne!(pixel(&picture, 60, 100), middle);
}

#[test]
fn the_same_bytes_on_any_number_of_threads() {
    let mesh = sphere(40);
    let values: Vec<f64> = mesh.points().iter().map(|p| p.x * p.y).collect();
    let paint = Paint::Measure { values: &values, map: Map::Signed, range: [-0.5, 0.5] };
    let drawn: Vec<Vec<u8>> = [1, 2, 8]
        .map(|threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| {
                let mut picture = draw(&Surface::of(&mesh), &from_above(&mesh, paint));
                picture.ring(&from_above(&mesh, paint).camera, DVec3::X);
                picture.png().unwrap()
            })
        })
        .to_vec();
    assert_eq!(drawn[0], drawn[1]);
    assert_eq!(drawn[0], drawn[2]);
}

#[test]
fn a_png_reads_back_as_it_was_drawn() {
    let mesh = sphere(12);
    let colours = vec![[0.8, 0.5, 0.2]; mesh.triangles().len()];
    let look = Look { shading: Shading::Flat, ..from_above(&mesh, Paint::Triangles(&colours)) };
    let picture = draw(&Surface::of(&mesh), &look);
    let file = picture.png().unwrap();
    // The decoder of the registry's png crate stands for any reader.
    let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut pixels).unwrap();
    assert_eq!(pixels, picture.pixels());
}

#[test]
fn nothing_and_next_to_nothing_can_be_drawn() {
    let empty = Mesh::default();
    let paint = Paint::Triangles(&[]);
    assert!(
        draw(&Surface::of(&empty), &from_above(&empty, paint)).pixels().iter().all(|c| *c == 255)
    );
    // A triangle on a line, one on a point, and values that are no numbers.
    let points = vec![DVec3::ZERO, DVec3::X, 2.0 * DVec3::X];
    let flat = Mesh::new(points, vec![[0, 1, 2], [1, 1, 1]]).unwrap();
    let values = [f64::INFINITY, f64::NAN, 0.0];
    let paint = Paint::Measure { values: &values, map: Map::Signed, range: [0.0, 0.0] };
    draw(&Surface::of(&flat), &from_above(&flat, paint));
}
