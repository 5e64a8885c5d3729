//! A folder that fills: each capture is read once it is complete.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant, SystemTime};

use anyhow::Context;
use fieldripple::decode::decode_file;

use super::super::captures::{is_no_capture, may_be_capture};
use super::super::file_output::FileOutput;
use super::super::visits::VisitsOutput;
use super::super::{Arguments, json_line, text};
use crate::command::interrupt::stop_on_request;
use crate::command::{BAD_ARGUMENTS, closed_pipe, complain, print};

/// A file is complete when size and time of change were the same over two polls so far apart: writers flush more often than that while
/// they write (common practice, no source).
const POLL: Duration = Duration::from_millis(500);

/// How often a request to stop is looked for.
const STEP: Duration = Duration::from_millis(50);

/// What a file looked like.
type Stamp = (u64, Option<SystemTime>);

struct Seen {
    stamp: Stamp,
    since: Instant,
    done: bool,
}

/// Reads what is in the folder and what comes into it, oldest first, until told to stop.
pub fn run(folder: &Path, arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let stop = stop_on_request();
    let settings = arguments.settings();
    let look = text::Look::of_output();
    let mut visits = match &arguments.visits {
        Some(file) => Some(VisitsOutput::new(file, &[])?),
        None => None,
    };
    let mut files: HashMap<PathBuf, Seen> = HashMap::new();
    let (mut read, mut unread, mut unreadable) = (0u64, 0u64, 0u64);
    let mut first = true;
    let mut vanished = None;
    'following: while !stop.load(Ordering::Relaxed) {
        let polled = Instant::now();
        let complete = match complete(folder, arguments, &mut files) {
            Ok(complete) => complete,
            Err(error) => {
                vanished = Some(error);
                break;
            }
        };
        for path in complete {
            if stop.load(Ordering::Relaxed) {
                break 'following;
            }
            let outcome = decode_file(&path, &settings);
            let text = match outcome {
                Ok(decoded) => {
                    if decoded.is_read() {
                        read += 1;
                    } else {
                        unread += 1;
                    }
                    if let Some(visits) = &mut visits {
                        visits.add(&decoded)?;
                        visits.keep()?;
                    }
                    if arguments.json {
                        json_line(&decoded)
                    } else {
                        text::page(&decoded, std::mem::take(&mut first), look)
                    }
                }
                Err(error) if is_no_capture(&path, &error) => continue,
                Err(error) => {
                    unreadable += 1;
                    complain(&error.into());
                    continue;
                }
            };
            if let Err(error) = print(&text) {
                if closed_pipe(&error) {
                    break 'following;
                }
                return Err(error);
            }
        }
        while polled.elapsed() < POLL && !stop.load(Ordering::Relaxed) {
            std::thread::sleep(STEP);
        }
    }
    if !arguments.json {
        let line = format!(
            "summary    {} captures: {read} read, {unread} unread, {unreadable} that cannot be read\n",
            read + unread + unreadable
        );
        print(&line)?;
    }
    if let Some(mut visits) = visits {
        visits.write()?;
    }
    if let Some(error) = vanished {
        return Err(error);
    }
    Ok(if unreadable > 0 {
        ExitCode::from(BAD_ARGUMENTS)
    } else {
        ExitCode::from(u8::from(read == 0 || unread > 0))
    })
}

/// Captures that have become complete, the oldest first.
fn complete(
    folder: &Path,
    arguments: &Arguments,
    files: &mut HashMap<PathBuf, Seen>,
) -> anyhow::Result<Vec<PathBuf>> {
    let entries = std::fs::read_dir(folder)
        .with_context(|| format!("{}: the folder cannot be read", folder.display()))?;
    let mut ready: Vec<(Option<SystemTime>, PathBuf)> = Vec::new();
    let mut present = Vec::new();
    for path in entries.flatten().map(|entry| entry.path()) {
        let Ok(metadata) = std::fs::metadata(&path) else {
            // Renamed or removed since.
            continue;
        };
        if !metadata.is_file() || !may_be_capture(&path, arguments.raw.is_some()) {
            continue;
        }
        present.push(path.clone());
        let stamp = (metadata.len(), metadata.modified().ok());
        let now = Instant::now();
        let seen = files.entry(path.clone()).or_insert(Seen {
            stamp,
            since: now,
            done: false,
        });
        if seen.stamp != stamp {
            *seen = Seen {
                stamp,
                since: now,
                done: false,
            };
        } else if !seen.done && stamp.0 > 0 && seen.since.elapsed() >= POLL {
            seen.done = true;
            ready.push((stamp.1, path));
        }
    }
    files.retain(|path, _| present.contains(path));
    ready.sort();
    Ok(ready.into_iter().map(|(_, path)| path).collect())
}
