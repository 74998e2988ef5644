//! `passes --format parquet`: one row a pass, named as in the CSV with `_` in place of the dot, with the session that it
//! belongs to in each row, so that many sessions can be asked at once (docs/formats.md#parquet). Gives bytes.

use std::sync::Arc;

use chrono::NaiveDate;
use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int32Type, Int64Type};
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{Type, TypePtr};

use crate::corners::{Mark, Pass};
use crate::present;
use crate::report::passes_csv::FIGURES;
use crate::report::{PassesView, round};
use crate::session::Estimate;
use crate::track::LapKind;

/// The session that passes belong to, as its own columns tell it.
#[derive(Debug, Clone, Copy)]
pub struct Origin<'a> {
    pub circuit: &'a str,
    pub session: &'a str,
    pub driver: Option<&'a str>,
    /// In UTC.
    pub date: Option<NaiveDate>,
    pub grip: Option<&'a str>,
}

/// One column: a cell for each pass, `None` where nothing can be told.
enum Cells {
    Text(Vec<Option<String>>),
    Whole(Vec<Option<i32>>),
    Number(Vec<Option<f64>>),
    /// Days since 1970-01-01.
    Day(Vec<Option<i32>>),
    /// Microseconds since 1970-01-01, UTC.
    Moment(Vec<Option<i64>>),
}

struct Column {
    name: String,
    cells: Cells,
}

/// All passes of the view as one Parquet file (Apache Parquet format 2, Snappy).
pub fn passes_parquet(view: &PassesView<'_>, origin: &Origin<'_>) -> Vec<u8> {
    let columns = columns(view, origin);
    write(&columns).expect("memory takes every byte, and all columns are as the schema made from them says")
}

fn columns(view: &PassesView<'_>, origin: &Origin<'_>) -> Vec<Column> {
    let passes: Vec<&Pass> = view.passes().collect();
    let same = |text: Option<&str>| Cells::Text(vec![text.map(str::to_owned); passes.len()]);
    let text = |cell: &dyn Fn(&Pass) -> Option<String>| Cells::Text(passes.iter().map(|it| cell(it)).collect());
    let number = |cell: &dyn Fn(&Pass) -> Option<f64>| Cells::Number(passes.iter().map(|it| cell(it)).collect());
    let whole =
        |cell: &dyn Fn(&Pass) -> u32| Cells::Whole(passes.iter().map(|it| i32::try_from(cell(it)).ok()).collect());
    let mut columns = Vec::new();
    let mut add = |name: String, cells: Cells| columns.push(Column { name, cells });
    add("circuit".to_owned(), same(Some(origin.circuit)));
    add("session".to_owned(), same(Some(origin.session)));
    add("driver".to_owned(), same(origin.driver));
    add("date".to_owned(), Cells::Day(vec![origin.date.and_then(day); passes.len()]));
    add("grip".to_owned(), same(origin.grip));
    add("lap".to_owned(), whole(&|it| it.lap));
    add("lap_kind".to_owned(), text(&|it| lap_kind(view, it.lap).map(str::to_owned)));
    add("corner".to_owned(), whole(&|it| it.corner));
    add("name".to_owned(), text(&|it| corner_name(view, it.corner)));
    add("direction".to_owned(), text(&|it| Some(present::direction(it.direction).to_owned())));
    let marks: [(&str, MarkOf); 3] =
        [("turn_in", |it| it.turn_in), ("apex", |it| it.apex.map(|it| it.mark)), ("exit", |it| it.exit)];
    for (mark, of) in marks {
        for (field, cell) in MARK_NUMBERS {
            add(format!("{mark}_{field}"), number(&|it| of(it).and_then(|it| cell(&it))));
        }
        let utc = |it: &&Pass| Some(view.samples.utc_at(of(it)?.t_s.value)?.timestamp_micros());
        add(format!("{mark}_utc"), Cells::Moment(passes.iter().map(utc).collect()));
    }
    add("apex_by".to_owned(), text(&|it| Some(present::apex_by(it.apex?.by).to_owned())));
    let mut pair = |name: &str, of: &dyn Fn(&Pass) -> Option<Estimate>, round: fn(f64) -> Option<f64>| {
        add(name.to_owned(), number(&|it| round::pair(of(it), round).0));
        add(format!("{name}_ci95"), number(&|it| round::pair(of(it), round).1));
    };
    pair("apex_gap_m", &|it| it.apex?.gap_m, round::metres);
    for (name, figure, round) in FIGURES {
        pair(name, &figure, round);
    }
    columns
}

type MarkNumber = (&'static str, fn(&Mark) -> Option<f64>);

/// One of a pass's marks.
type MarkOf = fn(&Pass) -> Option<Mark>;

const MARK_NUMBERS: [MarkNumber; 7] = [
    ("t_s", |it| round::seconds(it.t_s.value)),
    ("t_s_ci95", |it| round::seconds(it.t_s.ci95)),
    ("latitude", |it| round::position_deg(it.latitude_deg?)),
    ("longitude", |it| round::position_deg(it.longitude_deg?)),
    ("distance_m", |it| round::metres(it.distance_m?)),
    ("speed_mps", |it| round::pair(it.speed_mps, round::speed).0),
    ("speed_mps_ci95", |it| round::pair(it.speed_mps, round::speed).1),
];

fn day(date: NaiveDate) -> Option<i32> {
    let epoch = NaiveDate::from_ymd_opt(1970, 1, 1)?;
    i32::try_from(date.signed_duration_since(epoch).num_days()).ok()
}

fn lap_kind(view: &PassesView<'_>, lap: u32) -> Option<&'static str> {
    let kind = view.analysis.laps.iter().find(|it| it.number == lap)?.kind;
    Some(match kind {
        LapKind::Timed => "timed",
        LapKind::Out => "out",
        LapKind::In => "in",
        LapKind::Partial => "partial",
    })
}

fn corner_name(view: &PassesView<'_>, corner: u32) -> Option<String> {
    view.analysis.corners.iter().find(|it| it.number == corner).map(|it| it.name.clone())
}

fn write(columns: &[Column]) -> parquet::errors::Result<Vec<u8>> {
    let properties = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
    let mut writer = SerializedFileWriter::new(Vec::new(), schema(columns)?, Arc::new(properties))?;
    let mut group = writer.next_row_group()?;
    for column in columns {
        match &column.cells {
            Cells::Text(cells) => {
                let bytes: Vec<_> = cells.iter().map(|it| it.as_ref().map(|it| ByteArray::from(it.as_str()))).collect();
                write_column::<ByteArrayType>(&mut group, &bytes)?;
            }
            Cells::Whole(cells) | Cells::Day(cells) => write_column::<Int32Type>(&mut group, cells)?,
            Cells::Number(cells) => write_column::<DoubleType>(&mut group, cells)?,
            Cells::Moment(cells) => write_column::<Int64Type>(&mut group, cells)?,
        }
    }
    group.close()?;
    writer.into_inner()
}

fn write_column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, Vec<u8>>,
    cells: &[Option<T::T>],
) -> parquet::errors::Result<()> {
    let Some(mut column) = group.next_column()? else { return Ok(()) };
    let levels: Vec<i16> = cells.iter().map(|it| i16::from(it.is_some())).collect();
    let values: Vec<T::T> = cells.iter().flatten().cloned().collect();
    column.typed::<T>().write_batch(&values, Some(&levels), None)?;
    column.close()
}

fn schema(columns: &[Column]) -> parquet::errors::Result<TypePtr> {
    let of = |column: &Column| {
        let (physical, logical) = match &column.cells {
            Cells::Text(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            Cells::Whole(_) => (Physical::INT32, None),
            Cells::Number(_) => (Physical::DOUBLE, None),
            Cells::Day(_) => (Physical::INT32, Some(LogicalType::Date)),
            Cells::Moment(_) => (Physical::INT64, Some(LogicalType::timestamp(true, TimeUnit::MICROS))),
        };
        let built = Type::primitive_type_builder(&column.name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical)
            .build()?;
        Ok(Arc::new(built))
    };
    let fields = columns.iter().map(of).collect::<parquet::errors::Result<Vec<TypePtr>>>()?;
    Ok(Arc::new(Type::group_type_builder("passes").with_fields(fields).build()?))
}
