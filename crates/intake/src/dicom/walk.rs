//! The header walker: every element of a data set up to its pixels, found
//! without recursion and without believing a length.

use super::tag::Tag;
use crate::limits::Limits;

/// How elements are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Encoding {
    pub explicit: bool,
    pub big_endian: bool,
}

/// One element or item; children follow it, up to `next`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Node {
    pub tag: Tag,
    pub vr: [u8; 2],
    /// Offset and length of the value; of a sequence or item, of its content
    /// where that is stated, else 0.
    pub at: usize,
    pub len: usize,
    /// Position in the node list of what comes after this node's children.
    pub next: usize,
}

/// Where the pixels start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct PixelElement {
    pub tag: Tag,
    /// Offset of the value.
    pub at: usize,
    /// Stated length; `None` when undefined, that is encapsulated.
    pub len: Option<usize>,
}

/// Why the walk stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ended {
    Pixels(PixelElement),
    End,
    /// The walk needs bytes up to here; the file has them.
    NeedsMore(usize),
    /// A length runs past its container or the file, or the structure is not
    /// DICOM's.
    Broken,
    TooDeep,
    TooMany,
}

/// All elements met, and why the walk stopped.
#[derive(Debug)]
pub(crate) struct Walk {
    pub nodes: Vec<Node>,
    pub ended: Ended,
}

/// Walk a data set.
///
/// - `bytes`: the file, or the start of it.
/// - `start`: offset of the first element.
/// - `total`: length of the whole file; lengths are held against it.
pub(crate) fn walk(
    bytes: &[u8],
    start: usize,
    total: usize,
    encoding: Encoding,
    limits: &Limits,
) -> Walk {
    let mut walker =
        Walker { bytes, total, encoding, limits, at: start, nodes: Vec::new(), open: Vec::new() };
    let ended = loop {
        if let Some(ended) = walker.step() {
            break ended;
        }
    };
    let Walker { mut nodes, open, .. } = walker;
    let last = nodes.len();
    for container in open {
        nodes[container.node].next = last;
    }
    Walk { nodes, ended }
}

struct Walker<'a> {
    bytes: &'a [u8],
    total: usize,
    encoding: Encoding,
    limits: &'a Limits,
    at: usize,
    nodes: Vec<Node>,
    open: Vec<Container>,
}

/// A sequence or an item that has not ended.
#[derive(Clone, Copy)]
struct Container {
    node: usize,
    /// Offset of its end; `None` when a delimiter ends it.
    end: Option<usize>,
    is_sequence: bool,
    encoding: Encoding,
}

/// Tag, representation and length of one element.
struct Lead {
    tag: Tag,
    vr: [u8; 2],
    value_at: usize,
    len: Option<usize>,
}

const UNDEFINED: u32 = u32::MAX;

impl Walker<'_> {
    fn step(&mut self) -> Option<Ended> {
        while let Some(container) = self.open.last()
            && container.end == Some(self.at)
        {
            self.close();
        }
        let limit = self.open.iter().rev().find_map(|c| c.end).unwrap_or(self.total);
        if self.open.is_empty() && self.at == self.total {
            return Some(Ended::End);
        }
        if self.nodes.len() >= self.limits.max_elements {
            return Some(Ended::TooMany);
        }
        let inside_sequence = self.open.last().is_some_and(|c| c.is_sequence);
        let encoding = self.open.last().map_or(self.encoding, |c| c.encoding);
        let lead = match self.lead(encoding, limit) {
            Ok(lead) => lead,
            Err(ended) => return Some(ended),
        };
        match lead.tag {
            Tag::ITEM if inside_sequence => self.enter(&lead, limit, encoding, false),
            Tag::SEQUENCE_DELIMITATION if inside_sequence => self.leave(&lead),
            Tag::ITEM_DELIMITATION if !inside_sequence && !self.open.is_empty() => {
                self.leave(&lead)
            }
            _ if inside_sequence || lead.tag.0 == 0xFFFE => Some(Ended::Broken),
            Tag::PIXEL_DATA | Tag::FLOAT_PIXEL_DATA | Tag::DOUBLE_FLOAT_PIXEL_DATA
                if self.open.is_empty() =>
            {
                Some(Ended::Pixels(PixelElement {
                    tag: lead.tag,
                    at: lead.value_at,
                    len: lead.len,
                }))
            }
            _ => self.element(&lead, limit, encoding),
        }
    }

    /// A plain element or the start of a sequence.
    fn element(&mut self, lead: &Lead, limit: usize, encoding: Encoding) -> Option<Ended> {
        match (&lead.vr, lead.len) {
            (b"SQ", _) => self.enter(lead, limit, encoding, true),
            // A sequence of unknown kind is written implicitly (PS3.5 6.2.2).
            (b"UN", None) => {
                self.enter(lead, limit, Encoding { explicit: false, big_endian: false }, true)
            }
            (_, None) if !encoding.explicit => self.enter(lead, limit, encoding, true),
            (_, None) => Some(Ended::Broken),
            (_, Some(len)) => {
                let end = lead.value_at.checked_add(len).filter(|end| *end <= limit);
                let Some(end) = end else { return Some(Ended::Broken) };
                if end > self.bytes.len() {
                    return Some(Ended::NeedsMore(end));
                }
                let next = self.nodes.len() + 1;
                self.nodes.push(Node { tag: lead.tag, vr: lead.vr, at: lead.value_at, len, next });
                self.at = end;
                None
            }
        }
    }

    fn enter(
        &mut self,
        lead: &Lead,
        limit: usize,
        encoding: Encoding,
        is_sequence: bool,
    ) -> Option<Ended> {
        if self.open.len() >= 2 * self.limits.max_depth {
            return Some(Ended::TooDeep);
        }
        let end = match lead.len {
            None => None,
            Some(len) => match lead.value_at.checked_add(len).filter(|end| *end <= limit) {
                Some(end) => Some(end),
                None => return Some(Ended::Broken),
            },
        };
        let node = self.nodes.len();
        let (at, len) = (lead.value_at, lead.len.unwrap_or(0));
        self.nodes.push(Node { tag: lead.tag, vr: lead.vr, at, len, next: node + 1 });
        self.open.push(Container { node, end, is_sequence, encoding });
        self.at = lead.value_at;
        None
    }

    /// A delimiter: it must end a container of undefined length.
    fn leave(&mut self, lead: &Lead) -> Option<Ended> {
        if self.open.last().is_none_or(|c| c.end.is_some()) || lead.len != Some(0) {
            return Some(Ended::Broken);
        }
        self.at = lead.value_at;
        self.close();
        None
    }

    fn close(&mut self) {
        if let Some(container) = self.open.pop() {
            let next = self.nodes.len();
            self.nodes[container.node].next = next;
        }
    }

    fn lead(&self, encoding: Encoding, limit: usize) -> Result<Lead, Ended> {
        let head = self.take(self.at, 8, limit)?;
        let half = |at: usize| u16_at(head, at, encoding.big_endian);
        let tag = Tag(half(0), half(2));
        if tag.0 == 0xFFFE {
            let len = defined(u32_at(head, 4, encoding.big_endian));
            return Ok(Lead { tag, vr: *b"  ", value_at: self.at + 8, len });
        }
        if !encoding.explicit {
            let len = defined(u32_at(head, 4, false));
            return Ok(Lead { tag, vr: tag.dictionary_vr(), value_at: self.at + 8, len });
        }
        let vr = [head[4], head[5]];
        if !vr.iter().all(u8::is_ascii_uppercase) {
            return Err(Ended::Broken);
        }
        if has_long_length(vr) {
            let long = self.take(self.at + 8, 4, limit)?;
            let len = defined(u32_at(long, 0, encoding.big_endian));
            return Ok(Lead { tag, vr, value_at: self.at + 12, len });
        }
        Ok(Lead { tag, vr, value_at: self.at + 8, len: Some(usize::from(half(6))) })
    }

    fn take(&self, at: usize, count: usize, limit: usize) -> Result<&[u8], Ended> {
        match at.checked_add(count) {
            Some(end) if end <= limit => self.bytes.get(at..end).ok_or(Ended::NeedsMore(end)),
            _ => Err(Ended::Broken),
        }
    }
}

fn defined(len: u32) -> Option<usize> {
    (len != UNDEFINED).then_some(len as usize)
}

/// Whether an explicit length has four bytes (PS3.5 table 7.1-1).
pub(super) fn has_long_length(vr: [u8; 2]) -> bool {
    matches!(
        &vr,
        b"OB"
            | b"OD"
            | b"OF"
            | b"OL"
            | b"OV"
            | b"OW"
            | b"SQ"
            | b"SV"
            | b"UC"
            | b"UN"
            | b"UR"
            | b"UT"
            | b"UV"
    )
}

/// Two bytes as a number; the caller has checked that they are there.
pub(super) fn u16_at(bytes: &[u8], at: usize, big_endian: bool) -> u16 {
    let pair = [bytes[at], bytes[at + 1]];
    if big_endian { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) }
}

/// Four bytes as a number; the caller has checked that they are there.
pub(super) fn u32_at(bytes: &[u8], at: usize, big_endian: bool) -> u32 {
    let four = [bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]];
    if big_endian { u32::from_be_bytes(four) } else { u32::from_le_bytes(four) }
}
