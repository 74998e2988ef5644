//! Answers to suggestions as JSON.

use serde::{Deserialize, Serialize};

use crate::book::{Answer, Suggestion};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SuggestionJson {
    finding: String,
    corner: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lap: Option<u32>,
    answer: AnswerJson,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum AnswerJson {
    Taken,
    Declined,
}

impl SuggestionJson {
    pub(super) fn of((suggestion, answer): (&Suggestion, &Answer)) -> Self {
        let answer = match answer {
            Answer::Taken => AnswerJson::Taken,
            Answer::Declined => AnswerJson::Declined,
        };
        let Suggestion { finding, corner, lap } = suggestion.clone();
        Self { finding, corner, lap, answer }
    }

    pub(super) fn into_entry(self) -> (Suggestion, Answer) {
        let answer = match self.answer {
            AnswerJson::Taken => Answer::Taken,
            AnswerJson::Declined => Answer::Declined,
        };
        (Suggestion { finding: self.finding, corner: self.corner, lap: self.lap }, answer)
    }
}
