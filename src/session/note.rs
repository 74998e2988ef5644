//! What was found on the way that is no error: a typed list, put into words only by `present`.

/// Where in a file: a line (from 1), a byte (from 0), or nowhere in particular.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    Whole,
    Line(u64),
    Byte(u64),
}

/// One finding about a file or a session, with the data its sentence needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    pub kind: NoteKind,
    /// The file as the user named it; empty where the note is on the session as a whole.
    pub file: String,
    /// The first place, where the finding has one.
    pub place: Place,
    /// Log times (from, to) in seconds, where the finding has a stretch.
    pub span_s: Option<(f64, f64)>,
}

impl Note {
    pub fn new(kind: NoteKind) -> Self {
        Self { kind, file: String::new(), place: Place::Whole, span_s: None }
    }

    pub fn in_file(mut self, file: &str, place: Place) -> Self {
        file.clone_into(&mut self.file);
        self.place = place;
        self
    }

    pub fn over(mut self, from_s: f64, to_s: f64) -> Self {
        self.span_s = Some((from_s, to_s));
        self
    }
}

/// Why the turning seen in footage does not tell where it lies on the log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MotionDoubt {
    /// Nothing moves, or nothing can be seen.
    StillPicture,
    /// The log turns too little.
    LogStraight,
    /// The picture turns too little.
    FootageStraight,
    /// Footage and log share too little, or nothing goes together.
    NothingAlike,
    /// Another place, so many seconds later, fits nearly as well (ratio of correlations, 0 to 1).
    PlacesAlike { ratio: f64, apart_s: f64 },
    /// The best place is hardly better than chance (its correlation).
    Weak { correlation: f64 },
}

/// The kinds of finding. Counts are of rows, sentences, fixes or passes as the name says.
#[derive(Debug, Clone, PartialEq)]
pub enum NoteKind {
    // Reading
    /// Rows that repeat the last fix; each fix counts once.
    FixesRepeated {
        count: usize,
    },
    RowsWithoutPosition {
        count: usize,
    },
    /// Rows or sentences that could not be read, the first one's trouble in words.
    RowsDamaged {
        count: usize,
        first: String,
    },
    /// Cells that are no number (or not finite) in a column.
    CellsUnreadable {
        header: String,
        count: usize,
    },
    ChecksumsWrong {
        count: usize,
    },
    VoidFixes {
        count: usize,
    },
    PositionsOutOfRange {
        count: usize,
    },
    TimeRepeated {
        count: usize,
    },
    /// Rows that shared a coarse stamp and were spread evenly up to the next one.
    TimesSpread {
        count: usize,
    },
    TimeBack {
        count: usize,
        from_s: f64,
        to_s: f64,
    },
    /// A jump that no kart can make: set aside.
    JumpsSetAside {
        count: usize,
    },
    /// Nothing measured for this long.
    Gap {
        seconds: f64,
    },
    /// The log has no date; times count from its first sample.
    NoDate,
    /// Times carried no zone and are taken as UTC.
    ZoneAssumed,
    /// A unit the file does not name, and the one that was taken.
    UnitAssumed {
        header: String,
        unit: String,
    },
    /// Bytes that are no text were passed over.
    BytesPassedOver {
        count: usize,
    },
    /// The kart stands still, with the position wandering.
    Standstill {
        count: usize,
        seconds: f64,
    },
    /// The second of two files overlaps the first in time; the overlap was taken from the first.
    FilesOverlap {
        seconds: f64,
    },
    /// The files have no common clock: joined in the order given, each right after the one before.
    FileOrderAssumed,

    // Path
    /// The yaw rate has the opposite sign to the path: turned round.
    YawRateSignTurned,
    /// The yaw rate does not go with the path (correlation given): not used.
    YawRateNotUsed {
        correlation: f64,
    },
    SpeedFromPath,
    /// The measured speed does not go with the path (correlation given): not used.
    SpeedNotUsed {
        correlation: f64,
    },
    /// The measured speed differs from the path's by this factor, which was taken out.
    SpeedScaled {
        factor: f64,
    },

    // Track
    GateFound,
    NoCircuit,
    /// The track file lies this far from the log, m.
    TrackElsewhere {
        metres: f64,
    },
    /// The track file's left edge lies to the right in the direction of travel, and the right to the left: swapped.
    EdgesSwapped,
    /// The yaw rate of a log without positions does not repeat.
    NoPattern,
    /// A log without positions, and no crossing of the start/finish gate was marked: laps begin on the longest straight.
    CrossingNotMarked,
    /// A crossing was marked, but the log has positions, which tell it.
    CrossingNotUsed,
    NoLap,
    /// A lap longer or shorter than the circuit: set aside.
    LapsSetAside {
        count: usize,
    },
    /// Fewer than this many laps: the reference line is one lap's.
    ReferenceFromFewLaps {
        laps: usize,
    },
    /// Timed laps in which the kart stood still for long.
    LapsWithStop {
        laps: Vec<u32>,
    },
    InsideEstimated {
        corners: usize,
    },
    NoCorner,

    /// A feature of the track file (from 1) without a known role: passed over.
    TrackFeatureUnknown {
        feature: usize,
        role: Option<String>,
    },

    // Passes
    /// (lap, corner) of timed laps without a pass: the kart was off the line there, or nothing was measured.
    PassesMissing {
        passes: Vec<(u32, u32)>,
    },
    PassesUnclear {
        count: usize,
    },

    // Book
    /// A file of the book was not in its place, but beside the book.
    FileMoved {
        to: String,
    },
    /// A file of the book has another length than when it was put in.
    FileChanged {
        was_bytes: u64,
        is_bytes: u64,
    },

    // Footage
    NoCreationTime,
    /// The stamp lies whole hours from the log; taken as that time zone.
    ZoneShift {
        hours: f64,
    },
    /// What the time stamp of a recording is taken for; `told` where the chapters' stamps themselves tell.
    StampMeaning {
        end: bool,
        told: bool,
    },
    /// Another time zone would let footage and log overlap too, with this much of the best one's weight (0 to 1).
    ZoneUncertain {
        hours: f64,
        weight: f64,
    },
    /// The chapters' stamps do not fit one recording without gaps: by how many seconds.
    ChaptersDisagree {
        seconds: f64,
    },
    /// Pins that want the two clocks to run so differently that one of them is likely wrong.
    RateUnlikely {
        ppm: f64,
    },
    /// Footage and log do not overlap: by how many seconds they miss each other.
    NoOverlap {
        seconds: f64,
    },
    /// The turning seen in the footage does not place it.
    MotionNotUsed {
        doubt: MotionDoubt,
    },
    /// The picture turns against the log: mirrored, or upside down where the far part of the scene lies below.
    PictureTurnsBack {
        upside_down: bool,
    },
    /// The scene closes instead of streaming apart.
    CameraLooksBack,
    /// The camera's clock showed this much more than it should have, s, by what is seen.
    CameraClockWrong {
        seconds: f64,
    },
    /// The motion puts this chapter (from 1) so much later than right after the one before, s.
    ChapterGap {
        chapter: usize,
        seconds: f64,
    },
    /// There is no log: what is seen to turn takes its place. Scaled by laps of 360°, or by an assumed angle of view.
    FootageIsLog {
        by_laps: bool,
    },
    /// There is no log, and nothing is seen to move.
    NothingSeenToMove,
    /// Something the reader of a footage file says of it, already in words.
    Footage {
        sentence: String,
    },
}
