//! Which frames belong together.
//!
//! One choice is what shares a series, a kind of object, a frame of reference,
//! a matrix and an image type. Where two images lie at one place, the series
//! holds two stacks: they are told apart by the first attribute that does so
//! completely, and become two choices.

use crate::dicom::{FrameHead, Head, Kind};
use crate::redacted::Redacted;

use super::geometry::{REPEAT_MM, along_normal};

/// A file whose header was read; `ordinal` counts all files, from 1.
#[derive(Clone, Debug)]
pub(crate) struct Opened {
    pub ordinal: usize,
    pub head: Head,
}

/// A frame: its file in the list of opened ones, its place in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct FrameRef {
    pub file: usize,
    pub frame: usize,
}

/// Frames that are meant to be one volume.
#[derive(Clone, Debug)]
pub(crate) struct Series {
    pub frames: Vec<FrameRef>,
    /// Keyword of the attribute that tells this stack from another of the same
    /// series.
    pub told_apart_by: Option<&'static str>,
}

impl Series {
    /// The frames' headers, in order.
    pub(crate) fn heads<'a>(&self, files: &'a [Opened]) -> Vec<&'a FrameHead> {
        self.frames.iter().map(|at| &files[at.file].head.frames[at.frame]).collect()
    }

    /// The files of the series, each once, in order of first use.
    pub(crate) fn files(&self) -> Vec<usize> {
        let mut files: Vec<usize> = self.frames.iter().map(|at| at.file).collect();
        files.sort_unstable();
        files.dedup();
        files
    }
}

/// What makes two frames part of one choice; ordered, so that ordinals do not
/// depend on the order of files.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    number: Redacted<Option<i64>>,
    series: Redacted<String>,
    kind: Kind,
    modality: Option<String>,
    frame_of_reference: Redacted<String>,
    matrix: [usize; 2],
    image_type: Vec<String>,
}

/// Group all frames; the order of the result depends on headers only.
pub(crate) fn group(files: &[Opened]) -> Vec<Series> {
    let mut keyed: Vec<(Key, FrameRef)> = Vec::new();
    for (file, opened) in files.iter().enumerate() {
        for frame in 0..opened.head.frames.len() {
            keyed.push((key(&opened.head, frame), FrameRef { file, frame }));
        }
    }
    keyed.sort_by(|(a, at), (b, bt)| {
        let name = |r: &FrameRef| (&files[r.file].head.instance_uid, r.frame, r.file);
        a.cmp(b).then_with(|| name(at).cmp(&name(bt)))
    });
    keyed
        .chunk_by(|a, b| a.0 == b.0)
        .flat_map(|same| split_repeats(same.iter().map(|(_, at)| *at).collect(), files))
        .collect()
}

fn key(head: &Head, frame: usize) -> Key {
    // The fourth value and those after it are the vendor's.
    let image_type = head.frames[frame].image_type.iter().take(3).cloned().collect();
    Key {
        number: head.series_number.clone(),
        series: head.series_uid.clone(),
        kind: head.kind,
        modality: head.modality.clone(),
        frame_of_reference: head.frame_of_reference.clone(),
        matrix: [head.layout.rows, head.layout.columns],
        image_type,
    }
}

/// Split frames that repeat a place, by the first mark that leaves no repeat.
fn split_repeats(frames: Vec<FrameRef>, files: &[Opened]) -> Vec<Series> {
    if !repeats(&frames, files) {
        return vec![Series { frames, told_apart_by: None }];
    }
    let mark_count = files[frames[0].file].head.frames[frames[0].frame].marks.len();
    for mark in 0..mark_count {
        let value = |at: &FrameRef| &files[at.file].head.frames[at.frame].marks[mark];
        let mut ordered = frames.clone();
        ordered.sort_by(|a, b| value(a).1.cmp(&value(b).1));
        let parts: Vec<Vec<FrameRef>> =
            ordered.chunk_by(|a, b| value(a).1 == value(b).1).map(<[FrameRef]>::to_vec).collect();
        let tells_apart =
            parts.len() > 1 && parts.iter().all(|part| part.len() > 1 && !repeats(part, files));
        if tells_apart {
            let told_apart_by = Some(value(&frames[0]).0);
            return parts.into_iter().map(|frames| Series { frames, told_apart_by }).collect();
        }
    }
    vec![Series { frames, told_apart_by: None }]
}

/// Whether two frames lie at one place along the normal of the first.
fn repeats(frames: &[FrameRef], files: &[Opened]) -> bool {
    let heads: Vec<&FrameHead> =
        frames.iter().map(|at| &files[at.file].head.frames[at.frame]).collect();
    let Some(mut along) = along_normal(&heads) else { return false };
    along.sort_by(f64::total_cmp);
    along.windows(2).any(|w| w[1] - w[0] < REPEAT_MM)
}
