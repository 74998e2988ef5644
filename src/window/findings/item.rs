//! A finding as its row says it. Takes findings, book and analysis; gives plain text.

use crate::analysis::Analysis;
use crate::book::{Answer, Book};
use crate::findings::{Finding, Findings};
use crate::present;

#[derive(Debug, Clone, PartialEq)]
pub(super) struct FindingItem {
    pub(super) finding: Finding,
    pub(super) answer: Option<Answer>,
    /// "T3 · early turn-in".
    pub(super) title: String,
    pub(super) size: String,
    pub(super) observation: String,
    pub(super) advice: String,
}

impl FindingItem {
    pub(super) fn answer_words(&self) -> &'static str {
        self.answer.map_or("", Answer::word)
    }

    /// All of it in one line.
    pub(super) fn spoken(&self) -> String {
        let answer = self.answer.map(|it| format!(", {}", it.word())).unwrap_or_default();
        format!("{}{answer}. {} {} {}", self.title, self.size, self.observation, self.advice)
    }
}

/// In the order of the findings, the dearest first.
pub(super) fn finding_items(found: &Findings, book: &Book, analysis: &Analysis) -> Vec<FindingItem> {
    let item = |finding: &Finding| {
        let corner = present::one_line(&analysis.corner_name(finding.corner));
        FindingItem {
            answer: book.suggestions.get(&finding.suggestion()).copied(),
            title: format!("{corner} · {}", present::finding_kind(finding.kind)),
            size: sentence(&format!("it is so {}", present::finding_size(finding))),
            observation: sentence(&present::finding_observation(finding)),
            advice: sentence(present::finding_advice(finding.kind)),
            finding: finding.clone(),
        }
    };
    found.findings.iter().map(item).collect()
}

/// With a capital and a full stop.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first: String = letters.next().map(|it| it.to_uppercase().collect()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{FileRef, Op};
    use crate::findings::{FindingKind, suggest};
    use crate::session::Estimate;

    #[test]
    fn a_row_says_where_what_and_what_became_of_it() {
        let finding = Finding {
            kind: FindingKind::LostTime,
            corner: 3,
            laps: vec![2],
            of: 6,
            size_s: Estimate { value: 0.2, ci95: 0.05 },
            evidence: Vec::new(),
            seen_on_lap: 2,
            seen_at_s: 80.0,
        };
        let mut book = Book::new(vec![FileRef { path: "run.csv".into(), length_bytes: 3 }]);
        book.apply(suggest::decline(&finding)).unwrap();
        let found = Findings { findings: vec![finding.clone()], ..Findings::default() };
        let items = finding_items(&found, &book, &Analysis::default());
        assert_eq!(items[0].title, "T3 · lost time");
        assert_eq!(items[0].size, "It is so on lap 2, and costs 0.20 ±0.05 s there.");
        assert!(items[0].spoken().starts_with("T3 · lost time, declined. It is so"), "{}", items[0].spoken());
        book.apply(Op::Suggestion(finding.suggestion(), None)).unwrap();
        assert_eq!(finding_items(&found, &book, &Analysis::default())[0].answer, None);
    }
}
