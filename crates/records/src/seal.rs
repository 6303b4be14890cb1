//! Digests by which a record that changed, and one that vanished, are known.
//!
//! ```text
//! d = SHA-256(kind, row, row, ...)          one for each record, kept beside it
//! t = d_1 XOR d_2 XOR ...,  n               one of each for each kind, kept in `seals`
//! ```
//! What is digested is what a reader of the record gets: the names a record refers to rather than their numbers, and the rows of a
//! formula's parts or a batch's lots with it. Each value goes in with its type and its length, so that no two records have one
//! text; missing values at the end of a row are left out, so that a column added later changes no digest of what was kept before.
//!
//! Every reader compares the digest of what it read with the one beside it. Whoever reads all records of a kind compares their
//! number and the sum of their digests as well: a record lost together with its digest is missed there. Both are written in the
//! transaction of the record itself. A sum rather than a chain, because records imported under numbers of their own come in any
//! order.
//!
//! # Validity
//! It tells what a disk, a cable or a hand in another program did. It is no signature: who computes the digests anew can write
//! what he likes, and a whole older copy of the file is sound.
//!
//! # Source
//! SHA-256: FIPS 180-4, by the crate `sha2`.

use std::ops::Range;

use rusqlite::types::ValueRef;
use rusqlite::{Connection, Row, params};
use sha2::{Digest as _, Sha256};

use crate::error::Stop;
use crate::query::{change_one, first, rows};
use crate::{Kind, RecordsError};

/// Length of a digest, bytes.
const BYTES: usize = 32;

/// SHA-256 of a record, or the sum of several.
pub(crate) type Digest = [u8; BYTES];

/// What stands before each value.
mod tag {
    /// None.
    pub const NULL: u8 = 0;
    /// A whole number, 8 bytes, the highest first.
    pub const INTEGER: u8 = 1;
    /// A number, the 8 bytes of IEEE 754, the highest first.
    pub const REAL: u8 = 2;
    /// A text: its length as a whole number, its bytes.
    pub const TEXT: u8 = 3;
    /// Bytes, like a text.
    pub const BLOB: u8 = 4;
    /// The end of a row.
    pub const END: u8 = 5;
}

/// A record while its rows come in.
#[derive(Debug, Clone)]
pub(crate) struct Sealing(Sha256);

impl Sealing {
    /// Begins a record.
    pub(crate) fn new(kind: Kind) -> Sealing {
        let mut sealing = Sealing(Sha256::new());
        sealing.bytes(tag::TEXT, kind.word().as_bytes());
        sealing
    }

    /// Takes one row.
    pub(crate) fn row<'v>(&mut self, values: impl IntoIterator<Item = ValueRef<'v>>) {
        let mut missing = 0;
        for value in values {
            if value == ValueRef::Null {
                missing += 1;
                continue;
            }
            (0..std::mem::take(&mut missing)).for_each(|_| self.0.update([tag::NULL]));
            match value {
                ValueRef::Null => {}
                ValueRef::Integer(value) => self.number(tag::INTEGER, value.to_be_bytes()),
                ValueRef::Real(value) => self.number(tag::REAL, value.to_bits().to_be_bytes()),
                ValueRef::Text(text) => self.bytes(tag::TEXT, text),
                ValueRef::Blob(bytes) => self.bytes(tag::BLOB, bytes),
            }
        }
        self.0.update([tag::END]);
    }

    /// Returns the digest.
    pub(crate) fn end(self) -> Digest {
        self.0.finalize().into()
    }

    fn number(&mut self, tag: u8, bytes: [u8; 8]) {
        self.0.update([tag]);
        self.0.update(bytes);
    }

    fn bytes(&mut self, tag: u8, bytes: &[u8]) {
        self.number(tag, (bytes.len() as u64).to_be_bytes());
        self.0.update(bytes);
    }
}

/// Returns some columns of a row.
pub(crate) fn values<'r>(row: &'r Row<'_>, columns: Range<usize>) -> Result<Vec<ValueRef<'r>>, Stop> {
    Ok(columns.map(|column| row.get_ref(column)).collect::<Result<_, _>>()?)
}

/// Returns the digest of a record of one row, whose last column is not part of it: there is the digest kept.
pub(crate) fn of_row(kind: Kind, row: &Row<'_>) -> Result<Digest, Stop> {
    let columns = row.as_ref().column_count().saturating_sub(1);
    let mut sealing = Sealing::new(kind);
    sealing.row(values(row, 0..columns)?);
    Ok(sealing.end())
}

/// Returns the digest kept in a column, if it is one.
pub(crate) fn kept(value: ValueRef<'_>) -> Option<Digest> {
    value.as_blob_or_null().ok().flatten().and_then(|bytes| bytes.try_into().ok())
}

/// Refuses a record whose digest is not the one kept beside it.
pub(crate) fn compare(found: &Digest, kept: Option<Digest>) -> Result<(), Stop> {
    if kept.as_ref() == Some(found) {
        return Ok(());
    }
    Err(Stop::Unreadable("it has changed since it was kept".to_owned()))
}

/// Seals a record just put in: its digest beside it, and into the sum of its kind.
///
/// # Arguments
/// * `digest`: of the record as its reader gets it; `None` when it is not there.
pub(crate) fn put(connection: &Connection, kind: Kind, id: i64, digest: Option<Digest>) -> Result<(), Stop> {
    let digest = digest.ok_or(RecordsError::NotKept { kind: kind.word(), changed: 0 })?;
    let sql = format!("UPDATE {} SET digest = ?2 WHERE id = ?1", kind.word());
    change_one(connection, kind, &sql, params![id, digest])?;
    let mut total = Total::kept(connection, kind)?;
    total.add(&digest);
    let sql = "UPDATE seals SET records = ?2, digest = ?3 WHERE kind = ?1";
    change_one(connection, kind, sql, params![kind.word(), total.records, total.digest])
}

/// Seals a record of one row.
///
/// # Arguments
/// * `sql`: the statement its reader uses, by its id.
pub(crate) fn put_row(connection: &Connection, kind: Kind, id: i64, sql: &str) -> Result<(), Stop> {
    let digest = first(connection, sql, [id], |row| of_row(kind, row))?;
    put(connection, kind, id, digest)
}

/// Compares the records of a kind that are there with the number and the sum kept, and returns how many there are.
///
/// What is added up are the digests beside the records; that each fits its record is for its reader to see.
pub(crate) fn complete(connection: &Connection, kind: Kind) -> Result<u64, Stop> {
    let sql = format!("SELECT id, digest FROM {} ORDER BY id", kind.word());
    let digests: Vec<(i64, Option<Digest>)> =
        rows(connection, &sql, [], |row| Ok((row.get(0)?, kept(row.get_ref(1)?))))?;
    let (mut found, mut last) = (Total { records: 0, digest: [0; BYTES] }, i64::MIN);
    for (id, digest) in digests {
        found.add(&digest.ok_or_else(|| Stop::Unreadable(format!("{} {id} has no digest", kind.one())))?);
        // Pages that changed places keep every record and show them in another order.
        if id <= std::mem::replace(&mut last, id) {
            return Err(Stop::Unreadable(format!("the {} are not in the order they were kept", kind.word())));
        }
    }
    let kept = Total::kept(connection, kind)?;
    if found == kept {
        return Ok(found.records.unsigned_abs());
    }
    Err(Stop::Unreadable(if found.records == kept.records {
        format!("the {} are not those that were kept", kind.word())
    } else {
        format!("{} {} were kept and {} are there", kept.records, kind.word(), found.records)
    }))
}

/// How many records of a kind there are, and the sum of their digests.
#[derive(Debug, PartialEq)]
struct Total {
    records: i64,
    digest: Digest,
}

impl Total {
    /// Returns what is kept of a kind.
    fn kept(connection: &Connection, kind: Kind) -> Result<Total, Stop> {
        let missing = || Stop::Unreadable(format!("the number of the {} kept is gone", kind.word()));
        let sql = "SELECT records, digest FROM seals WHERE kind = ?1";
        let total =
            first(connection, sql, [kind.word()], |row| Ok(row.get_ref(0)?.as_i64().ok().zip(kept(row.get_ref(1)?))))?;
        let (records, digest) = total.flatten().ok_or_else(missing)?;
        Ok(Total { records, digest })
    }

    /// Takes one more record.
    fn add(&mut self, digest: &Digest) {
        self.records = self.records.saturating_add(1);
        self.digest.iter_mut().zip(digest).for_each(|(sum, byte)| *sum ^= byte);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The digest of some rows of one lot.
    fn of(rows: &[&[ValueRef<'_>]]) -> Digest {
        let mut sealing = Sealing::new(Kind::Lots);
        rows.iter().for_each(|row| sealing.row(row.iter().copied()));
        sealing.end()
    }

    #[test]
    fn a_value_missing_within_a_row_counts_and_one_missing_at_its_end_does_not() {
        const ONE: ValueRef<'_> = ValueRef::Integer(1);
        const TWO: ValueRef<'_> = ValueRef::Text(b"two");
        const NONE: ValueRef<'_> = ValueRef::Null;
        assert_eq!(of(&[&[ONE, TWO]]), of(&[&[ONE, TWO, NONE, NONE]]));
        let different =
            [&[ONE, TWO][..], &[NONE, ONE, TWO], &[NONE, NONE, ONE, TWO], &[ONE, NONE, TWO], &[ONE, NONE, NONE, TWO]];
        for (index, one) in different.iter().enumerate() {
            for other in &different[..index] {
                assert_ne!(of(&[one]), of(&[other]), "{one:?} {other:?}");
            }
        }
        // What is missing at the end of a row is not missing at the beginning of the next.
        assert_eq!(of(&[&[ONE, NONE], &[TWO]]), of(&[&[ONE], &[TWO]]));
    }

    #[test]
    fn what_is_digested_is_laid_out_as_files_of_today_have_it() {
        // By hand: tag 3 and eight bytes of length before a text, tag 1 or 2 before eight bytes of a number, 0 where one is missing, 5 at the end.
        // One is 3FF0 0000 0000 0000 in IEEE 754.
        let laid_out = b"\x03\0\0\0\0\0\0\0\x04lots\x01\0\0\0\0\0\0\x01\x02\0\0\x02\x3f\xf0\0\0\0\0\0\0\x04\0\0\0\0\0\0\0\x01z\x05";
        let row = [ValueRef::Integer(258), ValueRef::Null, ValueRef::Null, ValueRef::Real(1.0), ValueRef::Blob(b"z")];
        assert_eq!(of(&[&row]), Digest::from(Sha256::digest(laid_out)));
    }

    #[test]
    fn the_sum_of_digests_is_that_without_carry() {
        let mut total = Total { records: 0, digest: [0; BYTES] };
        total.add(&[0b1100; BYTES]);
        total.add(&[0b1010; BYTES]);
        assert_eq!(total, Total { records: 2, digest: [0b0110; BYTES] });
        // What goes in twice goes out.
        total.add(&[0b0110; BYTES]);
        assert_eq!(total, Total { records: 3, digest: [0; BYTES] });
    }
}
