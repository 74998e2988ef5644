//! The review page: footage with its overlay, transport, strip, map and passes, all at one playhead. Callbacks change the
//! state; `show_position` alone moves what is seen.

mod clock;
mod drawing;
mod editing;
mod finding;
mod footage;
mod keeping;
mod keys;
mod moment_choice;
mod moving;
mod panels;
mod playing;
mod preferences;
mod reeling;
mod second;
mod session_overlay;
mod sounding;
mod tagging;
mod timeline;
mod transport;
mod viewing;

use std::cell::{OnceCell, RefCell};
use std::collections::BTreeSet;
use std::sync::Arc;

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk::{gio, glib};
use gtk4 as gtk;

use crate::analysis::{Analysis, TrackPlace};
use crate::book::History;
use crate::corners::Pass;
use crate::load::Session;
use crate::media::Viewer;
use crate::reel::moment_of_pass_s;
use crate::window::app::SharedSettings;
use crate::window::inbox::Running;
use crate::window::listeners::Listeners;
use crate::window::loading::{Footage, Loaded};
use crate::window::naming::name_button_inside;
use crate::window::navigate::{Playhead, Stops};
use crate::window::picture::Picture;
use crate::window::report::Reviewed;
use crate::window::review::drawing::DrawingBar;
use crate::window::review::keeping::Keeping;
pub(super) use crate::window::review::keeping::{Decision, Kept, other_name};
use crate::window::review::panels::{GuestLap, Panels, Scene, Subject};
use crate::window::review::playing::{NORMAL, Playing, speed_words};
use crate::window::review::reeling::{Preview, Writing};
use crate::window::review::second::SecondPicture;
use crate::window::review::session_overlay::SessionOverlay;
use crate::window::review::sounding::Sounding;
use crate::window::review::timeline::{Position, Timeline};
use crate::window::settings::{OverlayParts, Settings};

/// The shape of the picture while there is no footage.
const WITHOUT_FOOTAGE_PX: (u32, u32) = (1280, 720);

/// One review: a book that is open.
#[derive(Debug)]
struct Review {
    session: Arc<Session>,
    analysis: Arc<Analysis>,
    footage: Footage,
    history: History,
    keeping: Keeping,
    timeline: Timeline,
    position: Position,
    stops: Stops,
    overlay: SessionOverlay,
    viewer: Option<Viewer>,
    playing: Option<Playing>,
    sounding: Sounding,
    /// What the panels show; `None` where they are to be shown anew.
    shown: Option<Subject>,
    /// The corner that was on show before the panels were to be shown anew.
    corner_before: Option<u32>,
    /// The lap to compare with.
    other: Option<u32>,
    /// Where the playhead was before a mark was dragged.
    before_drag: Option<Position>,
    /// The analysis after the last change, while it is being made.
    analysing: Option<Running>,
    /// What is seen to move, while it is looked for.
    matching: Option<Running>,
    /// What is still to be played of a reel.
    preview: Preview,
    /// A picture of the reel's list, while it is taken, and the passes that are done.
    thumbing: Option<Running>,
    thumbs_taken: BTreeSet<(u32, u32)>,
    /// The findings, while they are looked for.
    finding: Option<Running>,
    /// The footage after the last change of what the book says of it, while it is being read.
    reading: Option<Running>,
}

impl Review {
    fn playhead(&self) -> Playhead {
        self.timeline.playhead(self.position)
    }

    fn track_place(&self) -> Option<TrackPlace> {
        self.analysis.place_at(self.moment_s())
    }

    /// The pass that is on, or the next one.
    fn pass(&self) -> Option<&Pass> {
        self.analysis.passes.get(self.overlay.pass_at(self.playhead().from_s)?)
    }

    /// The log time that speed and place on the frame on show are told for, s.
    fn moment_s(&self) -> f64 {
        let Playhead { from_s, until_s } = self.playhead();
        self.pass().map_or(from_s, |it| moment_of_pass_s(it, (from_s, until_s)))
    }

    /// Lap and corner at the playhead. Far from any corner the one before stays on show. A corner that lies over the
    /// gate belongs to the lap of its pass for as long as it lasts.
    fn subject(&self) -> Subject {
        let pass = self.pass();
        let t_s = self.moment_s();
        let at_time = || self.analysis.laps.iter().find(|it| (it.start_t_s..it.end_t_s).contains(&t_s));
        let is_on = |it: &&Pass| it.times_s().is_some_and(|(from_s, to_s)| (from_s..=to_s).contains(&t_s));
        let pass_lap = pass.map(|it| it.lap);
        let driven = || self.track_place().map(|it| it.lap).or_else(|| at_time().map(|it| it.number));
        // The strip that a mark is dragged along stays on show, though the picture may cross the gate.
        let in_hand = self.before_drag.and(self.shown).and_then(|it| it.lap);
        let lap = in_hand.or_else(|| pass.filter(is_on).map(|it| it.lap)).or_else(driven).or(pass_lap);
        let before = self.shown.and_then(|it| it.corner).or(self.corner_before);
        let first = self.analysis.corners.first().map(|it| it.number);
        let corner = pass.map(|it| it.corner).or(before).or(first);
        Subject { lap, pass_lap: pass_lap.or(lap), corner, other: self.other, guest: None }
    }

    fn scene(&self, guest: Option<GuestLap>) -> Scene {
        let (session, analysis) = (self.session.clone(), self.analysis.clone());
        let missing = self.footage.missing.clone();
        Scene { session, analysis, book: self.history.book().clone(), guest, missing }
    }
}

mod imp {
    use super::*;

    #[derive(Debug, Default, gtk::CompositeTemplate)]
    #[template(file = "../../../resources/window/review.ui")]
    pub struct ReviewPage {
        #[template_child]
        pub(super) picture: TemplateChild<Picture>,
        #[template_child]
        pub(super) no_picture: TemplateChild<gtk::Box>,
        #[template_child]
        pub(super) no_picture_words: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) find_footage: TemplateChild<gtk::Button>,
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
        pub(super) tag: TemplateChild<gtk::MenuButton>,
        #[template_child]
        pub(super) view_menu: TemplateChild<gtk::MenuButton>,
        #[template_child]
        pub(super) where_label: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) stage: TemplateChild<gtk::Box>,
        #[template_child]
        pub(super) pictures: TemplateChild<gtk::Box>,
        #[template_child]
        pub(super) first_words: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) second_toggle: TemplateChild<gtk::ToggleButton>,
        #[template_child]
        pub(super) draw_toggle: TemplateChild<gtk::ToggleButton>,
        #[template_child]
        pub(super) volume: TemplateChild<gtk::VolumeButton>,
        #[template_child]
        pub(super) side: TemplateChild<gtk::Paned>,
        #[template_child]
        pub(super) below: TemplateChild<gtk::Box>,
        pub(super) settings: OnceCell<SharedSettings>,
        pub(super) actions: OnceCell<gio::SimpleActionGroup>,
        pub(super) panels: OnceCell<Panels>,
        pub(super) second: OnceCell<SecondPicture>,
        pub(super) drawing_bar: OnceCell<DrawingBar>,
        pub(super) review: RefCell<Option<Review>>,
        pub(super) on_trouble: Listeners<String>,
        pub(super) on_changed: Listeners<()>,
        pub(super) on_kept: Listeners<()>,
        pub(super) on_film_wanted: Listeners<()>,
        /// The film that is written, whatever is reviewed meanwhile.
        pub(super) writing: RefCell<Option<Writing>>,
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
        self.add_speed_unit(given.speed_unit);
    }

    /// Is told one sentence whenever something goes wrong.
    pub(crate) fn connect_trouble(&self, told: impl Fn(&str) + 'static) {
        self.imp().on_trouble.add(move |sentence: String| told(&sentence));
    }

    /// Is called after each change of the book.
    pub(crate) fn connect_changed(&self, changed: impl Fn() + 'static) {
        self.imp().on_changed.add(move |()| changed());
    }

    /// Opens a review; the one before is closed.
    pub(crate) fn show(&self, loaded: Loaded) {
        let unit = self.settings().get().speed_unit;
        let timeline = Timeline::new(loaded.footage.on_view(), loaded.session.samples.duration_s());
        self.panels().files.show_notes(&loaded.sentences);
        self.panels().findings.forget();
        self.panels().reel.forget_thumbnails();
        let (history, keeper) = loaded.store.into_parts();
        let review = Review {
            position: moving::first_position(&timeline, &loaded.analysis),
            stops: Stops::of(&loaded.analysis),
            overlay: SessionOverlay::new(&loaded.analysis, unit),
            viewer: self.open_viewer(&loaded.footage),
            playing: None,
            sounding: Sounding::default(),
            shown: None,
            other: None,
            before_drag: None,
            corner_before: None,
            analysing: None,
            finding: None,
            matching: None,
            preview: Preview::new(),
            thumbing: None,
            thumbs_taken: BTreeSet::new(),
            reading: None,
            timeline,
            session: loaded.session,
            analysis: loaded.analysis,
            footage: loaded.footage,
            history,
            keeping: self.keep_with(keeper),
        };
        let imp = self.imp();
        imp.picture.show_frame(None, WITHOUT_FOOTAGE_PX);
        *imp.review.borrow_mut() = Some(review);
        self.imp().volume.set_sensitive(self.has_footage());
        self.take_in_tags();
        self.ask_for_size();
        self.leave_guest();
        self.show_position();
        self.panels().appear();
        self.ask_for_clock();
    }

    /// What is to be handed over, as it is now; nothing where no book is open.
    pub(crate) fn reviewed(&self) -> Option<Reviewed> {
        let review = self.imp().review.borrow();
        let review = review.as_ref()?;
        Some(Reviewed {
            session: review.session.with_book(review.history.book().clone()),
            analysis: review.analysis.clone(),
            footage: review.footage.clone(),
            unit: self.settings().get().speed_unit,
        })
    }

    fn has_footage(&self) -> bool {
        self.imp().review.borrow().as_ref().is_some_and(|it| it.timeline.has_footage())
    }

    /// Closes the review; what was changed is saved.
    pub(crate) fn clear(&self) {
        self.pause();
        *self.imp().review.borrow_mut() = None;
        self.imp().picture.show_frame(None, WITHOUT_FOOTAGE_PX);
        self.leave_guest();
    }

    fn settings(&self) -> &SharedSettings {
        self.imp().settings.get().expect("the window sets them before it shows a review")
    }

    fn panels(&self) -> &Panels {
        self.imp().panels.get().expect("made where the page is made")
    }

    /// The picture that has the focus, else the first.
    fn picture(&self) -> &Picture {
        let second = self.imp().second.get().map(SecondPicture::picture).filter(|it| it.has_focus());
        second.unwrap_or(&self.imp().picture)
    }

    fn tell(&self, sentence: &str) {
        self.imp().on_trouble.tell(sentence.to_owned());
    }

    fn connect_parts(&self) {
        let imp = self.imp();
        let words = speed_words();
        imp.speed.set_model(Some(&gtk::StringList::new(&words.iter().map(String::as_str).collect::<Vec<_>>())));
        imp.speed.set_selected(u32::try_from(NORMAL).unwrap_or(0));
        self.focus_after(&imp.view_menu);
        name_button_inside(&*imp.speed, "Speed of play");
        name_button_inside(&*imp.volume, "Volume");
        for (button, act) in [
            (&imp.corner_back, Self::previous_corner as fn(&Self)),
            (&imp.frame_back, |it| it.step(-1)),
            (&imp.play, Self::play_or_pause),
            (&imp.frame_forward, |it| it.step(1)),
            (&imp.corner_forward, Self::next_corner),
            (&imp.find_footage, Self::find_footage),
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
        self.connect_panels();
        self.add_second_picture();
        self.add_drawing_bar();
        self.add_keys();
        self.add_actions();
        self.connect_tags();
        self.connect_findings();
        self.connect_clock();
        self.connect_reel();
    }

    /// The keys are heard again after the menu of this button has had the focus.
    fn focus_after(&self, button: &gtk::MenuButton) {
        let page = self.downgrade();
        if let Some(menu) = button.popover() {
            menu.connect_closed(move |_| {
                if let Some(page) = page.upgrade() {
                    page.grab_focus();
                }
            });
        }
    }

    fn connect_panels(&self) {
        let panels = Panels::new(&self.imp().side, &self.imp().below);
        let page = self.downgrade();
        let seek = move |t_s| {
            if let Some(page) = page.upgrade() {
                page.seek(t_s);
            }
        };
        panels.strip.connect_seek(seek.clone());
        panels.map.connect_seek(seek.clone());
        panels.plot.connect_seek(seek);
        let page = self.downgrade();
        panels.strip.connect_mark_moved(move |mark| {
            if let Some(page) = page.upgrade() {
                page.drop_dragged(mark);
            }
        });
        let page = self.downgrade();
        panels.strip.connect_mark_dragged(move |mark| {
            if let Some(page) = page.upgrade() {
                page.follow_dragged(mark.t_s);
            }
        });
        let page = self.downgrade();
        panels.strip.connect_drag_cancelled(move || {
            if let Some(page) = page.upgrade() {
                page.leave_dragged();
            }
        });
        let page = self.downgrade();
        panels.strip.connect_mark_chosen(move |(corner, mark)| {
            if let Some(page) = page.upgrade() {
                page.go_to_mark(corner, mark);
            }
        });
        let page = self.downgrade();
        panels.strip.connect_tag_chosen(move |tag| {
            if let Some(page) = page.upgrade() {
                page.go_to_tag(tag);
            }
        });
        let page = self.downgrade();
        panels.passes.connect_chosen(move |(lap, corner)| {
            if let Some(page) = page.upgrade() {
                page.go_to_pass(lap, corner);
            }
        });
        let page = self.downgrade();
        panels.passes.connect_other_chosen(move |pass| {
            if let Some(page) = page.upgrade() {
                page.compare_with(pass.map(|(lap, _)| lap));
            }
        });
        let page = self.downgrade();
        panels.pages.connect_switch_page(move |pages, _, _| {
            let (page, pages) = (page.clone(), pages.clone());
            // The toolkit goes into the first field of the page that a click brings up; the keys are to step on.
            glib::idle_add_local_once(move || {
                if let Some(page) = page.upgrade().filter(|it| it.is_text_typed() && pages.focus_child().is_some()) {
                    page.grab_focus();
                }
            });
        });
        self.imp().panels.set(panels).expect("the page is made once");
    }

    fn change_settings(&self, change: impl FnOnce(&mut Settings)) {
        // Before the window has handed them over, there is nothing to keep.
        let Some(settings) = self.imp().settings.get() else { return };
        settings.change(change);
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
        self.add_beside_actions(&group);
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
}
