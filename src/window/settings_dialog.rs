//! The settings as a window of their own. Unit and overlay are switches of the review page, so that its menu and this
//! window never disagree; the size of the frame cache is told once this window is closed. Keeps nothing itself.

use gtk::gio;
use gtk::prelude::*;
use gtk4 as gtk;

/// What the window is made of.
const DESCRIPTION: &str = include_str!("../../resources/window/settings.ui");

/// Shows the settings. `switches` are the review page's own; `cache_chosen` gets the cache's size in MiB when the window
/// is closed.
pub(super) fn show(
    parent: &impl IsA<gtk::Window>,
    switches: &gio::SimpleActionGroup,
    cache_mib: u32,
    cache_chosen: impl Fn(u32) + 'static,
) {
    let builder = gtk::Builder::from_string(DESCRIPTION);
    let window: gtk::Window = builder.object("settings").expect("the description names it");
    let cache: gtk::SpinButton = builder.object("cache").expect("the description names it");
    window.insert_action_group("review", Some(switches));
    window.set_transient_for(Some(parent));
    cache.set_value(f64::from(cache_mib));
    window.connect_close_request(move |_| {
        // What was typed and not confirmed counts too.
        cache.update();
        cache_chosen(u32::try_from(cache.value_as_int()).unwrap_or(0));
        gtk::glib::Propagation::Proceed
    });
    window.present();
}
