//! Which passes a person tagged as traffic. Takes a book and its analysis; gives laps and corners.

use crate::analysis::Analysis;
use crate::book::{Book, TagPlace, What};
use crate::corners::Pass;
use crate::findings::Tagged;

/// Passes tagged as overtakes and defences, and those of the kind "traffic", which are not clean either.
pub(super) fn tagged(book: &Book, analysis: &Analysis) -> (Vec<Tagged>, Vec<Tagged>) {
    let pass_of = |on: TagPlace| match on {
        TagPlace::Pass { lap, corner } => Some((lap, corner)),
        TagPlace::Frame { t_s } => {
            let within = |it: &&Pass| {
                it.entry_gate_t_s.is_some_and(|gate_s| gate_s <= t_s)
                    && it.exit_gate_t_s.is_some_and(|gate_s| t_s <= gate_s)
            };
            analysis.passes.iter().find(within).map(|it| (it.lap, it.corner))
        }
        TagPlace::Trackside { .. } => None,
    };
    let (mut traffic, mut aside) = (Vec::new(), Vec::new());
    for tag in book.tags.values() {
        let is_traffic_kind =
            |kind| book.tag_kinds.get(&kind).is_some_and(|it| it.name.trim().eq_ignore_ascii_case("traffic"));
        let list = match tag.what {
            What::Overtake { .. } | What::Defence { .. } => &mut traffic,
            What::Kind(kind) if is_traffic_kind(kind) => &mut aside,
            _ => continue,
        };
        list.extend(pass_of(tag.on).filter(|it| !list.contains(it)));
    }
    (traffic, aside)
}
