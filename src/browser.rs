//! What a page calls of the receiver, compiled for wasm32: two places for what is given, one question, one answer.
//!
//! Everything passes as bytes in this module's own memory, and nothing is imported: the module can compute, and reach nothing else. What
//! goes in and out is said at [`fieldripple::play::answer`].
#![deny(unsafe_code)]

use std::sync::{Mutex, PoisonError};

static QUESTION: Mutex<Vec<u8>> = Mutex::new(Vec::new());
static CAPTURE: Mutex<Vec<u8>> = Mutex::new(Vec::new());
static ANSWER: Mutex<String> = Mutex::new(String::new());

/// Makes room for so many bytes and says where; null where there is none.
fn room(place: &Mutex<Vec<u8>>, length: usize) -> *mut u8 {
    let mut bytes = place.lock().unwrap_or_else(PoisonError::into_inner);
    bytes.clear();
    if bytes.try_reserve_exact(length).is_err() {
        return std::ptr::null_mut();
    }
    bytes.resize(length, 0);
    bytes.as_mut_ptr()
}

fn taken(place: &Mutex<Vec<u8>>) -> Vec<u8> {
    std::mem::take(&mut *place.lock().unwrap_or_else(PoisonError::into_inner))
}

// A name that the page can call is unsafe by the letter, as two of one name would be one. That is all there is: what is given is
// written by the page, into room that was made for it, between two calls.
#[allow(unsafe_code)]
mod called_by_the_page {
    use super::*;

    /// Room for the question, an object as text in UTF-8.
    #[unsafe(no_mangle)]
    extern "C" fn room_for_question(length: usize) -> *mut u8 {
        room(&QUESTION, length)
    }

    /// Room for the file, where the question is about one.
    #[unsafe(no_mangle)]
    extern "C" fn room_for_capture(length: usize) -> *mut u8 {
        room(&CAPTURE, length)
    }

    /// Answers, and returns the length of the answer, bytes of UTF-8.
    #[unsafe(no_mangle)]
    extern "C" fn answer() -> usize {
        let question = taken(&QUESTION);
        let text = fieldripple::play::answer(&String::from_utf8_lossy(&question), taken(&CAPTURE));
        let length = text.len();
        *ANSWER.lock().unwrap_or_else(PoisonError::into_inner) = text;
        length
    }

    /// Where the answer stands until the next question.
    #[unsafe(no_mangle)]
    extern "C" fn answer_at() -> *const u8 {
        let text = ANSWER.lock().unwrap_or_else(PoisonError::into_inner);
        text.as_ptr()
    }
}

fn main() {}
