//! One pass of edge collapses.

use rayon::prelude::*;

use super::quadric::Quadric;
use crate::check::Fans;
use crate::mesh::TriMesh;

/// Cosine by which a triangle may turn in one collapse: 75°.
const MOST_TURN: f64 = 0.25;

/// A mesh being decimated.
pub(super) struct Working {
    /// What places count from, mm.
    pub(super) middle: [f64; 3],
    pub(super) places: Vec<[f64; 3]>,
    pub(super) triangles: Vec<[u32; 3]>,
    quadrics: Vec<Quadric>,
    /// The vertex here that each vertex of the original went into.
    pub(super) into: Vec<u32>,
    /// The connected part of the surface that each vertex belongs to.
    pub(super) parts: Vec<u32>,
}

/// The best collapse of a vertex.
#[derive(Clone, Copy)]
struct Candidate {
    cost: f64,
    ends: [u32; 2],
    to: [f64; 3],
}

impl Working {
    pub(super) fn of(mesh: &TriMesh, parts: &[u32]) -> Self {
        let bounds = mesh.bounds_mm();
        let middle = bounds
            .map_or([0.0; 3], |[low, high]| std::array::from_fn(|n| 0.5 * (low.0[n] + high.0[n])));
        let places: Vec<[f64; 3]> =
            mesh.vertices.iter().map(|v| std::array::from_fn(|n| v.0[n] - middle[n])).collect();
        let fans = Fans::of(places.len(), &mesh.triangles);
        let quadrics = (0..places.len())
            .into_par_iter()
            .with_min_len(1024)
            .map(|v| {
                fans.around(v).iter().fold(Quadric::default(), |sum, [a, b]| {
                    let corners = [places[v], places[*a as usize], places[*b as usize]];
                    sum.plus(&Quadric::of_triangle(corners))
                })
            })
            .collect();
        let into = (0..places.len() as u32).collect();
        let parts = parts.to_vec();
        Self { middle, places, triangles: mesh.triangles.clone(), quadrics, into, parts }
    }

    /// Collapse the cheapest edges, each vertex at most once; the number of
    /// collapses.
    ///
    /// A vertex that has not collapsed yet still has the neighbours it had, or
    /// what they went into, so its links are known exactly throughout.
    ///
    /// - `tolerances_mm`: of each part; 0 leaves it as it is.
    pub(super) fn pass(&mut self, fewest: usize, tolerances_mm: &[f64]) -> usize {
        let fans = Fans::of(self.places.len(), &self.triangles);
        let mut candidates = self.candidates(&fans, tolerances_mm);
        candidates.par_sort_unstable_by(|a, b| a.cost.total_cmp(&b.cost).then(a.ends.cmp(&b.ends)));
        // Each collapse removes two triangles. Only the cheaper half is taken,
        // for the vertices it makes may be cheaper to collapse than the rest.
        let wanted = (self.triangles.len() - fewest).div_ceil(2);
        let offered = candidates.len().div_ceil(2);
        let mut went_into: Vec<u32> = (0..self.places.len() as u32).collect();
        let mut taken = vec![false; self.places.len()];
        let mut rings = Rings::default();
        let mut done = 0;
        for (tried, candidate) in candidates.iter().enumerate() {
            if done >= wanted || (tried >= offered && done > 0) {
                break;
            }
            let [a, b] = candidate.ends.map(|v| v as usize);
            if taken[a] || taken[b] {
                continue;
            }
            rings.gather(&fans, [a, b], &went_into);
            if !rings.may_join() || self.turns(&rings, candidate) {
                continue;
            }
            taken[a] = true;
            taken[b] = true;
            went_into[b] = a as u32;
            self.places[a] = candidate.to;
            self.quadrics[a] = self.quadrics[a].plus(&self.quadrics[b]);
            done += 1;
        }
        if done > 0 {
            self.compact(&went_into);
        }
        done
    }

    /// Each vertex's cheapest edge, once an edge.
    fn candidates(&self, fans: &Fans, tolerances_mm: &[f64]) -> Vec<Candidate> {
        let best: Vec<Option<Candidate>> = (0..self.places.len())
            .into_par_iter()
            .with_min_len(1024)
            .map(|v| {
                let edges = fans.around(v).iter().map(|[other, _]| self.judge(v, *other as usize));
                edges.reduce(|a, b| if b.cost < a.cost { b } else { a })
            })
            .collect();
        let affordable = |c: &Candidate| {
            let [a, b] = c.ends.map(|v| self.quadrics[v as usize].weight);
            let tolerance_mm = tolerances_mm[self.parts[c.ends[0] as usize] as usize];
            tolerance_mm > 0.0 && c.cost <= tolerance_mm * tolerance_mm * (a + b)
        };
        best.iter()
            .enumerate()
            .filter_map(|(v, candidate)| {
                let candidate = (*candidate)?;
                let [a, b] = candidate.ends;
                let other = if a as usize == v { b } else { a } as usize;
                // The other end may have chosen the same edge.
                let twin = best[other].is_some_and(|t| t.ends == candidate.ends) && other < v;
                (!twin && affordable(&candidate)).then_some(candidate)
            })
            .collect()
    }

    fn judge(&self, a: usize, b: usize) -> Candidate {
        let [a, b] = [a.min(b), a.max(b)];
        let sum = self.quadrics[a].plus(&self.quadrics[b]);
        let (from, to) = (self.places[a], self.places[b]);
        let to = sum.best(std::array::from_fn(|n| 0.5 * (from[n] + to[n])));
        Candidate { cost: sum.at(to), ends: [a as u32, b as u32], to }
    }

    /// Whether a triangle would turn too far or lose its area.
    fn turns(&self, rings: &Rings, candidate: &Candidate) -> bool {
        let [a, b] = candidate.ends.map(|v| v as usize);
        [(a, &rings.sides[0]), (b, &rings.sides[1])].into_iter().any(|(from, links)| {
            links.iter().any(|[p, q]| {
                let (p, q) = (self.places[*p as usize], self.places[*q as usize]);
                let (before, after) = (normal(self.places[from], p, q), normal(candidate.to, p, q));
                let cosine = dot(before, after);
                let lengths = (dot(before, before) * dot(after, after)).sqrt();
                cosine.is_nan() || cosine <= MOST_TURN * lengths
            })
        })
    }

    /// Drop what collapsed and number the rest anew.
    fn compact(&mut self, went_into: &[u32]) {
        let mut number = vec![0_u32; self.places.len()];
        let mut kept = 0;
        for vertex in 0..self.places.len() {
            if went_into[vertex] as usize == vertex {
                number[vertex] = kept as u32;
                self.places[kept] = self.places[vertex];
                self.quadrics[kept] = self.quadrics[vertex];
                self.parts[kept] = self.parts[vertex];
                kept += 1;
            }
        }
        self.places.truncate(kept);
        self.quadrics.truncate(kept);
        self.parts.truncate(kept);
        let renumber = |v: u32| number[went_into[v as usize] as usize];
        self.triangles.iter_mut().for_each(|t| *t = t.map(renumber));
        self.triangles.retain(|[a, b, c]| a != b && b != c && c != a);
        self.into.iter_mut().for_each(|v| *v = renumber(*v));
    }
}

/// What lies around the two ends of an edge.
#[derive(Default)]
struct Rings {
    /// Sides opposite each end of the triangles that do not hold the other.
    sides: [Vec<[u32; 2]>; 2],
    /// Neighbours of each end but the other.
    neighbours: [Vec<u32>; 2],
}

impl Rings {
    fn gather(&mut self, fans: &Fans, ends: [usize; 2], went_into: &[u32]) {
        for n in 0..2 {
            let (own, other) = (ends[n], ends[1 - n] as u32);
            self.sides[n].clear();
            self.neighbours[n].clear();
            for pair in fans.around(own) {
                let [p, q] = pair.map(|v| went_into[v as usize]);
                if p == q {
                    continue;
                }
                if p != other {
                    self.neighbours[n].push(p);
                }
                if p != other && q != other {
                    self.sides[n].push([p, q]);
                }
            }
        }
    }

    /// The link condition: the ends share exactly the two corners opposite
    /// their edge, and no side.
    ///
    /// Dey, Edelsbrunner, Guha, Nekhayev 1999, "Topology preserving edge
    /// contraction".
    fn may_join(&self) -> bool {
        let [a, b] = &self.neighbours;
        if a.len() < 3 && b.len() < 3 {
            return false;
        }
        let shared = a.iter().filter(|v| b.contains(v)).count();
        let [sides_a, sides_b] = &self.sides;
        shared == 2 && !sides_a.iter().any(|[p, q]| sides_b.contains(&[*q, *p]))
    }
}

fn normal(a: [f64; 3], b: [f64; 3], c: [f64; 3]) -> [f64; 3] {
    let u: [f64; 3] = std::array::from_fn(|n| b[n] - a[n]);
    let v: [f64; 3] = std::array::from_fn(|n| c[n] - a[n]);
    [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
