//! Folders that appear whole or not at all, and never swallow a file that somebody else put there.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Lists every file of a written folder with its size and checksum, so that a later run knows its own.
const LIST: &str = "files.txt";

/// Why a folder is not written.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The operating system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// File or folder.
        path: PathBuf,
        /// The reason.
        source: io::Error,
    },
    /// Something else has that name.
    #[error("{}: this is a file; name a folder that is new, empty, or was written before", path.display())]
    NotAFolder {
        /// What stands there.
        path: PathBuf,
    },
    /// The folder holds a file that was not written here.
    #[error("{}: holds {file}, which was not written by this command; nothing was changed: name another folder or move that file away", path.display())]
    Foreign {
        /// The folder.
        path: PathBuf,
        /// The file, from the folder on.
        file: String,
    },
    /// A file was changed after it was written.
    #[error("{}: {file} was changed since it was written; nothing was replaced: name another folder or move that file away", path.display())]
    Changed {
        /// The folder.
        path: PathBuf,
        /// The file, from the folder on.
        file: String,
    },
}

/// A folder for work in progress; it goes away with this value.
#[derive(Debug)]
pub struct Scratch(PathBuf);

impl Scratch {
    /// A new folder in `parent`, under a name nobody has.
    ///
    /// # Errors
    /// Whatever the operating system reports.
    pub fn new(parent: &Path, name: &str) -> Result<Self, FolderError> {
        for attempt in 0..1000 {
            let path = parent.join(format!(".{name}.{}-{attempt}.part", std::process::id()));
            match fs::create_dir(&path) {
                Ok(()) => return Ok(Self(path)),
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(source) => return Err(FolderError::Io { path, source }),
            }
        }
        Err(FolderError::Io {
            path: parent.join(name),
            source: io::ErrorKind::AlreadyExists.into(),
        })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // It has gone already where it was renamed.
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Writes the folder `path`: `fill` is given an empty folder beside it, which takes the name when it is complete. What stands
/// there before is replaced only if it is empty or exactly what an earlier call wrote, apart from files that `remade` says can be made again.
///
/// # Errors
/// [`FolderError`], or whatever `fill` reports; nothing is changed then.
pub fn write_folder<T, E: From<FolderError>>(
    path: &Path,
    remade: &dyn Fn(&str) -> bool,
    fill: impl FnOnce(&Path) -> Result<T, E>,
) -> Result<T, E> {
    check(path, remade)?;
    let name = path
        .file_name()
        .map_or("folder".into(), |name| name.to_string_lossy());
    let parent = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let scratch = Scratch::new(parent, &name)?;
    let value = fill(scratch.path())?;
    let list = scratch.path().join(LIST);
    let lines: Vec<String> = files(scratch.path())?
        .iter()
        .map(|file| {
            Ok(format!(
                "{} {file}\n",
                print_of(&scratch.path().join(file))?
            ))
        })
        .collect::<Result<_, FolderError>>()?;
    fs::write(&list, lines.concat()).map_err(|source| FolderError::Io { path: list, source })?;
    // Somebody may have put something there in the meantime.
    check(path, remade)?;
    swap_in(scratch.path(), path, parent)?;
    Ok(value)
}

/// Refuses a folder that holds more than an earlier call wrote.
fn check(path: &Path, remade: &dyn Fn(&str) -> bool) -> Result<(), FolderError> {
    let about = |source| FolderError::Io {
        path: path.to_owned(),
        source,
    };
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(about(error)),
        Ok(metadata) if !metadata.is_dir() => {
            return Err(FolderError::NotAFolder {
                path: path.to_owned(),
            });
        }
        Ok(_) => {}
    }
    let list = fs::read_to_string(path.join(LIST)).unwrap_or_default();
    for file in files(path)? {
        let known = list
            .lines()
            .filter_map(|line| line.split_once(' '))
            .find_map(|(print, name)| (name == file).then_some(print));
        match known {
            _ if file == LIST && !list.is_empty() => {}
            // Beside files of an earlier call only: a folder of somebody else's may have such a name in it, too.
            _ if !list.is_empty() && remade(&file) => {}
            None => {
                return Err(FolderError::Foreign {
                    path: path.to_owned(),
                    file,
                });
            }
            Some(print) if print != print_of(&path.join(&file))? => {
                return Err(FolderError::Changed {
                    path: path.to_owned(),
                    file,
                });
            }
            Some(_) => {}
        }
    }
    Ok(())
}

fn swap_in(new: &Path, path: &Path, parent: &Path) -> Result<(), FolderError> {
    let about = |source| FolderError::Io {
        path: path.to_owned(),
        source,
    };
    if !path.exists() {
        return fs::rename(new, path).map_err(about);
    }
    let old = Scratch::new(parent, "old")?;
    let aside = old.path().join("folder");
    fs::rename(path, &aside).map_err(about)?;
    fs::rename(new, path).map_err(|error| {
        // Back to what was there before; the first error is the one to report.
        let _ = fs::rename(&aside, path);
        about(error)
    })
}

/// All files below a folder, with '/' between the names, sorted.
fn files(folder: &Path) -> Result<Vec<String>, FolderError> {
    let mut waiting = vec![(folder.to_owned(), String::new())];
    let mut found = Vec::new();
    while let Some((place, prefix)) = waiting.pop() {
        let about = |source| FolderError::Io {
            path: place.clone(),
            source,
        };
        for entry in fs::read_dir(&place).map_err(about)? {
            let entry = entry.map_err(about)?;
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            if entry.file_type().map_err(about)?.is_dir() {
                waiting.push((entry.path(), format!("{name}/")));
            } else {
                found.push(name);
            }
        }
    }
    found.sort();
    Ok(found)
}

/// Size and FNV-1a hash (Fowler, Noll and Vo, 64 bits) of a file: enough to notice an edit.
fn print_of(path: &Path) -> Result<String, FolderError> {
    let bytes = fs::read(path).map_err(|source| FolderError::Io {
        path: path.to_owned(),
        source,
    })?;
    let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    Ok(format!("{}-{hash:016x}", bytes.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(path: &Path, file: &'static str) -> Result<(), FolderError> {
        let remade = |name: &str| name == "again";
        write_folder(path, &remade, |folder| {
            fs::create_dir(folder.join("inside")).unwrap();
            fs::write(folder.join("inside").join(file), file).unwrap();
            Ok(())
        })
    }

    #[test]
    fn a_folder_is_replaced_only_by_its_own_kind() {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("lesson");
        write(&path, "one").unwrap();
        write(&path, "two").unwrap();
        assert!(!path.join("inside/one").exists() && path.join("inside/two").exists());

        fs::write(path.join("mine.txt"), "notes").unwrap();
        let error = write(&path, "three").unwrap_err().to_string();
        assert!(error.contains("mine.txt"), "{error}");
        assert!(path.join("inside/two").exists());
        fs::remove_file(path.join("mine.txt")).unwrap();

        fs::write(path.join("inside/two"), "edited").unwrap();
        let error = write(&path, "three").unwrap_err().to_string();
        assert!(error.contains("inside/two was changed"), "{error}");
        assert_eq!(fs::read_dir(place.path()).unwrap().count(), 1);
        fs::write(path.join("inside/two"), "two").unwrap();
        fs::write(path.join("again"), "made by a command").unwrap();
        write(&path, "three").unwrap();
        assert!(path.join("inside/three").exists() && !path.join("again").exists());
    }

    #[test]
    fn files_and_foreign_folders_stay_and_failures_leave_nothing() {
        let place = tempfile::tempdir().unwrap();
        let file = place.path().join("file");
        fs::write(&file, "x").unwrap();
        assert!(matches!(
            write(&file, "a"),
            Err(FolderError::NotAFolder { .. })
        ));
        let foreign = place.path().join("foreign");
        fs::create_dir(&foreign).unwrap();
        fs::write(foreign.join("y"), "y").unwrap();
        assert!(matches!(
            write(&foreign, "a"),
            Err(FolderError::Foreign { .. })
        ));
        let failed: Result<(), FolderError> =
            write_folder(&place.path().join("new"), &|_| false, |folder| {
                fs::write(folder.join("half"), "").unwrap();
                Err(FolderError::NotAFolder { path: "x".into() })
            });
        assert!(failed.is_err());
        assert_eq!(fs::read_dir(place.path()).unwrap().count(), 2);
    }
}
