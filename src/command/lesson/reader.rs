//! The program's code for a browser, where the program was built with it.

/// For wasm32, as `tests/outside/make_reader.py` packs it.
#[cfg(feature = "reader")]
pub const MODULE: Option<&str> = Some(include_str!(env!(
    "FIELDRIPPLE_READER",
    "the receiver for the page is missing: tests/outside/make_reader.py builds it and names it in FIELDRIPPLE_READER"
)));
#[cfg(not(feature = "reader"))]
pub const MODULE: Option<&str> = None;
