//! New inputs from kept ones: bytes changed, pieces of others put in, words of the seeds, numbers exchanged for extreme ones.

use std::ops::Range;

use mutatis::Session;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Longest input, bytes.
const LONGEST: usize = 4096;

/// Most changes of one input.
const MAX_CHANGES: u32 = 6;

/// Numbers at the ends of what is read.
const NUMBERS: [&str; 26] = [
    "0",
    "-0",
    "-1",
    "1",
    "100",
    "100.1",
    "0.1",
    "1e-9",
    "1e-10",
    "1e12",
    "1e13",
    "1e308",
    "1e309",
    "-1e309",
    "5e-324",
    "nan",
    "inf",
    "-inf",
    "9007199254740993",
    "18446744073709551616",
    "0,5",
    "1,000",
    "00.1",
    "1_0",
    "+1",
    "273.15",
];

/// Pieces that readers look at.
const PIECES: [&str; 30] = [
    "\n", "\r\n", "\r", "\t", ",", ";", ":", "=", "..", "\"", "'", "\"\"\"", "'''", "#", "[", "]", "{", "}", "\\u0000",
    "\u{feff}", "\u{2212}", "é", "\u{301}", "%", "°C", " F", " kg", " oz", "null", "true",
];

/// Makes inputs.
pub struct Mutator {
    random: Pcg64Mcg,
    bytes: Session,
    /// Words of the seeds.
    words: Vec<Vec<u8>>,
}

impl Mutator {
    /// Takes the words of the seeds.
    pub fn new(seed: u64, seeds: &[Vec<u8>]) -> Mutator {
        let mut words: Vec<Vec<u8>> = seeds.iter().flat_map(|seed| words_of(seed)).collect();
        words.sort_unstable();
        words.dedup();
        Mutator { random: Pcg64Mcg::seed_from_u64(seed), bytes: Session::new().seed(seed), words }
    }

    /// Makes the next input from those that are kept.
    pub fn next(&mut self, kept: &[Vec<u8>]) -> Vec<u8> {
        let mut input = self.one_of(kept).cloned().unwrap_or_default();
        if kept.is_empty() || self.random.random_ratio(1, 64) {
            input = (0..self.random.random_range(0..512)).map(|_| self.random.random()).collect();
        }
        for _ in 0..self.random.random_range(1..=MAX_CHANGES) {
            self.change(&mut input, kept);
        }
        input.truncate(LONGEST);
        input
    }

    fn one_of<'k, T>(&mut self, all: &'k [T]) -> Option<&'k T> {
        if all.is_empty() { None } else { all.get(self.random.random_range(0..all.len())) }
    }

    /// A piece of an input.
    fn piece(&mut self, length: usize) -> Range<usize> {
        let start = self.random.random_range(0..=length);
        let longest = if self.random.random_ratio(1, 4) { length - start } else { (length - start).min(16) };
        start..start + self.random.random_range(0..=longest)
    }

    fn change(&mut self, input: &mut Vec<u8>, kept: &[Vec<u8>]) {
        match self.random.random_range(0..12_u8) {
            0 => {
                let piece = self.piece(input.len());
                input.drain(piece);
            }
            1 => {
                let piece = self.piece(input.len());
                let copy = input.get(piece.clone()).unwrap_or_default().to_vec();
                self.put_in(input, &copy, false);
            }
            2 => {
                let other = self.one_of(kept).cloned().unwrap_or_default();
                let piece = self.piece(other.len());
                let replace = self.random.random();
                self.put_in(input, other.get(piece).unwrap_or_default(), replace);
            }
            3 | 4 => {
                let word = self.random.random_range(0..self.words.len().max(1));
                let word = self.words.get(word).cloned().unwrap_or_default();
                let replace = self.random.random();
                self.put_in(input, &word, replace);
            }
            5 => {
                let piece = self.one_of(&PIECES).copied().unwrap_or_default();
                self.put_in(input, piece.as_bytes(), false);
            }
            6 | 7 => {
                let numbers = numbers_in(input);
                let new = self.one_of(&NUMBERS).copied().unwrap_or_default();
                match self.one_of(&numbers).cloned() {
                    Some(place) => {
                        input.splice(place, new.bytes());
                    }
                    None => self.put_in(input, new.as_bytes(), false),
                }
            }
            8 => {
                // One word of the input in place of another.
                let words = words_in(input);
                let (one, other) = (self.one_of(&words).cloned(), self.one_of(&words).cloned());
                if let (Some(one), Some(other)) = (one, other) {
                    let word = input.get(one).unwrap_or_default().to_vec();
                    input.splice(other, word);
                }
            }
            9 => {
                let at = self.random.random_range(0..=input.len());
                let fresh = self.random.random::<u64>().to_le_bytes();
                let end = (at + fresh.len()).min(input.len());
                input.splice(at..end, fresh);
            }
            _ => {
                // Nothing to change is no failure.
                let _ = self.bytes.mutate(input);
            }
        }
    }

    /// Puts a piece in, or in place of one of its length.
    fn put_in(&mut self, input: &mut Vec<u8>, piece: &[u8], replace: bool) {
        let at = self.random.random_range(0..=input.len());
        let end = if replace { (at + piece.len()).min(input.len()) } else { at };
        input.splice(at..end, piece.iter().copied());
    }
}

/// The words of a seed, letters and digits together.
fn words_of(seed: &[u8]) -> impl Iterator<Item = Vec<u8>> {
    words_in(seed).into_iter().filter_map(|place| seed.get(place).map(<[u8]>::to_vec))
}

/// The places of words.
fn words_in(input: &[u8]) -> Vec<Range<usize>> {
    runs(input, |byte| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.'))
}

/// The places of numbers.
fn numbers_in(input: &[u8]) -> Vec<Range<usize>> {
    let mut places = runs(input, |byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'-' | b'+' | b'e'));
    places.retain(|place| input.get(place.clone()).is_some_and(|run| run.iter().any(u8::is_ascii_digit)));
    places
}

/// The places of the longest runs of such bytes.
fn runs(input: &[u8], of: impl Fn(u8) -> bool) -> Vec<Range<usize>> {
    let mut places: Vec<Range<usize>> = Vec::new();
    for (at, _) in input.iter().enumerate().filter(|(_, byte)| of(**byte)) {
        match places.last_mut() {
            Some(last) if last.end == at => last.end = at + 1,
            _ => places.push(at..at + 1),
        }
    }
    places
}
