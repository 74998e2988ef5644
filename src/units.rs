//! Units at the borders of the program: what people type and read, turned into SI and back.
//! Inside, every number is SI and its name carries the unit (`speed_mps`, `gap_m`); angles are radians.

use std::fmt;
use std::str::FromStr;

/// One international knot in metres per second (1852 m an hour; BIPM SI brochure, 8th edition, table 8).
pub const KNOT_MPS: f64 = 1852.0 / 3600.0;
/// One international mile in metres (international yard and pound agreement, 1959).
pub const MILE_M: f64 = 1609.344;
/// Standard acceleration of free fall in m/s² (3rd CGPM, 1901).
pub const STANDARD_GRAVITY_MPS2: f64 = 9.80665;

/// The unit in which people read speeds; files in JSON are always in m/s.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SpeedUnit {
    #[default]
    KilometresPerHour,
    MilesPerHour,
    MetresPerSecond,
}

impl SpeedUnit {
    /// Turns a speed in m/s into this unit.
    pub fn from_mps(self, speed_mps: f64) -> f64 {
        speed_mps / self.in_mps()
    }

    /// One of this unit, in m/s.
    pub fn in_mps(self) -> f64 {
        match self {
            Self::KilometresPerHour => 1000.0 / 3600.0,
            Self::MilesPerHour => MILE_M / 3600.0,
            Self::MetresPerSecond => 1.0,
        }
    }

    /// The symbol people read beside the number.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::KilometresPerHour => "km/h",
            Self::MilesPerHour => "mph",
            Self::MetresPerSecond => "m/s",
        }
    }
}

impl fmt::Display for SpeedUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl FromStr for SpeedUnit {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "km/h" => Ok(Self::KilometresPerHour),
            "mph" => Ok(Self::MilesPerHour),
            "m/s" => Ok(Self::MetresPerSecond),
            _ => Err(format!("{text:?} is not one of km/h, mph, m/s")),
        }
    }
}

/// Compass degrees (0 = north, clockwise) to a heading in radians counter-clockwise from east, in (−π, π].
pub fn heading_from_compass(course_deg: f64) -> f64 {
    wrap_angle((90.0 - course_deg).to_radians())
}

/// Heading in radians counter-clockwise from east to compass degrees in [0, 360).
pub fn compass_from_heading(heading_rad: f64) -> f64 {
    (90.0 - heading_rad.to_degrees()).rem_euclid(360.0)
}

/// Brings an angle in radians into (−π, π].
pub fn wrap_angle(angle_rad: f64) -> f64 {
    let wrapped = angle_rad.rem_euclid(std::f64::consts::TAU);
    if wrapped > std::f64::consts::PI { wrapped - std::f64::consts::TAU } else { wrapped }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speeds_turn_into_what_people_read() {
        assert!((SpeedUnit::KilometresPerHour.from_mps(10.0) - 36.0).abs() < 1e-12);
        assert!((SpeedUnit::MilesPerHour.from_mps(MILE_M / 3600.0) - 1.0).abs() < 1e-12);
        assert_eq!("mph".parse::<SpeedUnit>(), Ok(SpeedUnit::MilesPerHour));
        assert!("kmh".parse::<SpeedUnit>().is_err());
    }

    #[test]
    fn compass_and_heading_are_inverse() {
        for course_deg in [0.0, 90.0, 179.5, 270.0, 359.0] {
            let back = compass_from_heading(heading_from_compass(course_deg));
            assert!((back - course_deg).abs() < 1e-9, "{course_deg} came back as {back}");
        }
        assert!((heading_from_compass(0.0) - std::f64::consts::FRAC_PI_2).abs() < 1e-12);
    }
}
