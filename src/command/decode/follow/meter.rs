//! The meter on a terminal: keys, the hold, and drawing.

use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event as Input, KeyCode, KeyEventKind, KeyModifiers};

use super::super::super::interrupt;
use super::Picture;
use super::meter_page;
use super::pipeline::News;
use super::shown::Shown;

/// Shortest time between two pictures: five a second and more, as news or the time come ten times a second.
const FRAME: Duration = Duration::from_millis(90);

/// A meter on the terminal, which is its former self again when this is dropped.
pub struct Meter {
    terminal: DefaultTerminal,
    shown: Shown,
    held: Option<Shown>,
    drawn: Instant,
    remarks: Vec<String>,
}

impl Meter {
    /// Takes the terminal; a panic gives it back.
    pub fn start(name: &str) -> anyhow::Result<Self> {
        let terminal = ratatui::try_init()?;
        interrupt::at_the_end(ratatui::restore);
        let shown = Shown {
            name: name.into(),
            ..Shown::default()
        };
        let mut meter = Self {
            terminal,
            shown,
            held: None,
            drawn: Instant::now(),
            remarks: Vec::new(),
        };
        meter.draw()?;
        Ok(meter)
    }

    /// Where no keys can be read, there are none.
    fn keys(&mut self) -> bool {
        let mut end = false;
        while event::poll(Duration::ZERO).unwrap_or(false) {
            let Ok(Input::Key(key)) = event::read() else {
                continue;
            };
            let control_c =
                key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL);
            match key.code {
                _ if key.kind == KeyEventKind::Release => {}
                _ if control_c => end = true,
                KeyCode::Char('q') | KeyCode::Esc => end = true,
                KeyCode::Char(' ') => {
                    self.held = match self.held.take() {
                        None => Some(Shown {
                            held: true,
                            ..self.shown.clone()
                        }),
                        Some(_) => None,
                    };
                }
                KeyCode::Char('r') => {
                    self.shown.peak_db = None;
                    if let Some(held) = &mut self.held {
                        held.peak_db = None;
                    }
                }
                _ => {}
            }
        }
        end
    }

    fn draw(&mut self) -> anyhow::Result<()> {
        self.drawn = Instant::now();
        let shown = self.held.as_ref().unwrap_or(&self.shown);
        self.terminal.draw(|frame| meter_page::draw(shown, frame))?;
        Ok(())
    }
}

impl Picture for Meter {
    /// Looks at the keys too.
    fn show(&mut self, news: &News) -> anyhow::Result<bool> {
        match news {
            News::Opened { unit } => self.shown.unit = unit,
            News::Event(event) => self.shown.take(event),
            News::Remark(text) => self.remarks.push(text.clone()),
            News::Tick { without } => self.shown.without = *without,
            News::Done(_) | News::Failed(_) => {}
        }
        let end = self.keys();
        if self.drawn.elapsed() >= FRAME {
            self.draw()?;
        }
        Ok(end)
    }

    /// Gives the terminal back.
    fn end(mut self: Box<Self>) -> Vec<String> {
        std::mem::take(&mut self.remarks)
    }
}

impl Drop for Meter {
    fn drop(&mut self) {
        ratatui::restore();
    }
}
