//! The overlay over the frame on show: picks the pass that it speaks of and draws it, with the code that films use.

use crate::analysis::Analysis;
use crate::draw::{OverlayPainter, Tile};
use crate::reel::{OverlayScript, Stretch, stretch_at, stretch_script, stretches};
use crate::units::SpeedUnit;
use crate::window::navigate::Playhead;
use crate::window::settings::OverlayParts;

/// The overlays of one analysis.
#[derive(Debug)]
pub(super) struct SessionOverlay {
    stretches: Vec<Stretch>,
    unit: SpeedUnit,
    current: Option<Current>,
}

/// The pass that is on show, drawn for pictures of one size.
#[derive(Debug)]
struct Current {
    pass: usize,
    size_px: (u32, u32),
    script: OverlayScript,
    painter: OverlayPainter,
}

impl SessionOverlay {
    pub(super) fn new(analysis: &Analysis, unit: SpeedUnit) -> Self {
        Self { stretches: stretches(analysis), unit, current: None }
    }

    /// Index of the pass that is on or comes next.
    pub(super) fn pass_at(&self, t_s: f64) -> Option<usize> {
        stretch_at(&self.stretches, t_s).map(|it| it.pass)
    }

    /// The blocks over a picture of this size, and whether they are another pass's or size's than before: then nothing
    /// of what was drawn may be kept.
    pub(super) fn tiles(
        &mut self,
        analysis: &Analysis,
        playhead: Playhead,
        size_px: (u32, u32),
        parts: OverlayParts,
    ) -> (Vec<&Tile>, bool) {
        let Some(stretch) = stretch_at(&self.stretches, playhead.from_s).copied() else {
            let had_some = self.current.take().is_some();
            return (Vec::new(), had_some);
        };
        let is_current = self.current.as_ref().is_some_and(|it| (it.pass, it.size_px) == (stretch.pass, size_px));
        if !is_current {
            self.current = stretch_script(analysis, &stretch, self.unit).map(|script| Current {
                pass: stretch.pass,
                size_px,
                painter: OverlayPainter::new(size_px.0, size_px.1, script.map.clone()),
                script,
            });
        }
        let Some(current) = &mut self.current else { return (Vec::new(), true) };
        let state = current.script.state(playhead.from_s, playhead.until_s);
        let shown = [parts.caption, parts.marks, parts.map];
        // A picture too small for an overlay goes without.
        let tiles = current.painter.tiles(&state).unwrap_or_default();
        (tiles.into_iter().zip(shown).filter(|(_, is_shown)| *is_shown).map(|(tile, _)| tile).collect(), !is_current)
    }
}
