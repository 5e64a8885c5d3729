//! `fieldripple margin`: how much breaks the reading.

mod captures;
mod decoder;
mod figure;
mod json;
mod kept;
mod paired;
mod progress;
mod text;
mod vary;

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail, ensure};
use fieldripple::capture::read_description;
use fieldripple::margin::{
    Axis, Contestant, Draw, Outside, Part, Plan, Table, Trial, can_be_told, run as run_plan,
};

use super::figure_file::FigureFile;
use super::interrupt::{leave_nothing_unfinished, stop_on_request};
use super::signal::SignalArguments;
use super::values::{whole_within, within};
use captures::Keeper;
use decoder::{Decoder, DecoderArguments};
use kept::PlanFile;
use progress::Watch;
use vary::Maker;

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
        value_parser = vary::axis,
        required_unless_present_any = ["gather", "from"]
    )]
    vary: Vec<Axis>,
    /// Captures at each value, 1 to 1000000
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = whole_within(1..=1_000_000, ""))]
    trials: u64,
    /// Go on, --trials at a time, until the 95 % interval is as narrow as this share, 0.002 to 1
    #[arg(long, value_name = "WIDTH", value_parser = within(0.002..=1.0, ""))]
    until: Option<f64>,
    /// A number counts as read when it is wrong with this probability at most
    #[arg(long, value_name = "P", default_value_t = 1e-5, value_parser = within(1e-12..=0.5, ""))]
    odds: f64,
    /// Let a plain amplitude receiver (rectifier, slicer, CRC) try the same captures
    #[arg(long)]
    compare: bool,
    /// Let a decoder that is told everything but the number try them too: what no receiver can beat
    #[arg(long)]
    limit: bool,
    /// Let the scenario's second reader read too, each a tag of its own, and count how often both do
    #[arg(long, conflicts_with_all = ["compare", "limit", "decoder", "keep", "gather", "from"])]
    both: bool,
    /// Keep the table in this file
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw the shares read: curves with bands, or a map for two --vary
    #[arg(long, value_name = "FILE.png|.svg", value_parser = super::figure_file::figure_file)]
    figure: Option<FigureFile>,
    /// Go on where the table in --csv ends
    #[arg(long, requires = "csv")]
    resume: bool,
    /// Run part I of N only: every N-th capture
    #[arg(long, value_name = "I/N", value_parser = kept::part_of, requires = "csv", conflicts_with = "until")]
    part: Option<Part>,
    /// Join the tables of all parts; nothing is run
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with_all = ["vary", "resume", "part", "until"])]
    gather: Vec<PathBuf>,
    /// Keep every capture (WAV) in this new folder, with a list (index.csv): file, values, trial, rate, numbers sent, and whether the
    /// program's own receiver read it
    #[arg(long, value_name = "DIR", conflicts_with_all = ["resume", "part", "until", "gather"])]
    keep: Option<PathBuf>,
    /// Count what was read elsewhere in the captures of a folder that --keep wrote; nothing is run
    #[arg(long, value_name = "DIR", requires = "answers", conflicts_with_all = ["vary", "keep", "gather", "resume", "part", "until", "decoder"])]
    from: Option<PathBuf>,
    /// What was read: a row a capture, its file and the number (15 digits, CCC:N or CCC N) or nothing
    #[arg(long, value_name = "FILE.csv", requires = "from")]
    answers: Option<PathBuf>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    decoder: DecoderArguments,
    #[command(flatten)]
    signal: SignalArguments,
}

/// Runs or joins, and shows the table.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let figure = arguments.figure.as_ref().map(FigureFile::path);
    leave_nothing_unfinished(arguments.csv.as_deref().into_iter().chain(figure));
    if let (Some(folder), Some(answers)) = (&arguments.from, &arguments.answers) {
        let counted = captures::counted(folder, answers)?;
        for note in &counted.notes {
            eprintln!("fieldripple: note: {note}");
        }
        let saved = match &arguments.csv {
            Some(csv) => kept::write_csv(csv, &counted.table),
            None => Ok(()),
        };
        let shown = show(arguments, &counted.table, &counted.names, None, true);
        return saved.and(shown);
    }
    if arguments.gather.is_empty() {
        count(arguments)
    } else {
        let (table, plan) = kept::gather(&arguments.gather)?;
        let axes = table.points().first().map_or(1, Vec::len);
        let names = plan.as_ref().map_or_else(
            || vec!["value".to_string(), "value2".into()][..axes].to_vec(),
            |plan| plan.vary.clone(),
        );
        let saved = match &arguments.csv {
            Some(csv) => kept::write_csv(csv, &table).and_then(|()| match &plan {
                Some(plan) => kept::write_plan(csv, plan),
                None => Ok(()),
            }),
            None => Ok(()),
        };
        let shown = show(arguments, &table, &names, plan.as_ref(), true);
        saved.and(shown)
    }
}

fn count(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    ensure!(
        arguments.vary.len() <= 2,
        "--vary is given {} times; allowed is once or twice",
        arguments.vary.len()
    );
    let names: Vec<String> = arguments
        .vary
        .iter()
        .map(|axis| axis.name.clone())
        .collect();
    if names.len() == 2 && names[0] == names[1] {
        bail!("--vary {} is given twice", names[0]);
    }
    let points = points(&arguments.vary)?;
    let maker = Maker::new(&arguments.signal, &arguments.vary, &points, arguments.both)?;
    let mut receivers = vec![Contestant::Own];
    if arguments.both {
        receivers.extend([Contestant::Second, Contestant::Both]);
    }
    if arguments.compare {
        receivers.push(Contestant::Plain);
    }
    if arguments.limit {
        let first = maker.scene(0, &Draw::new(maker.seed, &points[0], 0))?;
        ensure!(
            can_be_told(&first),
            "--limit goes with one tag whose ripple is given by flags, in a steady field seen directly, with --ebn0"
        );
        receivers.push(Contestant::Limit);
    }
    let decoder = Decoder::new(&arguments.decoder)?;
    if let Some(decoder) = &decoder {
        receivers.push(Contestant::Yours);
        let draw = Draw::new(maker.seed, &points[0], 0);
        let scene = maker.scene(0, &draw)?;
        decoder.rehearse(&Trial {
            point: 0,
            number: 0,
            draw: &draw,
            scene: &scene,
            recording: &scene.record(),
        })?;
    }
    let keeper = match &arguments.keep {
        Some(folder) => {
            let draw = Draw::new(maker.seed, &points[0], 0);
            let like = maker.scene(0, &draw)?.record();
            Some(Keeper::new(
                folder,
                &names,
                &points,
                &like,
                arguments.trials,
            )?)
        }
        None => None,
    };
    let mut table = Table::new(&receivers, &points);
    let part = arguments.part.unwrap_or(Part::WHOLE);
    let kept = plan_file(arguments, &names, &receivers, part, maker.seed)?;
    if let Some(csv) = &arguments.csv {
        if arguments.resume {
            kept::resume(csv, &kept, &mut table)?;
        }
        kept::write_plan(csv, &kept)?;
        // Plan and table belong together from the start, and a place that cannot be written to shows before the first trial.
        kept::write_csv(csv, &table)?;
    }
    let scene = |point: usize, draw: &Draw| maker.scene(point, draw);
    let plan = Plan {
        points,
        receivers,
        odds: arguments.odds,
        seed: maker.seed,
        trials: arguments.trials,
        until: arguments.until,
        part,
        scene: &scene,
        outside: decoder.as_ref().map(|decoder| decoder as &dyn Outside),
        // Captures that cannot be written are no fault of the decoder: they end the run and are not counted.
        witness: Some(&|trial, outcomes| {
            if let Some(keeper) = &keeper {
                keeper.keep(trial, outcomes[0])?;
            }
            decoder.as_ref().map_or(Ok(()), Decoder::trouble)
        }),
    };
    let watch = Watch::new(arguments.csv.as_deref(), table.trials());
    let outcome = run_plan(&plan, &mut table, stop_on_request(), &|now, table| {
        watch.see(now, table);
    });
    watch.end();
    let saved = match &arguments.csv {
        Some(csv) => kept::write_csv(csv, &table),
        None => Ok(()),
    };
    let listed = keeper.map_or(Ok(()), Keeper::finish);
    let complete = outcome?;
    listed?;
    // What was counted is shown even where it could not be kept.
    let shown = show(arguments, &table, &names, Some(&kept), complete);
    saved.and(shown)
}

/// Every value of the first axis with every value of the second.
fn points(axes: &[Axis]) -> anyhow::Result<Vec<Vec<f64>>> {
    const MOST: usize = 10_000;
    let points: Vec<Vec<f64>> = match axes {
        [only] => only.values.iter().map(|&value| vec![value]).collect(),
        [first, second] => {
            let number = first.values.len() * second.values.len();
            ensure!(number <= MOST, "{number} points; allowed are {MOST}");
            let pairs = first.values.iter();
            pairs
                .flat_map(|&a| second.values.iter().map(move |&b| vec![a, b]))
                .collect()
        }
        _ => Vec::new(),
    };
    Ok(points)
}

fn plan_file(
    arguments: &Arguments,
    names: &[String],
    receivers: &[Contestant],
    part: Part,
    seed: u64,
) -> anyhow::Result<PlanFile> {
    let mut settings = arguments.signal.clone();
    // Its text counts, not where it stands.
    let scenario = settings
        .scenario
        .take()
        .map(|path| read_description(&path).with_context(|| path.display().to_string()))
        .transpose()?;
    settings.seed = None;
    let name = if arguments.signal.is_scenario() {
        Some(super::signal::scenario(&arguments.signal)?.name)
    } else {
        None
    };
    Ok(PlanFile {
        schema: kept::SCHEMA.into(),
        program: concat!("fieldripple ", env!("CARGO_PKG_VERSION")).into(),
        about: figure::about(&settings, names, name.as_deref()),
        vary: names.to_vec(),
        settings: kept::Flags::of(&settings),
        scenario,
        seed,
        odds: arguments.odds,
        until: arguments.until,
        receivers: receivers.iter().map(|one| one.name().to_string()).collect(),
        decoder: arguments.decoder.plan(),
        part: kept::part(part),
        trials: arguments.trials,
    })
}

fn show(
    arguments: &Arguments,
    table: &Table,
    names: &[String],
    plan: Option<&PlanFile>,
    complete: bool,
) -> anyhow::Result<ExitCode> {
    let mut drawn = Ok(());
    if let Some(file) = &arguments.figure {
        // A joined table does not know the flags that theory needs.
        let theory = if arguments.gather.is_empty() && arguments.from.is_none() {
            figure::theory(table, names, &arguments.signal)
        } else {
            Vec::new()
        };
        drawn = figure::draw(file, table, names, plan, theory);
    }
    let odds = plan.map(|plan| plan.odds);
    let printed = if arguments.json {
        let object = json::object(table, names, odds, plan.map(|plan| plan.seed), complete);
        super::print(&format!("{object}\n"))
    } else {
        let page = text::page(table, names, odds) + &paired::lines(table, names);
        super::print(&page)
    };
    drawn?;
    printed?;
    if complete {
        return Ok(ExitCode::SUCCESS);
    }
    let how = match &arguments.csv {
        Some(_) => "the same command with --resume goes on",
        None => "with --csv the rest could have been added later",
    };
    eprintln!(
        "fieldripple: note: ended early; the table holds the {} captures done, {how}",
        table.trials()
    );
    Ok(ExitCode::from(1))
}
