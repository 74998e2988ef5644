//! `cornerbook passes --format parquet`: where the file of one session goes in a folder of many, and what the session is
//! called there. Takes what was typed and a session; writes one file and gives the line that names it.

#[cfg(feature = "parquet")]
use std::path::{Path, PathBuf};

#[cfg(feature = "parquet")]
use chrono::{Datelike, NaiveDate};

#[cfg(feature = "parquet")]
use crate::book::Grip;
use crate::cli::args::{PassesArgs, PassesFormat};
use crate::cli::console::Stop;
#[cfg(feature = "parquet")]
use crate::cli::plan;
#[cfg(feature = "parquet")]
use crate::files;
use crate::load::Session;
#[cfg(feature = "parquet")]
use crate::present;
use crate::report::PassesView;
#[cfg(feature = "parquet")]
use crate::report::{Origin, passes_parquet};

/// What stands for a year that is not known; engines that read divided folders take it for null (common practice).
#[cfg(feature = "parquet")]
const NO_YEAR: &str = "__HIVE_DEFAULT_PARTITION__";

/// Parquet needs a place to go, and nothing else has one.
pub(super) fn refuse_wrong_use(args: &PassesArgs) -> Result<(), Stop> {
    let is_parquet = args.format == PassesFormat::Parquet;
    if is_parquet && args.out.is_none() {
        return Err(Stop::Usage("--format parquet needs --out FILE or --out DIR".to_owned()));
    }
    if !is_parquet && (args.out.is_some() || args.circuit.is_some() || args.force) {
        return Err(Stop::Usage("--out, --circuit and --force go with --format parquet".to_owned()));
    }
    if is_parquet && cfg!(not(feature = "parquet")) {
        return Err(Stop::Failed(anyhow::anyhow!(
            "this build writes no Parquet; use a build with the feature parquet, or --format csv"
        )));
    }
    Ok(())
}

#[cfg(not(feature = "parquet"))]
pub(super) fn write(_: &PassesArgs, _: &Session, _: &PassesView<'_>) -> Result<String, Stop> {
    // `refuse_wrong_use` has said it before.
    Ok(String::new())
}

#[cfg(feature = "parquet")]
pub(super) fn write(args: &PassesArgs, session: &Session, view: &PassesView<'_>) -> Result<String, Stop> {
    let Some(out) = &args.out else { return Ok(String::new()) };
    let name = stem(&args.input);
    let track = session.inputs.track.is_some().then(|| track_file(args, session)).flatten();
    let circuit = args.circuit.clone().or(track).unwrap_or_else(|| "unknown".to_owned());
    let date = session.samples.start_utc().map(|it| it.date_naive());
    let book = session.book.as_ref().map(|it| &it.1);
    let origin = Origin {
        circuit: &circuit,
        session: &name,
        driver: book.and_then(|it| it.driver.as_deref()),
        date,
        grip: book.and_then(|it| it.grip).map(Grip::word),
    };
    let target = target(out, &circuit, date, &name);
    let inputs = std::iter::once(args.input.as_path()).chain(session.files.iter().map(PathBuf::as_path));
    files::refuse_input(&target, inputs)?;
    files::refuse_existing(&target, plan::overwrite(args.force))?;
    files::make_folder(files::folder_of(&target))?;
    files::write(&target, &passes_parquet(view, &origin), plan::overwrite(args.force))?;
    Ok(format!("{}\n", present::one_line(&target.display().to_string())))
}

#[cfg(feature = "parquet")]
fn stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

/// The name of the track file that was read.
#[cfg(feature = "parquet")]
fn track_file(args: &PassesArgs, session: &Session) -> Option<String> {
    let in_book = session.book.as_ref().and_then(|it| it.1.track.as_ref()).map(|it| stem(&it.path));
    args.log_args.track.as_deref().map(stem).or(in_book)
}

/// A file as named, or one below `circuit=…/year=…` of a folder.
#[cfg(feature = "parquet")]
fn target(out: &Path, circuit: &str, date: Option<NaiveDate>, session: &str) -> PathBuf {
    if out.extension().is_some_and(|it| it == "parquet") {
        return out.to_owned();
    }
    let year = date.map_or_else(|| NO_YEAR.to_owned(), |it| it.year().to_string());
    out.join(format!("circuit={}", escaped(circuit)))
        .join(format!("year={year}"))
        .join(format!("{}.parquet", escaped(session)))
}

/// Everything but letters, digits, `-` and `_` as `%XX` of its UTF-8, so that no name leads out of its folder and
/// engines read the name back (RFC 3986, 2.1).
#[cfg(feature = "parquet")]
fn escaped(name: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-_".contains(&byte);
    name.bytes().map(|it| if plain(it) { char::from(it).to_string() } else { format!("%{it:02X}") }).collect()
}

#[cfg(all(test, feature = "parquet"))]
mod tests {
    use super::*;

    #[test]
    fn names_lead_nowhere_else() {
        let date = NaiveDate::from_ymd_opt(2031, 5, 18);
        let at = |circuit: &str, date| target(Path::new("season"), circuit, date, "run 1");
        assert_eq!(at("Salt/..", date), Path::new("season/circuit=Salt%2F%2E%2E/year=2031/run%201.parquet"));
        assert_eq!(at("é", None), Path::new("season/circuit=%C3%A9/year=__HIVE_DEFAULT_PARTITION__/run%201.parquet"));
        assert_eq!(target(Path::new("a/b.parquet"), "x", date, "y"), Path::new("a/b.parquet"));
    }
}
