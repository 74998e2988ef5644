//! Plane geometry in metres. Degrees become plane metres once, in [`plane`]; after that nothing accepts degrees.

pub mod plane;

/// A point or vector on the session's plane, metres: x east, y north.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Point {
    pub x_m: f64,
    pub y_m: f64,
}

impl Point {
    pub fn new(x_m: f64, y_m: f64) -> Self {
        Self { x_m, y_m }
    }

    pub fn distance_m(self, other: Self) -> f64 {
        (self.x_m - other.x_m).hypot(self.y_m - other.y_m)
    }

    /// Unit vector at a heading in radians counter-clockwise from east.
    pub fn unit(heading_rad: f64) -> Self {
        let (sin, cos) = heading_rad.sin_cos();
        Self { x_m: cos, y_m: sin }
    }

    /// A quarter turn to the left.
    pub fn left(self) -> Self {
        Self { x_m: -self.y_m, y_m: self.x_m }
    }

    pub fn dot(self, other: Self) -> f64 {
        self.x_m * other.x_m + self.y_m * other.y_m
    }

    /// z component of the cross product: positive where `other` lies to the left.
    pub fn cross(self, other: Self) -> f64 {
        self.x_m * other.y_m - self.y_m * other.x_m
    }

    pub fn scaled(self, by: f64) -> Self {
        Self { x_m: self.x_m * by, y_m: self.y_m * by }
    }
}

impl std::ops::Add for Point {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { x_m: self.x_m + other.x_m, y_m: self.y_m + other.y_m }
    }
}

impl std::ops::Sub for Point {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { x_m: self.x_m - other.x_m, y_m: self.y_m - other.y_m }
    }
}
