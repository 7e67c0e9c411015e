//! What one bone's walls enclose: seeds from the vote, then a race between the
//! inside and the outside through what is undecided.

use rayon::prelude::*;

use crate::coarse::Cells;
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

    /// Rows of the box: array position in the box, row and slice in the region.
    fn rows(&self) -> impl Iterator<Item = (usize, usize, usize)> + use<> {
        let [nx, ny, _] = self.size();
        let space = *self;
        (space.from[2]..space.to[2]).flat_map(move |z| {
            (space.from[1]..space.to[1])
                .map(move |y| (((z - space.from[2]) * ny + y - space.from[1]) * nx, y, z))
        })
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
    /// Whether `prior` may answer [`Prior::Inside`]; else it is not asked of
    /// what the vote puts outside.
    pub(crate) may_add: bool,
}

/// Decide what the walls of a bone enclose.
///
/// `prior` is asked, by index, of voxels that are no wall of any bone.
pub(crate) fn enclose(
    patch: &Patch<'_>,
    cells: &Cells,
    owners: &[u8],
    task: Task,
    prior: impl Fn([usize; 3]) -> Prior + Sync,
) -> Enclosed {
    let Task { owner, space, may_add } = task;
    let walls = walls_of(cells, patch, owners, owner, &space);
    let votes = walls.enclosure_percent();
    let wide = widened(patch, owners, owner, &space);
    let size = space.size();
    let plane = size[0] * size[1];
    let mut states = vec![State::Outside; space.len()];
    let mut percent = vec![0_u8; space.len()];
    let is_away = |cell: usize| walls.is_wall[cell] == 0 && votes[cell] < OUTSIDE_PERCENT;
    let judge = |place: usize, index: [usize; 3], cell: usize| {
        let at = patch.grid.offset_of(index);
        if owners[at] == owner {
            return (State::Wall, 100);
        }
        if owners[at] != 0 || !patch.hu.is_known(at) {
            return (State::Outside, 0);
        }
        let (vote, mixed, away) = (votes[cell], walls.is_wall[cell] == 1, is_away(cell));
        let state = match prior(index) {
            Prior::Inside => State::Inside,
            Prior::Outside => State::Outside,
            Prior::Open if !mixed && vote >= INSIDE_PERCENT => State::Inside,
            Prior::Open if vote >= CLOSED_PERCENT && wide.covers(place, index) => State::Inside,
            Prior::Open if away => State::Outside,
            Prior::Open => State::Undecided,
        };
        (state, vote)
    };
    states.par_chunks_mut(plane).zip(percent.par_chunks_mut(plane)).enumerate().for_each(
        |(z, (states, percent))| {
            let rows = states.chunks_mut(size[0]).zip(percent.chunks_mut(size[0]));
            for (y, (states, percent)) in rows.enumerate() {
                let first = z * plane + y * size[0];
                let [x0, y0, z0] = space.from;
                let mut from = 0;
                while from < size[0] {
                    let cell = walls.holding([x0 + from, y0 + y, z0 + z]);
                    let to = size[0].min(cells.next(x0 + from) - x0);
                    // A cell without a wall of this bone that it does not enclose
                    // is outside, as all is at first.
                    let left = if may_add || !is_away(cell) { from..to } else { 0..0 };
                    left.for_each(|x| {
                        let index = [x0 + x, y0 + y, z0 + z];
                        (states[x], percent[x]) = judge(first + x, index, cell);
                    });
                    from = to;
                }
            }
        },
    );
    race(patch, size, &mut states);
    percent.par_iter_mut().zip(&states).for_each(|(percent, state)| match state {
        State::Wall => {}
        State::Inside => *percent = (*percent).max(1),
        State::Outside | State::Undecided => *percent = 0,
    });
    Enclosed { space, percent }
}

fn walls_of<'a>(
    cells: &'a Cells,
    patch: &Patch<'_>,
    owners: &[u8],
    owner: u8,
    space: &Space,
) -> Walls<'a> {
    let first = std::array::from_fn(|a| space.from[a] / cells.pool[a]);
    let end = std::array::from_fn(|a| space.to[a].div_ceil(cells.pool[a]));
    let mut walls = Walls::none(cells, first, end);
    for (_, y, z) in space.rows() {
        let row = patch.grid.offset_of([0, y, z]);
        for x in space.from[0]..space.to[0] {
            if owners[row + x] == owner {
                let cell = walls.holding([x, y, z]);
                walls.is_wall[cell] = 1;
            }
        }
    }
    walls
}

/// One bone's walls widened by a ball, of which the closing is asked by voxel.
struct Widened {
    size: [usize; 3],
    from: [usize; 3],
    is_wide: Vec<bool>,
    ball: Vec<([isize; 3], isize)>,
}

fn widened(patch: &Patch<'_>, owners: &[u8], owner: u8, space: &Space) -> Widened {
    let size = space.size();
    let ball = patch
        .ball(CLOSING_MM)
        .iter()
        .map(|step| {
            let [x, y, z] = step.by;
            (step.by, x + (y + z * size[1] as isize) * size[0] as isize)
        })
        .collect();
    let mut wide = Widened { size, from: space.from, is_wide: vec![false; space.len()], ball };
    if wide.ball.is_empty() {
        return wide;
    }
    for (start, y, z) in space.rows() {
        let row = patch.grid.offset_of([0, y, z]);
        for x in space.from[0]..space.to[0] {
            if owners[row + x] == owner {
                wide.mark(start + x - space.from[0], [x, y, z]);
            }
        }
    }
    wide
}

impl Widened {
    fn moved(&self, place: usize, index: [usize; 3], step: &([isize; 3], isize)) -> Option<usize> {
        let inside = (0..3).all(|a| {
            let to = (index[a] - self.from[a]) as isize + step.0[a];
            to >= 0 && to < self.size[a] as isize
        });
        inside.then(|| place.wrapping_add_signed(step.1))
    }

    fn mark(&mut self, place: usize, index: [usize; 3]) {
        self.is_wide[place] = true;
        for step in 0..self.ball.len() {
            if let Some(to) = self.moved(place, index, &self.ball[step]) {
                self.is_wide[to] = true;
            }
        }
    }

    /// Whether the closing covers a voxel: all of the ball around it is wide.
    fn covers(&self, place: usize, index: [usize; 3]) -> bool {
        let around = || self.ball.iter().filter_map(|step| self.moved(place, index, step));
        self.is_wide[place] && around().all(|to| self.is_wide[to])
    }
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
fn race(patch: &Patch<'_>, size: [usize; 3], states: &mut [State]) {
    let course = Course::new(patch, size);
    let undecided: Vec<u32> = states
        .par_iter()
        .enumerate()
        .filter(|(_, state)| **state == State::Undecided)
        .map(|(at, _)| at as u32)
        .collect();
    let mut queues: Vec<Vec<(u32, State)>> = vec![Vec::new()];
    for wanted in [State::Outside, State::Inside] {
        for at in &undecided {
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
        if states[at as usize] == State::Undecided {
            states[at as usize] = State::Inside;
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
