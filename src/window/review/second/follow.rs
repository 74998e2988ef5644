//! Where the second picture is while the first is where it is: the same place on the track in the other pass, and what
//! sets the two apart there. Touches no widget.

use crate::analysis::Analysis;
use crate::corners::{Corner, Pass};
use crate::present::{self, PassHere, pass_beside, pass_here};
use crate::strip::{AtPlace, at_place, last_gate, same_corner, same_place_elsewhere_s, same_place_s};
use crate::units::SpeedUnit;
use crate::window::review::Review;
use crate::window::review::second::guest::Guest;
use crate::window::review::timeline::{Position, Timeline};

/// What the second picture shows, and the lines under both.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Followed {
    pub(super) position: Option<Position>,
    /// The moment at the same place, s: between two frames' own.
    pub(super) at_s: Option<f64>,
    pub(super) why_no_picture: Option<String>,
    pub(super) first_words: String,
    pub(super) second_words: String,
}

/// The lap that is followed: of this book, or of a guest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Other<'a> {
    pub(super) guest: Option<&'a Guest>,
    pub(super) lap: Option<u32>,
}

impl<'a> Other<'a> {
    fn analysis(self, review: &'a Review) -> &'a Analysis {
        self.guest.map_or(&*review.analysis, |it| &*it.analysis)
    }

    pub(super) fn timeline(self, review: &'a Review) -> &'a Timeline {
        self.guest.map_or(&review.timeline, |it| &it.timeline)
    }

    /// The corner of the other session that is this one.
    fn corner(self, corner: &'a Corner, review: &'a Review) -> Option<&'a Corner> {
        self.guest.map_or(Some(corner), |guest| same_corner(corner, &review.analysis, &guest.analysis))
    }

    fn name(self, lap: u32) -> String {
        present::lap_of(self.guest.map(|it| it.name.as_str()), lap)
    }

    /// The lap and its log time at the place of `here_s`, s, or why there is none.
    fn place(self, review: &Review, here_s: f64) -> Result<(u32, f64), String> {
        let Some(lap) = self.lap else {
            return Err("Choose the lap to compare with: tick it under “Other” in the passes.".to_owned());
        };
        if review.track_place().is_none() {
            return Err("The playhead is at no known place of a lap.".to_owned());
        }
        let there_s = match self.guest {
            None => same_place_s(&review.analysis, here_s, lap),
            Some(guest) => same_place_elsewhere_s(&review.analysis, here_s, &guest.analysis, lap),
        };
        there_s.map(|it| (lap, it)).ok_or_else(|| format!("{} has not been at this place.", self.name(lap)))
    }
}

/// The line under the first picture.
pub(super) fn first_words(review: &Review, unit: SpeedUnit) -> String {
    let lap = review.track_place().map(|it| it.lap).or(review.subject().lap);
    let here = at_place(&review.analysis, review.moment_s(), None);
    pass_here(words_of(&present::lap_name(lap), here), unit)
}

/// Follows the playhead into the other lap.
pub(super) fn follow(review: &Review, other: Other<'_>, unit: SpeedUnit) -> Followed {
    let here_s = review.moment_s();
    let lap = review.track_place().map(|it| it.lap);
    let first_pass = lap.and_then(|it| last_gate(&review.analysis, it, here_s));
    let first_name = present::lap_name(lap.or(review.subject().lap));
    let first = words_of(&first_name, at_place(&review.analysis, here_s, first_pass));
    let first_words = first_words(review, unit);
    let (lap, there_s) = match other.place(review, here_s) {
        Ok(found) => found,
        Err(why) => return Followed { why_no_picture: Some(why), first_words, ..Followed::default() },
    };
    let corner = first_pass.and_then(|pass| review.analysis.corners.iter().find(|it| it.number == pass.corner));
    let number = corner.and_then(|it| other.corner(it, review)).map(|it| it.number);
    let analysis = other.analysis(review);
    let is_same = |it: &&Pass| it.lap == lap && Some(it.corner) == number;
    let second_pass = analysis.passes.iter().find(is_same);
    let second_name = other.name(lap);
    let second = words_of(&second_name, at_place(analysis, there_s, second_pass));
    let position = other.timeline(review).at(there_s);
    let has_frame = matches!(position, Position::Frame { .. });
    Followed {
        position: Some(position),
        at_s: Some(there_s),
        why_no_picture: (!has_frame).then(|| format!("There is no footage of this place: {second_name}.")),
        second_words: pass_beside(second, first, corner.map(|it| it.name.as_str()), unit),
        first_words,
    }
}

fn words_of(name: &str, at: AtPlace) -> PassHere<'_> {
    PassHere { name, speed_mps: at.speed_mps, since_gate_s: at.since_gate_s }
}
