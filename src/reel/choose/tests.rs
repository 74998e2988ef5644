//! Passes chosen from a session of three laps with figures that can be told at a look.

use super::*;
use crate::book::{FileRef, Op, Outcome, Side, TagPlace};
use crate::corners::Direction;
use crate::session::{ClockMap, VideoTime};
use crate::track::Lap;

/// Exit gate speeds by lap, m/s.
const EXIT_MPS: [f64; 5] = [20.0, 23.0, 21.0, 24.0, 22.0];

fn session() -> Analysis {
    let corner = |number: u32| Corner {
        number,
        name: Corner::own_name(number),
        direction: Direction::Left,
        angle_deg: 90.0,
        min_radius_m: None,
        entry_gate_m: None,
        middle_m: None,
        exit_gate_m: None,
        latitude_deg: None,
        longitude_deg: None,
    };
    let mut analysis = Analysis { corners: vec![corner(1), corner(2)], ..Analysis::default() };
    for (lap, exit_mps) in (1..).zip(EXIT_MPS) {
        let start_t_s = f64::from(lap) * 60.0;
        let kind = if lap == 5 { LapKind::In } else { LapKind::Timed };
        analysis.laps.push(Lap { number: lap, kind, start_t_s, end_t_s: start_t_s + 60.0, time_s: None });
        for corner in 1..=2 {
            let begin_s = start_t_s + 10.0 * f64::from(corner);
            let mut pass = Pass::nothing_known(lap, corner, Direction::Left);
            (pass.entry_gate_t_s, pass.exit_gate_t_s) = (Some(begin_s), Some(begin_s + 3.0));
            pass.exit_gate_speed_mps = Some(Estimate { value: exit_mps - f64::from(corner), ci95: 0.1 });
            analysis.passes.push(pass);
        }
    }
    analysis
}

fn book(tags: &[(TagPlace, What)]) -> Book {
    let mut book = Book::new(vec![FileRef { path: "a.csv".into(), length_bytes: 1 }]);
    for (on, what) in tags {
        let note = (*what == What::Note).then(|| "a note".to_owned());
        book.apply(Op::Tag(book.next_id, Some(Tag { on: *on, what: *what, note }))).unwrap();
    }
    book
}

fn chosen(book: Option<&Book>, choice: &Choice) -> Result<Vec<(u32, u32)>, ChoiceError> {
    let analysis = session();
    let source = Source { analysis: &analysis, book, chapters: &[], footage: &[] };
    let found = choose(&[source], choice, |_, corner| Some(corner))?;
    Ok(found.passes.iter().map(|it| (it.corner, it.lap)).collect())
}

fn laps(choice: &Choice) -> Vec<u32> {
    chosen(None, choice).unwrap().into_iter().map(|it| it.1).collect()
}

#[test]
fn the_best_and_the_worst_of_each_corner_in_any_order() {
    let choice = Choice { best: 1, worst: 1, ..Choice::default() };
    assert_eq!(chosen(None, &choice), Ok(vec![(1, 4), (1, 1), (2, 4), (2, 1)]));
    let one = Choice { corners: vec![1], ..Choice::default() };
    assert_eq!(laps(&one), [4, 2, 3, 1]);
    assert_eq!(laps(&Choice { order: Order::Alternate, ..one.clone() }), [4, 1, 2, 3]);
    assert_eq!(laps(&Choice { order: Order::AsDriven, ..one.clone() }), [1, 2, 3, 4]);
    assert_eq!(laps(&Choice { best: 3, worst: 3, ..one.clone() }), [4, 2, 3, 1], "none is shown twice");
    assert_eq!(laps(&Choice { worst: 1, clean_only: false, ..one }), [1], "the in lap is not the worst");
    let driven = Choice { order: Order::AsDriven, laps: vec![1, 2], ..Choice::default() };
    assert_eq!(chosen(None, &driven), Ok(vec![(1, 1), (2, 1), (1, 2), (2, 2)]));
}

#[test]
fn ranks_and_the_best_are_told_of_all_clean_passes() {
    let analysis = session();
    let source = Source { analysis: &analysis, book: None, chapters: &[], footage: &[] };
    let choice = Choice { corners: vec![2], laps: vec![1, 3], worst: 1, ..Choice::default() };
    let found = choose(&[source], &choice, |_, corner| Some(corner)).unwrap().passes;
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].lap, found[0].rank, found[0].of, found[0].best_pass), (1, Some(4), 4, Some((0, 4, 2))));
}

#[test]
fn tags_and_verdicts_choose_and_traffic_is_not_clean() {
    let pass = |lap, corner| TagPlace::Pass { lap, corner };
    let bare = Book::new(vec![FileRef { path: "a.csv".into(), length_bytes: 1 }]);
    let kind = |name: &str| What::Kind(*bare.tag_kinds.iter().find(|it| it.1.name == name).unwrap().0);
    let book = book(&[
        (pass(2, 1), What::Exit(Exit::Bad)),
        (pass(3, 1), kind("slide")),
        (TagPlace::Frame { t_s: 71.0 }, kind("slide")),
        (pass(4, 1), kind("traffic")),
        (pass(4, 2), What::Overtake { side: Side::Inside, outcome: Outcome::Done }),
    ]);
    let of = |choice: Choice| chosen(Some(&book), &choice);
    assert_eq!(of(Choice { exit: Some(Exit::Bad), ..Choice::default() }), Ok(vec![(1, 2)]));
    assert_eq!(of(Choice { tags: vec!["Slide ".to_owned()], ..Choice::default() }), Ok(vec![(1, 3), (1, 1)]));
    let overtakes = Choice { tags: vec!["overtake".to_owned()], ..Choice::default() };
    assert_eq!(of(overtakes.clone()), Err(ChoiceError::NoneClean { others: 1 }));
    assert_eq!(of(Choice { clean_only: false, ..overtakes }), Ok(vec![(2, 4)]));
    assert_eq!(of(Choice { best: 1, ..Choice::default() }), Ok(vec![(1, 2), (2, 2)]), "traffic is not the best");
}

#[test]
fn drivers_are_told_apart_and_compared() {
    let (first, mut second) = (session(), session());
    for pass in &mut second.passes {
        pass.corner = 3 - pass.corner;
        pass.exit_gate_speed_mps = Some(Estimate { value: 30.0, ci95: 0.1 });
    }
    let driven_by = |name: &str| {
        let mut book = book(&[]);
        book.apply(Op::Driver(Some(name.to_owned()))).unwrap();
        book
    };
    let (ann, bo) = (driven_by("Ann"), driven_by("Bo"));
    let source = |analysis, book| Source { analysis, book: Some(book), chapters: &[], footage: &[] };
    let sources = [source(&first, &ann), source(&second, &bo)];
    let of = |choice: &Choice| -> Result<Vec<(usize, u32, u32)>, ChoiceError> {
        let found = choose(&sources, choice, |_, corner| Some(3 - corner))?;
        Ok(found.passes.iter().map(|it| (it.source, it.corner, it.lap)).collect())
    };
    let best = Choice { best: 1, corners: vec![1], ..Choice::default() };
    assert_eq!(of(&best), Ok(vec![(1, 2, 1)]), "the second session's corner 2 is the first's corner 1");
    assert_eq!(of(&Choice { drivers: vec!["ANN".to_owned()], ..best.clone() }), Ok(vec![(0, 1, 4)]));
    let unknown = of(&Choice { drivers: vec!["Cy".to_owned()], ..best }).unwrap_err();
    assert_eq!(unknown.to_string(), "there is no driver \"Cy\"; there is Ann, Bo");
}

#[test]
fn what_is_not_there_is_one_sentence() {
    let says = |choice: Choice| chosen(Some(&book(&[])), &choice).unwrap_err().to_string();
    let absent = says(Choice { corners: vec![7], ..Choice::default() });
    assert_eq!(absent, "there is no corner 7; the session has 1 to 2");
    let tag = says(Choice { tags: vec!["hop".to_owned()], ..Choice::default() });
    assert!(tag.starts_with("there is no tag \"hop\"; there are early turn-in, late turn-in"), "{tag}");
    assert_eq!(
        says(Choice { laps: vec![5], ..Choice::default() }),
        "no clean pass fits what is asked for, but 2 with traffic, a mistake or a gap; take them with --all"
    );
    assert_eq!(
        says(Choice { exit: Some(Exit::Good), ..Choice::default() }),
        "no pass fits what is asked for; ask for less"
    );
    let driver = says(Choice { drivers: vec!["A".to_owned()], ..Choice::default() });
    assert_eq!(driver, "there is no driver \"A\"; the book names none");
}

#[test]
fn what_the_footage_does_not_show_is_ranked_and_not_chosen() {
    let analysis = session();
    // Laps 2 and 3.
    let clock = ClockMap { log_t_s_at_zero: 120.0, rate_ppm: 0.0 };
    let (start, end) = (VideoTime(0), VideoTime::from_seconds(119.0));
    let chapters = [Chapter { file: "a.mp4".into(), clock, start, end }];
    let source = Source { analysis: &analysis, book: None, chapters: &chapters, footage: &[None] };
    let of = |choice: Choice| choose(&[source], &choice, |_, corner| Some(corner));
    let best = of(Choice { best: 1, corners: vec![1], ..Choice::default() }).unwrap();
    assert_eq!((best.passes.len(), best.passes[0].lap, best.passes[0].rank, best.without_footage), (1, 2, Some(2), 2));
    assert_eq!((best.passes[0].best_pass, best.passes[0].best_shown), (Some((0, 4, 1)), Some((0, 2, 1))));
    assert_eq!(of(Choice { laps: vec![1], ..Choice::default() }), Err(ChoiceError::NoneShown { others: 2 }));
}
