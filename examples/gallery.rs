//! The review widgets by themselves, with the sample session and odd cases:
//! `cargo run --example gallery -- [SCENE] [dark] [zoomed]`, SCENE one of session, moved, gap, tags, no-laps,
//! no-positions, hour.

use std::path::Path;
use std::sync::Arc;

use anyhow::Context as _;
use cornerbook::analysis::{self, Analysis, Inputs};
use cornerbook::files;
use cornerbook::job;
use cornerbook::log;
use cornerbook::sample::{Circuit, Driver, LoggerNoise, log_samples, simulate};
use cornerbook::session::{MarkEdit, MarkKind, Samples};
use cornerbook::strip::{CornerPlot, LapStrip, MapPicture, OtherLap, PassGiven, PassRows, StripTag};
use cornerbook::track::file::{self, TrackFile};
use cornerbook::units::SpeedUnit;
use cornerbook::window::map::MapWidget;
use cornerbook::window::passes::PassTable;
use cornerbook::window::plot::CornerPlotView;
use cornerbook::window::strip::LapStripView;
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

const MOST_BYTES: u64 = 1 << 26;
const UNIT: SpeedUnit = SpeedUnit::KilometresPerHour;
const LAP: u32 = 3;
const OTHER: u32 = 4;
const CORNER: u32 = 3;

struct Scene {
    analysis: Analysis,
    track: Option<TrackFile>,
    tags: Vec<StripTag>,
}

fn sample(file: &str) -> anyhow::Result<Vec<u8>> {
    Ok(files::read(&Path::new("sample-data").join(file), MOST_BYTES)?)
}

/// The log without the rows of these seconds of its own clock.
fn without(csv: &[u8], from_s: f64, to_s: f64) -> Vec<u8> {
    let text = String::from_utf8_lossy(csv);
    let mut first_s = None;
    let is_kept = |line: &&str| {
        let Some(time_s) = line.split(',').next().and_then(seconds) else { return true };
        let t_s = time_s - *first_s.get_or_insert(time_s);
        !(from_s..to_s).contains(&t_s)
    };
    text.lines().filter(is_kept).collect::<Vec<_>>().join("\n").into_bytes()
}

/// Seconds of a number or of the time of day of an RFC 3339 time.
fn seconds(cell: &str) -> Option<f64> {
    let Some((_, time)) = cell.split_once('T') else { return cell.parse().ok() };
    let time = time.trim_end_matches('Z');
    time.split(':').try_fold(0.0, |sum, part| Some(sum * 60.0 + part.parse::<f64>().ok()?))
}

/// Eighty-six laps at 25 Hz.
fn hour() -> Samples {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), 86, 1);
    let noise = LoggerNoise { fix_rate_hz: 25.0, yaw_rate_hz: 25.0, ..LoggerNoise::default() };
    log_samples(&scenario, &noise, 1)
}

fn scene(name: &str) -> anyhow::Result<Scene> {
    let csv = match name {
        "gap" => without(&sample("driver-a.csv")?, 150.0, 154.5),
        "no-laps" => without(&sample("driver-a.csv")?, 45.0, 1e9),
        "no-positions" => sample("driver-a-yaw-rate.csv")?,
        _ => sample("driver-a.csv")?,
    };
    let track = file::parse("track.geojson", &sample("track.geojson")?)?.0;
    let has_track = !matches!(name, "gap" | "no-positions");
    let edits = match name {
        "moved" => vec![MarkEdit { lap: LAP, corner: CORNER, mark: MarkKind::Apex, t_s: 146.4 }],
        _ => Vec::new(),
    };
    let inputs = Inputs {
        samples: Arc::new(if name == "hour" { hour() } else { log::read("sample.csv", &csv, None)? }),
        track: has_track.then_some(track),
        marked_crossing_s: None,
        edits,
    };
    let analysis = analysis::run(&inputs, &job::Context::new()).ok().context("nobody cancels")?;
    let tags = if name == "no-laps" { Vec::new() } else { tags(if name == "tags" { 40 } else { 6 }, &analysis) };
    Ok(Scene { analysis, track: inputs.track, tags })
}

/// Tags all over the lap, with names of every length and one that is no markup.
fn tags(count: u32, analysis: &Analysis) -> Vec<StripTag> {
    let names = [
        "late braking",
        "traffic",
        "<b>kerb</b> & grass",
        "good exit",
        "a rather long remark on the line here",
        "lift",
    ];
    let colours = [0x00_9e73, 0xd5_5e00, 0x56_b4e9, 0xf0_e442, 0xcc_79a7, 0x6a_6a6a];
    let Some(lap) = analysis.laps.iter().find(|it| it.number == LAP) else { return Vec::new() };
    let at = |index: u32| lap.start_t_s + (lap.end_t_s - lap.start_t_s) * (f64::from(index) + 0.5) / f64::from(count);
    (0..count)
        .map(|index| StripTag {
            id: u64::from(index),
            t_s: at(index),
            name: names[index as usize % names.len()].to_owned(),
            colour: colours[index as usize % colours.len()],
        })
        .collect()
}

fn build(scene: &Scene, application: &gtk::Application) {
    let analysis = &scene.analysis;
    let (strip, map, table, plot) = (LapStripView::new(), MapWidget::new(), PassTable::new(), CornerPlotView::new());
    strip.show(LapStrip::of(analysis, LAP, &scene.tags), UNIT);
    map.show(MapPicture::of(analysis, scene.track.as_ref(), LAP, Some(OtherLap::Here(OTHER))), UNIT);
    let given = [
        PassGiven { lap: 1, is_good_exit: Some(false), tags: 2 },
        PassGiven { lap: 4, is_good_exit: Some(true), tags: 0 },
    ];
    table.show(&PassRows::of(analysis, CORNER, UNIT).with(&given));
    table.set_chosen(Some(LAP));
    table.set_other(Some(OTHER));
    plot.show(CornerPlot::of(analysis, CORNER, &[LAP, OTHER]), UNIT);
    let start_s = analysis.laps.iter().find(|it| it.number == LAP).map_or(20.0, |it| it.start_t_s + 12.0);
    strip.set_playhead(Some(start_s));
    map.set_playhead(Some(start_s));
    plot.set_playhead(Some(start_s));
    connect(&strip, &map, &plot);
    if std::env::args().any(|it| it == "zoomed") {
        strip.zoom_to_corner(Some(CORNER));
        map.zoom_to_corner(Some(CORNER));
    }

    let right = gtk::Paned::builder().orientation(gtk::Orientation::Vertical).wide_handle(true).build();
    right.set_start_child(Some(map.widget()));
    right.set_end_child(Some(plot.widget()));
    right.set_position(380);
    let top = gtk::Paned::builder().wide_handle(true).vexpand(true).build();
    top.set_start_child(Some(table.widget()));
    top.set_end_child(Some(&right));
    top.set_position(900);
    let page = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(8).build();
    page.append(&top);
    strip.widget().set_vexpand(false);
    strip.widget().set_size_request(-1, 250);
    page.append(strip.widget());
    let window = gtk::ApplicationWindow::builder()
        .application(application)
        .title("Gallery of the review widgets")
        .default_width(1560)
        .default_height(940)
        .child(&page)
        .build();
    table.connect_chosen(|(lap, corner)| glib::g_message!("gallery", "chosen: lap {lap}, corner {corner}"));
    table.connect_other_chosen(|it| glib::g_message!("gallery", "other: {it:?}"));
    strip.connect_mark_moved(|it| glib::g_message!("gallery", "moved: {it:?}"));
    strip.connect_mark_chosen(|it| glib::g_message!("gallery", "mark: {it:?}"));
    strip.connect_tag_chosen(|it| glib::g_message!("gallery", "tag: {it}"));
    strip.connect_drag_cancelled(|| glib::g_message!("gallery", "drag cancelled"));
    window.connect_close_request(move |_| {
        // The window is over, and with it the need to keep the table.
        let _ = table.widget();
        glib::Propagation::Proceed
    });
    window.present();
}

fn connect(strip: &LapStripView, map: &MapWidget, plot: &CornerPlotView) {
    let (others, other_plot) = (map.clone(), plot.clone());
    strip.connect_seek(move |t_s| {
        others.set_playhead(Some(t_s));
        other_plot.set_playhead(Some(t_s));
    });
    let (others, other_plot) = (strip.clone(), plot.clone());
    map.connect_seek(move |t_s| {
        others.set_playhead(Some(t_s));
        other_plot.set_playhead(Some(t_s));
    });
    let (strip, map) = (strip.clone(), map.clone());
    plot.connect_seek(move |t_s| {
        strip.set_playhead(Some(t_s));
        map.set_playhead(Some(t_s));
    });
}

fn main() -> anyhow::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let scene = scene(arguments.first().map_or("session", String::as_str))?;
    let application = gtk::Application::new(None::<&str>, gtk::gio::ApplicationFlags::NON_UNIQUE);
    let is_dark = arguments.iter().any(|it| it == "dark");
    application.connect_activate(move |application| {
        if let Some(settings) = gtk::Settings::default() {
            settings.set_gtk_application_prefer_dark_theme(is_dark);
        }
        build(&scene, application);
    });
    application.run_with_args::<&str>(&[]);
    Ok(())
}
