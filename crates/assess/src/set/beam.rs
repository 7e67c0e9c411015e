//! A screw in bone as a beam and as a rod on an elastic foundation.
//!
//! Across the axis: an Euler beam on Winkler's foundation (Hetényi 1946), by
//! cubic elements with the foundation integrated exactly, so that the
//! foundation may change from element to element. Along the axis: a rod held
//! by shear lag, by linear elements. Both ends are free; the load is at the
//! head.

/// A beam in pieces of one length, from head to tip.
#[derive(Clone, Debug, PartialEq)]
pub struct Beam {
    /// Length of a piece, mm.
    pub step_mm: f64,
    /// Foundation of each piece, N/mm per mm of beam; 0 where nothing holds.
    pub foundation_n_per_mm2: Vec<f64>,
    /// Bending stiffness, N mm².
    pub bending_n_mm2: f64,
}

/// What the head does under a unit load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeadCompliance {
    /// Shift for 1 N, mm.
    pub shift_per_force: f64,
    /// Turn for 1 N, rad; equals the shift for 1 N mm. Positive when the beam
    /// slopes towards the force as it leaves the head.
    pub turn_per_force: f64,
    /// Turn for 1 N mm, rad.
    pub turn_per_moment: f64,
    /// Largest bending moment for 1 N, the head free to turn, N mm.
    pub moment_per_force: f64,
    /// The same with the head held against turning.
    pub moment_per_force_held: f64,
}

impl HeadCompliance {
    /// Stiffness of a head that may turn, N/mm.
    pub fn free_n_per_mm(&self) -> f64 {
        1.0 / self.shift_per_force
    }

    /// Stiffness of a head that is held against turning, N/mm.
    pub fn held_n_per_mm(&self) -> f64 {
        let determinant = self.shift_per_force * self.turn_per_moment - self.turn_per_force.powi(2);
        self.turn_per_moment / determinant
    }

    /// Stiffness of shift and turn together: force for a shift, force for a
    /// turn (and moment for a shift), moment for a turn; N/mm, N, N mm.
    pub fn stiffness(&self) -> [f64; 3] {
        let determinant = self.shift_per_force * self.turn_per_moment - self.turn_per_force.powi(2);
        [
            self.turn_per_moment / determinant,
            -self.turn_per_force / determinant,
            self.shift_per_force / determinant,
        ]
    }
}

impl Beam {
    /// The head's compliance; `None` when the foundation does not hold the
    /// beam against both shift and turn.
    ///
    /// # Accuracy
    ///
    /// With pieces of a tenth of `1/β`, stiffness is within 1e-5 of Hetényi's
    /// closed forms, and falls with the fourth power of the piece.
    pub fn head_compliance(&self) -> Option<HeadCompliance> {
        if !self.foundation_n_per_mm2.iter().any(|k| *k > 0.0) {
            return None;
        }
        let pieces = self.foundation_n_per_mm2.len();
        let mut band = Band::new(2 * (pieces + 1));
        for piece in 0..pieces {
            let element = self.element(piece);
            for (i, row) in element.iter().enumerate() {
                for (j, value) in row.iter().enumerate().take(i + 1) {
                    band.add(2 * piece + i, 2 * piece + j, *value);
                }
            }
        }
        band.factor()?;
        let force = band.solve_unit(0);
        let moment = band.solve_unit(1);
        let (shift, turn) = (force[0], force[1]);
        // The same unit force with the moment that keeps the head from turning.
        let held: Vec<f64> =
            force.iter().zip(&moment).map(|(f, m)| f - m * turn / moment[1]).collect();
        Some(HeadCompliance {
            shift_per_force: shift,
            turn_per_force: turn,
            turn_per_moment: moment[1],
            moment_per_force: self.largest_moment(&force),
            moment_per_force_held: self.largest_moment(&held),
        })
    }

    /// Stiffness of one piece: shift and slope of its two ends.
    fn element(&self, piece: usize) -> [[f64; 4]; 4] {
        let h = self.step_mm;
        let bend = self.bending_n_mm2 / h.powi(3);
        let bed = self.foundation_n_per_mm2[piece] * h / 420.0;
        let bending = [
            [12.0, 6.0 * h, -12.0, 6.0 * h],
            [6.0 * h, 4.0 * h * h, -6.0 * h, 2.0 * h * h],
            [-12.0, -6.0 * h, 12.0, -6.0 * h],
            [6.0 * h, 2.0 * h * h, -6.0 * h, 4.0 * h * h],
        ];
        let foundation = [
            [156.0, 22.0 * h, 54.0, -13.0 * h],
            [22.0 * h, 4.0 * h * h, 13.0 * h, -3.0 * h * h],
            [54.0, 13.0 * h, 156.0, -22.0 * h],
            [-13.0 * h, -3.0 * h * h, -22.0 * h, 4.0 * h * h],
        ];
        std::array::from_fn(|i| {
            std::array::from_fn(|j| bend * bending[i][j] + bed * foundation[i][j])
        })
    }

    /// Largest moment at the ends of the pieces.
    fn largest_moment(&self, shape: &[f64]) -> f64 {
        (0..self.foundation_n_per_mm2.len())
            .flat_map(|piece| {
                let element = self.element(piece);
                let moment = |row: usize| {
                    (0..4).map(|j| element[row][j] * shape[2 * piece + j]).sum::<f64>().abs()
                };
                [moment(1), moment(3)]
            })
            .fold(0.0, f64::max)
    }
}

/// Stiffness along the axis of a rod held by shear, N/mm.
///
/// - `foundation_n_per_mm2`: shear stiffness of each piece, N/mm per mm.
/// - `stretch_n`: modulus times section of the rod, N.
pub fn axial_n_per_mm(step_mm: f64, foundation_n_per_mm2: &[f64], stretch_n: f64) -> f64 {
    // From the tip: what lies beyond a point answers like one spring.
    foundation_n_per_mm2.iter().rev().fold(0.0, |beyond, shear| {
        if *shear <= 0.0 {
            return if beyond > 0.0 { 1.0 / (1.0 / beyond + step_mm / stretch_n) } else { 0.0 };
        }
        let decay = (shear / stretch_n).sqrt();
        let wave = (stretch_n * shear).sqrt();
        let tanh = (decay * step_mm).tanh();
        wave * (beyond + wave * tanh) / (wave + beyond * tanh)
    })
}

/// Winkler foundation of a beam of some width on a half-space, N/mm per mm.
///
/// - `bone_mpa`, `poisson`: of the bone.
/// - `width_mm`: of the beam.
/// - `bending_n_mm2`: of the beam.
///
/// # References
///
/// Vesić 1961, `0.65 (E D⁴ / EI)^(1/12) E / (1 - ν²)`; confirmed by a second
/// source with numbers.
pub fn vesic_n_per_mm2(bone_mpa: f64, poisson: f64, width_mm: f64, bending_n_mm2: f64) -> f64 {
    0.65 * (bone_mpa * width_mm.powi(4) / bending_n_mm2).powf(1.0 / 12.0) * bone_mpa
        / (1.0 - poisson * poisson)
}

/// Shear stiffness of perfectly bonded bone around a rod, N/mm per mm:
/// `2πG / ln(r_m / r_0)`.
///
/// - `radii`: radius over which shear dies out, in rod radii.
pub fn shear_lag_n_per_mm2(bone_mpa: f64, poisson: f64, radii: f64) -> f64 {
    std::f64::consts::TAU * bone_mpa / (2.0 * (1.0 + poisson)) / radii.ln()
}

/// A symmetric band matrix, three below the diagonal, and its factors.
struct Band {
    /// `rows[i][d]` is element (i, i - d).
    rows: Vec<[f64; 4]>,
}

impl Band {
    fn new(size: usize) -> Self {
        Self { rows: vec![[0.0; 4]; size] }
    }

    fn add(&mut self, row: usize, column: usize, value: f64) {
        self.rows[row][row - column] += value;
    }

    /// Cholesky factors in place; `None` when the matrix is not positive.
    fn factor(&mut self) -> Option<()> {
        for i in 0..self.rows.len() {
            let whole = self.rows[i][0];
            for d in (0..=3.min(i)).rev() {
                let j = i - d;
                let shared = (1..=3 - d).filter(|e| *e <= j);
                let known: f64 = shared.map(|e| self.rows[i][d + e] * self.rows[j][e]).sum();
                let rest = self.rows[i][d] - known;
                if d > 0 {
                    self.rows[i][d] = rest / self.rows[j][0];
                } else if rest > 1e-13 * whole {
                    self.rows[i][0] = rest.sqrt();
                } else {
                    return None;
                }
            }
        }
        Some(())
    }

    /// The answer to a unit load at one place.
    fn solve_unit(&self, at: usize) -> Vec<f64> {
        let n = self.rows.len();
        let mut x = vec![0.0; n];
        x[at] = 1.0;
        for i in 0..n {
            let known: f64 = (1..=3.min(i)).map(|d| self.rows[i][d] * x[i - d]).sum();
            x[i] = (x[i] - known) / self.rows[i][0];
        }
        for i in (0..n).rev() {
            let known: f64 = (1..=3.min(n - 1 - i)).map(|d| self.rows[i + d][d] * x[i + d]).sum();
            x[i] = (x[i] - known) / self.rows[i][0];
        }
        x
    }
}
