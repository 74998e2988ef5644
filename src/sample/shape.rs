//! The shape of one corner: how curvature rises, holds and falls along it. Deliberately many shapes, most of them not
//! straight ramps, because whoever measures the marks afterwards may fit any model and must not be flattered.

use std::f64::consts::PI;

/// How curvature goes from nothing to full: a function of the share of the ramp, 0 → 0 and 1 → 1, never falling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ramp {
    Linear,
    RaisedCosine,
    /// 3u² − 2u³.
    Smoothstep,
    /// A raised cosine over uᵖ: late for p above 1, early below.
    SkewedCosine(f64),
    /// The step answer of two equal first-order lags, k time constants long: quick to start, slow to arrive.
    Lag(f64),
}

impl Ramp {
    /// Value at `u`; arguments outside 0..1 are brought inside.
    pub fn at(self, u: f64) -> f64 {
        let u = u.clamp(0.0, 1.0);
        match self {
            Self::Linear => u,
            Self::RaisedCosine => raised_cosine(u),
            Self::Smoothstep => u * u * (3.0 - 2.0 * u),
            Self::SkewedCosine(power) => raised_cosine(u.powf(power)),
            Self::Lag(constants) => lag(constants * u) / lag(constants),
        }
    }
}

fn raised_cosine(u: f64) -> f64 {
    0.5 - 0.5 * (PI * u).cos()
}

fn lag(time_constants: f64) -> f64 {
    1.0 - (1.0 + time_constants) * (-time_constants).exp()
}

/// What curvature does between rise and fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Middle {
    Flat,
    /// Lower by this share half-way: the driver eases the wheel.
    Sag(f64),
    /// Two apexes with this much less curvature between them.
    TwoApex(f64),
    /// Never quite held: from less to more curvature by this share (or the other way), and lower half-way by the second.
    Leaning {
        slope: f64,
        sag: f64,
    },
}

impl Middle {
    fn at(self, u: f64) -> f64 {
        match self {
            Self::Flat => 1.0,
            Self::Sag(depth) => 1.0 - depth * (PI * u).sin(),
            Self::TwoApex(depth) => 1.0 - depth * (PI * u).sin().powi(2),
            Self::Leaning { slope, sag } => 1.0 + slope * (u - 0.5) - sag * (PI * u).sin(),
        }
    }
}

/// Curvature along one corner, as a share of its peak, over the share of its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Shares of the length; together below 1.
    pub rise_share: f64,
    pub fall_share: f64,
    pub rise: Ramp,
    pub fall: Ramp,
    pub middle: Middle,
}

impl Shape {
    /// Share of the peak curvature at share `u` of the length; 0 outside 0..1.
    pub fn at(&self, u: f64) -> f64 {
        if !(0.0..=1.0).contains(&u) {
            return 0.0;
        }
        if u < self.rise_share {
            return self.rise.at(u / self.rise_share) * self.middle.at(0.0);
        }
        let fall_from = 1.0 - self.fall_share;
        if u > fall_from {
            return self.fall.at((1.0 - u) / self.fall_share) * self.middle.at(1.0);
        }
        self.middle.at((u - self.rise_share) / (fall_from - self.rise_share))
    }

    /// The curve of this shape that turns by `angle_rad`, one unit long, from the origin along the x axis.
    /// Degenerate: an angle of 0 or ±π gives tangents that are not finite.
    pub fn unit_curve(&self, angle_rad: f64) -> UnitCurve {
        const STEPS: u32 = 400;
        let step = 1.0 / f64::from(STEPS);
        let area = simpson(|u| self.at(u), 0.0, 1.0, 2 * STEPS);
        let peak = angle_rad / area;
        let (mut x, mut y, mut heading) = (0.0, 0.0, 0.0_f64);
        let mut points = vec![(x, y)];
        for index in 0..STEPS {
            let from = f64::from(index) * step;
            let to_middle = peak * simpson(|u| self.at(u), from, from + 0.5 * step, 2);
            let to_end = to_middle + peak * simpson(|u| self.at(u), from + 0.5 * step, from + step, 2);
            let angles = [heading, heading + to_middle, heading + to_end];
            x += step / 6.0 * (angles[0].cos() + 4.0 * angles[1].cos() + angles[2].cos());
            y += step / 6.0 * (angles[0].sin() + 4.0 * angles[1].sin() + angles[2].sin());
            heading += to_end;
            points.push((x, y));
        }
        // Start + entry_tangent·e₀ = end − exit_tangent·e₁: two linear equations for the two tangents.
        let exit_tangent = y / angle_rad.sin();
        let entry_tangent = x - exit_tangent * angle_rad.cos();
        UnitCurve { points, entry_tangent, exit_tangent, peak }
    }
}

/// A corner of length 1; everything scales with the real length, curvature with its inverse.
#[derive(Debug, Clone)]
pub struct UnitCurve {
    /// From (0, 0), heading along x.
    pub points: Vec<(f64, f64)>,
    /// From the start to where entry and exit line meet.
    pub entry_tangent: f64,
    /// From where they meet to the end.
    pub exit_tangent: f64,
    /// Signed peak curvature.
    pub peak: f64,
}

/// Simpson's rule with `steps` (even) intervals.
fn simpson(f: impl Fn(f64) -> f64, from: f64, to: f64, steps: u32) -> f64 {
    let h = (to - from) / f64::from(steps);
    let inner: f64 = (1..steps).map(|i| f(from + f64::from(i) * h) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
    h / 3.0 * (f(from) + inner + f(to))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ramps_go_from_nothing_to_full_without_falling() {
        for ramp in [
            Ramp::Linear,
            Ramp::RaisedCosine,
            Ramp::Smoothstep,
            Ramp::SkewedCosine(1.4),
            Ramp::SkewedCosine(0.8),
            Ramp::Lag(5.0),
        ] {
            assert!(ramp.at(0.0).abs() < 1e-12 && (ramp.at(1.0) - 1.0).abs() < 1e-12);
            assert!((0..100).all(|i| ramp.at(f64::from(i) / 100.0) <= ramp.at(f64::from(i + 1) / 100.0)), "{ramp:?}");
        }
    }

    #[test]
    fn a_leaning_hold_meets_its_ramps() {
        let middle = Middle::Leaning { slope: 0.12, sag: 0.05 };
        let shape = Shape { rise_share: 0.3, fall_share: 0.3, rise: Ramp::Linear, fall: Ramp::Linear, middle };
        assert!((shape.at(0.3) - 0.94).abs() < 1e-9 && (shape.at(0.3 - 1e-9) - 0.94).abs() < 1e-6);
        assert!((shape.at(0.7) - 1.06).abs() < 1e-9 && (shape.at(0.7 + 1e-9) - 1.06).abs() < 1e-6);
    }

    #[test]
    fn a_symmetric_quarter_turn_has_equal_tangents() {
        let shape = Shape {
            rise_share: 0.3,
            fall_share: 0.3,
            rise: Ramp::Smoothstep,
            fall: Ramp::Smoothstep,
            middle: Middle::Flat,
        };
        let curve = shape.unit_curve(std::f64::consts::FRAC_PI_2);
        assert!((curve.entry_tangent - curve.exit_tangent).abs() < 1e-9);
        // Mean curvature of the ramps is half: 0.7 of the length carries the angle.
        assert!((curve.peak - std::f64::consts::FRAC_PI_2 / 0.7).abs() < 1e-6);
    }
}
