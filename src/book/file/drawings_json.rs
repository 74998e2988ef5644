//! Drawings and reference points as JSON: places are pairs of shares, `[x, y]`.

use std::num::NonZeroUsize;

use serde::{Deserialize, Serialize};

use crate::book::file::tags_json::ColourJson;
use crate::book::{Circle, Circled, Drawing, FootageRef, FrameRef, Id, ReferencePoint, Shape, Share};
use crate::session::VideoTime;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DrawingJson {
    id: u32,
    on: FrameJson,
    stays_s: f64,
    colour: ColourJson,
    width: f64,
    shape: ShapeJson,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ReferencePointJson {
    id: u32,
    corner: u32,
    name: String,
    #[serde(default)]
    circled: Option<CircledJson>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CircledJson {
    on: FrameJson,
    circle: CircleJson,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum FrameJson {
    /// The number counts from 1.
    Chapter {
        number: NonZeroUsize,
        footage_s: f64,
    },
    Trackside {
        id: u32,
        footage_s: f64,
    },
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum ShapeJson {
    Circle(CircleJson),
    Arrow { from: ShareJson, to: ShareJson },
    Line { from: ShareJson, to: ShareJson },
    Freehand(Vec<ShareJson>),
    Text { at: ShareJson, size: f64, text: String },
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CircleJson {
    centre: ShareJson,
    radius: f64,
}

#[derive(Serialize, Deserialize)]
struct ShareJson(f64, f64);

impl DrawingJson {
    pub(super) fn of((id, drawing): (&Id, &Drawing)) -> Self {
        Self {
            id: id.0,
            on: FrameJson::of(drawing.on),
            stays_s: drawing.stays_s,
            colour: ColourJson(drawing.colour),
            width: drawing.width,
            shape: ShapeJson::of(&drawing.shape),
        }
    }

    pub(super) fn into_entry(self) -> (Id, Drawing) {
        let drawing = Drawing {
            on: self.on.into_frame(),
            stays_s: self.stays_s,
            colour: self.colour.0,
            width: self.width,
            shape: self.shape.into_shape(),
        };
        (Id(self.id), drawing)
    }
}

impl ReferencePointJson {
    pub(super) fn of((id, point): (&Id, &ReferencePoint)) -> Self {
        let circled = |it: Circled| CircledJson { on: FrameJson::of(it.on), circle: CircleJson::of(&it.circle) };
        Self { id: id.0, corner: point.corner, name: point.name.clone(), circled: point.circled.map(circled) }
    }

    pub(super) fn into_entry(self) -> (Id, ReferencePoint) {
        let circled = |it: CircledJson| Circled { on: it.on.into_frame(), circle: it.circle.into_circle() };
        (Id(self.id), ReferencePoint { corner: self.corner, name: self.name, circled: self.circled.map(circled) })
    }
}

impl FrameJson {
    fn of(frame: FrameRef) -> Self {
        let footage_s = frame.at.seconds();
        match frame.footage {
            FootageRef::Chapter(index) => Self::Chapter { number: NonZeroUsize::MIN.saturating_add(index), footage_s },
            FootageRef::Trackside(id) => Self::Trackside { id: id.0, footage_s },
        }
    }

    fn into_frame(self) -> FrameRef {
        let (footage, footage_s) = match self {
            Self::Chapter { number, footage_s } => (FootageRef::Chapter(number.get() - 1), footage_s),
            Self::Trackside { id, footage_s } => (FootageRef::Trackside(Id(id)), footage_s),
        };
        FrameRef { footage, at: VideoTime::from_seconds(footage_s) }
    }
}

impl ShapeJson {
    fn of(shape: &Shape) -> Self {
        match shape {
            Shape::Circle(circle) => Self::Circle(CircleJson::of(circle)),
            Shape::Arrow { from, to } => Self::Arrow { from: ShareJson::of(from), to: ShareJson::of(to) },
            Shape::Line { from, to } => Self::Line { from: ShareJson::of(from), to: ShareJson::of(to) },
            Shape::Freehand(points) => Self::Freehand(points.iter().map(ShareJson::of).collect()),
            Shape::Text { at, size, text } => Self::Text { at: ShareJson::of(at), size: *size, text: text.clone() },
        }
    }

    fn into_shape(self) -> Shape {
        match self {
            Self::Circle(circle) => Shape::Circle(circle.into_circle()),
            Self::Arrow { from, to } => Shape::Arrow { from: from.into_share(), to: to.into_share() },
            Self::Line { from, to } => Shape::Line { from: from.into_share(), to: to.into_share() },
            Self::Freehand(points) => Shape::Freehand(points.into_iter().map(ShareJson::into_share).collect()),
            Self::Text { at, size, text } => Shape::Text { at: at.into_share(), size, text },
        }
    }
}

impl CircleJson {
    fn of(circle: &Circle) -> Self {
        Self { centre: ShareJson::of(&circle.centre), radius: circle.radius }
    }

    fn into_circle(self) -> Circle {
        Circle { centre: self.centre.into_share(), radius: self.radius }
    }
}

impl ShareJson {
    fn of(share: &Share) -> Self {
        Self(share.x, share.y)
    }

    fn into_share(self) -> Share {
        Share { x: self.0, y: self.1 }
    }
}
