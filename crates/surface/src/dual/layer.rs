//! One layer of cells: numbers and places of its vertices.

use pilothole_volume::{Grid, Offset, PatientPoint, VoxelPoint};

use super::cell::crossed_edges;
use super::method::Extract;
use super::place::{Intricate, Scene, edges_of_sheet};
use super::samples::Samples;
use super::sheet::crossing;
use super::signs::{Corners, bits_of};

/// Marks a cell that is looked up in [`Layer::intricate`].
const LOOK_UP: u32 = 1 << 31;

/// Most vertices that a surface may have.
pub(super) const MOST_VERTICES: u64 = LOOK_UP as u64;

/// The vertices of a layer of cells.
#[derive(Default)]
pub(super) struct Layer {
    /// Number of the layer's first vertex.
    first: u32,
    /// Vertex of each cell, row by row; unspecified where the surface does not
    /// pass.
    ids: Vec<u32>,
    intricate: Vec<Numbered>,
    /// Positions, mm, LPS.
    pub(super) vertices: Vec<[f64; 3]>,
    /// Caps against samples without measurement.
    pub(super) unmeasured: usize,
}

struct Numbered {
    cell: Intricate,
    /// Vertex of the first sheet; those of strips follow the sheets'.
    first: u32,
}

/// Maps a layer's cells to the patient.
pub(super) struct Placing {
    corner: PatientPoint,
    steps: [Offset; 3],
}

impl Placing {
    /// - `from`: first voxel of the region.
    /// - `layer`: layer of cells, 0 below the region's first slice.
    pub(super) fn of_layer(grid: &Grid, from: [usize; 3], layer: usize) -> Self {
        let [column, row, slice] = from.map(|i| i as f64 - 1.0);
        let slice = slice + layer as f64;
        let corner = grid.patient_from_voxel(VoxelPoint([column, row, slice]));
        let above = grid.patient_from_voxel(VoxelPoint([column, row, slice + 1.0]));
        let [along_columns, along_rows, _] = grid.steps();
        Self { corner, steps: [along_columns, along_rows, above - corner] }
    }

    #[inline]
    fn place(&self, cell: [usize; 3], local: [f32; 3]) -> [f64; 3] {
        let column = cell[0] as f64 + f64::from(local[0]);
        let row = cell[1] as f64 + f64::from(local[1]);
        let height = f64::from(local[2]);
        (self.corner + self.steps[0] * column + self.steps[1] * row + self.steps[2] * height).0
    }
}

impl Layer {
    /// Number and place the vertices of layer `slice`.
    pub(super) fn fill<M: Extract + ?Sized, S: Samples>(
        &mut self,
        scene: &Scene<'_, M, S>,
        placing: &Placing,
        slice: usize,
        first: u32,
    ) {
        let [columns, rows, _] = scene.signs.size();
        self.first = first;
        self.ids.resize((columns + 1) * (rows + 1), 0);
        self.intricate.clear();
        self.vertices.clear();
        self.unmeasured = 0;
        for row in 0..=rows {
            let around = scene.signs.rows_of_cells(row, slice);
            for word in 0..scene.signs.width() {
                let corners = Corners::gather(around, word);
                let crossed = corners.crossed();
                if crossed != 0 {
                    self.add_word(scene, placing, (&corners, crossed), [word * 64, row, slice]);
                }
            }
        }
    }

    /// Add the crossed ones of 64 cells, the first of which is `first`.
    #[inline]
    fn add_word<M: Extract + ?Sized, S: Samples>(
        &mut self,
        scene: &Scene<'_, M, S>,
        placing: &Placing,
        (corners, crossed): (&Corners, u64),
        [column, row, slice]: [usize; 3],
    ) {
        let pitch = scene.signs.size()[0] + 1;
        let intricate = corners.intricate();
        for bit in bits_of(crossed) {
            let cell = [column + bit as usize, row, slice];
            let inside = corners.of_cell(bit);
            let at = row * pitch + cell[0];
            if intricate >> bit & 1 == 0 {
                self.ids[at] = self.first + self.vertices.len() as u32;
                self.add_plain(scene, placing, cell, inside);
            } else {
                self.ids[at] = LOOK_UP | self.intricate.len() as u32;
                self.add_intricate(scene, placing, cell, inside);
            }
        }
    }

    #[inline]
    fn add_plain<M: Extract + ?Sized, S: Samples>(
        &mut self,
        scene: &Scene<'_, M, S>,
        placing: &Placing,
        cell: [usize; 3],
        inside: u8,
    ) {
        let heights = scene.heights(cell, inside);
        let edges = crossed_edges(inside);
        let local = scene.place(cell, &heights, edges, false);
        self.vertices.push(placing.place(cell, local));
        if !S::STEPS && heights.iter().any(|h| h.is_nan()) {
            self.unmeasured += scene.unmeasured(cell, &heights, edges);
        }
    }

    fn add_intricate<M: Extract + ?Sized, S: Samples>(
        &mut self,
        scene: &Scene<'_, M, S>,
        placing: &Placing,
        cell: [usize; 3],
        inside: u8,
    ) {
        let heights = scene.heights(cell, inside);
        let found = scene.intricate(cell, inside);
        let first = self.first + self.vertices.len() as u32;
        let shares_cell = found.sheets.count > 1;
        for sheet in 0..found.sheets.count {
            let edges = edges_of_sheet(&found.sheets, inside, sheet);
            let local = scene.place(cell, &heights, edges, shares_cell);
            self.vertices.push(placing.place(cell, local));
        }
        for axis in (0..3).filter(|a| found.strips_on >> a & 1 == 1) {
            for strip in 0..2 {
                let [a, b] = found.sheets.strip_edges(2 * axis + 1, strip);
                let (a, b) = (crossing(&heights, a as usize), crossing(&heights, b as usize));
                let middle = std::array::from_fn(|n| 0.5 * (a[n] + b[n]));
                self.vertices.push(placing.place(cell, middle));
            }
        }
        if !S::STEPS {
            self.unmeasured += scene.unmeasured(cell, &heights, crossed_edges(inside));
        }
        self.intricate.push(Numbered { cell: found, first });
    }

    /// Number of the layer's first vertex.
    pub(super) fn first(&self) -> u32 {
        self.first
    }

    /// Whether a cell may hold several sheets.
    #[inline]
    pub(super) fn is_intricate(&self, cell: usize) -> bool {
        self.ids[cell] & LOOK_UP != 0
    }

    /// Vertex of the sheet that passes a crossed edge of a cell.
    #[inline]
    pub(super) fn vertex(&self, cell: usize, edge: u8) -> u32 {
        let id = self.ids[cell];
        if id & LOOK_UP == 0 {
            return id;
        }
        let found = &self.intricate[(id & !LOOK_UP) as usize];
        found.first + u32::from(found.cell.sheets.of_edge[edge as usize])
    }

    /// Vertex of the strip on the high face along `axis` that ends at a
    /// crossed edge, where that face has such vertices.
    pub(super) fn strip_vertex(&self, cell: usize, axis: usize, edge: u8) -> Option<u32> {
        let id = self.ids[cell];
        if id & LOOK_UP == 0 {
            return None;
        }
        let Numbered { cell, first } = &self.intricate[(id & !LOOK_UP) as usize];
        if cell.strips_on >> axis & 1 == 0 {
            return None;
        }
        let earlier = (cell.strips_on & ((1 << axis) - 1)).count_ones();
        let strip = u32::from(cell.sheets.strip(2 * axis + 1, edge));
        Some(first + u32::from(cell.sheets.count) + 2 * earlier + strip)
    }
}
