//! What one bone's walls enclose: seeds from the vote, then a race between the
//! inside and the outside through what is undecided.

use pilothole_volume::Mask;
use rayon::prelude::*;

use crate::closing::closed;
use crate::coarse::Cells;
use crate::gathered::{any, bits, word_of};
use crate::patch::Patch;
use crate::vote::Walls;

/// Percent of rays that must meet a wall for a place to be surely inside.
///
/// The pole of a half-open ball (an empty socket) reaches 85, marrow two radii
/// behind a round gap 95.
const INSIDE_PERCENT: u8 = 90;
/// Below this percent a place is surely outside; the centre of a half-open
/// ball has 50, a gap's own plane too.
const OUTSIDE_PERCENT: u8 = 60;
/// Percent that makes what a closing of the walls covers inside.
const CLOSED_PERCENT: u8 = 70;
/// Radius of that closing, mm: bridges gaps of up to 2 mm.
const CLOSING_MM: f64 = 1.0;

/// What is known beforehand of a voxel that is not wall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Prior {
    /// Nothing.
    Open,
    /// Surely inside this bone.
    Inside,
    /// Surely outside this bone.
    Outside,
}

/// A box of voxels around one bone, with what lies inside it.
pub(crate) struct Enclosed {
    pub(crate) space: Space,
    /// Vote in percent for voxels inside the bone (walls 100), else 0.
    pub(crate) percent: Vec<u8>,
}

/// A box of voxels of the region.
#[derive(Clone, Copy)]
pub(crate) struct Space {
    /// First voxel.
    pub(crate) from: [usize; 3],
    /// First voxel beyond.
    pub(crate) to: [usize; 3],
}

impl Space {
    pub(crate) fn size(&self) -> [usize; 3] {
        std::array::from_fn(|a| self.to[a] - self.from[a])
    }

    fn len(&self) -> usize {
        self.size().iter().product()
    }
}

/// Boxes of all owners with two voxels to spare, `None` for who owns nothing;
/// by owner from 1.
pub(crate) fn spaces(patch: &Patch<'_>, owners: &[u8], count: usize) -> Vec<Option<Space>> {
    let by_slice: Vec<Vec<Option<[[usize; 2]; 2]>>> =
        owners.par_chunks(patch.plane()).map(|slice| spans(slice, patch.size[0], count)).collect();
    (0..count)
        .map(|bone| {
            let mut low = patch.size;
            let mut high = [0; 3];
            for (z, spans) in by_slice.iter().enumerate() {
                let Some([from, to]) = spans[bone] else { continue };
                low = [low[0].min(from[0]), low[1].min(from[1]), low[2].min(z)];
                high = [high[0].max(to[0]), high[1].max(to[1]), high[2].max(z + 1)];
            }
            (high[0] > 0).then(|| Space {
                from: low.map(|l| l.saturating_sub(2)),
                to: std::array::from_fn(|a| (high[a] + 2).min(patch.size[a])),
            })
        })
        .collect()
}

/// Box of each owner within one slice.
fn spans(slice: &[u8], columns: usize, count: usize) -> Vec<Option<[[usize; 2]; 2]>> {
    let mut spans: Vec<Option<[[usize; 2]; 2]>> = vec![None; count];
    for (y, row) in slice.chunks(columns).enumerate() {
        for (x, owner) in row.iter().enumerate() {
            if *owner != 0 {
                let span = spans[usize::from(*owner) - 1].get_or_insert([[x, y], [x + 1, y + 1]]);
                span[0] = [span[0][0].min(x), span[0][1].min(y)];
                span[1] = [span[1][0].max(x + 1), span[1][1].max(y + 1)];
            }
        }
    }
    spans
}

/// One bone to be closed.
#[derive(Clone, Copy)]
pub(crate) struct Task {
    pub(crate) owner: u8,
    pub(crate) space: Space,
}

/// Decide what the walls of a bone enclose.
///
/// - `may_add`: whether `prior` may answer [`Prior::Inside`] in a row of the
///   region; else it is not asked there of what the vote puts outside.
/// - `prior`: asked, by index, of voxels that are no wall of any bone.
pub(crate) fn enclose(
    patch: &Patch<'_>,
    cells: &Cells,
    owners: &[u8],
    task: Task,
    may_add: impl Fn(usize) -> bool + Sync,
    prior: impl Fn([usize; 3]) -> Prior + Sync,
) -> Enclosed {
    let Task { owner, space } = task;
    let own = own_walls(patch, owners, owner, &space);
    let walls = walls_of(cells, &own, &space);
    let votes = walls.enclosure_percent();
    let ball: Vec<[isize; 3]> = patch.ball(CLOSING_MM).iter().map(|step| step.by).collect();
    let closed = closed(&own, &ball);
    let size = space.size();
    let plane = size[0] * size[1];
    let mut states = vec![State::Outside; space.len()];
    let mut percent = vec![0_u8; space.len()];
    let is_away = |cell: usize| walls.is_wall[cell] == 0 && votes[cell] < OUTSIDE_PERCENT;
    let judge = |index: [usize; 3], cell: usize| {
        let at = patch.grid.offset_of(index);
        if owners[at] == owner {
            return (State::Wall, 100);
        }
        if owners[at] != 0 || !patch.hu.is_known(at) {
            return (State::Outside, 0);
        }
        let (vote, mixed, away) = (votes[cell], walls.is_wall[cell] == 1, is_away(cell));
        let covered = || closed.has(std::array::from_fn(|a| index[a] - space.from[a]));
        match prior(index) {
            Prior::Inside => (State::Inside, vote.max(1)),
            Prior::Outside => (State::Outside, 0),
            Prior::Open if !mixed && vote >= INSIDE_PERCENT => (State::Inside, vote),
            Prior::Open if vote >= CLOSED_PERCENT && covered() => (State::Inside, vote),
            Prior::Open if away => (State::Outside, 0),
            Prior::Open => (State::Undecided, vote.max(1)),
        }
    };
    let planes = states.par_chunks_mut(plane).zip(percent.par_chunks_mut(plane)).enumerate();
    let undecided: Vec<Vec<u32>> = planes
        .map(|(z, (states, percent))| {
            let mut undecided = Vec::new();
            let rows = states.chunks_mut(size[0]).zip(percent.chunks_mut(size[0]));
            for (y, (states, percent)) in rows.enumerate() {
                let first = z * plane + y * size[0];
                let [x0, y0, z0] = [space.from[0], space.from[1] + y, space.from[2] + z];
                let may_add = may_add(z0 * patch.size[1] + y0);
                let first_cell = walls.holding([x0, y0, z0]);
                let mut from = 0;
                for (cell, to) in (first_cell..).zip(cells.ends(x0, x0 + size[0])) {
                    let to = to - x0;
                    // A cell without a wall of this bone that it does not enclose
                    // is outside, as all is at first.
                    let left = if may_add || !is_away(cell) { from..to } else { 0..0 };
                    for x in left.clone() {
                        (states[x], percent[x]) = judge([x0 + x, y0, z0], cell);
                    }
                    let open = left.filter(|x| states[*x] == State::Undecided);
                    undecided.extend(open.map(|x| (first + x) as u32));
                    from = to;
                }
            }
            undecided
        })
        .collect();
    let undecided = undecided.concat();
    race(patch, size, &undecided, &mut states);
    for at in undecided {
        if states[at as usize] == State::Outside {
            percent[at as usize] = 0;
        }
    }
    Enclosed { space, percent }
}

/// The walls of a bone in its box.
fn own_walls(patch: &Patch<'_>, owners: &[u8], owner: u8, space: &Space) -> Mask {
    let size = space.size();
    let mut own = Mask::none(size);
    let words = own.words_per_row();
    own.words_mut().par_chunks_mut(words).enumerate().for_each(|(row, words)| {
        let [x, y, z] = space.from;
        let first = patch.grid.offset_of([x, y + row % size[1], z + row / size[1]]);
        let row = &owners[first..first + size[0]];
        if any(row, |at| at == owner) {
            for (word, row) in words.iter_mut().zip(row.chunks(64)) {
                *word = word_of(row, |at| at == owner);
            }
        }
    });
    own
}

fn walls_of<'a>(cells: &'a Cells, own: &Mask, space: &Space) -> Walls<'a> {
    let first = std::array::from_fn(|a| space.from[a] / cells.pool[a]);
    let end = std::array::from_fn(|a| space.to[a].div_ceil(cells.pool[a]));
    let mut walls = Walls::none(cells, first, end);
    let (words, rows) = (own.words_per_row(), own.size()[1]);
    for (row, words) in own.words().chunks(words).enumerate() {
        for x in bits(words) {
            let place = [x, row % rows, row / rows];
            let cell = walls.holding(std::array::from_fn(|a| space.from[a] + place[a]));
            walls.is_wall[cell] = 1;
        }
    }
    walls
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    Wall,
    Inside,
    Outside,
    Undecided,
}

/// Fineness of the race's distances, mm.
const RACE_STEP_MM: f32 = 0.1;

/// Undecided voxels go to the side that reaches them first through undecided
/// voxels, walls barred, the outside first on ties; what nobody reaches is
/// walled in and so inside.
///
/// - `undecided`: their positions, rising.
fn race(patch: &Patch<'_>, size: [usize; 3], undecided: &[u32], states: &mut [State]) {
    let course = Course::new(patch, size);
    let mut queues: Vec<Vec<(u32, State)>> = vec![Vec::new()];
    for wanted in [State::Outside, State::Inside] {
        for at in undecided {
            for (from, ticks) in course.around(*at as usize) {
                if states[from] == wanted {
                    put(&mut queues, ticks, (*at, wanted));
                }
            }
        }
    }
    let mut tick = 0;
    while tick < queues.len() {
        for (at, winner) in std::mem::take(&mut queues[tick]) {
            let at = at as usize;
            if states[at] != State::Undecided {
                continue;
            }
            states[at] = winner;
            for (to, ticks) in course.around(at) {
                if states[to] == State::Undecided {
                    put(&mut queues, tick + ticks, (to as u32, winner));
                }
            }
        }
        tick += 1;
    }
    for at in undecided {
        if states[*at as usize] == State::Undecided {
            states[*at as usize] = State::Inside;
        }
    }
}

/// How the race's voxels neighbour each other across faces.
struct Course {
    size: [usize; 3],
    strides: [usize; 3],
    ticks: [usize; 3],
}

impl Course {
    fn new(patch: &Patch<'_>, size: [usize; 3]) -> Self {
        let ticks = patch.spacing_mm.map(|s| (s as f32 / RACE_STEP_MM).round().max(1.0) as usize);
        Self { size, strides: [1, size[0], size[0] * size[1]], ticks }
    }

    fn around(&self, at: usize) -> impl Iterator<Item = (usize, usize)> + '_ {
        let index = [at % self.size[0], at / self.size[0] % self.size[1], at / self.strides[2]];
        (0..6).filter_map(move |face| {
            let axis = face / 2;
            if face % 2 == 0 {
                (index[axis] > 0).then(|| (at - self.strides[axis], self.ticks[axis]))
            } else {
                (index[axis] + 1 < self.size[axis])
                    .then(|| (at + self.strides[axis], self.ticks[axis]))
            }
        })
    }
}

fn put<T>(queues: &mut Vec<Vec<T>>, at: usize, item: T) {
    if queues.len() <= at {
        queues.resize_with(at + 1, Vec::new);
    }
    queues[at].push(item);
}
