//! Ctrl-C, and an end asked for by the system: nothing half written stays behind, and what can stop in good order does.

use std::path::{Path, PathBuf};
use std::process;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, Once, PoisonError};

use fieldripple::capture::remove_unfinished;

/// Exit code of a program that a signal ended: 128 + SIGINT, as shells count.
const ENDED: i32 = 130;

/// Set by the first request to stop.
static STOP: AtomicBool = AtomicBool::new(false);
/// The command looks at [`STOP`] and ends by itself; only a second request ends the program at once.
static IN_GOOD_ORDER: AtomicBool = AtomicBool::new(false);
/// Folders that files are being written in.
static FOLDERS: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// Removes what is half written beside these files if the program is told to stop.
pub fn leave_nothing_unfinished<'a>(outputs: impl IntoIterator<Item = &'a Path>) {
    for output in outputs {
        // A link is followed when writing.
        let output = std::fs::canonicalize(output).unwrap_or_else(|_| output.to_owned());
        let folder = match output.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
            _ => PathBuf::from("."),
        };
        FOLDERS
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(folder);
    }
    listen();
}

/// What gives the terminal back, if the program is ended at once.
static AT_THE_END: Mutex<Option<fn()>> = Mutex::new(None);

/// Calls this when a second request to stop ends the program at once.
#[cfg(feature = "cli")]
pub fn at_the_end(restore: fn()) {
    *AT_THE_END.lock().unwrap_or_else(PoisonError::into_inner) = Some(restore);
}

/// Set when the program is told to stop, for a command that then ends in good order.
pub fn stop_on_request() -> &'static AtomicBool {
    IN_GOOD_ORDER.store(true, Ordering::Relaxed);
    listen();
    &STOP
}

fn listen() {
    static LISTENING: Once = Once::new();
    LISTENING.call_once(|| {
        // Where no handler can be set, Ctrl-C simply ends the program.
        let _ = ctrlc::set_handler(|| {
            let again = STOP.swap(true, Ordering::Relaxed);
            if again || !IN_GOOD_ORDER.load(Ordering::Relaxed) {
                for folder in FOLDERS
                    .lock()
                    .unwrap_or_else(PoisonError::into_inner)
                    .iter()
                {
                    remove_unfinished(folder);
                }
                let restore = *AT_THE_END.lock().unwrap_or_else(PoisonError::into_inner);
                if let Some(restore) = restore {
                    restore();
                }
                process::exit(ENDED);
            }
        });
    });
}
