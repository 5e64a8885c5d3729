//! Captures and chapters → pages, or text.

use std::collections::BTreeMap;
use std::sync::Arc;

use minijinja::{Environment, Error, ErrorKind, UndefinedBehavior, Value, context};
use serde_json::json;

use super::LessonError;
use super::chapter::{CHAPTERS, Chapter};
use super::curves::work_out;
use super::decimal::decimal;
use super::explore;
use super::long_division::long_division;
use super::markup::{to_html, to_text};
use super::page_file::PageFile;
use super::parts::{ANSWER, ANSWERED, Form, Material};
use super::plan::LessonPlan;
use super::settings::{Settings, typed};
use super::stepper::{biphase, stepper};
use super::strip::strip;
use super::taken::Taken;
use super::values::values;
use crate::draw::palette;
use crate::page::{environment, reader_page, style_sheet};
use crate::play::fixed;

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
        plan: LessonPlan,
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

    /// All pages, figures, style and script; `module` is the program's code for a browser, as [`reader_page`] takes it, where it was built: the
    /// page that reads captures and those to play with hold it.
    ///
    /// # Errors
    /// A place in a chapter that cannot be filled.
    pub fn pages(
        self,
        exercises: bool,
        module: Option<&str>,
    ) -> Result<Vec<PageFile>, LessonError> {
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
                reads => module.is_some(),
                play => explore::PAGES,
                css => "",
                ..Value::from_serialize(&book.values)
            },
        )?;
        files.push(("index.html".into(), index.into_bytes()));
        let taken = |name: &str| book.material.taken.get(name);
        files.extend(explore::pages(&book.settings, taken, module)?);
        if let Some(module) = module {
            let page = reader_page(module, explore::PROGRAM)?;
            files.push(("reader.html".into(), page.into_bytes()));
        }
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
