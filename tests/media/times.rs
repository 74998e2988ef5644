//! Presentation times of shown frames against ffprobe 5.1.9 (`../shared/data/video-containers`).

use std::collections::BTreeMap;

use cornerbook::media;

use crate::support::shared_data;

/// The table is written with six digits.
const TABLE_ROUNDING_S: f64 = 0.6e-6;

fn shown_by_ffprobe() -> Option<BTreeMap<String, Vec<f64>>> {
    let table = std::fs::read_to_string(shared_data("video-containers/displayed_frames_ffprobe.csv")?).unwrap();
    let mut shown: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for row in table.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        shown.entry(cells[0].to_owned()).or_default().push(cells[2].parse().unwrap());
    }
    Some(shown)
}

#[test]
fn shown_frames_are_those_of_ffprobe() {
    let Some(shown) = shown_by_ffprobe() else { return };
    assert_eq!(shown.len(), 14);
    let mut wrong = Vec::new();
    for (file, expected_s) in shown {
        let path = shared_data(&format!("video-containers/{file}")).unwrap();
        match media::frame_times(&path) {
            Err(error) => wrong.push(error.to_string()),
            Ok(times) => {
                let times_s: Vec<f64> = times.iter().map(|it| it.seconds()).collect();
                let same = times_s.len() == expected_s.len()
                    && times_s.iter().zip(&expected_s).all(|(a, b)| (a - b).abs() < TABLE_ROUNDING_S);
                if !same {
                    let first = times_s.iter().zip(&expected_s).position(|(a, b)| (a - b).abs() >= TABLE_ROUNDING_S);
                    wrong.push(format!(
                        "{file}: {} frames, ffprobe {}; first difference at {first:?}: {:?} {:?}",
                        times_s.len(),
                        expected_s.len(),
                        first.map(|it| &times_s[it..(it + 3).min(times_s.len())]),
                        first.map(|it| &expected_s[it..(it + 3).min(expected_s.len())]),
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn dump() {
    let Some(shown) = shown_by_ffprobe() else { return };
    for file in shown.keys() {
        println!("{:?}", media::probe(&shared_data(&format!("video-containers/{file}")).unwrap()));
    }
}
