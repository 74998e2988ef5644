//! What a corner allows: closed forms of the widest line. Takes metres and radians; gives metres and ratios.

/// Radius of the widest line of constant radius through a corner that turns by `angle_rad`, with an inside edge of
/// radius `inside_radius_m` and `usable_m` between the inside and the outside, both measured where the middle of the
/// kart may run: it comes in and leaves outside and touches the inside in the middle.
/// Degenerate: an angle of 0 gives infinity.
/// Source: R = r + w / (1 − cos(θ/2)), derived from three tangencies (any vehicle-dynamics handbook).
pub fn widest_radius_m(inside_radius_m: f64, usable_m: f64, angle_rad: f64) -> f64 {
    inside_radius_m + usable_m / (1.0 - (0.5 * angle_rad.abs()).cos())
}

/// Metres from where the widest line begins to bend to the beginning of the corner's own arc.
pub fn begins_before_m(inside_radius_m: f64, usable_m: f64, angle_rad: f64) -> f64 {
    (widest_radius_m(inside_radius_m, usable_m, angle_rad) - inside_radius_m) * (0.5 * angle_rad.abs()).sin()
}

/// Ratio of the speeds on two radii at equal grip: √(R₁/R₂).
pub fn speed_ratio(radius_m: f64, other_radius_m: f64) -> f64 {
    (radius_m / other_radius_m).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_right_angle_gains_three_and_a_half_widths() {
        let radius_m = widest_radius_m(10.0, 6.0, std::f64::consts::FRAC_PI_2);
        assert!((radius_m - (10.0 + 6.0 * 3.414_214)).abs() < 1e-4);
        assert!((speed_ratio(4.0, 1.0) - 2.0).abs() < 1e-12);
        assert!((widest_radius_m(10.0, 6.0, std::f64::consts::PI) - 16.0).abs() < 1e-9);
    }

    /// The circle touches the outside on both straights and the inside in the middle: checked by coordinates.
    #[test]
    fn the_widest_circle_touches_three_times() {
        let (r, w, angle) = (12.0, 5.0, 1.2_f64);
        let radius_m = widest_radius_m(r, w, angle);
        // Corner centre at the origin; the circle's centre lies R − r behind it on the bisector.
        let behind_m = radius_m - r;
        let to_straight_m = behind_m * (0.5 * angle).cos() + (r + w);
        assert!((to_straight_m - radius_m).abs() < 1e-9, "{to_straight_m} {radius_m}");
    }
}
