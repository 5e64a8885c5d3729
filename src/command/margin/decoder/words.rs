//! A command line into words, and the words of one capture.

use std::path::Path;

/// A command as it was typed, and its words.
#[derive(Clone, Debug)]
pub struct Words {
    pub line: String,
    pub words: Vec<String>,
}

/// Reads the value of `--decoder`.
pub fn command(line: &str) -> Result<Words, String> {
    Ok(Words {
        line: line.into(),
        words: split(line)?,
    })
}

/// Splits at blanks, except inside single or double quotes. No shell: nothing else is special.
fn split(line: &str) -> Result<Vec<String>, String> {
    let mut words = Vec::new();
    let mut word: Option<String> = None;
    let mut quote = None;
    for c in line.chars() {
        match quote {
            Some(end) if c == end => quote = None,
            None if c == '\'' || c == '"' => {
                quote = Some(c);
                word.get_or_insert_default();
            }
            None if c.is_whitespace() => words.extend(word.take()),
            _ => word.get_or_insert_default().push(c),
        }
    }
    if quote.is_some() {
        return Err("a quote is not closed".into());
    }
    words.extend(word);
    if words.first().is_none_or(String::is_empty) {
        return Err("no program named; for example 'python3 mine.py {file}'".into());
    }
    Ok(words)
}

/// The words with `{file}` and `{rate}` filled in.
pub fn filled(words: &[String], file: Option<&Path>, rate_hz: f64) -> Vec<String> {
    words
        .iter()
        .map(|word| {
            let word = word.replace("{rate}", &rate_hz.to_string());
            match file {
                Some(file) => word.replace("{file}", &file.display().to_string()),
                None => word,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_split_at_blanks_outside_quotes() {
        let words = |line: &str| split(line).unwrap();
        assert_eq!(
            words("python3 mine.py {file}"),
            ["python3", "mine.py", "{file}"]
        );
        assert_eq!(
            words(" 'my folder/run' -x \"a 'b'\" '' "),
            ["my folder/run", "-x", "a 'b'", ""]
        );
        assert!(split("run 'x").is_err());
        assert!(split("  ").is_err());
        let filled = filled(
            &words("d {file} --rate={rate}"),
            Some(Path::new("/t/a.wav")),
            5e5,
        );
        assert_eq!(filled, ["d", "/t/a.wav", "--rate=500000"]);
    }
}
