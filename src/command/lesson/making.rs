//! Runs the lesson's commands: makes captures, reads them, and puts files where they belong.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::Context;
use rayon::prelude::*;
use ripplemark::capture::{read_description, write_atomically};
use ripplemark::lesson::{Evidence, Recipe, Taken};
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
pub fn take_all(folder: &Path, recipes: &[Recipe]) -> anyhow::Result<Vec<Taken>> {
    recipes
        .par_iter()
        .map(|recipe| take(folder, recipe).with_context(|| recipe.synth_command()))
        .collect()
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

fn take(folder: &Path, recipe: &Recipe) -> anyhow::Result<Taken> {
    let truth = make(folder, recipe)?;
    let file = folder.join(recipe.file());
    let report = decode::read(&file, &recipe.file())?;
    let view = report.view();
    let taken = Taken::new(Evidence {
        recipe,
        view: &view,
        printed: report.printed(),
        decoded: serde_json::from_str(&report.json_line())?,
        truth,
    })?;
    if !recipe.kept {
        fs::remove_file(&file)?;
        fs::remove_file(truth_path(&file))?;
    }
    Ok(taken)
}

/// Makes the captures of exercises; their truth goes to the teacher's folder and is returned by name.
pub fn exercises(folder: &Path, recipes: &[Recipe]) -> anyhow::Result<BTreeMap<String, Value>> {
    let teacher = folder.join("teacher");
    fs::create_dir_all(&teacher).with_context(|| teacher.display().to_string())?;
    recipes
        .par_iter()
        .map(|recipe| {
            let truth = make(folder, recipe).with_context(|| recipe.synth_command())?;
            let from = truth_path(&folder.join(recipe.file()));
            let name = from.file_name().context("a truth file has a name")?;
            fs::rename(&from, teacher.join(name))?;
            Ok((recipe.name.clone(), truth))
        })
        .collect()
}
