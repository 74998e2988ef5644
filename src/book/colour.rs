//! A colour of a tag kind or a drawing: sRGB, written `#rrggbb`.

use std::fmt;
use std::str::FromStr;

/// An opaque sRGB colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Colour {
    pub red: u8,
    pub green: u8,
    pub blue: u8,
}

/// What is no colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a colour is written #rrggbb, with hexadecimal digits")]
pub struct NoColour;

impl Colour {
    /// `0xrrggbb`; what is above the lowest 24 bits is left out.
    pub const fn hex(rgb: u32) -> Self {
        let [_, red, green, blue] = rgb.to_be_bytes();
        Self { red, green, blue }
    }

    /// `0xrrggbb`.
    pub fn to_hex(self) -> u32 {
        u32::from_be_bytes([0, self.red, self.green, self.blue])
    }

    /// Relative luminance, 0 (black) to 1 (white). Source: WCAG 2.2, "relative luminance".
    pub fn luminance(self) -> f64 {
        let linear = |part: u8| {
            let share = f64::from(part) / 255.0;
            if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * linear(self.red) + 0.7152 * linear(self.green) + 0.0722 * linear(self.blue)
    }

    /// Contrast with another colour, 1 (none) to 21. Source: WCAG 2.2, "contrast ratio".
    pub fn contrast(self, other: Self) -> f64 {
        let (a, b) = (self.luminance() + 0.05, other.luminance() + 0.05);
        a.max(b) / a.min(b)
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "#{:02x}{:02x}{:02x}", self.red, self.green, self.blue)
    }
}

impl FromStr for Colour {
    type Err = NoColour;

    fn from_str(text: &str) -> Result<Self, NoColour> {
        let digits = text.strip_prefix('#').filter(|it| it.len() == 6 && it.bytes().all(|it| it.is_ascii_hexdigit()));
        digits.and_then(|it| u32::from_str_radix(it, 16).ok()).map(Self::hex).ok_or(NoColour)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_are_written_and_read() {
        let colour = Colour::hex(0x01_ab0f);
        assert_eq!(colour.to_string(), "#01ab0f");
        assert_eq!("#01AB0f".parse(), Ok(colour));
        for bad in ["", "#", "01ab0f", "#1ab0f", "#01ab0g", "#+1ab0f", "#äab0", "#01ab0f "] {
            assert_eq!(bad.parse::<Colour>(), Err(NoColour), "{bad}");
        }
        assert_eq!(NoColour.to_string(), "a colour is written #rrggbb, with hexadecimal digits");
    }

    /// Source: WCAG 2.2 gives 21 for black on white; #777777 on white is 4.48 (any contrast table).
    #[test]
    fn contrast_is_that_of_wcag() {
        let white = Colour::hex(0xff_ffff);
        assert!((white.contrast(Colour::hex(0)) - 21.0).abs() < 1e-9);
        assert!((Colour::hex(0x77_7777).contrast(white) - 4.48).abs() < 0.005);
    }
}
