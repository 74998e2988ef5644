//! Several files of one session to one log: in order of their dates, or on a counter of seconds that they share, or
//! else one after the other as given.

use std::collections::BTreeMap;

use crate::log::error::Error;
use crate::session::{Channel, ChannelKind, Fix, Note, NoteKind, Samples, SamplesParts};

/// Files that are joined without a common clock follow each other after this pause: a gap stays a gap.
const PAUSE_S: f64 = 1.0;
/// Two files whose counters both start below this have each started theirs anew.
const FRESH_COUNTER_S: f64 = 1.0;

/// Joins the parts of one session. What two files both cover in one channel is taken from the earlier one; channels
/// that only one of them has are laid side by side.
///
/// # Errors
/// No part at all; no position and no yaw rate in any of them.
pub fn join(parts: Vec<Samples>) -> Result<Samples, Error> {
    if parts.is_empty() {
        return Err(Error::NothingToJoin);
    }
    let has_use = |it: &Samples| !it.fixes().is_empty() || it.channel(ChannelKind::YawRate).is_some();
    if !parts.iter().any(has_use) {
        let file = parts[0].sources().first().map_or(String::new(), |it| it.file.clone());
        let rows = parts.iter().flat_map(Samples::sources).map(|it| it.rows).sum();
        return Err(Error::NothingUsable { file, rows });
    }
    if parts.len() == 1 {
        return Ok(parts.into_iter().next().expect("one part is there"));
    }
    let (mut placed, is_assumed) = placed(parts);
    placed.sort_by(|a, b| f64::total_cmp(&a.start_s, &b.start_s));
    let zero_s = placed[0].start_s;
    let mut joined = SamplesParts {
        start_utc: placed
            .iter()
            .find_map(|it| it.samples.start_utc().map(|utc| (utc, it.start_s)))
            .and_then(|(utc, at_s)| utc.checked_sub_signed(whole_microseconds(at_s - zero_s))),
        ..SamplesParts::default()
    };
    let mut overlaps: Vec<Note> = Vec::new();
    for Placed { samples, start_s } in placed {
        let shift_s = start_s - zero_s;
        let file = samples.sources().first().map_or(String::new(), |it| it.file.clone());
        let mut covered_s = append_fixes(&mut joined.fixes, samples.fixes(), shift_s);
        for (kind, channel) in samples.channels() {
            covered_s = covered_s.max(append_channel(&mut joined.channels, *kind, channel, shift_s));
        }
        if covered_s > 0.0 {
            let kind = NoteKind::FilesOverlap { seconds: covered_s };
            overlaps.push(Note { file, ..Note::new(kind) }.over(shift_s, shift_s + covered_s));
        }
        joined.sources.extend_from_slice(samples.sources());
        joined.notes.extend(samples.notes().iter().map(|note| shifted(note, shift_s)));
    }
    joined.notes.append(&mut overlaps);
    if joined.start_utc.is_some() {
        joined.notes.retain(|it| it.kind != NoteKind::NoDate);
    }
    if is_assumed {
        joined.notes.push(Note::new(NoteKind::FileOrderAssumed));
    }
    Ok(Samples::new(joined))
}

/// A part and where its log time 0 lies on the common clock, s.
#[derive(Debug)]
struct Placed {
    samples: Samples,
    start_s: f64,
}

/// Places each part; `true` where no clock tells the order.
fn placed(parts: Vec<Samples>) -> (Vec<Placed>, bool) {
    let counters: Option<Vec<f64>> = parts.iter().map(|it| it.sources().first()?.own_clock_s).collect();
    let dates: Option<Vec<f64>> =
        parts.iter().map(|it| Some(it.start_utc()?.timestamp_micros() as f64 * 1e-6)).collect();
    // A shared counter is a finer clock than dates, but two recordings may each start theirs anew.
    let starts = match (counters.filter(|it| is_shared(&parts, it)), dates) {
        (Some(counters), None) => Some(counters),
        (_, Some(dates)) => Some(dates),
        (None, None) => None,
    };
    let is_assumed = starts.is_none();
    let mut next_s = 0.0;
    let placed = parts.into_iter().enumerate().map(|(number, samples)| {
        let start_s = starts.as_ref().map_or(next_s, |it| it[number]);
        next_s = start_s + samples.duration_s() + PAUSE_S;
        Placed { samples, start_s }
    });
    (placed.collect(), is_assumed)
}

/// Counters are one clock where the files' spans follow each other, or run beside each other with other channels.
fn is_shared(parts: &[Samples], starts_s: &[f64]) -> bool {
    let spans = || parts.iter().zip(starts_s).map(|(it, start_s)| (it, *start_s, start_s + it.duration_s()));
    let mut pairs = spans().enumerate().flat_map(|(number, a)| spans().skip(number + 1).map(move |b| (a, b)));
    pairs.all(|((a, a_from, a_to), (b, b_from, b_to))| {
        let runs_beside = a_from < b_to && b_from < a_to;
        if runs_beside { has_other_channels(a, b) } else { a_from.max(b_from) > FRESH_COUNTER_S }
    })
}

/// Whether some channel or the position is in one of the two only, and no more than speed and course in both.
fn has_other_channels(a: &Samples, b: &Samples) -> bool {
    let both_have_fixes = !a.fixes().is_empty() && !b.fixes().is_empty();
    let both_have_yaw_rate = a.channel(ChannelKind::YawRate).is_some() && b.channel(ChannelKind::YawRate).is_some();
    !both_have_fixes && !both_have_yaw_rate
}

/// Gives the stretch in seconds that was there already and is left out.
fn append_fixes(fixes: &mut Vec<Fix>, more: &[Fix], shift_s: f64) -> f64 {
    let end_s = fixes.last().map_or(f64::NEG_INFINITY, |it| it.t_s);
    let covered_s = more.first().map_or(0.0, |it| overlap_s(end_s, it.t_s + shift_s));
    let moved = more.iter().map(|fix| Fix { t_s: fix.t_s + shift_s, ..*fix });
    fixes.extend(moved.filter(|fix| fix.t_s > end_s));
    covered_s
}

fn append_channel(
    channels: &mut BTreeMap<ChannelKind, Channel>,
    kind: ChannelKind,
    more: &Channel,
    shift_s: f64,
) -> f64 {
    let channel = channels.entry(kind).or_default();
    let end_s = channel.t_s.last().copied().unwrap_or(f64::NEG_INFINITY);
    let covered_s = more.t_s.first().map_or(0.0, |it| overlap_s(end_s, it + shift_s));
    for (t_s, value) in more.iter().map(|(t_s, value)| (t_s + shift_s, value)).filter(|(t_s, _)| *t_s > end_s) {
        channel.t_s.push(t_s);
        channel.value.push(value);
    }
    covered_s
}

fn overlap_s(end_s: f64, start_s: f64) -> f64 {
    if end_s.is_finite() { (end_s - start_s).max(0.0) } else { 0.0 }
}

fn shifted(note: &Note, shift_s: f64) -> Note {
    let span_s = note.span_s.map(|(from_s, to_s)| (from_s + shift_s, to_s + shift_s));
    Note { span_s, ..note.clone() }
}

fn whole_microseconds(seconds: f64) -> chrono::TimeDelta {
    #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate; chrono checks the sum")]
    chrono::TimeDelta::microseconds((seconds * 1e6).round() as i64)
}
