//! The header of a `NIfTI-1` file: how values are stored and where they lie.

use pilothole_volume::{Grid, Offset, PatientPoint};

use crate::limits::Limits;
use crate::reason::Reason;

/// Bytes of the header.
const HEADER_BYTES: usize = 348;

/// How a value is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stored {
    U8,
    I8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Stored {
    fn from_code(code: i16) -> Option<Self> {
        Some(match code {
            2 => Self::U8,
            4 => Self::I16,
            8 => Self::I32,
            16 => Self::F32,
            64 => Self::F64,
            256 => Self::I8,
            512 => Self::U16,
            768 => Self::U32,
            _ => return None,
        })
    }

    /// Bytes of one value.
    pub(crate) fn bytes(self) -> usize {
        match self {
            Self::U8 | Self::I8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }

    /// Whether values are whole before scaling.
    pub(crate) fn is_whole(self) -> bool {
        !matches!(self, Self::F32 | Self::F64)
    }
}

/// A checked header.
#[derive(Clone, Debug)]
pub(crate) struct NiftiHeader {
    pub grid: Grid,
    pub stored: Stored,
    pub big_endian: bool,
    pub data_at: u64,
    pub slope: f64,
    pub intercept: f64,
    /// Whether the file's slices run against the lattice's, which is kept
    /// right-handed.
    pub reversed: bool,
    /// Whether the header states the unit of length.
    pub states_unit: bool,
}

/// A `NIfTI` file that cannot be used, and as much as is known of it.
#[derive(Clone, Debug)]
pub(crate) struct Refused {
    pub reason: Reason,
    pub size: [usize; 3],
}

/// Look whether the first bytes are a `NIfTI-1` header; `None` when not.
///
/// - `head`: the first 352 bytes or more; `total`: length of the file.
pub(crate) fn recognise(
    head: &[u8],
    total: u64,
    limits: &Limits,
) -> Option<Result<NiftiHeader, Box<Refused>>> {
    let head = head.get(..HEADER_BYTES)?;
    let fields = Fields { head, big_endian: head[0] == 0 };
    if fields.int(0) == 540 && &head[4..7] == b"n+2" {
        let reason = Reason::new("pixels.syntax", "a NIfTI-2 file, which is not read")
            .next("convert it to NIfTI-1, or give the DICOM series that it was made from");
        return Some(Err(Box::new(Refused { reason, size: [0; 3] })));
    }
    if fields.int(0) != 348 || &head[344..347] != b"n+1" {
        return None;
    }
    let size =
        std::array::from_fn(|axis| usize::try_from(fields.short(42 + 2 * axis)).unwrap_or(0));
    Some(read(&fields, size, total, limits).map_err(|reason| Box::new(Refused { reason, size })))
}

struct Fields<'a> {
    head: &'a [u8],
    big_endian: bool,
}

impl Fields<'_> {
    fn four(&self, at: usize) -> u32 {
        let bytes = [self.head[at], self.head[at + 1], self.head[at + 2], self.head[at + 3]];
        if self.big_endian { u32::from_be_bytes(bytes) } else { u32::from_le_bytes(bytes) }
    }

    fn int(&self, at: usize) -> i32 {
        self.four(at).cast_signed()
    }

    fn short(&self, at: usize) -> i16 {
        let bytes = [self.head[at], self.head[at + 1]];
        if self.big_endian { i16::from_be_bytes(bytes) } else { i16::from_le_bytes(bytes) }
    }

    fn float(&self, at: usize) -> f64 {
        f32::from_bits(self.four(at)).into()
    }
}

fn read(
    fields: &Fields<'_>,
    size: [usize; 3],
    total: u64,
    limits: &Limits,
) -> Result<NiftiHeader, Reason> {
    let axes = fields.short(40);
    let more = (4..=7).any(|axis| axis <= axes && fields.short(40 + 2 * axis as usize) > 1);
    if !(3..=7).contains(&axes) || more || size.contains(&0) {
        return Err(Reason::new(
            "pixels.size",
            format!(
                "the NIfTI header states {axes} axes, {size:?} voxels; read is one volume of three"
            ),
        ));
    }
    let code = fields.short(70);
    let stored = Stored::from_code(code).ok_or_else(|| {
        Reason::new("pixels.syntax", format!("NIfTI data type {code} is not read"))
            .next("convert it to 16-bit whole numbers")
    })?;
    let voxels = size.iter().map(|n| *n as f64).product::<f64>();
    if voxels > limits.max_voxels as f64 {
        return Err(Reason::new("limits.too_large", format!("{voxels} voxels")).measured(
            voxels,
            limits.max_voxels as f64,
            "voxels",
        ));
    }
    let data_at = fields.float(108);
    let needed = voxels * stored.bytes() as f64;
    if !(data_at >= HEADER_BYTES as f64 && data_at + needed <= total as f64) {
        return Err(Reason::new(
            "pixels.truncated",
            format!(
                "the NIfTI file has {total} bytes, its header asks for {needed} from {data_at} on"
            ),
        )
        .measured(total as f64, data_at + needed, "bytes")
        .next("copy or download it again"));
    }
    let (unit_mm, states_unit) = match fields.head[123] & 7 {
        1 => (1000.0, true),
        2 => (1.0, true),
        3 => (0.001, true),
        _ => (1.0, false),
    };
    let (slope, intercept) = match (fields.float(112), fields.float(116)) {
        // A slope of 0 means that values are not scaled.
        (0.0, _) => (1.0, 0.0),
        (slope, intercept) if slope.is_finite() && intercept.is_finite() => (slope, intercept),
        _ => return Err(Reason::new("units.not_hu", "the NIfTI scale is not a number")),
    };
    let (grid, reversed) = lattice(affine(fields)?, size, unit_mm)?;
    let big_endian = fields.big_endian;
    let data_at = data_at as u64;
    Ok(NiftiHeader { grid, stored, big_endian, data_at, slope, intercept, reversed, states_unit })
}

/// Rows of the matrix from voxel index to R, A, S.
fn affine(fields: &Fields<'_>) -> Result<[[f64; 4]; 3], Reason> {
    if fields.short(254) > 0 {
        return Ok(std::array::from_fn(|row| {
            std::array::from_fn(|column| fields.float(280 + 16 * row + 4 * column))
        }));
    }
    if fields.short(252) > 0 {
        return Ok(from_quaternion(fields));
    }
    Err(Reason::new("geometry.missing", "the NIfTI header has neither sform nor qform")
        .next("ask for the DICOM series that it was made from"))
}

/// Method 2 of `nifti1.h`: a unit quaternion, spacings, and a sign.
fn from_quaternion(fields: &Fields<'_>) -> [[f64; 4]; 3] {
    let [b, c, d] = [fields.float(256), fields.float(260), fields.float(264)];
    let a = (1.0 - (b * b + c * c + d * d)).max(0.0).sqrt();
    let flip = if fields.float(76) < 0.0 { -1.0 } else { 1.0 };
    let spacing = [fields.float(80), fields.float(84), flip * fields.float(88)];
    let rotation = [
        [a * a + b * b - c * c - d * d, 2.0 * (b * c - a * d), 2.0 * (b * d + a * c)],
        [2.0 * (b * c + a * d), a * a + c * c - b * b - d * d, 2.0 * (c * d - a * b)],
        [2.0 * (b * d - a * c), 2.0 * (c * d + a * b), a * a + d * d - b * b - c * c],
    ];
    std::array::from_fn(|row| {
        let [x, y, z]: [f64; 3] = std::array::from_fn(|axis| rotation[row][axis] * spacing[axis]);
        [x, y, z, fields.float(268 + 4 * row)]
    })
}

/// The lattice in L, P, S, made right-handed by counting slices backwards
/// where the file's is not.
fn lattice(rows: [[f64; 4]; 3], size: [usize; 3], unit_mm: f64) -> Result<(Grid, bool), Reason> {
    let column = |at: usize| {
        // R, A, S to L, P, S.
        [-rows[0][at] * unit_mm, -rows[1][at] * unit_mm, rows[2][at] * unit_mm]
    };
    let [x, y, mut z] = [Offset(column(0)), Offset(column(1)), Offset(column(2))];
    let mut origin = PatientPoint(column(3));
    let reversed = x.cross(y).dot(z) < 0.0;
    if reversed {
        origin = origin + z * (size[2] - 1) as f64;
        z = -z;
    }
    let grid = Grid::new(size, origin, [x, y, z]).map_err(|error| {
        Reason::new("geometry.missing", format!("the NIfTI matrix does not place voxels: {error}"))
    })?;
    Ok((grid, reversed))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quaternion_and_the_matrix_say_the_same() {
        // 90 degrees about z: columns run A, rows run L; as nifti1.h has it.
        let mut head = vec![0_u8; HEADER_BYTES];
        let mut put =
            |at: usize, value: f32| head[at..at + 4].copy_from_slice(&value.to_le_bytes());
        put(76, 1.0);
        put(80, 0.5);
        put(84, 0.75);
        put(88, 2.0);
        put(264, std::f32::consts::FRAC_1_SQRT_2);
        put(268, -10.0);
        let rows = from_quaternion(&Fields { head: &head, big_endian: false });
        let expected = [[0.0, -0.75, 0.0, -10.0], [0.5, 0.0, 0.0, 0.0], [0.0, 0.0, 2.0, 0.0]];
        for (row, wanted) in rows.iter().flatten().zip(expected.iter().flatten()) {
            assert!((row - wanted).abs() < 1e-6, "{rows:?}");
        }
        let (grid, reversed) = lattice(rows, [4, 5, 6], 1.0).expect("spans a volume");
        assert!(!reversed);
        assert!(grid.origin().distance_mm(PatientPoint([10.0, 0.0, 0.0])) < 1e-6);
    }

    #[test]
    fn a_left_handed_file_is_read_from_its_last_slice() {
        let rows = [[-1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 2.0, 5.0]];
        let (grid, reversed) = lattice(rows, [4, 5, 6], 1.0).expect("spans a volume");
        assert!(reversed);
        assert!(grid.origin().distance_mm(PatientPoint([0.0, 0.0, 15.0])) < 1e-12);
        let [x, y, z] = grid.steps();
        assert!(x.cross(y).dot(z) > 0.0);
    }
}
