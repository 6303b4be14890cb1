#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| { barwright_fuzz_driver::formulas::formula_inline(data); });
