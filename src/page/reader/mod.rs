//! One page that reads captures in a browser: the receiver, compiled for it, is inside.

mod answer;

use minijinja::context;

use super::PageError;
use super::record::{SCRIPT, STYLE};
use super::sheet::{controls_sheet, environment};
use crate::capture::RawKind;

pub use answer::answer;

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
            script => format!("{SCRIPT}{}", include_str!("reader.js")),
            worker => include_str!("worker.js"),
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
