//! Values of a walked data set.

use std::borrow::Cow;

use super::tag::Tag;
use super::walk::{Node, Walk, u16_at, u32_at};

/// A walked data set and the bytes that its values lie in.
pub(crate) struct DataSet<'a> {
    bytes: &'a [u8],
    walk: &'a Walk,
    big_endian: bool,
}

/// A run of sibling nodes: the whole data set, or the content of one item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Span {
    from: usize,
    to: usize,
}

impl<'a> DataSet<'a> {
    pub(crate) fn new(bytes: &'a [u8], walk: &'a Walk, big_endian: bool) -> Self {
        Self { bytes, walk, big_endian }
    }

    /// The outermost elements.
    pub(crate) fn root(&self) -> Span {
        Span { from: 0, to: self.walk.nodes.len() }
    }

    /// Every node at every depth.
    pub(crate) fn all(&self) -> &'a [Node] {
        &self.walk.nodes
    }

    /// The first element of a tag among siblings.
    pub(crate) fn find(&self, span: Span, tag: Tag) -> Option<&'a Node> {
        let at = self.position(span, tag)?;
        self.walk.nodes.get(at)
    }

    /// The items of a sequence among siblings.
    pub(crate) fn items(&self, span: Span, tag: Tag) -> Vec<Span> {
        let Some(at) = self.position(span, tag) else { return Vec::new() };
        let end = self.walk.nodes[at].next;
        let mut items = Vec::new();
        let mut item = at + 1;
        while item < end {
            let next = self.walk.nodes[item].next;
            items.push(Span { from: item + 1, to: next });
            item = next;
        }
        items
    }

    /// Text of an element, trimmed; `None` when it is absent or empty.
    pub(crate) fn text(&self, span: Span, tag: Tag) -> Option<Cow<'a, str>> {
        let raw = self.raw(self.find(span, tag)?);
        let raw = trimmed(raw);
        (!raw.is_empty()).then(|| String::from_utf8_lossy(raw))
    }

    /// Numbers of an element, whatever its representation; `None` when it is
    /// absent, empty, or any part is not a finite number.
    pub(crate) fn numbers(&self, span: Span, tag: Tag) -> Option<Vec<f64>> {
        let node = self.find(span, tag)?;
        let raw = self.raw(node);
        let big = self.big_endian;
        let width = match &node.vr {
            b"US" | b"SS" => 2,
            b"UL" | b"SL" | b"FL" => 4,
            b"FD" => 8,
            _ => return decimals(raw),
        };
        let values: Vec<f64> = raw
            .chunks_exact(width)
            .map(|c| match &node.vr {
                b"US" => f64::from(u16_at(c, 0, big)),
                b"SS" => f64::from(u16_at(c, 0, big).cast_signed()),
                b"UL" => f64::from(u32_at(c, 0, big)),
                b"SL" => f64::from(u32_at(c, 0, big).cast_signed()),
                b"FL" => f64::from(f32::from_bits(u32_at(c, 0, big))),
                _ => double_at(c, big),
            })
            .collect();
        (!values.is_empty() && values.iter().all(|v| v.is_finite())).then_some(values)
    }

    /// The first number of an element.
    pub(crate) fn number(&self, span: Span, tag: Tag) -> Option<f64> {
        self.numbers(span, tag)?.first().copied()
    }

    /// A fixed count of numbers.
    pub(crate) fn vector<const N: usize>(&self, span: Span, tag: Tag) -> Option<[f64; N]> {
        self.numbers(span, tag)?.try_into().ok()
    }

    /// A whole number that fits 16 bits.
    pub(crate) fn small(&self, span: Span, tag: Tag) -> Option<u16> {
        let value = self.number(span, tag)?;
        (value >= 0.0 && value <= f64::from(u16::MAX) && value.fract() == 0.0)
            .then_some(value as u16)
    }

    /// The bits of the first 16-bit value.
    pub(crate) fn word(&self, span: Span, tag: Tag) -> Option<u16> {
        let raw = self.raw(self.find(span, tag)?);
        (raw.len() >= 2).then(|| u16_at(raw, 0, self.big_endian))
    }

    /// Whether an element has a value that is not blank.
    pub(crate) fn is_filled(&self, node: &Node) -> bool {
        !trimmed(self.raw(node)).is_empty()
    }

    fn raw(&self, node: &Node) -> &'a [u8] {
        self.bytes.get(node.at..node.at + node.len).unwrap_or_default()
    }

    fn position(&self, span: Span, tag: Tag) -> Option<usize> {
        let mut at = span.from;
        while at < span.to {
            let node = &self.walk.nodes[at];
            if node.tag == tag {
                return Some(at);
            }
            at = node.next;
        }
        None
    }
}

fn double_at(bytes: &[u8], big_endian: bool) -> f64 {
    let eight: [u8; 8] = std::array::from_fn(|i| bytes[i]);
    if big_endian { f64::from_be_bytes(eight) } else { f64::from_le_bytes(eight) }
}

fn trimmed(raw: &[u8]) -> &[u8] {
    let blank = |b: &u8| *b == b' ' || *b == 0;
    let from = raw.iter().position(|b| !blank(b)).unwrap_or(raw.len());
    let to = raw.iter().rposition(|b| !blank(b)).map_or(from, |at| at + 1);
    &raw[from..to]
}

/// Decimal strings (PS3.5 6.2 DS, IS), separated by backslashes.
fn decimals(raw: &[u8]) -> Option<Vec<f64>> {
    // A value of 16 characters and a separator, 4,096 times, is beyond any use.
    if raw.len() > 17 * 4096 {
        return None;
    }
    let text = std::str::from_utf8(trimmed(raw)).ok()?;
    let number = |part: &str| part.trim().parse::<f64>().ok().filter(|v| v.is_finite());
    text.split('\\').map(number).collect()
}
