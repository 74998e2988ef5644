//! What a person prefers and changes while a review is open: the unit of speed and the memory for frames. What is on show
//! follows at once.

use std::str::FromStr;

use gtk::gio;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::units::SpeedUnit;
use crate::window::review::ReviewPage;
use crate::window::review::session_overlay::SessionOverlay;
use crate::window::settings_dialog;

impl ReviewPage {
    /// The settings as a window over the window that this page is in.
    pub(crate) fn show_settings(&self, parent: &gtk::Window) {
        let switches = self.imp().actions.get().expect("made where the page is made");
        let page = self.downgrade();
        settings_dialog::show(parent, switches, self.settings().get().cache_mib, move |cache_mib| {
            if let Some(page) = page.upgrade() {
                page.set_cache_mib(cache_mib);
            }
        });
    }

    /// The unit of speed as a switch with three places, kept as a setting.
    pub(super) fn add_speed_unit(&self, unit: SpeedUnit) {
        let action = gio::SimpleAction::new_stateful(
            "speed-unit",
            Some(gtk::glib::VariantTy::STRING),
            &unit.symbol().to_variant(),
        );
        let page = self.downgrade();
        action.connect_activate(move |action, chosen| {
            let chosen = chosen.and_then(|it| SpeedUnit::from_str(it.str()?).ok());
            let (Some(page), Some(unit)) = (page.upgrade(), chosen) else { return };
            action.set_state(&unit.symbol().to_variant());
            page.set_speed_unit(unit);
        });
        self.imp().actions.get().expect("made where the page is made").add_action(&action);
    }

    fn set_speed_unit(&self, unit: SpeedUnit) {
        self.change_settings(|it| it.speed_unit = unit);
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.overlay = SessionOverlay::new(&review.analysis, unit);
        }
        self.show_anew();
    }

    /// The frames are decoded anew, in the memory that is now allowed.
    fn set_cache_mib(&self, cache_mib: u32) {
        if self.settings().get().cache_mib == cache_mib {
            return;
        }
        self.change_settings(|it| it.cache_mib = cache_mib);
        self.pause();
        let Some(footage) = self.imp().review.borrow().as_ref().map(|it| it.footage.clone()) else { return };
        let viewer = self.open_viewer(&footage);
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.viewer = viewer;
        }
        self.ask_for_size();
        self.show_position();
    }
}
