//! What a report is made from, which passes it shows, and the files it consists of. Takes the values of an analysis and
//! the names of pictures that others make; gives names and bytes, and touches no file.

use crate::analysis::Analysis;
use crate::book::{Book, Id};
use crate::corners::figure::best_pass;
use crate::corners::{MarkKind, Pass};
use crate::findings::Findings;
use crate::job::{Cancelled, Context};
use crate::reel::{self, Chapter};
use crate::report::laps::{lap_ways, laps_csv, laps_gpx, lines_geojson};
use crate::report::tags_vtt::tags_vtt;
use crate::report::{FindingsView, PassesView, findings_json, html, passes_csv, passes_json};
use crate::session::Samples;
use crate::track::LapKind;
use crate::track::file::TrackFile;
use crate::units::SpeedUnit;

/// The folders of a report beside its files.
pub const STILLS: &str = "stills";
pub const CLIPS: &str = "clips";
/// The page to open.
pub const PAGE: &str = "index.html";

/// All that a report is made from.
#[derive(Debug, Clone, Copy)]
pub struct ReportView<'a> {
    /// What the session is called: the name of its book or log.
    pub name: &'a str,
    pub samples: &'a Samples,
    pub analysis: &'a Analysis,
    pub track: Option<&'a TrackFile>,
    pub found: &'a Findings,
    pub book: Option<&'a Book>,
    pub unit: SpeedUnit,
    /// The footage that is on the log's clock; empty where there is none.
    pub chapters: &'a [Chapter],
    pub pictures: &'a Pictures,
}

/// Whether there are pictures, and why not.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Footage {
    #[default]
    NotGiven,
    /// This build cannot look into footage.
    NotInThisBuild,
    /// Why it cannot be used, in one sentence.
    Unusable(String),
    Shown,
}

/// The pictures and films of a report, made by others.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Pictures {
    pub footage: Footage,
    pub stills: Vec<StillFile>,
    pub clips: Vec<ClipFile>,
}

/// What a still shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shows {
    Mark {
        lap: u32,
        corner: u32,
        mark: MarkKind,
    },
    /// The moment of a finding, by its index.
    Finding(usize),
    ReferencePoint(Id),
}

/// A picture beside the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StillFile {
    pub shows: Shows,
    /// From the page, with `/`; made by the program, never from text from outside.
    pub file: String,
    pub width: u32,
    pub height: u32,
}

/// A film of one pass beside the page.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipFile {
    pub lap: u32,
    pub corner: u32,
    /// As in [`StillFile`].
    pub file: String,
    /// When in the film turn-in, apex and exit come, s.
    pub marks_s: [Option<f64>; 3],
}

/// The passes of one corner that a report shows, by lap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CornerChoice {
    pub corner: u32,
    pub best: Option<u32>,
    /// The one in the middle of them all by the time that it takes; with two passes, the slower.
    pub typical: Option<u32>,
    pub slowest: Option<u32>,
}

/// The best, the typical and the slowest clean pass of each corner on timed laps, by the time from its entry gate to the
/// next corner's. `None` where a corner has no pass with a time, or only one.
pub fn chosen_passes(analysis: &Analysis, book: Option<&Book>) -> Vec<CornerChoice> {
    analysis.corners.iter().map(|it| of_corner(analysis, book, it.number)).collect()
}

fn of_corner(analysis: &Analysis, book: Option<&Book>, corner: u32) -> CornerChoice {
    let is_timed = |lap: u32| analysis.laps.iter().any(|it| it.number == lap && it.kind == LapKind::Timed);
    let clean = |it: &&Pass| it.corner == corner && is_timed(it.lap) && reel::is_clean(analysis, book, it);
    let passes: Vec<&Pass> = analysis.passes.iter().filter(clean).collect();
    let best = best_pass(passes.iter().copied());
    // By the same rule as the best: with the straight behind, as far as that is known of any.
    let with_straight = |it: &Pass| Some(it.time_s?.value + it.exit_cost_s?.value);
    let is_with_straight = best.is_some_and(|it| with_straight(it).is_some());
    let took = |it: &Pass| if is_with_straight { with_straight(it) } else { it.time_s.map(|it| it.value) };
    let mut sorted: Vec<(u32, f64)> = passes.iter().filter_map(|it| Some((it.lap, took(it)?))).collect();
    sorted.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    let best = best.map(|it| it.lap);
    let other = |lap: Option<&(u32, f64)>| lap.map(|it| it.0).filter(|it| Some(*it) != best);
    CornerChoice { corner, best, typical: other(sorted.get(sorted.len() / 2)), slowest: other(sorted.last()) }
}

/// The quickest timed lap, and the one in the middle of all timed laps by time; the latter `None` below two.
pub(super) fn chosen_laps(analysis: &Analysis) -> (Option<u32>, Option<u32>) {
    let timed = analysis.laps.iter().filter(|it| it.kind == LapKind::Timed);
    let mut sorted: Vec<(u32, f64)> = timed.filter_map(|it| Some((it.number, it.time_s?.value))).collect();
    sorted.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    let best = sorted.first().map(|it| it.0);
    (best, sorted.get(sorted.len() / 2).map(|it| it.0).filter(|it| Some(*it) != best))
}

/// The files of a report, but for its pictures: names from the folder and bytes. The page comes last.
///
/// # Errors
/// Cancelled.
pub fn report_files(view: &ReportView<'_>, context: &Context) -> Result<Vec<(&'static str, Vec<u8>)>, Cancelled> {
    let (samples, analysis) = (view.samples, view.analysis);
    let passes = PassesView { samples, analysis, laps: &[], corners: &[] };
    let grip = view.book.and_then(|it| it.grip).map(crate::book::Grip::word);
    let answers = view.book.map(|it| &it.suggestions);
    let findings = FindingsView { file: view.name, analysis, found: view.found, grip, answers, beside: None };
    let mut files = vec![
        ("passes.csv", passes_csv(&passes).into_bytes()),
        ("laps.csv", laps_csv(analysis, samples).into_bytes()),
        ("passes.json", passes_json(&passes).into_bytes()),
        ("findings.json", findings_json(&findings).into_bytes()),
        ("tags.vtt", tags_vtt(view.book, analysis, view.chapters).into_bytes()),
    ];
    context.check()?;
    let ways = lap_ways(analysis);
    context.check()?;
    files.push(("lines.geojson", lines_geojson(analysis, &ways).into_bytes()));
    context.check()?;
    files.push(("laps.gpx", laps_gpx(view.name, samples, &ways).into_bytes()));
    context.check()?;
    files.push((PAGE, html::page(view, context)?.into_bytes()));
    Ok(files)
}

/// What stands beside the page, with what it is for.
pub(super) const FILES: [(&str, &str); 7] = [
    ("passes.csv", "every pass, one row each (SI units)"),
    ("laps.csv", "every lap, one row each"),
    ("passes.json", "laps, corners and passes with all marks and intervals"),
    ("findings.json", "findings, lines, what is to be gained"),
    ("lines.geojson", "reference line, laps, corners and marks on the map"),
    ("laps.gpx", "the laps as tracks"),
    ("tags.vtt", "the tags as subtitles for the footage"),
];

/// Whether a report has an entry of this name in its folder: such may be replaced by a report.
pub fn is_of_a_report(name: &std::ffi::OsStr) -> bool {
    let own = FILES.iter().map(|it| it.0).chain([PAGE, STILLS, CLIPS]);
    own.into_iter().any(|it| name == it)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::corners::{Corner, Direction};
    use crate::session::Estimate;
    use crate::track::Lap;

    fn analysis(times_s: &[(f64, Option<f64>)]) -> Analysis {
        let estimate = |value| Estimate { value, ci95: 0.01 };
        let lap = |number| Lap { number, kind: LapKind::Timed, start_t_s: 0.0, end_t_s: 1.0, time_s: None };
        let numbered = || (1..).zip(times_s);
        let pass = |(lap, (time_s, cost_s)): (u32, &(f64, Option<f64>))| Pass {
            time_s: Some(estimate(*time_s)),
            exit_cost_s: cost_s.map(estimate),
            ..Pass::nothing_known(lap, 1, Direction::Left)
        };
        let corner = Corner {
            number: 1,
            name: "T1".to_owned(),
            direction: Direction::Left,
            angle_deg: 90.0,
            min_radius_m: None,
            entry_gate_m: None,
            middle_m: None,
            exit_gate_m: None,
            latitude_deg: None,
            longitude_deg: None,
        };
        Analysis {
            laps: numbered().map(|it| lap(it.0)).collect(),
            corners: vec![corner],
            passes: numbered().map(pass).collect(),
            ..Analysis::default()
        }
    }

    fn chosen(times_s: &[(f64, Option<f64>)]) -> [Option<u32>; 3] {
        let it = chosen_passes(&analysis(times_s), None)[0];
        [it.best, it.typical, it.slowest]
    }

    #[test]
    fn the_straight_behind_counts() {
        let times = [(3.0, Some(0.5)), (3.2, Some(0.0)), (3.1, Some(0.2)), (3.4, Some(0.3)), (2.9, None)];
        assert_eq!(chosen(&times), [Some(2), Some(1), Some(4)]);
        assert_eq!(chosen(&[(3.0, None), (3.1, None)]), [Some(1), Some(2), Some(2)]);
        assert_eq!(chosen(&[(3.0, None)]), [Some(1), None, None]);
        assert_eq!(chosen(&[]), [None, None, None]);
    }

    #[test]
    fn only_a_reports_own_entries_are_replaced() {
        assert!(["index.html", "stills", "laps.gpx"].iter().all(|it| is_of_a_report(it.as_ref())));
        assert!(!is_of_a_report("session.cornerbook".as_ref()));
    }
}
