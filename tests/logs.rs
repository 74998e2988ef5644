//! The log readers, quirk by quirk, and on anything at all: no panic, and samples that keep their promises.

use cornerbook::log::{self, ColumnMap};
use cornerbook::session::{ChannelKind, LogKind, NoteKind, Samples};
use proptest::prelude::*;

fn read(text: &str) -> Samples {
    log::read("run.csv", text.as_bytes(), None).unwrap_or_else(|error| panic!("{error}"))
}

fn refusal(bytes: &[u8]) -> String {
    log::read("run.csv", bytes, None).unwrap_err().to_string()
}

fn has(samples: &Samples, is_it: impl Fn(&NoteKind) -> bool) -> bool {
    samples.notes().iter().any(|note| is_it(&note.kind))
}

/// Rows `t, lat, lon, extra` of a kart going north at 20 m/s, 10 Hz.
fn rows(count: u32, extra: impl Fn(u32) -> String) -> String {
    (0..count)
        .map(|it| {
            let t_s = f64::from(it) * 0.1;
            format!("{t_s:.1},{:.7},8.2000000{}\n", 47.0 + t_s * 20.0 / 111_195.0, extra(it))
        })
        .collect()
}

#[test]
fn delimiters_marks_and_line_ends_give_the_same_samples() {
    let plain = format!("t_s,lat,lon,speed_kmh\n{}", rows(30, |_| ",72.5".to_owned()));
    let expected = read(&plain);
    assert_eq!(expected.fixes().len(), 30);
    assert!((expected.channel(ChannelKind::Speed).unwrap().value[0] - 72.5 / 3.6).abs() < 1e-12);
    let semicolons = plain.replace(',', ";").replace('.', ",");
    let utf_16: Vec<u8> = [0xff, 0xfe].into_iter().chain(plain.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let quoted = plain.lines().map(|it| format!("\"{}\"\n", it.replace(',', "\",\""))).collect::<String>();
    for variant in [
        plain.replace(',', "\t").into_bytes(),
        semicolons.into_bytes(),
        format!("\u{feff}{plain}").into_bytes(),
        utf_16,
        plain.replace('\n', "\r\n").into_bytes(),
        plain.replace('\n', "\r").into_bytes(),
        quoted.into_bytes(),
        format!("Logger, model 3\nDriver,A\n\n# {plain}").into_bytes(),
        plain.replacen("speed_kmh\n", "speed\ns,deg,deg,km/h\n", 1).into_bytes(),
        plain.replace("\n0.5,", "\n# a remark\n0.5,").into_bytes(),
    ] {
        let found = log::read("run.csv", &variant, None).unwrap();
        assert_eq!(found.fixes(), expected.fixes(), "{}", String::from_utf8_lossy(&variant[..60]));
        assert_eq!(found.channel(ChannelKind::Speed), expected.channel(ChannelKind::Speed));
    }
}

#[test]
fn latin_1_degree_signs_survive() {
    let mut bytes = b"t_s,yaw rate [\xb0/s]\n".to_vec();
    bytes.extend((0..20).flat_map(|it| format!("{it},{}.0\n", it * 3).into_bytes()));
    let samples = log::read("run.csv", &bytes, None).unwrap();
    assert!((samples.channel(ChannelKind::YawRate).unwrap().value[1] - 3_f64.to_radians()).abs() < 1e-12);
}

#[test]
fn a_missing_speed_unit_is_taken_from_the_path_and_told() {
    let samples = read(&format!("t_s,lat,lon,speed\n{}", rows(100, |_| ",44.7".to_owned())));
    assert!(has(&samples, |it| matches!(it, NoteKind::UnitAssumed { unit, .. } if unit == "mph")));
    assert!((samples.channel(ChannelKind::Speed).unwrap().value[0] - 19.98).abs() < 0.01);
}

#[test]
fn a_fix_repeated_in_fast_rows_counts_once() {
    let text: String = (0..500)
        .map(|row| {
            let fix = row / 10;
            format!(
                "{:.2},{:.7},8.2,{},{}\n",
                f64::from(row) * 0.01,
                47.0 + f64::from(fix) * 2e-5,
                70 + fix % 3,
                row % 97
            )
        })
        .collect();
    let samples = read(&format!("t_s,lat,lon,speed_kmh,yaw_rate_dps\n{text}"));
    assert_eq!(samples.fixes().len(), 50);
    assert_eq!(samples.channel(ChannelKind::Speed).unwrap().len(), 50);
    assert_eq!(samples.channel(ChannelKind::YawRate).unwrap().len(), 500);
    assert!(has(&samples, |it| *it == NoteKind::FixesRepeated { count: 450 }));
    assert!((samples.rate_hz().unwrap() - 10.0).abs() < 1e-6);
}

#[test]
fn whole_second_stamps_at_ten_rows_each_are_spread() {
    let text: String = (0..100).map(|row| format!("{},{:.7},8.2\n", row / 10, 47.0 + f64::from(row) * 2e-5)).collect();
    let samples = read(&format!("t_s,lat,lon\n{text}"));
    assert_eq!(samples.fixes().len(), 100);
    assert!(has(&samples, |it| *it == NoteKind::TimesSpread { count: 90 }));
    assert!((samples.fixes()[15].t_s - 1.5).abs() < 1e-9);
}

#[test]
fn dates_zones_and_midnight_are_kept() {
    let with = |times: [&str; 3]| {
        let lines: String = times.iter().enumerate().map(|(it, time)| format!("{time},47.00{it},8.2\n")).collect();
        read(&format!("time,lat,lon\n{lines}"))
    };
    let zoned = with(["2024-05-01T00:00:00+02:00", "2024-05-01T00:00:10+02:00", "2024-05-01T00:00:20+02:00"]);
    assert_eq!(zoned.start_utc().unwrap().to_rfc3339(), "2024-04-30T22:00:00+00:00");
    assert!(!has(&zoned, |it| *it == NoteKind::ZoneAssumed));
    assert!(has(&with(["2024-05-01 10:00:00", "2024-05-01 10:00:10", "2024-05-01 10:00:20"]), |it| *it
        == NoteKind::ZoneAssumed));
    let night = with(["23:59:50", "00:00:00", "00:00:10"]);
    assert_eq!((night.duration_s(), night.start_utc()), (20.0, None));
    let unix = with(["1714557600000", "1714557610000", "1714557620000"]);
    assert_eq!((unix.duration_s(), unix.start_utc().unwrap().timestamp()), (20.0, 1_714_557_600));
}

#[test]
fn a_date_column_and_a_counter_beside_a_date_are_used() {
    let dated = read("Date,Time,lat,lon\n31.12.2024,23:59:59,47,8\n01.01.2025,00:00:01,47.0001,8\n");
    assert_eq!(
        (dated.duration_s(), dated.start_utc().unwrap().to_rfc3339().as_str()),
        (2.0, "2024-12-31T23:59:59+00:00")
    );
    let both = read("utc,t_s,lat,lon\n2024-05-01T10:00:00Z,5.25,47,8\n2024-05-01T10:00:01Z,6.25,47.0001,8\n");
    assert_eq!(both.sources()[0].own_clock_s, Some(5.25));
    assert_eq!(both.start_utc().unwrap().to_rfc3339(), "2024-05-01T10:00:00+00:00");
}

#[test]
fn what_is_set_aside_is_counted() {
    let mut text = format!("t_s,lat,lon\n{}", rows(40, |_| String::new()));
    text = text.replace("\n1.0,", "\n1.0,0,0\n1.05,").replace("\n2.0,", "\nrubbish,1,2\n2.0,95,8\n2.05,");
    text.push_str("3.0,47.0005,8.2\n4.0,47.0");
    let samples = read(&text);
    for expected in [NoteKind::VoidFixes { count: 1 }, NoteKind::PositionsOutOfRange { count: 1 }] {
        assert!(has(&samples, |it| *it == expected), "{expected:?} in {:?}", samples.notes());
    }
    assert!(has(&samples, |it| matches!(it, NoteKind::RowsDamaged { count: 2, .. })), "{:?}", samples.notes());
    assert!(has(&samples, |it| matches!(it, NoteKind::TimeBack { count: 1, .. })));
}

#[test]
fn gaps_are_told_and_a_stand_is_none() {
    let driven = format!("{}60.0,47.01,8.2\n60.1,47.01002,8.2\n", rows(30, |_| String::new()));
    assert!(has(&read(&format!("t_s,lat,lon\n{driven}")), |it| matches!(it, NoteKind::Gap { .. })));
    let last = 47.0 + 2.9 * 20.0 / 111_195.0;
    let stood = format!("{}60.0,{last:.7},8.2\n60.1,{last:.7},8.2\n", rows(30, |_| String::new()));
    assert!(!has(&read(&format!("t_s,lat,lon\n{stood}")), |it| matches!(it, NoteKind::Gap { .. })));
}

#[test]
fn a_column_map_outranks_the_headers() {
    let map = ColumnMap::parse(
        "map.toml",
        "[time]\ncolumn = 1\nunit = \"ms\"\n[latitude]\ncolumn = 2\n[longitude]\ncolumn = 3\n",
    );
    let samples = log::read("run.csv", b"0,47,8\n100,47.0001,8\n", Some(&map.unwrap())).unwrap();
    assert!((samples.duration_s() - 0.1).abs() < 1e-12);
    let missing = ColumnMap::parse("map.toml", "[speed]\ncolumn = \"pace\"\n").unwrap();
    assert_eq!(
        log::read("run.csv", b"t,lat,lon\n0,1,2\n1,1,2\n", Some(&missing)).unwrap_err().to_string(),
        "run.csv: the column map names \"pace\" for speed, but the header on line 1 has \"t\", \"lat\", \"lon\"; correct the map"
    );
}

#[test]
fn every_unusable_file_is_one_sentence() {
    for (bytes, sentence) in [
        (&b""[..], "run.csv: holds nothing; give a log with at least one row"),
        (b" \n\n", "run.csv: holds nothing; give a log with at least one row"),
        (b"\xff\xd8\xff\xe0", "run.csv, byte 0: is a JPEG picture, not a log; give a CSV, NMEA 0183 or GPX file"),
        (
            b"\0\0\0\x18ftypmp42",
            "run.csv, byte 0: is MP4 or QuickTime footage, not a log; give a CSV, NMEA 0183 or GPX file",
        ),
        (b"<html></html>", "run.csv, byte 0: is a web page, not a log; give a CSV, NMEA 0183 or GPX file"),
        (b"\x01\x02\x03\x04", "run.csv, byte 0: is no text and no known log; give a CSV, NMEA 0183 or GPX file"),
        (
            b"hello",
            "run.csv: is text, but neither CSV (cells parted by comma, semicolon or tab) nor NMEA 0183 nor GPX; \
             give a log of one of these kinds",
        ),
        (b"t_s,lat,lon\n", "run.csv, line 1: a header without a row of data below it; record or export the log again"),
        (b"lat,lon\n1,2\n", "run.csv, line 1: no column for the time among \"lat\", \"lon\"; name it with --columns"),
        (
            b"t_s,rpm\n1,2\n",
            "run.csv, line 1: neither latitude and longitude nor a yaw rate among \"t_s\", \"rpm\"; name the columns with --columns",
        ),
        (
            b"t,lat,lon\nx,1,2\n",
            "run.csv, line 2: column \"t\" holds \"x\", which is no time; name the time column with --columns",
        ),
        (
            b"t_s,lat,lon\n5,1,2\n5,1,3\n",
            "run.csv, line 2: the time never goes on after 5.000 s; a log needs at least two times",
        ),
        (
            b"t_s,lat,lon\n5,91,2\n6,92,3\n",
            "run.csv, line 2: latitude or longitude out of range in all 2 fixes (the first is 91, 2); latitudes lie within \
             \u{b1}90\u{b0}, longitudes within \u{b1}180\u{b0}, so the columns are swapped or mean something else; name them with --columns",
        ),
        (
            b"t_s,lat,lon\n5,nan,inf\n6,nan,inf\n",
            "run.csv: no usable position and no usable yaw rate in 2 rows; record or export the log again",
        ),
        (b"t_s,lat,lon\n5,0,0\n6,0,0\n", "run.csv: all 2 fixes are void; record again with a clear view of the sky"),
        (
            b"$GPGSV,1,1,00*79\n",
            "run.csv: 1 sentences, but none of RMC, GGA or GNS with a time; set the logger to write RMC",
        ),
        (
            b"$GPRMC,120000,A,4700.00,N,00800.00,E,10,0,010124,,*00\n",
            "run.csv: the checksums of all 1 sentences are wrong; copy the log from the logger again",
        ),
        (b"<gpx></gpx>", "run.csv: no track point; export a track, not a route or waypoints"),
        (
            b"<gpx><trk><trkseg><trkpt lat=\"1\" lon=\"2\"/></trkseg></trk></gpx>",
            "run.csv: none of the 1 track points has a time; export the track with times",
        ),
    ] {
        assert_eq!(refusal(bytes), sentence);
    }
    let one_line = [&b"t_s,lat,lon\n"[..], &b"1,".repeat(40_000)].concat();
    assert_eq!(
        refusal(&one_line),
        "run.csv, line 2: has 80000 bytes, more than any row of a table; give a log with a line per row"
    );
    assert!(refusal(b"<gpx><trk></gpx>").starts_with("run.csv, byte "));
    let numbers_alone = refusal(b"1,2,3\n4,5,6\n");
    assert!(
        numbers_alone.starts_with("run.csv, line 1: no row names the columns; put a header such as"),
        "{numbers_alone}"
    );
    assert_eq!(log::join(Vec::new()).unwrap_err().to_string(), "no log given; name at least one log file");
}

#[test]
fn two_fixes_are_a_log() {
    assert_eq!(read("t_s,lat,lon\n0,47,8\n1,47.0001,8\n").fixes().len(), 2);
}

/// `$…*hh` around a body.
fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\r\n", log::nmea::checksum(body.as_bytes()))
}

#[test]
fn nmea_epochs_are_merged_over_midnight_and_damage_costs_itself() {
    let mut bytes = b"\x00\xfe".to_vec();
    for (time, date, minutes) in
        [("235959.50", "311224", "00.0000"), ("000000.00", "010125", "00.0100"), ("000000.50", "010125", "00.0200")]
    {
        bytes.extend(sentence(&format!("GNGGA,{time},47{minutes}99,N,00812.0000,E,1,09,0.8,400,M,,M,,")).bytes());
        bytes.extend(sentence(&format!("GNRMC,{time},A,47{minutes},N,00812.0000,E,72.0,0.5,{date},,,A")).bytes());
    }
    bytes.extend(b"$GNRMC,000001.00,A,4700.0000,N,00812.0000,E,72.0,0.5,010125,,,A*00\r\n$GNRMC,0000");
    let samples = log::read("run.nmea", &bytes, None).unwrap();
    assert_eq!(samples.sources()[0].kind, LogKind::Nmea);
    assert_eq!(samples.start_utc().unwrap().to_rfc3339(), "2024-12-31T23:59:59.500+00:00");
    assert_eq!(samples.fixes().iter().map(|it| it.t_s).collect::<Vec<_>>(), [0.0, 0.5, 1.0]);
    // The GGA writes two decimals more.
    assert!((samples.fixes()[0].latitude_deg - (47.0 + 0.000_099 / 60.0)).abs() < 1e-9, "{:?}", samples.fixes()[0]);
    assert!((samples.channel(ChannelKind::Speed).unwrap().value[0] - 37.04).abs() < 1e-9);
    assert_eq!(samples.channel(ChannelKind::Satellites).unwrap().value[0], 9.0);
    assert!(has(&samples, |it| *it == NoteKind::ChecksumsWrong { count: 1 }));
    assert!(has(&samples, |it| *it == NoteKind::BytesPassedOver { count: 2 }));
    assert!(has(&samples, |it| matches!(it, NoteKind::RowsDamaged { count: 1, .. })));
}

#[test]
fn gpx_speed_comes_from_any_extension_and_a_torn_file_keeps_its_points() {
    let point = |second: u32, inner: &str| {
        format!("<trkpt lat=\"47.{second:04}\" lon=\"8.2\"><time>2024-05-01T10:00:{second:02}Z</time>{inner}</trkpt>\n")
    };
    let points: String =
        (0..20).map(|it| point(it, "<extensions><x:a><x:Speed>11.12</x:Speed></x:a></extensions>")).collect();
    let text = format!("<gpx version=\"1.1\"><trk><name>&lt;a&gt;</name><trkseg>\n{points}</trkseg></trk></gpx>");
    let samples = log::read("run.gpx", text.as_bytes(), None).unwrap();
    assert_eq!(samples.fixes().len(), 20);
    assert!((samples.channel(ChannelKind::Speed).unwrap().value[0] - 11.12).abs() < 1e-12);
    let torn = log::read("run.gpx", &text.as_bytes()[..text.len() - 120], None).unwrap();
    assert!(torn.fixes().len() >= 18);
    assert!(has(&torn, |it| matches!(it, NoteKind::RowsDamaged { .. })));
}

#[test]
fn files_are_joined_by_date_and_overlaps_are_told() {
    let part = |from: u32, count: u32| {
        let lines: String =
            (from..from + count).map(|it| format!("2024-05-01T10:00:{it:02}Z,47.{it:04},8.2\n")).collect();
        read(&format!("time,lat,lon\n{lines}"))
    };
    let joined = log::join(vec![part(30, 10), part(0, 10)]).unwrap();
    assert_eq!((joined.fixes().len(), joined.duration_s()), (20, 39.0));
    let overlapping = log::join(vec![part(0, 10), part(5, 10)]).unwrap();
    assert_eq!(overlapping.fixes().len(), 15);
    assert!(has(&overlapping, |it| matches!(it, NoteKind::FilesOverlap { .. })));
    let undated = || read("t_s,lat,lon\n0,47,8\n1,47.0001,8\n");
    assert!(has(&log::join(vec![undated(), undated()]).unwrap(), |it| *it == NoteKind::FileOrderAssumed));
}

fn keeps_its_promises(samples: &Samples) {
    assert!(samples.fixes().windows(2).all(|pair| pair[0].t_s < pair[1].t_s));
    assert!(samples.fixes().iter().all(|it| it.latitude_deg.abs() <= 90.0 && it.longitude_deg.abs() <= 180.0));
    for channel in samples.channels().values() {
        assert_eq!(channel.t_s.len(), channel.value.len());
        assert!(channel.t_s.windows(2).all(|pair| pair[0] < pair[1]));
        assert!(channel.value.iter().chain(&channel.t_s).all(|it| it.is_finite()));
    }
}

fn good_csv() -> Vec<u8> {
    format!("t_s,lat,lon,speed_kmh,\"yaw rate [deg/s]\"\n{}", rows(30, |it| format!(",{},{}", 60 + it % 7, it % 11)))
        .into_bytes()
}

fn good_nmea() -> Vec<u8> {
    (0..20)
        .flat_map(|it| {
            let rmc = sentence(&format!("GPRMC,1000{it:02}.00,A,4700.{it:04},N,00812.0000,E,40.0,0.5,010524,,,A"));
            let gga = sentence(&format!("GPGGA,1000{it:02}.00,4700.{it:04},N,00812.0000,E,1,09,0.8,400,M,,M,,"));
            (rmc + &gga).into_bytes()
        })
        .collect()
}

fn good_gpx() -> Vec<u8> {
    let points: String = (0..20)
        .map(|it| {
            format!(
                "<trkpt lat=\"47.{it:04}\" lon=\"8.2\"><time>2024-05-01T10:00:{it:02}Z</time><speed>9</speed></trkpt>"
            )
        })
        .collect();
    format!("<?xml version=\"1.0\"?><gpx><trk><trkseg>{points}</trkseg></trk></gpx>").into_bytes()
}

proptest! {
    #[test]
    fn anything_is_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        if let Ok(samples) = log::read("any", &bytes, None) {
            keeps_its_promises(&samples);
        }
    }

    #[test]
    fn text_like_a_table_is_read_or_refused(text in "t_s,lat,lon,v\n([-0-9.,;e\"\n ]{0,12}\n){0,20}") {
        if let Ok(samples) = log::read("any", text.as_bytes(), None) {
            keeps_its_promises(&samples);
        }
    }

    #[test]
    fn good_files_with_bytes_changed_are_read_or_refused(
        kind in 0..3_usize,
        changes in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>()), 0..12),
        end in any::<proptest::sample::Index>(),
    ) {
        let mut bytes = [good_csv, good_nmea, good_gpx][kind]();
        for (place, byte) in &changes {
            let place = place.index(bytes.len());
            bytes[place] = *byte;
        }
        bytes.truncate(bytes.len() - end.index(bytes.len()) / 2);
        if let Ok(samples) = log::read("any", &bytes, None) {
            keeps_its_promises(&samples);
            let twice = log::join(vec![samples.clone(), samples]).unwrap();
            keeps_its_promises(&twice);
        }
    }

    #[test]
    fn any_column_map_is_read_or_refused(text in "[a-z\\[\\]=\" .0-9\n]{0,80}") {
        let _any = ColumnMap::parse("map.toml", &text);
    }
}
