//! One cell: the cube between eight neighbouring samples.
//!
//! Corner `c` lies at `(c & 1, c >> 1 & 1, c >> 2 & 1)`. Edge `4 a + n` runs
//! along axis `a`; `n` counts the four places along the other two axes, the
//! lower axis first. Face `2 a + s` is square to axis `a`, at its low (0) or
//! high (1) side.

/// The two corners of every edge.
pub(super) const EDGE_CORNERS: [[u8; 2]; 12] = edge_corners();
/// The four corners of every face, in turn.
const FACE_CORNERS: [[u8; 4]; 6] = face_corners();
/// The four edges of every face: edge `n` joins its corners `n` and `n + 1`.
const FACE_EDGES: [[u8; 4]; 6] = face_edges();

/// Which crossing edges of a cell belong to the same sheet of the surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sheets {
    /// Sheet of each edge; meaningless where the edge is not crossed.
    pub(super) of_edge: [u8; 12],
    /// Number of sheets, 1 to 4.
    pub(super) count: u8,
    /// Bit `f`: one sheet passes face `f` twice.
    pub(super) twice: u8,
    /// Bit `f`: on face `f`, the strips pass around its corners 0 and 2.
    around_even: u8,
}

/// Edges whose two corners lie on different sides of the surface, as bits.
///
/// `inside` has bit `c` set when corner `c` is inside.
#[inline]
pub(super) fn crossed_edges(inside: u8) -> u16 {
    let all = u16::from(inside);
    let (x, y, z) = (all ^ all >> 1, all ^ all >> 2, all ^ all >> 4);
    // Along x the low corners are 0 2 4 6, along y 0 1 4 5, along z 0 1 2 3.
    let along_x = x & 1 | x >> 1 & 2 | x >> 2 & 4 | x >> 3 & 8;
    let along_y = y & 3 | y >> 2 & 0b1100;
    along_x | along_y << 4 | (z & 15) << 8
}

/// Find the sheets of a cell.
///
/// `joins(corner, corner, corner, corner)` answers for the four corners of a
/// face of which only two opposite ones are inside, those first: does the
/// inside reach across the face from one to the other? It must depend on the
/// face alone, so that both cells at the face get the same answer.
pub(super) fn find_sheets(inside: u8, joins: impl Fn([u8; 4]) -> bool) -> Sheets {
    let crossed = crossed_edges(inside);
    let is_inside = |corner: u8| inside >> corner & 1 == 1;
    let mut parent: [u8; 12] = std::array::from_fn(|e| e as u8);
    let mut around_even = 0;
    let mut ambiguous = 0;
    for (face, edges) in FACE_EDGES.into_iter().enumerate() {
        let on = edges.map(|e| crossed >> e & 1 == 1);
        match on.iter().filter(|o| **o).count() {
            2 => {
                let mut ends = (0..4).filter(|n| on[*n]).map(|n| edges[n]);
                if let (Some(a), Some(b)) = (ends.next(), ends.next()) {
                    join(&mut parent, a, b);
                }
            }
            4 => {
                let [a, b, c, d] = FACE_CORNERS[face];
                let even_inside = is_inside(a);
                let joined = if even_inside { joins([a, c, b, d]) } else { joins([b, d, a, c]) };
                ambiguous |= 1 << face;
                if even_inside == joined {
                    join(&mut parent, edges[0], edges[1]);
                    join(&mut parent, edges[2], edges[3]);
                } else {
                    around_even |= 1 << face;
                    join(&mut parent, edges[3], edges[0]);
                    join(&mut parent, edges[1], edges[2]);
                }
            }
            _ => {}
        }
    }
    let (of_edge, count) = number(crossed, parent);
    let mut twice = 0;
    for (face, edges) in FACE_EDGES.into_iter().enumerate() {
        let (first, other) = (of_edge[edges[0] as usize], of_edge[edges[2] as usize]);
        if ambiguous >> face & 1 == 1 && first == other {
            twice |= 1 << face;
        }
    }
    Sheets { of_edge, count, twice, around_even }
}

impl Sheets {
    /// All crossing edges in one sheet.
    #[cfg(test)]
    pub(super) const ONE: Self = Self { of_edge: [0; 12], count: 1, twice: 0, around_even: 0 };

    /// Which of the two strips on a face with four crossing edges an edge
    /// belongs to, 0 or 1.
    pub(super) fn strip(&self, face: usize, edge: u8) -> u8 {
        let place = FACE_EDGES[face].iter().position(|e| *e == edge).unwrap_or(0);
        let around_even = self.around_even >> face & 1 == 1;
        match (around_even, place) {
            (true, 0 | 3) | (false, 0 | 1) => 0,
            _ => 1,
        }
    }

    /// The two edges of a strip.
    pub(super) fn strip_edges(&self, face: usize, strip: u8) -> [u8; 2] {
        let edges = FACE_EDGES[face];
        match (self.around_even >> face & 1 == 1, strip) {
            (true, 0) => [edges[3], edges[0]],
            (true, _) => [edges[1], edges[2]],
            (false, 0) => [edges[0], edges[1]],
            (false, _) => [edges[2], edges[3]],
        }
    }
}

fn number(crossed: u16, parent: [u8; 12]) -> ([u8; 12], u8) {
    let mut of_edge = [0; 12];
    let mut of_root = [u8::MAX; 12];
    let mut count = 0;
    for edge in (0..12).filter(|e| crossed >> e & 1 == 1) {
        let root = root(&parent, edge) as usize;
        if of_root[root] == u8::MAX {
            of_root[root] = count;
            count += 1;
        }
        of_edge[edge as usize] = of_root[root];
    }
    (of_edge, count)
}

fn join(parent: &mut [u8; 12], a: u8, b: u8) {
    let (a, b) = (root(parent, a), root(parent, b));
    parent[a.max(b) as usize] = a.min(b);
}

fn root(parent: &[u8; 12], mut edge: u8) -> u8 {
    while parent[edge as usize] != edge {
        edge = parent[edge as usize];
    }
    edge
}

/// The edge along `axis` that starts or ends at `corner`.
const fn edge_at(axis: u8, corner: u8) -> u8 {
    4 * axis
        + match axis {
            0 => corner >> 1 & 3,
            1 => corner & 1 | corner >> 1 & 2,
            _ => corner & 3,
        }
}

const fn edge_corners() -> [[u8; 2]; 12] {
    let mut all = [[0; 2]; 12];
    let mut axis = 0;
    while axis < 3 {
        let mut corner = 0;
        while corner < 8 {
            if corner >> axis & 1 == 0 {
                all[edge_at(axis, corner) as usize] = [corner, corner | 1 << axis];
            }
            corner += 1;
        }
        axis += 1;
    }
    all
}

const fn face_corners() -> [[u8; 4]; 6] {
    let mut all = [[0; 4]; 6];
    let mut face = 0;
    while face < 6 {
        let axis = face as u8 / 2;
        let (u, v) = (1 << ((axis + 1) % 3), 1 << ((axis + 2) % 3));
        let low = (face as u8 % 2) << axis;
        all[face] = [low, low | u, low | u | v, low | v];
        face += 1;
    }
    all
}

const fn face_edges() -> [[u8; 4]; 6] {
    let mut all = [[0; 4]; 6];
    let corners = face_corners();
    let mut face = 0;
    while face < 6 {
        let axis = face as u8 / 2;
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let [a, b, c, d] = corners[face];
        all[face] = [edge_at(u, a), edge_at(v, b), edge_at(u, c), edge_at(v, d)];
        face += 1;
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_crossed_edge_has_one_end_inside() {
        for inside in 0..=u8::MAX {
            let crossed = crossed_edges(inside);
            for (edge, [a, b]) in EDGE_CORNERS.into_iter().enumerate() {
                let differs = (inside >> a ^ inside >> b) & 1 == 1;
                assert_eq!(crossed >> edge & 1 == 1, differs, "{inside:08b} edge {edge}");
            }
        }
    }

    #[test]
    fn a_lone_corner_is_one_sheet_and_two_opposite_ones_are_two() {
        assert_eq!(find_sheets(0b0000_0001, |_| false).of_edge, Sheets::ONE.of_edge);
        assert_eq!(find_sheets(0b1000_0001, |_| false).count, 2);
        assert_eq!(find_sheets(0b0111_1110, |_| false).count, 2);
        assert_eq!(find_sheets(0b1001_0110, |_| false).count, 4);
    }

    #[test]
    fn a_joined_diagonal_turns_two_sheets_into_one() {
        let corners = 0b0000_1001;
        assert_eq!(find_sheets(corners, |_| false).count, 2);
        assert_eq!(find_sheets(corners, |_| true).count, 1);
    }

    #[test]
    fn five_corners_pass_a_face_twice() {
        // The low x-y face holds two opposite corners, the high one three.
        let sheets = find_sheets(0b1011_1001, |_| false);
        assert_eq!((sheets.count, sheets.twice), (1, 1 << 4));
        let [a, b] = sheets.strip_edges(4, 0);
        assert_eq!((sheets.strip(4, a), sheets.strip(4, b)), (0, 0));
    }
}
