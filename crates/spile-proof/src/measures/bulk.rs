//! Volume, area and mass.

use serde::Serialize;
use spile_mesh::{DVec3, Mesh};

use super::figure::Figure;

/// How much there is of a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bulk {
    /// Volume of the solid, its voids taken off; none where the surface is not closed.
    pub volume: Option<Figure>,
    /// Area of its surface.
    pub area: Figure,
    /// The case's density in g/cm^3.
    pub density_g_cm3: Option<f64>,
    /// Mass in grams, of solid material.
    pub mass_g: Option<Figure>,
}

/// A sum with what its rounding can be.
#[derive(Default)]
struct Sum {
    value: f64,
    /// The terms without their signs.
    size: f64,
    /// The products that the terms are made of, without theirs.
    products: f64,
}

/// Units in the last place of its products by which a term may be wrong: far above
/// the two dozen operations that make it.
const STEPS: f64 = 64.0;

impl Sum {
    fn add(&mut self, term: f64, product: f64) {
        self.value += term;
        self.size += term.abs();
        self.products += product;
    }

    /// Higham 2002, Accuracy and Stability of Numerical Algorithms, section 4.2: a sum of n
    /// terms errs by no more than n units of the sum of their sizes.
    fn error(&self, terms: usize) -> f64 {
        f64::EPSILON * (STEPS * self.products + (terms as f64 + STEPS) * self.size)
    }
}

/// Measures the whole part. Bounds hold the rounding of the sums; the coordinates are
/// taken as they are written.
pub(super) fn bulk(
    part: &Mesh,
    is_closed: bool,
    density_g_cm3: Option<f64>,
    in_millimetres: f64,
) -> Bulk {
    let middle = part.bounds().middle();
    let (mut volume, mut area) = (Sum::default(), Sum::default());
    for t in 0..part.triangles().len() {
        let [a, b, c] = part.corners(t).map(|p: DVec3| p - middle);
        volume.add(a.dot(b.cross(c)) / 6.0, a.length() * b.length() * c.length());
        // A sliver's area errs by its edges' lengths, not by its own area.
        area.add(0.5 * (b - a).cross(c - a).length(), (b - a).length() * (c - a).length());
    }
    let how = "the sum over all triangles, exact but for rounding";
    let certified = |sum: &Sum| {
        let error = sum.error(part.triangles().len());
        Figure::certified(sum.value, [sum.value - error, sum.value + error], how)
    };
    let cubic_centimetres = (in_millimetres / 10.0).powi(3);
    let volume = is_closed.then(|| certified(&volume));
    let mass = volume.as_ref().zip(density_g_cm3).map(|(volume, density)| {
        let grams = |x: f64| density * cubic_centimetres * x;
        let [lo, hi] = volume.bounds.unwrap_or([volume.value; 2]).map(grams);
        let how = "volume times density: of solid material, as the case gives it";
        Figure::certified(grams(volume.value), [lo, hi], how)
    });
    Bulk { volume, area: certified(&area), density_g_cm3, mass_g: mass }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tetrahedron_has_its_closed_forms() {
        // check-values, section 3.7: volume 166.6667, area 236.6025.
        let points = [DVec3::ZERO, 10.0 * DVec3::X, 10.0 * DVec3::Y, 10.0 * DVec3::Z];
        let mesh =
            Mesh::new(points.to_vec(), vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap();
        let found = bulk(&mesh, true, Some(2.0), 1.0);
        let volume = found.volume.unwrap();
        let [lo, hi] = volume.bounds.unwrap();
        assert!(lo <= 500.0 / 3.0 && 500.0 / 3.0 <= hi && hi - lo < 1e-9);
        assert!((found.area.value - (150.0 + 50.0 * 3.0_f64.sqrt())).abs() < 1e-9);
        // A sixth of a cubic centimetre of density 2.
        assert!((found.mass_g.unwrap().value - 1.0 / 3.0).abs() < 1e-9);
        let inches = bulk(&mesh, true, Some(2.0), 25.4).mass_g.unwrap().value;
        assert!((inches / (2.54_f64.powi(3) * 1000.0 / 3.0) - 1.0).abs() < 1e-12);
        assert_eq!(bulk(&mesh, false, Some(2.0), 1.0).mass_g, None);
    }

    #[test]
    fn a_tube_weighs_what_the_mass_table_says() {
        // check-values, section 1.3 (DIN 2448): 48.3 x 2.6 weighs 2.93 kg/m at 7.85 kg/dm^3,
        // pi (D - T) T rho. The same as polygons of equal area, 1000 long.
        let n = 64;
        let ring = |d: f64, z: f64| {
            let step = std::f64::consts::TAU / f64::from(n);
            let r = 0.5 * d * (step / step.sin()).sqrt();
            (0..n).map(move |i| {
                let (sin, cos) = (step * f64::from(i)).sin_cos();
                DVec3::new(r * cos, r * sin, z)
            })
        };
        let rings = [(48.3, 0.0), (48.3, 1000.0), (43.1, 1000.0), (43.1, 0.0)];
        let points = rings.iter().flat_map(|&(d, z)| ring(d, z)).collect();
        let n = n as u32;
        let strip = |k: u32| {
            (0..n).flat_map(move |i| {
                let (j, next) = ((i + 1) % n, (k + 1) % 4 * n);
                let (a, b, c, d) = (k * n + i, k * n + j, next + j, next + i);
                [[a, b, c], [a, c, d]]
            })
        };
        let mesh = Mesh::new(points, (0..4).flat_map(strip).collect()).unwrap();
        let grams = bulk(&mesh, true, Some(7.85), 1.0).mass_g.unwrap().value;
        assert!((grams / 1000.0 - 2.9303).abs() < 5e-5, "{grams}");
    }
}
