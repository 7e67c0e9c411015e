//! Builds the tree from the top by the surface area heuristic.

use pilothole_volume::PatientPoint;

use super::{Child, Corners, Node, RayIndex};
use crate::mesh::TriMesh;

/// Most triangles in a leaf.
const LEAF: usize = 4;
/// Bins along the longest axis in which a cut is looked for.
const BINS: usize = 16;
/// Triangles from which both halves are built in parallel.
const PARALLEL: usize = 1 << 13;
/// How much boxes are enlarged, relative to the mesh's largest coordinate:
/// some thirty roundings of f32, more than a box test makes.
const PAD: f64 = 2e-6;

/// A box, least and greatest coordinates.
#[derive(Clone, Copy)]
struct Bounds {
    low: [f32; 3],
    high: [f32; 3],
}

/// A triangle's box and position.
#[derive(Clone, Copy)]
struct Item {
    bounds: Bounds,
    number: u32,
}

impl Bounds {
    const NOTHING: Self = Self { low: [f32::INFINITY; 3], high: [f32::NEG_INFINITY; 3] };

    #[inline]
    fn join(&mut self, other: &Self) {
        for axis in 0..3 {
            self.low[axis] = min(self.low[axis], other.low[axis]);
            self.high[axis] = max(self.high[axis], other.high[axis]);
        }
    }

    /// Half the surface of the box; 0 of nothing.
    #[inline]
    fn half_area(&self) -> f32 {
        let [a, b, c]: [f32; 3] = std::array::from_fn(|n| max(self.high[n] - self.low[n], 0.0));
        a * b + b * c + c * a
    }
}

impl Item {
    /// Twice the middle of the box along an axis.
    #[inline]
    fn place(&self, axis: usize) -> f32 {
        self.bounds.low[axis] + self.bounds.high[axis]
    }
}

// `f32::min` asks about not-a-numbers, of which there are none here.
#[inline]
fn min(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[inline]
fn max(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

pub(super) fn build(mesh: &TriMesh) -> RayIndex {
    let [low, high] = mesh.bounds_mm().unwrap_or([PatientPoint([0.0; 3]); 2]);
    let middle = PatientPoint(std::array::from_fn(|n| 0.5 * (low.0[n] + high.0[n])));
    let half: [f64; 3] = std::array::from_fn(|n| 0.5 * (high.0[n] - low.0[n]));
    let pad = PAD * half.iter().copied().fold(1.0, f64::max);
    let corners_of = |t: usize| mesh.corners(t).map(|p| (p - middle).0);
    let mut items: Vec<Item> = (0..mesh.triangles.len())
        .map(|t| Item { bounds: bounds_of(&corners_of(t), pad), number: t as u32 })
        .collect();
    let nodes = if items.is_empty() { Vec::new() } else { build_nodes(&mut items, 0) };
    RayIndex {
        middle,
        bounds: [half.map(|h| -h - pad), half.map(|h| h + pad)],
        nodes,
        triangles: items.iter().map(|i| corners_of(i.number as usize)).collect(),
        numbers: items.iter().map(|i| i.number).collect(),
    }
}

fn bounds_of(corners: &Corners, pad: f64) -> Bounds {
    let along = |axis: usize| corners.map(|c| c[axis]);
    let least = |axis| along(axis).into_iter().fold(f64::INFINITY, f64::min) - pad;
    let greatest = |axis| along(axis).into_iter().fold(f64::NEG_INFINITY, f64::max) + pad;
    Bounds {
        low: std::array::from_fn(|axis| least(axis) as f32),
        high: std::array::from_fn(|axis| greatest(axis) as f32),
    }
}

/// The nodes of a tree over `items`, the first of which becomes triangle
/// `first`; the root comes first, children are counted from it.
fn build_nodes(items: &mut [Item], first: usize) -> Vec<Node> {
    let mut nodes = Vec::new();
    let groups = split_in_four(items, first);
    let mut node = Node {
        low: [[f32::INFINITY; 4]; 3],
        high: [[f32::NEG_INFINITY; 4]; 3],
        children: [Child::default(); 4],
    };
    nodes.push(node);
    for (place, group) in groups.iter().enumerate() {
        for axis in 0..3 {
            node.low[axis][place] = group.bounds.low[axis];
            node.high[axis][place] = group.bounds.high[axis];
        }
    }
    let subtrees = build_groups(items, first, &groups);
    for (place, (group, subtree)) in groups.iter().zip(subtrees).enumerate() {
        node.children[place] = if subtree.is_empty() {
            Child { first: group.first as u32, count: group.count as u32 }
        } else {
            let offset = nodes.len() as u32;
            nodes.extend(subtree.into_iter().map(|n| moved(n, offset)));
            Child { first: offset, count: 0 }
        };
    }
    nodes[0] = node;
    nodes
}

/// A node whose children moved by `offset` nodes.
fn moved(mut node: Node, offset: u32) -> Node {
    for place in 0..4 {
        let is_node = node.children[place].count == 0 && node.low[0][place].is_finite();
        node.children[place].first += if is_node { offset } else { 0 };
    }
    node
}

/// The trees of groups that are too large for a leaf; empty for those that are
/// not.
fn build_groups(items: &mut [Item], first: usize, groups: &[Group]) -> Vec<Vec<Node>> {
    let Some((group, others)) = groups.split_first() else { return Vec::new() };
    let (own, rest) = items.split_at_mut(group.count);
    let build_own = |own: &mut [Item]| {
        if own.len() > LEAF { build_nodes(own, first) } else { Vec::new() }
    };
    let next = first + group.count;
    let (tree, mut later) = if own.len() + rest.len() >= PARALLEL {
        rayon::join(|| build_own(own), || build_groups(rest, next, others))
    } else {
        (build_own(own), build_groups(rest, next, others))
    };
    later.insert(0, tree);
    later
}

/// Some triangles that lie side by side.
#[derive(Clone, Copy)]
struct Group {
    first: usize,
    count: usize,
    bounds: Bounds,
}

/// Reorder the items into up to four groups, cutting the largest again and
/// again.
fn split_in_four(items: &mut [Item], first: usize) -> Vec<Group> {
    let mut groups = vec![Group { first, count: items.len(), bounds: joined(items) }];
    while groups.len() < 4 {
        let mut largest = None;
        let mut area = -1.0;
        for (place, group) in groups.iter().enumerate() {
            if group.count > LEAF && group.bounds.half_area() > area {
                largest = Some(place);
                area = group.bounds.half_area();
            }
        }
        let Some(place) = largest else { break };
        let group = groups[place];
        let own = &mut items[group.first - first..][..group.count];
        let count = cut(own);
        let (low, high) = own.split_at(count);
        let halves = [
            Group { first: group.first, count, bounds: joined(low) },
            Group { first: group.first + count, count: group.count - count, bounds: joined(high) },
        ];
        groups.splice(place..=place, halves);
    }
    groups
}

fn joined(items: &[Item]) -> Bounds {
    let mut bounds = Bounds::NOTHING;
    for item in items {
        bounds.join(&item.bounds);
    }
    bounds
}

/// Reorder the items into two groups, neither empty; the size of the first.
fn cut(items: &mut [Item]) -> usize {
    let (mut low, mut high) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
    for item in items.iter() {
        for axis in 0..3 {
            low[axis] = min(low[axis], item.place(axis));
            high[axis] = max(high[axis], item.place(axis));
        }
    }
    let extent = |axis: usize| high[axis] - low[axis];
    let axis = (1..3).fold(0, |best, a| if extent(a) > extent(best) { a } else { best });
    if extent(axis) <= 0.0 {
        return items.len() / 2;
    }
    let scale = BINS as f32 * 0.999_99 / extent(axis);
    let bin_of = |item: &Item| ((item.place(axis) - low[axis]) * scale) as usize;
    let mut bins = [(Bounds::NOTHING, 0_usize); BINS];
    for item in items.iter() {
        let bin = &mut bins[bin_of(item).min(BINS - 1)];
        bin.0.join(&item.bounds);
        bin.1 += 1;
    }
    let border = best_border(&bins);
    let mut kept = 0;
    for n in 0..items.len() {
        if bin_of(&items[n]) < border {
            items.swap(kept, n);
            kept += 1;
        }
    }
    if kept == 0 || kept == items.len() { items.len() / 2 } else { kept }
}

/// The bin before which a cut costs least: area times number on both sides.
fn best_border(bins: &[(Bounds, usize); BINS]) -> usize {
    let mut cost_above = [0.0; BINS];
    let mut above = (Bounds::NOTHING, 0);
    for border in (1..BINS).rev() {
        above.0.join(&bins[border].0);
        above.1 += bins[border].1;
        cost_above[border] = above.0.half_area() * above.1 as f32;
    }
    let mut best = (f32::INFINITY, BINS / 2);
    let mut below = (Bounds::NOTHING, 0);
    for border in 1..BINS {
        below.0.join(&bins[border - 1].0);
        below.1 += bins[border - 1].1;
        let cost = cost_above[border] + below.0.half_area() * below.1 as f32;
        if below.1 > 0 && cost < best.0 {
            best = (cost, border);
        }
    }
    best.1
}
