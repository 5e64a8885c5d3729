//! The rules that keep the program in its shape, checked in the source text itself.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Lines of code a file may have before its unit tests.
const LONGEST: usize = 400;

/// A file under `src/` without comments and unit tests.
struct Source {
    path: String,
    code: String,
}

impl Source {
    fn stage(&self) -> &str {
        let first = self.path.split('/').next().unwrap();
        first.trim_end_matches(".rs")
    }

    /// Stages of ours that the file names: `crate::stage`, `fieldripple::stage`, or `super::` up to the crate's root.
    fn names_stage(&self, stage: &str) -> bool {
        let depth = self.path.matches('/').count() + usize::from(!self.path.ends_with("/mod.rs"));
        let up = "super::".repeat(depth.max(1));
        [
            format!("crate::{stage}"),
            format!("fieldripple::{stage}"),
            format!("{up}{stage}"),
        ]
        .iter()
        .any(|name| holds_word(&self.code, name))
    }
}

/// `name` occurs and neither goes on nor begins inside a longer path.
fn holds_word(code: &str, name: &str) -> bool {
    code.match_indices(name).any(|(at, _)| {
        let before = code[..at].chars().next_back();
        let after = code[at + name.len()..].chars().next();
        let part = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':');
        !part(before) && !after.is_some_and(|c| c.is_alphanumeric() || c == '_')
    })
}

fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![root.clone()];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path: PathBuf = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                let inner = path.strip_prefix(&root).unwrap();
                // Unit tests that have a file of their own.
                if path.to_str().unwrap().ends_with("tests.rs") {
                    continue;
                }
                found.push(Source {
                    path: inner.to_str().unwrap().replace('\\', "/"),
                    code: without_comments_and_tests(&text),
                });
            }
        }
    }
    found.sort_by(|a, b| a.path.cmp(&b.path));
    assert!(found.len() > 50, "{} files", found.len());
    found
}

/// Unit tests stand at the end of a file. Comment lines stay as empty lines, so that lines can still be counted.
fn without_comments_and_tests(text: &str) -> String {
    let code = text.split("\n#[cfg(test)]").next().unwrap();
    code.lines()
        .map(|line| {
            let comment = line.trim_start().starts_with("//");
            if comment {
                "\n".into()
            } else {
                format!("{line}\n")
            }
        })
        .collect()
}

/// Files of these stages that break a rule.
fn offenders(rule: impl Fn(&Source) -> bool) -> Vec<String> {
    sources()
        .into_iter()
        .filter(|source| rule(source))
        .map(|source| source.path)
        .collect()
}

const NONE: [&str; 0] = [];

/// Stage by stage, what a stage may build on. A stage that is not listed here belongs in this table first.
const MAY_USE: [(&str, &[&str]); 21] = [
    ("threads", &[]),
    ("order", &[]),
    ("number", &[]),
    ("telegram", &[]),
    ("linecode", &["telegram"]),
    ("capture", &["threads", "order"]),
    ("receiver", &["telegram", "linecode", "threads", "order"]),
    ("world", &["telegram", "linecode"]),
    ("findings", &["telegram", "linecode", "receiver"]),
    (
        "decode",
        &[
            "telegram", "linecode", "capture", "receiver", "findings", "number",
        ],
    ),
    (
        "margin",
        &["telegram", "linecode", "receiver", "world", "findings"],
    ),
    ("bench_fit", &["telegram", "receiver", "threads", "world"]),
    ("link", &["telegram", "linecode", "world"]),
    (
        "draw",
        &[
            "telegram", "linecode", "receiver", "findings", "margin", "link", "capture",
        ],
    ),
    (
        "page",
        &[
            "telegram", "linecode", "capture", "receiver", "findings", "decode", "draw", "number",
        ],
    ),
    (
        "play",
        &[
            "telegram", "linecode", "capture", "receiver", "world", "link", "decode", "page",
        ],
    ),
    (
        "lesson",
        &[
            "telegram", "linecode", "receiver", "world", "findings", "margin", "link", "draw",
            "page", "play", "capture",
        ],
    ),
    (
        "command",
        &[
            "telegram",
            "linecode",
            "capture",
            "receiver",
            "world",
            "bench_fit",
            "findings",
            "decode",
            "margin",
            "link",
            "draw",
            "page",
            "lesson",
            "number",
        ],
    ),
    ("browser", &["play"]),
    ("lib", &[]),
    ("main", &["command"]),
];

#[test]
fn a_stage_uses_only_the_stages_before_it() {
    let stages: Vec<&str> = MAY_USE.iter().map(|(stage, _)| *stage).collect();
    for source in sources() {
        let own = source.stage();
        let (_, allowed) = MAY_USE
            .iter()
            .find(|(stage, _)| *stage == own)
            .unwrap_or_else(|| panic!("{} belongs to no stage of the table", source.path));
        for stage in stages.iter().filter(|stage| **stage != own) {
            assert!(
                allowed.contains(stage) || !source.names_stage(stage),
                "{} uses {stage}",
                source.path
            );
        }
    }
}

/// So that neither can be tuned to the other's mistakes.
#[test]
fn receiver_and_world_do_not_know_each_other() {
    let known = offenders(|source| match source.stage() {
        "receiver" => source.code.contains("world::"),
        "world" => source.code.contains("receiver::"),
        _ => false,
    });
    assert_eq!(known, NONE);
}

#[test]
fn only_commands_print() {
    let printing = offenders(|source| {
        source.stage() != "command"
            && ["println!", "print!", "dbg!", "stdout()", "stderr()"]
                .iter()
                .any(|call| source.code.contains(call))
    });
    assert_eq!(printing, NONE);
}

#[test]
fn only_capture_opens_files() {
    let opening = offenders(|source| {
        source.stage() != "capture"
            && [
                "fs::File",
                " File::",
                "(File::",
                "fs::read(",
                "fs::read_to_string(",
                "fs::write(",
                "OpenOptions::new",
                "stdin()",
            ]
            .iter()
            .any(|call| source.code.contains(call))
    });
    assert_eq!(opening, NONE);
}

#[test]
fn files_are_short() {
    // The table of scenario keys is one list, and reads best in one place.
    for source in sources()
        .into_iter()
        .filter(|source| source.path != "world/scenario/keys.rs")
    {
        let lines = source.code.lines().count();
        assert!(
            lines <= LONGEST,
            "{} has {lines} lines, allowed are {LONGEST}: split it by ideas",
            source.path
        );
    }
}

/// Where a file stands in the tree of modules.
fn module_of(path: &str) -> Vec<&str> {
    let path = path.trim_end_matches(".rs");
    let mut parts: Vec<&str> = path.split('/').collect();
    if matches!(parts.last(), Some(&"mod" | &"lib" | &"main")) {
        parts.pop();
    }
    parts
}

/// Paths that a file's `use` lines name, from the crate's root. A list in braces is a path for each of its names.
fn used(source: &Source) -> Vec<Vec<String>> {
    let own = module_of(&source.path);
    let statements = source.code.split(';').filter_map(|statement| {
        let line = statement.rfind("use ").map(|at| &statement[at + 4..])?;
        let begins = statement.trim_start();
        (begins.starts_with("use ") || begins.starts_with("pub ") || begins.starts_with("#["))
            .then_some(line)
    });
    let mut paths = Vec::new();
    for statement in statements {
        let (head, names) = statement.split_once('{').unwrap_or((statement, ""));
        let mut head: Vec<&str> = head.trim().trim_end_matches("::").split("::").collect();
        let mut from: Vec<String> = match head[0] {
            "crate" | "fieldripple" => Vec::new(),
            "super" => {
                let up = head.iter().take_while(|part| **part == "super").count();
                let kept = own.len().saturating_sub(up);
                own[..kept].iter().map(|part| (*part).into()).collect()
            }
            // A module of the file's own, or another crate.
            _ => own.iter().map(|part| (*part).into()).collect(),
        };
        head.retain(|part| !matches!(*part, "crate" | "fieldripple" | "super"));
        from.extend(head.iter().map(|part| part.to_string()));
        let names = names.trim_end().trim_end_matches('}');
        for name in names.split(',').chain(std::iter::once("")) {
            let mut path = from.clone();
            let name = name.trim().split("::").next().unwrap_or_default();
            path.extend((!name.is_empty()).then(|| name.to_string()));
            paths.push(path);
        }
    }
    paths
}

/// Which files a file imports, those aside whose face it is or that are its own face.
fn imports(sources: &[Source]) -> BTreeMap<String, BTreeSet<String>> {
    let by_module: BTreeMap<Vec<&str>, &str> = sources
        .iter()
        .map(|source| (module_of(&source.path), source.path.as_str()))
        .collect();
    let imported = |source: &Source| {
        let own = module_of(&source.path);
        used(source)
            .into_iter()
            .filter_map(|path| {
                let path: Vec<&str> = path.iter().map(String::as_str).collect();
                let ends = (1..=path.len()).rev();
                let module = ends
                    .map(|end| &path[..end])
                    .find(|part| by_module.contains_key(*part))?;
                let related = own.starts_with(module) || module.starts_with(&own);
                (!related).then(|| by_module[module].to_string())
            })
            .collect()
    };
    sources
        .iter()
        .map(|source| (source.path.clone(), imported(source)))
        .collect()
}

/// Files that come back to themselves along their imports.
fn in_circles(imports: &BTreeMap<String, BTreeSet<String>>) -> Vec<&str> {
    let comes_back = |start: &str| {
        let mut seen = BTreeSet::new();
        let mut ahead: Vec<&str> = vec![start];
        while let Some(file) = ahead.pop() {
            for next in imports.get(file).into_iter().flatten() {
                if next == start {
                    return true;
                }
                if seen.insert(next.as_str()) {
                    ahead.push(next);
                }
            }
        }
        false
    };
    let files = imports.keys().map(String::as_str);
    files.filter(|file| comes_back(file)).collect()
}

/// What two files need of each other stands in a third one.
#[test]
fn files_do_not_import_each_other_in_circles() {
    let imports = imports(&sources());
    let arrows: usize = imports.values().map(BTreeSet::len).sum();
    assert!(arrows > 500, "{arrows} imports seen");
    assert_eq!(in_circles(&imports), NONE);
}

/// The checks above see what they look for.
#[test]
fn the_checks_recognise_offences() {
    let source = |path: &str, code: &str| Source {
        path: path.into(),
        code: code.into(),
    };
    let circle = [
        source("a/mod.rs", "mod x;\nmod y;\npub use x::X;\n"),
        source("a/x.rs", "use super::y::{Y, z};\n"),
        source("a/y.rs", "use crate::a::x::X;\nuse super::X;\n"),
        source("b.rs", "use super::a::y::Y;\n"),
    ];
    assert_eq!(in_circles(&imports(&circle)), ["a/x.rs", "a/y.rs"]);
    assert_eq!(in_circles(&imports(&circle[..2])), NONE);
    let source = |path: &str, code: &str| Source {
        path: path.into(),
        code: without_comments_and_tests(code),
    };
    let naming = "use crate::world::Pulses;\n";
    assert!(source("receiver/fold.rs", naming).names_stage("world"));
    assert!(source("receiver/fold.rs", "use super::super::world::X;").names_stage("world"));
    assert!(source("receiver/mod.rs", "use super::world;").names_stage("world"));
    assert!(!source("receiver/fold.rs", "use super::world;").names_stage("world"));
    assert!(!source("receiver/fold.rs", "use crate::worldly;").names_stage("world"));
    assert!(!source("receiver/fold.rs", "// use crate::world;").names_stage("world"));
    let tested = "fn a() {}\n#[cfg(test)]\nmod tests { use crate::world; }\n";
    assert!(!source("receiver/fold.rs", tested).names_stage("world"));
}
