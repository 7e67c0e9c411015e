//! The numbers a set is judged with; every one is echoed in a report.
//!
//! "Sheet 2" is the second list of published values; a section sign names its
//! part. Where no source is named, the number is an own choice.

use pilothole_volume::PatientPoint;

/// The numbers a set is judged with, and the component's shape where known.
#[derive(Clone, Debug, PartialEq)]
pub struct SetParams {
    /// Room between screws.
    pub clash: ClashParams,
    /// The way of a drill.
    pub access: AccessParams,
    /// Guides.
    pub guide: GuideParams,
    /// Load and order.
    pub load: LoadParams,
    /// Order of filling.
    pub order: OrderParams,
    /// Where the hip comes to lie.
    pub reconstruction: ReconstructionParams,
    /// What to order.
    pub kit: KitParams,
    /// The component's surface; `None` when the plan names no mesh.
    pub part: Option<Part>,
}

impl SetParams {
    /// The numbers in use, without a component.
    pub const OWN: Self = Self {
        clash: ClashParams::OWN,
        access: AccessParams::OWN,
        guide: GuideParams::OWN,
        load: LoadParams::OWN,
        order: OrderParams::OWN,
        reconstruction: ReconstructionParams::OWN,
        kit: KitParams::OWN,
        part: None,
    };
}

/// The component's surface.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Part {
    /// Corners of its triangles, mm, LPS.
    pub triangles: Vec<[PatientPoint; 3]>,
}

/// Room between screws.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClashParams {
    /// Threads whose surfaces are nearer than this share bone, mm: bone is
    /// strained up to about 5 mm beyond a pedicle screw (Liu 2014, confirmed;
    /// the doubling is our reading, sheet 2 §2.3).
    pub shared_bone_mm: f64,
    /// Metal nearer to a screw than this is told, mm.
    pub metal_mm: f64,
}

impl ClashParams {
    /// The numbers in use.
    pub const OWN: Self = Self { shared_bone_mm: 10.0, metal_mm: 2.0 };
}

/// The way of a drill.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AccessParams {
    /// Length of the drill's body where the plan has no approach, mm.
    pub drill_length_mm: f64,
    /// Radius of the drill's body where the plan has no approach, mm.
    pub drill_radius_mm: f64,
    /// The body's face stays this many of its radii behind the seat: tan 30°,
    /// so that a face square to a bit that may just not skive touches no bone.
    pub stand_off_radii: f64,
    /// The same before the component's own mesh, mm: wall and countersink of
    /// the hole itself.
    pub part_stand_off_mm: f64,
    /// Step along the body, mm; half of it across.
    pub step_mm: f64,
    /// Depth in bone from which the body counts as blocked, mm: what a
    /// smoothed envelope may be off.
    pub touch_mm: f64,
    /// Largest tilt that is tried to free a drill, rad.
    pub widest_tilt_rad: f64,
    /// Below this, HU, is air: halfway between lung and fat.
    pub air_hu: f64,
    /// Air that goes on for this long is outside the body, mm; bowel gas along
    /// a drill's way is shorter.
    pub air_run_mm: f64,
    /// Incidence from the normal beyond which a bit may skive, rad: ±4° was
    /// hit by 84.5 % at 90° and by 20 % at 30–45° to the surface (Brioschi
    /// 2016, confirmed; sheet 2 §6).
    pub skives_rad: f64,
    /// The same, beyond which it cannot be relied on, rad.
    pub unreliable_rad: f64,
}

impl AccessParams {
    /// The numbers in use.
    pub const OWN: Self = Self {
        drill_length_mm: 120.0,
        drill_radius_mm: 6.0,
        stand_off_radii: 0.577_350_269_189_625_8,
        part_stand_off_mm: 8.0,
        step_mm: 2.0,
        touch_mm: 0.5,
        widest_tilt_rad: 0.610_865_238_198_015_3,
        air_hu: -500.0,
        air_run_mm: 20.0,
        skives_rad: std::f64::consts::FRAC_PI_6,
        unreliable_rad: std::f64::consts::FRAC_PI_4,
    };
}

/// Guides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GuideParams {
    /// Wanted between two sleeves of one guide, mm; what a printed wall needs.
    pub sleeve_gap_mm: f64,
    /// Largest angle between a guide's insertion and one of its sleeves, rad.
    pub release_rad: f64,
    /// Length of way over which a guide must come off freely, mm.
    pub release_mm: f64,
    /// Angle between neighbouring directions that are tried, rad.
    pub direction_step_rad: f64,
    /// Most holes for which the fewest guides are looked for exactly.
    pub exact_up_to: usize,
}

impl GuideParams {
    /// The numbers in use.
    pub const OWN: Self = Self {
        sleeve_gap_mm: 0.5,
        release_rad: std::f64::consts::FRAC_PI_3,
        release_mm: 60.0,
        direction_step_rad: 0.087_266_462_599_716_48,
        exact_up_to: 24,
    };
}

/// How a screw's head sits in the part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Head {
    /// It may turn in its seat.
    Free,
    /// It is locked to the part.
    Held,
}

/// From Hounsfield units to the modulus of bone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ModulusLaw {
    /// mg/cm³ of hydroxyapatite per HU.
    pub ha_per_hu: f64,
    /// mg/cm³ of hydroxyapatite at 0 HU.
    pub ha_at_zero: f64,
    /// Modulus at an apparent density of 1 g/cm³, N/mm².
    pub coefficient_mpa: f64,
    /// Power of the apparent density.
    pub exponent: f64,
    /// Apparent density is held up to this, g/cm³.
    pub densest_g_cm3: f64,
    /// Least modulus of what lies inside the envelope, N/mm².
    pub softest_mpa: f64,
}

impl ModulusLaw {
    /// Pelvic trabecular bone, E = 2017.3 ρ^2.46 (Dalstra 1993, coefficients
    /// from memory), with 0.8 mg/cm³ a HU where the scan is not calibrated.
    pub const OWN: Self = Self {
        ha_per_hu: 0.8,
        ha_at_zero: 0.0,
        coefficient_mpa: 2017.3,
        exponent: 2.46,
        densest_g_cm3: 2.0,
        softest_mpa: 5.0,
    };

    /// Modulus, N/mm², of a value in HU.
    ///
    /// Ash density is 0.079 + 0.877 of the calibrated one (Schileo), apparent
    /// density is that over 0.6, both in g/cm³.
    pub fn modulus_mpa(&self, hu: f64) -> f64 {
        let ha = ((self.ha_per_hu * hu + self.ha_at_zero) * 1e-3).max(0.0);
        let apparent = ((0.079 + 0.877 * ha) / 0.6).min(self.densest_g_cm3);
        (self.coefficient_mpa * apparent.powf(self.exponent)).max(self.softest_mpa)
    }
}

/// Load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadParams {
    /// Body mass where the plan states none, kg.
    pub body_mass_kg: f64,
    /// Tilt of the pelvis taken as uncertain, rad: it moves the force more
    /// than the choice of patient does (sheet 2 §1.2, derived).
    pub tilt_rad: f64,
    /// The same when the scanner's axes stand for the pelvis, rad: supine tilt
    /// ranges over -20 to 25° (Pierrepont 2017, confirmed).
    pub scanner_tilt_rad: f64,
    /// Modulus of the bone.
    pub modulus: ModulusLaw,
    /// Modulus of the screw, N/mm²: Ti-6Al-4V.
    pub screw_mpa: f64,
    /// Yield strength of the screw, N/mm²: Ti-6Al-4V ELI (confirmed by a second
    /// source; sheet 2 §2.3).
    pub yield_mpa: f64,
    /// Poisson's ratio of bone.
    pub poisson: f64,
    /// How a head sits.
    pub head: Head,
    /// Factor from the middle axial stiffness to either end; the upper end is
    /// the shear-lag bound (sheet 2 §2.3, derived).
    pub axial_factor: f64,
    /// Factor from the middle lateral stiffness to either end: an embedded
    /// beam has up to twice a surface beam's foundation (from memory).
    pub lateral_factor: f64,
    /// Radius over which shear dies out, in screw radii.
    pub shear_radii: f64,
    /// Step along a screw, mm.
    pub step_mm: f64,
    /// Eigenvalues of the stiffness below this share of the largest count as
    /// not held.
    pub rank_tolerance: f64,
    /// Pressure per depth where the part presses on bone, N/mm³.
    pub contact_n_per_mm3: f64,
    /// Surface of the part this near to the envelope's touches it, mm.
    pub contact_reach_mm: f64,
    /// Movement that bone grows into, µm: 0 and 20 gave continuous bone
    /// (Jasty 1997, confirmed).
    pub fine_um: f64,
    /// Movement up to which it is doubtful, µm: 40 gave part fibrous tissue
    /// (Jasty 1997, confirmed).
    pub doubtful_um: f64,
    /// Movement up to which it is poor, µm: 150 gave fibrous tissue (Jasty
    /// 1997, confirmed).
    pub poor_um: f64,
    /// Movement beyond which a set is barely held, µm: cups that migrate by
    /// more than 1 mm in two years count (2012, confirmed; sheet 2 §2.1).
    pub barely_held_um: f64,
}

impl LoadParams {
    /// The numbers in use.
    pub const OWN: Self = Self {
        body_mass_kg: 80.0,
        tilt_rad: 0.174_532_925_199_432_95,
        scanner_tilt_rad: 0.349_065_850_398_865_9,
        modulus: ModulusLaw::OWN,
        screw_mpa: 113_800.0,
        yield_mpa: 795.0,
        poisson: 0.3,
        head: Head::Free,
        axial_factor: 3.0,
        lateral_factor: 2.0,
        shear_radii: 5.0,
        step_mm: 1.0,
        rank_tolerance: 1e-9,
        contact_n_per_mm3: 10.0,
        contact_reach_mm: 1.0,
        fine_um: 20.0,
        doubtful_um: 40.0,
        poor_um: 150.0,
        barely_held_um: 1000.0,
    };
}

/// Order of filling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OrderParams {
    /// Stiffness of the hand that holds the part while it is not held by
    /// screws, N/mm, and as much at 30 mm against turning. It only ranks.
    pub hand_n_per_mm: f64,
    /// Movements within this share of the best count as equal, so that an
    /// opposed screw or the guide in place may come first.
    pub near_best: f64,
    /// Seats further apart about the socket's axis than this are opposed, rad.
    pub opposed_rad: f64,
    /// First screws that are chosen together, over all their combinations.
    pub together: usize,
}

impl OrderParams {
    /// The numbers in use.
    pub const OWN: Self = Self {
        hand_n_per_mm: 10.0,
        near_best: 0.1,
        opposed_rad: 2.094_395_102_393_195_3,
        together: 3,
    };
}

/// Where the hip comes to lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReconstructionParams {
    /// Standard error of a landmark along each axis, mm.
    pub landmark_se_mm: f64,
    /// Change of leg length that is told, mm (sheet 2 §4.2, suggested).
    pub length_notice_mm: f64,
    /// Change of leg length that is warned of, mm: the common limit (from
    /// memory, high).
    pub length_warning_mm: f64,
    /// Loss of offset that is told, mm: global offset within 5 mm (2023
    /// review, confirmed).
    pub offset_notice_mm: f64,
    /// Loss of offset that is warned of, mm.
    pub offset_warning_mm: f64,
    /// Loss of offset that is warned of, as a share of the healthy side's
    /// (Sariali 2014, confirmed for the femoral offset; here own).
    pub offset_warning_share: f64,
    /// Distance from a regression's centre that is told, mm: regressions miss
    /// by 10.8 mm on average and 16.9 at most (sheet 2 §4.3, computed).
    pub regression_mm: f64,
}

impl ReconstructionParams {
    /// The numbers in use.
    pub const OWN: Self = Self {
        landmark_se_mm: 2.0,
        length_notice_mm: 5.0,
        length_warning_mm: 10.0,
        offset_notice_mm: 5.0,
        offset_warning_mm: 10.0,
        offset_warning_share: 0.15,
        regression_mm: 20.0,
    };
}

/// What to order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KitParams {
    /// A length is certain when at least this share of placements keeps the
    /// margin before the far cortex.
    pub certain_share: f64,
}

impl KitParams {
    /// The numbers in use.
    pub const OWN: Self = Self { certain_share: 0.9 };
}
