//! From Hounsfield units to bone mineral density, and on to stiffness and strength.
//!
//! Densities are mg/cm³ of one named mineral; hydroxyapatite and dipotassium
//! phosphate are never mixed.

mod calibration;
mod kvp;
pub mod laws;
mod references;

pub use calibration::{
    Calibration, CalibrationRefused, CalibrationSource, Density, Insert, Mineral, Reference,
    ReferenceMaterial, Uncertainty,
};
pub use kvp::{
    AssumedCortex, HA_HU_PER_MG, KvpShift, assumed_cortex, ha_hu_per_mg, reference_hu,
    shift_to_120, unknown_kvp_sd,
};
pub use references::find_references;
