//! The window that says what the program is, under which terms it comes, and what to keep in mind on a track.

use gtk::prelude::*;
use gtk4 as gtk;

use crate::window::app::APPLICATION_ID;
use crate::window::main_window::MainWindow;

const LICENCE: &str = "cornerbook may be used under the Apache License, Version 2.0, or the MIT License, whichever you \
                       like. The files LICENSE-APACHE and LICENSE-MIT that come with it have their texts; it comes without any \
                       warranty.";

impl MainWindow {
    pub(super) fn show_about(&self) {
        let about = gtk::AboutDialog::builder()
            .transient_for(self)
            .modal(true)
            .program_name("cornerbook")
            .version(env!("CARGO_PKG_VERSION"))
            .comments(
                "Corner-by-corner review of kart sessions.\n\nMotor sport is dangerous. This program informs, it does \
                 not instruct: follow the circuit's rules, its marshals and licensed instructors, and drive within \
                 your own limits. A difference inside the interval is none.",
            )
            .license(LICENCE)
            .wrap_license(true)
            .logo_icon_name(APPLICATION_ID)
            .build();
        about.present();
    }
}
