//! A strict reader of WebVTT by its grammar (W3C, WebVTT, section 4): what is wrong with a file, or its cues.

/// A cue: from and until in seconds, and its lines.
pub type Cue = (f64, f64, Vec<String>);

pub fn cues(text: &str) -> Result<Vec<Cue>, String> {
    if text.contains('\0') {
        return Err("holds U+0000".to_owned());
    }
    let lines: Vec<&str> = text.lines().collect();
    let head = lines.first().ok_or("is empty")?;
    if *head != "WEBVTT" && !head.starts_with("WEBVTT ") && !head.starts_with("WEBVTT\t") {
        return Err("does not begin with WEBVTT".to_owned());
    }
    if lines.get(1).is_some_and(|it| !it.is_empty()) {
        return Err("has no empty line under its head".to_owned());
    }
    let mut cues: Vec<Cue> = Vec::new();
    for block in lines[1..].split(|it| it.is_empty()).filter(|it| !it.is_empty()) {
        let at = usize::from(!block[0].contains("-->"));
        let timings = block.get(at).filter(|it| it.contains("-->")).ok_or("a block without timings")?;
        let (from, until) = timings.split_once(" --> ").ok_or("timings without ' --> '")?;
        let until = until.split_whitespace().next().ok_or("timings without an end")?;
        let (from_s, until_s) = (seconds(from)?, seconds(until)?);
        if until_s <= from_s {
            return Err(format!("{timings}: ends before it begins"));
        }
        if cues.last().is_some_and(|it| it.0 > from_s) {
            return Err(format!("{timings}: begins before the cue above"));
        }
        let payload = &block[at + 1..];
        payload.iter().try_for_each(|it| well_formed(it))?;
        cues.push((from_s, until_s, payload.iter().map(|it| (*it).to_owned()).collect()));
    }
    Ok(cues)
}

/// "hh:mm:ss.ttt" or "mm:ss.ttt", with two digits or more of hours.
fn seconds(stamp: &str) -> Result<f64, String> {
    let wrong = || format!("{stamp:?} is no time stamp");
    let (clock, millis) = stamp.split_once('.').ok_or_else(wrong)?;
    let parts: Vec<&str> = clock.split(':').collect();
    let is_number = |it: &str, digits: usize| it.len() == digits && it.bytes().all(|it| it.is_ascii_digit());
    let (hours, rest) = match parts.as_slice() {
        [hours, minutes, seconds] if hours.len() >= 2 && is_number(hours, hours.len()) => {
            (*hours, [*minutes, *seconds])
        }
        [minutes, seconds] => ("00", [*minutes, *seconds]),
        _ => return Err(wrong()),
    };
    let value = |it: &str| it.parse::<f64>().map_err(|_| wrong());
    if !is_number(millis, 3) || !rest.iter().all(|it| is_number(it, 2) && *it < "60") {
        return Err(wrong());
    }
    Ok(value(hours)? * 3600.0 + value(rest[0])? * 60.0 + value(rest[1])? + value(millis)? / 1000.0)
}

/// Cue text without tags: no bare "<" and "&", and no arrow.
fn well_formed(line: &str) -> Result<(), String> {
    let entities = ["&amp;", "&lt;", "&gt;", "&nbsp;", "&lrm;", "&rlm;"];
    let bare = line.match_indices('&').find(|(at, _)| !entities.iter().any(|it| line[*at..].starts_with(it)));
    if line.contains("-->") || line.contains('<') || bare.is_some() {
        return Err(format!("{line:?} holds markup"));
    }
    Ok(())
}

#[test]
fn the_reader_is_strict() {
    let file = |cue: &str| format!("WEBVTT\n\n{cue}\ntext\n");
    assert_eq!(cues(&file("00:01.000 --> 00:02.500")).unwrap(), [(1.0, 2.5, vec!["text".to_owned()])]);
    assert_eq!(cues(&file("100:00:01.000 --> 100:00:02.500")).unwrap()[0].0, 360_001.0);
    for wrong in
        ["0:01.000 --> 00:02.000", "00:01.00 --> 00:02.000", "00:02.000 --> 00:01.000", "00:60.000 --> 01:01.000", "x"]
    {
        assert!(cues(&file(wrong)).is_err(), "{wrong}");
    }
    assert!(cues("WEBVTT\n\n00:01.000 --> 00:02.000\na & b\n").is_err());
    assert!(cues("WEBVTTX\n").is_err() && cues("").is_err());
}

/// Files of the W3C's own tests for readers: what their names call wrong is not read as a cue.
#[test]
fn the_reader_agrees_with_published_examples() {
    for (name, is_valid) in [("omitted-hours", true), ("negative", false), ("too-long", false), ("too-short", false)] {
        let Some(path) = super::shared_data(&format!("reference/webvtt/timings-{name}.vtt")) else { return };
        let text = std::fs::read_to_string(path).unwrap();
        assert_eq!(cues(&text).is_ok(), is_valid, "{name}: {:?}", cues(&text));
    }
}
