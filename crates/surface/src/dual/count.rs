//! How many vertices and triangles each layer of cells will have.

use rayon::prelude::*;

use super::place::{Intricate, Scene};
use super::samples::Samples;
use super::signs::{Corners, before, bits_of};

/// Vertices and triangles of a layer.
#[derive(Clone, Debug, Default)]
pub(super) struct Count {
    pub(super) vertices: u64,
    pub(super) triangles: u64,
    /// Triangles that belong to the layer above.
    triangles_above: u64,
    /// Its cells that may hold several sheets, in order.
    pub(super) intricate: Vec<Intricate>,
}

/// Count every layer of cells.
pub(super) fn count_layers<S: Samples>(scene: &Scene<'_, S>) -> Vec<Count> {
    let layers = scene.signs.size()[2] + 1;
    let mut counts: Vec<Count> =
        (0..layers).into_par_iter().map(|layer| count_layer(scene, layer)).collect();
    for layer in 1..layers {
        counts[layer].triangles += counts[layer - 1].triangles_above;
    }
    counts
}

fn count_layer<S: Samples>(scene: &Scene<'_, S>, slice: usize) -> Count {
    let signs = scene.signs;
    let mut count = Count::default();
    let mut quads = 0;
    for row in 0..=signs.size()[1] {
        let around = signs.rows_of_cells(row, slice);
        let [low, next, high, _] = around;
        for word in signs.words_of_cells(row, slice) {
            let corners = Corners::gather(around, word);
            let crossed = corners.crossed();
            if crossed == 0 {
                continue;
            }
            quads += (before(low, word) ^ low[word]).count_ones()
                + (low[word] ^ next[word]).count_ones()
                + (low[word] ^ high[word]).count_ones();
            let intricate = crossed & corners.intricate();
            count.vertices += u64::from((crossed & !intricate).count_ones());
            for bit in bits_of(intricate) {
                let cell = [word * 64 + bit as usize, row, slice];
                let found = scene.intricate(cell, corners.of_cell(bit));
                count.vertices += u64::from(found.vertices());
                let upright = u64::from((found.strips_on & 0b011).count_ones());
                let level = u64::from(found.strips_on >> 2 & 1);
                // A strip's vertex adds a triangle at both edges it joins. On
                // an upright face one of the four lies in the slice above, on
                // a level face all do.
                count.triangles += 3 * upright;
                count.triangles_above += upright + 4 * level;
                count.intricate.push(found);
            }
        }
    }
    count.triangles += 2 * u64::from(quads);
    count
}
