//! `cornerbook stills`: the frames at turn-in, apex and exit of one corner's passes, and one contact sheet of them.

use std::io::Cursor;
use std::path::PathBuf;

use image::{ExtendedColorType, ImageEncoder};

use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::film_args::{PictureFormat, StillsArgs};
use crate::cli::filmed::Filmed;
use crate::cli::plan;
use crate::draw::{SheetRow, contact_sheet};
use crate::files::PendingFiles;
use crate::job::{self, Context};
use crate::media::{self, JPEG_QUALITY, Still};
use crate::present;
use crate::reel::{self, Choice, ClipOptions, StillRow};
use crate::session::MarkKind;

const MARKS: [MarkKind; 3] = [MarkKind::TurnIn, MarkKind::Apex, MarkKind::Exit];

pub(super) fn run(args: &StillsArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let filmed = Filmed::open(&args.book, &plan::reading(&args.log_args), &args.video, &args.clock, console, context)?;
    let source = filmed.source();
    let choice =
        Choice { laps: args.lap.clone(), corners: vec![args.corner], clean_only: !args.all, ..Choice::default() };
    let chosen = reel::choose(&[source], &choice, |_, it| Some(it)).map_err(|error| Stop::Failed(error.into()))?;
    if chosen.without_footage > 0 {
        console.warn(&present::without_footage(chosen.without_footage));
    }
    let options = ClipOptions { speed_unit: args.unit.speed_unit, ..ClipOptions::default() };
    let (rows, left_out) =
        reel::still_rows(&source, &chosen.passes, &options).map_err(|error| Stop::Failed(error.into()))?;
    left_out.iter().for_each(|it| console.warn(&format!("left out: {it}")));
    let written = with_progress("taking the stills", context, || write_all(args, &rows, context))?;
    for path in written {
        console.result(&format!("{}\n", present::one_line(&path.display().to_string())))?;
    }
    Ok(0)
}

/// Writes stills and sheet, which appear together; names all files.
fn write_all(args: &StillsArgs, rows: &[StillRow], context: &Context) -> Result<Vec<PathBuf>, Stop> {
    let ending = match args.format {
        PictureFormat::Png => "png",
        PictureFormat::Jpeg => "jpg",
    };
    let name = |words: &str| format!("corner-{}-{words}.{ending}", args.corner);
    let still_name = |row: &StillRow, mark| name(&format!("lap-{}-{}", row.lap, present::mark(mark)));
    let sheet = name("sheet");
    let names: Vec<String> =
        rows.iter().flat_map(|row| MARKS.map(|it| still_name(row, it))).chain([sheet.clone()]).collect();
    let pending = PendingFiles::new(&args.out, plan::overwrite(args.force), names.iter().map(String::as_str))?;
    let write = |name: &str, picture: (u32, u32, &[u8])| {
        let bytes = encode(picture, args.format).map_err(|cause| {
            anyhow::anyhow!("{}: the picture cannot be encoded ({cause})", args.out.join(name).display())
        })?;
        Ok::<_, Stop>(pending.write(name, &bytes)?)
    };
    let done = std::sync::atomic::AtomicUsize::new(0);
    let made = job::map_parallel(rows, |row| {
        let mut made: Vec<(Option<String>, Option<Still>)> = Vec::new();
        for (mark, at) in MARKS.into_iter().zip(row.at) {
            context.check()?;
            let Some((chapter, at)) = at else {
                made.push((None, None));
                continue;
            };
            let still = media::still(&row.plan, chapter, at)?;
            let name = still_name(row, mark);
            write(&name, (still.width, still.height, &still.rgb))?;
            made.push((Some(name), Some(still.smaller(SHEET_WIDTH_PX))));
        }
        let rows_done = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
        context.set_progress(rows_done as f64 / rows.len() as f64);
        Ok::<_, Stop>(made)
    });
    let (mut written, mut sheet_rows) = (Vec::new(), Vec::new());
    for (row, made) in rows.iter().zip(made) {
        let (of_row, pictures): (Vec<_>, Vec<_>) = made?.into_iter().unzip();
        written.extend(of_row.into_iter().flatten());
        let pictures = pictures.into_iter().map(|it| it.map(|it| (it.width, it.height, it.rgb))).collect();
        sheet_rows.push(SheetRow { name: format!("Lap {}", row.lap), lines: row.lines.clone(), pictures });
    }
    let title = rows.first().map_or("", |it| it.plan.overlay.corner());
    let drawn = contact_sheet(title, &MARKS.map(present::mark), &sheet_rows).map_err(media::Error::from)?;
    write(&sheet, (drawn.0, drawn.1, &drawn.2))?;
    written.push(sheet);
    pending.finish()?;
    Ok(written.iter().map(|it| args.out.join(it)).collect())
}

/// Wide enough for its place on the sheet.
const SHEET_WIDTH_PX: u32 = 480;

fn encode((width, height, rgb): (u32, u32, &[u8]), format: PictureFormat) -> image::ImageResult<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    match format {
        PictureFormat::Png => {
            image::codecs::png::PngEncoder::new(&mut bytes).write_image(rgb, width, height, ExtendedColorType::Rgb8)
        }
        PictureFormat::Jpeg => image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY)
            .write_image(rgb, width, height, ExtendedColorType::Rgb8),
    }?;
    Ok(bytes.into_inner())
}
