//! The reel under a person's hand: put together from passes, played without being rendered, and written as a film in the
//! background while the review goes on. Each change is one operation of the book.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use gtk::gdk;
use gtk::gio;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{FootageRef, Op, Reel, ReelCut};
use crate::corners::MarkKind;
use crate::files::{self, Overwrite};
use crate::job::Context;
use crate::media::{self, Still, Target};
use crate::present;
use crate::reel::{
    self, Chapter, Choice, Chosen, ClipOptions, FilmPlan, Order, ReelItem, ReelOptions, Source, booked_items, reel_plan,
};
use crate::session::VideoTime;
use crate::units::SpeedUnit;
use crate::window::inbox::{Running, in_background};
use crate::window::loading::Footage;
use crate::window::reel_page::{Ask, ClipShown, ReelShown, THUMBNAIL_PX, Written};
use crate::window::review::timeline::Position;
use crate::window::review::{Review, ReviewPage};

/// Stretches that are still to be played, log times in s.
pub(super) type Preview = VecDeque<(f64, f64)>;

/// A film that is written, and how much of each of its parts is done.
#[derive(Debug)]
pub(super) struct Writing {
    running: Running,
    parts: Arc<Mutex<Vec<f64>>>,
}

impl Writing {
    fn progress(&self) -> Written {
        let parts = self.parts.lock().unwrap_or_else(PoisonError::into_inner);
        let at = parts.iter().position(|it| *it < 1.0).unwrap_or(parts.len().saturating_sub(1));
        let of_clip = parts.get(at).copied().unwrap_or(0.0);
        Written { whole: self.running.progress(), clip: at + 1, clips: parts.len(), of_clip }
    }
}

/// The chapters that are on the log's clock, as a reel takes them.
fn filmed(footage: &Footage) -> (Vec<Chapter>, Vec<Option<FootageRef>>) {
    let on_clock = footage.chapters.iter().enumerate().filter_map(|(index, it)| {
        let chapter = Chapter { file: it.path.clone(), clock: it.clock?, start: it.start, end: it.end };
        Some((chapter, Some(FootageRef::Chapter(index))))
    });
    on_clock.unzip()
}

impl Review {
    fn reel(&self) -> &Reel {
        &self.history.book().reel
    }

    /// Does something with what a reel is cut from.
    fn with_source<T>(&self, do_it: impl FnOnce(Source<'_>) -> T) -> T {
        let (chapters, footage) = filmed(&self.footage);
        let book = Some(self.history.book());
        do_it(Source { analysis: &self.analysis, book, chapters: &chapters, footage: &footage })
    }

    fn reel_options(&self, unit: SpeedUnit) -> ReelOptions {
        let clip = ClipOptions { speed_unit: unit, ..ClipOptions::default() };
        ReelOptions { clip, title: self.reel().title.clone(), ..ReelOptions::default() }
    }

    /// The film of the reel, and which of its clips are left out, in words.
    fn film(&self, unit: SpeedUnit) -> Result<(FilmPlan, Vec<String>), String> {
        let options = self.reel_options(unit);
        self.with_source(|source| {
            let (items, absent) = booked_items(source, self.reel(), &options.clip).map_err(|it| it.to_string())?;
            let (film, left_out) = reel_plan(&[source], &items, &options).map_err(|it| it.to_string())?;
            let absent = absent.iter().map(|it| present::cut_left_out(it.lap, it.corner));
            Ok((film, absent.chain(left_out.iter().map(|it| format!("left out: {}", it.1))).collect()))
        })
    }

    /// What the page of the reel shows.
    pub(super) fn reel_shown(&self, unit: SpeedUnit) -> ReelShown {
        let (reel, options) = (self.reel(), self.reel_options(unit));
        let items = self.with_source(|source| booked_items(source, reel, &options.clip));
        let items = items.map(|it| it.0).unwrap_or_default();
        let length = self.film(unit).ok().map(|it| present::duration(it.0.film_s()));
        let sum = [Some(present::clips(reel.cuts.len())), length];
        ReelShown {
            title: reel.title.clone(),
            clips: reel.cuts.iter().map(|it| self.clip_shown(it, &items, &options.clip)).collect(),
            sum: sum.into_iter().flatten().collect::<Vec<_>>().join(", "),
            can_add: !self.analysis.passes.is_empty(),
            can_write: self.footage.chapters.iter().any(|it| it.clock.is_some()),
        }
    }

    fn clip_shown(&self, cut: &ReelCut, items: &[ReelItem], rest: &ClipOptions) -> ClipShown {
        let item = items.iter().find(|it| (it.chosen.lap, it.chosen.corner) == (cut.lap, cut.corner));
        let standing = match (item, self.analysis.pass(cut.lap, cut.corner)) {
            (Some(item), _) => standing(&item.chosen, rest.speed_unit),
            (None, Some(_)) => "not filmed; left out of the film".to_owned(),
            (None, None) => "there is no such pass; left out of the film".to_owned(),
        };
        ClipShown {
            pass: (cut.lap, cut.corner),
            name: present::clip_name(&self.analysis.corner_name(cut.corner), cut.lap, None),
            standing,
            lead_s: cut.lead_s.unwrap_or(rest.lead_s),
            tail_s: cut.tail_s.unwrap_or(rest.tail_s),
            words: cut.words.clone(),
        }
    }

    /// The reel with the pass that is on or comes next at its end, the corner on show where that is far.
    fn with_this_pass(&self) -> Option<Reel> {
        let subject = self.subject();
        let (lap, corner) = subject.pass_lap.zip(subject.corner)?;
        self.analysis.pass(lap, corner)?;
        let mut reel = self.reel().clone();
        reel.cuts.push(ReelCut::of(lap, corner));
        Some(reel)
    }

    /// The reel with the best and the worst passes at its end; those that are there stay once.
    fn with_chosen(&self, best: usize, worst: usize, is_this_corner: bool) -> Result<Reel, String> {
        if best + worst == 0 {
            return Err("choose how many of the best or the worst".to_owned());
        }
        let corners = self.subject().corner.filter(|_| is_this_corner).into_iter().collect();
        let choice = Choice { corners, best, worst, order: Order::Alternate, ..Choice::default() };
        let chosen = self.with_source(|source| reel::choose(&[source], &choice, |_, corner| Some(corner)));
        let mut reel = self.reel().clone();
        for it in chosen.map_err(|it| it.to_string())?.passes {
            let is_there = reel.cuts.iter().any(|cut| (cut.lap, cut.corner) == (it.lap, it.corner));
            if !is_there {
                reel.cuts.push(ReelCut::of(it.lap, it.corner));
            }
        }
        Ok(reel)
    }

    /// The stretches of the log that the clips show, s, in order.
    fn stretches(&self, unit: SpeedUnit) -> Preview {
        self.film(unit).map(|it| it.0.clips().map(|clip| clip.plan.shown_s()).collect()).unwrap_or_default()
    }

    /// A clip's pass at its apex, or where it begins: in which file and when.
    fn thumbnail_place(&self, pass: (u32, u32)) -> Option<(PathBuf, VideoTime)> {
        let pass = self.analysis.pass(pass.0, pass.1)?;
        let apex_s = pass.mark(MarkKind::Apex).map(|it| it.t_s.value);
        match self.timeline.at(apex_s.or(pass.times_s().map(|it| it.0))?) {
            Position::Frame { place, .. } => Some((self.footage.chapters.get(place.chapter)?.path.clone(), place.at)),
            Position::Log { .. } => None,
        }
    }
}

/// "80.6 ±0.3 km/h · best of 7".
fn standing(chosen: &Chosen, unit: SpeedUnit) -> String {
    let figure = present::figure_heading(chosen.by);
    let value = present::figure_with_unit(chosen.by, chosen.value, unit);
    let rank = present::rank(chosen.rank, chosen.of);
    [format!("{figure} {value}"), rank].into_iter().filter(|it| !it.is_empty()).collect::<Vec<_>>().join(" · ")
}

impl ReviewPage {
    pub(super) fn connect_reel(&self) {
        let page = self.downgrade();
        self.panels().reel.connect_asked(move |ask| {
            if let Some(page) = page.upgrade() {
                page.do_what_the_reel_asks(ask);
            }
        });
    }

    /// Is called when a person wants the film, to be told where it goes.
    pub(crate) fn connect_film_wanted(&self, wanted: impl Fn() + 'static) {
        self.imp().on_film_wanted.add(move |()| wanted());
    }

    fn do_what_the_reel_asks(&self, ask: Ask) {
        match ask {
            Ask::Look => self.show_reel(),
            Ask::AddPass => {
                let reel = self.imp().review.borrow().as_ref().and_then(Review::with_this_pass);
                match reel {
                    Some(reel) => self.change_reel_and_choose(reel),
                    None => self.tell("there is no pass here to add; go to a corner first"),
                }
            }
            Ask::AddChosen { best, worst, is_this_corner } => {
                let reel = self.imp().review.borrow().as_ref().map(|it| it.with_chosen(best, worst, is_this_corner));
                match reel {
                    Some(Ok(reel)) => self.change_reel_and_choose(reel),
                    Some(Err(why)) => self.tell(&why),
                    None => {}
                }
            }
            Ask::GoTo(index) => self.go_to_clip(index),
            Ask::Remove(index) => self.change_reel(|it| it.without(index)),
            Ask::Move { from, to } => {
                self.change_reel(|it| it.with_moved(from, to));
                self.panels().reel.choose(to);
            }
            Ask::Lead(index, lead_s) => self.change_reel(|it| it.with_changed(index, |cut| cut.lead_s = Some(lead_s))),
            Ask::Tail(index, tail_s) => self.change_reel(|it| it.with_changed(index, |cut| cut.tail_s = Some(tail_s))),
            Ask::Words(index, words) => self.change_reel(|it| it.with_changed(index, |cut| cut.words = words)),
            Ask::Title(title) => self.change_reel(|it| Reel { title, cuts: it.cuts.clone() }),
            Ask::Preview => self.preview(),
            Ask::Write => self.imp().on_film_wanted.tell(()),
            Ask::Stop => drop(self.imp().writing.take()),
        }
    }

    fn change_reel(&self, change: impl FnOnce(&Reel) -> Reel) {
        let changed = self.imp().review.borrow().as_ref().and_then(|it| {
            let reel = change(it.reel());
            (reel != *it.reel()).then_some(reel)
        });
        if let Some(reel) = changed {
            self.change(Op::Reel(reel));
        }
    }

    fn change_reel_and_choose(&self, reel: Reel) {
        let last = reel.cuts.len().saturating_sub(1);
        self.change_reel(|_| reel);
        self.panels().reel.choose(last);
    }

    /// Shows the page of the reel as it is now, where it is looked at.
    pub(super) fn show_reel(&self) {
        let page = &self.panels().reel;
        if !page.widget().is_mapped() {
            return;
        }
        let shown = self.imp().review.borrow().as_ref().map(|it| it.reel_shown(self.settings().get().speed_unit));
        if let Some(shown) = shown {
            page.show(shown);
            self.take_thumbnails();
        }
    }

    /// Takes the pictures that the list still lacks, in the background, one after the other.
    fn take_thumbnails(&self) {
        let wanted = match &*self.imp().review.borrow() {
            Some(review) if review.thumbing.is_none() => {
                let passes = review.reel().cuts.iter().map(|it| (it.lap, it.corner));
                let missing = passes.filter(|it| !review.thumbs_taken.contains(it));
                missing.filter_map(|it| Some((it, review.thumbnail_place(it)?))).next()
            }
            _ => None,
        };
        let Some((pass, (file, at))) = wanted else { return };
        let page = self.downgrade();
        let width = THUMBNAIL_PX.0.unsigned_abs();
        let running = in_background(
            "thumbnail",
            move |_| media::still_of(&file, at, &[]).map(|it| it.smaller(width)),
            move |still| {
                let Some(page) = page.upgrade() else { return };
                if let Some(review) = &mut *page.imp().review.borrow_mut() {
                    review.thumbing = None;
                    // One that cannot be taken is not tried again.
                    review.thumbs_taken.insert(pass);
                }
                if let Ok(still) = still {
                    page.panels().reel.set_thumbnail(pass, still_texture(&still));
                }
                page.take_thumbnails();
            },
        );
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.thumbing = Some(running);
        }
    }

    /// Other footage, or another clock: the pictures of the list are taken anew.
    pub(super) fn forget_thumbnails(&self) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.thumbing = None;
            review.thumbs_taken.clear();
        }
        self.panels().reel.forget_thumbnails();
    }

    fn go_to_clip(&self, index: usize) {
        self.pause();
        let unit = self.settings().get().speed_unit;
        self.go_to(|review| {
            let cut = review.reel().cuts.get(index)?;
            let options = review.reel_options(unit);
            let lead_s = cut.lead_s.unwrap_or(options.clip.lead_s);
            let begin_s = review.analysis.pass(cut.lap, cut.corner)?.times_s()?.0;
            Some(review.timeline.at(begin_s - lead_s))
        });
    }

    /// Plays the clips one after the other, as fast as they were.
    fn preview(&self) {
        self.pause();
        let unit = self.settings().get().speed_unit;
        let first_s = match &mut *self.imp().review.borrow_mut() {
            Some(review) => {
                review.preview = review.stretches(unit);
                review.preview.front().map(|it| it.0)
            }
            None => None,
        };
        match first_s {
            Some(first_s) => {
                self.go_to(|review| Some(review.timeline.at(first_s)));
                self.play();
            }
            None => self.tell("no clip of the reel can be shown"),
        }
    }

    /// A person who goes elsewhere has seen enough of it.
    pub(super) fn leave_preview(&self) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.preview.clear();
        }
    }

    /// Where the clip that is previewed has ended: goes to the next, or gives back that there is none.
    pub(super) fn preview_is_over(&self, t_s: f64) -> bool {
        let next = match &mut *self.imp().review.borrow_mut() {
            Some(review) => match review.preview.front() {
                Some((_, until_s)) if t_s >= *until_s => {
                    review.preview.pop_front();
                    Some(review.preview.front().map(|it| it.0))
                }
                _ => None,
            },
            None => None,
        };
        match next {
            Some(Some(from_s)) => {
                self.go_to(|review| Some(review.timeline.at(from_s)));
                self.begin_playing_anew();
                false
            }
            Some(None) => true,
            None => false,
        }
    }

    /// Writes the film, while the review goes on. `held`: dropped once the work has ended, however it did.
    pub(crate) fn write_film<T: Send + 'static>(&self, out: PathBuf, held: T) {
        let unit = self.settings().get().speed_unit;
        let planned = self.imp().review.borrow().as_ref().map(|review| {
            let inputs = review.footage.chapters.iter().map(|it| it.path.as_path());
            let inputs = inputs.chain(review.session.files.iter().map(PathBuf::as_path));
            files::refuse_input(&out, inputs).map_err(|it| it.to_string())?;
            files::refuse_existing(&out, Overwrite::Refuse)
                .map_err(|_| present::film_is_there(&out.display().to_string()))?;
            review.film(unit)
        });
        let (film, left_out) = match planned {
            Some(Ok(planned)) => planned,
            Some(Err(sentence)) => return self.tell(&sentence),
            None => return,
        };
        let parts = Arc::new(Mutex::new(vec![0.0; film.parts().len()]));
        let (page, told, target) = (self.downgrade(), parts.clone(), out.clone());
        let work = move |context: &Context| {
            let _held = held;
            write(&film, &out, &told, context)
        };
        let running = in_background("reel", work, move |written| {
            let Some(page) = page.upgrade() else { return };
            page.imp().writing.take();
            match written {
                Ok(()) => page.show_film(&target, &left_out),
                Err(sentence) => page.tell(&sentence),
            }
        });
        self.imp().writing.replace(Some(Writing { running, parts }));
        let page = self.downgrade();
        self.panels().reel.follow_writing(move || Some(page.upgrade()?.imp().writing.borrow().as_ref()?.progress()));
    }

    fn show_film(&self, film: &Path, left_out: &[String]) {
        self.tell(&present::film_is_written(&film.display().to_string(), left_out.first().map(String::as_str)));
        let Some(folder) = film.parent() else { return };
        let uri = gio::File::for_path(folder).uri();
        // A desktop without a program for folders: the sentence says where it is.
        gio::AppInfo::launch_default_for_uri_async(&uri, gio::AppLaunchContext::NONE, gio::Cancellable::NONE, |_| {});
    }
}

fn write(film: &FilmPlan, out: &Path, parts: &Mutex<Vec<f64>>, context: &Context) -> Result<(), String> {
    let target = Target { out, overwrite: Overwrite::Refuse, export: None };
    let told = |part: usize, done: f64| {
        if let Some(it) = parts.lock().unwrap_or_else(PoisonError::into_inner).get_mut(part) {
            *it = done;
        }
    };
    media::render_film(film, target, context, &told).map(drop).map_err(|it| it.to_string())
}

fn still_texture(still: &Still) -> gdk::Texture {
    let side = |it: u32| i32::try_from(it).unwrap_or(i32::MAX);
    let bytes = gtk::glib::Bytes::from(&still.rgb);
    let stride = still.rgb.len() / usize::try_from(still.height.max(1)).unwrap_or(1);
    gdk::MemoryTexture::new(side(still.width), side(still.height), gdk::MemoryFormat::R8g8b8, &bytes, stride).upcast()
}
