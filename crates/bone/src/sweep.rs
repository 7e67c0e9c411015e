//! Rays of one direction through a box of cells, all at once: layer by layer the
//! state (layers since the last wall) moves sideways by the ray's slope.

/// The axes of a net in the order layer, line, along.
pub(crate) fn layout(axis: usize) -> [usize; 3] {
    match axis {
        0 => [0, 2, 1],
        1 => [1, 2, 0],
        _ => [2, 1, 0],
    }
}

/// A direction that crosses one layer a step.
pub(crate) struct Ray {
    pub(crate) forward: bool,
    /// Cells sideways per layer, -1 to 1: across lines, along lines.
    pub(crate) drift: [f64; 2],
    /// Layers within which a wall counts as met.
    pub(crate) look: u8,
    /// Layers travelled (255: known) by what enters through the first layer,
    /// from the side across lines, and along lines.
    pub(crate) entry: [u8; 3],
}

/// For each cell of a net, how many rays met a wall, and of how many it is
/// known whether they did.
#[derive(Default)]
pub(crate) struct Counts {
    pub(crate) hits: Vec<u8>,
    pub(crate) known: Vec<u8>,
}

impl Counts {
    pub(crate) fn plus(mut self, other: Self) -> Self {
        for (sum, more) in [(&mut self.hits, other.hits), (&mut self.known, other.known)] {
            for (sum, more) in sum.iter_mut().zip(more) {
                *sum += more;
            }
        }
        self
    }
}

/// Where the cells of a row of the box lie in a net.
#[derive(Clone, Copy)]
pub(crate) struct Row {
    first: usize,
    step: usize,
}

impl Row {
    /// Add the values of a net at the row's cells.
    pub(crate) fn add(self, values: &[u8], to: &mut [u8]) {
        if self.step == 1 {
            for (to, value) in to.iter_mut().zip(&values[self.first..]) {
                *to += value;
            }
            return;
        }
        for (to, value) in to.iter_mut().zip(values[self.first..].iter().step_by(self.step)) {
            *to += value;
        }
    }
}

/// The walls of a box of cells, layer after layer along one axis; lines are
/// padded by a cell at each end and layers by a line, so that a layer is one
/// run of bytes that may be read a cell or a line further on.
pub(crate) struct Net {
    axis: usize,
    layers: usize,
    lines: usize,
    stride: usize,
    /// 255 where a wall is.
    walls: Vec<u8>,
}

impl Net {
    /// - `size`: of the box, columns, rows, slices.
    /// - `is_wall`: 1 where a wall is, in the array order of the box.
    pub(crate) fn new(axis: usize, size: [usize; 3], is_wall: &[u8]) -> Self {
        let [layers, lines, length] = layout(axis).map(|a| size[a]);
        let stride = length + 2;
        let mut net = Self { axis, layers, lines, stride, walls: Vec::new() };
        net.walls = vec![0; layers * net.area()];
        for (row, cells) in is_wall.chunks(size[0]).enumerate() {
            let row = net.row(row % size[1], row / size[1]);
            let to = net.walls[row.first..].iter_mut().step_by(row.step);
            for (to, cell) in to.zip(cells) {
                *to = cell * 255;
            }
        }
        net
    }

    /// Cells of a layer with its padding, in whole blocks.
    fn area(&self) -> usize {
        ((self.lines + 2) * self.stride).next_multiple_of(BLOCK)
    }

    /// Where the cells of a row of the box lie.
    pub(crate) fn row(&self, y: usize, z: usize) -> Row {
        let (layer, line, along, step) = match self.axis {
            0 => (0, z, y, self.area()),
            1 => (y, z, 0, 1),
            _ => (z, y, 0, 1),
        };
        Row { first: layer * self.area() + (line + 1) * self.stride + along + 1, step }
    }

    /// What the rays meet; those of one way pass a layer together, while it is
    /// at hand.
    pub(crate) fn count(&self, rays: &[Ray]) -> Counts {
        let mut counts =
            Counts { hits: vec![0; self.walls.len()], known: vec![0; self.walls.len()] };
        for forward in [true, false] {
            let of_way = rays.iter().filter(|ray| ray.forward == forward);
            let mut sweeps: Vec<Sweep<'_>> = of_way.map(|ray| Sweep::new(self, ray)).collect();
            for step in 0..self.layers {
                let layer = if forward { step } else { self.layers - 1 - step };
                for sweep in &mut sweeps {
                    self.pass(sweep, step, layer, &mut counts);
                }
            }
        }
        counts
    }

    fn pass(&self, sweep: &mut Sweep<'_>, step: usize, layer: usize, counts: &mut Counts) {
        let area = self.area();
        let margin = self.stride + 1;
        let Sweep { ray, moved, old, new } = sweep;
        let now = ray.drift.map(|d| (d * step as f64).round());
        let shift = [0, 1].map(|i| (now[i] - moved[i]) as isize);
        *moved = now;
        let by = shift[0] * self.stride as isize + shift[1];
        let from = margin.wrapping_add_signed(-by);
        let cells = layer * area..(layer + 1) * area;
        tally(
            &self.walls[cells.clone()],
            [&old.since[from..from + area], &old.free[from..from + area]],
            [&mut new.since[margin..margin + area], &mut new.free[margin..margin + area]],
            ray.look,
            [&mut counts.hits[cells.clone()], &mut counts.known[cells]],
        );
        self.enter(ray, new);
        std::mem::swap(old, new);
    }

    /// Put what enters from the sides into the padding of a layer's state.
    fn enter(&self, ray: &Ray, state: &mut State) {
        let margin = self.stride + 1;
        let layer = margin..margin + self.area();
        let since = &mut state.since[layer.clone()];
        let free = &mut state.free[layer];
        for line in since.chunks_exact_mut(self.stride) {
            line[0] = 255;
            line[self.stride - 1] = 255;
        }
        for line in free.chunks_exact_mut(self.stride) {
            line[0] = ray.entry[2];
            line[self.stride - 1] = ray.entry[2];
        }
        for line in [0, self.lines + 1] {
            let line = line * self.stride..(line + 1) * self.stride;
            since[line.clone()].fill(255);
            free[line].fill(ray.entry[1]);
        }
    }
}

/// A ray on its way through the layers.
struct Sweep<'a> {
    ray: &'a Ray,
    /// Cells moved sideways.
    moved: [f64; 2],
    old: State,
    new: State,
}

impl<'a> Sweep<'a> {
    fn new(net: &Net, ray: &'a Ray) -> Self {
        let [mut old, new] = [0, 1].map(|_| State::new(net.area() + 2 * (net.stride + 1)));
        old.free.fill(ray.entry[0]);
        Self { ray, moved: [0.0; 2], old, new }
    }
}

/// Of every cell of a layer: layers since the last wall (255: none), and layers
/// travelled.
struct State {
    since: Vec<u8>,
    free: Vec<u8>,
}

impl State {
    fn new(cells: usize) -> Self {
        Self { since: vec![255; cells], free: vec![0; cells] }
    }
}

/// Cells worked on together.
const BLOCK: usize = 32;
type Block = [u8; BLOCK];

/// One layer: all slices hold the same whole number of blocks.
fn tally(
    walls: &[u8],
    [old_since, old_free]: [&[u8]; 2],
    [since, free]: [&mut [u8]; 2],
    look: u8,
    [hits, known]: [&mut [u8]; 2],
) {
    let old = old_since.as_chunks::<BLOCK>().0.iter().zip(old_free.as_chunks::<BLOCK>().0);
    let new = since.as_chunks_mut::<BLOCK>().0.iter_mut().zip(free.as_chunks_mut::<BLOCK>().0);
    let counts = hits.as_chunks_mut::<BLOCK>().0.iter_mut().zip(known.as_chunks_mut::<BLOCK>().0);
    let walls = walls.as_chunks::<BLOCK>().0;
    for (((wall, (old_since, old_free)), (since, free)), (hits, known)) in
        walls.iter().zip(old).zip(new).zip(counts)
    {
        let back: Block = old_since.map(|s| s.saturating_add(1));
        let travelled: Block = old_free.map(|f| f.saturating_add(1));
        let hit: Block = back.map(|b| u8::from(b <= look));
        *hits = std::array::from_fn(|i| hits[i] + hit[i]);
        *known = std::array::from_fn(|i| known[i] + (hit[i] | u8::from(travelled[i] > look)));
        *since = std::array::from_fn(|i| back[i] & !wall[i]);
        *free = travelled;
    }
}
