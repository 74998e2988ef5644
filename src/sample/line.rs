//! The driven line: straights joined by corner curves of chosen curvature, from standing start to standing end.
//! Curvature is exact along the whole line; heading and position are its integrals.

use std::f64::consts::TAU;

use crate::geom::Point;
use crate::sample::circuit::Circuit;
use crate::sample::driver::PassPlan;
use crate::sample::shape::{Shape, UnitCurve};
use crate::units::wrap_angle;

/// Distance between nodes at most, m.
const NODE_STEP_M: f64 = 0.05;
/// Straight line that stays between two corner curves, m.
const SHORTEST_STRAIGHT_M: f64 = 5.0;
/// No corner curve is longer, m.
const LONGEST_CURVE_M: f64 = 300.0;
/// The run begins this far after the gate and ends this far before it, m.
const START_AFTER_GATE_M: f64 = 18.0;
const END_BEFORE_GATE_M: f64 = 22.0;
/// Wander keeps this far from the corner curves, m, and its waves are at least this long, m.
const WANDER_MARGIN_M: f64 = 2.0;
const WANDER_WAVE_M: f64 = 32.0;

/// One point of the line; curvature is the exact value there.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Node {
    pub(crate) s_m: f64,
    pub(crate) position: Point,
    pub(crate) heading_rad: f64,
    pub(crate) curvature_per_m: f64,
    /// Shares of the usual grip and power.
    pub(crate) grip: f64,
    pub(crate) power: f64,
}

/// Where one corner curve lies along the line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CurveSpan {
    pub(crate) lap: u32,
    pub(crate) bend: usize,
    pub(crate) start_m: f64,
    pub(crate) end_m: f64,
    /// Where the rise is done and where the fall begins.
    pub(crate) rise_end_m: f64,
    pub(crate) fall_start_m: f64,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct DrivenLine {
    pub(crate) nodes: Vec<Node>,
    pub(crate) curves: Vec<CurveSpan>,
}

/// A straight as a point and a heading.
#[derive(Debug, Clone, Copy)]
struct Straight {
    point: Point,
    heading_rad: f64,
}

impl Straight {
    fn meets(&self, other: &Self) -> Point {
        let (along, across) = (Point::unit(self.heading_rad), Point::unit(other.heading_rad));
        let t = (other.point - self.point).cross(across) / along.cross(across);
        self.point + along.scaled(t)
    }
}

/// Builds the line of a whole run.
pub(crate) fn drive(circuit: &Circuit, passes: &[PassPlan]) -> DrivenLine {
    let straights = straights(circuit, passes);
    let meets: Vec<Point> = straights.windows(2).map(|pair| pair[0].meets(&pair[1])).collect();
    let first = straights[0];
    let start = on_line(&first, circuit.gate + Point::unit(circuit.gate_heading_rad()).scaled(START_AFTER_GATE_M));
    let wanted = wanted_tangents(circuit, passes, &straights, &meets);
    let mut pen = Pen::new(start, first.heading_rad, passes[0].grip);
    for (index, pass) in passes.iter().enumerate() {
        let next = straights[index + 1];
        let vertex = Straight { point: pen.position, heading_rad: pen.heading_rad }.meets(&next);
        let angle_rad = wrap_angle(next.heading_rad - pen.heading_rad);
        let curve = pass.shape.unit_curve(angle_rad);
        let room_before_m = match index.checked_sub(1) {
            Some(before) => room_m(wanted[index].0, wanted[before].1, meets[before].distance_m(meets[index])),
            None => pen.position.distance_m(vertex) - SHORTEST_STRAIGHT_M,
        };
        let room_after_m = match meets.get(index + 1) {
            Some(after) => room_m(wanted[index].1, wanted[index + 1].0, meets[index].distance_m(*after)),
            None => f64::INFINITY,
        };
        let longest_m = (room_before_m / curve.entry_tangent).min(room_after_m / curve.exit_tangent);
        let length_m = fitting_length_m(circuit, pass, &curve, vertex, pen.heading_rad, longest_m);
        pen.straight(pen.position.distance_m(vertex) - curve.entry_tangent * length_m, wander_before(passes, index));
        pen.grip = pass.grip;
        pen.corner(pass, &curve, length_m);
    }
    let last = straights[passes.len()];
    let end = on_line(&last, circuit.gate - Point::unit(circuit.gate_heading_rad()).scaled(END_BEFORE_GATE_M));
    pen.straight(pen.position.distance_m(end), 0.0);
    pen.done()
}

/// The wander of the straight before pass `index`; the first straight has none.
fn wander_before(passes: &[PassPlan], index: usize) -> f64 {
    index.checked_sub(1).map_or(0.0, |before| passes[before].wander_m)
}

/// The straight before each pass, and the one after the last: through the placements at both ends.
fn straights(circuit: &Circuit, passes: &[PassPlan]) -> Vec<Straight> {
    (0..=passes.len())
        .map(|index| {
            // The first straight leaves the last bend as the next lap's would; the last one enters the first bend.
            let from = &passes[index.checked_sub(1).unwrap_or(circuit.bends.len() - 1)];
            let to = passes.get(index).unwrap_or(&passes[0]);
            let (leaving, entering) = (&circuit.bends[from.bend], &circuit.bends[to.bend]);
            let length_m = leaving.arc_end().distance_m(entering.arc_start());
            let along = Point::unit(leaving.heading_out_rad());
            let setback_m = (0.2 * length_m).min(10.0);
            let begin = leaving.arc_end() + along.scaled(setback_m) + along.left().scaled(from.exit_offset_m);
            let end = entering.arc_start() - along.scaled(setback_m) + along.left().scaled(to.entry_offset_m);
            let way = end - begin;
            Straight { point: begin, heading_rad: way.y_m.atan2(way.x_m) }
        })
        .collect()
}

/// Entry and exit tangent, in metres, of each pass's curve if its neighbours left it all the room it wants.
fn wanted_tangents(circuit: &Circuit, passes: &[PassPlan], straights: &[Straight], meets: &[Point]) -> Vec<(f64, f64)> {
    passes
        .iter()
        .enumerate()
        .map(|(index, pass)| {
            let (before, after) = (&straights[index], &straights[index + 1]);
            let curve = pass.shape.unit_curve(wrap_angle(after.heading_rad - before.heading_rad));
            let length_m = fitting_length_m(circuit, pass, &curve, meets[index], before.heading_rad, LONGEST_CURVE_M);
            (curve.entry_tangent * length_m, curve.exit_tangent * length_m)
        })
        .collect()
}

/// How much of a straight one curve gets, m: what it wants, or where both ends want more than there is, a share in
/// proportion.
fn room_m(wanted_m: f64, wanted_by_other_m: f64, straight_m: f64) -> f64 {
    let there_m = straight_m - SHORTEST_STRAIGHT_M;
    let share = wanted_m / (wanted_m + wanted_by_other_m);
    if wanted_m + wanted_by_other_m <= there_m { wanted_m } else { share * there_m }
}

/// The length of the corner curve that passes the inside edge at the wanted gap, or `longest_m` where that is less.
fn fitting_length_m(
    circuit: &Circuit,
    pass: &PassPlan,
    curve: &UnitCurve,
    vertex: Point,
    heading_rad: f64,
    longest_m: f64,
) -> f64 {
    let bend = &circuit.bends[pass.bend];
    let along = Point::unit(heading_rad);
    let gap_m = |length_m: f64| {
        curve
            .points
            .iter()
            .map(|(x, y)| {
                let from_vertex =
                    along.scaled((x - curve.entry_tangent) * length_m) + along.left().scaled(y * length_m);
                bend.inside_gap_m(vertex + from_vertex)
            })
            .fold(f64::INFINITY, f64::min)
    };
    let (mut short_m, mut long_m) = (1.0, longest_m);
    if gap_m(long_m) >= pass.apex_gap_m {
        return long_m;
    }
    for _ in 0..60 {
        let middle_m = 0.5 * (short_m + long_m);
        if gap_m(middle_m) > pass.apex_gap_m { short_m = middle_m } else { long_m = middle_m }
    }
    short_m
}

fn on_line(line: &Straight, near: Point) -> Point {
    let along = Point::unit(line.heading_rad);
    line.point + along.scaled((near - line.point).dot(along))
}

/// How hard a place is driven: shares of the usual power and of the pass's grip.
#[derive(Debug, Clone, Copy)]
struct Pushed {
    power: f64,
    grip: f64,
}

const USUAL: Pushed = Pushed { power: 1.0, grip: 1.0 };

/// Draws the line piece by piece.
struct Pen {
    s_m: f64,
    position: Point,
    heading_rad: f64,
    grip: f64,
    line: DrivenLine,
}

impl Pen {
    fn new(position: Point, heading_rad: f64, grip: f64) -> Self {
        let node = Node { s_m: 0.0, position, heading_rad, curvature_per_m: 0.0, grip, power: 1.0 };
        let line = DrivenLine { nodes: vec![node], curves: Vec::new() };
        Self { s_m: 0.0, position, heading_rad, grip, line }
    }

    /// A straight with a slow wander of `wander_m` in its middle: y(u) = A·sin⁴(πu)·sin(2πnu), so that place, heading
    /// and curvature all leave and return without a step.
    fn straight(&mut self, length_m: f64, wander_m: f64) {
        let wave_m = length_m - 2.0 * WANDER_MARGIN_M;
        if wander_m.abs() < 1e-12 || wave_m < WANDER_WAVE_M {
            self.piece(length_m, |_| 0.0, |_| USUAL);
            return;
        }
        let waves = (wave_m / (2.0 * WANDER_WAVE_M)).floor().max(1.0);
        self.piece(WANDER_MARGIN_M, |_| 0.0, |_| USUAL);
        self.piece(wave_m, |u| wander_m / (wave_m * wave_m) * wander_second_derivative(u, waves), |_| USUAL);
        // The wander shortens the way along the straight by a millimetre or so; what is left is driven straight.
        let advanced_m = WANDER_MARGIN_M + wave_m;
        self.piece(length_m - advanced_m, |_| 0.0, |_| USUAL);
    }

    fn corner(&mut self, pass: &PassPlan, curve: &UnitCurve, length_m: f64) {
        let shape: Shape = pass.shape;
        let start_m = self.s_m;
        let at = |share: f64| start_m + share * length_m;
        self.line.curves.push(CurveSpan {
            lap: pass.lap,
            bend: pass.bend,
            start_m,
            end_m: at(1.0),
            rise_end_m: at(shape.rise_share),
            fall_start_m: at(1.0 - shape.fall_share),
        });
        let peak_per_m = curve.peak / length_m;
        let pushed = |u: f64| Pushed {
            power: if u > 0.55 { pass.exit_power } else { 1.0 },
            grip: pass.held[usize::from(u > 0.5)],
        };
        self.piece(length_m, |u| peak_per_m * shape.at(u), pushed);
        self.power_from_here(pass.exit_power);
    }

    /// The first stretch after a corner is driven with the corner's power: marked on a short straight piece.
    fn power_from_here(&mut self, power: f64) {
        if power < 1.0 {
            self.piece(SHORTEST_STRAIGHT_M - 1.0, |_| 0.0, |_| Pushed { power, ..USUAL });
        }
    }

    /// Advances by `length_m` with curvature given over the share of the piece: Simpson's rule for heading and place.
    fn piece(&mut self, length_m: f64, curvature: impl Fn(f64) -> f64, pushed: impl Fn(f64) -> Pushed) {
        if length_m <= 0.0 {
            return;
        }
        let steps = (length_m / NODE_STEP_M).ceil();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few thousand steps")]
        let count = steps as u32;
        let h = length_m / steps;
        let start_m = self.s_m;
        for index in 0..count {
            let k = |quarter: f64| curvature((f64::from(index) + quarter / 4.0) / steps);
            let (k0, k1, k2, k3, k4) = (k(0.0), k(1.0), k(2.0), k(3.0), k(4.0));
            let half = h / 12.0 * (k0 + 4.0 * k1 + k2);
            let whole = half + h / 12.0 * (k2 + 4.0 * k3 + k4);
            let (a, b, c) = (
                Point::unit(self.heading_rad),
                Point::unit(self.heading_rad + half),
                Point::unit(self.heading_rad + whole),
            );
            self.position = self.position + (a + b.scaled(4.0) + c).scaled(h / 6.0);
            self.heading_rad += whole;
            self.s_m = start_m + h * f64::from(index + 1);
            let pushed = pushed(f64::from(index + 1) / steps);
            self.line.nodes.push(Node {
                s_m: self.s_m,
                position: self.position,
                heading_rad: self.heading_rad,
                curvature_per_m: k4,
                grip: self.grip * pushed.grip,
                power: pushed.power,
            });
        }
    }

    fn done(self) -> DrivenLine {
        self.line
    }
}

/// Second derivative of sin⁴(πu)·sin(2πnu), from its Fourier terms.
fn wander_second_derivative(u: f64, waves: f64) -> f64 {
    // sin⁴(πu) = 3/8 − cos(2πu)/2 + cos(4πu)/8; products of cosine and sine are sums of sines.
    let term = |n: f64| -(TAU * n).powi(2) * (TAU * n * u).sin();
    0.375 * term(waves) - 0.25 * (term(waves + 1.0) + term(waves - 1.0))
        + 0.0625 * (term(waves + 2.0) + term(waves - 2.0))
}

impl DrivenLine {
    pub(crate) fn length_m(&self) -> f64 {
        self.nodes.last().map_or(0.0, |node| node.s_m)
    }

    /// Place, heading and curvature at a distance along the line; ends beyond it are the end states.
    pub(crate) fn at(&self, s_m: f64) -> Node {
        let next = self.nodes.partition_point(|node| node.s_m <= s_m).clamp(1, self.nodes.len() - 1);
        let (a, b) = (&self.nodes[next - 1], &self.nodes[next]);
        let span_m = b.s_m - a.s_m;
        let u = ((s_m - a.s_m) / span_m).clamp(0.0, 1.0);
        let (u2, u3) = (u * u, u * u * u);
        let (h00, h10, h01, h11) = (2.0 * u3 - 3.0 * u2 + 1.0, u3 - 2.0 * u2 + u, 3.0 * u2 - 2.0 * u3, u3 - u2);
        let position = a.position.scaled(h00)
            + Point::unit(a.heading_rad).scaled(h10 * span_m)
            + b.position.scaled(h01)
            + Point::unit(b.heading_rad).scaled(h11 * span_m);
        Node {
            s_m,
            position,
            heading_rad: h00 * a.heading_rad
                + h10 * span_m * a.curvature_per_m
                + h01 * b.heading_rad
                + h11 * span_m * b.curvature_per_m,
            curvature_per_m: a.curvature_per_m + u * (b.curvature_per_m - a.curvature_per_m),
            grip: b.grip,
            power: b.power,
        }
    }
}
