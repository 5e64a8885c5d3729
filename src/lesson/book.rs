//! Captures and chapters → pages, or text.

use std::collections::BTreeMap;
use std::sync::Arc;

use minijinja::{Environment, Error, ErrorKind, UndefinedBehavior, Value, context};
use serde_json::json;

use super::LessonError;
use super::chapter::{CHAPTERS, Chapter};
use super::curves::work_out;
use super::decimal::decimal;
use super::division::divide;
use super::explore;
use super::long_division::{FIRST, long_division};
use super::markup::{to_html, to_text};
use super::parts::{ANSWER, ANSWERED, Form, Material};
use super::plan::Plan;
use super::settings::{Settings, typed};
use super::stepper::{biphase, halves, stepper};
use super::steps::steps;
use super::strip::strip;
use super::taken::{Taken, fixed, odds_words};
use crate::draw::palette;
use crate::page::{CAUTIONS, environment, groups, style_sheet};
use crate::receiver::{BIT, NOMINAL_HZ, TELEGRAM, needed_db};
use crate::telegram::{HALF_DUPLEX_HEADER, Telegram};
use crate::world::link::needed_ebn0_db;

/// A file of the lesson: name from the folder on, and content.
pub type PageFile = (String, Vec<u8>);

/// A lesson with everything that its pages show.
pub struct Book {
    settings: Settings,
    material: Material,
    values: serde_json::Value,
}

impl Book {
    /// Gathers captures for a page (`for_text` false) or for a terminal.
    ///
    /// # Errors
    /// The curves of the bench cannot be worked out or drawn.
    pub fn new(
        settings: &Settings,
        plan: Plan,
        taken: Vec<Taken>,
        for_text: bool,
    ) -> Result<Self, LessonError> {
        let worked = work_out()?;
        let captures: BTreeMap<String, Taken> = taken
            .into_iter()
            .map(|taken| (taken.recipe.name.clone(), taken))
            .collect();
        let values = values(settings, &plan, &captures, worked.values);
        Ok(Self {
            settings: *settings,
            values,
            material: Material {
                form: if for_text { Form::Text } else { Form::Page },
                plan,
                taken: captures,
                worked: worked.pictures,
            },
        })
    }

    /// A chapter as text for a terminal.
    ///
    /// # Errors
    /// A place in the chapter that cannot be filled.
    pub fn text(self, chapter: &Chapter) -> Result<String, LessonError> {
        let values = self.values.clone();
        let markdown = filled(&Arc::new(self), chapter, values)?;
        Ok(to_text(&format!(
            "# {}. {}\n\n{markdown}",
            chapter.number, chapter.title
        )))
    }

    /// All pages, figures, style and script.
    ///
    /// # Errors
    /// A place in a chapter that cannot be filled.
    pub fn pages(self, exercises: bool) -> Result<Vec<PageFile>, LessonError> {
        let book = Arc::new(self);
        let mut files: Vec<PageFile> = vec![
            (
                "lesson.css".into(),
                format!("{}{}", style_sheet(), include_str!("lesson.css")).into_bytes(),
            ),
            ("lesson.js".into(), include_str!("lesson.js").into()),
        ];
        for taken in book.material.taken.values() {
            for (panel, picture) in &taken.pictures {
                let name = format!("figures/{}-{panel}", taken.recipe.name);
                files.push((format!("{name}.svg"), picture.svg.clone().into_bytes()));
                if let Some(narrow) = &picture.narrow_svg {
                    files.push((format!("{name}-narrow.svg"), narrow.clone().into_bytes()));
                }
            }
        }
        for (name, picture) in &book.material.worked {
            files.push((
                format!("figures/curve-{name}.svg"),
                picture.svg.clone().into_bytes(),
            ));
        }
        let chapters: Vec<Value> = CHAPTERS.iter().map(listed).collect();
        let mut answers = Vec::new();
        for (place, chapter) in CHAPTERS.iter().enumerate() {
            let body = to_html(&filled(&book, chapter, book.values.clone())?);
            answers.push(context! {
                chapter => chapters[place],
                parts => answers_of(&body),
            });
            let neighbour = |at: Option<usize>| at.and_then(|at| chapters.get(at)).cloned();
            let page = environment().render_named_str(
                "chapter.html",
                include_str!("chapter.html"),
                context! {
                    title => format!("{}. {}", chapter.number, chapter.title),
                    body,
                    before => neighbour(place.checked_sub(1)),
                    after => neighbour(Some(place + 1)),
                    css => "",
                },
            )?;
            files.push((format!("{}.html", chapter.name), page.into_bytes()));
        }
        let sheet = environment().render_named_str(
            "answers.html",
            include_str!("answers.html"),
            context! { title => "Answers", answers, css => "" },
        )?;
        files.push(("answers.html".into(), sheet.into_bytes()));
        let index = environment().render_named_str(
            "index.html",
            include_str!("index.html"),
            context! {
                title => "The air interface of animal transponders",
                chapters,
                exercises,
                play => explore::PAGES,
                cautions => CAUTIONS,
                css => "",
                ..Value::from_serialize(&book.values)
            },
        )?;
        files.push(("index.html".into(), index.into_bytes()));
        files.extend(explore::pages(&book.settings, |name| {
            book.material.taken.get(name)
        })?);
        files.push(("captures.json".into(), book.results()));
        Ok(files)
    }

    /// Every capture with its command and what was read, for scripts.
    fn results(&self) -> Vec<u8> {
        let captures: Vec<serde_json::Value> = self
            .material
            .taken
            .values()
            .map(|taken| {
                json!({
                    "file": taken.recipe.file(),
                    "kept": taken.recipe.kept,
                    "command": taken.recipe.synth_command(),
                    "decoded": taken.decoded,
                })
            })
            .collect();
        let palette: BTreeMap<_, _> = palette().into_iter().collect();
        let all = json!({
            "schema": "fieldripple.lesson/1",
            "seed": self.settings.seed,
            "id": typed(&self.settings.identity),
            "palette": palette,
            "captures": captures,
        });
        format!("{all:#}\n").into_bytes()
    }
}

/// The answers of a chapter, as they stand in its page.
fn answers_of(page: &str) -> Vec<String> {
    page.split(ANSWER)
        .skip(1)
        .filter_map(|rest| rest.split(ANSWERED).next())
        // On the page of answers none is closed.
        .map(|answer| {
            answer
                .trim()
                .replacen("class=\"answer", "class=\"answered", 1)
        })
        .collect()
}

fn listed(chapter: &Chapter) -> Value {
    context! { number => chapter.number, name => chapter.name, title => chapter.title }
}

/// What chapters may quote.
fn values(
    settings: &Settings,
    plan: &Plan,
    taken: &BTreeMap<String, Taken>,
    bench: serde_json::Value,
) -> serde_json::Value {
    let telegram = settings.telegram();
    let bits = telegram.bits();
    let digits: String = bits
        .iter()
        .map(|&bit| if bit { '1' } else { '0' })
        .collect();
    let ones = bits.iter().filter(|&&bit| bit).count();
    let division = divide(&telegram);
    let captures: serde_json::Map<String, serde_json::Value> = taken
        .iter()
        .map(|(name, taken)| (name.replace('-', "_"), taken.values()))
        .collect();
    let odds: Vec<serde_json::Value> = [1e-3, 1e-4, 1e-5, 1e-6]
        .into_iter()
        .map(|odds| json!({"odds": odds_words(odds), "needed_db": needed_db(odds)}))
        .collect();
    let stops = |key: &str, axis: usize| -> Vec<String> {
        let explorer = plan.explorers.iter().find(|explorer| explorer.key == key);
        explorer.map_or(Vec::new(), |explorer| explorer.axes[axis].stops.clone())
    };
    let lengths: Vec<String> = stops("noise", 1)
        .iter()
        .map(|stop| stop.split(',').next().unwrap_or_default().to_string())
        .collect();
    let angle_deg = taken
        .get("field")
        .and_then(|taken| taken.decoded["readings"][0]["angle_deg"].as_f64());
    let counts: serde_json::Map<String, serde_json::Value> = plan
        .explorers
        .iter()
        .map(|explorer| {
            let read = explorer
                .positions
                .iter()
                .filter(|(_, name)| {
                    let taken = taken.get(name);
                    taken.is_some_and(|taken| !taken.numbers().is_empty())
                })
                .count();
            let all = explorer.positions.len();
            (explorer.key.into(), json!({"read": read, "all": all}))
        })
        .collect();
    json!({
        "hdx": half_duplex(settings, taken),
        "counts": counts,
        "levels": stops("noise", 0),
        "lengths": lengths,
        "second_offsets": stops("second", 0),
        "second_levels": stops("second", 1),
        "two_levels": stops("two", 0),
        "half_bits": halves(&steps(&telegram)[20..29]),
        // The field fills eight divisions from peak to peak; its upper edge moves by twice the ripple's part along it.
        "divisions": angle_deg.map(|deg| 8.0 * settings.depth * deg.to_radians().cos()),
        "angle_cosine": angle_deg.map(|deg| deg.to_radians().cos()),
        "cautions": CAUTIONS,
        "id": settings.identity.to_string(),
        "typed": typed(&settings.identity),
        "other_id": settings.neighbour().to_string(),
        "country": settings.identity.country,
        "national": settings.identity.national,
        "seed": settings.seed,
        "depth_percent": 100.0 * settings.depth,
        "rate_hz": settings.rate_hz,
        "field_hz": NOMINAL_HZ,
        "bit_us": 1e6 * BIT as f64 / NOMINAL_HZ,
        "bit_rate": NOMINAL_HZ / BIT as f64,
        "telegram_ms": 1e3 * TELEGRAM as f64 / NOMINAL_HZ,
        "cycles": TELEGRAM,
        "t": {
            "code_hex": format!("{:016X}", telegram.code),
            "crc_hex": format!("{:04X}", telegram.crc()),
            "bits": digits,
            "ones": ones,
            "odd": ones % 2 == 1,
            "groups": groups(&telegram),
        },
        "division": {
            "dividend": lines_of_eights(&division.dividend),
            "steps": division.steps.len(),
            "crc_hex": format!("{:04X}", division.crc()),
            "remainder": division.remainder,
            "first": FIRST,
            "reversed": division.remainder.chars().rev().collect::<String>(),
        },
        "odds": odds,
        "link_needed_db": needed_ebn0_db(READ_ODDS),
        "bench": bench,
        "c": captures,
    })
}

/// Odds of a wrong number at which `decode` and `link` call a capture read.
const READ_ODDS: f64 = 1e-5;

/// Digits eight by eight, four such groups a line: as many as a phone holds.
fn lines_of_eights(digits: &str) -> Vec<String> {
    let digits: Vec<char> = digits.chars().collect();
    digits
        .chunks(32)
        .map(|line| {
            let groups: Vec<String> = line.chunks(8).map(|eight| eight.iter().collect()).collect();
            groups.join(" ")
        })
        .collect()
}

/// The half-duplex telegram of the example's neighbour, and what was measured of it.
fn half_duplex(settings: &Settings, taken: &BTreeMap<String, Taken>) -> serde_json::Value {
    let bits = Telegram::new(settings.neighbour().code()).half_duplex_bits();
    let ones = bits.iter().filter(|&&bit| bit).count();
    // ISO 11785: sixteen cycles a bit of the nominal tones.
    let (zero_us, one_us) = (16e6 / 134_200.0, 16e6 / 124_200.0);
    let header: String = HALF_DUPLEX_HEADER
        .iter()
        .map(|&bit| if bit { '1' } else { '0' })
        .collect();
    let reading = taken.get("hdx").and_then(|taken| {
        let mut readings = taken.decoded["readings"].as_array()?.iter();
        readings.find(|reading| reading["kind"] == "hdx").cloned()
    });
    let measured = |key: &str| reading.as_ref().map(|reading| reading[key].clone());
    json!({
        "bits": bits.len(),
        "ones": ones,
        "header": header,
        "zero_us": zero_us,
        "one_us": one_us,
        "telegram_ms": 1e-3 * (ones as f64 * one_us + (bits.len() - ones) as f64 * zero_us),
        "zero_hz": measured("zero_hz"),
        "one_hz": measured("one_hz"),
        "delay_s": measured("delay_s"),
        "level_db": measured("level_db"),
    })
}

/// Why there is no waveform to look at.
const UNREAD: &str = "the example was not read: take more depth or another seed";

/// Fills a chapter.
fn filled(
    book: &Arc<Book>,
    chapter: &Chapter,
    values: serde_json::Value,
) -> Result<String, LessonError> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_trim_blocks(true);
    environment.set_lstrip_blocks(true);
    // Only figures, digits and words of the program itself are filled in; parts escape what they are given.
    environment.set_auto_escape_callback(|_| minijinja::AutoEscape::None);
    let failed = |words: String| Error::new(ErrorKind::InvalidOperation, words);
    let part = |book: &Arc<Book>| book.clone();
    let own = part(book);
    environment.add_function("figure", move |name: &str, panel: &str, caption: &str| {
        own.material.figure(name, panel, caption).map_err(failed)
    });
    let own = part(book);
    environment.add_function("curve", move |name: &str, caption: &str| {
        own.material.curve(name, caption).map_err(failed)
    });
    let own = part(book);
    environment.add_function("make", move |name: &str| {
        own.material.make(name).map_err(failed)
    });
    let own = part(book);
    environment.add_function("printed", move |name: &str| {
        own.material.printed(name).map_err(failed)
    });
    let own = part(book);
    environment.add_function("command", move |line: &str| {
        own.material.command(&[line.to_string()])
    });
    let own = part(book);
    environment.add_function("explorer", move |key: &str| {
        own.material.explorer(key).map_err(failed)
    });
    let own = part(book);
    environment.add_function("mark", move |mark: &str| own.material.question(mark));
    let own = part(book);
    environment.add_function("stepper", move || {
        let taken = own.material.taken.get("field");
        let wave = taken.and_then(|taken| taken.mean_telegram.as_deref());
        wave.map(|wave| stepper(own.material.form, &own.settings.telegram(), wave))
            .ok_or_else(|| failed(UNREAD.into()))
    });
    let example = book.settings.telegram();
    let own = part(book);
    environment.add_function("biphase", move |from: usize, to: usize| {
        biphase(own.material.form, &own.settings.telegram(), from, to)
    });
    environment.add_function("decimal", move || decimal(&example));
    let own = part(book);
    environment.add_function("strip", move |from: usize, filled: bool| {
        let taken = own.material.taken.get("field");
        let wave = taken.and_then(|taken| taken.mean_telegram.as_deref());
        wave.map(|wave| {
            strip(
                own.material.form,
                &own.settings.telegram(),
                wave,
                from,
                filled,
            )
        })
        .ok_or_else(|| failed(UNREAD.into()))
    });
    let own = part(book);
    environment.add_function("long_division", move || {
        long_division(own.material.form, &own.settings.telegram())
    });
    environment.add_filter("fixed", |value: f64, decimals: usize| {
        fixed(value, decimals)
    });
    environment.add_filter("percent", |value: f64, decimals: usize| {
        fixed(100.0 * value, decimals)
    });
    environment.add_filter("decibel", |value: f64, decimals: usize| {
        fixed(20.0 * value.log10(), decimals)
    });
    environment.add_filter("arccosine", |value: f64| value.acos().to_degrees());
    environment.add_filter("from_hexadecimal", move |digits: &str| {
        u64::from_str_radix(digits, 16).map_err(|_| failed(format!("{digits} is no number")))
    });
    environment.add_filter("cosine", |value: f64| value.to_radians().cos());
    environment.add_filter("telegrams_db", |value: f64| 10.0 * value.log10());
    environment.add_filter("db_ratio", |value: f64| 10f64.powf(value / 10.0));
    Ok(environment.render_named_str(chapter.name, chapter.text, Value::from_serialize(values))?)
}
