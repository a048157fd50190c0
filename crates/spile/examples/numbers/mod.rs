//! Meshes as lines of numbers, for the checks against outside things.

use spile_mesh::{DVec3, Mesh};

/// The words of a line, read one after the other.
pub struct Words<'a>(std::str::SplitWhitespace<'a>);

impl<'a> Words<'a> {
    /// The words of `line`.
    pub fn of(line: &'a str) -> Self {
        Self(line.split_whitespace())
    }

    /// The next word as a number.
    ///
    /// # Errors
    /// Where the line ends, or its next word is no such number.
    pub fn next<T: std::str::FromStr>(&mut self) -> Result<T, String> {
        let word = self.0.next().ok_or("it is too short")?;
        word.parse().map_err(|_| format!("cannot be read: {word}"))
    }

    /// The mesh that the next numbers state: how many points and triangles, three
    /// coordinates a point, three indices a triangle.
    ///
    /// # Errors
    /// As [`Words::next`], and where an index names no point.
    pub fn mesh(&mut self) -> Result<Mesh, String> {
        let (points, triangles) = (self.next()?, self.next()?);
        let mut point = || Ok(DVec3::new(self.next()?, self.next()?, self.next()?));
        let points = (0..points).map(|_: usize| point()).collect::<Result<_, String>>()?;
        let mut triangle = || Ok([self.next()?, self.next()?, self.next()?]);
        let triangles = (0..triangles).map(|_: usize| triangle()).collect::<Result<_, String>>()?;
        Mesh::new(points, triangles).map_err(|e| e.to_string())
    }
}
