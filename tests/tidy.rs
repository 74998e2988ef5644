//! Repository rules as tests: floors, headers, habits, file sizes, documents in step with the program.
//! Each rule is a function from a file's text to findings, so that each is also shown text that breaks it.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms of `src/` by floor, the lowest first. A room may use only rooms on lower floors.
/// A change here is a change of its own, together with DEVELOPERS.md.
const FLOORS: &[&[&str]] = &[
    &["units", "files", "job"],
    &["geom", "signal"],
    &["session"],
    &["log", "smooth", "track", "clock", "book"],
    &["corners"],
    &["findings"],
    &["analysis", "present"],
    &["strip", "reel", "report"],
    &["draw"],
    &["media", "sample"],
    &["load", "handout"],
    &["window"],
    &["cli", "main"],
];

/// Arrows that the floors alone would forbid: from, to, why.
const ALLOWED_ARROWS: &[(&str, &str, &str)] = &[
    ("sample", "media", "the demo's footage is encoded by the same code that encodes clips"),
    ("reel", "strip", "two laps are locked by place once, for the window and for films"),
    ("report", "strip", "pages show the same map and the same plots as the window"),
    ("report", "reel", "which passes are clean and what a tag says is decided once, for films and for pages"),
];

/// The highest floor that builds without GStreamer, cairo and GTK.
const HIGHEST_CORE_FLOOR: usize = 7;
const TOOLKITS: &[&str] = &["gtk", "glib", "gst", "cairo"];

const MOST_LINES: usize = 600;
/// Files that may be longer: path, why.
const LONG_FILES: &[(&str, &str)] = &[];

/// Words that have a better one here, or no place in a finished tree. Split so that this list does not find itself.
const FORBIDDEN_WORDS: &[(&str, &str)] = &[
    (concat!("TO", "DO"), "do it, or describe it in an issue"),
    (concat!("FIX", "ME"), "fix it, or describe it in an issue"),
    (concat!("cu", "rb"), "the word is kerb (docs/glossary.md)"),
];

#[test]
fn rooms_use_only_rooms_on_lower_floors() {
    expect_none(findings_in("src", &["rs"], arrows_that_point_up));
}

#[test]
fn every_room_has_a_floor() {
    let mut rooms: Vec<String> = source_files("src", &["rs"]).iter().filter_map(|it| room_of(it)).collect();
    rooms.dedup();
    let homeless: Vec<_> = rooms.iter().filter(|room| *room != "lib" && floor_of(room).is_none()).collect();
    assert!(rooms.len() > 10 && homeless.is_empty(), "rooms without a floor in FLOORS: {homeless:?}");
}

#[test]
fn the_core_does_not_know_the_toolkits() {
    expect_none(findings_in("src", &["rs"], toolkits_in_the_core));
}

#[test]
fn source_files_keep_the_habits() {
    for folder in ["src", "tests", "benches", "examples"] {
        expect_none(findings_in(folder, &["rs"], |file, text| {
            [missing_header(file, text), unreadable_imports(file, text), too_long(file, text)].concat()
        }));
    }
    expect_none(findings_in("src", &["rs"], unwraps_outside_tests));
}

#[test]
fn words_are_the_ones_of_the_glossary() {
    for folder in ["src", "tests", "benches", "examples", "docs", "resources"] {
        expect_none(findings_in(folder, &["rs", "md", "toml", "sh", "py"], forbidden_words));
    }
}

/// The rules can fail: each is shown a text that breaks it, and one that does not.
#[test]
fn broken_rules_are_reported() {
    let up = arrows_that_point_up("src/corners/fit.rs", "//! x\nuse crate::media::clip;\n// crate::draw\n");
    assert_eq!(up, ["src/corners/fit.rs:2: corners (floor 4) may not use media (floor 9)"]);
    let sideways = arrows_that_point_up("src/log/mod.rs", "fn f() { crate::track::laps(); }\n");
    assert_eq!(sideways, ["src/log/mod.rs:1: log (floor 3) may not use track (floor 3)"]);
    let by_the_back_door = arrows_that_point_up("src/geom/mod.rs", "use super::session::Path;\n");
    assert_eq!(by_the_back_door, ["src/geom/mod.rs:1: geom (floor 1) may not use session (floor 2)"]);
    let unknown = arrows_that_point_up("src/geom/mod.rs", "use crate::utils::x;\n");
    assert_eq!(unknown, ["src/geom/mod.rs:1: geom (floor 1) may not use utils (no floor)"]);
    assert!(arrows_that_point_up("src/cli/mod.rs", concat!("use crate", "::{\n")).is_empty());
    assert!(
        arrows_that_point_up("src/corners/fit.rs", "use crate::corners::Pass;\nuse crate::geom::Point;\n").is_empty()
    );
    assert!(arrows_that_point_up("src/geom/mod.rs", "/// See [`crate::media`].\n/* crate::cli */").is_empty());
    assert!(arrows_that_point_up("src/sample/film.rs", "use crate::media::encode;\n").is_empty());

    assert_eq!(toolkits_in_the_core("src/report/mod.rs", "use cairo::Context;\n").len(), 1);
    assert_eq!(toolkits_in_the_core("src/log/mod.rs", "fn f() { gst_app::init(); }\n").len(), 1);
    assert!(toolkits_in_the_core("src/draw/mod.rs", "use cairo::Context;\n").is_empty());
    assert!(toolkits_in_the_core("src/present/mod.rs", "const HELP: &str = \"install gst plugins\";\n").is_empty());

    assert_eq!(missing_header("src/a.rs", "use std::fmt;\n").len(), 1);
    assert_eq!(
        unreadable_imports("src/a.rs", concat!("//! x\nuse crate", "::{a, b};\nuse super", "::super::c;\n")).len(),
        2
    );
    assert_eq!(
        unwraps_outside_tests("src/a.rs", "fn f() { x.unwrap(); }\n#[cfg(test)]\nmod tests { y.unwrap(); }").len(),
        1
    );
    assert!(unwraps_outside_tests("src/a.rs", "// no unwrap() here\n").is_empty());
    assert_eq!(too_long("src/a.rs", &"\n".repeat(MOST_LINES + 1)).len(), 1);
    assert_eq!(forbidden_words("src/a.rs", concat!("// TO", "DO later\nlet cu", "rbs = 1;\n")).len(), 2);
    assert!(forbidden_words("src/a.rs", "disturb the kerb\n").is_empty());
}

/// A list of exceptions that outlives its reason is a hole in the wall.
#[test]
fn exceptions_are_still_needed() {
    for (path, _why) in LONG_FILES {
        let lines = fs::read_to_string(root().join(path)).unwrap().lines().count();
        assert!(lines > MOST_LINES, "{path} has {lines} lines: take it off LONG_FILES");
    }
}

/// `crate::NAME` (and `super::NAME` from a room's own file) where NAME is not on a lower floor than the file's room.
fn arrows_that_point_up(file: &str, text: &str) -> Vec<String> {
    let Some(room) = room_of(Path::new(file)).filter(|room| room != "lib") else { return Vec::new() };
    let climbs_to_the_root =
        file.matches('/').count() == 1 || file.ends_with("/mod.rs") && file.matches('/').count() == 2;
    let mut found = Vec::new();
    for (line, code) in code_lines(text) {
        let by_crate = names_after(&code, "crate::").map(|name| (name, true));
        let by_super = names_after(&code, "super::").map(|name| (name, false));
        for (name, certain) in by_crate.chain(by_super) {
            if !certain && (!climbs_to_the_root || floor_of(name).is_none()) {
                continue;
            }
            if name != room && !may_use(&room, name) {
                found.push(format!("{file}:{line}: {} may not use {}", placed(&room), placed(name)));
            }
        }
    }
    found
}

fn may_use(room: &str, other: &str) -> bool {
    let lower = matches!((floor_of(room), floor_of(other)), (Some(own), Some(its)) if its < own);
    lower || ALLOWED_ARROWS.iter().any(|(from, to, _why)| *from == room && *to == other)
}

fn placed(room: &str) -> String {
    floor_of(room).map_or_else(|| format!("{room} (no floor)"), |floor| format!("{room} (floor {floor})"))
}

fn floor_of(room: &str) -> Option<usize> {
    FLOORS.iter().position(|rooms| rooms.contains(&room))
}

/// The folder or file of `src/` that a source file belongs to.
fn room_of(file: &Path) -> Option<String> {
    let inside = file.strip_prefix("src").ok()?;
    let first = Path::new(inside.components().next()?.as_os_str());
    Some(first.with_extension("").to_string_lossy().into_owned())
}

fn toolkits_in_the_core(file: &str, text: &str) -> Vec<String> {
    let floor = room_of(Path::new(file)).and_then(|room| floor_of(&room));
    if floor.is_none_or(|floor| floor > HIGHEST_CORE_FLOOR) {
        return Vec::new();
    }
    let mut found = Vec::new();
    for (line, code) in code_lines(text) {
        // `gst_video::`, `gstreamer::` and the like; words in messages carry no path separator.
        let paths =
            code.split(|it: char| !(it.is_alphanumeric() || it == '_' || it == ':')).filter(|it| it.contains("::"));
        let heads = paths.filter_map(|path| path.split("::").next());
        for head in heads.filter(|head| TOOLKITS.iter().any(|toolkit| head.starts_with(toolkit))) {
            found.push(format!("{file}:{line}: the core may not name {head}"));
        }
    }
    found
}

fn missing_header(file: &str, text: &str) -> Vec<String> {
    if text.starts_with("//! ") {
        return Vec::new();
    }
    vec![format!("{file}:1: starts without a `//!` line that says what it takes and gives")]
}

fn unreadable_imports(file: &str, text: &str) -> Vec<String> {
    let bad = [concat!("use crate", "::{"), concat!("super", "::super")];
    code_lines(text)
        .into_iter()
        .flat_map(|(line, code)| {
            bad.map(|it| code.contains(it).then(|| format!("{file}:{line}: `{it}` hides the arrow")))
        })
        .flatten()
        .collect()
}

/// Tests stand at the end of a file, or in a file `tests.rs`.
fn unwraps_outside_tests(file: &str, text: &str) -> Vec<String> {
    if file.ends_with("/tests.rs") {
        return Vec::new();
    }
    code_lines(text)
        .into_iter()
        .take_while(|(_, code)| !code.contains("#[cfg(test)]"))
        .filter(|(_, code)| code.contains(".unwrap()"))
        .map(|(line, _)| format!("{file}:{line}: unwrap; return an error, or expect the invariant"))
        .collect()
}

fn too_long(file: &str, text: &str) -> Vec<String> {
    let lines = text.lines().count();
    if lines <= MOST_LINES || LONG_FILES.iter().any(|(path, _why)| *path == file) {
        return Vec::new();
    }
    vec![format!("{file}:{lines}: longer than {MOST_LINES} lines; cut it by concept")]
}

fn forbidden_words(file: &str, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let words: Vec<&str> = line.split(|it: char| !it.is_alphanumeric()).collect();
        for (bad, advice) in FORBIDDEN_WORDS {
            let plural = format!("{bad}s");
            if words.iter().any(|word| word == bad || *word == plural) {
                found.push(format!("{file}:{}: {bad:?}: {advice}", index + 1));
            }
        }
    }
    found
}

/// Lines with their number from 1 and their comments taken out. Text in quotes stays: a `//` in it ends the line
/// early, which can only hide an arrow written inside a string.
fn code_lines(text: &str) -> Vec<(usize, String)> {
    let mut in_block = false;
    text.lines()
        .enumerate()
        .map(|(index, line)| {
            let mut code = String::new();
            let mut rest = line;
            loop {
                if in_block {
                    let Some(end) = rest.find("*/") else { break };
                    rest = &rest[end + 2..];
                    in_block = false;
                }
                match (rest.find("//"), rest.find("/*")) {
                    (Some(comment), block) if block.is_none_or(|block| comment < block) => {
                        code.push_str(&rest[..comment]);
                        break;
                    }
                    (_, Some(block)) => {
                        code.push_str(&rest[..block]);
                        rest = &rest[block + 2..];
                        in_block = true;
                    }
                    _ => {
                        code.push_str(rest);
                        break;
                    }
                }
            }
            (index + 1, code)
        })
        .collect()
}

/// The identifiers that follow `prefix`, where the prefix is not the end of a longer word (`$crate::` is none of ours).
fn names_after<'a>(code: &'a str, prefix: &'a str) -> impl Iterator<Item = &'a str> {
    code.match_indices(prefix).filter_map(move |(at, _)| {
        let before = code[..at].chars().next_back();
        if before.is_some_and(|it| it.is_alphanumeric() || it == '_' || it == '$' || it == ':') {
            return None;
        }
        let name = &code[at + prefix.len()..];
        let end = name.find(|it: char| !(it.is_alphanumeric() || it == '_')).unwrap_or(name.len());
        (end > 0 && name.starts_with(|it: char| it.is_lowercase())).then(|| &name[..end])
    })
}

fn findings_in(folder: &str, endings: &[&str], rule: impl Fn(&str, &str) -> Vec<String>) -> Vec<String> {
    source_files(folder, endings)
        .iter()
        .flat_map(|file| {
            let text = fs::read_to_string(root().join(file)).unwrap();
            rule(&file.to_string_lossy(), &text)
        })
        .collect()
}

fn expect_none(findings: Vec<String>) {
    let mut list = String::new();
    for finding in &findings {
        writeln!(list, "{finding}").unwrap();
    }
    assert!(findings.is_empty(), "{} broken:\n{list}", findings.len());
}

/// Files under `folder` with one of the `endings`, as paths from the repository's root, sorted.
fn source_files(folder: &str, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        let Ok(entries) = fs::read_dir(&folder) else { continue };
        for path in entries.map(|entry| entry.unwrap().path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|it| endings.iter().any(|ending| it == *ending)) {
                found.push(path.strip_prefix(root()).unwrap().to_owned());
            }
        }
    }
    found.sort();
    found
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}
