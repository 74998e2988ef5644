//! `cornerbook findings --take`, `--decline`, `--ask-again`: what a person makes of findings, kept in the book.

use crate::book::store::Store;
use crate::book::{Book, Op};
use crate::cli::args::FindingsArgs;
use crate::cli::console::Stop;
use crate::findings::{Finding, suggest};
use crate::load::Session;
use crate::present;

/// Does in the book what was typed, all of it or nothing, and gives the book as it is then. `None` for a log.
pub(super) fn answered(args: &FindingsArgs, session: &Session, findings: &[Finding]) -> Result<Option<Book>, Stop> {
    let is_answered = !(args.take.is_empty() && args.decline.is_empty() && args.ask_again.is_empty());
    let Some((path, book)) = &session.book else {
        return if is_answered { Err(Stop::Usage(NEEDS_BOOK.to_owned())) } else { Ok(None) };
    };
    if !is_answered {
        return Ok(Some(book.clone()));
    }
    let mut store = Store::open(path).map_err(|it| Stop::Failed(it.into()))?;
    let mut changed = store.book().clone();
    let mut ops = Vec::new();
    for (ids, answer) in [(&args.take, taken as Answering), (&args.decline, declined), (&args.ask_again, asked_again)] {
        for id in ids {
            // Each is made for the book that the ones before leave: numbers are not given twice.
            let op = answer(&changed, known(findings, id)?);
            changed.apply(op.clone()).map_err(|it| Stop::Failed(it.into()))?;
            ops.push(op);
        }
    }
    store.apply(Op::Several(ops)).map_err(|it| Stop::Failed(it.into()))?;
    match store.trouble() {
        Some(trouble) => Err(Stop::Failed(anyhow::anyhow!("{trouble}"))),
        None => Ok(Some(store.book().clone())),
    }
}

const NEEDS_BOOK: &str = "answers to findings are kept in a book; make one with cornerbook new";

type Answering = fn(&Book, &Finding) -> Op;

fn taken(book: &Book, finding: &Finding) -> Op {
    suggest::take(book, finding, present::finding_kind(finding.kind))
}

fn declined(_: &Book, finding: &Finding) -> Op {
    suggest::decline(finding)
}

fn asked_again(_: &Book, finding: &Finding) -> Op {
    suggest::ask_again(finding)
}

fn known<'a>(findings: &'a [Finding], id: &str) -> Result<&'a Finding, Stop> {
    let found = findings.iter().find(|it| it.suggestion().to_string() == id.trim());
    found.ok_or_else(|| {
        let id = present::one_line(id);
        Stop::Usage(format!("{id} is the id of no finding here; cornerbook findings lists them in brackets"))
    })
}
