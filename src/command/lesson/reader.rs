//! The page that reads captures, where the program was built with it.

/// The receiver for wasm32, as `tests/outside/make_reader.py` packs it.
#[cfg(feature = "reader")]
const MODULE: Option<&str> = Some(include_str!(env!(
    "FIELDRIPPLE_READER",
    "the receiver for the page is missing: tests/outside/make_reader.py builds it and names it in FIELDRIPPLE_READER"
)));
#[cfg(not(feature = "reader"))]
const MODULE: Option<&str> = None;

/// The page; `None` where the program was built without it.
pub fn page() -> Result<Option<String>, fieldripple::page::PageError> {
    let program = concat!("fieldripple ", env!("CARGO_PKG_VERSION"));
    MODULE
        .map(|module| fieldripple::page::reader_page(module, program))
        .transpose()
}
