//! Points and directions, and where a scene stands in space.

pub type Point = [f64; 3];

pub fn plus(a: Point, b: Point, factor: f64) -> Point {
    [a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2]]
}

pub fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub fn cross(a: Point, b: Point) -> Point {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

pub fn length(a: Point) -> f64 {
    dot(a, a).sqrt()
}

pub fn unit(a: Point) -> Point {
    let long = length(a);
    [a[0] / long, a[1] / long, a[2] / long]
}

/// A rigid motion: the images of the axes, and of the origin.
pub struct Stand {
    pub axes: [Point; 3],
    pub origin: Point,
}

impl Stand {
    pub fn direction(&self, p: Point) -> Point {
        let sum = plus([0.0; 3], self.axes[0], p[0]);
        plus(plus(sum, self.axes[1], p[1]), self.axes[2], p[2])
    }

    pub fn point(&self, p: Point) -> Point {
        plus(self.direction(p), self.origin, 1.0)
    }
}
