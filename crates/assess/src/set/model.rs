//! The part on its screws and, where asked for, on the bone it presses on.

use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

use super::cases::{CASES, CaseAxes, CaseFrame, LoadCase};
use super::rigid::{Hold, Spring, total, wrench};

/// A patch of bone that the part presses on, but never pulls at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct ContactPatch {
    /// Its spring, across the surface.
    pub spring: Spring,
    /// Into the bone.
    pub into_bone: Vector3<f64>,
}

impl ContactPatch {
    /// A patch.
    ///
    /// - `at`: from the hip centre, mm.
    pub(crate) fn new(at: Vector3<f64>, into_bone: Vector3<f64>, n_per_mm: f64) -> Self {
        let own: Matrix3<f64> = into_bone * into_bone.transpose() * n_per_mm;
        Self { spring: Spring::at_place(at, own), into_bone }
    }

    /// Whether a motion of the part presses on it.
    fn pressed(&self, motion: &Vector6<f64>) -> bool {
        let shift: Vector3<f64> = motion.fixed_rows::<3>(0).into_owned();
        let turn: Vector3<f64> = motion.fixed_rows::<3>(3).into_owned();
        (shift + turn.cross(&self.spring.at)).dot(&self.into_bone) > 0.0
    }
}

/// The axes in which load cases are given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LoadAxes {
    /// Anterior pelvic plane, or what stands for it.
    pub app: CaseAxes,
    /// ISB frame, or what stands for it.
    pub isb: CaseAxes,
    /// Uncertain tilt either way, rad.
    pub tilt_rad: f64,
    /// Body mass, kg.
    pub body_mass_kg: f64,
}

impl LoadAxes {
    /// The load of a case about the hip centre, N.
    pub(crate) fn load(&self, case: &LoadCase, tilt_rad: f64) -> Vector6<f64> {
        let axes = match case.frame {
            CaseFrame::App => &self.app,
            CaseFrame::Isb => &self.isb,
        };
        wrench(case.force_n(axes, self.body_mass_kg, tilt_rad), Vector3::zeros())
    }

    /// The tilts tried: back, none, forwards.
    pub(crate) fn tilts(&self) -> [f64; 3] {
        [-self.tilt_rad, 0.0, self.tilt_rad]
    }

    /// The loads of all cases but accidents, at every tilt.
    pub(crate) fn everyday(&self) -> Vec<Vector6<f64>> {
        CASES
            .iter()
            .filter(|case| !case.outlier)
            .flat_map(|case| self.tilts().map(|tilt| self.load(case, tilt)))
            .collect()
    }
}

/// A part on springs.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Model {
    /// Its screws.
    pub screws: Vec<Spring>,
    /// The bone it may press on; empty when that is not counted.
    pub contact: Vec<ContactPatch>,
    /// Share of the largest eigenvalue below which nothing is held.
    pub tolerance: f64,
}

/// How a part answers one load.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Answer {
    /// Shift of the hip centre (mm) and turn (rad).
    pub motion: Vector6<f64>,
    /// Force that each screw carries, N.
    pub forces: Vec<Vector3<f64>>,
    /// Sum of the forces on bone, N.
    pub contact: Vector3<f64>,
}

impl Answer {
    /// Movement of the hip centre, µm.
    pub(crate) fn movement_um(&self) -> f64 {
        1e3 * self.motion.fixed_rows::<3>(0).norm()
    }
}

impl Model {
    /// What the screws alone hold.
    pub(crate) fn hold(&self) -> Hold {
        Hold::new(&total(&self.screws), self.tolerance)
    }

    /// The same part without one screw.
    #[must_use]
    pub(crate) fn without(&self, lost: usize) -> Self {
        let mut left = self.clone();
        left.screws.remove(lost);
        left
    }

    /// The answer to a load; `None` when it is not held.
    ///
    /// Contact is found by turns: patches that the last motion pressed on are
    /// counted in the next, until none changes or [`MOST_TURNS`] are over.
    pub(crate) fn answer(&self, load: &Vector6<f64>) -> Option<Answer> {
        let screws = total(&self.screws);
        let mut pressed: Vec<bool> = match self.motion(&screws, &[], load) {
            Some(motion) => self.contact.iter().map(|patch| patch.pressed(&motion)).collect(),
            None => vec![true; self.contact.len()],
        };
        let mut motion = self.motion(&screws, &pressed, load)?;
        for _ in 0..MOST_TURNS {
            let next: Vec<bool> = self.contact.iter().map(|patch| patch.pressed(&motion)).collect();
            if next == pressed {
                break;
            }
            pressed = next;
            motion = self.motion(&screws, &pressed, load)?;
        }
        let forces = self.screws.iter().map(|spring| spring.force(&motion)).collect();
        let contact = self
            .contact
            .iter()
            .zip(&pressed)
            .filter(|(_, pressed)| **pressed)
            .fold(Vector3::zeros(), |sum, (patch, _)| sum + patch.spring.force(&motion));
        Some(Answer { motion, forces, contact })
    }

    fn motion(
        &self,
        screws: &Matrix6<f64>,
        pressed: &[bool],
        load: &Vector6<f64>,
    ) -> Option<Vector6<f64>> {
        let counted = self.contact.iter().zip(pressed).filter(|(_, pressed)| **pressed);
        let stiffness = counted.fold(*screws, |sum, (patch, _)| sum + patch.spring.about_point);
        Hold::new(&stiffness, self.tolerance).motion(load)
    }

    /// Largest movement of the hip centre over some loads, µm; `None` when one
    /// is not held.
    pub(crate) fn worst_um(&self, loads: &[Vector6<f64>]) -> Option<f64> {
        if self.contact.is_empty() {
            // One decomposition serves all loads.
            let hold = self.hold();
            return loads.iter().try_fold(0.0_f64, |worst, load| {
                let motion = hold.motion(load)?;
                Some(worst.max(1e3 * motion.fixed_rows::<3>(0).norm()))
            });
        }
        loads
            .iter()
            .try_fold(0.0_f64, |worst, load| Some(worst.max(self.answer(load)?.movement_um())))
    }
}

/// Most turns in which contact is looked for.
pub(crate) const MOST_TURNS: usize = 60;
