//! The review page: footage with its overlay, transport, strip, map and passes, all at one playhead. Callbacks change the
//! state; `show_position` alone moves what is seen.

mod keys;
mod playing;
mod session_overlay;
mod sounding;
mod timeline;

use std::cell::{OnceCell, RefCell};

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk::{gdk, gio, glib};
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::media::{ShownFrame, Viewer, ViewerEvent, ViewerSettings};
use crate::present::{Whereabouts, whereabouts};
use crate::window::app::SharedSettings;
use crate::window::loading::Loaded;
use crate::window::navigate::{Playhead, Stop, Stops, Way};
use crate::window::picture::Picture;
use crate::window::review::playing::{NORMAL, Playing, SPEEDS, speed_words};
use crate::window::review::session_overlay::SessionOverlay;
use crate::window::review::sounding::{Sounding, is_noticed};
use crate::window::review::timeline::{Position, Timeline};
use crate::window::settings::{OverlayParts, Settings};

/// The shape of the picture while there is no footage.
const WITHOUT_FOOTAGE_PX: (u32, u32) = (1280, 720);

/// One review: a book that is open.
#[derive(Debug)]
struct Review {
    loaded: Loaded,
    timeline: Timeline,
    position: Position,
    stops: Stops,
    overlay: SessionOverlay,
    viewer: Option<Viewer>,
    playing: Option<Playing>,
    sounding: Sounding,
}

impl Review {
    fn analysis(&self) -> &Analysis {
        &self.loaded.analysis
    }

    fn playhead(&self) -> Playhead {
        self.timeline.playhead(self.position)
    }

    /// The log time to show by now, s. The picture follows the sound where they have come apart.
    fn follow_sound(&mut self, playing: Playing, now_us: i64) -> f64 {
        let t_s = playing.t_s(now_us);
        let heard = self.sounding.heard().and_then(|(chapter, at)| self.timeline.log_s(chapter, at));
        match heard.filter(|it| is_noticed(it - t_s)) {
            Some(heard_s) => {
                self.playing = Some(Playing::new(now_us, heard_s, playing.rate()));
                heard_s
            }
            None => t_s,
        }
    }
}

type Told = Box<dyn Fn(&str)>;
type Changed = Box<dyn Fn()>;

mod imp {
    use super::*;

    #[derive(Default, gtk::CompositeTemplate)]
    #[template(file = "../../../resources/window/review.ui")]
    pub struct ReviewPage {
        #[template_child]
        pub(super) picture: TemplateChild<Picture>,
        #[template_child]
        pub(super) no_picture: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) corner_back: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) frame_back: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) play: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) frame_forward: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) corner_forward: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) speed: TemplateChild<gtk::DropDown>,
        #[template_child]
        pub(super) where_label: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) volume: TemplateChild<gtk::VolumeButton>,
        #[template_child]
        pub(super) side: TemplateChild<gtk::Paned>,
        #[template_child]
        pub(super) below: TemplateChild<gtk::Box>,
        pub(super) settings: OnceCell<SharedSettings>,
        pub(super) actions: OnceCell<gio::SimpleActionGroup>,
        pub(super) review: RefCell<Option<Review>>,
        pub(super) on_trouble: RefCell<Option<Told>>,
        pub(super) on_changed: RefCell<Option<Changed>>,
    }

    #[glib::object_subclass]
    impl ObjectSubclass for ReviewPage {
        const NAME: &'static str = "CornerbookReviewPage";
        type Type = super::ReviewPage;
        type ParentType = gtk::Box;

        fn class_init(class: &mut Self::Class) {
            Picture::ensure_type();
            class.bind_template();
        }

        fn instance_init(object: &glib::subclass::InitializingObject<Self>) {
            object.init_template();
        }
    }

    impl ObjectImpl for ReviewPage {
        fn constructed(&self) {
            self.parent_constructed();
            self.obj().connect_parts();
        }
    }

    impl WidgetImpl for ReviewPage {
        fn grab_focus(&self) -> bool {
            self.picture.grab_focus()
        }
    }

    impl BoxImpl for ReviewPage {}
}

glib::wrapper! {
    pub struct ReviewPage(ObjectSubclass<imp::ReviewPage>)
        @extends gtk::Widget, gtk::Box,
        @implements gtk::Accessible, gtk::Buildable, gtk::ConstraintTarget, gtk::Orientable;
}

impl ReviewPage {
    pub(crate) fn set_settings(&self, settings: SharedSettings) {
        let given = settings.get();
        self.imp().settings.set(settings).expect("the window sets them once");
        self.imp().volume.set_value(given.volume);
        self.add_overlay_parts(given.overlay);
    }

    /// Is told one sentence whenever something goes wrong.
    pub(crate) fn connect_trouble(&self, told: impl Fn(&str) + 'static) {
        *self.imp().on_trouble.borrow_mut() = Some(Box::new(told));
    }

    /// Is called after each change of the book.
    pub(crate) fn connect_changed(&self, changed: impl Fn() + 'static) {
        *self.imp().on_changed.borrow_mut() = Some(Box::new(changed));
    }

    /// Opens a review; the one before is closed.
    pub(crate) fn show(&self, loaded: Loaded) {
        let unit = self.settings().get().speed_unit;
        let timeline = Timeline::new(loaded.footage.chapters.clone(), loaded.session.samples.duration_s());
        let begin_s = first_moment_s(&loaded);
        let review = Review {
            position: timeline.at(begin_s),
            stops: Stops::of(&loaded.analysis),
            overlay: SessionOverlay::new(&loaded.analysis, unit),
            viewer: self.open_viewer(&loaded),
            playing: None,
            sounding: Sounding::default(),
            timeline,
            loaded,
        };
        let imp = self.imp();
        imp.picture.show_frame(None, WITHOUT_FOOTAGE_PX);
        *imp.review.borrow_mut() = Some(review);
        self.ask_for_size();
        self.show_position();
    }

    /// Closes the review.
    pub(crate) fn clear(&self) {
        self.pause();
        *self.imp().review.borrow_mut() = None;
        self.imp().picture.show_frame(None, WITHOUT_FOOTAGE_PX);
    }

    pub(crate) fn undo(&self) {}

    pub(crate) fn redo(&self) {}

    pub(crate) fn can_undo(&self) -> bool {
        false
    }

    pub(crate) fn can_redo(&self) -> bool {
        false
    }

    fn settings(&self) -> &SharedSettings {
        self.imp().settings.get().expect("the window sets them before it shows a review")
    }

    fn picture(&self) -> &Picture {
        &self.imp().picture
    }

    fn tell(&self, sentence: &str) {
        if let Some(told) = &*self.imp().on_trouble.borrow() {
            told(sentence);
        }
    }

    fn connect_parts(&self) {
        let imp = self.imp();
        let words = speed_words();
        imp.speed.set_model(Some(&gtk::StringList::new(&words.iter().map(String::as_str).collect::<Vec<_>>())));
        imp.speed.set_selected(u32::try_from(NORMAL).unwrap_or(0));
        for (button, act) in [
            (&imp.corner_back, Self::previous_corner as fn(&Self)),
            (&imp.frame_back, |it| it.step(-1)),
            (&imp.play, Self::play_or_pause),
            (&imp.frame_forward, |it| it.step(1)),
            (&imp.corner_forward, Self::next_corner),
        ] {
            let page = self.downgrade();
            button.connect_clicked(move |_| {
                if let Some(page) = page.upgrade() {
                    act(&page);
                }
            });
        }
        let page = self.downgrade();
        imp.speed.connect_selected_notify(move |_| {
            if let Some(page) = page.upgrade() {
                page.change_pace();
            }
        });
        let page = self.downgrade();
        imp.picture.connect_size_wanted(move || {
            if let Some(page) = page.upgrade() {
                page.ask_for_size();
            }
        });
        let page = self.downgrade();
        imp.volume.connect_value_changed(move |_, volume| {
            if let Some(page) = page.upgrade() {
                page.set_volume(volume);
            }
        });
        self.add_keys();
        self.add_actions();
    }

    fn set_volume(&self, volume: f64) {
        if let Some(review) = &*self.imp().review.borrow() {
            review.sounding.set_volume(volume);
        }
        // Before the window has handed them over, there is nothing to keep.
        if let Some(settings) = self.imp().settings.get() {
            settings.set(|it| it.volume = volume);
        }
    }

    fn change_settings(&self, change: impl FnOnce(&mut Settings)) {
        // Before the window has handed them over, there is nothing to keep.
        let Some(settings) = self.imp().settings.get() else { return };
        if let Err(sentence) = settings.change(change) {
            self.tell(&sentence);
        }
    }

    /// The parts of the overlay, kept as settings, and the zoom.
    fn add_actions(&self) {
        let group = gio::SimpleActionGroup::new();
        let on = |name: &str, act: fn(&Self)| {
            let action = gio::SimpleAction::new(name, None);
            let page = self.downgrade();
            action.connect_activate(move |_, _| {
                if let Some(page) = page.upgrade() {
                    act(&page);
                }
            });
            group.add_action(&action);
        };
        on("zoom-in", |it| it.imp().picture.zoom_in());
        on("zoom-out", |it| it.imp().picture.zoom_out());
        on("zoom-fit", |it| it.imp().picture.fit());
        self.insert_action_group("review", Some(&group));
        self.imp().actions.set(group).expect("made once");
    }

    /// One switch for each part of the overlay, kept as a setting.
    fn add_overlay_parts(&self, shown: OverlayParts) {
        let add = |name: &str, is_shown: bool, set: fn(&mut OverlayParts, bool)| {
            let action = gio::SimpleAction::new_stateful(name, None, &is_shown.to_variant());
            let page = self.downgrade();
            action.connect_activate(move |action, _| {
                let Some(page) = page.upgrade() else { return };
                let is_shown = !action.state().and_then(|it| it.get::<bool>()).unwrap_or(true);
                action.set_state(&is_shown.to_variant());
                page.change_settings(|it| set(&mut it.overlay, is_shown));
                page.show_overlay();
            });
            self.imp().actions.get().expect("made where the page is made").add_action(&action);
        };
        add("overlay-caption", shown.caption, |parts, on| parts.caption = on);
        add("overlay-marks", shown.marks, |parts, on| parts.marks = on);
        add("overlay-map", shown.map, |parts, on| parts.map = on);
    }

    fn open_viewer(&self, loaded: &Loaded) -> Option<Viewer> {
        let files: Vec<_> = loaded.footage.chapters.iter().map(|it| it.path.clone()).collect();
        if files.is_empty() {
            return None;
        }
        // Only the newest frame counts; what else is told must not be lost.
        let (frames, newest_frame) = async_channel::bounded::<ShownFrame>(1);
        let (notices, inbox) = async_channel::unbounded::<ViewerEvent>();
        let settings = ViewerSettings { cache_bytes: self.settings().get().cache_bytes() };
        let viewer = Viewer::open(files, settings, move |event| {
            // A closed channel: the review is over.
            let _ = match event {
                ViewerEvent::Shown(frame) => frames.force_send(frame).map(drop).is_ok(),
                other => notices.try_send(other).is_ok(),
            };
        });
        let page = self.downgrade();
        glib::spawn_future_local(async move {
            while let (Ok(frame), Some(page)) = (newest_frame.recv().await, page.upgrade()) {
                page.show_frame(&frame);
            }
        });
        let page = self.downgrade();
        glib::spawn_future_local(async move {
            while let (Ok(event), Some(page)) = (inbox.recv().await, page.upgrade()) {
                page.take_notice(event);
            }
        });
        Some(viewer)
    }

    fn take_notice(&self, event: ViewerEvent) {
        match event {
            ViewerEvent::Ready(index) => {
                if let Some(review) = &mut *self.imp().review.borrow_mut() {
                    review.timeline.set_index(index);
                    let t_s = review.timeline.playhead(review.position).from_s;
                    review.position = review.timeline.at(t_s);
                }
                self.show_position();
            }
            ViewerEvent::Failed(sentence) => self.tell(&sentence),
            ViewerEvent::Shown(_) => {}
        }
    }

    fn show_frame(&self, frame: &ShownFrame) {
        // A frame of footage that the playhead has left meanwhile is not shown over the log alone.
        let is_on_footage =
            self.imp().review.borrow().as_ref().is_some_and(|it| matches!(it.position, Position::Frame { .. }));
        if !is_on_footage {
            return;
        }
        let side = |pixels: u32| i32::try_from(pixels).unwrap_or(i32::MAX);
        let pixels = &frame.pixels;
        let texture = gdk::MemoryTexture::new(
            side(pixels.width_px),
            side(pixels.height_px),
            gdk::MemoryFormat::B8g8r8a8Premultiplied,
            &pixels.bytes,
            pixels.stride_bytes,
        );
        self.imp().picture.show_frame(Some(texture.upcast()), (pixels.width_px, pixels.height_px));
    }

    fn ask_for_size(&self) {
        let picture = &self.imp().picture;
        if let Some(viewer) = self.imp().review.borrow().as_ref().and_then(|it| it.viewer.as_ref()) {
            viewer.set_size_px(picture.wanted_px());
        }
        self.show_overlay();
    }

    /// Goes to a log time, s.
    pub(crate) fn seek(&self, t_s: f64) {
        self.go_to(|review| Some(review.timeline.at(t_s)));
    }

    fn step(&self, by: i64) {
        self.pause();
        self.go_to(|review| review.timeline.step(review.position, by));
    }

    fn jump(&self, stop: Stop, way: Way) {
        self.go_to(|review| review.stops.next(stop, way, review.playhead()).map(|it| review.timeline.at(it)));
        self.begin_playing_anew();
    }

    fn previous_corner(&self) {
        self.jump(Stop::Corner, Way::Back);
    }

    fn next_corner(&self) {
        self.jump(Stop::Corner, Way::Forward);
    }

    fn go_to(&self, find: impl FnOnce(&Review) -> Option<Position>) {
        let moved = match &mut *self.imp().review.borrow_mut() {
            Some(review) => find(review).filter(|it| *it != review.position).map(|it| review.position = it).is_some(),
            None => false,
        };
        if moved {
            self.show_position();
        }
    }

    fn play_or_pause(&self) {
        let is_playing = self.imp().review.borrow().as_ref().is_some_and(|it| it.playing.is_some());
        if is_playing { self.pause() } else { self.play() }
    }

    fn play(&self) {
        let Some(now_us) = self.imp().picture.frame_clock().map(|it| it.frame_time()) else { return };
        let (rate, volume) = (self.pace(), self.settings().get().volume);
        match &mut *self.imp().review.borrow_mut() {
            Some(review) => {
                review.playing = Some(Playing::new(now_us, review.playhead().from_s, rate));
                self.play_sound(review, review.position, rate, volume);
            }
            None => return,
        }
        self.show_playing(true);
        let page = self.downgrade();
        self.imp().picture.add_tick_callback(move |_, clock| match page.upgrade() {
            Some(page) => page.play_on(clock.frame_time()),
            None => glib::ControlFlow::Break,
        });
    }

    /// Shows what should be on show by now; ends where the session ends.
    fn play_on(&self, now_us: i64) -> glib::ControlFlow {
        let at = {
            let volume = self.settings().get().volume;
            let mut review = self.imp().review.borrow_mut();
            let Some((review, playing)) = review.as_mut().and_then(|it| it.playing.map(|playing| (it, playing))) else {
                return glib::ControlFlow::Break;
            };
            let t_s = review.follow_sound(playing, now_us);
            let position = review.timeline.at(t_s);
            if chapter_of(position) != chapter_of(review.position) {
                self.play_sound(review, position, playing.rate(), volume);
            }
            (position, t_s >= review.timeline.last_s())
        };
        self.go_to(|_| Some(at.0));
        if at.1 {
            self.pause();
            return glib::ControlFlow::Break;
        }
        glib::ControlFlow::Continue
    }

    fn pause(&self) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.playing = None;
            review.sounding.pause();
        }
        self.show_playing(false);
    }

    fn pace(&self) -> f64 {
        let chosen = usize::try_from(self.imp().speed.selected()).unwrap_or(NORMAL);
        SPEEDS.get(chosen).copied().unwrap_or(SPEEDS[NORMAL])
    }

    fn change_pace(&self) {
        self.begin_playing_anew();
    }

    /// Where the playhead has jumped or the pace has changed, playing goes on from here.
    fn begin_playing_anew(&self) {
        let Some(now_us) = self.imp().picture.frame_clock().map(|it| it.frame_time()) else { return };
        let (rate, volume) = (self.pace(), self.settings().get().volume);
        if let Some(review) = &mut *self.imp().review.borrow_mut()
            && review.playing.is_some()
        {
            review.playing = Some(Playing::new(now_us, review.playhead().from_s, rate));
            self.play_sound(review, review.position, rate, volume);
        }
    }

    /// The sound of the frame on show, from there; silence where there is no footage.
    fn play_sound(&self, review: &mut Review, position: Position, rate: f64, volume: f64) {
        let Position::Frame { place, .. } = position else { return review.sounding.pause() };
        let Some(chapter) = review.loaded.footage.chapters.get(place.chapter) else { return };
        let (silent, inbox) = async_channel::bounded(1);
        // A review that is closed meanwhile needs no word.
        let on_silent = move |sentence| drop(silent.try_send(sentence));
        review.sounding.play(&chapter.path, place, rate, volume, on_silent);
        let volume = self.imp().volume.downgrade();
        glib::spawn_future_local(async move {
            if let (Ok(sentence), Some(volume)) = (inbox.recv().await, volume.upgrade()) {
                volume.set_sensitive(false);
                volume.set_tooltip_text(Some(&sentence));
            }
        });
    }

    fn slower(&self) {
        let speed = &self.imp().speed;
        speed.set_selected(speed.selected().saturating_sub(1));
    }

    fn faster(&self) {
        let speed = &self.imp().speed;
        let last = u32::try_from(SPEEDS.len() - 1).unwrap_or(0);
        speed.set_selected((speed.selected() + 1).min(last));
    }

    fn show_playing(&self, is_playing: bool) {
        let play = &self.imp().play;
        let (icon, word) = if is_playing {
            ("media-playback-pause-symbolic", "Pause")
        } else {
            ("media-playback-start-symbolic", "Play")
        };
        play.set_icon_name(icon);
        play.set_tooltip_text(Some(&format!("{word} (Space)")));
        play.update_property(&[gtk::accessible::Property::Label(word)]);
    }

    /// Moves everything that is seen to the position.
    fn show_position(&self) {
        // Nothing of the state is held while widgets are told: they may ask back.
        let (words, why_no_picture) = {
            let mut review = self.imp().review.borrow_mut();
            let Some(review) = &mut *review else { return };
            let has_frame = match (review.position, &mut review.viewer) {
                (Position::Frame { place, .. }, Some(viewer)) => {
                    viewer.show(place);
                    true
                }
                _ => false,
            };
            (self.words(review), (!has_frame).then(|| without_picture(review)))
        };
        let imp = self.imp();
        imp.where_label.set_text(&words);
        imp.no_picture.set_visible(why_no_picture.is_some());
        if let Some(why) = why_no_picture {
            imp.no_picture.set_text(&why);
            imp.picture.show_frame(None, WITHOUT_FOOTAGE_PX);
        }
        self.show_overlay();
    }

    fn words(&self, review: &Review) -> String {
        let t_s = review.playhead().from_s;
        let analysis = review.analysis();
        let state = analysis.path.index_at(t_s);
        let place = state.and_then(|it| analysis.places.get(it).copied().flatten());
        let pass = review.overlay.pass_at(t_s).and_then(|it| analysis.passes.get(it));
        let corner = pass.and_then(|it| analysis.corners.iter().find(|corner| corner.number == it.corner));
        let here = Whereabouts {
            t_s,
            lap: place.map(|it| it.lap).or(pass.map(|it| it.lap)),
            corner: corner.map(|it| it.name.as_str()),
            distance_m: place.map(|it| it.distance_m),
            speed_mps: analysis.path.at(t_s).map(|it| it.speed_mps).filter(|it| it.is_finite()),
        };
        whereabouts(here, self.settings().get().speed_unit)
    }

    fn show_overlay(&self) {
        let imp = self.imp();
        let mut review = imp.review.borrow_mut();
        let Some(Review { loaded, timeline, position, overlay, .. }) = &mut *review else { return };
        let parts = self.settings().get().overlay;
        let playhead = timeline.playhead(*position);
        let (tiles, are_new) = overlay.tiles(&loaded.analysis, playhead, imp.picture.fitted_px(), parts);
        if are_new {
            imp.picture.show_tiles(&[]);
        }
        imp.picture.show_tiles(&tiles);
    }
}

/// A review opens on the first frame of the first pass that can be seen, else at the beginning.
fn first_moment_s(loaded: &Loaded) -> f64 {
    let timeline = Timeline::new(loaded.footage.chapters.clone(), loaded.session.samples.duration_s());
    let begins = loaded.analysis.passes.iter().filter_map(|it| it.times_s().map(|(begin_s, _)| begin_s));
    let mut begins: Vec<f64> = begins.collect();
    begins.sort_by(f64::total_cmp);
    let seen = begins.iter().copied().find(|it| matches!(timeline.at(*it), Position::Frame { .. }));
    seen.or(begins.first().copied()).unwrap_or(0.0)
}

/// The chapter that a position is in; `None` where there is no footage.
fn chapter_of(position: Position) -> Option<usize> {
    match position {
        Position::Frame { place, .. } => Some(place.chapter),
        Position::Log { .. } => None,
    }
}

/// Why there is no picture.
fn without_picture(review: &Review) -> String {
    if !review.timeline.has_footage() {
        return "This book has no footage.".to_owned();
    }
    if review.loaded.footage.chapters.iter().all(|it| it.clock.is_none()) {
        return format!("The footage is {}.", review.loaded.footage.clock);
    }
    "There is no footage of this moment.".to_owned()
}
