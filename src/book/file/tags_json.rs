//! Tag kinds and tags as JSON.

use serde::{Deserialize, Serialize};

use crate::book::{Colour, Exit, Id, NoColour, Outcome, Side, Tag, TagKind, TagPlace, What};
use crate::session::VideoTime;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TagKindJson {
    id: u32,
    name: String,
    colour: ColourJson,
    #[serde(default)]
    key: Option<char>,
}

/// A colour as `#rrggbb`.
#[derive(Clone, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(super) struct ColourJson(pub(super) Colour);

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TagJson {
    id: u32,
    on: TagPlaceJson,
    what: WhatJson,
    #[serde(default)]
    note: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum TagPlaceJson {
    Frame { t_s: f64 },
    Pass { lap: u32, corner: u32 },
    Trackside { id: u32, footage_s: f64 },
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum WhatJson {
    Kind(u32),
    Exit(ExitJson),
    Overtake { side: SideJson, outcome: OutcomeJson },
    Defence { side: SideJson, held: bool },
    Note,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ExitJson {
    Good,
    Bad,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SideJson {
    Inside,
    Outside,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum OutcomeJson {
    Attempt,
    Done,
    Failed,
}

impl TryFrom<String> for ColourJson {
    type Error = NoColour;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse().map(Self)
    }
}

impl From<ColourJson> for String {
    fn from(colour: ColourJson) -> Self {
        colour.0.to_string()
    }
}

impl TagKindJson {
    pub(super) fn of((id, kind): (&Id, &TagKind)) -> Self {
        Self { id: id.0, name: kind.name.clone(), colour: ColourJson(kind.colour), key: kind.key }
    }

    pub(super) fn into_entry(self) -> (Id, TagKind) {
        (Id(self.id), TagKind { name: self.name, colour: self.colour.0, key: self.key })
    }
}

impl TagJson {
    pub(super) fn of((id, tag): (&Id, &Tag)) -> Self {
        Self { id: id.0, on: TagPlaceJson::of(tag.on), what: WhatJson::of(tag.what), note: tag.note.clone() }
    }

    pub(super) fn into_entry(self) -> (Id, Tag) {
        (Id(self.id), Tag { on: self.on.into_place(), what: self.what.into_what(), note: self.note })
    }
}

impl TagPlaceJson {
    fn of(place: TagPlace) -> Self {
        match place {
            TagPlace::Frame { t_s } => Self::Frame { t_s },
            TagPlace::Pass { lap, corner } => Self::Pass { lap, corner },
            TagPlace::Trackside { footage, at } => Self::Trackside { id: footage.0, footage_s: at.seconds() },
        }
    }

    fn into_place(self) -> TagPlace {
        match self {
            Self::Frame { t_s } => TagPlace::Frame { t_s },
            Self::Pass { lap, corner } => TagPlace::Pass { lap, corner },
            Self::Trackside { id, footage_s } => {
                TagPlace::Trackside { footage: Id(id), at: VideoTime::from_seconds(footage_s) }
            }
        }
    }
}

impl WhatJson {
    fn of(what: What) -> Self {
        match what {
            What::Kind(id) => Self::Kind(id.0),
            What::Exit(Exit::Good) => Self::Exit(ExitJson::Good),
            What::Exit(Exit::Bad) => Self::Exit(ExitJson::Bad),
            What::Overtake { side, outcome } => {
                let outcome = match outcome {
                    Outcome::Attempt => OutcomeJson::Attempt,
                    Outcome::Done => OutcomeJson::Done,
                    Outcome::Failed => OutcomeJson::Failed,
                };
                Self::Overtake { side: SideJson::of(side), outcome }
            }
            What::Defence { side, held } => Self::Defence { side: SideJson::of(side), held },
            What::Note => Self::Note,
        }
    }

    fn into_what(self) -> What {
        match self {
            Self::Kind(id) => What::Kind(Id(id)),
            Self::Exit(ExitJson::Good) => What::Exit(Exit::Good),
            Self::Exit(ExitJson::Bad) => What::Exit(Exit::Bad),
            Self::Overtake { side, outcome } => {
                let outcome = match outcome {
                    OutcomeJson::Attempt => Outcome::Attempt,
                    OutcomeJson::Done => Outcome::Done,
                    OutcomeJson::Failed => Outcome::Failed,
                };
                What::Overtake { side: side.into_side(), outcome }
            }
            Self::Defence { side, held } => What::Defence { side: side.into_side(), held },
            Self::Note => What::Note,
        }
    }
}

impl SideJson {
    fn of(side: Side) -> Self {
        match side {
            Side::Inside => Self::Inside,
            Side::Outside => Self::Outside,
        }
    }

    fn into_side(self) -> Side {
        match self {
            Self::Inside => Side::Inside,
            Self::Outside => Side::Outside,
        }
    }
}
