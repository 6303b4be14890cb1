#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| { barwright_fuzz_driver::texts::bought(data); });
