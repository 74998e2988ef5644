//! Invented circuits: a polygon whose vertices are rounded by arcs, with an edge half a width to either side.
//! Gives the geometry that the driven line is built on, and the track file.

use std::f64::consts::TAU;

use serde_json::json;

use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::units::wrap_angle;

/// Arc edges are drawn with points this far apart, m: the chord leaves a 10 m arc by 3 mm.
const ARC_STEP_M: f64 = 0.5;

/// One vertex of the polygon, rounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend {
    pub vertex: Point,
    /// Radius of the inside edge, m.
    pub inside_radius_m: f64,
    /// Signed turning angle, positive to the left.
    pub angle_rad: f64,
    /// Heading of the straight before.
    pub heading_in_rad: f64,
    /// Radius of the centre line, m.
    pub radius_m: f64,
    /// From the vertex to where the arc begins or ends, m.
    pub tangent_m: f64,
    pub arc_center: Point,
}

impl Bend {
    /// +1 to the left, −1 to the right.
    pub fn sign(&self) -> f64 {
        self.angle_rad.signum()
    }

    pub fn heading_out_rad(&self) -> f64 {
        self.heading_in_rad + self.angle_rad
    }

    /// Where the centre line's arc begins and ends.
    pub fn arc_start(&self) -> Point {
        self.vertex - Point::unit(self.heading_in_rad).scaled(self.tangent_m)
    }

    pub fn arc_end(&self) -> Point {
        self.vertex + Point::unit(self.heading_out_rad()).scaled(self.tangent_m)
    }

    /// Distance in metres from this bend's inside edge (line, arc, line) towards the outside; negative beyond the edge.
    pub fn inside_gap_m(&self, point: Point) -> f64 {
        let from_center = point - self.arc_center;
        let (unit_in, unit_out) = (Point::unit(self.heading_in_rad), Point::unit(self.heading_out_rad()));
        if from_center.dot(unit_in) >= 0.0 && from_center.dot(unit_out) <= 0.0 {
            return from_center.x_m.hypot(from_center.y_m) - self.inside_radius_m;
        }
        // On the straights: the distance from the inside edge's line, measured from the arc's centre.
        let half_way = Point::unit(self.heading_in_rad + 0.5 * self.angle_rad);
        let along = if from_center.dot(half_way) < 0.0 { unit_in } else { unit_out };
        -self.sign() * from_center.dot(along.left()) - self.inside_radius_m
    }
}

/// An invented circuit on its own plane.
#[derive(Debug, Clone)]
pub struct Circuit {
    pub name: &'static str,
    pub width_m: f64,
    /// Where (0, 0) lies, WGS 84 degrees.
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    /// In driving order; the start/finish gate lies between the last and the first.
    pub bends: Vec<Bend>,
    /// Middle of the start/finish gate.
    pub gate: Point,
}

impl Circuit {
    /// Main circuit: clockwise, 90° corners both ways, hairpin, chicane, fast bend.
    pub fn saltpan() -> Self {
        Self::new(
            "Saltpan Field",
            8.0,
            (41.317, -27.264),
            &[
                (210.0, 0.0, 10.0),
                (210.0, -84.0, 9.0),
                (340.0, -84.0, 8.0),
                (222.0, -139.0, 12.0),
                (180.0, -120.0, 12.0),
                (58.0, -175.0, 45.0),
                (-60.0, -140.0, 12.0),
                (-60.0, 0.0, 11.0),
            ],
            0.52,
        )
    }

    /// Anticlockwise, southern hemisphere, faster.
    pub fn windgap() -> Self {
        Self::new(
            "Windgap Common",
            8.5,
            (-33.871, 83.512),
            &[
                (210.0, 0.0, 14.0),
                (252.0, 100.0, 12.0),
                (156.0, 158.0, 9.0),
                (126.0, 76.0, 11.0),
                (50.0, 62.0, 16.0),
                (-66.0, 152.0, 26.0),
                (-162.0, 110.0, 11.0),
                (-112.0, 0.0, 13.0),
            ],
            0.45,
        )
    }

    /// Small and twisty, far north.
    pub fn cellar() -> Self {
        Self::new(
            "Cellar Loop",
            7.0,
            (63.482, -11.093),
            &[
                (118.0, 0.0, 6.0),
                (122.0, 62.0, 6.5),
                (64.0, 58.0, 6.0),
                (58.0, 122.0, 7.0),
                (-4.0, 116.0, 6.0),
                (2.0, 60.0, 6.0),
                (-58.0, 66.0, 7.0),
                (-62.0, 0.0, 6.0),
            ],
            0.5,
        )
    }

    pub fn all() -> Vec<Self> {
        vec![Self::saltpan(), Self::windgap(), Self::cellar()]
    }

    /// Vertices as (x, y, inside radius) in metres; the gate at `gate_share` of the straight before the first.
    fn new(
        name: &'static str,
        width_m: f64,
        (latitude_deg, longitude_deg): (f64, f64),
        vertices: &[(f64, f64, f64)],
        gate_share: f64,
    ) -> Self {
        let at = |index: usize| {
            let (x_m, y_m, _) = vertices[index % vertices.len()];
            Point::new(x_m, y_m)
        };
        let count = vertices.len();
        let bends: Vec<Bend> = (0..count)
            .map(|index| {
                let (before, vertex, after) = (at(index + count - 1), at(index), at(index + 1));
                let (to, from) = (vertex - before, after - vertex);
                let heading_in_rad = to.y_m.atan2(to.x_m);
                let angle_rad = wrap_angle(from.y_m.atan2(from.x_m) - heading_in_rad);
                let inside_radius_m = vertices[index].2;
                let radius_m = inside_radius_m + width_m / 2.0;
                let tangent_m = radius_m * (angle_rad.abs() / 2.0).tan();
                let arc_start = vertex - Point::unit(heading_in_rad).scaled(tangent_m);
                let arc_center = arc_start + Point::unit(heading_in_rad).left().scaled(angle_rad.signum() * radius_m);
                Bend { vertex, inside_radius_m, angle_rad, heading_in_rad, radius_m, tangent_m, arc_center }
            })
            .collect();
        let (from, to) = (bends[count - 1].arc_end(), bends[0].arc_start());
        let gate = from + (to - from).scaled(gate_share);
        Self { name, width_m, latitude_deg, longitude_deg, bends, gate }
    }

    pub fn plane(&self) -> Plane {
        Plane::new(self.latitude_deg, self.longitude_deg, 0.0)
    }

    /// Heading of travel through the start/finish gate.
    pub fn gate_heading_rad(&self) -> f64 {
        self.bends[0].heading_in_rad
    }

    /// The gate's left and right end, half a metre beyond the edges.
    pub fn gate_ends(&self) -> [Point; 2] {
        let across = Point::unit(self.gate_heading_rad()).left().scaled(self.width_m / 2.0 + 0.5);
        [self.gate + across, self.gate - across]
    }

    /// Whether the circuit is driven clockwise.
    pub fn is_clockwise(&self) -> bool {
        self.bends.iter().map(|bend| bend.angle_rad).sum::<f64>() < 0.0
    }

    /// Length of the centre line, m.
    pub fn length_m(&self) -> f64 {
        let count = self.bends.len();
        (0..count)
            .map(|index| {
                let (bend, next) = (&self.bends[index], &self.bends[(index + 1) % count]);
                bend.radius_m * bend.angle_rad.abs() + bend.arc_end().distance_m(next.arc_start())
            })
            .sum()
    }

    /// The closed polyline at `offset_m` to the left of the centre line, from the first bend on, the first point not
    /// repeated; arcs in steps of half a metre, straights with no points between.
    pub fn offset_line(&self, offset_m: f64) -> Vec<Point> {
        let mut points = Vec::new();
        for bend in &self.bends {
            let radius_m = bend.radius_m - bend.sign() * offset_m;
            let steps = ((radius_m * bend.angle_rad.abs() / ARC_STEP_M).ceil()).max(4.0);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few hundred steps")]
            let count = steps as u32;
            for index in 0..=count {
                let heading_rad = bend.heading_in_rad + bend.angle_rad * f64::from(index) / steps;
                let outward = Point::unit(heading_rad).left().scaled(-bend.sign());
                points.push(bend.arc_center + outward.scaled(radius_m));
            }
        }
        points
    }

    /// Left and right edge, seen in the direction of travel.
    pub fn edges(&self) -> (Vec<Point>, Vec<Point>) {
        (self.offset_line(self.width_m / 2.0), self.offset_line(-self.width_m / 2.0))
    }

    /// The track file: GeoJSON (RFC 7946) with both edges and the start/finish gate.
    pub fn geojson(&self) -> String {
        let plane = self.plane();
        let position = |point: &Point| {
            let (latitude_deg, longitude_deg) = plane.to_degrees(*point);
            // Nine decimals of a degree are a tenth of a millimetre.
            json!([(longitude_deg * 1e9).round() / 1e9, (latitude_deg * 1e9).round() / 1e9])
        };
        let feature = |role: &str, points: Vec<serde_json::Value>| {
            json!({"type": "Feature", "properties": {"role": role},
                   "geometry": {"type": "LineString", "coordinates": points}})
        };
        let closed = |edge: &[Point]| edge.iter().chain(edge.first()).map(position).collect::<Vec<_>>();
        let (left, right) = self.edges();
        let collection = json!({
            "type": "FeatureCollection",
            "features": [
                feature("left_edge", closed(&left)),
                feature("right_edge", closed(&right)),
                feature("start_finish", self.gate_ends().iter().map(position).collect()),
            ],
        });
        format!("{collection}\n")
    }

    /// Sum of the turning angles in whole turns: ±1.
    pub fn turns(&self) -> f64 {
        self.bends.iter().map(|bend| bend.angle_rad).sum::<f64>() / TAU
    }
}
