//! Sparse weighted least squares, solved by a sparse Cholesky factorisation.

use faer::linalg::solvers::Solve;
use faer::sparse::linalg::solvers::Llt;
use faer::sparse::{SparseColMat, Triplet};
use spile_mesh::DVec3;

/// Why a least-squares problem is not solved.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SolveError {
    /// The linear system has no solution.
    #[error("the equations of the shape have no solution")]
    Singular,
    /// There is nothing to solve.
    #[error("there is nothing to shape")]
    Empty,
    /// Nobody wants the answer any more.
    #[error("stopped on request")]
    Stopped,
}

/// One linear form that should vanish: terms over unknowns, and the rest.
#[derive(Default)]
pub struct Line {
    pub terms: Vec<(usize, f64)>,
    pub rest: f64,
}

/// The normal equations of a weighted least-squares problem, whose matrix is
/// symmetric: its lower half is all that is kept.
pub struct LeastSquares {
    triplets: Vec<Triplet<usize, usize, f64>>,
    right: Vec<f64>,
}

impl LeastSquares {
    pub fn new(unknowns: usize) -> Self {
        Self { triplets: Vec::new(), right: vec![0.0; unknowns] }
    }

    pub fn add(&mut self, line: &Line, weight: f64) {
        for &(a, x) in &line.terms {
            self.right[a] -= weight * x * line.rest;
            for &(b, y) in line.terms.iter().filter(|&&(b, _)| b <= a) {
                self.triplets.push(Triplet::new(a, b, weight * x * y));
            }
        }
    }

    /// One line for each axis, over the same unknowns: a third of the entries.
    pub fn add_axes(&mut self, terms: &[(usize, DVec3)], rest: DVec3, weight: f64) {
        for &(a, x) in terms {
            self.right[a] -= weight * x.dot(rest);
            for &(b, y) in terms.iter().filter(|&&(b, _)| b <= a) {
                self.triplets.push(Triplet::new(a, b, weight * x.dot(y)));
            }
        }
    }

    pub fn solve(&self) -> Result<Vec<f64>, SolveError> {
        Ok(self.factor()?.solve(&self.right))
    }

    /// The right side of the normal equations.
    pub fn right(&self) -> &[f64] {
        &self.right
    }

    /// The normal equations' matrix, factored for many right sides.
    pub fn factor(&self) -> Result<Factored, SolveError> {
        let n = self.right.len();
        let matrix = SparseColMat::try_new_from_triplets(n, n, &self.triplets)
            .map_err(|_| SolveError::Singular)?;
        matrix.sp_cholesky(faer::Side::Lower).map(Factored).map_err(|_| SolveError::Singular)
    }
}

/// A factored matrix.
pub struct Factored(Llt<usize, f64>);

impl Factored {
    /// The solution for one right side, as long as the matrix is wide.
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = right.len();
        let solved = self.0.solve(&faer::Mat::from_fn(n, 1, |i, _| right[i]));
        (0..n).map(|i| solved[(i, 0)]).collect()
    }
}

/// The solution of a small dense system with a symmetric positive matrix.
pub fn solve_dense(matrix: &[Vec<f64>], right: &[f64]) -> Result<Vec<f64>, SolveError> {
    let n = right.len();
    let matrix = faer::Mat::from_fn(n, n, |i, j| matrix[i][j]);
    let factor = matrix.llt(faer::Side::Lower).map_err(|_| SolveError::Singular)?;
    let solved = factor.solve(&faer::Mat::from_fn(n, 1, |i, _| right[i]));
    Ok((0..n).map(|i| solved[(i, 0)]).collect())
}
