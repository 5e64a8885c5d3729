//! Three threads: one waits for samples, one looks at them, and the caller is told.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, channel, sync_channel};
use std::time::{Duration, Instant};

use fieldripple::decode::{DecodeError, Event, Live, Settings, Stream, Summary, Window};

use super::super::super::interrupt::stop_on_request;
use super::followed::Followed;
use fieldripple::decode::wording::of_level;

/// Blocks of a fiftieth of a second that may wait: two seconds. Then reading waits, and so does who writes.
const MOST_WAITING: usize = 100;

/// From so many waiting blocks on looks are taken less often: half a second late …
const HURRY_FROM: usize = 25;
/// … until so few wait.
const HURRY_UNTIL: usize = 5;

/// How often the caller is told the time, where nothing else happens: a meter shows four pictures a second and more.
const TICK: Duration = Duration::from_millis(100);

/// What the caller is told.
pub enum News {
    /// The stream was opened: the unit of its levels.
    Opened { unit: &'static str },
    /// Something happened.
    Event(Box<Event>),
    /// A remark on the stream.
    Remark(String),
    /// Time passed; how long since samples came last.
    Tick { without: Duration },
    /// The stream has ended.
    Done(Summary),
    /// The stream cannot be read.
    Failed(anyhow::Error),
}

enum Block {
    Opened(Box<Live>, &'static str),
    Samples(Window),
    Remarks(Vec<String>),
    Failed(DecodeError),
}

/// A stream being followed.
pub struct Pipeline {
    news: Receiver<News>,
    stop: Arc<AtomicBool>,
    requested: &'static AtomicBool,
    /// When samples came last, milliseconds after `begun`.
    last_ms: Arc<AtomicUsize>,
    /// Blocks that came and were not looked at.
    waiting: Arc<AtomicUsize>,
    begun: Instant,
    tick: Instant,
}

impl Pipeline {
    /// Begins to follow. What can be said against it at once is an error here; the rest comes as news.
    pub fn start(followed: &Followed, settings: &Settings) -> anyhow::Result<Self> {
        followed.check()?;
        let stop = Arc::new(AtomicBool::new(false));
        let last_ms = Arc::new(AtomicUsize::new(0));
        let waiting = Arc::new(AtomicUsize::new(0));
        let begun = Instant::now();
        let (blocks, incoming) = sync_channel(MOST_WAITING);
        let (tell, news) = channel();
        let reading = Reading {
            stop: Arc::clone(&stop),
            last_ms: Arc::clone(&last_ms),
            waiting: Arc::clone(&waiting),
            begun,
            blocks,
        };
        let (followed, settings) = (followed.clone(), settings.clone());
        let named = |name: &str| std::thread::Builder::new().name(name.into());
        // This one may wait for samples that never come: the end of the program ends it.
        named("samples").spawn(move || reading.run(&followed, &settings))?;
        let (stopped, behind) = (Arc::clone(&stop), Arc::clone(&waiting));
        named("receiver").spawn(move || look(&incoming, &behind, &stopped, &tell))?;
        Ok(Self {
            news,
            stop,
            requested: stop_on_request(),
            last_ms,
            waiting,
            begun,
            tick: Instant::now(),
        })
    }

    /// Asks for the end: what has come is looked at, then [`News::Done`] follows.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// The next news, ten times a second at least.
    pub fn next(&mut self) -> News {
        if self.requested.load(Ordering::Relaxed) {
            self.stop();
        }
        let left = TICK.saturating_sub(self.tick.elapsed());
        let news = if left.is_zero() {
            Err(RecvTimeoutError::Timeout)
        } else {
            self.news.recv_timeout(left)
        };
        match news {
            Ok(news) => news,
            Err(RecvTimeoutError::Timeout) => {
                self.tick = Instant::now();
                let last = Duration::from_millis(self.last_ms.load(Ordering::Relaxed) as u64);
                // While samples wait, it is not they that are missing.
                let without = match self.waiting.load(Ordering::Relaxed) {
                    0 => self.begun.elapsed().saturating_sub(last),
                    _ => Duration::ZERO,
                };
                News::Tick { without }
            }
            // Only a defect of the program ends the receiver without a word; its message has been printed.
            Err(RecvTimeoutError::Disconnected) => {
                News::Failed(anyhow::anyhow!("the receiver stopped; please report this"))
            }
        }
    }
}

struct Reading {
    stop: Arc<AtomicBool>,
    last_ms: Arc<AtomicUsize>,
    waiting: Arc<AtomicUsize>,
    begun: Instant,
    blocks: SyncSender<Block>,
}

impl Reading {
    /// The other side hangs up when the program is told to stop: then there is nobody left to tell.
    fn run(self, followed: &Followed, settings: &Settings) {
        if let Err(error) = self.read(followed, settings) {
            let _ = self.blocks.send(Block::Failed(error));
        }
    }

    fn read(&self, followed: &Followed, settings: &Settings) -> Result<(), DecodeError> {
        let mut stream = followed.open(settings, Arc::clone(&self.stop))?;
        let unit = of_level(stream.unit());
        let opened = Block::Opened(Box::new(stream.live()?), unit);
        let _ = self.blocks.send(opened);
        let mut told = Vec::new();
        while let Some(block) = stream.next_block()? {
            let now = self.begun.elapsed().as_millis();
            self.last_ms.store(now as usize, Ordering::Relaxed);
            self.waiting.fetch_add(1, Ordering::Relaxed);
            if self.blocks.send(Block::Samples(block)).is_err() {
                return Ok(());
            }
            self.remark(&stream, &mut told);
        }
        self.remark(&stream, &mut told);
        Ok(())
    }

    /// Remarks are told as they come: after Ctrl-C nothing else is waited for.
    fn remark(&self, stream: &Stream, told: &mut Vec<String>) {
        let mut remarks = stream.remarks();
        remarks.retain(|remark| !told.contains(remark));
        if !remarks.is_empty() {
            told.extend_from_slice(&remarks);
            let _ = self.blocks.send(Block::Remarks(remarks));
        }
    }
}

/// Looks at what comes until there is no more, or what has come is looked at after a request to stop.
fn look(incoming: &Receiver<Block>, waiting: &AtomicUsize, stop: &AtomicBool, tell: &Sender<News>) {
    let mut live: Option<Live> = None;
    let mut hurried = false;
    // Blocks still to be looked at once the end was asked for: those that had come by then.
    let mut left: Option<usize> = None;
    // Where nobody listens any more, the program is ending.
    let say = |news: News| drop(tell.send(news));
    while left != Some(0) {
        if left.is_none() && stop.load(Ordering::Relaxed) {
            left = Some(waiting.load(Ordering::Relaxed));
            continue;
        }
        let block = match incoming.recv_timeout(TICK) {
            Ok(block) => block,
            Err(RecvTimeoutError::Timeout) if !stop.load(Ordering::Relaxed) => continue,
            Err(_) => break,
        };
        match block {
            Block::Opened(opened, unit) => {
                live = Some(*opened);
                say(News::Opened { unit });
            }
            Block::Samples(window) => {
                let behind = waiting.fetch_sub(1, Ordering::Relaxed);
                left = left.map(|left| left.saturating_sub(1));
                hurried = behind > if hurried { HURRY_UNTIL } else { HURRY_FROM };
                if let Some(live) = &mut live {
                    live.hurry(hurried);
                    for event in live.push_window(&window) {
                        say(News::Event(Box::new(event)));
                    }
                }
            }
            Block::Remarks(remarks) => {
                for remark in remarks {
                    say(News::Remark(remark));
                }
            }
            Block::Failed(error) => {
                // What came before it counts; a stream that never began is an error and nothing else.
                if live.as_ref().is_none_or(|live| live.samples() == 0) {
                    return say(News::Failed(error.into()));
                }
                say(News::Remark(error.to_string()));
            }
        }
    }
    match live {
        Some(live) if live.samples() > 0 => {
            let (events, summary) = live.finish();
            for event in events {
                say(News::Event(Box::new(event)));
            }
            say(News::Done(summary));
        }
        _ => say(News::Failed(anyhow::anyhow!(
            "no samples came before the end; at least one is needed"
        ))),
    }
}
