//! A quad around every lattice edge that the surface crosses, cut in two.

use super::layer::Layer;
use super::signs::{Signs, before, bits_of};

/// The crossed edge, seen from the four cells around it: low and low, high and
/// low, high and high, low and high along the two axes across, for an edge
/// along columns, rows, slices.
const LOCAL_EDGES: [[u8; 4]; 3] = [[3, 2, 0, 1], [7, 5, 4, 6], [11, 10, 8, 9]];

/// Writes the triangles of one layer of cells.
///
/// The layer's triangles belong to the edges along columns and rows in its
/// lower slice, whose quads reach into the layer below, and to the edges along
/// slices within it.
pub(super) struct Quads<'a> {
    pub(super) below: &'a Layer,
    pub(super) own: &'a Layer,
    /// Whether the lattice is left-handed in the patient.
    pub(super) mirrored: bool,
    pub(super) triangles: std::slice::IterMut<'a, [u32; 3]>,
}

impl<'a> Quads<'a> {
    pub(super) fn write(&mut self, signs: &Signs, slice: usize) {
        let [columns, rows, _] = signs.size();
        let pitch = columns + 1;
        for row in 0..=rows {
            let [low, next, high, _] = signs.rows_of_cells(row, slice);
            for word in signs.words_of_cells(row, slice) {
                let (lows, befores) = (low[word], before(low, word));
                let along_columns = befores ^ lows;
                let along_rows = lows ^ next[word];
                let along_slices = lows ^ high[word];
                if along_columns | along_rows | along_slices == 0 {
                    continue;
                }
                let at = row * pitch + word * 64;
                for bit in bits_of(along_columns) {
                    let cell = at + bit as usize;
                    let cells = [cell - pitch, cell, cell, cell - pitch];
                    self.quad(0, cells, befores >> bit & 1 == 1);
                }
                for bit in bits_of(along_rows) {
                    let cell = at + bit as usize;
                    self.quad(1, [cell, cell, cell + 1, cell + 1], lows >> bit & 1 == 1);
                }
                for bit in bits_of(along_slices) {
                    let cell = at + bit as usize;
                    let cells = [cell - pitch, cell + 1 - pitch, cell + 1, cell];
                    self.quad(2, cells, lows >> bit & 1 == 1);
                }
            }
        }
    }

    /// - `cells`: around the edge, in the order of [`LOCAL_EDGES`].
    /// - `low_inside`: whether the edge starts inside.
    #[inline]
    fn quad(&mut self, axis: usize, cells: [usize; 4], low_inside: bool) {
        let layers = self.layers(axis);
        let turned = low_inside == self.mirrored;
        let only = |n: usize| layers[n].only_vertex(cells[n]);
        match (only(0), only(1), only(2), only(3)) {
            (Some(a), Some(b), Some(c), Some(d)) => self.cut([a, b, c, d], turned),
            _ => self.intricate_quad(axis, cells, turned),
        }
    }

    /// The layers of the four cells around an edge along `axis`.
    #[inline]
    fn layers(&self, axis: usize) -> [&'a Layer; 4] {
        match axis {
            0 => [self.below, self.below, self.own, self.own],
            1 => [self.below, self.own, self.own, self.below],
            _ => [self.own; 4],
        }
    }

    #[inline(never)]
    fn intricate_quad(&mut self, axis: usize, cells: [usize; 4], turned: bool) {
        let (layers, edges) = (self.layers(axis), LOCAL_EDGES[axis]);
        let corners = std::array::from_fn(|n| layers[n].vertex(cells[n], edges[n]));
        let strip = |low_cell: usize, across: usize| {
            layers[low_cell].strip_vertex(cells[low_cell], (axis + across) % 3, edges[low_cell])
        };
        let strips = [strip(0, 1), strip(1, 2), strip(3, 1), strip(0, 2)];
        if strips.iter().any(Option::is_some) {
            self.fan(corners, strips, turned);
        } else {
            self.cut(corners, turned);
        }
    }

    /// Two triangles, cut along the shorter diagonal.
    #[inline]
    fn cut(&mut self, [a, b, c, d]: [u32; 4], turned: bool) {
        let (first, second) = if self.squared(b, d) < self.squared(a, c) {
            ([a, b, d], [b, c, d])
        } else {
            ([a, b, c], [a, c, d])
        };
        self.push(first, turned);
        self.push(second, turned);
    }

    /// A polygon with vertices between its corners, all cut from one of those:
    /// such a vertex belongs to two polygons only, so its diagonals are new.
    fn fan(&mut self, corners: [u32; 4], strips: [Option<u32>; 4], turned: bool) {
        let mut outline = Vec::with_capacity(8);
        let start = strips.iter().position(Option::is_some).unwrap_or(0);
        for n in (start..start + 4).map(|n| n % 4) {
            outline.extend(strips[n]);
            outline.push(corners[(n + 1) % 4]);
        }
        for pair in outline[1..].windows(2) {
            self.push([outline[0], pair[0], pair[1]], turned);
        }
    }

    #[inline]
    fn push(&mut self, [a, b, c]: [u32; 3], turned: bool) {
        if let Some(place) = self.triangles.next() {
            *place = if turned { [a, c, b] } else { [a, b, c] };
        }
    }

    #[inline]
    fn position(&self, vertex: u32) -> &[f64; 3] {
        match vertex.checked_sub(self.own.first()) {
            Some(own) => &self.own.vertices[own as usize],
            None => &self.below.vertices[(vertex - self.below.first()) as usize],
        }
    }

    #[inline]
    fn squared(&self, from: u32, to: u32) -> f64 {
        let (a, b) = (self.position(from), self.position(to));
        let apart = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
        apart[0] * apart[0] + apart[1] * apart[1] + apart[2] * apart[2]
    }
}
