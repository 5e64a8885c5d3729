//! A file of the pack.

/// A file of the lesson: name from the folder on, and content.
pub type PageFile = (String, Vec<u8>);
