//! The NMEA 0183 reader on anything: it reads or refuses, and never panics.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    // Behind a beginning that is recognised, so that the reader itself is reached.
    let mut file = b"$GPRMC,120000,A,4700.00,N,00812.00,E,1,1,010124,,*00\n".to_vec();
    file.extend_from_slice(bytes);
    let _read_or_refused = cornerbook::log::read("fuzz", &file, None);
});
