//! A book with undo and redo: the inverses of the operations done, newest last.

use crate::book::{Book, Op, Refused};

/// A book whose changes can be taken back and done again. A new change forgets what was taken back.
#[derive(Debug, Clone)]
pub struct History {
    book: Book,
    inverses: Vec<Op>,
    undone: Vec<Op>,
}

impl History {
    pub fn new(book: Book) -> Self {
        Self { book, inverses: Vec::new(), undone: Vec::new() }
    }

    pub fn book(&self) -> &Book {
        &self.book
    }

    pub fn can_undo(&self) -> bool {
        !self.inverses.is_empty()
    }

    pub fn can_redo(&self) -> bool {
        !self.undone.is_empty()
    }

    /// Does `op`; a refused one changes nothing, not even what can be undone or redone.
    pub fn apply(&mut self, op: Op) -> Result<(), Refused> {
        let inverse = self.book.apply(op)?;
        self.inverses.push(inverse);
        self.undone.clear();
        Ok(())
    }

    /// Takes the last change back; `false` where there is none.
    pub fn undo(&mut self) -> bool {
        Self::step(&mut self.book, &mut self.inverses, &mut self.undone)
    }

    /// Does the last change taken back again; `false` where there is none.
    pub fn redo(&mut self) -> bool {
        Self::step(&mut self.book, &mut self.undone, &mut self.inverses)
    }

    fn step(book: &mut Book, from: &mut Vec<Op>, to: &mut Vec<Op>) -> bool {
        let Some(op) = from.pop() else { return false };
        let inverse = book.apply(op).expect("it leads back to a book that was in order");
        to.push(inverse);
        true
    }
}
