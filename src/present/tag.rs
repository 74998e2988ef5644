//! The words for what a tag says.

use crate::book::{Exit, Outcome, Side, What};

/// What a tag says by itself. One of the team's own kinds is called by its name, which only the book knows; here it is
/// a tag.
pub fn tag(what: What) -> String {
    match what {
        What::Kind(_) => "tag".to_owned(),
        What::Note => "note".to_owned(),
        What::Exit(Exit::Good) => "good exit".to_owned(),
        What::Exit(Exit::Bad) => "bad exit".to_owned(),
        What::Overtake { side: of, outcome: Outcome::Attempt } => format!("overtake attempt, {}", side(of)),
        What::Overtake { side: of, outcome: Outcome::Done } => format!("overtake, {}", side(of)),
        What::Overtake { side: of, outcome: Outcome::Failed } => format!("overtake failed, {}", side(of)),
        What::Defence { side: of, held: true } => format!("defended, {}", side(of)),
        What::Defence { side: of, held: false } => format!("defence lost, {}", side(of)),
    }
}

fn side(side: Side) -> &'static str {
    match side {
        Side::Inside => "inside",
        Side::Outside => "outside",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_says_the_outcome() {
        let overtake = |outcome| tag(What::Overtake { side: Side::Inside, outcome });
        assert_eq!(overtake(Outcome::Attempt), "overtake attempt, inside");
        assert_eq!(overtake(Outcome::Done), "overtake, inside");
        assert_eq!(overtake(Outcome::Failed), "overtake failed, inside");
        assert_eq!(tag(What::Defence { side: Side::Outside, held: false }), "defence lost, outside");
        assert_eq!(tag(What::Exit(Exit::Bad)), "bad exit");
    }
}
