//! What a desktop is told of the program: desktop file, file type, icon and description, checked by the desktop's own
//! tools. A tool that is missing is a loud skip, with CI=true a failure.

use std::path::PathBuf;
use std::process::Command;

const NAME: &str = "org.cornerbook.Cornerbook";

fn file(ending: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("resources/desktop").join(format!("{NAME}{ending}"))
}

/// Runs a tool on a file; `false` where the tool is missing.
#[track_caller]
fn approves(tool: &str, args: &[&str], ending: &str) -> bool {
    let Ok(output) = Command::new(tool).args(args).arg(file(ending)).output() else {
        assert!(std::env::var("CI").as_deref() != Ok("true"), "no {tool}: make test installs what the tests need");
        println!("SKIPPED: no {tool}");
        return false;
    };
    assert!(output.status.success(), "{tool}: {output:?}");
    true
}

#[test]
fn the_desktop_file_is_valid() {
    approves("desktop-file-validate", &[], ".desktop");
}

#[test]
fn the_description_is_valid() {
    approves("appstreamcli", &["validate", "--no-net"], ".metainfo.xml");
}

/// The same name, file type and ending everywhere.
#[test]
fn a_book_is_opened_by_the_program() {
    let text = |ending| std::fs::read_to_string(file(ending)).unwrap();
    let desktop = text(".desktop");
    for line in ["MimeType=application/x-cornerbook;", "Exec=cornerbook %f", &format!("Icon={NAME}")] {
        assert!(desktop.lines().any(|it| it == line), "{line}");
    }
    let mime = text(".mime.xml");
    assert!(mime.contains("type=\"application/x-cornerbook\"") && mime.contains("pattern=\"*.cornerbook\""));
    let description = text(".metainfo.xml");
    assert!(description.contains(&format!("<id>{NAME}</id>")));
    assert!(description.contains(&format!("<release version=\"{}\"", env!("CARGO_PKG_VERSION"))));
}

#[test]
fn the_icons_are_whole_pictures() {
    for ending in [".svg", "-symbolic.svg"] {
        let text = std::fs::read_to_string(file(ending)).unwrap();
        let mut reader = quick_xml::Reader::from_str(&text);
        let mut shapes = 0;
        loop {
            match reader.read_event().unwrap() {
                quick_xml::events::Event::Eof => break,
                quick_xml::events::Event::Empty(_) => shapes += 1,
                _ => {}
            }
        }
        // The bend and its three marks.
        assert!(shapes >= 4, "{ending}: {shapes} shapes");
    }
}
