//! The reel as JSON.

use serde::{Deserialize, Serialize};

use crate::book::{Reel, ReelCut};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ReelJson {
    #[serde(default)]
    title: Option<String>,
    cuts: Vec<ReelCutJson>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ReelCutJson {
    lap: u32,
    corner: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lead_s: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    tail_s: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    words: Option<String>,
}

impl ReelJson {
    pub(super) fn of(reel: &Reel) -> Self {
        let cut = |it: &ReelCut| {
            let ReelCut { lap, corner, lead_s, tail_s, words } = it.clone();
            ReelCutJson { lap, corner, lead_s, tail_s, words }
        };
        Self { title: reel.title.clone(), cuts: reel.cuts.iter().map(cut).collect() }
    }

    pub(super) fn into_reel(self) -> Reel {
        let cut = |it: ReelCutJson| {
            let ReelCutJson { lap, corner, lead_s, tail_s, words } = it;
            ReelCut { lap, corner, lead_s, tail_s, words }
        };
        Reel { title: self.title, cuts: self.cuts.into_iter().map(cut).collect() }
    }
}
