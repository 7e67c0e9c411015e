//! The part of a shard: its cases as the tables see them, a line each.
//!
//! A part stands only while all its lines agree with the records: whoever
//! puts a new record in place removes the parts that speak of that row first.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, BufWriter, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::PathBuf;

use super::case::Bench;
use super::line::Line;
use super::manifest::Row;
use super::place::{Place, new_file};
use super::record::Record;
use super::shard::Shard;

/// Bytes that the readers of all parts together hold; more parts mean shorter
/// reads, twice the bytes half as many openings.
const ALL_BUFFERS: usize = 64 << 20;

/// Write the part of the run's shard, in the manifest's order.
///
/// # Errors
///
/// What the file system says, and a record that is gone or odd meanwhile.
pub(crate) fn write(bench: &Bench<'_>, rows: &[&Row]) -> io::Result<()> {
    let file = new_file(bench.workshop.path())?;
    let mut writer = BufWriter::with_capacity(1 << 18, file);
    for row in rows {
        let line = line_of(bench.place, row).ok_or(io::ErrorKind::NotFound)?;
        serde_json::to_writer(&mut writer, &line).map_err(io::Error::from)?;
        writer.write_all(b"\n")?;
    }
    let file = writer.into_inner().map_err(io::IntoInnerError::into_error)?;
    file.as_file().sync_all()?;
    file.persist(bench.place.part(bench.params.shard)).map_err(|error| error.error)?;
    Ok(())
}

/// The line of a case, out of its folder.
pub(crate) fn line_of(place: &Place, row: &Row) -> Option<Line> {
    let (record, report) = Record::read(&place.case(&row.case), &row.case)?;
    match report {
        None => Some(Line::of_refusal(row.number, &record)),
        Some(bytes) => {
            Line::of_report(row.number, &record, &serde_json::from_slice(&bytes).ok()?).ok()
        }
    }
}

/// Remove a part whose lines no longer agree.
///
/// # Errors
///
/// What the file system says, unless it is gone already.
pub(crate) fn remove(place: &Place, shard: Shard) -> io::Result<()> {
    match fs::remove_file(place.part(shard)) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

/// The parts that stand.
pub(crate) fn standing(place: &Place) -> Vec<Shard> {
    let Ok(entries) = fs::read_dir(place.parts()) else { return Vec::new() };
    let mut shards: Vec<Shard> = entries
        .flatten()
        .filter_map(|entry| {
            let name = entry.file_name();
            let (index, count) = name.to_str()?.strip_suffix(".ndjson")?.split_once("-of-")?;
            Shard::new(index.parse().ok()?, count.parse().ok()?).ok()
        })
        .collect();
    shards.sort_unstable_by_key(|shard| (shard.count(), shard.index()));
    shards
}

/// Lines by row, read from the fullest set of parts.
///
/// Rows must be asked for in ascending order. Every part is read once, from
/// front to back, in pieces; no file stays open.
#[derive(Debug, Default)]
pub(crate) struct Lines {
    count: u64,
    readers: BTreeMap<u64, Reader>,
}

#[derive(Debug)]
struct Reader {
    path: PathBuf,
    piece: usize,
    offset: u64,
    buffer: Vec<u8>,
    at: usize,
    waiting: Option<Line>,
}

impl Lines {
    pub(crate) fn open(place: &Place) -> Self {
        let mut sets: BTreeMap<u64, Vec<Shard>> = BTreeMap::new();
        for shard in standing(place) {
            sets.entry(shard.count()).or_default().push(shard);
        }
        // Present shares compared without division: a/b >= c/d as a·d >= c·b.
        let fullest = sets.into_iter().max_by(|(a, present_a), (b, present_b)| {
            let left = present_a.len() as u128 * u128::from(*b);
            let right = present_b.len() as u128 * u128::from(*a);
            left.cmp(&right)
        });
        let Some((count, shards)) = fullest else { return Self::default() };
        let piece = (ALL_BUFFERS / shards.len()).clamp(1 << 13, 1 << 20);
        let readers = shards
            .into_iter()
            .map(|shard| (shard.index(), Reader::new(place.part(shard), piece)))
            .collect();
        Self { count, readers }
    }

    /// The line of a row, if the parts have one.
    pub(crate) fn line(&mut self, row: usize) -> Option<Line> {
        let index = (row as u64 - 1).checked_rem(self.count)?;
        self.readers.get_mut(&index)?.line(row)
    }
}

impl Reader {
    fn new(path: PathBuf, piece: usize) -> Self {
        Self { path, piece, offset: 0, buffer: Vec::new(), at: 0, waiting: None }
    }

    fn line(&mut self, row: usize) -> Option<Line> {
        loop {
            let line = match self.waiting.take() {
                Some(line) => line,
                None => self.next()?,
            };
            match line.row.cmp(&row) {
                std::cmp::Ordering::Less => {}
                std::cmp::Ordering::Equal => return Some(line),
                std::cmp::Ordering::Greater => {
                    self.waiting = Some(line);
                    return None;
                }
            }
        }
    }

    /// The next line that can be understood.
    fn next(&mut self) -> Option<Line> {
        loop {
            if let Some(length) = self.buffer[self.at..].iter().position(|b| *b == b'\n') {
                let line = serde_json::from_slice(&self.buffer[self.at..self.at + length]);
                self.at += length + 1;
                match line {
                    Ok(line) => return Some(line),
                    Err(_) => continue,
                }
            }
            if self.refill().unwrap_or(0) == 0 {
                return None;
            }
        }
    }

    fn refill(&mut self) -> io::Result<usize> {
        self.buffer.drain(..self.at);
        self.at = 0;
        let mut file = File::open(&self.path)?;
        file.seek(SeekFrom::Start(self.offset))?;
        let read = file.take(self.piece as u64).read_to_end(&mut self.buffer)?;
        self.offset += read as u64;
        Ok(read)
    }
}
