//! Where the second picture is while the first is where it is: the same place on the track in the other lap, and what
//! sets the two apart there. Touches no widget.

use crate::corners::Pass;
use crate::present::{self, PassHere, pass_beside, pass_here};
use crate::strip::{AtPlace, at_place, last_gate, same_place_s};
use crate::units::SpeedUnit;
use crate::window::review::Review;
use crate::window::review::timeline::Position;

/// What the second picture shows, and the lines under both.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Followed {
    pub(super) position: Option<Position>,
    pub(super) why_no_picture: Option<String>,
    pub(super) first_words: String,
    pub(super) second_words: String,
}

/// Follows the playhead into the other lap.
pub(super) fn follow(review: &Review, unit: SpeedUnit) -> Followed {
    let here_s = review.playhead().from_s;
    let lap = review.track_place().map(|it| it.lap);
    let first_pass = lap.and_then(|it| last_gate(&review.analysis, it, here_s));
    let first_at = at_place(&review.analysis, here_s, first_pass);
    let first_name = present::lap_name(lap.or(review.subject().lap));
    let first = words_of(&first_name, first_at);
    let first_words = pass_here(first, unit);
    match other_s(review, here_s, lap) {
        Err(why) => Followed { why_no_picture: Some(why), first_words, ..Followed::default() },
        Ok((other, there_s)) => {
            let same_corner = |it: &&Pass| Some((it.lap, it.corner)) == first_pass.map(|it| (other, it.corner));
            let second_pass = review.analysis.passes.iter().find(same_corner);
            let second_name = present::lap_name(Some(other));
            let second = words_of(&second_name, at_place(&review.analysis, there_s, second_pass));
            let corner = first_pass.and_then(|pass| review.analysis.corners.iter().find(|it| it.number == pass.corner));
            let position = review.timeline.at(there_s);
            let has_frame = matches!(position, Position::Frame { .. });
            Followed {
                position: Some(position),
                why_no_picture: (!has_frame).then(|| format!("There is no footage of this place in lap {other}.")),
                first_words,
                second_words: pass_beside(second, first, corner.map(|it| it.name.as_str()), unit),
            }
        }
    }
}

/// The other lap and its log time at this place, s, or why there is none.
fn other_s(review: &Review, here_s: f64, lap: Option<u32>) -> Result<(u32, f64), String> {
    let Some(other) = review.other else {
        return Err("Choose the lap to compare with: tick it under “Other” in the passes.".to_owned());
    };
    if lap.is_none() {
        return Err("The playhead is at no known place of a lap.".to_owned());
    }
    let there_s = same_place_s(&review.analysis, here_s, other);
    there_s.map(|it| (other, it)).ok_or_else(|| format!("Lap {other} has not been at this place."))
}

fn words_of(name: &str, at: AtPlace) -> PassHere<'_> {
    PassHere { name, speed_mps: at.speed_mps, since_gate_s: at.since_gate_s }
}
