//! What a path holds: the series, what each is good for, and the way to read
//! one.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use rayon::prelude::*;

use crate::dicom::{Damage, Recognised, open_file};
use crate::identity::{self, IdentityTag};
use crate::limits::Limits;
use crate::nifti::{self, NiftiHeader, read_nifti};
use crate::read::{Intake, read_series};
use crate::reason::{Reason, Refusal};
use crate::series::{Judged, Opened, Series, group, judge, judge_nifti};
use crate::source::{Blob, Source, gather};
use crate::summary::SeriesSummary;

/// An opened input: its files and the series found in them.
///
/// Headers were read, pixels were not. `Debug` prints counts only.
pub struct Scan {
    blobs: Vec<Blob>,
    opened: Vec<Opened>,
    entries: Vec<Entry>,
    summaries: Vec<SeriesSummary>,
    passed_over: usize,
    damaged: Vec<(usize, Damage)>,
    damaged_archives: usize,
}

/// One choice.
struct Entry {
    content: Content,
    judged: Judged,
    /// Columns, rows.
    matrix: [usize; 2],
}

/// What a choice is read from.
enum Content {
    Dicom(Series),
    /// The file's ordinal, from 1, and its header where that was accepted.
    Nifti(usize, Option<Box<NiftiHeader>>),
}

impl std::fmt::Debug for Scan {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Scan")
            .field("files", &self.blobs.len())
            .field("series", &self.summaries.len())
            .field("passed_over", &self.passed_over)
            .field("damaged", &self.damaged.len())
            .finish_non_exhaustive()
    }
}

/// Open a folder, a DICOM file, a `.zip`, `.tar`, `.tar.gz` or `.gz` of them,
/// a `DICOMDIR`, or a `NIfTI` file; read headers and list the series.
///
/// Series are listed by what their headers say, so that ordinals depend
/// neither on file names nor on their order.
///
/// # Errors
///
/// [`Refusal`] when no series is found (`scan.nothing`), when every DICOM file
/// is damaged (`pixels.truncated`), or when a limit is passed
/// (`limits.too_large`). A series that is listed may still be refused by
/// [`Scan::read`].
pub fn open(path: &Path, limits: &Limits) -> Result<Scan, Refusal> {
    let Source { files: blobs, passed_over, damaged: damaged_archives } = gather(path, limits)?;
    let recognised: Vec<Found> = blobs
        .par_iter()
        .map(|blob| {
            catch_unwind(AssertUnwindSafe(|| look_at(blob, limits)))
                .unwrap_or(Found::Dicom(Recognised::Damaged(Damage::Unreadable)))
        })
        .collect();
    let mut scan = Scan {
        blobs,
        opened: Vec::new(),
        entries: Vec::new(),
        summaries: Vec::new(),
        passed_over,
        damaged: Vec::new(),
        damaged_archives,
    };
    let mut niftis = Vec::new();
    for (at, found) in recognised.into_iter().enumerate() {
        match found {
            Found::Nifti(found) => niftis.push((at + 1, found)),
            Found::Dicom(Recognised::Object(head)) => {
                scan.opened.push(Opened { ordinal: at + 1, head: *head });
            }
            Found::Dicom(Recognised::Other) => scan.passed_over += 1,
            Found::Dicom(Recognised::Damaged(damage)) => scan.damaged.push((at + 1, damage)),
        }
    }
    scan.judge_all(niftis, limits);
    if scan.entries.is_empty() { Err(scan.nothing()) } else { Ok(scan) }
}

/// A `NIfTI` header, or why it is refused.
type FoundNifti = Result<NiftiHeader, Box<nifti::Refused>>;

#[expect(clippy::large_enum_variant, reason = "one a file, and gone at once")]
enum Found {
    Dicom(Recognised),
    Nifti(FoundNifti),
}

fn look_at(blob: &Blob, limits: &Limits) -> Found {
    match open_file(blob, limits) {
        Recognised::Other => {
            let head = blob.prefix(352).unwrap_or_default();
            let nifti = nifti::recognise(&head, blob.len(), limits);
            nifti.map_or(Found::Dicom(Recognised::Other), Found::Nifti)
        }
        dicom => Found::Dicom(dicom),
    }
}

impl Scan {
    /// The series, in the order of their ordinals.
    pub fn series(&self) -> &[SeriesSummary] {
        &self.summaries
    }

    /// Files that hold no image and no header of one.
    pub fn passed_over(&self) -> usize {
        self.passed_over
    }

    /// DICOM files whose header cannot be read.
    pub fn damaged(&self) -> usize {
        self.damaged.len()
    }

    /// Ordinals of the series that give Hounsfield units along a path, by
    /// their headers.
    pub fn usable(&self) -> Vec<usize> {
        self.summaries.iter().filter(|s| s.is_usable()).map(|s| s.ordinal).collect()
    }

    /// Read one series; `None` takes the only usable one.
    ///
    /// # Errors
    ///
    /// [`Refusal`] with every reason: of the series asked for; or
    /// `scan.several_series` with the ordinals when a choice is open; or, when
    /// none is usable, of the series that has most slices.
    pub fn read(&self, ordinal: Option<usize>, limits: &Limits) -> Result<Intake, Refusal> {
        let at = self.choose(ordinal)?;
        let entry = &self.entries[at];
        if !entry.judged.refusals.is_empty() {
            return Err(Refusal(entry.judged.refusals.clone()));
        }
        let judged = &entry.judged;
        match &entry.content {
            Content::Dicom(series) => {
                read_series(series, judged, &self.opened, &self.blobs, limits)
            }
            Content::Nifti(ordinal, Some(header)) => {
                let blob = &self.blobs[ordinal - 1];
                read_nifti(blob, header, judged.facts.clone(), judged.findings.clone())
            }
            Content::Nifti(_, None) => Err(Refusal(judged.refusals.clone())),
        }
    }

    /// The series again, each usable one read through, so that metal,
    /// saturation, air and damaged pixels are known.
    ///
    /// Holds one volume at a time.
    pub fn surveyed(&self, limits: &Limits) -> Vec<SeriesSummary> {
        self.summaries
            .iter()
            .map(|summary| {
                if !summary.is_usable() {
                    return summary.clone();
                }
                let read = self.read(Some(summary.ordinal), limits);
                summary.after_reading(read.as_ref())
            })
            .collect()
    }

    /// Attributes of a series that may identify the patient: keyword and
    /// action of PS3.15 table E.1-1, never a value.
    ///
    /// Empty for an ordinal that does not exist.
    pub fn identity_tags(&self, ordinal: usize) -> Vec<IdentityTag> {
        let Some(entry) = ordinal.checked_sub(1).and_then(|at| self.entries.get(at)) else {
            return Vec::new();
        };
        let Content::Dicom(series) = &entry.content else { return Vec::new() };
        let files = series.files();
        let traces: Vec<_> = files.iter().map(|at| &self.opened[*at].head.traces).collect();
        identity::tags_of(&traces)
    }

    fn judge_all(&mut self, niftis: Vec<(usize, FoundNifti)>, limits: &Limits) {
        for series in group(&self.opened) {
            let judged = judge(&series, &self.opened, self.blobs.len(), limits);
            let layout = &self.opened[series.frames[0].file].head.layout;
            let matrix = [layout.columns, layout.rows];
            self.entries.push(Entry { content: Content::Dicom(series), judged, matrix });
        }
        for (ordinal, found) in niftis {
            let judged = judge_nifti(found.as_ref().map_err(|refused| &**refused), limits);
            let size = match &found {
                Ok(header) => header.grid.size(),
                Err(refused) => refused.size,
            };
            let content = Content::Nifti(ordinal, found.ok().map(Box::new));
            self.entries.push(Entry { content, judged, matrix: [size[0], size[1]] });
        }
        self.blame_damaged_files();
        for (at, entry) in self.entries.iter().enumerate() {
            let judged = &entry.judged;
            let mut summary = SeriesSummary::new(
                at + 1,
                entry.matrix,
                &judged.facts,
                judged.placed.as_ref(),
                &judged.refusals,
                &judged.findings,
            );
            if let Content::Dicom(series) = &entry.content {
                summary.told_apart_by = series.told_apart_by;
            }
            self.summaries.push(summary);
        }
    }

    /// A damaged file may be a slice of any series: with one series that could
    /// be used it is taken to be a part of that, with several it is said.
    fn blame_damaged_files(&mut self) {
        if self.damaged_archives > 0 {
            let count = self.damaged_archives;
            let text = format!("{count} archives beside the files are damaged and were not opened");
            let finding =
                Reason::new("scan.damaged_file", text).measured(count as f64, 0.0, "archives");
            for entry in &mut self.entries {
                entry.judged.findings.push(finding.clone());
            }
        }
        let Some((ordinal, damage)) = self.damaged.first() else { return };
        let text = damaged_text(*ordinal, self.blobs.len(), *damage, self.damaged.len());
        let usable: Vec<usize> = (0..self.entries.len())
            .filter(|at| self.entries[*at].judged.refusals.is_empty())
            .collect();
        let count = self.damaged.len() as f64;
        match usable[..] {
            [only] => self.entries[only].judged.refusals.push(
                Reason::new(
                    "pixels.truncated",
                    format!("{text}; it may be a slice of this series"),
                )
                .measured(count, 0.0, "files")
                .next("copy or export the series again, or take the damaged file away"),
            ),
            _ => {
                for at in usable {
                    self.entries[at].judged.findings.push(
                        Reason::new("scan.damaged_file", text.clone())
                            .measured(count, 0.0, "files"),
                    );
                }
            }
        }
    }

    fn choose(&self, ordinal: Option<usize>) -> Result<usize, Refusal> {
        let count = self.summaries.len();
        if let Some(ordinal) = ordinal {
            return match ordinal {
                1.. if ordinal <= count => Ok(ordinal - 1),
                _ => Err(Reason::new(
                    "scan.no_such_series",
                    format!("there is no series {ordinal}; there are {count}"),
                )
                .measured(ordinal as f64, count as f64, "1")
                .next("list the series with `inspect`")
                .into()),
            };
        }
        match self.usable()[..] {
            [only] => Ok(only - 1),
            [] => Ok(self.most_telling()),
            ref several => {
                let named: Vec<String> = several.iter().map(ToString::to_string).collect();
                Err(Reason::new(
                    "scan.several_series",
                    format!("{} series can be used: {}", several.len(), named.join(", ")),
                )
                .measured(several.len() as f64, 1.0, "series")
                .next("compare them with `inspect`, then name one with `--series N`")
                .into())
            }
        }
    }

    /// Of series that are all refused, the one that the reader most likely
    /// meant: a CT volume before anything else, then the most slices.
    fn most_telling(&self) -> usize {
        let rank = |at: &usize| {
            let entry = &self.entries[*at];
            let code = entry.judged.refusals.first().map_or("", |reason| reason.code);
            let is_volume = !matches!(code, "scan.not_ct" | "scan.localizer");
            (is_volume, entry.judged.facts.slice_count, std::cmp::Reverse(*at))
        };
        (0..self.entries.len()).max_by_key(rank).unwrap_or_default()
    }

    fn nothing(&self) -> Refusal {
        if let Some((ordinal, damage)) = self.damaged.first() {
            let text = damaged_text(*ordinal, self.blobs.len(), *damage, self.damaged.len());
            let code = match damage {
                Damage::TooDeep | Damage::TooMany | Damage::TooLong => "limits.too_large",
                Damage::Broken | Damage::Unreadable => "pixels.truncated",
            };
            return Reason::new(code, text).next("copy or export it again").into();
        }
        let files = self.blobs.len() + self.passed_over.saturating_sub(self.blobs.len());
        let text = if files == 0 {
            "there is no file at the path given".to_owned()
        } else {
            format!("none of {files} files is a DICOM image or a NIfTI volume")
        };
        Reason::new("scan.nothing", text)
            .measured(0.0, 1.0, "series")
            .next("give the folder, file or archive of one CT series")
            .into()
    }
}

fn damaged_text(ordinal: usize, of: usize, damage: Damage, count: usize) -> String {
    let what = match damage {
        Damage::Broken => "is cut off or broken in its header",
        Damage::TooDeep => "nests sequences deeper than the limit",
        Damage::TooMany => "has more header elements than the limit",
        Damage::TooLong => "has a longer header than the limit",
        Damage::Unreadable => "cannot be read",
    };
    let others = match count {
        1 => String::new(),
        2 => ", and one more file is damaged".to_owned(),
        n => format!(", and {} more files are damaged", n - 1),
    };
    format!("file {ordinal} of {of} {what}{others}")
}
