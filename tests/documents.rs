//! Documents in step with the program: each command and option that README.md and docs/formats.md name exists, and
//! each that exists is in docs/formats.md. Links between documents lead somewhere.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Commands that docs/formats.md means by "all that …".
const READ_A_LOG: &[&str] = &["new", "passes", "align", "clip"];
const WRITE: &[&str] = &["demo", "new", "align", "clip"];
/// Words that stand for a file or command in the documents.
const PLACEHOLDERS: &[&str] = &["BOOK", "COMMAND", "help"];

#[test]
fn documented_commands_and_options_exist() {
    let program = Program::from_help();
    for file in ["README.md", "docs/formats.md", "docs/troubleshooting.md"] {
        let text = read(file);
        let uses = uses_in(&text);
        assert!(file == "docs/troubleshooting.md" || uses.len() > 4, "{file}: {} commands found", uses.len());
        for (line, command, options) in uses {
            if PLACEHOLDERS.contains(&command.as_str()) {
                continue;
            }
            let known = program.options.get(&command);
            assert!(known.is_some(), "{file}:{line}: cornerbook has no command {command:?}");
            for option in options {
                assert!(known.is_some_and(|it| it.contains(&option)), "{file}:{line}: {command} has no {option}");
            }
        }
    }
}

#[test]
fn commands_and_options_are_documented() {
    let program = Program::from_help();
    let text = read("docs/formats.md");
    let commands: BTreeSet<String> = uses_in(&text).into_iter().map(|it| it.1).collect();
    let mut documented: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (command, options) in option_table(&text).into_iter().chain(uses_in(&text).into_iter().map(|it| (it.1, it.2))) {
        documented.entry(command).or_default().extend(options);
    }
    for (command, options) in &program.options {
        assert!(commands.contains(command), "docs/formats.md does not name the command {command}");
        for option in options.iter().filter(|it| !matches!(it.as_str(), "--help" | "--version")) {
            let named = documented.get(command).is_some_and(|it| it.contains(option));
            assert!(named, "docs/formats.md does not name {option} with {command}");
        }
    }
    for (command, options) in &documented {
        for option in options {
            let exists = program.options.get(command).is_some_and(|it| it.contains(option));
            assert!(exists, "docs/formats.md names {option} with {command}, which does not have it");
        }
    }
}

#[test]
fn links_between_documents_lead_somewhere() {
    let mut links = 0;
    for file in documents() {
        let text = read(&file.to_string_lossy());
        let seen = text.lines().filter(|line| !line.starts_with("<!--")).collect::<Vec<_>>().join("\n");
        let targets = seen.split("](").skip(1).filter_map(|it| it.split(')').next());
        for target in targets.filter(|it| !it.contains("://")) {
            let (path, place) = target.split_once('#').unwrap_or((target, ""));
            let from = file.parent().unwrap_or(Path::new(""));
            let there = if path.is_empty() { file.clone() } else { from.join(path) };
            assert!(root().join(&there).exists(), "{}: {target} leads nowhere", file.display());
            if !place.is_empty() {
                let headings = headings(&read(&there.to_string_lossy()));
                assert!(headings.contains(place), "{}: no heading for {target}", file.display());
            }
            links += 1;
        }
    }
    assert!(links > 5, "only {links} links found");
}

/// The cautions that the program prints are those of the README, word for word.
#[test]
fn the_readme_has_the_cautions() {
    let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(plain(&read("README.md")).contains(&plain(cornerbook::present::CAUTION)));
}

/// What docs/formats.md shows as an example is read by the program itself.
#[test]
fn examples_of_formats_are_read() {
    let text = read("docs/formats.md");
    let map = cornerbook::log::ColumnMap::parse("formats.md", &block(&text, "toml", "column")).unwrap();
    let csv = block(&text, "csv", "time_s");
    for columns in [None, Some(cornerbook::log::ColumnMap::default())] {
        let samples = cornerbook::log::read("formats.md", csv.as_bytes(), columns.as_ref()).unwrap();
        assert_eq!((samples.fixes().len(), samples.channels().len()), (2, 2));
    }
    assert_ne!(map, cornerbook::log::ColumnMap::default());
    let book = block(&text, "json", "cornerbook.book");
    let book = cornerbook::book::file::read("formats.md", book.as_bytes(), Path::new("")).unwrap();
    assert_eq!((book.logs.len(), book.marks.len(), book.corner_names.len()), (1, 1, 1));
    assert_eq!((book.tag_kinds.len(), book.tags.len(), book.trackside.len()), (2, 4, 1));
    assert_eq!((book.reference_points.len(), book.drawings.len(), book.next_id.0), (1, 2, 11));
    let track = block(&text, "json", "FeatureCollection");
    let (track, notes) = cornerbook::track::file::parse("formats.md", track.as_bytes()).unwrap();
    assert!(track.start_finish.is_some() && track.left_edge.is_some_and(|it| it.closed) && notes.is_empty());
}

/// The first code block of a language that holds some words.
fn block(text: &str, language: &str, holding: &str) -> String {
    let mut blocks = text.split("```").skip(1).step_by(2);
    let wanted = |it: &&str| it.starts_with(&format!("{language}\n")) && it.contains(holding);
    let found = blocks.find(wanted).unwrap_or_else(|| panic!("no {language} block with {holding}"));
    found[language.len() + 1..].to_owned()
}

#[test]
fn the_finder_finds() {
    let text = "a `cornerbook passes LOG --format json\\|csv` b\n```sh\ncornerbook clip x --lap 4 # --not\n```\n`cornerbook BOOK`";
    let found: Vec<_> = uses_in(text).into_iter().map(|it| (it.0, it.1, it.2.len())).collect();
    assert_eq!(found, [(1, "passes".into(), 1), (3, "clip".into(), 1), (5, "BOOK".into(), 0)]);
    let table = option_table("| `--a X`, `--b` | `new`, all that write | c |\n");
    assert_eq!(table.len(), 10);
    assert_eq!(headings("## Passes out (JSON)\n").into_iter().next().as_deref(), Some("passes-out-json"));
}

/// What the program's own help says it can do: options by command.
struct Program {
    options: BTreeMap<String, BTreeSet<String>>,
}

impl Program {
    fn from_help() -> Self {
        let commands: Vec<String> = help(&["--help"])
            .lines()
            .skip_while(|line| *line != "Commands:")
            .skip(1)
            .take_while(|line| line.starts_with("  "))
            .filter_map(|line| line.split_whitespace().next().map(str::to_owned))
            .filter(|it| it != "help")
            .collect();
        assert!(commands.len() >= 5, "commands in the help: {commands:?}");
        let options = commands.into_iter().map(|it| (it.clone(), options_in(&help(&[&it, "--help"])))).collect();
        Self { options }
    }
}

fn help(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_cornerbook")).args(arguments).output().unwrap();
    assert!(output.status.success(), "cornerbook {arguments:?}: {}", output.status);
    String::from_utf8(output.stdout).unwrap()
}

/// `--name` of each option line of a help text.
fn options_in(help: &str) -> BTreeSet<String> {
    help.lines()
        .map(str::trim_start)
        .filter(|line| line.starts_with('-'))
        .filter_map(|line| line.split([' ', ',']).find(|it| it.starts_with("--")))
        .map(|it| it.trim_end_matches('.').to_owned())
        .collect()
}

/// Uses of the program in a document, in code spans and code blocks: (line, command, options).
fn uses_in(text: &str) -> Vec<(usize, String, Vec<String>)> {
    let mut uses = Vec::new();
    let mut in_block = false;
    for (index, line) in text.lines().enumerate() {
        if line.starts_with("```") {
            in_block = !in_block;
        }
        let spans: Vec<&str> = if in_block {
            vec![line.split(" #").next().unwrap_or(line)]
        } else {
            line.split('`').skip(1).step_by(2).collect()
        };
        for span in spans {
            let mut words = span.split_whitespace();
            if words.next() != Some("cornerbook") {
                continue;
            }
            let Some(command) = words.next() else { continue };
            let options = words
                .map(|it| it.trim_matches(|edge: char| matches!(edge, '[' | ']' | '…')))
                .filter(|it| it.starts_with("--"))
                .map(str::to_owned);
            uses.push((index + 1, command.to_owned(), options.collect()));
        }
    }
    uses
}

/// The table of options: a row names options in its first cell and commands in its second.
fn option_table(text: &str) -> Vec<(String, Vec<String>)> {
    let mut pairs = Vec::new();
    for line in text.lines().filter(|line| line.starts_with("| `--")) {
        let row = line.replace("\\|", "/");
        let cells: Vec<&str> = row.split('|').collect();
        let code = |cell: &str| -> Vec<String> { cell.split('`').skip(1).step_by(2).map(str::to_owned).collect() };
        let options: Vec<String> =
            code(cells[1]).iter().filter_map(|it| it.split_whitespace().next().map(str::to_owned)).collect();
        let mut commands = code(cells[2]);
        for (words, meant) in [("all that read a log", READ_A_LOG), ("all that write", WRITE)] {
            if cells[2].contains(words) {
                commands.extend(meant.iter().map(|it| (*it).to_owned()));
            }
        }
        assert!(!commands.is_empty(), "no command in {line}");
        for option in &options {
            pairs.extend(commands.iter().map(|it| (it.clone(), vec![option.clone()])));
        }
    }
    pairs
}

/// Anchors of a document's headings, as the usual Markdown viewers make them.
fn headings(text: &str) -> BTreeSet<String> {
    text.lines()
        .filter_map(|line| line.strip_prefix('#'))
        .map(|it| it.trim_start_matches('#').trim().to_lowercase().replace(' ', "-"))
        .map(|it| it.chars().filter(|letter| letter.is_alphanumeric() || *letter == '-').collect())
        .collect()
}

fn documents() -> Vec<PathBuf> {
    let mut found = vec![PathBuf::from("README.md"), PathBuf::from("DEVELOPERS.md")];
    for folder in ["docs", "docs/decisions"] {
        let entries = fs::read_dir(root().join(folder)).unwrap().map(|it| it.unwrap().path());
        let markdown = entries.filter(|it| it.extension().is_some_and(|ending| ending == "md"));
        found.extend(markdown.map(|it| it.strip_prefix(root()).unwrap().to_owned()));
    }
    found
}

fn read(file: &str) -> String {
    fs::read_to_string(root().join(file)).unwrap_or_else(|cause| panic!("{file}: {cause}"))
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}
