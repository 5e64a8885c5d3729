//! `fieldripple margin`: how much breaks the reading.

mod arguments;
mod captures;
mod decoder;
mod figure;
mod json;
mod kept;
mod logged;
mod paired;
mod progress;
mod rows;
mod text;
mod timetable;
mod vary;

use std::process::ExitCode;

use anyhow::{Context, bail, ensure};
use fieldripple::capture::read_description;
use fieldripple::margin::{
    Axis, Contestant, Draw, Outside, Part, Plan, Scene, Table, Trial, can_be_told, run as run_plan,
};

use super::figure_file::FigureFile;
use super::interrupt::{leave_nothing_unfinished, stop_on_request};
pub use arguments::Arguments;

use captures::Keeper;
use decoder::Decoder;
use kept::PlanFile;
use progress::Watch;
use vary::Maker;

/// Runs or joins, and shows the table.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let figure = arguments.figure.as_ref().map(FigureFile::path);
    leave_nothing_unfinished(arguments.csv.as_deref().into_iter().chain(figure));
    if let Some(counted) = counted_elsewhere(arguments)? {
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

/// What others read, in kept captures or of what was played to them.
fn counted_elsewhere(arguments: &Arguments) -> anyhow::Result<Option<captures::Counted>> {
    if let (Some(folder), Some(answers)) = (&arguments.from, &arguments.answers) {
        return captures::counted(folder, answers).map(Some);
    }
    let (Some(log), Some(timetable)) = (&arguments.log, &arguments.timetable) else {
        return Ok(None);
    };
    let [id] = arguments.signal.ids.as_slice() else {
        bail!(
            "--id is given {} times; --log goes with the number of one tag",
            arguments.signal.ids.len()
        );
    };
    let sent = (id.country, id.national);
    logged::counted(log, timetable, arguments.every, sent).map(Some)
}

fn count(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let names = axes(&arguments.vary)?;
    let points = points(&arguments.vary)?;
    let maker = Maker::new(&arguments.signal, &arguments.vary, &points, arguments.both)?;
    let mut receivers = own_receivers(arguments, &maker, &points)?;
    let decoder = Decoder::new(&arguments.decoder)?;
    if let Some(decoder) = &decoder {
        receivers.push(Contestant::Yours);
        rehearse(decoder, &maker, &points[0])?;
    }
    let keeper = match &arguments.keep {
        Some(folder) => {
            let like = first_scene(&maker, &points[0])?.record();
            let keeper = Keeper::new(folder, &names, &points, &like, arguments.trials);
            Some(keeper?)
        }
        None => None,
    };
    let mut table = Table::new(&receivers, &points);
    let part = arguments.part.unwrap_or(Part::WHOLE);
    let kept = plan_file(arguments, &names, &receivers, part, maker.seed)?;
    begin_csv(arguments, &kept, &mut table)?;
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

/// Names of what is varied.
fn axes(vary: &[Axis]) -> anyhow::Result<Vec<String>> {
    ensure!(
        vary.len() <= 2,
        "--vary is given {} times; allowed is once or twice",
        vary.len()
    );
    let names: Vec<String> = vary.iter().map(|axis| axis.name.clone()).collect();
    if let [first, second] = names.as_slice()
        && first == second
    {
        bail!("--vary {first} is given twice");
    }
    Ok(names)
}

fn first_scene(maker: &Maker, point: &[f64]) -> anyhow::Result<Scene> {
    maker.scene(0, &Draw::new(maker.seed, point, 0))
}

/// Those of the program that the arguments ask for.
fn own_receivers(
    arguments: &Arguments,
    maker: &Maker,
    points: &[Vec<f64>],
) -> anyhow::Result<Vec<Contestant>> {
    let mut receivers = vec![Contestant::Own];
    if arguments.both {
        receivers.extend([Contestant::Second, Contestant::Both]);
    }
    if arguments.compare {
        receivers.push(Contestant::Plain);
    }
    if arguments.limit {
        ensure!(
            can_be_told(&first_scene(maker, &points[0])?),
            "--limit goes with one tag whose ripple is given by flags, in a steady field seen directly, with --ebn0"
        );
        receivers.push(Contestant::Limit);
    }
    Ok(receivers)
}

/// Shows the decoder one capture, so that what does not work at all shows before the first trial.
fn rehearse(decoder: &Decoder, maker: &Maker, point: &[f64]) -> anyhow::Result<()> {
    let draw = Draw::new(maker.seed, point, 0);
    let scene = maker.scene(0, &draw)?;
    decoder.rehearse(&Trial {
        point: 0,
        number: 0,
        draw: &draw,
        scene: &scene,
        recording: &scene.record(),
    })
}

/// Plan and table belong together from the start, and a place that cannot be written to shows before the first trial.
fn begin_csv(arguments: &Arguments, plan: &PlanFile, table: &mut Table) -> anyhow::Result<()> {
    let Some(csv) = &arguments.csv else {
        return Ok(());
    };
    if arguments.resume {
        kept::resume(csv, plan, table)?;
    }
    kept::write_plan(csv, plan)?;
    kept::write_csv(csv, table)
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
        let theory =
            if arguments.gather.is_empty() && arguments.from.is_none() && arguments.log.is_none() {
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
