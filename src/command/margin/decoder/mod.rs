//! `--decoder`: another program tries the same captures.

mod answer;
mod capture;
mod process;
mod words;

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use anyhow::{Context, ensure};
use fieldripple::capture::{Scratch, read_whole};
use fieldripple::margin::{Answer, Failure, Outside, Trial};
use serde::{Deserialize, Serialize};

pub use answer::number;
pub use capture::{Form, write_to};
use fieldripple::number::within;
use process::Staying;
use words::Words;

/// Who else is to read.
#[derive(Clone, Debug, clap::Args)]
pub struct DecoderArguments {
    /// Let a program of yours try the same captures: {file} stands for the capture, {rate} for its samples a second; it prints the
    /// number (15 digits, CCC:N or CCC N) or nothing
    #[arg(long, value_name = "COMMAND", value_parser = words::command)]
    pub decoder: Option<Words>,
    /// Form of the captures [default: wav]; without {file} in the command they go to its standard input
    #[arg(long, value_enum, value_name = "FORM", requires = "decoder")]
    pub decoder_input: Option<Form>,
    /// Start the program once a thread: it is given a line a capture, the file and the rate with a tab between, and answers each with
    /// a line
    #[arg(long, requires = "decoder")]
    pub decoder_stays: bool,
    /// Time for one capture, s
    #[arg(long, value_name = "S", requires = "decoder", default_value_t = 10.0, value_parser = within(0.001..=3600.0, "s"))]
    pub decoder_time: f64,
}

/// No capture is longer: as many samples as are allowed, complex, and a header.
const LONGEST: u64 = 128 << 20;

/// What a plan says of it: tables of different decoders are not joined.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DecoderPlan {
    pub command: String,
    pub input: String,
    pub stays: bool,
    pub time_s: f64,
}

impl DecoderArguments {
    fn form(&self) -> Form {
        self.decoder_input.unwrap_or(Form::Wav)
    }

    pub fn plan(&self) -> Option<DecoderPlan> {
        self.decoder.as_ref().map(|decoder| DecoderPlan {
            command: decoder.line.clone(),
            input: self.form().ending().into(),
            stays: self.decoder_stays,
            time_s: self.decoder_time,
        })
    }
}

/// The program, ready to be asked.
pub struct Decoder {
    words: Vec<String>,
    form: Form,
    stays: bool,
    /// The command names the file.
    by_file: bool,
    time: Duration,
    scratch: Scratch,
    captures: AtomicU64,
    idle: Mutex<Vec<Staying>>,
    /// What is no fault of the program: the captures cannot be written.
    trouble: Mutex<Option<anyhow::Error>>,
}

impl Decoder {
    /// `None` where no decoder is asked for.
    pub fn new(arguments: &DecoderArguments) -> anyhow::Result<Option<Self>> {
        let Some(decoder) = &arguments.decoder else {
            return Ok(None);
        };
        let by_file = decoder.words.iter().any(|word| word.contains("{file}"));
        ensure!(
            !(by_file && arguments.decoder_stays),
            "--decoder-stays gives the program its files line by line: leave {{file}} out of --decoder"
        );
        let place = std::env::temp_dir();
        // What stands there goes away when the run is stopped, too.
        crate::command::interrupt::leave_nothing_unfinished([place.join("x").as_path()]);
        Ok(Some(Self {
            words: decoder.words.clone(),
            form: arguments.form(),
            stays: arguments.decoder_stays,
            by_file,
            time: Duration::from_secs_f64(arguments.decoder_time),
            scratch: Scratch::new(&place, "fieldripple-margin")?,
            captures: AtomicU64::new(0),
            idle: Mutex::new(Vec::new()),
            trouble: Mutex::new(None),
        }))
    }

    /// Lets it try one capture whose answer does not count: a program that cannot be started shows before the first trial.
    pub fn rehearse(&self, trial: &Trial<'_>) -> anyhow::Result<()> {
        self.tried(trial).map(|_| ())
    }

    /// What went wrong on this side.
    pub fn trouble(&self) -> anyhow::Result<()> {
        let mut trouble = self.trouble.lock().unwrap_or_else(PoisonError::into_inner);
        trouble.take().map_or(Ok(()), Err)
    }

    fn tried(&self, trial: &Trial<'_>) -> anyhow::Result<Answer> {
        let number = self.captures.fetch_add(1, Ordering::Relaxed);
        let ending = self.form.ending();
        let file = self.scratch.path().join(format!("{number}.{ending}"));
        write_to(&file, trial.recording, self.form)?;
        let rate_hz = trial.recording.signal().rate_hz.unwrap_or_default();
        let answer = self.asked(&file, rate_hz);
        fs::remove_file(&file).with_context(|| file.display().to_string())?;
        answer
    }

    fn asked(&self, file: &Path, rate_hz: f64) -> anyhow::Result<Answer> {
        let cannot = || format!("--decoder: {} cannot be started", self.words[0]);
        if self.stays {
            let waiting = self
                .idle
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .pop();
            let mut program = match waiting {
                Some(program) => program,
                None => {
                    let words = words::filled(&self.words, None, rate_hz);
                    Staying::start(&words).with_context(cannot)?
                }
            };
            let answer = program.ask(&format!("{}\t{rate_hz}", file.display()), self.time);
            let usable = !matches!(answer, Answer::Failed(Failure::TimedOut | Failure::Crashed));
            if usable {
                self.idle
                    .lock()
                    .unwrap_or_else(PoisonError::into_inner)
                    .push(program);
            }
            return Ok(answer);
        }
        let input = match self.by_file {
            true => None,
            false => Some(read_whole(file, LONGEST).with_context(|| file.display().to_string())?),
        };
        let words = words::filled(&self.words, self.by_file.then_some(file), rate_hz);
        process::once(&words, input, self.time).with_context(cannot)
    }
}

impl Outside for Decoder {
    fn read(&self, trial: &Trial<'_>) -> Answer {
        self.tried(trial).unwrap_or_else(|error| {
            self.trouble
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .get_or_insert(error);
            Answer::Failed(Failure::Crashed)
        })
    }
}
