//! From text to a checked scenario.

use super::check::{At, ScenarioError, check_table, check_value, join};
use super::defaults::default_of;
use super::keys::{KEYS, TABLES, TableKind};
use super::loop_keys::MOST_LOOPS;
use super::{OtherTag, Scenario, Sends, TagKeys, presets};
use crate::telegram::Identity;
use toml::de::{DeTable, DeValue};

impl Scenario {
    /// Reads a scenario; each setting is a key with its tables (repeated tables by number from 1: `tag.1.tilt_deg`) and a value that takes the
    /// place of the file's.
    ///
    /// # Errors
    /// [`ScenarioError`]: no TOML, an unknown key, a value out of range, keys that do not go together.
    pub fn read(text: &str, settings: &[(String, String)]) -> Result<Self, ScenarioError> {
        let tree = DeTable::parse(text).map_err(|error| syntax(text, &error))?;
        let mut table: toml::Table = toml::from_str(text).map_err(|error| syntax(text, &error))?;
        let line = |path: &[String]| At(line_of(text, tree.get_ref(), path));
        check_table(&table, "", &mut Vec::new(), &line)?;
        for (key, value) in settings {
            set(&mut table, key, value)?;
        }
        presets::apply(&mut table);
        fill(&mut table, "");
        let mut scenario: Scenario =
            table
                .try_into()
                .map_err(|error: toml::de::Error| ScenarioError::Syntax {
                    at: At(None),
                    message: error.message().into(),
                })?;
        for tag in &mut scenario.tag {
            tag.wind()?;
        }
        scenario.check(text)?;
        Ok(scenario)
    }

    fn check(&self, text: &str) -> Result<(), ScenarioError> {
        let refuse = |message: &str| Err(ScenarioError::Together(message.into()));
        let given = |name: &str| {
            text.lines().any(|line| {
                let line = line.trim();
                line.starts_with(&format!("[{name}")) || line.starts_with(&format!("[[{name}"))
            })
        };
        if self.direct.is_some()
            && (!self.tag.is_empty() || self.second_reader.is_some() || given("reader"))
        {
            return refuse(
                "[direct] takes the place of [reader], [[tag]] and [second_reader]; leave one side out",
            );
        }
        if self.tag.len() > 8 {
            return refuse("more than 8 [[tag]]: at most 8 are allowed");
        }
        let pulsed = [
            ("reader", self.reader.on_ms, self.reader.off_ms),
            (
                "second_reader",
                self.second_reader.as_ref().and_then(|r| r.reader.on_ms),
                self.second_reader.as_ref().and_then(|r| r.reader.off_ms),
            ),
            (
                "direct",
                self.direct.as_ref().and_then(|d| d.on_ms),
                self.direct.as_ref().and_then(|d| d.off_ms),
            ),
        ];
        let tones = self
            .tone
            .iter()
            .map(|tone| ("tone", tone.on_ms, tone.off_ms));
        for (table, on, off) in pulsed.into_iter().chain(tones) {
            if on.is_some() != off.is_some() {
                return refuse(&format!("{table}.on_ms and {table}.off_ms go together"));
            }
        }
        if matches!(self.digitiser.bits, 25..=31) {
            return refuse("digitiser.bits is beyond 24; allowed are 2 to 24, and 32 for floats");
        }
        for tag in &self.tag {
            if tag
                .track
                .windows(2)
                .any(|pair| pair[1].at_ms <= pair[0].at_ms)
            {
                return refuse("tag.track: at_ms must rise from one place to the next");
            }
        }
        let sent = self.tag.iter().map(|tag| &tag.sends);
        let direct = self
            .direct
            .iter()
            .flat_map(|d| d.tag.iter().map(|tag| &tag.sends));
        for sends in sent.chain(direct) {
            sends.check()?;
        }
        self.check_metal()?;
        let second = self.second_reader.iter().map(|other| &other.reader);
        for (table, reader) in ["reader", "second_reader"]
            .iter()
            .zip(std::iter::once(&self.reader).chain(second))
        {
            if reader.loops.len() > MOST_LOOPS {
                return refuse(&format!(
                    "more than {MOST_LOOPS} [[{table}.loop]]: at most {MOST_LOOPS} are allowed"
                ));
            }
        }
        if self.other_tag.len() > 8 {
            return refuse("more than 8 [[other_tag]]: at most 8 are allowed");
        }
        self.other_tag.iter().try_for_each(OtherTag::check)
    }
}

impl TagKeys {
    /// Puts what its rod makes in the place of what a coil is measured to be.
    fn wind(&mut self) -> Result<(), ScenarioError> {
        let Some(rod) = &self.rod else {
            return Ok(());
        };
        let on_rod = rod
            .rod()
            .work_out()
            .map_err(|error| ScenarioError::Together(format!("[tag.rod] {error}")))?;
        self.inductance_mh = on_rod.inductance_h * 1e3;
        self.effective_area_cm2 = on_rod.effective_area_m2 * 1e4;
        self.rod_length_mm = rod.length_mm;
        for (name, value) in [
            ("inductance_mh", self.inductance_mh),
            ("effective_area_cm2", self.effective_area_cm2),
        ] {
            check_value("tag", name, &toml::Value::Float(value), At(None)).map_err(|error| {
                ScenarioError::Together(format!("[tag.rod] makes a coil that cannot be: {error}"))
            })?;
        }
        Ok(())
    }
}

impl Sends {
    pub(super) fn check(&self) -> Result<(), ScenarioError> {
        if let Some(id) = &self.id
            && let Err(error) = id.parse::<Identity>()
        {
            return Err(ScenarioError::Together(format!("id \"{id}\": {error}")));
        }
        if self.trailer.len() != 6 || u32::from_str_radix(&self.trailer, 16).is_err() {
            return Err(ScenarioError::Together(format!(
                "trailer \"{}\": six hex digits are allowed",
                self.trailer
            )));
        }
        Ok(())
    }
}

fn syntax(text: &str, error: &toml::de::Error) -> ScenarioError {
    let at = At(error.span().map(|span| line_number(text, span.start)));
    ScenarioError::Syntax {
        at,
        message: error.message().into(),
    }
}

fn line_number(text: &str, byte: usize) -> usize {
    1 + text.bytes().take(byte).filter(|&b| b == b'\n').count()
}

/// Line of the last key of a path; numbers count within repeated tables.
fn line_of(text: &str, table: &DeTable<'_>, path: &[String]) -> Option<usize> {
    let (first, rest) = path.split_first()?;
    let (key, value) = table
        .iter()
        .find(|(key, _)| key.get_ref().as_ref() == first.as_str())?;
    let here = Some(line_number(text, key.span().start));
    if rest.is_empty() {
        return here;
    }
    match value.get_ref() {
        DeValue::Table(inner) => line_of(text, inner, rest).or(here),
        DeValue::Array(items) => {
            let index: usize = rest[0].parse().ok()?;
            let item = items.get(index)?;
            match item.get_ref() {
                DeValue::Table(inner) if rest.len() > 1 => line_of(text, inner, &rest[1..]),
                _ => Some(line_number(text, item.span().start)),
            }
        }
        _ => here,
    }
}

/// Writes the defaults into a table and those within. Tables that stand for something that may be missing are not made.
fn fill(table: &mut toml::Table, name: &str) {
    for key in KEYS.iter().filter(|key| key.table == name) {
        if key.found.is_none() && !table.contains_key(key.name) {
            table.insert(key.name.into(), default_of(key.table, key.name));
        }
    }
    for (full, kind, _) in TABLES {
        let inner = match full.rsplit_once('.') {
            Some((outer, inner)) if outer == name => inner,
            None if name.is_empty() => full,
            _ => continue,
        };
        if inner == "coil" {
            table
                .entry(inner)
                .or_insert_with(|| toml::Value::Table(toml::Table::new()));
        }
        match (kind, table.get_mut(inner)) {
            (TableKind::Single, Some(toml::Value::Table(table))) => fill(table, full),
            (TableKind::Repeated, Some(toml::Value::Array(items))) => items
                .iter_mut()
                .filter_map(toml::Value::as_table_mut)
                .for_each(|table| fill(table, full)),
            _ => {}
        }
    }
}

/// A value as it would stand in the file; a bare word is text.
fn parsed(text: &str) -> toml::Value {
    toml::from_str::<toml::Table>(&format!("x = {text}"))
        .ok()
        .and_then(|mut table| table.remove("x"))
        .unwrap_or_else(|| toml::Value::String(text.into()))
}

/// Puts a value in its place; tables that are missing are made.
fn set(table: &mut toml::Table, key: &str, text: &str) -> Result<(), ScenarioError> {
    let value = parsed(text);
    let mut at = table;
    let mut name = String::new();
    let mut steps: Vec<&str> = key.split('.').collect();
    let last = steps.pop().unwrap_or_default();
    let mut steps = steps.into_iter();
    while let Some(step) = steps.next() {
        let full = join(&name, step);
        let kind = TABLES
            .iter()
            .find(|table| table.0 == full)
            .map(|table| table.1);
        at = match kind {
            None => {
                check_value(&name, step, &value, At(None))?;
                return Err(ScenarioError::Together(format!(
                    "'{full}' is no table (in '{key}')"
                )));
            }
            Some(TableKind::Single) => at
                .entry(step)
                .or_insert_with(|| toml::Value::Table(toml::Table::new()))
                .as_table_mut()
                .expect("tables were checked"),
            Some(TableKind::Repeated) => {
                let list = at
                    .entry(step)
                    .or_insert_with(|| toml::Value::Array(Vec::new()))
                    .as_array_mut()
                    .expect("tables were checked");
                let number = steps.next().and_then(|n| n.parse::<usize>().ok());
                // One more than there are makes a new one.
                let Some(index) = number.filter(|&n| n >= 1 && n <= list.len() + 1) else {
                    return Err(ScenarioError::Together(format!(
                        "'{key}': write {full}.N.… with N from 1 to {}",
                        list.len() + 1
                    )));
                };
                if index > list.len() {
                    list.push(toml::Value::Table(toml::Table::new()));
                }
                list[index - 1].as_table_mut().expect("tables were checked")
            }
        };
        name = full;
    }
    check_value(&name, last, &value, At(None))?;
    at.insert(last.into(), value);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The defaults in the list are those of the structs: written out with their defaults they give the same scenario.
    #[test]
    fn listed_defaults_are_the_defaults() {
        let mut text = String::new();
        let mut bare = String::new();
        let tables: Vec<_> = std::iter::once(("", TableKind::Single))
            .chain(TABLES.iter().map(|table| (table.0, table.1)))
            .filter(|table| !table.0.starts_with("direct"))
            .collect();
        for (table, kind) in tables {
            let head = match kind {
                _ if table.is_empty() => String::new(),
                TableKind::Single => format!("[{table}]\n"),
                TableKind::Repeated => format!("[[{table}]]\n"),
            };
            text += &head;
            bare += &head;
            for key in KEYS
                .iter()
                .filter(|key| key.table == table && key.found.is_none())
            {
                text += &format!("{} = {}\n", key.name, key.default());
            }
        }
        let (full, bare) = (
            Scenario::read(&text, &[]).unwrap(),
            Scenario::read(&bare, &[]).unwrap(),
        );
        assert_eq!(full.tag[0].track[0].place, bare.tag[0].track[0].place);
        assert_eq!(full, bare);
        let direct = |body: &str| Scenario::read(body, &[]).unwrap().direct;
        let mut text = String::new();
        for table in ["direct", "direct.tag"] {
            text += if table == "direct" {
                "[direct]\n"
            } else {
                "[[direct.tag]]\n"
            };
            for key in KEYS
                .iter()
                .filter(|key| key.table == table && key.found.is_none())
            {
                text += &format!("{} = {}\n", key.name, key.default());
            }
        }
        assert_eq!(direct(&text), direct("[direct]\n[[direct.tag]]\n"));
    }

    /// Every key is in the structs: a scenario with it gives another one written out than a scenario without.
    #[test]
    fn every_key_has_an_effect_on_the_scenario() {
        use super::super::Allowed;
        for key in KEYS.iter() {
            let other = match key.allowed {
                Allowed::Number(low, high) => format!("{}", low + 0.37 * (high - low)),
                Allowed::Whole(low, high) => format!("{}", low.max(high.min(low + 6) - 1)),
                Allowed::OneOf(words) => format!("\"{}\"", words[1]),
                Allowed::Text if key.name == "id" => "\"999:5\"".into(),
                Allowed::Text => "\"ABCDEF\"".into(),
                Allowed::YesNo => (key.default() == "false").to_string(),
            };
            let mut path = String::new();
            for step in key.table.split('.').filter(|step| !step.is_empty()) {
                let full = join(path.trim_end_matches(".1"), step);
                path = join(&path, step);
                let full = full.replace(".1", "");
                if TABLES
                    .iter()
                    .any(|t| t.0 == full && t.1 == TableKind::Repeated)
                {
                    path += ".1";
                }
            }
            let mut settings = vec![(join(&path, key.name), other)];
            if let Some(pair) = [("on_ms", "off_ms"), ("off_ms", "on_ms")]
                .iter()
                .find(|p| p.0 == key.name)
            {
                settings.push((join(&path, pair.1), "7".into()));
            }
            let with =
                Scenario::read("", &settings).unwrap_or_else(|e| panic!("{settings:?}: {e}"));
            let without = {
                let mut settings = settings;
                settings.remove(0);
                // Something harmless makes the table.
                Scenario::read("", &settings).ok()
            };
            assert_ne!(Some(with), without, "{}.{}", key.table, key.name);
        }
    }

    #[test]
    fn refusals_name_line_key_and_what_is_allowed() {
        for (text, want) in [
            (
                "[reader]\ndrive_v = 5\ndrive_volts = 3\n",
                "line 3: unknown key 'reader.drive_volts'; the nearest known one is 'reader.drive_v'",
            ),
            (
                "[[tag]]\n[[tag]]\ntilt = 3\n",
                "line 3: unknown key 'tag.tilt'; the nearest known one is 'tag.tilt_deg'",
            ),
            (
                "[reder]\n",
                "line 1: unknown key 'reder'; the nearest known one is 'reader'",
            ),
            (
                "\n[digitiser]\nbits = 99\n",
                "line 3: digitiser.bits is 99; allowed is a whole number, 2 to 32",
            ),
            (
                "[reader]\ndrive_v = \"x\"\n",
                "line 2: reader.drive_v is \"x\"; allowed is 0 to 1000",
            ),
            (
                "[reader]\ndrive_v = nan\n",
                "line 2: reader.drive_v is nan; allowed is 0 to 1000",
            ),
            (
                "reader = 3\n",
                "line 1: reader is 3; allowed is a table, [reader]",
            ),
            (
                "[tag]\n",
                "line 1: tag is a table; allowed is a repeated table, [[tag]]",
            ),
            (
                "[[tone]]\non_ms = 3\n",
                "tone.on_ms and tone.off_ms go together",
            ),
            (
                "[reader]\n[direct]\n",
                "[direct] takes the place of [reader], [[tag]] and [second_reader]; leave one side out",
            ),
        ] {
            assert_eq!(Scenario::read(text, &[]).unwrap_err().to_string(), want);
        }
        assert!(
            Scenario::read("[reader", &[])
                .unwrap_err()
                .to_string()
                .starts_with("line 1: ")
        );
        let set =
            |key: &str, value: &str| Scenario::read("[[tag]]\n", &[(key.into(), value.into())]);
        assert_eq!(
            set("tag.1.tilt_deg", "45").unwrap().tag[0].place.tilt_deg,
            45.0
        );
        assert_eq!(
            set("reader.topology", "parallel").unwrap().reader.topology,
            super::super::super::circuit::Topology::Parallel
        );
        assert_eq!(set("tag.2.tilt_deg", "45").unwrap().tag.len(), 2);
        assert!(set("tag.4.tilt_deg", "45").is_err());
        assert!(
            set("tag.tilt_deg", "45")
                .unwrap_err()
                .to_string()
                .contains("tag.N")
        );
        assert!(
            set("reader.coil.turn", "45")
                .unwrap_err()
                .to_string()
                .contains("'reader.coil.turns'")
        );
    }
}
