//! A file, or the standard input, line by line: bounded in length, numbered, with the bytes that are read counted.

use std::{
    fs::File,
    io::{self, BufRead, BufReader, Read},
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
};

use crate::wire::event_log::BadLine;

/// Longest line, in bytes. An answer of a weather service may have 2 MiB, and twice that inside a text.
const LONGEST: usize = 5 << 20;
const BUFFER: usize = 1 << 16;

/// A file that cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("{path} cannot be read: {error}")]
pub(super) struct Unreadable {
    pub path: PathBuf,
    pub error: io::Error,
}

/// A line and its number, from 1.
pub(super) type Numbered<'a> = (u64, Result<&'a str, BadLine>);

/// The lines of one file.
pub(super) struct Lines {
    path: PathBuf,
    reader: Box<dyn BufRead + Send>,
    buffer: Vec<u8>,
    number: u64,
    read: Arc<AtomicU64>,
}

impl Lines {
    /// Opens a file; `-` is the standard input. `read` counts the bytes that are read.
    pub fn open(path: &Path, read: &Arc<AtomicU64>) -> Result<Self, Unreadable> {
        let reader: Box<dyn BufRead + Send> = if path.as_os_str() == "-" {
            Box::new(BufReader::with_capacity(BUFFER, io::stdin()))
        } else {
            let file = File::open(path).map_err(|error| Unreadable { path: path.to_owned(), error })?;
            Box::new(BufReader::with_capacity(BUFFER, file))
        };
        Ok(Self { path: path.to_owned(), reader, buffer: Vec::new(), number: 0, read: Arc::clone(read) })
    }

    /// The next line with its number; `None` at the end.
    pub fn next(&mut self) -> Result<Option<Numbered<'_>>, Unreadable> {
        self.buffer.clear();
        let path = &self.path;
        let failed = |error| Unreadable { path: path.clone(), error };
        let limit = LONGEST as u64 + 1;
        let length = self.reader.by_ref().take(limit).read_until(b'\n', &mut self.buffer).map_err(failed)?;
        if length == 0 {
            return Ok(None);
        }
        self.number += 1;
        self.read.fetch_add(length as u64, Ordering::Relaxed);
        if self.buffer.len() > LONGEST {
            let rest = skip_rest(&mut self.reader).map_err(failed)?;
            self.read.fetch_add(rest, Ordering::Relaxed);
            return Ok(Some((self.number, Err(BadLine::TooLong(LONGEST)))));
        }
        Ok(Some((self.number, std::str::from_utf8(&self.buffer).map_err(|_| BadLine::NotText))))
    }
}

/// Passes over what is left of a line that is too long.
fn skip_rest(reader: &mut impl BufRead) -> io::Result<u64> {
    let mut skipped = 0;
    loop {
        let available = reader.fill_buf()?;
        let (used, ended) = match available.iter().position(|byte| *byte == b'\n') {
            Some(at) => (at + 1, true),
            None => (available.len(), available.is_empty()),
        };
        reader.consume(used);
        skipped += used as u64;
        if ended {
            return Ok(skipped);
        }
    }
}
