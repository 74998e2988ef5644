//! Reading CSV against the bare `csv` crate: the same columns parsed to `f64` with `str::parse`, in the same run.
//! Prints both times and their ratio; at least 0.5 is asked for.

#![allow(
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a bench measures time, prints it, and may stop where its own input is wrong"
)]

use std::hint::black_box;
use std::time::Instant;

use cornerbook::log;

const ROUNDS: usize = 5;

/// Rows at 100 Hz that repeat a 25 Hz fix; 12 columns.
fn table(rows: u32) -> Vec<u8> {
    let mut text =
        String::from("t_s,lat,lon,speed_kmh,course_deg,yaw_rate_dps,ay_mps2,ax_mps2,rpm,throttle_%,sats,hdop\n");
    for row in 0..rows {
        let (t_s, fix_s) = (f64::from(row) * 0.01, f64::from(row / 4) * 0.04);
        let angle = 0.1 * fix_s;
        let (latitude_deg, longitude_deg) = (47.0 + 0.002 * angle.sin(), 8.2 + 0.003 * angle.cos());
        text.push_str(&format!(
            "{t_s:.2},{latitude_deg:.7},{longitude_deg:.7},{:.2},{:.1},{:.3},{:.3},{:.3},{},{:.1},{},{:.1}\n",
            80.0 + 20.0 * angle.sin(),
            (angle.to_degrees()).rem_euclid(360.0),
            5.7 + (t_s * 3.0).sin(),
            (t_s * 2.0).sin() * 9.0,
            (t_s * 2.0).cos() * 4.0,
            9000 + row % 3000,
            f64::from(row % 1000) / 10.0,
            12,
            0.8
        ));
    }
    text.into_bytes()
}

fn bare(bytes: &[u8]) -> usize {
    let mut reader = csv::Reader::from_reader(bytes);
    let mut record = csv::ByteRecord::new();
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); 12];
    while reader.read_byte_record(&mut record).unwrap() {
        for (column, cell) in columns.iter_mut().zip(&record) {
            column.push(std::str::from_utf8(cell).unwrap().parse().unwrap());
        }
    }
    black_box(columns)[0].len()
}

fn fastest_s(mut work: impl FnMut() -> usize) -> f64 {
    let times = (0..ROUNDS).map(|_| {
        let start = Instant::now();
        black_box(work());
        start.elapsed().as_secs_f64()
    });
    times.fold(f64::INFINITY, f64::min)
}

fn main() {
    let bytes = table(360_000);
    let bare_s = fastest_s(|| bare(&bytes));
    let read_s = fastest_s(|| log::read("bench.csv", &bytes, None).unwrap().fixes().len());
    println!(
        "360000 rows of 12 columns: bare csv {bare_s:.3} s, log::read {read_s:.3} s, ratio {:.2}",
        bare_s / read_s
    );
    let hour = table(90_000);
    let hour_s = fastest_s(|| log::read("bench.csv", &hour, None).unwrap().fixes().len());
    println!("one hour at 25 rows a second: {hour_s:.3} s");
}
