//! Units that column headers and column maps name, and their factors into the units of the channels.

use crate::units::{KNOT_MPS, MILE_M, STANDARD_GRAVITY_MPS2};

/// International foot in metres (international yard and pound agreement, 1959).
const FOOT_M: f64 = 0.3048;

/// What kind of quantity a column holds: decides how its unit's letters are read (`ms` of a time, `ms` of a speed).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Dimension {
    Time,
    Angle,
    Speed,
    AngularRate,
    Acceleration,
    /// A share that may come in percent.
    Share,
    /// A share, or anything else the logger measures (pressure, raw counts).
    ShareOrOther,
    EngineSpeed,
    Count,
}

/// A unit: the symbol people read, and what one of it is in the unit of the channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Unit {
    pub(crate) symbol: &'static str,
    pub(crate) factor: f64,
}

const fn unit(symbol: &'static str, factor: f64) -> Unit {
    Unit { symbol, factor }
}

pub(crate) const SECOND: Unit = unit("s", 1.0);
pub(crate) const MILLISECOND: Unit = unit("ms", 1e-3);
pub(crate) const MICROSECOND: Unit = unit("µs", 1e-6);
pub(crate) const NANOSECOND: Unit = unit("ns", 1e-9);
pub(crate) const MINUTE: Unit = unit("min", 60.0);
pub(crate) const DEGREE: Unit = unit("deg", std::f64::consts::PI / 180.0);
pub(crate) const RADIAN: Unit = unit("rad", 1.0);
pub(crate) const METRE_PER_SECOND: Unit = unit("m/s", 1.0);
pub(crate) const KILOMETRE_PER_HOUR: Unit = unit("km/h", 1.0 / 3.6);
pub(crate) const MILE_PER_HOUR: Unit = unit("mph", MILE_M / 3600.0);
pub(crate) const KNOT: Unit = unit("kn", KNOT_MPS);
pub(crate) const FOOT_PER_SECOND: Unit = unit("ft/s", FOOT_M);
pub(crate) const DEGREE_PER_SECOND: Unit = unit("deg/s", std::f64::consts::PI / 180.0);
pub(crate) const RADIAN_PER_SECOND: Unit = unit("rad/s", 1.0);
pub(crate) const GRAVITY: Unit = unit("g", STANDARD_GRAVITY_MPS2);
pub(crate) const METRE_PER_SECOND_SQUARED: Unit = unit("m/s²", 1.0);
pub(crate) const PERCENT: Unit = unit("%", 0.01);
pub(crate) const SHARE: Unit = unit("share", 1.0);
pub(crate) const PER_MINUTE: Unit = unit("1/min", 1.0);
pub(crate) const OWN: Unit = unit("as logged", 1.0);
pub(crate) const COUNT: Unit = unit("", 1.0);

/// The unit that `text` names for a quantity, or `None`. Case, spaces and signs between letters do not matter.
pub(crate) fn parse(text: &str, dimension: Dimension) -> Option<Unit> {
    let letters = letters_of(text);
    let letters = letters.as_str();
    let found = match dimension {
        Dimension::Time => match letters {
            "s" | "sec" | "secs" | "second" | "seconds" => SECOND,
            "ms" | "msec" | "msecs" | "millis" | "milliseconds" | "millisecond" => MILLISECOND,
            "us" | "µs" | "μs" | "usec" | "micros" | "microseconds" => MICROSECOND,
            "ns" | "nsec" | "nanos" | "nanoseconds" => NANOSECOND,
            "min" | "minutes" => MINUTE,
            _ => return None,
        },
        Dimension::Angle => match letters {
            "deg" | "degs" | "degree" | "degrees" | "grad" => DEGREE,
            "rad" | "radian" | "radians" => RADIAN,
            _ => return None,
        },
        Dimension::Speed => match letters {
            "ms" | "mps" | "msec" | "ms1" | "metrespersecond" | "meterspersecond" => METRE_PER_SECOND,
            "kmh" | "kph" | "kmph" | "kmhr" | "kmh1" => KILOMETRE_PER_HOUR,
            "mph" | "mih" | "mileh" | "milesh" | "milesperhour" => MILE_PER_HOUR,
            "kn" | "kt" | "kts" | "knot" | "knots" => KNOT,
            "fts" | "fps" | "ftps" | "feets" => FOOT_PER_SECOND,
            _ => return None,
        },
        Dimension::AngularRate => match letters {
            "degs" | "degps" | "dps" | "degsec" | "degreess" | "degs1" => DEGREE_PER_SECOND,
            "rads" | "radps" | "radsec" | "rads1" | "rps" => RADIAN_PER_SECOND,
            _ => return None,
        },
        Dimension::Acceleration => match letters {
            "g" | "gs" | "gee" => GRAVITY,
            "ms2" | "mps2" | "mss" | "mpss" | "msec2" => METRE_PER_SECOND_SQUARED,
            _ => return None,
        },
        Dimension::Share | Dimension::ShareOrOther => match letters {
            "%" | "percent" | "pct" | "prozent" => PERCENT,
            "share" | "ratio" => SHARE,
            "bar" | "psi" | "kpa" | "v" | "mv" | "raw" | "counts" if dimension == Dimension::ShareOrOther => OWN,
            _ => return None,
        },
        Dimension::EngineSpeed => match letters {
            "rpm" | "1min" | "min1" | "umin" | "revmin" => PER_MINUTE,
            _ => return None,
        },
        Dimension::Count => return None,
    };
    Some(found)
}

fn letters_of(text: &str) -> String {
    text.chars()
        .filter_map(|it| match it {
            '²' => Some('2'),
            it if it.is_alphanumeric() || it == '%' || it == '°' => Some(it),
            _ => None,
        })
        .flat_map(char::to_lowercase)
        .collect::<String>()
        .replace('°', "deg")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quantity_decides_how_letters_are_read() {
        assert_eq!(parse("ms", Dimension::Time), Some(MILLISECOND));
        assert_eq!(parse("m/s", Dimension::Speed), Some(METRE_PER_SECOND));
        assert_eq!(parse("m/s²", Dimension::Acceleration), Some(METRE_PER_SECOND_SQUARED));
        assert_eq!(parse("m·s^-2", Dimension::Acceleration), Some(METRE_PER_SECOND_SQUARED));
        assert_eq!(parse("°/s", Dimension::AngularRate), Some(DEGREE_PER_SECOND));
        assert_eq!(parse("Km/h", Dimension::Speed), Some(KILOMETRE_PER_HOUR));
        assert_eq!(parse("bar", Dimension::Share), None);
    }

    /// Factors from the definitions: 3.6 km/h = 1 m/s, 1 kn = 1852 m/h, 1 mi = 1609.344 m, 1 ft = 0.3048 m.
    #[test]
    fn factors_lead_to_si() {
        assert!((36.0 * KILOMETRE_PER_HOUR.factor - 10.0).abs() < 1e-12);
        assert!((3600.0 * KNOT.factor - 1852.0).abs() < 1e-9);
        assert!((3600.0 * MILE_PER_HOUR.factor - 1609.344).abs() < 1e-9);
        assert!((10.0 * FOOT_PER_SECOND.factor - 3.048).abs() < 1e-12);
        assert!((180.0 * DEGREE_PER_SECOND.factor - std::f64::consts::PI).abs() < 1e-12);
    }
}
