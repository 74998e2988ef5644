//! Column headers to meanings: words and unit, in English, short forms and German; never the format of one product.

use crate::log::unit::{self, Dimension, Unit};
use crate::session::ChannelKind;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Meaning {
    Time,
    Date,
    Latitude,
    Longitude,
    Channel(ChannelKind),
}

impl Meaning {
    pub(crate) fn dimension(self) -> Dimension {
        match self {
            Self::Time | Self::Date => Dimension::Time,
            Self::Latitude | Self::Longitude => Dimension::Angle,
            Self::Channel(kind) => match kind {
                ChannelKind::Speed => Dimension::Speed,
                ChannelKind::Heading | ChannelKind::Steering => Dimension::Angle,
                ChannelKind::YawRate => Dimension::AngularRate,
                ChannelKind::LateralAcceleration | ChannelKind::LongitudinalAcceleration => Dimension::Acceleration,
                ChannelKind::EngineSpeed => Dimension::EngineSpeed,
                ChannelKind::Throttle => Dimension::Share,
                ChannelKind::Brake => Dimension::ShareOrOther,
                ChannelKind::Satellites | ChannelKind::Hdop => Dimension::Count,
            },
        }
    }
}

/// A header that was understood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reading {
    pub(crate) meaning: Meaning,
    /// `None` where the header names none.
    pub(crate) unit: Option<Unit>,
    /// −1 where the header's axis points the other way than the channel's (yaw rate about the axis that points down).
    pub(crate) sign: f64,
    /// How far the header strays from the plain word; the lowest wins where two columns mean the same.
    pub(crate) penalty: usize,
}

/// Words that say where a value comes from, not what it is.
const FILLERS: [&str; 26] = [
    "gps",
    "gnss",
    "imu",
    "ecu",
    "can",
    "obd",
    "sensor",
    "raw",
    "filtered",
    "smoothed",
    "value",
    "vehicle",
    "kart",
    "car",
    "device",
    "current",
    "actual",
    "corrected",
    "calculated",
    "over",
    "ground",
    "the",
    "of",
    "in",
    "channel",
    "measured",
];

const TIME: &str = "time t timestamp utc utctime timeutc datetime dateandtime dateutc elapsed elapsedtime timeelapsed \
     epoch epochtime timeepoch timeunix unix unixtime unixepoch clock localtime timeday sessiontime logtime recordingtime seconds \
     secs sec millis milliseconds zeit uhrzeit zeitstempel isotime utctimestamp runtime";
const DATE: &str = "date datum utcdate localdate day";
const LATITUDE: &str =
    "lat latitude latitud breite breitengrad geolat poslat latpos positionlat latposition positionlatitude";
const LONGITUDE: &str = "lon lng long longitude laenge länge längengrad laengengrad geolon geolong geolng poslon poslong \
     positionlon positionlong positionlongitude lonposition";
const SPEED: &str = "speed velocity v vel spd sog groundspeed speedoverground geschwindigkeit tempo vx velocityx speedx \
     forwardspeed forwardvelocity wheelspeed speed2d speed3d 2dspeed 3dspeed horizontalspeed speedhorizontal";
const COURSE: &str = "course heading bearing cog hdg kurs trackangle direction truecourse coursetrue trueheading \
     headingtrue motionheading headingmotion coursedirection azimuth";
const YAW_RATE: &str = "yawrate yawvelocity yawspeed gyroz gyrz zgyro gyroscopez zgyroscope gyroyaw yawgyro rotationz \
     rotz zrotation rotationratez zrotationrate zrate ratez angularvelocityz angularratez angularvelz angvelz omegaz \
     wz turnrate rateturn gierrate yawangularvelocity rotationyaw rategyroz gyroratez";
/// Read as a yaw rate only beside the unit of an angular rate.
const YAW_RATE_WITH_UNIT: &str = "yaw gyro z up vertical gz rot omega rotation turn";
const YAW_RATE_DOWN_WITH_UNIT: &str = "down gyrodown downgyro";
const LATERAL: &str = "lateralacceleration latacceleration latacc lataccel lateralacc lateralaccel acclat accellat acclateral \
     accelerationlateral accellateral lateralg latg glat glateral ay accy accely accelerationy accelerometery yacc yaccel \
     yacceleration gforcelat gforcelateral lateralgforce latgforce alat querbeschleunigung";
const LATERAL_WITH_UNIT: &str = "lat lateral gy quer";
const LONGITUDINAL: &str = "longitudinalacceleration longacceleration longacc longaccel lonacc lonaccel longitudinalacc \
     longitudinalaccel acclong accellong acclon accellon acclongitudinal accelerationlongitudinal accellongitudinal \
     longitudinalg longg long_g glong glon glongitudinal ax accx accelx accelerationx accelerometerx xacc xaccel \
     xacceleration gforcelong gforcelongitudinal longitudinalgforce along längsbeschleunigung laengsbeschleunigung";
const LONGITUDINAL_WITH_UNIT: &str = "long lon longitudinal gx längs laengs";
const ENGINE: &str = "rpm enginespeed enginerpm revs enginerevs drehzahl motordrehzahl motorrpm rev enginerevolutions";
const THROTTLE: &str = "throttle tps throttleposition throttlepos throttlepedal throttleangle accelerator acceleratorpedal \
     acceleratorposition gas gaspedal drosselklappe";
const BRAKE: &str =
    "brake brakes brakepressure brakeposition brakepos brakepedal braking bremse bremsdruck frontbrakepressure";
const STEERING: &str = "steering steer steeringangle steerangle steeringwheelangle steeringwheel steeringposition \
     steeringpos wheelangle lenkwinkel lenkung";
const SATELLITES: &str = "sat sats satellites satellitecount numsats numsat nsat nsats numsatellites numbersatellites \
     satellitesused satsused usedsats numsv sv svs satelliten satcount siv";
const HDOP: &str = "hdop horizontaldop horizontaldilution";

/// Meanings with their words, and whether the words need a unit beside them to count.
const VOCABULARY: [(Meaning, &str, bool, f64); 19] = [
    (Meaning::Time, TIME, false, 1.0),
    (Meaning::Date, DATE, false, 1.0),
    (Meaning::Channel(ChannelKind::YawRate), YAW_RATE, false, 1.0),
    (Meaning::Channel(ChannelKind::YawRate), YAW_RATE_WITH_UNIT, true, 1.0),
    (Meaning::Channel(ChannelKind::YawRate), YAW_RATE_DOWN_WITH_UNIT, true, -1.0),
    (Meaning::Channel(ChannelKind::LateralAcceleration), LATERAL, false, 1.0),
    (Meaning::Channel(ChannelKind::LateralAcceleration), LATERAL_WITH_UNIT, true, 1.0),
    (Meaning::Channel(ChannelKind::LongitudinalAcceleration), LONGITUDINAL, false, 1.0),
    (Meaning::Channel(ChannelKind::LongitudinalAcceleration), LONGITUDINAL_WITH_UNIT, true, 1.0),
    (Meaning::Latitude, LATITUDE, false, 1.0),
    (Meaning::Longitude, LONGITUDE, false, 1.0),
    (Meaning::Channel(ChannelKind::Speed), SPEED, false, 1.0),
    (Meaning::Channel(ChannelKind::Heading), COURSE, false, 1.0),
    (Meaning::Channel(ChannelKind::EngineSpeed), ENGINE, false, 1.0),
    (Meaning::Channel(ChannelKind::Throttle), THROTTLE, false, 1.0),
    (Meaning::Channel(ChannelKind::Brake), BRAKE, false, 1.0),
    (Meaning::Channel(ChannelKind::Steering), STEERING, false, 1.0),
    (Meaning::Channel(ChannelKind::Satellites), SATELLITES, false, 1.0),
    (Meaning::Channel(ChannelKind::Hdop), HDOP, false, 1.0),
];

/// The most words at a header's end that a unit is made of: `deg per s`.
const UNIT_WORDS: usize = 3;

/// What a header cell means, or `None` where no word of it is known.
pub(crate) fn read(header: &str) -> Option<Reading> {
    let (plain, bracketed) = split_brackets(header);
    let words = words_of(&plain);
    if words.len() > 8 {
        return None;
    }
    (0..=UNIT_WORDS.min(words.len().saturating_sub(1))).rev().find_map(|unit_words| {
        let (name, unit_text) = words.split_at(words.len() - unit_words);
        let unit_text = unit_text.concat();
        let beside = if unit_words > 0 { Some(unit_text.as_str()) } else { bracketed.as_deref() };
        // Where the end is read as a unit, the name before it must stand for itself.
        match_words(name, beside, unit_words > 0)
    })
}

fn match_words(name: &[String], unit_text: Option<&str>, unit_must_fit: bool) -> Option<Reading> {
    let plain = name.concat();
    let essential: Vec<&str> = name.iter().map(String::as_str).filter(|word| !FILLERS.contains(word)).collect();
    let fillers = name.len() - essential.len();
    let essential = essential.concat();
    VOCABULARY.iter().find_map(|(meaning, vocabulary, needs_unit, sign)| {
        let known = |it: &str| !it.is_empty() && vocabulary.split_ascii_whitespace().any(|word| word == it);
        if !known(&plain) && !known(&essential) {
            return None;
        }
        let unit = unit_text.and_then(|text| unit::parse(text, meaning.dimension()));
        if unit.is_none() && (unit_must_fit || *needs_unit) {
            return None;
        }
        Some(Reading { meaning: *meaning, unit, sign: *sign, penalty: fillers })
    })
}

/// The header without its last pair of brackets, and what stood in them.
fn split_brackets(header: &str) -> (String, Option<String>) {
    for (open, close) in [('[', ']'), ('(', ')'), ('{', '}')] {
        if let (Some(from), Some(to)) = (header.rfind(open), header.rfind(close))
            && from < to
        {
            let rest = format!("{} {}", &header[..from], &header[to + close.len_utf8()..]);
            return (rest, Some(header[from + open.len_utf8()..to].to_owned()));
        }
    }
    (header.to_owned(), None)
}

/// Lower-case words; a capital after a small letter begins a new word (`yawRate`).
fn words_of(header: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut after_small = false;
    for letter in header.chars() {
        let belongs = letter.is_alphanumeric() || matches!(letter, '%' | '°' | '²');
        if !belongs || (letter.is_uppercase() && after_small) {
            words.push(String::new());
        }
        if belongs && let Some(word) = words.last_mut() {
            word.extend(letter.to_lowercase());
        }
        after_small = letter.is_lowercase();
    }
    words.retain(|word| !word.is_empty());
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meaning(header: &str) -> Option<(Meaning, Option<&'static str>)> {
        read(header).map(|it| (it.meaning, it.unit.map(|unit| unit.symbol)))
    }

    #[test]
    fn headers_are_understood_by_word_and_unit() {
        use ChannelKind::{
            Brake, EngineSpeed, Hdop, Heading, LateralAcceleration as Lateral,
            LongitudinalAcceleration as Longitudinal, Satellites, Speed, Steering, Throttle, YawRate,
        };
        let channel = |kind, unit| Some((Meaning::Channel(kind), unit));
        for (header, expected) in [
            ("speed_kmh", channel(Speed, Some("km/h"))),
            ("Speed (mph)", channel(Speed, Some("mph"))),
            ("v [m/s]", channel(Speed, Some("m/s"))),
            ("GPS Speed", channel(Speed, None)),
            ("speed_ms", channel(Speed, Some("m/s"))),
            ("Geschwindigkeit km/h", channel(Speed, Some("km/h"))),
            ("device_speed_mps", channel(Speed, Some("m/s"))),
            ("vx_mps", channel(Speed, Some("m/s"))),
            ("vy_mps", None),
            ("speed_accuracy_mps", None),
            ("speedKnots", channel(Speed, Some("kn"))),
            ("time", Some((Meaning::Time, None))),
            ("# t_s", Some((Meaning::Time, Some("s")))),
            ("time_epoch_s", Some((Meaning::Time, Some("s")))),
            ("utc_ms", Some((Meaning::Time, Some("ms")))),
            ("lap_time_s", None),
            ("Date", Some((Meaning::Date, None))),
            ("lat_deg", Some((Meaning::Latitude, Some("deg")))),
            ("Lat", Some((Meaning::Latitude, None))),
            ("long", Some((Meaning::Longitude, None))),
            ("lng", Some((Meaning::Longitude, None))),
            ("long_g", channel(Longitudinal, Some("g"))),
            ("lat acc [m/s²]", channel(Lateral, Some("m/s²"))),
            ("Lateral Acceleration (g)", channel(Lateral, Some("g"))),
            ("ay_mps2", channel(Lateral, Some("m/s²"))),
            ("accX", channel(Longitudinal, None)),
            ("Course over ground", channel(Heading, None)),
            ("bearing_deg", channel(Heading, Some("deg"))),
            ("yaw_rate_dps", channel(YawRate, Some("deg/s"))),
            ("Yaw rate [°/s]", channel(YawRate, Some("deg/s"))),
            ("gyroZ (rad/s)", channel(YawRate, Some("rad/s"))),
            ("gyro_z_radps", channel(YawRate, Some("rad/s"))),
            ("rotation z", channel(YawRate, None)),
            ("yaw", None),
            ("roll_rate_dps", None),
            ("RPM", channel(EngineSpeed, None)),
            ("throttle %", channel(Throttle, Some("%"))),
            ("Brake pressure [bar]", channel(Brake, Some("as logged"))),
            ("steering_deg", channel(Steering, Some("deg"))),
            ("sats", channel(Satellites, None)),
            ("HDOP", channel(Hdop, None)),
            ("ecef_x_m", None),
            ("", None),
        ] {
            assert_eq!(meaning(header), expected, "{header:?}");
        }
    }

    #[test]
    fn an_axis_that_points_down_turns_the_sign() {
        assert_eq!(read("down_radps").map(|it| it.sign), Some(-1.0));
        assert_eq!(read("gyro_z_dps").map(|it| it.sign), Some(1.0));
    }
}
