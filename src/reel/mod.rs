//! What a clip or a reel shows and when, as plain data: which footage, at what pace, with which overlay. No video is touched here,
//! so that a plan can be listed, tested and compared without any.

mod beside;
mod booked;
mod choose;
mod drawings;
mod film;
mod list;
mod overlay;
mod phase;
mod plan;
mod session;
mod source;
mod stills;
mod subtitles;

pub use beside::{Beside, BesideLayout, Compared, Other};
pub use booked::booked_items;
pub use choose::{Choice, ChoiceError, Chosen, Chosens, Order, choose, is_clean, tag_words, tags_of};
pub use drawings::ClipDrawing;
pub use film::{
    Card, CardRow, ClipPiece, FilmChapter, FilmPlan, FilmShape, Piece, ReelItem, ReelOptions, SoundPlan, reel_plan,
};
pub use list::list_text;
pub use overlay::{Caption, MapShape, MapState, MarkState, OverlayScript, OverlayState, TagLine, TagShown};
pub use phase::{Phase, moment_of_pass_s};
pub use plan::{Chapter, ClipOptions, ClipPlan, Cut, PlanError, clip_plan, session_has};
pub use session::{Stretch, stretch_at, stretch_script, stretches};
pub use source::Source;
pub use stills::{StillRow, still_rows};
pub use subtitles::{Cue, cue, vtt_of, web_vtt};
