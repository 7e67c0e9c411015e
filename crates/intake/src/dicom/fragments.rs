//! Encapsulated pixels: which fragments make which frame (PS3.5 A.4).

use std::ops::Range;

use super::walk::u32_at;

/// Byte ranges of each frame's fragments.
///
/// - `bytes`: the file; `at`: offset of the encapsulated value.
///
/// `None` when the fragments are cut off, malformed, or cannot be shared out
/// among the frames.
pub(crate) fn frames_of_fragments(
    bytes: &[u8],
    at: usize,
    frame_count: usize,
) -> Option<Vec<Vec<Range<usize>>>> {
    let mut fragments = Vec::new();
    let mut next = at;
    let mut table: Option<Range<usize>> = None;
    loop {
        let head = bytes.get(next..next.checked_add(8)?)?;
        let len = u32_at(head, 4, false) as usize;
        match head[..4] {
            [0xFE, 0xFF, 0x00, 0xE0] => {}
            [0xFE, 0xFF, 0xDD, 0xE0] => break,
            _ => return None,
        }
        let end = (next + 8).checked_add(len).filter(|end| *end <= bytes.len())?;
        if table.is_none() {
            table = Some(next + 8..end);
        } else {
            fragments.push(next + 8..end);
        }
        next = end;
    }
    share_out(bytes, &table?, fragments, frame_count)
}

fn share_out(
    bytes: &[u8],
    table: &Range<usize>,
    fragments: Vec<Range<usize>>,
    frame_count: usize,
) -> Option<Vec<Vec<Range<usize>>>> {
    if frame_count == 1 {
        return (!fragments.is_empty()).then(|| vec![fragments]);
    }
    if fragments.len() == frame_count {
        return Some(fragments.into_iter().map(|one| vec![one]).collect());
    }
    let first = fragments.first()?.start - 8;
    let offsets: Vec<usize> =
        bytes[table.clone()].chunks_exact(4).map(|c| u32_at(c, 0, false) as usize).collect();
    let starts_frame = |fragment: &Range<usize>| {
        if offsets.len() == frame_count {
            offsets.contains(&(fragment.start - 8 - first))
        } else {
            // JPEG and JPEG 2000 streams start with FF D8 and FF 4F.
            matches!(bytes.get(fragment.start..fragment.start + 2), Some([0xFF, 0xD8 | 0x4F]))
        }
    };
    let mut frames: Vec<Vec<Range<usize>>> = Vec::new();
    for fragment in fragments {
        if starts_frame(&fragment) || frames.is_empty() {
            frames.push(Vec::new());
        }
        frames.last_mut()?.push(fragment);
    }
    (frames.len() == frame_count).then_some(frames)
}
