//! Closures that a widget calls when a person has done something. A closure may call the widget back, or add another.

use std::cell::RefCell;
use std::rc::Rc;

type Listener<T> = Rc<dyn Fn(T)>;

pub(super) struct Listeners<T>(RefCell<Vec<Listener<T>>>);

impl<T> std::fmt::Debug for Listeners<T> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Listeners").field(&self.0.borrow().len()).finish()
    }
}

impl<T> Default for Listeners<T> {
    fn default() -> Self {
        Self(RefCell::default())
    }
}

impl<T: Clone> Listeners<T> {
    pub(super) fn add(&self, listener: impl Fn(T) + 'static) {
        self.0.borrow_mut().push(Rc::new(listener));
    }

    /// No borrow is held while a listener runs.
    pub(super) fn tell(&self, what: T) {
        let listeners = self.0.borrow().clone();
        for listener in listeners {
            listener(what.clone());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_listener_may_add_another_while_it_is_told() {
        let listeners = Rc::new(Listeners::<u32>::default());
        let heard = Rc::new(RefCell::new(Vec::new()));
        let (again, log) = (listeners.clone(), heard.clone());
        listeners.add(move |it| {
            log.borrow_mut().push(it);
            let log = log.clone();
            again.add(move |it| log.borrow_mut().push(it * 10));
        });
        listeners.tell(1);
        listeners.tell(2);
        assert_eq!(*heard.borrow(), [1, 2, 20]);
    }
}
