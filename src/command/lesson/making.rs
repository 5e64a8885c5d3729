//! Runs the lesson's commands: makes captures, reads them, and puts files where they belong.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::Context;
use fieldripple::capture::{read_description, write_atomically};
use fieldripple::draw::Beside;
use fieldripple::lesson::{Evidence, Exercise, Recipe, Scale, Settings, Taken, reference};
use fieldripple::page::view;
use rayon::prelude::*;
use serde_json::Value;

use super::super::synth::{self, Asked};
use super::super::{decode, parsed};

/// Writes files into a folder, with the folders they need.
pub fn write(folder: &Path, files: &[(String, impl AsRef<[u8]>)]) -> anyhow::Result<()> {
    for (name, content) in files {
        let path = folder.join(name);
        make_room(&path)?;
        write_atomically(&path, |file| file.write_all(content.as_ref()))
            .with_context(|| path.display().to_string())?;
    }
    Ok(())
}

fn make_room(path: &Path) -> anyhow::Result<()> {
    let parent = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(parent).with_context(|| parent.display().to_string())
}

/// Makes and reads all captures, in the order asked for.
pub fn take_all(
    folder: &Path,
    settings: &Settings,
    recipes: &[Recipe],
) -> anyhow::Result<Vec<Taken>> {
    let taken = |recipes: &[&Recipe], first: &[Taken]| -> anyhow::Result<Vec<Taken>> {
        recipes
            .par_iter()
            .map(|recipe| {
                let beside = beside(recipe, settings, first);
                take(folder, recipe, beside).with_context(|| recipe.synth_command())
            })
            .collect()
    };
    // What others are compared with comes first.
    let (others, first): (Vec<&Recipe>, Vec<&Recipe>) = recipes
        .iter()
        .partition(|recipe| matches!(recipe.beside, Scale::Ghost(_)));
    let first = taken(&first, &[])?;
    let others = taken(&others, &first)?;
    let mut all: Vec<Taken> = first.into_iter().chain(others).collect();
    all.sort_by_key(|taken| recipes.iter().position(|recipe| *recipe == taken.recipe));
    Ok(all)
}

/// What a capture's figures are drawn beside.
fn beside(recipe: &Recipe, settings: &Settings, first: &[Taken]) -> Option<Beside> {
    match &recipe.beside {
        Scale::Own => None,
        Scale::Ghost(name) => first
            .iter()
            .find(|taken| taken.recipe.name == *name)
            .map(|taken| taken.ghost.clone()),
        Scale::Depths(depths) => {
            let reach = Some(100.0 * settings.depth * depths);
            Some(Beside {
                envelope_reach: reach,
                phasor_reach: reach,
                eye_reach: reach,
                ..Beside::default()
            })
        }
    }
}

fn truth_path(capture: &Path) -> PathBuf {
    let mut name = capture.as_os_str().to_os_string();
    name.push(".truth.json");
    name.into()
}

/// Makes a capture as its command does and returns its truth.
fn make(folder: &Path, recipe: &Recipe) -> anyhow::Result<Value> {
    let words = recipe.synth_words();
    let arguments: synth::Arguments = parsed(&words)?;
    let file = folder.join(recipe.file());
    make_room(&file)?;
    synth::make(&arguments.asked(Asked {
        folder: folder.to_owned(),
        command: words,
    }))?;
    Ok(serde_json::from_str(&read_description(&truth_path(
        &file,
    ))?)?)
}

fn take(folder: &Path, recipe: &Recipe, beside: Option<Beside>) -> anyhow::Result<Taken> {
    let truth = make(folder, recipe)?;
    let file = folder.join(recipe.file());
    let report = decode::read(&file, &recipe.file())?;
    let view = match beside {
        Some(beside) => view(&report).beside(beside),
        None => view(&report),
    };
    let taken = Taken::new(Evidence {
        recipe,
        view: &view,
        printed: decode::printed(&report),
        decoded: report.to_json(),
        truth,
    })?;
    if !recipe.kept {
        fs::remove_file(&file)?;
        fs::remove_file(truth_path(&file))?;
    }
    Ok(taken)
}

/// What `decode --json` prints of a capture.
fn decoded(folder: &Path, recipe: &Recipe) -> anyhow::Result<Value> {
    let report = decode::read(&folder.join(recipe.file()), &recipe.file())?;
    Ok(report.to_json())
}

/// Makes the captures of exercises beside their reference. What cannot be solved is drawn anew: the exercises as they are in the end
/// are returned, with their truth by name, which goes to the teacher's folder.
pub fn exercises(
    folder: &Path,
    settings: &Settings,
    drawn: Vec<Exercise>,
) -> anyhow::Result<(Vec<Exercise>, BTreeMap<String, Value>)> {
    let teacher = folder.join("teacher");
    fs::create_dir_all(&teacher).with_context(|| teacher.display().to_string())?;
    let hide = |recipe: &Recipe| -> anyhow::Result<()> {
        let from = truth_path(&folder.join(recipe.file()));
        let name = from.file_name().context("a truth file has a name")?;
        Ok(fs::rename(&from, teacher.join(name))?)
    };
    let bench = reference(settings);
    make(folder, &bench).with_context(|| bench.synth_command())?;
    hide(&bench)?;
    let on_a_good_day = decoded(folder, &bench)?;
    let solvable = |mut exercise: Exercise| -> anyhow::Result<(Exercise, Value)> {
        loop {
            let recipe = &exercise.recipe;
            let truth = make(folder, recipe).with_context(|| recipe.synth_command())?;
            if exercise.is_told_by(&decoded(folder, recipe)?, &on_a_good_day) {
                hide(recipe)?;
                return Ok((exercise, truth));
            }
            exercise = exercise.redrawn(settings).with_context(|| {
                format!(
                    "{}: drawn several times and never to be solved; take another --seed",
                    recipe.file()
                )
            })?;
        }
    };
    let made: Vec<(Exercise, Value)> = drawn
        .into_par_iter()
        .map(solvable)
        .collect::<anyhow::Result<_>>()?;
    let truths = made
        .iter()
        .map(|(exercise, truth)| (exercise.recipe.name.clone(), truth.clone()))
        .collect();
    Ok((
        made.into_iter().map(|(exercise, _)| exercise).collect(),
        truths,
    ))
}
