//! `passes --format parquet`: where a season's files go, what is in them, and what is refused.

use super::{Program, stadium_csv, stadium_track};

fn stadium(dated: bool) -> Program {
    Program::new().with_file("run.csv", stadium_csv(dated)).with_file("track.geojson", stadium_track())
}

#[cfg(feature = "parquet")]
mod written {
    use std::fs::File;

    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::{Field, RowAccessor};

    use super::*;
    use crate::cli::stadium::{LAPS, SPEED_MPS};

    #[test]
    fn a_session_goes_below_its_circuit_and_year() {
        let program = stadium(true);
        let args = ["passes", "run.csv", "--track", "track.geojson", "--format", "parquet", "--out", "season"];
        let named = program.run([args.as_slice(), &["--circuit", "Salt Pan/2"]].concat());
        let path = "season/circuit=Salt%20Pan%2F2/year=2026/run.parquet";
        assert_eq!(named.is_done().out, format!("{path}\n"));
        let file = SerializedFileReader::new(File::open(program.path(path)).unwrap()).unwrap();
        let rows: Vec<_> = file.get_row_iter(None).unwrap().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 2 * LAPS as usize);
        let names: Vec<String> = rows[0].get_column_iter().map(|it| it.0.clone()).collect();
        let at = |name: &str| names.iter().position(|it| it == name).unwrap();
        assert_eq!(rows[0].get_string(at("circuit")).unwrap(), "Salt Pan/2");
        assert_eq!(rows[0].get_string(at("session")).unwrap(), "run");
        assert!(rows[0].get_string(at("driver")).is_err(), "a log names no driver");
        // 2026-05-03 is day 20 576 since 1970-01-01.
        assert_eq!(rows[0].get_column_iter().nth(at("date")).unwrap().1, &Field::Date(20_576));
        assert_eq!((rows[3].get_int(at("lap")).unwrap(), rows[3].get_int(at("corner")).unwrap()), (2, 2));
        assert!((rows[3].get_double(at("min_speed_mps")).unwrap() - SPEED_MPS).abs() < 0.5);
        assert!(rows[3].get_timestamp_micros(at("apex_utc")).unwrap() > 20_576 * 86_400_000_000);
    }

    #[test]
    fn a_file_that_is_there_stays_unless_forced() {
        let program = stadium(false);
        let args = ["passes", "run.csv", "--format", "parquet", "--out", "season"];
        let first = program.run(args);
        assert!(first.is_done().out.starts_with("season/circuit=unknown/year=__HIVE_DEFAULT_PARTITION__/run"));
        assert!(program.run(args).is_refused(1).contains("run.parquet"));
        program.run([args.as_slice(), &["--force"]].concat()).is_done();
        assert!(program.run(["passes", "run.csv", "--format", "parquet", "--out", "run.csv"]).code != 0);
    }
}

#[cfg(not(feature = "parquet"))]
#[test]
fn a_build_without_parquet_says_so() {
    let outcome = stadium(true).run(["passes", "run.csv", "--format", "parquet", "--out", "season"]);
    assert!(outcome.is_refused(1).contains("this build writes no Parquet"));
}

#[test]
fn what_belongs_to_parquet_goes_with_it() {
    let program = stadium(true);
    assert!(program.run(["passes", "run.csv", "--format", "parquet"]).is_refused(2).contains("--out"));
    for option in [["--out", "season"].as_slice(), &["--circuit", "x"], &["--force"]] {
        let refused = program.run([["passes", "run.csv"].as_slice(), option].concat());
        assert!(refused.is_refused(2).contains("--format parquet"), "{option:?}");
    }
    assert_eq!(program.files(), ["run.csv", "track.geojson"]);
}
