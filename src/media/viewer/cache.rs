//! Decoded frames by place, bounded in bytes. What goes first lies farthest from the present place; three quarters are
//! for the frames before it, whatever the direction of travel: a decoder goes forwards cheaply and never back.

use std::collections::BTreeMap;

use crate::media::viewer::index::FootagePlace;

/// The share of frames after the present place is one in this many.
const AFTER_IS_ONE_IN: usize = 4;

/// What can be kept.
pub(crate) trait Kept {
    fn bytes(&self) -> usize;
    /// Whether it could be kept in fewer bytes.
    fn is_large(&self) -> bool;
}

/// Never holds more than its bound; never gives up the frame at the present place, which alone may be larger than a
/// bound that was lowered.
#[derive(Debug)]
pub(crate) struct Cache<T> {
    entries: BTreeMap<FootagePlace, T>,
    present: Option<FootagePlace>,
    bound_bytes: usize,
    bytes: usize,
    large_bytes: usize,
}

impl<T: Kept> Cache<T> {
    pub(crate) fn new(bound_bytes: usize) -> Self {
        Self { entries: BTreeMap::new(), present: None, bound_bytes, bytes: 0, large_bytes: 0 }
    }

    pub(crate) fn bound_bytes(&self) -> usize {
        self.bound_bytes
    }

    #[cfg(test)]
    pub(crate) fn bytes(&self) -> usize {
        self.bytes
    }

    pub(crate) fn large_bytes(&self) -> usize {
        self.large_bytes
    }

    /// Where the eye is, or is going: distances count from here.
    pub(crate) fn set_present(&mut self, place: FootagePlace) {
        self.present = Some(place);
    }

    pub(crate) fn get(&self, place: FootagePlace) -> Option<&T> {
        self.entries.get(&place)
    }

    /// The last entry of the place's chapter that is not after it.
    pub(crate) fn not_after(&self, place: FootagePlace) -> Option<(FootagePlace, &T)> {
        let (key, value) = self.entries.range(..=place).next_back()?;
        (key.chapter == place.chapter).then_some((*key, value))
    }

    /// Keeps a frame, giving up the farthest until there is room; false where the frame itself has to stay out.
    pub(crate) fn insert(&mut self, place: FootagePlace, value: T) -> bool {
        self.remove(place);
        let bytes = value.bytes();
        if bytes > self.bound_bytes {
            return false;
        }
        self.count(&value, true);
        self.entries.insert(place, value);
        self.keep_bound();
        self.entries.contains_key(&place)
    }

    /// Gives up the farthest frames until what is left fits.
    pub(crate) fn set_bound_bytes(&mut self, bound_bytes: usize) {
        self.bound_bytes = bound_bytes;
        self.keep_bound();
    }

    fn keep_bound(&mut self) {
        while self.bytes > self.bound_bytes {
            let Some(farthest) = self.farthest(|_| true) else { break };
            self.remove(farthest);
        }
    }

    /// The large frame that is to be made smaller first.
    pub(crate) fn farthest_large(&self) -> Option<FootagePlace> {
        self.farthest(Kept::is_large)
    }

    pub(crate) fn remove(&mut self, place: FootagePlace) -> Option<T> {
        let value = self.entries.remove(&place)?;
        self.count(&value, false);
        Some(value)
    }

    /// Keeps only what `is_wanted`.
    pub(crate) fn retain(&mut self, is_wanted: impl Fn(&T) -> bool) {
        let unwanted: Vec<FootagePlace> =
            self.entries.iter().filter(|(_, value)| !is_wanted(value)).map(|(place, _)| *place).collect();
        for place in unwanted {
            self.remove(place);
        }
    }

    /// One end of what is of the kind, but the present place: the end that has more than its share.
    fn farthest(&self, is_of_kind: impl Fn(&T) -> bool) -> Option<FootagePlace> {
        let of_kind = || {
            let is_present = |place: &FootagePlace| Some(*place) == self.present;
            self.entries.iter().filter(move |(place, _)| !is_present(place)).filter(|(_, value)| is_of_kind(value))
        };
        let (first, last) = (*of_kind().next()?.0, *of_kind().next_back()?.0);
        let Some(present) = self.present else { return Some(first) };
        let after = self.entries.range(present..).count();
        let has_too_many_after = after * AFTER_IS_ONE_IN > self.entries.len();
        Some(if first > present || (has_too_many_after && last > present) { last } else { first })
    }

    fn count(&mut self, value: &T, is_added: bool) {
        let large = if value.is_large() { value.bytes() } else { 0 };
        if is_added {
            self.bytes += value.bytes();
            self.large_bytes += large;
        } else {
            self.bytes -= value.bytes();
            self.large_bytes -= large;
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::session::VideoTime;

    #[derive(Debug, Clone, Copy)]
    struct Block(usize, bool);

    impl Kept for Block {
        fn bytes(&self) -> usize {
            self.0
        }

        fn is_large(&self) -> bool {
            self.1
        }
    }

    fn at(chapter: usize, ns: i64) -> FootagePlace {
        FootagePlace { chapter, at: VideoTime(ns) }
    }

    fn times(cache: &Cache<Block>) -> Vec<i64> {
        cache.entries.keys().map(|it| it.at.0).collect()
    }

    #[test]
    fn three_quarters_are_for_what_lies_before() {
        let mut cache = Cache::new(8);
        cache.set_present(at(0, 50));
        for ns in 0..100 {
            cache.insert(at(0, ns), Block(1, false));
        }
        // Two from the present on, six before.
        assert_eq!(times(&cache), [44, 45, 46, 47, 48, 49, 50, 51]);
        assert!(cache.not_after(at(0, 70)).is_some_and(|(place, _)| place == at(0, 51)));
        assert!(cache.not_after(at(1, 0)).is_none() && cache.not_after(at(0, 43)).is_none());
    }

    #[test]
    fn a_smaller_bound_gives_up_the_farthest() {
        let mut cache = Cache::new(8);
        cache.set_present(at(0, 5));
        let inserted = (0..8).filter(|ns| cache.insert(at(0, *ns), Block(1, false))).count();
        assert_eq!(inserted, 8);
        cache.set_bound_bytes(4);
        assert_eq!((times(&cache), cache.bytes()), (vec![2, 3, 4, 5], 4));
        cache.set_bound_bytes(0);
        assert_eq!(times(&cache), [5], "the frame on show stays");
    }

    #[test]
    fn what_is_too_large_stays_out() {
        let mut cache = Cache::new(8);
        assert!(cache.insert(at(0, 0), Block(8, true)));
        assert!(!cache.insert(at(0, 1), Block(9, false)));
        assert_eq!(times(&cache), [0]);
        assert_eq!(cache.farthest_large(), Some(at(0, 0)));
        cache.retain(|it| !it.is_large());
        assert_eq!((cache.bytes(), cache.large_bytes()), (0, 0));
    }

    proptest! {
        /// Whatever comes: within the bound, honest sums, and the frame on show stays.
        #[test]
        fn a_cache_is_bounded_and_keeps_the_frame_on_show(
            bound in 1usize..200,
            steps in prop::collection::vec((0usize..3, 0i64..40, 1usize..60, any::<bool>(), 0u8..4), 1..200),
        ) {
            let mut cache = Cache::new(bound);
            for (chapter, ns, bytes, is_large, what) in steps {
                let place = at(chapter, ns);
                let on_show = cache.present.filter(|it| cache.get(*it).is_some());
                match what {
                    0 => cache.set_present(place),
                    // The frame on show may be kept anew, but only as it was.
                    _ if on_show != Some(place) => {
                        let is_in = cache.insert(place, Block(bytes, is_large));
                        prop_assert_eq!(is_in, cache.get(place).is_some());
                        prop_assert!(on_show.is_none_or(|it| cache.get(it).is_some()));
                    }
                    _ => {}
                }
                prop_assert!(cache.bytes() <= bound);
                let sum = |large_only: bool| {
                    cache.entries.values().filter(|it| it.1 || !large_only).map(|it| it.0).sum::<usize>()
                };
                prop_assert_eq!((cache.bytes(), cache.large_bytes()), (sum(false), sum(true)));
            }
        }
    }
}
