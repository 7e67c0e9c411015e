//! The weights by which fine cells along one axis make a voxel.

/// For one voxel: the first fine cell that counts, and the weights from it on.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Taps {
    pub(super) first: usize,
    pub(super) weights: Vec<f64>,
}

/// How an axis is cut into fine cells and seen through a blur.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Axis {
    /// Voxels.
    count: usize,
    /// Fine cells a voxel; odd, so that one is centred on the voxel.
    cells: usize,
    /// Fine cells on each side of the middle one that count.
    reach: usize,
    /// The kernel's parameter in voxels; `None` when it weighs all cells alike.
    spread: Option<f64>,
}

impl Axis {
    /// - `sigma`: blur in voxels; 0 averages over the voxel instead.
    pub(super) fn new(count: usize, cells: usize, sigma: f64) -> Self {
        let spread = spread(cells as f64, sigma);
        let reach = if sigma <= 0.0 {
            (cells - 1) / 2
        } else if spread.is_none() {
            0
        } else {
            (4.5 * sigma * cells as f64).ceil() as usize + 1
        };
        Self { count, cells, reach, spread }
    }

    /// Fine cells that are needed beyond each end.
    pub(super) fn margin(&self) -> usize {
        self.reach.saturating_sub((self.cells - 1) / 2)
    }

    /// Fine cells in all, margins included.
    pub(super) fn fine_count(&self) -> usize {
        self.count * self.cells + 2 * self.margin()
    }

    /// Position in voxels of a fine cell's centre.
    pub(super) fn place(&self, fine: usize) -> f64 {
        let inside = fine as f64 - self.margin() as f64 + 0.5;
        inside / self.cells as f64 - 0.5
    }

    /// The weights of each voxel; `place` gives the place of a position in
    /// voxels on the axis, in mean voxels, which differ where voxels are
    /// unevenly spaced.
    pub(super) fn taps(&self, place: impl Fn(f64) -> f64) -> Vec<Taps> {
        (0..self.count)
            .map(|voxel| {
                let middle = self.margin() + voxel * self.cells + (self.cells - 1) / 2;
                let here = place(voxel as f64);
                let weight = |fine: usize| {
                    let Some(spread) = self.spread else { return 1.0 };
                    let half = 0.5 / self.cells as f64;
                    let at = self.place(fine);
                    let width = place(at + half) - place(at - half);
                    let off = place(at) - here;
                    width * (-off * off / (2.0 * spread * spread)).exp()
                };
                let first = middle - self.reach;
                let raw: Vec<f64> = (first..=middle + self.reach).map(weight).collect();
                let sum: f64 = raw.iter().sum();
                Taps { first, weights: raw.into_iter().map(|w| w / sum).collect() }
            })
            .collect()
    }
}

/// The kernel's parameter in voxels.
///
/// A fine cell's averaging already has the variance 1/12 of its edge; the
/// kernel adds the rest, and its parameter is set so that its variance on whole
/// cells is exactly that. `None` when nothing is left to add.
fn spread(cells: f64, sigma: f64) -> Option<f64> {
    let sigma = sigma * cells;
    let wanted = sigma * sigma - 1.0 / 12.0;
    if wanted < 1e-6 {
        return None;
    }
    let reach = (4.5 * sigma).ceil() as usize + 1;
    let variance = |s: f64| -> f64 {
        let (mut sum, mut second) = (1.0, 0.0);
        for k in 1..=reach {
            let square = (k * k) as f64;
            let weight = 2.0 * (-square / (2.0 * s * s)).exp();
            sum += weight;
            second += weight * square;
        }
        second / sum
    };
    let (mut low, mut high) = (0.05, 2.0 * sigma + 0.5);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if variance(middle) < wanted { low = middle } else { high = middle }
    }
    Some(high / cells)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_have_the_variance_that_averaging_leaves() {
        for cells in [1, 3] {
            for sigma in [0.35, 0.5, 0.75, 1.0, 2.0] {
                let axis = Axis::new(4, cells, sigma);
                for (voxel, taps) in axis.taps(|p| p).iter().enumerate() {
                    let n = cells as f64;
                    let second: f64 = taps
                        .weights
                        .iter()
                        .enumerate()
                        .map(|(k, w)| w * (axis.place(taps.first + k) - voxel as f64).powi(2))
                        .sum();
                    let total = second + 1.0 / (12.0 * n * n);
                    assert!((total - sigma * sigma).abs() < 1e-9, "{cells} {sigma} {total}");
                    assert!(taps.first + taps.weights.len() <= axis.fine_count());
                }
            }
        }
    }

    #[test]
    fn without_blur_a_voxel_is_the_mean_of_its_cells() {
        let axis = Axis::new(2, 3, 0.0);
        let taps = axis.taps(|p| p);
        assert_eq!((axis.margin(), axis.fine_count(), taps[1].first), (0, 6, 3));
        assert!(taps[1].weights.iter().all(|w| (w - 1.0 / 3.0).abs() < 1e-15));
    }
}
