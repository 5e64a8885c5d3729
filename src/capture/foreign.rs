//! Names of formats that are not read, by their first bytes, and what to export instead.

/// What a file is, and what to do about it.
pub(super) struct Foreign {
    pub(super) what: &'static str,
    pub(super) instead: &'static str,
}

const AUDIO: &str = "convert it to WAV or FLAC without resampling";
const UNPACK: &str = "unpack it first; gzip and zip are read as they are";
const SHEET: &str = "save the sheet as CSV";
const SCOPE: &str =
    "export the whole memory (not the screen) as CSV from the instrument or its software";
const TABLE: &str = "export the samples as NPY, WAV or CSV";
const HDF5: &str = "an HDF5 file (MATLAB 7.3 files are too)";
const NOT_HDF5: &str = "export the samples as NPY or CSV, or save with -v6 or -v7";
const SCOPES_OWN: &str = "an oscilloscope's own binary file";
const PICTURE: &str = "a picture holds no samples: export them as CSV, WAV or NPY";

/// Magic bytes at the start; each format's own specification, the instruments' from memory.
const STARTS: [(&[u8], &str, &str); 38] = [
    (b"BZh", "a bzip2 archive", UNPACK),
    (b"\xFD7zXZ\0", "an xz archive", UNPACK),
    (b"\x28\xB5\x2F\xFD", "a zstd archive", UNPACK),
    (b"7z\xBC\xAF\x27\x1C", "a 7z archive", UNPACK),
    (b"Rar!", "a RAR archive", UNPACK),
    (b"\x04\x22\x4D\x18", "an LZ4 archive", UNPACK),
    (b"\x89PNG", "a PNG picture", PICTURE),
    (b"\xFF\xD8\xFF", "a JPEG picture", PICTURE),
    (b"GIF8", "a GIF picture", PICTURE),
    (b"BM", "a BMP picture", PICTURE),
    (b"II*\0", "a TIFF picture", PICTURE),
    (b"MM\0*", "a TIFF picture", PICTURE),
    (b"%PDF", "a PDF document", PICTURE),
    (b"OggS", "Ogg audio", AUDIO),
    (b"ID3", "MP3 audio", AUDIO),
    (b"FORM", "AIFF audio", AUDIO),
    (b".snd", "AU audio", AUDIO),
    (b"caff", "CAF audio", AUDIO),
    (b"riff\x2E\x91\xCF\x11", "Wave64 (W64) audio", AUDIO),
    (b"wvpk", "WavPack audio", AUDIO),
    (b"RIFX", "big-endian RIFF", AUDIO),
    (b"RIFF", "RIFF without WAVE inside", AUDIO),
    (b"\x89HDF\r\n\x1A\n", HDF5, NOT_HDF5),
    (b"MATLAB 7.3 MAT-file", HDF5, NOT_HDF5),
    (b"CDF\x01", "a NetCDF file", TABLE),
    (b"CDF\x02", "a NetCDF file", TABLE),
    (b"SIMPLE  =", "a FITS file", TABLE),
    (b"PAR1", "a Parquet file", TABLE),
    (b"ARROW1", "an Arrow file", TABLE),
    (b"SQLite format 3", "an SQLite database", TABLE),
    (b"TDSm", "a TDMS file", TABLE),
    (b"\x80\x04\x95", "a Python pickle", TABLE),
    (
        b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1",
        "a spreadsheet or document of the old binary kind",
        SHEET,
    ),
    (b"AG01", SCOPES_OWN, SCOPE),
    (b"AG10", SCOPES_OWN, SCOPE),
    (b"RG0", SCOPES_OWN, SCOPE),
    (b":WFM#", SCOPES_OWN, SCOPE),
    (b"\x0F\x0F", SCOPES_OWN, SCOPE),
];

/// The head of a level 4 file's first variable: type, sizes, whether it is complex, length of its name, its name (MAT-File
/// Format, the published description of levels 4 and 5); written by a machine with the low byte first.
fn is_level_4(start: &[u8]) -> bool {
    let Some((words, name)) = start.split_first_chunk::<20>() else {
        return false;
    };
    let word =
        |at: usize| u32::from_le_bytes([words[at], words[at + 1], words[at + 2], words[at + 3]]);
    let length = word(16) as usize;
    let name = name.get(..length).unwrap_or_default();
    matches!(word(0), 0 | 10 | 20 | 30 | 40 | 50)
        && word(4) > 0
        && word(8) > 0
        && word(12) < 2
        && (2..64).contains(&length)
        && name.split_last().is_some_and(|(last, letters)| {
            *last == 0
                && letters
                    .iter()
                    .all(|&c| c == b'_' || c.is_ascii_alphanumeric())
        })
}

/// Looks at the first bytes.
pub(super) fn foreign(start: &[u8]) -> Option<Foreign> {
    let at_start = STARTS.iter().find(|(magic, ..)| start.starts_with(magic));
    if let Some(&(_, what, instead)) = at_start {
        return Some(Foreign { what, instead });
    }
    let within = |word: &[u8]| start.windows(word.len()).any(|window| window == word);
    if start.get(512..520) == Some(b"\x89HDF\r\n\x1A\n") {
        return Some(Foreign {
            what: HDF5,
            instead: NOT_HDF5,
        });
    }
    if within(b"WAVEDESC\0") || within(b":WFMP") || within(b":WFMO") {
        return Some(Foreign {
            what: SCOPES_OWN,
            instead: SCOPE,
        });
    }
    if is_level_4(start) {
        return Some(Foreign {
            what: "a MAT-file of level 4",
            instead: "save with -v6 or -v7",
        });
    }
    None
}

/// Text that is no table, by how it begins.
pub(super) fn markup(start: &[u8]) -> Option<Foreign> {
    let start = start.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(start);
    let start = start.trim_ascii_start();
    let begins = |word: &[u8]| {
        let own = start.get(..word.len());
        own.is_some_and(|own| own.eq_ignore_ascii_case(word))
    };
    let what = if begins(b"<!doctype html") || begins(b"<html") {
        "a web page"
    } else if begins(b"<?xml") {
        "XML"
    } else {
        let inner = start.strip_prefix(b"{")?.trim_ascii_start();
        inner.starts_with(b"\"").then_some("JSON")?
    };
    Some(Foreign {
        what,
        instead: TABLE,
    })
}
