//! `--follow` and `--device`: a stream, a file that grows, a folder that fills or a sound card, told as it happens.

mod folder;
mod followed;
mod lines;
#[cfg(feature = "cli")]
mod meter;
#[cfg(feature = "cli")]
mod meter_page;
mod pipeline;
#[cfg(feature = "cli")]
mod shown;
#[cfg(feature = "sound")]
pub mod sound;
#[cfg(any(feature = "sound", test))]
mod voice;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::Arguments;
use super::file_output::FileOutput;
use super::visits::VisitsOutput;
use followed::Followed;
use lines::Lines;
use pipeline::{News, Pipeline};

/// Runs until the stream ends or the program is told to stop.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    #[cfg(feature = "sound")]
    if let Some(name) = &arguments.device {
        return follow(&Followed::Device(name.clone()), arguments);
    }
    let path: &Path = match &arguments.captures[..] {
        [one] => one,
        more => anyhow::bail!(
            "--follow takes one stream, file or folder; {} were given",
            more.len()
        ),
    };
    if path.is_dir() {
        if arguments.sound {
            anyhow::bail!("--sound follows a stream or a device, not a folder");
        }
        return folder::run(path, arguments);
    }
    follow(&Followed::Path(path.to_owned()), arguments)
}

/// What shows the news as a picture that stands still, in place of lines.
trait Picture {
    /// Shows it. Says whether the end is asked for.
    fn show(&mut self, news: &News) -> anyhow::Result<bool>;

    /// Ends; what was remarked is still to be said.
    fn end(self: Box<Self>) -> Vec<String>;
}

/// A terminal shows a meter, and whatever else gets lines.
#[cfg(feature = "cli")]
fn picture(name: &str, arguments: &Arguments) -> anyhow::Result<Option<Box<dyn Picture>>> {
    use std::io::IsTerminal;

    let dumb = std::env::var_os("TERM").is_none_or(|term| term == "dumb" || term.is_empty());
    let shows = !arguments.json && std::io::stdout().is_terminal() && !dumb;
    Ok(match shows {
        true => Some(Box::new(meter::Meter::start(name)?)),
        false => None,
    })
}

/// The small program has no meter.
#[cfg(not(feature = "cli"))]
fn picture(_: &str, _: &Arguments) -> anyhow::Result<Option<Box<dyn Picture>>> {
    Ok(None)
}

fn follow(followed: &Followed, arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let name = followed.name();
    let mut visits = match &arguments.visits {
        Some(file) => Some(VisitsOutput::new(file, &[PathBuf::from(&name)])?),
        None => None,
    };
    #[cfg(feature = "sound")]
    let tone = match arguments.sound {
        true => Some(sound::Tone::start()?),
        false => None,
    };
    let mut pipeline = Pipeline::start(followed, &arguments.settings())?;
    let mut picture = picture(&name, arguments)?;
    let mut lines = Lines::new(arguments.json);
    let mut failed = None;
    let mut closed = false;
    let summary = loop {
        let news = pipeline.next();
        #[cfg(feature = "sound")]
        if let Some(tone) = &tone {
            tone.hear(&news);
        }
        if let (News::Event(event), Some(visits)) = (&news, &mut visits) {
            visits.add_event(&name, event)?;
        }
        if let News::Done(summary) = news {
            break Some(summary);
        }
        if let News::Failed(error) = news {
            failed = Some(error);
            break None;
        }
        match &mut picture {
            Some(picture) => {
                if picture.show(&news)? {
                    pipeline.stop();
                }
            }
            None if closed => {}
            None => {
                if let Err(error) = lines.print(&news) {
                    if !super::super::closed_pipe(&error) {
                        return Err(error);
                    }
                    // Nobody reads on: that is an end in good order.
                    closed = true;
                    pipeline.stop();
                }
            }
        }
    };
    let remarks = picture.map(|picture| picture.end()).unwrap_or_default();
    if !closed {
        for remark in &remarks {
            super::super::print(&lines::note(remark))?;
        }
        if let Some(summary) = &summary {
            super::super::print(&lines.summary(summary))?;
        }
    }
    let mut code = match &summary {
        Some(summary) if summary.is_read() || closed => ExitCode::SUCCESS,
        Some(_) => ExitCode::from(1),
        None => ExitCode::from(super::super::BAD_ARGUMENTS),
    };
    if let Some(error) = failed {
        super::super::complain(&error);
    }
    if let Some(mut visits) = visits
        && let Err(error) = visits.write()
    {
        super::super::complain(&error);
        code = ExitCode::from(super::super::BAD_ARGUMENTS);
    }
    Ok(code)
}
