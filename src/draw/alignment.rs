//! One picture of how well footage lies on the log: the turning seen and the turning logged over each other, and how
//! alike they are at every offset.

use cairo::{Context, Format, ImageSurface};

use crate::draw::text::{Align, Style, line};
use crate::draw::{BRIGHT, Colour, Error, QUIET};

/// Ground of the whole picture, and what is seen: a warm line over the quiet one of the log.
const PAPER: Colour = Colour::hex(0x0b_0f14);
const SEEN: Colour = Colour::hex(0xf2_a950);
/// Size of the picture as a file, pixels.
const FILE_PX: (i32, i32) = (1200, 720);

/// What is drawn, in the order of time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AlignmentPlot {
    /// Log time in s and turning in °/s to the left. A step of more than half a second is left open.
    pub logged: Vec<(f64, f64)>,
    pub seen: Vec<(f64, f64)>,
    /// Offset in s and correlation, −1 to 1.
    pub surface: Vec<(f64, f64)>,
    /// Offset taken, s.
    pub best_s: Option<f64>,
    pub next_best_s: Option<f64>,
    /// One sentence of the result.
    pub title: String,
}

/// The picture as a PNG file's bytes.
pub fn alignment_png(plot: &AlignmentPlot) -> Result<Vec<u8>, Error> {
    let surface = ImageSurface::create(Format::Rgb24, FILE_PX.0, FILE_PX.1)?;
    paint_alignment(&Context::new(&surface)?, plot, f64::from(FILE_PX.0), f64::from(FILE_PX.1))?;
    let mut bytes = Vec::new();
    surface.write_to_png(&mut bytes).map_err(|_| cairo::Error::WriteError)?;
    Ok(bytes)
}

/// Paints into `width` by `height` pixels. Degenerate: empty lists leave their part empty.
pub fn paint_alignment(context: &Context, plot: &AlignmentPlot, width: f64, height: f64) -> Result<(), Error> {
    PAPER.set(context, 1.0);
    context.paint()?;
    let unit = (height / 32.0).clamp(9.0, 24.0);
    let heading = Style { size: unit, bold: true, colour: BRIGHT, max_width: width - 4.0 * unit };
    line(context, &plot.title, 2.0 * unit, 1.8 * unit, Align::Left, heading);
    let half = (height - 3.0 * unit) / 2.0;
    let turning =
        Part { left: 4.0 * unit, top: 4.5 * unit, width: width - 6.0 * unit, height: half - 4.0 * unit, unit };
    let times = plot.logged.iter().chain(&plot.seen);
    turning.frame(context, &Frame::around(times, false), "turning, °/s to the left, by log time", |frame| {
        turning.curve(context, frame, &plot.logged, QUIET, 2.5)?;
        turning.curve(context, frame, &plot.seen, SEEN, 1.3)
    })?;
    let style = |colour| Style { size: 0.8 * unit, bold: true, colour, max_width: width / 4.0 };
    let end = width - 2.0 * unit;
    let used = line(context, "seen", end, 4.0 * unit, Align::Right, style(SEEN));
    line(context, "logged", end - used - unit, 4.0 * unit, Align::Right, style(QUIET));
    let alike = Part { top: turning.top + half + unit, ..turning };
    alike.frame(context, &Frame::around(plot.surface.iter(), true), "correlation, by offset", |frame| {
        alike.curve(context, frame, &plot.surface, QUIET, 1.0)?;
        for (at_s, colour) in [(plot.next_best_s, QUIET), (plot.best_s, SEEN)] {
            alike.upright(context, frame, at_s, colour)?;
        }
        Ok(())
    })
}

/// The stretch of values that a part shows.
struct Frame {
    x: (f64, f64),
    y: (f64, f64),
}

impl Frame {
    /// Around all points; `unit` for correlations, which run from −1 to 1.
    fn around<'a>(points: impl Iterator<Item = &'a (f64, f64)> + Clone, unit: bool) -> Self {
        let range = |of: fn(&(f64, f64)) -> f64| {
            let values = points.clone().map(of);
            (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
        };
        let wide = |(low, high): (f64, f64)| if low < high { (low, high) } else { (0.0, 1.0) };
        Self { x: wide(range(|it| it.0)), y: if unit { (-1.0, 1.0) } else { wide(range(|it| it.1)) } }
    }
}

/// Where one diagram lies, pixels; `unit` is the height of text.
#[derive(Debug, Clone, Copy)]
struct Part {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    unit: f64,
}

impl Part {
    fn at(&self, frame: &Frame, (x, y): (f64, f64)) -> (f64, f64) {
        let share = |value: f64, (low, high): (f64, f64)| (value - low) / (high - low);
        (self.left + self.width * share(x, frame.x), self.top + self.height * (1.0 - share(y, frame.y)))
    }

    /// The zero line, the numbers at the ends, the words above, and inside what `draw` draws.
    fn frame(
        &self,
        context: &Context,
        frame: &Frame,
        words: &str,
        draw: impl Fn(&Frame) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let style = Style { size: 0.8 * self.unit, bold: false, colour: QUIET, max_width: self.width };
        line(context, words, self.left, self.top - 0.5 * self.unit, Align::Left, style);
        for (value, baseline) in [(frame.y.1, self.top + 0.8 * self.unit), (frame.y.0, self.top + self.height)] {
            line(context, &format!("{value:.0}"), self.left - 0.5 * self.unit, baseline, Align::Right, style);
        }
        let under = self.top + self.height + 1.2 * self.unit;
        line(context, &format!("{:.0} s", frame.x.0), self.left, under, Align::Left, style);
        line(context, &format!("{:.0} s", frame.x.1), self.left + self.width, under, Align::Right, style);
        let (_, zero) = self.at(frame, (frame.x.0, 0.0));
        if (self.top..self.top + self.height).contains(&zero) {
            QUIET.set(context, 0.3);
            context.set_line_width(1.0);
            context.move_to(self.left, zero);
            context.line_to(self.left + self.width, zero);
            context.stroke()?;
        }
        context.save()?;
        context.rectangle(self.left, self.top, self.width, self.height);
        context.clip();
        let drawn = draw(frame);
        context.restore()?;
        drawn
    }

    fn curve(
        &self,
        context: &Context,
        frame: &Frame,
        points: &[(f64, f64)],
        colour: Colour,
        width: f64,
    ) -> Result<(), Error> {
        colour.set(context, 1.0);
        context.set_line_width(width);
        let mut last_x = f64::NEG_INFINITY;
        for point in points {
            let (x, y) = self.at(frame, *point);
            if point.0 - last_x > 0.5 {
                context.move_to(x, y)
            } else {
                context.line_to(x, y)
            }
            last_x = point.0;
        }
        Ok(context.stroke()?)
    }

    fn upright(&self, context: &Context, frame: &Frame, at: Option<f64>, colour: Colour) -> Result<(), Error> {
        let Some(at) = at else { return Ok(()) };
        let (x, _) = self.at(frame, (at, 0.0));
        colour.set(context, 1.0);
        context.set_line_width(1.5);
        context.move_to(x, self.top);
        context.line_to(x, self.top + self.height);
        Ok(context.stroke()?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is seen lies over what is logged where both go together, and the taken offset is marked.
    #[test]
    fn the_picture_holds_both_curves_and_the_offset() {
        let wave = |shift: f64| (0..600).map(move |i| (0.1 * f64::from(i), 40.0 * (0.02 * f64::from(i) + shift).sin()));
        let plot = AlignmentPlot {
            logged: wave(0.0).collect(),
            seen: wave(0.4).collect(),
            surface: (0..200).map(|i| (f64::from(i), (0.1 * f64::from(i)).cos())).collect(),
            best_s: Some(120.0),
            next_best_s: None,
            title: "begins at log time 120.000 s".to_owned(),
        };
        let count = |plot: &AlignmentPlot| {
            let png = image::load_from_memory(&alignment_png(plot).unwrap()).unwrap().to_rgb8();
            assert_eq!(png.dimensions(), (1200, 720));
            png.pixels().filter(|it| it.0[0] > 200 && it.0[2] < 110).count()
        };
        let (all, unmarked) = (count(&plot), count(&AlignmentPlot { best_s: None, ..plot.clone() }));
        let blind = count(&AlignmentPlot { seen: Vec::new(), best_s: None, ..plot.clone() });
        assert!(all > unmarked + 200 && unmarked > blind + 800, "{all} {unmarked} {blind}");
        assert!(alignment_png(&AlignmentPlot::default()).is_ok());
    }
}
