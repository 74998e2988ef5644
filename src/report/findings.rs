//! `findings`: what was found as aligned text, CSV and JSON (docs/formats.md#findings-out).

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::analysis::Analysis;
use crate::book::{Answer, Suggestion};
use crate::corners::figure::Figure;
use crate::findings::{
    Beside, Finding, Findings, KindCost, Line, LineKind, Measure, TheoreticalBest, TrafficCost, Widest,
};
use crate::present::{self, Align, Table, UNKNOWN};
use crate::report::round;
use crate::session::Estimate;

/// What tables of findings are made from.
#[derive(Debug, Clone, Copy)]
pub struct FindingsView<'a> {
    pub file: &'a str,
    pub analysis: &'a Analysis,
    pub found: &'a Findings,
    /// How the surface was, as the book has it.
    pub grip: Option<&'a str>,
    /// What a person has answered to the findings, as the book has it.
    pub answers: Option<&'a BTreeMap<Suggestion, Answer>>,
    /// Against another session: its file, and what was found.
    pub beside: Option<(&'a str, &'a Beside)>,
}

impl FindingsView<'_> {
    fn answer(&self, finding: &Finding) -> Option<Answer> {
        self.answers?.get(&finding.suggestion()).copied()
    }
}

fn measure_name(measure: Measure) -> &'static str {
    match measure {
        Measure::RiseOverFall => "rise_over_fall",
        Measure::ApexGapM => "apex_gap_m",
        Measure::EntryMarginM => "entry_margin_m",
        Measure::ExitMarginM => "exit_margin_m",
        Measure::GripBefore => "grip_before",
        Measure::GripBehind => "grip_behind",
        Measure::Drive => "drive",
        Measure::Dip => "dip",
        Measure::StretchS => "stretch_s",
        Measure::WithApproachS => "with_approach_s",
        Measure::SlowestBehindApexM => "slowest_behind_apex_m",
        Measure::ApexTurned => "apex_turned",
        Measure::ExitCostS => "exit_cost_s",
    }
}

fn line_name(kind: LineKind) -> &'static str {
    match kind {
        LineKind::Geometric => "geometric",
        LineKind::LateApex => "late_apex",
        LineKind::EarlyApex => "early_apex",
        LineKind::TightEntry => "tight_entry",
        LineKind::InsideEntry => "inside_entry",
    }
}

/// For people: the findings, the dearest first, then what is to be gained where, and the lines.
pub fn findings_text(view: &FindingsView<'_>) -> String {
    let mut parts = vec![listed(view)];
    parts.extend(grip_text(view));
    parts.extend(best_text("Theoretical best from corners", view.found.best_of_corners.as_ref()));
    parts.extend(best_text("Theoretical best from sectors", view.found.best_of_sectors.as_ref()));
    parts.extend(gains_text(view));
    parts.extend(steadiness_text(view));
    parts.extend(kinds_text(view));
    parts.extend(traffic_text(view));
    parts.extend(beside_text(view));
    parts.push(format!("{}\n", present::CAUTION));
    parts.join("\n")
}

fn listed(view: &FindingsView<'_>) -> String {
    if view.found.limits.is_none() {
        return "no findings: they need positions and a few timed laps\n".to_owned();
    }
    if view.found.findings.is_empty() {
        return "no findings: nothing stands out from the rest of the session\n".to_owned();
    }
    let one = |it: &Finding| {
        format!(
            "{}, {}: {}; it is so {} (see lap {} at {})\n  {}\n  [{}]{}\n",
            present::one_line(&view.analysis.corner_name(it.corner)),
            present::finding_kind(it.kind),
            present::finding_observation(it),
            present::finding_size(it),
            it.seen_on_lap,
            present::clock_time(it.seen_at_s, 1),
            present::finding_advice(it.kind),
            it.suggestion(),
            view.answer(it).map(|it| format!(" {}", it.word())).unwrap_or_default(),
        )
    };
    format!("Findings, the dearest first\n{}", view.found.findings.iter().map(one).collect::<String>())
}

fn grip_text(view: &FindingsView<'_>) -> Option<String> {
    let limits = view.found.limits?;
    let surface = view.grip.map(|it| format!(" ({it})")).unwrap_or_default();
    let used = &view.found.grip_used;
    let mean = used.iter().map(|it| it.share).sum::<f64>() / used.len().max(1) as f64;
    let (sideways, braking) = (present::fixed(limits.lateral_mps2, 1), present::fixed(limits.braking_mps2, 1));
    let used = present::fixed(100.0 * mean, 0);
    Some(format!(
        "Grip{surface}: {sideways} m/s² sideways, {braking} m/s² braking; {used} % of it used in the corners\n"
    ))
}

fn best_text(title: &str, best: Option<&TheoreticalBest>) -> Option<String> {
    let best = best?;
    let laps: Vec<String> = best.parts.iter().map(|it| it.0.to_string()).collect();
    Some(format!("{title}: {} (parts from laps {})\n", present::lap_time(best.time_s), laps.join(", ")))
}

fn gains_text(view: &FindingsView<'_>) -> Option<String> {
    let mut table = Table::new(&[
        ("corner", Align::Left),
        ("mean", Align::Point),
        ("to the best", Align::Point),
        ("", Align::Left),
        ("best lap", Align::Right),
    ]);
    for it in &view.found.to_gain {
        let digits = present::decimals(it.gain_s.ci95);
        table.push(vec![
            present::one_line(&view.analysis.corner_name(it.corner)),
            present::fixed(it.mean_s.value, present::decimals(it.mean_s.ci95)),
            present::fixed(it.gain_s.value, digits),
            format!("±{}", present::fixed(it.gain_s.ci95, digits)),
            it.best_lap.to_string(),
        ]);
    }
    (!table.is_empty()).then(|| format!("To gain, s, from entry gate to the next entry gate\n{}", table.to_text()))
}

/// What is steady and what is not: the spread of a figure from pass to pass beyond what measuring adds.
fn steadiness_text(view: &FindingsView<'_>) -> Option<String> {
    let shown = [Figure::Time, Figure::MinSpeed, Figure::ExitSpeed, Figure::ApexPlace];
    let mut table = Table::new(&[
        ("corner", Align::Left),
        ("time, s", Align::Point),
        ("minimum, m/s", Align::Point),
        ("exit, m/s", Align::Point),
        ("apex, m", Align::Point),
    ]);
    for corner in &view.analysis.corners {
        let of_corner = || view.found.steadiness.iter().filter(|it| it.corner == corner.number);
        let spread = |figure: Figure| {
            let found = of_corner().find(|it| it.figure == figure);
            found.map_or_else(|| UNKNOWN.to_owned(), |it| present::spread(&it.pooled, 1.0, 2))
        };
        let name = present::one_line(&view.analysis.corner_name(corner.number));
        table.push(std::iter::once(name).chain(shown.map(spread)).collect());
    }
    let title = "Consistency: spread from pass to pass beyond what measuring adds; <: less than measuring can tell";
    (!view.found.steadiness.is_empty()).then(|| format!("{title}\n{}", table.to_text()))
}

fn kinds_text(view: &FindingsView<'_>) -> Option<String> {
    let mut table = Table::new(&[
        ("corner", Align::Left),
        ("line", Align::Left),
        ("passes", Align::Right),
        ("costs", Align::Point),
        ("", Align::Left),
    ]);
    for it in &view.found.kind_costs {
        let digits = present::decimals(it.cost_s.ci95.max(it.stretch_s.ci95));
        let is_best = it.cost_s.ci95 <= 0.0;
        table.push(vec![
            present::one_line(&view.analysis.corner_name(it.corner)),
            present::line_kind(it.kind).to_owned(),
            it.passes.to_string(),
            if is_best { UNKNOWN.to_owned() } else { present::fixed(it.cost_s.value, digits) },
            if is_best { String::new() } else { format!("±{}", present::fixed(it.cost_s.ci95, digits)) },
        ]);
    }
    (!table.is_empty()).then(|| format!("Lines, s against the quickest of each corner\n{}", table.to_text()))
}

fn traffic_text(view: &FindingsView<'_>) -> Option<String> {
    let one = |it: &TrafficCost| {
        format!(
            "lap {} {}: {} s against {} clean passes, of which {} s in the corner\n",
            it.lap,
            present::one_line(&view.analysis.corner_name(it.corner)),
            present::interval(it.cost_s),
            it.against,
            present::interval(it.in_corner_s),
        )
    };
    let lines: String = view.found.traffic.iter().map(one).collect();
    (!lines.is_empty()).then(|| format!("Traffic\n{lines}"))
}

fn beside_text(view: &FindingsView<'_>) -> Option<String> {
    let (file, beside) = view.beside?;
    let mut text = format!("Against {}, s from entry gate to the next entry gate\n", present::one_line(file));
    if beside.corners.is_empty() {
        text.push_str(present::NOT_BESIDE);
        text.push('\n');
    }
    for it in &beside.corners {
        let name = present::one_line(&view.analysis.corner_name(it.corner));
        text.push_str(&format!("{name}: {}\n", beside_words(it.behind_s)));
    }
    if let Some(it) = &beside.quickest {
        let words = it.along.last().map_or(UNKNOWN.to_owned(), |it| beside_words(it.behind_s));
        text.push_str(&format!("quickest laps, {} here and {} there: {words}\n", it.lap, it.other_lap));
    }
    for it in &beside.changes {
        let name = present::one_line(&view.analysis.corner_name(it.corner));
        let place = if it.in_corner { "in" } else { "on the straight behind" };
        let what = if it.gained { "gained" } else { "lost" };
        text.push_str(&format!("lap {}, {place} {name}: a place {what}\n", it.lap));
    }
    Some(text)
}

/// "level", or by how much slower or quicker.
fn beside_words(behind_s: Estimate) -> String {
    if behind_s.value.abs() <= behind_s.ci95 {
        return "level".to_owned();
    }
    let size = present::interval(Estimate { value: behind_s.value.abs(), ..behind_s });
    format!("{size} s {}", if behind_s.value > 0.0 { "slower" } else { "quicker" })
}

/// One row a finding (RFC 4180), SI units.
pub fn findings_csv(view: &FindingsView<'_>) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    let header = [
        "corner",
        "name",
        "kind",
        "id",
        "answer",
        "passes",
        "of",
        "laps",
        "size_s",
        "size_s_ci95",
        "per_lap_s",
        "seen_on_lap",
        "seen_at_s",
        "observation",
        "advice",
    ];
    let number = |it: Option<f64>| it.map(|it| it.to_string()).unwrap_or_default();
    let rows = view.found.findings.iter().map(|it| {
        let (size_s, ci95) = round::pair(Some(it.size_s), round::seconds);
        vec![
            it.corner.to_string(),
            view.analysis.corner_name(it.corner),
            it.kind.code().to_owned(),
            it.suggestion().to_string(),
            view.answer(it).map_or("", Answer::word).to_owned(),
            it.laps.len().to_string(),
            it.of.to_string(),
            it.laps.iter().map(u32::to_string).collect::<Vec<_>>().join(" "),
            number(size_s),
            number(ci95),
            number(round::seconds(it.per_lap_s())),
            it.seen_on_lap.to_string(),
            number(round::seconds(it.seen_at_s)),
            present::finding_observation(it),
            present::finding_advice(it.kind).to_owned(),
        ]
    });
    for row in std::iter::once(header.map(str::to_owned).to_vec()).chain(rows) {
        table.write_record(row).expect("memory takes every row, and all rows are as long as the header");
    }
    let bytes = table.into_inner().expect("memory takes every byte");
    String::from_utf8(bytes).expect("all cells are text")
}

/// Everything, SI units; null for what cannot be told.
pub fn findings_json(view: &FindingsView<'_>) -> String {
    let found = view.found;
    let value = json!({
        "format": "cornerbook.findings", "version": 1, "file": view.file,
        "grip": {
            "surface": view.grip,
            "lateral_mps2": found.limits.and_then(|it| round::thousandth(it.lateral_mps2)),
            "braking_mps2": found.limits.and_then(|it| round::thousandth(it.braking_mps2)),
        },
        "findings": found.findings.iter().map(|it| finding_json(view, it)).collect::<Vec<_>>(),
        "theoretical_best": {
            "corners": found.best_of_corners.as_ref().map(best_json),
            "sectors": found.best_of_sectors.as_ref().map(best_json),
        },
        "to_gain": found.to_gain.iter().map(|it| merged(
            json!({"corner": it.corner, "best_lap": it.best_lap}),
            [("mean_s", it.mean_s), ("gain_s", it.gain_s)],
        )).collect::<Vec<_>>(),
        "consistency": found.steadiness.iter().map(|it| merged(
            json!({
                "corner": it.corner, "figure": present::figure(it.figure), "passes": it.pooled.count,
                "spread": round::seconds(it.pooled.spread), "least_shown": round::seconds(it.pooled.least_shown),
            }),
            [("mean", it.pooled.mean)],
        )).collect::<Vec<_>>(),
        "corners": found.widest.iter().map(widest_json).collect::<Vec<_>>(),
        "lines": found.lines.iter().map(|it| line_json(view, it)).collect::<Vec<_>>(),
        "line_costs": found.kind_costs.iter().map(kind_json).collect::<Vec<_>>(),
        "traffic": found.traffic.iter().map(|it| merged(
            json!({"lap": it.lap, "corner": it.corner, "against": it.against}),
            [("cost_s", it.cost_s), ("in_corner_s", it.in_corner_s)],
        )).collect::<Vec<_>>(),
        "against": view.beside.map(|(file, beside)| beside_json(file, beside)),
    });
    let mut text = serde_json::to_string_pretty(&value).expect("numbers, strings and lists have JSON forms");
    text.push('\n');
    text
}

/// An object with estimates added, each as NAME and NAME_ci95.
fn merged<const N: usize>(mut object: Value, estimates: [(&str, Estimate); N]) -> Value {
    for (name, estimate) in estimates {
        object[name] = json!(round::seconds(estimate.value));
        object[format!("{name}_ci95")] = json!(round::seconds(estimate.ci95));
    }
    object
}

fn finding_json(view: &FindingsView<'_>, it: &Finding) -> Value {
    let evidence = it.evidence.iter().map(|it| {
        merged(json!({"figure": measure_name(it.measure), "usual": round::thousandth(it.usual)}), [("value", it.value)])
    });
    merged(
        json!({
            "id": it.suggestion().to_string(), "answer": view.answer(it).map(Answer::word),
            "corner": it.corner, "kind": it.kind.code(), "suggested_tag": present::finding_kind(it.kind),
            "laps": it.laps, "of": it.of, "per_lap_s": round::seconds(it.per_lap_s()),
            "seen_on_lap": it.seen_on_lap, "seen_at_s": round::seconds(it.seen_at_s),
            "observation": present::finding_observation(it), "advice": present::finding_advice(it.kind),
            "evidence": evidence.collect::<Vec<_>>(),
        }),
        [("size_s", it.size_s)],
    )
}

fn best_json(it: &TheoreticalBest) -> Value {
    let parts = it.parts.iter().map(|it| merged(json!({"lap": it.0}), [("time_s", it.1)]));
    merged(json!({"parts": parts.collect::<Vec<_>>()}), [("time_s", it.time_s)])
}

fn widest_json(it: &Widest) -> Value {
    json!({
        "corner": it.corner, "inside_radius_m": round::metres(it.inside_radius_m),
        "usable_m": round::metres(it.usable_m), "widest_radius_m": round::metres(it.widest_radius_m),
        "shortest_m": it.shortest_m.and_then(round::metres),
    })
}

fn line_json(view: &FindingsView<'_>, it: &Line) -> Value {
    let share = |it: Option<f64>| it.and_then(round::thousandth);
    let used = view.found.grip_used.iter().find(|used| (used.lap, used.corner) == (it.lap, it.corner));
    json!({
        "lap": it.lap, "corner": it.corner, "kind": it.kind.map(line_name),
        "entry_width": share(it.entry_width), "apex_width": share(it.apex_width), "exit_width": share(it.exit_width),
        "apex_turned": share(it.apex_turned), "radius_m": it.radius_m.and_then(round::metres),
        "longer_m": it.longer_m.and_then(round::metres), "over_shortest_m": it.over_shortest_m.and_then(round::metres),
        "grip_used": share(used.map(|it| it.share)),
        "stretch_s": it.stretch_s.and_then(|it| round::seconds(it.value)),
        "stretch_s_ci95": it.stretch_s.and_then(|it| round::seconds(it.ci95)),
    })
}

fn kind_json(it: &KindCost) -> Value {
    merged(
        json!({"corner": it.corner, "kind": line_name(it.kind), "passes": it.passes}),
        [("stretch_s", it.stretch_s), ("cost_s", it.cost_s)],
    )
}

fn beside_json(file: &str, beside: &Beside) -> Value {
    let speed = |it: Option<f64>| it.and_then(round::speed);
    let corners = beside.corners.iter().map(|it| {
        merged(
            json!({
                "corner": it.corner, "other_corner": it.other_corner,
                "passes": [it.stretch_s.0.count, it.stretch_s.1.count],
                "min_speed_mps": speed(it.min_speed_mps.map(|it| it.0.mean.value)),
                "other_min_speed_mps": speed(it.min_speed_mps.map(|it| it.1.mean.value)),
                "exit_speed_mps": speed(it.exit_speed_mps.map(|it| it.0.mean.value)),
                "other_exit_speed_mps": speed(it.exit_speed_mps.map(|it| it.1.mean.value)),
            }),
            [("stretch_s", it.stretch_s.0.mean), ("other_stretch_s", it.stretch_s.1.mean), ("behind_s", it.behind_s)],
        )
    });
    let race = beside.race.iter().map(|it| {
        merged(
            json!({"lap": it.lap, "corner": it.corner}),
            [("entry_gap_s", it.entry_gap_s), ("exit_gap_s", it.exit_gap_s), ("next_gap_s", it.next_gap_s)],
        )
    });
    let changes = beside.changes.iter().map(|it| {
        json!({"lap": it.lap, "corner": it.corner, "in_corner": it.in_corner, "gained": it.gained,
               "t_s": round::seconds(it.t_s)})
    });
    let quickest = beside.quickest.as_ref().map(|it| {
        let along = it
            .along
            .iter()
            .map(|it| merged(json!({"distance_m": round::metres(it.distance_m)}), [("behind_s", it.behind_s)]));
        json!({"lap": it.lap, "other_lap": it.other_lap, "along": along.collect::<Vec<_>>()})
    });
    json!({
        "file": file, "corners": corners.collect::<Vec<_>>(), "quickest": quickest, "race": race.collect::<Vec<_>>(),
        "changes": changes.collect::<Vec<_>>(),
    })
}
