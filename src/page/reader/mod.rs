//! One page that reads captures in a browser: the receiver, compiled for it, is inside.

mod answer;

use minijinja::context;

use super::PageError;
use super::record::{SCRIPT, STYLE};
use super::sheet::{controls_sheet, environment};
use crate::capture::RawKind;

pub use answer::answer;

/// What starts the program's code in a page and asks it; the code itself stands in the template `module.html`.
pub const MODULE_SCRIPT: &str = include_str!("module.js");
/// The worker in which it runs.
pub(super) const WORKER: &str = include_str!("worker.js");
/// Templates of pages that hold it: with its code, and closed against every connection.
pub(super) const TEMPLATES: [(&str, &str); 2] = [
    ("module.html", include_str!("module.html")),
    ("closed.html", include_str!("closed.html")),
];

/// The page. `module` is the receiver compiled for wasm32, packed with gzip and written in base64; `program` names the program and its
/// version.
///
/// # Errors
/// A template that cannot be filled.
pub fn reader_page(module: &str, program: &str) -> Result<String, PageError> {
    Ok(environment().render_named_str(
        "reader.html",
        include_str!("reader.html"),
        context! {
            title => "Read a capture",
            css => format!("{}{STYLE}{}", controls_sheet(), include_str!("reader.css")),
            script => format!("{SCRIPT}{MODULE_SCRIPT}{}", include_str!("reader.js")),
            kinds => RawKind::ALL.map(RawKind::name),
            module,
            program,
        },
    )?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_is_whole() {
        let page = reader_page("QUJD", "fieldripple 0").unwrap();
        assert!(page.contains(">QUJD</script>") && page.contains("connect-src 'none'"));
        assert!(page.contains("<option value=\"cf32\">"));
        // Nothing is fetched: no address but those of names.
        for address in ["http://", "https://", "src=", "@import"] {
            let place = page.find(address);
            assert!(
                place.is_none(),
                "{address}: {:?}",
                place.map(|at| &page[at..at + 60])
            );
        }
    }
}
