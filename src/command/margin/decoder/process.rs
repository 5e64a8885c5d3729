//! A program that is given input, watched, and ended when its time is over.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use fieldripple::margin::{Answer, Failure};

use super::answer::{MOST, answer};

/// Time between two looks whether a program has ended.
const LOOK: Duration = Duration::from_millis(1);

fn started(words: &[String], input: Stdio, errors: Stdio) -> io::Result<Child> {
    Command::new(&words[0])
        .args(&words[1..])
        .stdin(input)
        .stdout(Stdio::piped())
        .stderr(errors)
        .spawn()
}

/// Runs a program once with this input and takes what it prints for its answer. An error is a program that cannot be started.
pub fn once(words: &[String], input: Option<Vec<u8>>, time: Duration) -> io::Result<Answer> {
    let stdin = if input.is_some() {
        Stdio::piped()
    } else {
        Stdio::null()
    };
    let mut child = started(words, stdin, Stdio::piped())?;
    let end = Instant::now() + time;
    if let (Some(input), Some(mut to)) = (input, child.stdin.take()) {
        // A program that has seen enough closes its input: no failure of ours.
        thread::spawn(move || to.write_all(&input));
    }
    let printed = gathered(child.stdout.take());
    let complaint = gathered(child.stderr.take());
    let status = loop {
        match child.try_wait()? {
            Some(status) => break status,
            None if Instant::now() >= end => {
                finish(&mut child);
                return Ok(Answer::Failed(Failure::TimedOut));
            }
            None => thread::sleep(LOOK),
        }
    };
    // What it left running may hold its output open: that is waited for no longer than the program itself.
    let left = || end.saturating_duration_since(Instant::now()).max(LOOK);
    let Ok(printed) = printed.recv_timeout(left()) else {
        return Ok(Answer::Failed(Failure::TimedOut));
    };
    let silent = || {
        complaint
            .recv_timeout(left())
            .is_ok_and(|text| text.is_empty())
    };
    let well = match status.code() {
        Some(0) => true,
        // The honest "nothing read" of many programs; one that fell over says something on the way.
        Some(1) => silent(),
        _ => false,
    };
    Ok(if well {
        answer(&printed)
    } else {
        Answer::Failed(Failure::Crashed)
    })
}

/// Everything that is printed, up to a little more than any answer; what follows is read and dropped, so that nobody waits.
fn gathered(from: Option<impl Read + Send + 'static>) -> Receiver<Vec<u8>> {
    let (send, receive) = channel();
    thread::spawn(move || {
        let mut text = Vec::new();
        if let Some(mut from) = from {
            let _ = (&mut from).take(MOST as u64 + 1).read_to_end(&mut text);
            let _ = io::copy(&mut from, &mut io::sink());
        }
        let _ = send.send(text);
    });
    receive
}

fn finish(child: &mut Child) {
    // It may have ended in between.
    let _ = child.kill();
    let _ = child.wait();
}

/// A program that stays: a line in for each capture, a line out.
pub struct Staying {
    child: Child,
    to: ChildStdin,
    lines: Receiver<String>,
}

impl Staying {
    pub fn start(words: &[String]) -> io::Result<Self> {
        let mut child = started(words, Stdio::piped(), Stdio::null())?;
        let (Some(to), Some(from)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(io::ErrorKind::BrokenPipe.into());
        };
        let (send, lines) = channel();
        thread::spawn(move || {
            let mut from = BufReader::new(from);
            loop {
                let mut line = Vec::new();
                match (&mut from).take(MOST as u64).read_until(b'\n', &mut line) {
                    Ok(1..) => {}
                    _ => return,
                }
                if send
                    .send(String::from_utf8_lossy(&line).into_owned())
                    .is_err()
                {
                    return;
                }
            }
        });
        Ok(Self { child, to, lines })
    }

    /// Its answer to one line. After a failure other than garbage it is of no more use.
    pub fn ask(&mut self, line: &str, time: Duration) -> Answer {
        if writeln!(self.to, "{line}")
            .and_then(|()| self.to.flush())
            .is_err()
        {
            return Answer::Failed(Failure::Crashed);
        }
        match self.lines.recv_timeout(time) {
            // Several numbers of one capture stand in one line, with commas between.
            Ok(line) => answer(line.replace(',', "\n").as_bytes()),
            Err(RecvTimeoutError::Timeout) => Answer::Failed(Failure::TimedOut),
            Err(RecvTimeoutError::Disconnected) => Answer::Failed(Failure::Crashed),
        }
    }
}

impl Drop for Staying {
    fn drop(&mut self) {
        finish(&mut self.child);
    }
}
