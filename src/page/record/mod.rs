//! The whole record at any magnification: what a section holds of it, and the script that draws it.

use crate::draw::Record;

/// The script; `showRecords(part of a page)` draws the records in it.
pub(super) const SCRIPT: &str = include_str!("record.js");
/// Its style.
pub(super) const STYLE: &str = include_str!("record.css");
/// Where it stands in a section.
pub(super) const TEMPLATE: &str = include_str!("record.html");

/// The record as JSON in a page: no tag can end in it.
pub(super) fn as_json(record: &Record) -> String {
    let json = serde_json::to_string(record).unwrap_or_default();
    json.replace('<', "\\u003c")
}
