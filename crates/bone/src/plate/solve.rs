//! Least squares by Levenberg and Marquardt, for models of a few unknowns.

/// Rounds of the minimisation; it settles in 10 to 30.
const ROUNDS: usize = 120;
/// Relative gain at which it has settled.
const SETTLED: f64 = 1e-7;

/// What a set of unknowns leaves unexplained.
pub(super) struct Left<const N: usize> {
    /// Sum of the squared residuals, HU².
    pub(super) cost: f64,
    /// Of each sample the residual, HU, and how the model's value there changes
    /// with each unknown.
    pub(super) samples: Vec<(f64, [f64; N])>,
}

impl<const N: usize> Left<N> {
    pub(super) const fn nothing() -> Self {
        Self { cost: 0.0, samples: Vec::new() }
    }
}

/// The normal equations.
struct Normal<const N: usize> {
    matrix: [[f64; N]; N],
    right: [f64; N],
}

/// A model of samples.
pub(super) trait Model<const N: usize> {
    /// Which unknowns are fitted; the others stay as they are.
    fn free(&self) -> [bool; N];
    /// Whether the unknowns are a model at all.
    fn holds(&self, unknowns: &[f64; N]) -> bool;
    /// Residuals and slopes at every sample.
    fn look(&self, unknowns: &[f64; N], left: &mut Left<N>);
}

/// The unknowns that leave least unexplained, from a first guess on.
pub(super) fn minimise<const N: usize>(model: &impl Model<N>, start: [f64; N]) -> [f64; N] {
    let mut best = start;
    let (mut here, mut there) = (Left::nothing(), Left::nothing());
    model.look(&best, &mut here);
    let mut normal = equations(model, &here);
    let mut damping = 1e-2;
    for _ in 0..ROUNDS {
        let mut matrix = normal.matrix;
        for (i, row) in matrix.iter_mut().enumerate() {
            row[i] *= 1.0 + damping;
        }
        let Some(inverse) = invert(matrix) else { break };
        let mut next = best;
        for (value, row) in next.iter_mut().zip(&inverse) {
            *value += row.iter().zip(&normal.right).map(|(a, b)| a * b).sum::<f64>();
        }
        let holds = model.holds(&next);
        if holds {
            model.look(&next, &mut there);
        }
        if holds && there.cost < here.cost {
            let gained = (here.cost - there.cost) / here.cost.max(1e-300);
            best = next;
            std::mem::swap(&mut here, &mut there);
            damping = (damping * 0.3).max(1e-12);
            if gained < SETTLED {
                break;
            }
            normal = equations(model, &here);
        } else {
            damping *= 5.0;
            if damping > 1e10 {
                break;
            }
        }
    }
    best
}

/// Covariance of the unknowns for residuals of unit variance; `None` where the
/// samples do not fix them.
pub(super) fn covariance<const N: usize>(
    model: &impl Model<N>,
    left: &Left<N>,
) -> Option<[[f64; N]; N]> {
    invert(equations(model, left).matrix)
}

/// Normal equations over the free unknowns.
fn equations<const N: usize>(model: &impl Model<N>, left: &Left<N>) -> Normal<N> {
    let (mut above, mut right) = ([[0.0; N]; N], [0.0; N]);
    for (residual, slopes) in &left.samples {
        for i in 0..N {
            right[i] += slopes[i] * residual;
            for j in i..N {
                above[i][j] += slopes[i] * slopes[j];
            }
        }
    }
    let mut matrix: [[f64; N]; N] =
        std::array::from_fn(|i| std::array::from_fn(|j| above[i.min(j)][i.max(j)]));
    let free = model.free();
    for i in (0..N).filter(|i| !free[*i]) {
        matrix[i] = [0.0; N];
        for row in &mut matrix {
            row[i] = 0.0;
        }
        matrix[i][i] = 1.0;
        right[i] = 0.0;
    }
    Normal { matrix, right }
}

/// Inverse by Gauss and Jordan with row pivots; `None` when singular.
fn invert<const N: usize>(mut a: [[f64; N]; N]) -> Option<[[f64; N]; N]> {
    let mut inverse = [[0.0; N]; N];
    for (i, row) in inverse.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    for column in 0..N {
        let mut pivot = column;
        for row in column + 1..N {
            if a[row][column].abs() > a[pivot][column].abs() {
                pivot = row;
            }
        }
        if a[pivot][column].abs() < 1e-14 {
            return None;
        }
        a.swap(column, pivot);
        inverse.swap(column, pivot);
        let scale = 1.0 / a[column][column];
        for j in 0..N {
            a[column][j] *= scale;
            inverse[column][j] *= scale;
        }
        for row in 0..N {
            if row != column {
                let factor = a[row][column];
                for j in 0..N {
                    a[row][j] -= factor * a[column][j];
                    inverse[row][j] -= factor * inverse[column][j];
                }
            }
        }
    }
    Some(inverse)
}
