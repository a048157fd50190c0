//! Small dense matrices: Cholesky and the eigenvectors of a 3 x 3 matrix.

use glam::DVec3;

/// The inverse of the leading `n` x `n` block of a symmetric positive definite
/// matrix, by Cholesky after scaling its diagonal to one; `None` where it is
/// not definite to rounding.
pub(crate) fn inverse<const N: usize>(matrix: &[[f64; N]; N], n: usize) -> Option<[[f64; N]; N]> {
    let mut scale = [0.0; N];
    for k in 0..n {
        if matrix[k][k].is_nan() || matrix[k][k] <= 0.0 {
            return None;
        }
        scale[k] = matrix[k][k].sqrt().recip();
    }
    let mut lower = [[0.0; N]; N];
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let rest = matrix[i][j] * scale[i] * scale[j] - dot;
            lower[i][j] = if i == j {
                // Of a diagonal of ones, less than this is rounding alone.
                if rest < 64.0 * f64::EPSILON {
                    return None;
                }
                rest.sqrt()
            } else {
                rest / lower[j][j]
            };
        }
    }
    let mut inverse = [[0.0; N]; N];
    for column in 0..n {
        let mut x = [0.0; N];
        for i in 0..n {
            let dot: f64 = (0..i).map(|k| lower[i][k] * x[k]).sum();
            x[i] = (f64::from(u8::from(i == column)) - dot) / lower[i][i];
        }
        for i in (0..n).rev() {
            let dot: f64 = (i + 1..n).map(|k| lower[k][i] * x[k]).sum();
            x[i] = (x[i] - dot) / lower[i][i];
        }
        for i in 0..n {
            inverse[i][column] = x[i] * scale[i] * scale[column];
        }
    }
    Some(inverse)
}

/// `matrix * vector`, of the leading block.
pub(crate) fn times<const N: usize>(
    matrix: &[[f64; N]; N],
    vector: &[f64; N],
    n: usize,
) -> [f64; N] {
    let mut out = [0.0; N];
    for (i, row) in matrix.iter().enumerate().take(n) {
        out[i] = (0..n).map(|k| row[k] * vector[k]).sum();
    }
    out
}

/// Eigenvalues, rising, and unit eigenvectors of a symmetric 3 x 3 matrix, by
/// cyclic Jacobi rotations (Golub and Van Loan, Matrix Computations, 8.5).
pub(crate) fn eigen(matrix: [[f64; 3]; 3]) -> [(f64, DVec3); 3] {
    let mut a = matrix;
    let mut vectors = [DVec3::X, DVec3::Y, DVec3::Z];
    // Convergence is quadratic: seven sweeps are enough for any 3 x 3 matrix,
    // the rest is reserve.
    for _ in 0..16 {
        let off = a[0][1].abs() + a[0][2].abs() + a[1][2].abs();
        if off <= f64::MIN_POSITIVE {
            break;
        }
        for (p, q) in [(0, 1), (0, 2), (1, 2)] {
            if a[p][q].abs() <= f64::MIN_POSITIVE {
                continue;
            }
            let theta = (a[q][q] - a[p][p]) / (2.0 * a[p][q]);
            let t = theta.signum() / (theta.abs() + theta.hypot(1.0));
            let cos = 1.0 / t.hypot(1.0);
            let sin = t * cos;
            for row in &mut a {
                let (x, y) = (row[p], row[q]);
                (row[p], row[q]) = (cos * x - sin * y, sin * x + cos * y);
            }
            let (first, second) = (a[p], a[q]);
            a[p] = [0, 1, 2].map(|k| cos * first[k] - sin * second[k]);
            a[q] = [0, 1, 2].map(|k| sin * first[k] + cos * second[k]);
            let (x, y) = (vectors[p], vectors[q]);
            (vectors[p], vectors[q]) = (cos * x - sin * y, sin * x + cos * y);
        }
    }
    let mut pairs = [0, 1, 2].map(|k| (a[k][k], vectors[k].normalize_or_zero()));
    pairs.sort_by(|x, y| x.0.total_cmp(&y.0));
    pairs
}

/// The axes along which points spread most, next and least; a right-handed frame.
pub fn principal_axes(points: &[DVec3]) -> [DVec3; 3] {
    let mean = points.iter().sum::<DVec3>() / points.len().max(1) as f64;
    let mut matrix = [[0.0; 3]; 3];
    points.iter().for_each(|p| add_outer(&mut matrix, *p - mean, 1.0));
    let [_, (_, second), (_, first)] = eigen(matrix);
    [first, second, first.cross(second)]
}

/// Adds `weight` times the outer product of `v` with itself.
pub(crate) fn add_outer(matrix: &mut [[f64; 3]; 3], v: DVec3, weight: f64) {
    let v = v.to_array();
    for (row, x) in matrix.iter_mut().zip(v) {
        for (entry, y) in row.iter_mut().zip(v) {
            *entry += weight * x * y;
        }
    }
}
