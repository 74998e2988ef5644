//! Findings as suggested tags: what taking or declining one changes in a book. Takes a book and a finding; gives an
//! operation, so that one undo takes it back.

use crate::book::{Answer, Book, Colour, Id, Op, Suggestion, Tag, TagKind, TagPlace, What};
use crate::findings::{Finding, FindingKind};

/// The colour of a tag kind that the book did not have.
const NEW_COLOUR: Colour = Colour::hex(0x80_8a94);

impl Finding {
    /// What the book knows this finding by.
    pub fn suggestion(&self) -> Suggestion {
        let lap = (self.kind == FindingKind::LostTime).then_some(self.seen_on_lap);
        Suggestion { finding: self.kind.code().to_owned(), corner: self.corner, lap }
    }
}

/// Tags every pass that has the finding with the kind called `name`, which is made where the book has none of that name,
/// and keeps that it was taken. Passes that have the tag already keep theirs.
pub fn take(book: &Book, finding: &Finding, name: &str) -> Op {
    let mut ops = Vec::new();
    let mut next = book.next_id;
    let mut give = || {
        let id = next;
        next = Id(next.0.saturating_add(1));
        id
    };
    let is_called = |it: &TagKind| it.name.trim().to_lowercase() == name.trim().to_lowercase();
    let known = book.tag_kinds.iter().find(|(_, it)| is_called(it)).map(|(id, _)| *id);
    let kind = known.unwrap_or_else(|| {
        let id = give();
        ops.push(Op::TagKind(id, Some(TagKind { name: name.to_owned(), colour: NEW_COLOUR, key: None })));
        id
    });
    for lap in &finding.laps {
        let (on, what) = (TagPlace::Pass { lap: *lap, corner: finding.corner }, What::Kind(kind));
        if !book.tags.values().any(|it| it.on == on && it.what == what) {
            ops.push(Op::Tag(give(), Some(Tag { on, what, note: None })));
        }
    }
    ops.push(Op::Suggestion(finding.suggestion(), Some(Answer::Taken)));
    Op::Several(ops)
}

/// Keeps that the finding was declined. Tags that are there stay: they are the person's own.
pub fn decline(finding: &Finding) -> Op {
    Op::Suggestion(finding.suggestion(), Some(Answer::Declined))
}

/// Forgets the answer, so that the finding is suggested again.
pub fn ask_again(finding: &Finding) -> Op {
    Op::Suggestion(finding.suggestion(), None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{FileRef, History};
    use crate::session::Estimate;

    fn finding(kind: FindingKind) -> Finding {
        Finding {
            kind,
            corner: 3,
            laps: vec![2, 5],
            of: 6,
            size_s: Estimate { value: 0.2, ci95: 0.05 },
            evidence: Vec::new(),
            seen_on_lap: 5,
            seen_at_s: 80.0,
        }
    }

    fn book() -> History {
        History::new(Book::new(vec![FileRef { path: "run.csv".into(), length_bytes: 3 }]))
    }

    #[test]
    fn taking_tags_each_pass_with_the_books_own_kind() {
        let mut history = book();
        let before = history.book().clone();
        let op = take(history.book(), &finding(FindingKind::EarlyTurnIn), "Early turn-in");
        history.apply(op).unwrap();
        let after = history.book();
        assert_eq!(after.tag_kinds, before.tag_kinds, "the starter set has this kind");
        let laps: Vec<_> = after.tags.values().map(|it| (it.on, it.what)).collect();
        let tagged = |lap| (TagPlace::Pass { lap, corner: 3 }, What::Kind(Id(1)));
        assert_eq!(laps, [tagged(2), tagged(5)]);
        assert_eq!(after.suggestions.values().collect::<Vec<_>>(), [&Answer::Taken]);
        // Taken again, no pass is tagged twice.
        let again = take(after, &finding(FindingKind::EarlyTurnIn), "early turn-in");
        history.apply(again).unwrap();
        assert_eq!(history.book().tags.len(), 2);
        assert!(history.undo() && history.undo());
        assert_eq!(Book { next_id: before.next_id, ..history.book().clone() }, before);
    }

    #[test]
    fn a_kind_that_the_book_has_not_is_made() {
        let mut history = book();
        let op = take(history.book(), &finding(FindingKind::TwoBites), "two bites at the corner");
        history.apply(op).unwrap();
        assert_eq!(history.book().tag_kinds.len(), TagKind::starter_set().len() + 1);
        assert_eq!(history.book().tags.len(), 2);
    }

    #[test]
    fn what_happened_once_is_known_by_its_lap() {
        assert_eq!(finding(FindingKind::LostTime).suggestion().to_string(), "lost_time:3:5");
        assert_eq!(finding(FindingKind::TwoBites).suggestion().to_string(), "two_bites:3");
    }

    #[test]
    fn declining_changes_the_answer_alone_and_can_be_asked_again() {
        let mut history = book();
        let before = history.book().clone();
        history.apply(decline(&finding(FindingKind::MissedApex))).unwrap();
        assert_eq!(history.book().suggestions.values().collect::<Vec<_>>(), [&Answer::Declined]);
        assert!(history.book().tags.is_empty());
        history.apply(ask_again(&finding(FindingKind::MissedApex))).unwrap();
        assert_eq!(history.book(), &before);
    }
}
