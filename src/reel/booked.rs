//! The reel that a person has put together in a book, as items to be planned. The passes are the person's; how each
//! stands among its corner's others is told as for chosen ones.

use crate::book::{Reel, ReelCut};
use crate::reel::choose::{Choice, ChoiceError, Order, choose};
use crate::reel::film::ReelItem;
use crate::reel::plan::ClipOptions;
use crate::reel::source::Source;

/// The items in the reel's order, and the cuts whose pass is not there or not filmed.
///
/// # Errors
/// No pass of the session is filmed.
pub fn booked_items(
    source: Source<'_>,
    reel: &Reel,
    rest: &ClipOptions,
) -> Result<(Vec<ReelItem>, Vec<ReelCut>), ChoiceError> {
    let everything = Choice { clean_only: false, order: Order::AsDriven, ..Choice::default() };
    let all = choose(&[source], &everything, |_, corner| Some(corner))?.passes;
    let mut items = Vec::new();
    let mut left_out = Vec::new();
    for cut in &reel.cuts {
        match all.iter().find(|it| (it.lap, it.corner) == (cut.lap, cut.corner)) {
            Some(chosen) => {
                let clip = ClipOptions {
                    lead_s: cut.lead_s.unwrap_or(rest.lead_s),
                    tail_s: cut.tail_s.unwrap_or(rest.tail_s),
                    ..*rest
                };
                items.push(ReelItem { chosen: chosen.clone(), clip: Some(clip), words: cut.words.clone() });
            }
            None => left_out.push(cut.clone()),
        }
    }
    Ok((items, left_out))
}
