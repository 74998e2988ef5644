//! Plots and maps of a report as inline SVG. Takes plain data; gives markup whose colours are classes of the page's style
//! sheet. Text from outside never stands in a picture: corners are numbered there, and named beside it.

mod laps;
mod map;
mod plots;

use std::fmt::Write as _;

use maud::{Markup, html};

use crate::present;
use crate::strip::{Stretch, ticks};

pub(super) use laps::lap_times;
pub(super) use map::{circuit_map, corner_map};
pub(super) use plots::{corner_speeds, difference_in_words, time_difference};

/// A picture's box in its own pixels; its letters are as large as the page's where it is shown at this width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Size {
    pub(super) width: f64,
    pub(super) height: f64,
}

/// For a whole column of the page, for a phone, and for half a column.
pub(super) const WIDE: Size = Size { width: 920.0, height: 300.0 };
pub(super) const NARROW: Size = Size { width: 330.0, height: 260.0 };
pub(super) const HALF: Size = Size { width: 440.0, height: 320.0 };

/// A picture drawn once for wide and once for narrow pages; the style sheet shows the one that fits.
pub(super) fn for_each_width(draw: impl Fn(Size) -> Markup) -> Markup {
    html! {
        div.wide { (draw(WIDE)) }
        div.narrow { (draw(NARROW)) }
    }
}

/// Pixels in a picture: a tenth is finer than any screen shows.
fn px(value: f64) -> String {
    present::fixed(value, usize::from((value * 10.0).round() % 10.0 != 0.0))
}

/// A line through points in pixels.
fn line_path(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut path = String::new();
    for (x, y) in points {
        let letter = if path.is_empty() { 'M' } else { 'L' };
        let _ = write!(path, "{letter}{} {}", px(x), px(y));
    }
    path
}

/// Two linear scales with room around them for letters.
#[derive(Debug, Clone, Copy)]
struct Axes {
    size: Size,
    x: Stretch,
    y: Stretch,
}

const LEFT: f64 = 44.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 34.0;
const BOTTOM: f64 = 40.0;
/// Room for one tick's letters, px.
const TICK_X: f64 = 62.0;
const TICK_Y: f64 = 38.0;

impl Axes {
    /// `None` where there is nothing to scale by.
    fn new(size: Size, x: Stretch, y: Stretch) -> Option<Self> {
        let is_sound = |it: Stretch| it.length().is_finite() && it.length() > 0.0;
        (is_sound(x) && is_sound(y)).then_some(Self { size, x, y })
    }

    fn x(&self, value: f64) -> f64 {
        LEFT + self.x.px_of(value, self.size.width - LEFT - RIGHT)
    }

    fn y(&self, value: f64) -> f64 {
        let high = self.size.height - TOP - BOTTOM;
        TOP + high - self.y.px_of(value, high)
    }

    fn point(&self, x: f64, y: f64) -> (f64, f64) {
        (self.x(x), self.y(y))
    }

    /// Grid lines with numbers, and what they are: the name of the upright axis stands over it.
    fn grid(&self, x_name: &str, y_name: &str) -> Markup {
        let across = ticks(self.x, most(self.size.width - LEFT - RIGHT, TICK_X));
        self.grid_at(&across, x_name, y_name)
    }

    /// The same with ticks at whole numbers only, for what is counted.
    fn grid_of_whole(&self, x_name: &str, y_name: &str) -> Markup {
        let across = ticks(self.x, most(self.size.width - LEFT - RIGHT, TICK_X));
        let whole: Vec<f64> = across.into_iter().filter(|it| it.fract() == 0.0).collect();
        self.grid_at(&whole, x_name, y_name)
    }

    fn grid_at(&self, across: &[f64], x_name: &str, y_name: &str) -> Markup {
        let up = ticks(self.y, most(self.size.height - TOP - BOTTOM, TICK_Y));
        let (bottom, right) = (self.size.height - BOTTOM, self.size.width - RIGHT);
        html! {
            g.grid {
                @for it in &up {
                    path d=(line_path([(LEFT, self.y(*it)), (right, self.y(*it))])) {}
                    text.tick x=(px(LEFT - 6.0)) y=(px(self.y(*it) + 4.0)) text-anchor="end" { (number(*it, &up)) }
                }
                @for it in across {
                    path.short d=(line_path([(self.x(*it), bottom), (self.x(*it), bottom + 5.0)])) {}
                    text.tick x=(px(self.x(*it))) y=(px(bottom + 18.0)) text-anchor="middle" { (number(*it, across)) }
                }
                text.name x=(px(right)) y=(px(self.size.height - 5.0)) text-anchor="end" { (x_name) }
                text.name x="2" y="13" { (y_name) }
            }
        }
    }

    /// An upright line from top to bottom.
    fn upright(&self, x: f64) -> String {
        line_path([(self.x(x), TOP), (self.x(x), self.size.height - BOTTOM)])
    }
}

/// So many ticks have room.
fn most(length_px: f64, each_px: f64) -> usize {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few ticks")]
    let most = (length_px / each_px).floor().max(1.0) as usize;
    most
}

/// A tick's number with as many decimals as its neighbours need.
fn number(value: f64, all: &[f64]) -> String {
    let step = all.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
    let is_whole = |scaled: f64| (scaled - scaled.round()).abs() < 1e-6;
    let decimals = (0..3).find(|it| is_whole(step * 10_f64.powi(*it))).unwrap_or(3);
    present::fixed(value, usize::try_from(decimals).unwrap_or(0))
}

/// The whole picture with its name for those who cannot see it.
fn picture(class: &str, size: Size, name: &str, content: &Markup) -> Markup {
    html! {
        svg class=(class) viewBox=(format!("0 0 {} {}", px(size.width), px(size.height))) role="img" aria-label=(name)
            style=(format!("max-width:{}px", px(size.width * 1.15))) {
            (content)
        }
    }
}

/// A corner's number on a disc.
fn disc((x, y): (f64, f64), number: u32) -> Markup {
    html! {
        g.disc {
            circle cx=(px(x)) cy=(px(y)) r="10" {}
            text x=(px(x)) y=(px(y + 4.0)) text-anchor="middle" { (number) }
        }
    }
}

/// The sign of a mark: diamond for the turn-in, triangle for the apex, square for the exit, as in window and films.
fn sign(kind: crate::corners::MarkKind, (x, y): (f64, f64), class: &str) -> Markup {
    use crate::corners::MarkKind::{Apex, Exit, TurnIn};
    let outline: &[(f64, f64)] = match kind {
        TurnIn => &[(0.0, -7.0), (7.0, 0.0), (0.0, 7.0), (-7.0, 0.0)],
        Apex => &[(0.0, -7.0), (7.0, 5.5), (-7.0, 5.5)],
        Exit => &[(-5.5, -5.5), (5.5, -5.5), (5.5, 5.5), (-5.5, 5.5)],
    };
    let path = line_path(outline.iter().map(|(dx, dy)| (x + dx, y + dy)));
    html! { path class=(format!("sign {class}")) d=(format!("{path}Z")) {} }
}

/// A sign by itself, for the words beside a picture.
pub(super) fn sign_alone(kind: crate::corners::MarkKind) -> Markup {
    html! { svg.key viewBox="0 0 18 18" aria-hidden="true" { (sign(kind, (9.0, 9.0), "best")) } }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_negative_zero() {
        assert_eq!([12.0, 12.34, -0.04, 0.96].map(px), ["12", "12.3", "0", "1"]);
        assert_eq!(line_path([(0.0, 1.0), (2.26, 3.0)]), "M0 1L2.3 3");
        assert_eq!(number(0.5, &[0.0, 0.25, 0.5]), "0.50");
        assert_eq!(number(200.0, &[0.0, 200.0]), "200");
    }

    #[test]
    fn axes_need_something_to_scale_by() {
        let stretch = |from, to| Stretch { from, to };
        assert!(Axes::new(WIDE, stretch(0.0, 0.0), stretch(0.0, 1.0)).is_none());
        assert!(Axes::new(WIDE, stretch(0.0, 1.0), stretch(0.0, f64::NAN)).is_none());
        let axes = Axes::new(WIDE, stretch(0.0, 10.0), stretch(-1.0, 1.0)).unwrap();
        assert_eq!(axes.point(0.0, -1.0), (LEFT, WIDE.height - BOTTOM));
        assert_eq!(axes.point(10.0, 1.0), (WIDE.width - RIGHT, TOP));
    }
}
