//! One part of the bench, in a process of its own: opens the window, does what the part is about, tells what it has
//! measured on its output, and closes the window.

use std::cell::Cell;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::{Duration, Instant};

use gstreamer as gst;
use gstreamer::prelude::*;
use gtk4 as gtk;
use gtk4::glib;
use gtk4::prelude::*;

use crate::watch::Watch;

/// First words of the lines that a part tells; any other line is for the reader.
pub(crate) const FIRST_FRAME: &str = "first-frame";
pub(crate) const LONGEST_MS: &str = "longest-ms";
pub(crate) const FRAMES: &str = "frames";

/// As the window's own description has it.
const SIZE_PX: (i32, i32) = (1400, 880);
/// How long an opened window is watched after its first frame: until all that follows is done.
const AFTER: Duration = Duration::from_secs(2);
const STEPS: u32 = 200;
const STEP_PERIOD: Duration = Duration::from_millis(25);
const CORNERS: u32 = 40;
const CORNER_PERIOD: Duration = Duration::from_millis(250);
const LOOK_PERIOD: Duration = Duration::from_millis(2);
const PLAY: Duration = Duration::from_secs(8);

pub(crate) fn run(name: &str, files: &[PathBuf]) {
    if name == "bare" {
        return play_bare(&files[0]);
    }
    assert!(cornerbook::window::has_display(), "the bench gives each part a display");
    let watch = Watch::start();
    match name {
        "empty" => return empty_window(&watch),
        "open" => when_shown(move || finish_after(AFTER, watch.clone())),
        "step" => when_shown(move || press("frame_forward", STEPS, STEP_PERIOD, &watch)),
        "corners" => when_shown(move || press("corner_forward", CORNERS, CORNER_PERIOD, &watch)),
        "play" => when_shown(move || play(&watch)),
        _ => panic!("there is no part {name}"),
    }
    cornerbook::window::run(files);
}

/// Nothing but the toolkit: a window of the size, all of it drawn anew frame by frame.
fn empty_window(watch: &Watch) {
    let application = gtk::Application::builder().flags(gtk::gio::ApplicationFlags::NON_UNIQUE).build();
    let watch = watch.clone();
    application.connect_activate(move |application| {
        let (width, height) = SIZE_PX;
        let window = gtk::ApplicationWindow::builder().application(application).default_width(width);
        let window = window.default_height(height).child(&gtk::Label::new(Some("nothing"))).build();
        window.add_tick_callback(|window, _| {
            window.queue_draw();
            glib::ControlFlow::Continue
        });
        window.present();
        finish_after(AFTER, watch.clone());
    });
    application.run_with_args::<&str>(&[]);
}

/// Does something once the window shows a frame of footage, and tells of it.
fn when_shown(then: impl FnOnce() + 'static) {
    let mut then = Some(then);
    glib::timeout_add_local(LOOK_PERIOD, move || {
        let picture = find_picture().filter(|it| it.is_mapped() && frame(it).is_some());
        let Some((picture, then)) = picture.and_then(|it| Some((it, then.take()?))) else {
            return glib::ControlFlow::Continue;
        };
        let then = Cell::new(Some(then));
        let clock = picture.frame_clock().expect("a widget that is mapped has a clock");
        clock.connect_after_paint(move |_| {
            if let Some(then) = then.take() {
                println!("{FIRST_FRAME} shown");
                then();
            }
        });
        picture.queue_draw();
        glib::ControlFlow::Break
    });
}

/// Presses a button of the review again and again, then ends. What came before does not count.
fn press(button: &'static str, times: u32, period: Duration, watch: &Watch) {
    let watch = watch.clone();
    glib::timeout_add_local_once(AFTER, move || {
        watch.take_longest();
        let button = find_button(button);
        let (left, began) = (Cell::new(times), Instant::now());
        glib::timeout_add_local(period, move || {
            button.emit_clicked();
            left.set(left.get() - 1);
            if left.get() > 0 {
                return glib::ControlFlow::Continue;
            }
            let rate = f64::from(times) / began.elapsed().as_secs_f64();
            if rate < 0.9 / period.as_secs_f64() {
                println!("only {rate:.0} presses a second");
            }
            finish_after(Duration::from_millis(100), watch.clone());
            glib::ControlFlow::Break
        });
    });
}

/// Plays, and counts the frames that are painted.
fn play(watch: &Watch) {
    let watch = watch.clone();
    glib::timeout_add_local_once(AFTER, move || {
        watch.take_longest();
        let picture = find_picture().expect("the picture is on show");
        let (last, painted) = (Rc::new(Cell::new(frame(&picture))), Rc::new(Cell::new(0)));
        let clock = picture.frame_clock().expect("a widget that is mapped has a clock");
        let (counted, weak) = (painted.clone(), picture.downgrade());
        clock.connect_after_paint(move |_| {
            let now = weak.upgrade().and_then(|it| frame(&it));
            if now != last.replace(now.clone()) {
                counted.set(counted.get() + 1);
            }
        });
        find_button("play").emit_clicked();
        let began = Instant::now();
        glib::timeout_add_local_once(PLAY, move || {
            println!("{FRAMES} {} {:.3}", painted.get(), began.elapsed().as_secs_f64());
            finish_after(Duration::ZERO, watch);
        });
    });
}

/// The same film by `playbin3` into a sink that shows nothing and drops what comes too late.
fn play_bare(film: &std::path::Path) {
    gst::init().expect("GStreamer starts");
    let sink = |qos: bool| gst::ElementFactory::make("fakesink").property("sync", true).property("qos", qos).build();
    let (video, audio) = (sink(true).expect("a core element"), sink(false).expect("a core element"));
    let play = gst::ElementFactory::make("playbin3")
        .property("uri", glib::filename_to_uri(film, None).expect("the path is whole"))
        .property("video-sink", &video)
        .property("audio-sink", &audio)
        .build()
        .expect("a base element");
    play.set_state(gst::State::Paused).expect("it can be played");
    let _ = play.state(gst::ClockTime::from_seconds(10));
    play.set_state(gst::State::Playing).expect("it can be played");
    let began = Instant::now();
    let bus = play.bus().expect("a pipeline has a bus");
    let end = gst::ClockTime::from_nseconds(PLAY.as_nanos().try_into().unwrap_or(u64::MAX));
    bus.timed_pop_filtered(end, &[gst::MessageType::Eos, gst::MessageType::Error]);
    let elapsed_s = began.elapsed().as_secs_f64();
    let stats = video.property::<gst::Structure>("stats");
    println!("{FRAMES} {} {elapsed_s:.3}", stats.get::<u64>("rendered").unwrap_or(0));
    play.set_state(gst::State::Null).expect("it can be stopped");
}

fn finish_after(time: Duration, watch: Watch) {
    glib::timeout_add_local_once(time, move || {
        let longest = watch.take_longest();
        println!("{LONGEST_MS} {:.1} {:.1}", longest.ms, longest.own_ms);
        let main = windows().into_iter().find(|it| it.is::<gtk::ApplicationWindow>());
        main.expect("the window is open").close();
    });
}

fn frame(picture: &gtk::Widget) -> Option<gtk::gdk::Texture> {
    picture.property("frame")
}

fn find_picture() -> Option<gtk::Widget> {
    find(&|it| it.type_().name() == "CornerbookPicture" && it.is_mapped())
}

fn find_button(id: &str) -> gtk::Button {
    let is_meant = |it: &gtk::Widget| {
        it.dynamic_cast_ref::<gtk::Buildable>().and_then(gtk::Buildable::buildable_id).as_deref() == Some(id)
    };
    find(&is_meant).and_downcast().expect("the review's description has the button")
}

fn windows() -> Vec<gtk::Window> {
    let windows = gtk::Window::toplevels();
    (0..windows.n_items()).filter_map(|it| windows.item(it).and_downcast()).collect()
}

/// The first widget of any window that is meant.
fn find(is_meant: &dyn Fn(&gtk::Widget) -> bool) -> Option<gtk::Widget> {
    windows().into_iter().find_map(|it| find_below(it.upcast(), is_meant))
}

fn find_below(widget: gtk::Widget, is_meant: &dyn Fn(&gtk::Widget) -> bool) -> Option<gtk::Widget> {
    if is_meant(&widget) {
        return Some(widget);
    }
    let children = std::iter::successors(widget.first_child(), gtk::Widget::next_sibling);
    children.into_iter().find_map(|it| find_below(it, is_meant))
}
