//! The CSV reader on anything: it reads or refuses, and never panics.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    // Behind a beginning that is recognised, so that the reader itself is reached.
    let mut file = b"t_s,lat,lon\n".to_vec();
    file.extend_from_slice(bytes);
    let _read_or_refused = cornerbook::log::read("fuzz", &file, None);
});
