//! The SHA-256 of a file, summed up while its bytes pass to whoever reads it.

use std::io::{self, Read};
use std::sync::{Arc, Mutex, PoisonError};

use sha2::{Digest, Sha256};

/// Bytes read at a time where nobody else reads them.
const BLOCK: usize = 1 << 16;

/// Sums up what is read through it; all clones are one and the same.
#[derive(Clone)]
pub struct Tally(Arc<Mutex<Passing>>);

struct Passing {
    reader: Box<dyn Read + Send>,
    sum: Sha256,
}

impl Tally {
    pub(super) fn of(reader: Box<dyn Read + Send>) -> Self {
        Self(Arc::new(Mutex::new(Passing {
            reader,
            sum: Sha256::new(),
        })))
    }

    /// The SHA-256 in hexadecimal of the whole file: bytes that nobody has wanted (behind the samples, behind the stretch asked for) are
    /// read now. `None` where they cannot be.
    pub fn finish(&self) -> Option<String> {
        let mut rest = vec![0; BLOCK];
        loop {
            match self.clone().read(&mut rest) {
                Ok(0) => break,
                Ok(_) => {}
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(_) => return None,
            }
        }
        let passing = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        Some(in_hexadecimal(&passing.sum.clone().finalize()))
    }
}

impl Read for Tally {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut passing = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let count = passing.reader.read(buffer)?;
        passing.sum.update(&buffer[..count]);
        Ok(count)
    }
}

/// The SHA-256 in hexadecimal of bytes that are all there.
pub fn sha256(bytes: &[u8]) -> String {
    in_hexadecimal(&Sha256::digest(bytes))
}

fn in_hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example "abc" of FIPS 180-4 (published with the standard), however much of it is read before.
    #[test]
    fn the_sum_is_that_of_the_standard_wherever_reading_ended() {
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256(b"abc"), expected);
        for read in 0..=3 {
            let mut tally = Tally::of(Box::new(&b"abc"[..]));
            let mut buffer = vec![0; read];
            tally.read_exact(&mut buffer).unwrap();
            assert_eq!(tally.finish().as_deref(), Some(expected), "{read}");
        }
    }
}
