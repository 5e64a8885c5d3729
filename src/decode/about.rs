//! What is known of a capture beside its samples.

use super::origin::Origin;
use crate::capture::{Layout, Unit};

/// What is known of a capture beside its samples.
#[derive(Clone, Debug, Default)]
pub(super) struct AboutFile {
    /// Its name for print.
    pub name: String,
    /// Where it came from, file by file; nothing where nobody asked.
    pub origins: Vec<Origin>,
    /// Name of the channel that was read.
    pub channel: String,
    /// Its unit.
    pub unit: Unit,
    /// What was taken of the file, in a line; empty where there was no choice.
    pub taken: String,
    /// What its reader knows.
    pub layout: Layout,
    /// Remarks of the file's reader and of the choices made here.
    pub remarks: Vec<String>,
}
