//! GPX 1.0 and 1.1: track points with time. Speed and course come from whichever element of the point has that local
//! name (GPX 1.0's own, or an extension's of any namespace). Routes and waypoints are passed over.

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use crate::log::error::Error;
use crate::log::stamp::{self, DateOrder, Moment};
use crate::log::table::{Column, Epoch, Table};
use crate::log::text;
use crate::log::unit::{self, Unit};
use crate::session::{ChannelKind, ChannelUse, LogKind, NoteKind, Place};

/// Elements of a point that give a channel; the unit is GPX's own, or `None` where extensions differ.
const CHANNELS: [(&[u8], ChannelKind, Option<Unit>); 7] = [
    (b"speed", ChannelKind::Speed, None),
    (b"course", ChannelKind::Heading, Some(unit::DEGREE)),
    (b"heading", ChannelKind::Heading, Some(unit::DEGREE)),
    (b"bearing", ChannelKind::Heading, Some(unit::DEGREE)),
    (b"sat", ChannelKind::Satellites, Some(unit::COUNT)),
    (b"hdop", ChannelKind::Hdop, Some(unit::COUNT)),
    (b"yawrate", ChannelKind::YawRate, None),
];

/// One point as its elements come in.
#[derive(Debug, Clone)]
struct TrackPoint {
    line: u64,
    latitude_deg: f64,
    longitude_deg: f64,
    moment: Option<(Moment, bool)>,
    values: [f64; CHANNELS.len()],
}

#[derive(Debug, Default)]
struct Track {
    /// Segments in the file's order.
    segments: Vec<Vec<TrackPoint>>,
    met: usize,
    without_time: usize,
    first_without_time: Option<u64>,
    zone_assumed: bool,
    /// Where and why the XML ends early.
    broken: Option<(u64, String)>,
}

/// Reads a file that `recognise` takes for GPX.
pub(crate) fn read(file: &str, bytes: &[u8]) -> Result<Table, Error> {
    let track = parse(bytes);
    let points: usize = track.segments.iter().map(Vec::len).sum();
    if points == 0 {
        let file = file.to_owned();
        return Err(match track.broken {
            Some((byte, cause)) if track.met == 0 => Error::XmlBroken { file, byte, cause },
            _ if track.met == 0 => Error::NoTrackPoints { file },
            _ => Error::NoPointTimes { file, points: track.met },
        });
    }
    Ok(table_of(file, track))
}

fn table_of(file: &str, track: Track) -> Table {
    let mut segments = track.segments;
    segments.retain(|it| !it.is_empty());
    let start = |it: &[TrackPoint]| it.first().and_then(|point| point.moment).map_or(0.0, |(it, _)| it.since_day(0));
    segments.sort_by(|a, b| f64::total_cmp(&start(a), &start(b)));
    let points: Vec<TrackPoint> = segments.into_iter().flatten().collect();
    let moment = |point: &TrackPoint| point.moment.map_or(Moment { day: 0, second: f64::NAN }, |(it, _)| it);
    let first_day = points.first().map_or(0, |point| moment(point).day);
    let mut table = Table::new(file, LogKind::Gpx);
    table.rows_met = track.met;
    table.epoch = Epoch::Day(first_day);
    table.t_s = points.iter().map(|it| moment(it).since_day(first_day)).collect();
    table.line = points.iter().map(|it| it.line).collect();
    table.latitude_deg = points.iter().map(|it| it.latitude_deg).collect();
    table.longitude_deg = points.iter().map(|it| it.longitude_deg).collect();
    let named = |name, header: &str, unit: &str| ChannelUse {
        channel: None,
        name,
        header: header.to_owned(),
        unit: unit.to_owned(),
    };
    table.uses = vec![named("time", "time", "RFC 3339"), named("position", "trkpt lat, lon", "deg")];
    for (number, (name, kind, unit)) in CHANNELS.iter().enumerate() {
        let value: Vec<f64> = points.iter().map(|point| point.values[number]).collect();
        if value.iter().any(|it| it.is_finite()) && !table.columns.iter().any(|it| it.kind == *kind) {
            let header = String::from_utf8_lossy(name).into_owned();
            table.columns.push(Column { kind: *kind, header, unit: *unit, unit_text: None, scale: 1.0, value });
        }
    }
    if let Some(line) = track.first_without_time {
        let first = "a track point without a time".to_owned();
        table.note(NoteKind::RowsDamaged { count: track.without_time, first }, Place::Line(line));
    }
    if let Some((byte, cause)) = track.broken {
        let first = format!("the XML breaks off ({cause}); what stands before was read");
        table.note(NoteKind::RowsDamaged { count: 1, first }, Place::Byte(byte));
    }
    if track.zone_assumed {
        table.note(NoteKind::ZoneAssumed, Place::Whole);
    }
    table
}

fn parse(bytes: &[u8]) -> Track {
    let mut reader = Reader::from_reader(bytes);
    reader.config_mut().check_end_names = true;
    let mut track = Track::default();
    let mut lines = LineCounter { bytes, at: 0, line: 1 };
    let mut point: Option<TrackPoint> = None;
    let mut text: Vec<u8> = Vec::new();
    loop {
        match reader.read_event() {
            Ok(Event::Start(element)) => {
                text.clear();
                match element.local_name().as_ref() {
                    b"trkseg" | b"trk" => track.segments.push(Vec::new()),
                    b"trkpt" => point = Some(open_point(&element, lines.at(reader.buffer_position()))),
                    _ => {}
                }
            }
            Ok(Event::Empty(element)) if element.local_name().as_ref() == b"trkpt" => {
                let point = open_point(&element, lines.at(reader.buffer_position()));
                track.close(point);
            }
            Ok(Event::Text(part)) if point.is_some() => text.extend_from_slice(&part),
            Ok(Event::CData(part)) if point.is_some() => text.extend_from_slice(&part),
            Ok(Event::End(element)) => {
                let name = element.local_name();
                match &mut point {
                    Some(_) if name.as_ref() == b"trkpt" => {
                        let done = point.take().expect("matched as present");
                        track.close(done);
                    }
                    Some(open) => open.take(name.as_ref(), &text),
                    None => {}
                }
                text.clear();
            }
            Ok(Event::Eof) => {
                if point.is_some() {
                    track.broken = Some((bytes.len() as u64, "the file ends within a track point".to_owned()));
                }
                return track;
            }
            Ok(_) => {}
            Err(error) => {
                track.broken = Some((reader.error_position(), error.to_string()));
                return track;
            }
        }
    }
}

fn open_point(element: &BytesStart<'_>, line: u64) -> TrackPoint {
    let degrees = |wanted: &[u8]| {
        let mut attributes = element.attributes().flatten();
        let found = attributes.find(|it| it.key.local_name().as_ref() == wanted);
        found.and_then(|it| text::number(&it.value, b'.')).unwrap_or(f64::NAN)
    };
    TrackPoint {
        line,
        latitude_deg: degrees(b"lat"),
        longitude_deg: degrees(b"lon"),
        moment: None,
        values: [f64::NAN; CHANNELS.len()],
    }
}

impl TrackPoint {
    fn take(&mut self, name: &[u8], text: &[u8]) {
        if name == b"time" {
            self.moment = stamp::date_time(text, DateOrder::DayFirst);
        } else if let Some(number) = CHANNELS.iter().position(|(it, ..)| it.eq_ignore_ascii_case(name)) {
            self.values[number] = text::number(text, b'.').unwrap_or(f64::NAN);
        }
    }
}

impl Track {
    fn close(&mut self, point: TrackPoint) {
        self.met += 1;
        let Some((_, has_zone)) = point.moment else {
            self.without_time += 1;
            self.first_without_time.get_or_insert(point.line);
            return;
        };
        self.zone_assumed |= !has_zone;
        match self.segments.last_mut() {
            Some(segment) => segment.push(point),
            None => self.segments.push(vec![point]),
        }
    }
}

/// Lines of rising byte places, each byte looked at once.
#[derive(Debug)]
struct LineCounter<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl LineCounter<'_> {
    fn at(&mut self, byte: u64) -> u64 {
        let to = usize::try_from(byte).unwrap_or(usize::MAX).clamp(self.at, self.bytes.len());
        self.line += self.bytes[self.at..to].iter().filter(|it| **it == b'\n').count() as u64;
        self.at = to;
        self.line
    }
}
