//! WGS 84 degrees to the local plane and back: geographic to topocentric (EPSG method 9837), ellipsoidal height 0.

use crate::geom::Point;

/// WGS 84 semi-major axis in metres and flattening (NGA.STND.0036, table 3.1).
const SEMI_MAJOR_M: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257_223_563;
const ECCENTRICITY_SQUARED: f64 = FLATTENING * (2.0 - FLATTENING);

/// The plane that touches the ellipsoid at one origin. All runs of a session share it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    latitude_deg: f64,
    longitude_deg: f64,
    height_m: f64,
    origin_ecef_m: [f64; 3],
    sin_lat: f64,
    cos_lat: f64,
    sin_lon: f64,
    cos_lon: f64,
}

impl Plane {
    /// Units: degrees, metres above the ellipsoid. Latitudes within ±90.
    pub fn new(latitude_deg: f64, longitude_deg: f64, height_m: f64) -> Self {
        let (sin_lat, cos_lat) = latitude_deg.to_radians().sin_cos();
        let (sin_lon, cos_lon) = longitude_deg.to_radians().sin_cos();
        Self {
            latitude_deg,
            longitude_deg,
            height_m,
            origin_ecef_m: geocentric_m(latitude_deg, longitude_deg, height_m),
            sin_lat,
            cos_lat,
            sin_lon,
            cos_lon,
        }
    }

    /// Origin as (latitude, longitude) in degrees.
    pub fn origin_deg(&self) -> (f64, f64) {
        (self.latitude_deg, self.longitude_deg)
    }

    /// Topocentric (east, north, up) in metres of a point at an ellipsoidal height.
    /// Source: EPSG Guidance Note 7-2, methods 9836 and 9837.
    pub fn topocentric_m(&self, latitude_deg: f64, longitude_deg: f64, height_m: f64) -> [f64; 3] {
        let point = geocentric_m(latitude_deg, longitude_deg, height_m);
        let [dx, dy, dz] = std::array::from_fn(|axis| point[axis] - self.origin_ecef_m[axis]);
        let towards = self.cos_lon * dx + self.sin_lon * dy;
        [
            -self.sin_lon * dx + self.cos_lon * dy,
            -self.sin_lat * towards + self.cos_lat * dz,
            self.cos_lat * towards + self.sin_lat * dz,
        ]
    }

    /// A position on the ellipsoid to the plane.
    pub fn to_plane(&self, latitude_deg: f64, longitude_deg: f64) -> Point {
        let [east, north, _] = self.topocentric_m(latitude_deg, longitude_deg, self.height_m);
        Point::new(east, north)
    }

    /// A point of the plane to (latitude, longitude) in degrees on the ellipsoid: Newton on [`Plane::to_plane`],
    /// to below a micrometre within 100 km of the origin.
    pub fn to_degrees(&self, point: Point) -> (f64, f64) {
        let w2 = 1.0 - ECCENTRICITY_SQUARED * self.sin_lat * self.sin_lat;
        let north_radius_m = SEMI_MAJOR_M * (1.0 - ECCENTRICITY_SQUARED) / (w2 * w2.sqrt()) + self.height_m;
        let east_radius_m = (SEMI_MAJOR_M / w2.sqrt() + self.height_m) * self.cos_lat.max(1e-6);
        let (mut latitude_deg, mut longitude_deg) = (self.latitude_deg, self.longitude_deg);
        for _ in 0..8 {
            let miss = point - self.to_plane(latitude_deg, longitude_deg);
            latitude_deg += (miss.y_m / north_radius_m).to_degrees();
            longitude_deg += (miss.x_m / east_radius_m).to_degrees();
        }
        (latitude_deg, longitude_deg)
    }
}

fn geocentric_m(latitude_deg: f64, longitude_deg: f64, height_m: f64) -> [f64; 3] {
    let (sin_lat, cos_lat) = latitude_deg.to_radians().sin_cos();
    let (sin_lon, cos_lon) = longitude_deg.to_radians().sin_cos();
    let prime_vertical_m = SEMI_MAJOR_M / (1.0 - ECCENTRICITY_SQUARED * sin_lat * sin_lat).sqrt();
    [
        (prime_vertical_m + height_m) * cos_lat * cos_lon,
        (prime_vertical_m + height_m) * cos_lat * sin_lon,
        (prime_vertical_m * (1.0 - ECCENTRICITY_SQUARED) + height_m) * sin_lat,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EPSG Guidance Note 7-2, example of methods 9836/9837 (as quoted in the PROJ manual).
    #[test]
    fn the_published_topocentric_example() {
        let plane = Plane::new(55.0, 5.0, 200.0);
        let latitude_deg = 53.0 + 48.0 / 60.0 + 33.82 / 3600.0;
        let longitude_deg = 2.0 + 7.0 / 60.0 + 46.38 / 3600.0;
        let [east, north, up] = plane.topocentric_m(latitude_deg, longitude_deg, 73.0);
        assert!(
            (east + 189_013.869).abs() < 2e-3 && (north + 128_642.040).abs() < 2e-3 && (up + 4220.171).abs() < 2e-3
        );
    }

    #[test]
    fn there_and_back_is_the_same_point() {
        let plane = Plane::new(47.3, 8.2, 0.0);
        for (x_m, y_m) in [(0.0, 0.0), (350.0, -720.5), (-20_000.0, 15_000.0)] {
            let (latitude_deg, longitude_deg) = plane.to_degrees(Point::new(x_m, y_m));
            assert!(plane.to_plane(latitude_deg, longitude_deg).distance_m(Point::new(x_m, y_m)) < 1e-6);
        }
    }
}
