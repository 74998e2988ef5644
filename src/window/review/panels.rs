//! Strip, map, passes and plot around the picture: what they show, and when it changes. They are shown anew only where
//! lap, corner or analysis have changed; the playhead alone moves with each frame.

use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;
use std::sync::Arc;

use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::book::{Book, Exit, Id, Tag};
use crate::load::Session;
use crate::strip::{CornerPlot, LapElsewhere, LapStrip, MapPicture, OtherLap, PassGiven, PassRows, StripTag};
use crate::units::SpeedUnit;
use crate::window::clock_page::ClockPage;
use crate::window::files_page::FilesPage;
use crate::window::findings::FindingsPage;
use crate::window::map::MapWidget;
use crate::window::passes::PassTable;
use crate::window::plot::CornerPlotView;
use crate::window::reel_page::ReelPage;
use crate::window::review::moment_choice::MomentChoice;
use crate::window::strip::LapStripView;
use crate::window::tags::{CornerName, TagsPage, tag_look, tag_time_s};

/// Height of the strip, px.
const STRIP_HEIGHT: i32 = 200;

/// The widgets around the picture.
#[derive(Debug, Clone)]
pub(super) struct Panels {
    pub(super) strip: LapStripView,
    pub(super) map: MapWidget,
    pub(super) passes: PassTable,
    pub(super) plot: CornerPlotView,
    pub(super) tags: TagsPage,
    pub(super) findings: FindingsPage,
    pub(super) reel: ReelPage,
    pub(super) clock: ClockPage,
    /// The moments that a frame can be pinned to, on the page of the clock.
    pub(super) moments: Rc<MomentChoice>,
    pub(super) corner_name: CornerName,
    /// Passes, and what else there is room for beside the picture.
    pub(super) pages: gtk::Notebook,
    pictures: gtk::Notebook,
    pub(super) files: FilesPage,
    /// What is still to appear, last first.
    hidden: Rc<RefCell<Vec<gtk::Widget>>>,
}

/// What the panels show, apart from the playhead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Subject {
    /// The lap that the kart is on.
    pub(super) lap: Option<u32>,
    /// The lap of the pass that is on or comes next: not the kart's own on the way to a corner behind the gate.
    pub(super) pass_lap: Option<u32>,
    pub(super) corner: Option<u32>,
    /// The lap to compare with.
    pub(super) other: Option<u32>,
    /// The lap of another book that is beside it.
    pub(super) guest: Option<u32>,
}

/// Everything that the panels are drawn from: held apart from the review, for they may ask back while they are told.
#[derive(Debug, Clone)]
pub(super) struct Scene {
    pub(super) session: Arc<Session>,
    pub(super) analysis: Arc<Analysis>,
    pub(super) book: Book,
    pub(super) guest: Option<GuestLap>,
    /// A file of the book that is nowhere to be found.
    pub(super) missing: Option<PathBuf>,
}

/// A lap of another book.
#[derive(Debug, Clone)]
pub(super) struct GuestLap {
    pub(super) name: String,
    pub(super) analysis: Arc<Analysis>,
    pub(super) lap: u32,
}

impl GuestLap {
    fn elsewhere(&self) -> LapElsewhere<'_> {
        LapElsewhere { session: &self.name, analysis: &self.analysis, lap: self.lap }
    }
}

impl Panels {
    /// Makes the widgets and puts them into the page: map and speed over passes, tags and files at the side, the strip
    /// below.
    pub(super) fn new(side: &gtk::Paned, below: &gtk::Box) -> Self {
        let moments = Rc::new(MomentChoice::new());
        let panels = Self {
            strip: LapStripView::new(),
            map: MapWidget::new(),
            passes: PassTable::new(),
            plot: CornerPlotView::new(),
            tags: TagsPage::new(),
            findings: FindingsPage::new(),
            reel: ReelPage::new(),
            clock: ClockPage::new(|row| moments.add_to(row)),
            moments,
            corner_name: CornerName::new(),
            pages: gtk::Notebook::new(),
            pictures: gtk::Notebook::new(),
            hidden: Rc::default(),
            files: FilesPage::new(),
        };
        let pictures = panels.pictures.clone();
        pictures.append_page(panels.map.widget(), Some(&gtk::Label::new(Some("Map"))));
        pictures.append_page(panels.plot.widget(), Some(&gtk::Label::new(Some("Speed"))));
        side.set_start_child(Some(&place_for(&pictures)));
        panels.passes.widget().set_vexpand(true);
        let table = gtk::Box::new(gtk::Orientation::Vertical, 0);
        table.append(panels.corner_name.widget());
        table.append(panels.passes.widget());
        panels.pages.append_page(&table, Some(&gtk::Label::new(Some("Passes"))));
        panels.pages.append_page(&panels.tags, Some(&gtk::Label::new(Some("Tags"))));
        panels.pages.append_page(panels.findings.widget(), Some(&gtk::Label::new(Some("Findings"))));
        side.set_end_child(Some(&place_for(&panels.pages)));
        panels.pages.append_page(panels.reel.widget(), Some(&gtk::Label::new(Some("Reel"))));
        panels.pages.append_page(panels.clock.widget(), Some(&gtk::Label::new(Some("Clock"))));
        panels.pages.append_page(panels.files.widget(), Some(&gtk::Label::new(Some("Files"))));
        below.set_height_request(STRIP_HEIGHT);
        below.append(panels.strip.widget());
        panels.strip.widget().set_vexpand(true);
        panels.hide_until_asked([
            panels.files.widget(),
            panels.clock.widget(),
            panels.reel.widget(),
            panels.tags.upcast_ref(),
            panels.pages.upcast_ref(),
            pictures.upcast_ref(),
            panels.strip.widget(),
        ]);
        panels
    }

    fn hide_until_asked(&self, last_first: [&gtk::Widget; 7]) {
        last_first.iter().for_each(|it| it.set_visible(false));
        self.hidden.replace(last_first.into_iter().cloned().collect());
    }

    /// Lets the panels appear, one with each frame: to lay out and draw all of them for the first time in one go would
    /// hold up the window for some frames.
    pub(super) fn appear(&self) {
        let hidden = self.hidden.clone();
        // The places of the panels are there from the start: nothing moves when a panel appears.
        self.pages.parent().unwrap_or(self.pages.clone().upcast()).add_tick_callback(move |_, _| {
            match hidden.borrow_mut().pop() {
                Some(panel) => panel.set_visible(true),
                None => return glib::ControlFlow::Break,
            }
            glib::ControlFlow::Continue
        });
    }

    /// The pages of both notebooks.
    pub(super) fn turned_pages(&self) -> Vec<gtk::Widget> {
        let of = |it: &gtk::Notebook| (0..it.n_pages()).filter_map(|page| it.nth_page(Some(page))).collect::<Vec<_>>();
        [of(&self.pages), of(&self.pictures)].concat()
    }

    pub(super) fn bring_up_clock(&self) {
        // A notebook turns to no page that is still to appear.
        self.clock.widget().set_visible(true);
        self.pages.set_current_page(self.pages.page_num(self.clock.widget()));
    }

    pub(super) fn set_playhead(&self, t_s: f64) {
        self.strip.set_playhead(Some(t_s));
        self.map.set_playhead(Some(t_s));
        self.plot.set_playhead(Some(t_s));
    }

    /// Shows what has changed from `before` to `now`; all of it where there is no before.
    pub(super) fn show(&self, scene: &Scene, before: Option<Subject>, now: Subject, unit: SpeedUnit) {
        let has_changed = |what: fn(&Subject) -> Option<u32>| before.is_none_or(|it| what(&it) != what(&now));
        let has_other_changed = has_changed(|it| it.other) || has_changed(|it| it.guest);
        let guest = scene.guest.as_ref().map(GuestLap::elsewhere);
        if has_changed(|it| it.lap) {
            let tags = strip_tags(&scene.book, &scene.analysis);
            self.strip.show(LapStrip::of(&scene.analysis, now.lap.unwrap_or(0), &tags), unit);
        }
        if has_changed(|it| it.lap) || has_other_changed {
            let other = guest.map(OtherLap::Elsewhere).or(now.other.map(OtherLap::Here));
            let track = scene.session.inputs.track.as_ref();
            let picture = MapPicture::of(&scene.analysis, track, now.lap.unwrap_or(0), other);
            self.map.show(picture, unit);
        }
        if before.is_none() {
            self.findings.show(&scene.book, &scene.analysis);
            self.files.show_files(&scene.book, scene.missing.as_deref());
        }
        self.tags.show(&scene.book, &scene.analysis, now.pass_lap, now.corner, before.is_none());
        let corner = scene.analysis.corners.iter().find(|it| Some(it.number) == now.corner);
        self.corner_name.show(corner.map(|it| (it.number, it.name.as_str())));
        let Some(corner) = now.corner else { return };
        if has_changed(|it| it.corner) {
            let rows = PassRows::of(&scene.analysis, corner, unit);
            let given = given(&scene.book, &scene.analysis, corner);
            self.passes.show(&rows.with(&given));
        }
        if has_changed(|it| it.corner) || has_changed(|it| it.pass_lap) || has_other_changed {
            self.passes.set_chosen(now.pass_lap);
            self.passes.set_other(now.other);
            let laps: Vec<u32> = now.pass_lap.into_iter().chain(now.other).collect();
            let plot = CornerPlot::of(&scene.analysis, corner, &laps);
            let plot = match guest {
                Some(guest) => plot.with_lap_elsewhere(&scene.analysis, corner, guest),
                None => plot,
            };
            self.plot.show(plot, unit);
        }
    }
}

/// Room for a panel, whether it is on show or not.
fn place_for(panel: &impl IsA<gtk::Widget>) -> gtk::Box {
    let place = gtk::Box::new(gtk::Orientation::Vertical, 0);
    panel.set_vexpand(true);
    place.append(panel);
    place
}

fn strip_tags(book: &Book, analysis: &Analysis) -> Vec<StripTag> {
    let strip_tag = |(id, tag): (&Id, &Tag)| {
        let (name, colour) = tag_look(book, tag);
        let t_s = tag_time_s(tag, book, analysis)?;
        Some(StripTag { id: u64::from(id.0), t_s, name, colour: colour.to_hex() })
    };
    book.tags.iter().filter_map(strip_tag).collect()
}

/// What the book says of each pass of a corner.
fn given(book: &Book, analysis: &Analysis, corner: u32) -> Vec<PassGiven> {
    let passes = analysis.passes.iter().filter(|it| it.corner == corner);
    let given = |pass: &crate::corners::Pass| PassGiven {
        lap: pass.lap,
        is_good_exit: book.exit_of(pass.lap, corner).map(|(_, exit)| exit == Exit::Good),
        tags: book.tags_of_pass(pass.lap, corner, analysis.moments_of(pass)).count(),
    };
    passes.map(given).collect()
}
