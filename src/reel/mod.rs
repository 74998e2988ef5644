//! What a clip shows and when, as plain data: which footage, at what pace, with which overlay. No video is touched here,
//! so that a plan can be listed, tested and compared without any.

mod drawings;
mod overlay;
mod plan;
mod session;

pub use drawings::ClipDrawing;
pub use overlay::{Caption, MapShape, MapState, MarkState, OverlayScript, OverlayState, Phase};
pub use plan::{Chapter, ClipOptions, ClipPlan, Cut, PlanError, clip_plan, session_has};
pub use session::{Stretch, stretch_at, stretch_script, stretches};
