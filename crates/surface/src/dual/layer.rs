//! One layer of cells: numbers and places of its vertices.

use pilothole_volume::{Grid, Offset, PatientPoint, VoxelPoint};

use super::batch::{Batch, Owner};
use super::cell::crossed_edges;
use super::contour;
use super::margin_of;
use super::method::Placement;
use super::place::{Intricate, Scene, View, edges_of_sheet};
use super::samples::Samples;
use super::sheet::{Sheet, between, crossing};
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
    /// How many of these have their vertices.
    looked_at: usize,
    /// Sheets that have a number and no place yet.
    batch: Batch,
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

    /// - `cell`: its column and row.
    /// - `local`: in its unit cube; kept `margin` away from the sides.
    #[inline]
    fn place(&self, cell: [u32; 2], local: [f32; 3], margin: f32) -> [f64; 3] {
        let [column, row, height] = local.map(|c| f64::from(between(c, margin, 1.0 - margin)));
        let (column, row) = (f64::from(cell[0]) + column, f64::from(cell[1]) + row);
        let [a, b, c] = self.steps;
        std::array::from_fn(|n| self.corner.0[n] + a.0[n] * column + b.0[n] * row + c.0[n] * height)
    }
}

impl Layer {
    /// Number and place the vertices of layer `slice`.
    ///
    /// - `intricate`: its cells that may hold several sheets, in order.
    pub(super) fn fill<S: Samples>(
        &mut self,
        scene: &Scene<'_, S>,
        placing: &Placing,
        (slice, intricate): (usize, &[Intricate]),
        first: u32,
    ) {
        let [columns, rows, _] = scene.signs.size();
        self.first = first;
        self.ids.resize((columns + 1) * (rows + 1), 0);
        self.intricate.clear();
        self.intricate.extend(intricate.iter().map(|cell| Numbered { cell: *cell, first: 0 }));
        self.looked_at = 0;
        self.vertices.clear();
        self.unmeasured = 0;
        for row in 0..=rows {
            let around = scene.signs.rows_of_cells(row, slice);
            for word in scene.signs.words_of_cells(row, slice) {
                let corners = Corners::gather(around, word);
                let crossed = corners.crossed();
                if crossed != 0 {
                    self.add_word(scene, placing, (&corners, crossed), [word * 64, row, slice]);
                }
            }
        }
        self.place_batch(placing);
    }

    /// Add the crossed ones of 64 cells, the first of which is `first`.
    #[inline]
    fn add_word<S: Samples>(
        &mut self,
        scene: &Scene<'_, S>,
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
                self.ids[at] = LOOK_UP | self.looked_at as u32;
                self.add_intricate(scene, placing, cell, inside);
            }
        }
    }

    #[inline]
    fn add_plain<S: Samples>(
        &mut self,
        scene: &Scene<'_, S>,
        placing: &Placing,
        cell: [usize; 3],
        inside: u8,
    ) {
        let view = scene.view(cell, inside);
        let edges = crossed_edges(inside);
        self.add_sheet(scene.placement, placing, (cell, margin_of(0)), (&view, edges), false);
        if !view.is_measured {
            self.unmeasured += scene.unmeasured(cell, &view.heights, edges);
        }
    }

    fn add_intricate<S: Samples>(
        &mut self,
        scene: &Scene<'_, S>,
        placing: &Placing,
        cell: [usize; 3],
        inside: u8,
    ) {
        let view = scene.view(cell, inside);
        let heights = &view.heights;
        let first = self.first + self.vertices.len() as u32;
        let numbered = &mut self.intricate[self.looked_at];
        numbered.first = first;
        let found = numbered.cell;
        self.looked_at += 1;
        let shares_cell = found.sheets.count > 1;
        for sheet in 0..found.sheets.count {
            let edges = edges_of_sheet(&found.sheets, inside, sheet);
            let own = (cell, margin_of(u32::from(sheet)));
            self.add_sheet(scene.placement, placing, own, (&view, edges), shares_cell);
        }
        for axis in (0..3).filter(|a| found.strips_on >> a & 1 == 1) {
            for strip in 0..2 {
                let [a, b] = found.sheets.strip_edges(2 * axis + 1, strip);
                let (a, b) = (crossing(heights, a as usize), crossing(heights, b as usize));
                let middle = std::array::from_fn(|n| 0.5 * (a[n] + b[n]));
                let margin = margin_of(self.first + self.vertices.len() as u32 - first);
                self.vertices.push(placing.place([cell[0] as u32, cell[1] as u32], middle, margin));
            }
        }
        if !view.is_measured {
            self.unmeasured += scene.unmeasured(cell, heights, crossed_edges(inside));
        }
    }

    /// Add the vertex of the sheet of a cell that passes the edges `edges`.
    #[inline]
    fn add_sheet(
        &mut self,
        placement: Placement,
        placing: &Placing,
        (cell, margin): ([usize; 3], f32),
        (view, edges): (&View, u16),
        shares_cell: bool,
    ) {
        let heights = &view.heights;
        let cell = [cell[0] as u32, cell[1] as u32];
        if placement == Placement::Planes {
            let around = view.around.as_ref();
            let local = contour::place(&Sheet { heights, around, edges, shares_cell });
            self.vertices.push(placing.place(cell, local, margin));
            return;
        }
        // A cell's bending says little of one of its sheets.
        let bends = if shares_cell { [f32::NAN; 3] } else { view.bends };
        let vertex = self.vertices.len() as u32;
        self.vertices.push([0.0; 3]);
        self.batch.push(heights, bends, edges, Owner { cell, vertex, margin });
        if self.batch.is_full() {
            self.place_batch(placing);
        }
    }

    fn place_batch(&mut self, placing: &Placing) {
        for (owner, local) in self.batch.place() {
            self.vertices[owner.vertex as usize] = placing.place(owner.cell, local, owner.margin);
        }
    }

    /// Number of the layer's first vertex.
    pub(super) fn first(&self) -> u32 {
        self.first
    }

    /// Vertex of a cell that the surface passes; [`None`] where the cell may
    /// hold several sheets, see [`Layer::vertex`].
    #[inline]
    pub(super) fn only_vertex(&self, cell: usize) -> Option<u32> {
        let id = self.ids[cell];
        (id & LOOK_UP == 0).then_some(id)
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
