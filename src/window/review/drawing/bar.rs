//! The row of drawing tools: which tool, its colour, how long it stays, and words where the tool needs them. Holds what
//! is being drawn; decides nothing.

use std::cell::RefCell;

use gtk::gdk;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::book::Colour;
use crate::window::review::drawing::Draft;
use crate::window::review::drawing::strokes::Tool;

/// What a new pen draws in: a yellow that is on no circuit.
const FIRST_COLOUR: gdk::RGBA = gdk::RGBA::new(1.0, 0.84, 0.25, 1.0);
const FIRST_STAYS_S: f64 = 2.0;
/// Longest stay that can be chosen here, s: a whole lap.
const LONGEST_STAYS_S: f64 = 120.0;
const STAYS_STEP_S: f64 = 0.5;

#[derive(Debug)]
pub(in crate::window::review) struct DrawingBar {
    root: gtk::ScrolledWindow,
    tools: Vec<(Tool, gtk::ToggleButton)>,
    colour: gtk::ColorButton,
    stays: gtk::SpinButton,
    naming: gtk::Box,
    words: gtk::Entry,
    keep: gtk::Button,
    draft: RefCell<Option<Draft>>,
}

impl DrawingBar {
    pub(super) fn new() -> Self {
        let row = gtk::Box::builder().spacing(4).css_classes(["transport"]).build();
        let tools = add_tools(&row);
        let colour = gtk::ColorButton::builder().title("Colour of drawings").rgba(&FIRST_COLOUR).build();
        label(&colour, "Colour");
        colour.set_tooltip_text(Some("Colour"));
        let stays = gtk::SpinButton::with_range(0.0, LONGEST_STAYS_S, STAYS_STEP_S);
        stays.set_digits(1);
        stays.set_value(FIRST_STAYS_S);
        stays.set_tooltip_text(Some("How long it stays on show, in seconds; 0 is this frame only"));
        label(&stays, "Seconds on show");
        let naming = gtk::Box::builder().spacing(4).visible(false).build();
        let words = gtk::Entry::builder().width_chars(18).build();
        let keep = gtk::Button::with_label("Keep");
        naming.append(&words);
        naming.append(&keep);
        row.append(&colour);
        row.append(&stays);
        row.append(&gtk::Label::new(Some("s")));
        row.append(&naming);
        let root = gtk::ScrolledWindow::builder()
            .child(&row)
            .vscrollbar_policy(gtk::PolicyType::Never)
            .propagate_natural_height(true)
            .visible(false)
            .build();
        Self { root, tools, colour, stays, naming, words, keep, draft: RefCell::default() }
    }

    pub(super) fn root(&self) -> &gtk::ScrolledWindow {
        &self.root
    }

    pub(super) fn tool(&self) -> Tool {
        self.tools.iter().find(|it| it.1.is_active()).map_or(Tool::Circle, |it| it.0)
    }

    pub(super) fn colour(&self) -> Colour {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=255")]
        let part = |share: f32| (share * 255.0).round().clamp(0.0, 255.0) as u8;
        let chosen = self.colour.rgba();
        Colour { red: part(chosen.red()), green: part(chosen.green()), blue: part(chosen.blue()) }
    }

    pub(super) fn stays_s(&self) -> f64 {
        self.stays.value()
    }

    pub(super) fn draft(&self) -> Option<Draft> {
        self.draft.borrow().clone()
    }

    pub(super) fn set_draft(&self, draft: Option<Draft>) {
        self.draft.replace(draft);
    }

    pub(super) fn change_draft(&self, change: impl FnOnce(&mut Draft)) {
        if let Some(draft) = &mut *self.draft.borrow_mut() {
            change(draft);
        }
    }

    /// What was typed, without the spaces around it.
    pub(super) fn words(&self) -> String {
        self.words.text().trim().to_owned()
    }

    /// Shows the field for words; it has the focus.
    pub(super) fn ask_for_words(&self, what: &str) {
        self.words.set_placeholder_text(Some(what));
        label(&self.words, what);
        self.naming.set_visible(true);
        self.words.grab_focus();
    }

    /// Hides the field for words; tells whether it was on show.
    pub(super) fn forget_words(&self) -> bool {
        let was_shown = self.naming.is_visible();
        self.naming.set_visible(false);
        self.words.set_text("");
        was_shown
    }

    pub(super) fn connect_tool_chosen(&self, chosen: impl Fn() + Clone + 'static) {
        for (_, button) in &self.tools {
            let chosen = chosen.clone();
            button.connect_toggled(move |button| {
                if button.is_active() {
                    chosen();
                }
            });
        }
    }

    pub(super) fn connect_words_changed(&self, changed: impl Fn() + 'static) {
        self.words.connect_changed(move |_| changed());
    }

    pub(super) fn connect_kept(&self, kept: impl Fn() + Clone + 'static) {
        let by_key = kept.clone();
        self.words.connect_activate(move |_| by_key());
        self.keep.connect_clicked(move |_| kept());
    }
}

/// One button for each tool; one of them is always down.
fn add_tools(row: &gtk::Box) -> Vec<(Tool, gtk::ToggleButton)> {
    let mut tools: Vec<(Tool, gtk::ToggleButton)> = Vec::new();
    for tool in Tool::ALL {
        let button = gtk::ToggleButton::builder().label(tool.word()).css_classes(["flat"]).build();
        match tools.first() {
            Some((_, first)) => button.set_group(Some(first)),
            None => button.set_active(true),
        }
        row.append(&button);
        tools.push((tool, button));
    }
    tools
}

fn label(widget: &impl IsA<gtk::Accessible>, words: &str) {
    widget.update_property(&[gtk::accessible::Property::Label(words)]);
}
