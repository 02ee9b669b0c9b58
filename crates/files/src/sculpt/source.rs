//! Bytes of a file, a piece at a time, so that a big file is never in memory twice.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use super::error::{Outcome, ReadProblem};

/// Bytes read at a time.
const PIECE: usize = 1 << 20;

/// A file or a slice, read through one buffer.
pub(super) struct Source<'a> {
    reader: Box<dyn Read + 'a>,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    /// Size of the whole in bytes, as announced before reading.
    length: u64,
    /// Bytes handed on so far.
    consumed: u64,
    /// Lines handed on so far, for those who read lines or words.
    line: usize,
    line_end: u8,
}

impl<'a> Source<'a> {
    pub fn of_file(path: &Path) -> Outcome<Self> {
        // Opening a pipe could wait for ever: look at what it is first.
        if !std::fs::metadata(path)?.is_file() {
            return Err(ReadProblem::NotAFile.into());
        }
        let file = File::open(path)?;
        let length = file.metadata()?.len();
        Ok(Self::new(Box::new(file), length)?)
    }

    pub fn of_bytes(bytes: &'a [u8]) -> Outcome<Self> {
        Ok(Self::new(Box::new(bytes), bytes.len() as u64)?)
    }

    fn new(reader: Box<dyn Read + 'a>, length: u64) -> io::Result<Self> {
        let size = usize::try_from(length).unwrap_or(PIECE).clamp(64, PIECE);
        let mut source = Self {
            reader,
            buffer: vec![0; size],
            start: 0,
            end: 0,
            length,
            consumed: 0,
            line: 0,
            line_end: b'\n',
        };
        let first = source.peek(size)?;
        let end = memchr::memchr2(b'\n', b'\r', first);
        if end.is_some_and(|at| first[at] == b'\r' && first.get(at + 1) != Some(&b'\n')) {
            source.line_end = b'\r'; // the old way of some systems
        }
        Ok(source)
    }

    /// Size of the whole in bytes.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// Bytes that are still to come, by the announced size.
    pub fn remaining(&self) -> u64 {
        self.length.saturating_sub(self.consumed)
    }

    /// Lines handed on so far; after [`Source::next_line`] the number of that line, from 1.
    pub fn line(&self) -> usize {
        self.line
    }

    /// All bytes at hand: at least `wanted`, or fewer at the end of the file.
    pub fn peek(&mut self, wanted: usize) -> io::Result<&[u8]> {
        while self.end - self.start < wanted {
            if !self.fill()? {
                break;
            }
        }
        Ok(&self.buffer[self.start..self.end])
    }

    /// Drops bytes that [`Source::peek`] has shown.
    pub fn consume(&mut self, count: usize) {
        let count = count.min(self.end - self.start);
        self.start += count;
        self.consumed += count as u64;
    }

    /// Skips bytes; false if the file ends first.
    pub fn skip(&mut self, mut count: u64) -> io::Result<bool> {
        while count > 0 {
            let have = self.peek(1)?.len() as u64;
            if have == 0 {
                return Ok(false);
            }
            let step = have.min(count);
            self.consume(step as usize);
            count -= step;
        }
        Ok(true)
    }

    /// Reads more behind what is there; false at the end of the file.
    fn fill(&mut self) -> io::Result<bool> {
        if self.start > 0 {
            self.buffer.copy_within(self.start..self.end, 0);
            self.end -= self.start;
            self.start = 0;
        }
        if self.end == self.buffer.len() {
            // One item is larger than the buffer. It is part of the file, so the
            // buffer stays within twice the file's size.
            self.buffer.resize(2 * self.buffer.len(), 0);
        }
        loop {
            match self.reader.read(&mut self.buffer[self.end..]) {
                Ok(count) => {
                    self.end += count;
                    return Ok(count > 0);
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
    }

    /// The next line without its end; `None` at the end of the file.
    pub fn next_line(&mut self) -> io::Result<Option<&[u8]>> {
        let mut scanned = 0;
        let (length, taken) = loop {
            let there = &self.buffer[self.start..self.end];
            if let Some(found) = memchr::memchr(self.line_end, &there[scanned..]) {
                break (scanned + found, scanned + found + 1);
            }
            scanned = there.len();
            if !self.fill()? {
                if scanned == 0 {
                    return Ok(None);
                }
                break (scanned, scanned);
            }
        };
        let from = self.start;
        self.consume(taken);
        self.line += 1;
        let line = &self.buffer[from..from + length];
        Ok(Some(line.strip_suffix(b"\r").unwrap_or(line)))
    }

    /// The next word between white space; `None` at the end of the file.
    ///
    /// [`Source::line`] counts the lines before the word.
    pub fn next_word(&mut self) -> io::Result<Option<&[u8]>> {
        loop {
            let there = &self.buffer[self.start..self.end];
            let blank = there.iter().take_while(|b| b.is_ascii_whitespace()).count();
            self.line += there[..blank]
                .iter()
                .filter(|&&b| b == self.line_end)
                .count();
            let found_word = blank < there.len();
            self.consume(blank);
            if found_word {
                break;
            }
            if !self.fill()? {
                return Ok(None);
            }
        }
        let mut scanned = 0;
        let length = loop {
            let there = &self.buffer[self.start..self.end];
            match there[scanned..].iter().position(u8::is_ascii_whitespace) {
                Some(found) => break scanned + found,
                None => scanned = there.len(),
            }
            if !self.fill()? {
                break scanned;
            }
        };
        let from = self.start;
        self.consume(length);
        Ok(Some(&self.buffer[from..from + length]))
    }
}

/// The words of a line.
pub(super) fn words(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(u8::is_ascii_whitespace)
        .filter(|w| !w.is_empty())
}

/// A decimal number as the nearest f32; infinite if too large.
pub(super) fn float(word: &[u8]) -> Result<f32, ReadProblem> {
    std::str::from_utf8(word)
        .ok()
        .and_then(|text| text.parse().ok())
        .ok_or_else(|| ReadProblem::number(word, "a number"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_in_any_of_the_three_ways() {
        for text in ["a\nbb\n\nc", "a\r\nbb\r\n\r\nc", "a\rbb\r\rc"] {
            let mut source = Source::of_bytes(text.as_bytes()).unwrap();
            let mut lines = Vec::new();
            while let Some(line) = source.next_line().unwrap() {
                lines.push(String::from_utf8_lossy(line).into_owned());
            }
            assert_eq!(lines, ["a", "bb", "", "c"], "{text:?}");
            assert_eq!(source.line(), 4);
            assert_eq!(source.remaining(), 0);
        }
    }

    #[test]
    fn words_and_lines_longer_than_a_piece_come_whole() {
        let long = "x".repeat(3 * PIECE);
        let text = format!("one\n{long} two\nthree");
        let mut source = Source::of_bytes(text.as_bytes()).unwrap();
        assert_eq!(source.next_word().unwrap().unwrap(), b"one");
        assert_eq!(source.next_word().unwrap().unwrap().len(), 3 * PIECE);
        assert_eq!(source.next_word().unwrap().unwrap(), b"two");
        assert_eq!(source.line(), 1);
        assert_eq!(source.next_word().unwrap().unwrap(), b"three");
        assert_eq!(source.line(), 2);
        assert!(source.next_word().unwrap().is_none());
        let mut again = Source::of_bytes(text.as_bytes()).unwrap();
        again.next_line().unwrap();
        assert_eq!(again.next_line().unwrap().unwrap().len(), 3 * PIECE + 4);
    }

    #[test]
    fn skipping_past_the_end_is_seen() {
        let mut source = Source::of_bytes(b"12345").unwrap();
        assert!(source.skip(5).unwrap());
        assert!(!source.skip(1).unwrap());
    }
}
