//! What `fieldripple margin` can be told.

use std::path::PathBuf;

use fieldripple::margin::{Axis, Part};

use super::decoder::DecoderArguments;
use crate::command::figure_file::FigureFile;
use crate::command::signal::SignalArguments;
use fieldripple::number::{whole_within, within};

const LONG_ABOUT: &str = "\
Makes many captures while one number (or two) is varied, tries to read each, and counts:
how much noise, how near a second reader, how far mistuned before reading fails

Each capture has a number, field phase, telegram start, load state and noise of its own, and
with the flags alone a ripple angle where --angle is not given. They are drawn from --seed, the
values and the capture's count: the same command gives the same table with any number of
threads, in parts (--part), and in several runs (--resume).";

const AFTER_HELP: &str = "\
Counted are captures in which the first tag's number was read, and apart from that captures in
which a number was read that no tag in them sent. Intervals are Wilson's, 95 %. The levels at
which half and 90 % are read come from a steady curve through the shares (isotonic regression,
straight lines between the values); their intervals hold the middle 95 % of 999 repetitions
drawn from it. With --until the number of captures depends on what was read, so that the
intervals are a little optimistic.

--vary takes flags that are one number (ebn0, depth, angle, seconds, rate, field-hz, bits ...)
and keys of a scenario (tag.1.tilt_deg, tone.1.level_db ...; 'fieldripple link --keys' lists
them). A flag that is varied stands for itself: ebn0=-3:3:1 is --ebn0 -3, --ebn0 -2 ...

CSV: receiver,value,trials,read,wrong,share,low95,high95; with two --vary a column value2 after
value. Beside FILE stands FILE.plan.json: what the table was made with, so that --resume and
--gather can check it.

--decoder lets a program of yours try the same captures. It is run once a capture (or stays, with
--decoder-stays) without a shell; exit code 0 says that it ran, with the number printed or nothing,
and so does 1 if it printed nothing on standard error. Anything else is counted as crashed, what
takes longer than --decoder-time as timed out, output that is no number as garbage; all of these
are captures not read. The interval of the difference between yours and the program's own receiver
is the one that belongs to McNemar's test (Tango's), as both saw the same captures. The CSV then
has the further columns both,timed_out,crashed,garbage.

--log makes the curve of a reader: play it a load and interference (synth --kind load, --kind jam), note in a
timetable what was played when, and give it what the reader printed. Times are seconds, HH:MM:SS, or
YYYY-MM-DD HH:MM:SS, in both files alike. A trial is read in which the number of --id was printed at least once.

--keep writes the captures into a folder, for decoders in any language or on another machine; --from
with --answers counts what those read, beside what the program's own receiver read of the same.

Threads: one a processor core, or RAYON_NUM_THREADS. Ctrl-C ends early and keeps what is done.

Examples:
  fieldripple margin --vary ebn0=-4:4:1 --seconds 0.07 --rate 500000
  fieldripple margin --vary ebn0=2:12:1 --compare --angle 0 --seconds 0.1 --csv noise.csv
  fieldripple margin --vary tag.1.tilt_deg=0:90:10 --set noise.ebn0_db=10 --until 0.1
  fieldripple margin --vary ebn0=-16:0:1 --csv part2.csv --part 2/3
  fieldripple margin --vary ebn0=0:12:2 --decoder 'python3 mine.py {file}' --csv mine.csv
  fieldripple margin --vary ebn0=0:12:2 --keep captures
  fieldripple margin --log printed.csv --timetable played.csv --id 999:1 --every 2
  fieldripple margin --vary second_reader.distance_mm=200:800:100 --set second_reader.field_hz=134250 --both
  fieldripple margin --from captures --answers read.csv --figure both.png
  fieldripple margin --gather part1.csv part2.csv part3.csv --csv whole.csv

Exit codes: 0 done, 1 ended early, 2 bad arguments or a file that cannot be used.";

/// Counts how often captures are read while numbers of theirs are varied
#[derive(clap::Args)]
#[command(long_about = LONG_ABOUT, after_help = AFTER_HELP)]
pub struct Arguments {
    /// What to vary: NAME=FROM:TO:STEP or NAME=VALUE,VALUE,...; give it twice for a map
    #[arg(
        long,
        value_name = "NAME=VALUES",
        allow_hyphen_values = true,
        value_parser = super::vary::axis,
        required_unless_present_any = ["gather", "from", "log"]
    )]
    pub(super) vary: Vec<Axis>,
    /// Captures at each value, 1 to 1000000
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = whole_within(1..=1_000_000, ""))]
    pub(super) trials: u64,
    /// Go on, --trials at a time, until the 95 % interval is as narrow as this share, 0.002 to 1
    #[arg(long, value_name = "WIDTH", value_parser = within(0.002..=1.0, ""))]
    pub(super) until: Option<f64>,
    /// A number counts as read when it is wrong with this probability at most
    #[arg(long, value_name = "P", default_value_t = 1e-5, value_parser = within(1e-12..=0.5, ""))]
    pub(super) odds: f64,
    /// Let a plain amplitude receiver (rectifier, slicer, CRC) try the same captures
    #[arg(long)]
    pub(super) compare: bool,
    /// Let a decoder that is told everything but the number try them too: what no receiver can beat
    #[arg(long)]
    pub(super) limit: bool,
    /// Let the scenario's second reader read too, each a tag of its own, and count how often both do
    #[arg(long, conflicts_with_all = ["compare", "limit", "decoder", "keep", "gather", "from"])]
    pub(super) both: bool,
    /// Keep the table in this file
    #[arg(long, value_name = "FILE")]
    pub(super) csv: Option<PathBuf>,
    /// Draw the shares read: curves with bands, or a map for two --vary
    #[arg(long, value_name = "FILE.png|.svg", value_parser = crate::command::figure_file::figure_file)]
    pub(super) figure: Option<FigureFile>,
    /// Go on where the table in --csv ends
    #[arg(long, requires = "csv")]
    pub(super) resume: bool,
    /// Run part I of N only: every N-th capture
    #[arg(long, value_name = "I/N", value_parser = super::kept::part_of, requires = "csv", conflicts_with = "until")]
    pub(super) part: Option<Part>,
    /// Join the tables of all parts; nothing is run
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with_all = ["vary", "resume", "part", "until"])]
    pub(super) gather: Vec<PathBuf>,
    /// Keep every capture (WAV) in this new folder, with a list (index.csv): file, values, trial, rate, numbers sent, and whether the
    /// program's own receiver read it
    #[arg(long, value_name = "DIR", conflicts_with_all = ["resume", "part", "until", "gather"])]
    pub(super) keep: Option<PathBuf>,
    /// Count what was read elsewhere in the captures of a folder that --keep wrote; nothing is run
    #[arg(long, value_name = "DIR", requires = "answers", conflicts_with_all = ["vary", "keep", "gather", "resume", "part", "until", "decoder"])]
    pub(super) from: Option<PathBuf>,
    /// What was read: a row a capture, its file and the number (15 digits, CCC:N or CCC N) or nothing
    #[arg(long, value_name = "FILE.csv", requires = "from")]
    pub(super) answers: Option<PathBuf>,
    /// Count what a reader printed while a load and interference were played to it: rows of a time and the number (15 digits, CCC:N or
    /// CCC N); nothing is run
    #[arg(long, value_name = "FILE.csv", requires_all = ["timetable", "ids"], conflicts_with_all = ["vary", "keep", "gather", "from", "resume", "part", "until", "decoder", "compare", "limit"])]
    pub(super) log: Option<PathBuf>,
    /// What was played when: columns from, to and what was varied, a row a trial
    #[arg(long, value_name = "FILE.csv", requires = "log")]
    pub(super) timetable: Option<PathBuf>,
    /// Make of each row of the timetable trials of this length, seconds
    #[arg(long, value_name = "S", requires = "log", value_parser = within(0.01..=3600.0, "s"))]
    pub(super) every: Option<f64>,
    /// Print one JSON object
    #[arg(long)]
    pub(super) json: bool,
    #[command(flatten)]
    pub(super) decoder: DecoderArguments,
    #[command(flatten)]
    pub(super) signal: SignalArguments,
}
