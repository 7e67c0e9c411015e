//! Sound files of every kind that is read.

use std::fs;
use std::io::Write;
use std::path::Path;

use pilothole_phantom::{Case, Recipe, Scanner, SceneKind, SeriesHeader, write_series};
use pilothole_surface::{Extract, MeshLabel, Side, SurfaceNets, write_stl};
use pilothole_volume::{Region, Volume, Voxels};

/// Sound files.
pub(super) struct Bases {
    pub(super) slice: Vec<u8>,
    pub(super) zip: Vec<u8>,
    pub(super) tar: Vec<u8>,
    pub(super) tar_gz: Vec<u8>,
    pub(super) nifti: Vec<u8>,
    pub(super) plan_toml: String,
    pub(super) plan_json: String,
    pub(super) table: String,
    pub(super) frame: String,
    pub(super) manifest: String,
    pub(super) stl: Vec<u8>,
}

impl Bases {
    pub(super) fn make(home: &Path) -> Self {
        let mut recipe = Recipe::of(SceneKind::Inserts);
        recipe.grid.spacing_mm = [3.0; 3];
        recipe.grid.extent_mm = [48.0, 80.0, 30.0];
        let case = Case::of(&recipe).expect("a sound recipe");
        let volume = Scanner::PERFECT.scan(&case.scene, &case.grid).expect("fits");
        let folder = home.join("series");
        let files = write_series(&volume, &folder, &SeriesHeader::default()).expect("written");
        let slices: Vec<Vec<u8>> =
            files.iter().map(|file| fs::read(file).expect("there")).collect();
        let tar = tarred(&slices);
        let value: serde_json::Value = toml::from_str(&case.plan_toml).expect("a plan is TOML");
        for file in ["s", "p"] {
            fs::write(home.join(file), "").expect("written");
        }
        Self {
            zip: zipped(&slices),
            tar_gz: gzipped(&tar),
            tar,
            slice: slices.into_iter().next().expect("a slice"),
            nifti: nifti(&volume),
            plan_json: serde_json::to_string_pretty(&value).expect("numbers and text"),
            plan_toml: case.plan_toml,
            table: "id,seat_x,seat_y,seat_z,direction_x,direction_y,direction_z,screw,length_mm\n\
                    a,1.0,2.0,3.0,0.0,0.0,1.0,HB 6.5,30\nb,4.0,2.0,3.0,0.0,0.6,0.8,HB 6.5,\n"
                .to_owned(),
            frame: "1 0 0 10\n0 1 0 -4\n0 0 1 2\n0 0 0 1\n".to_owned(),
            manifest: "case,scan,plan,age\na,s,p,50\nb,s,p,61\n".to_owned(),
            stl: stl(&volume),
        }
    }
}

fn zipped(slices: &[Vec<u8>]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (at, bytes) in slices.iter().enumerate() {
        let options = zip::write::SimpleFileOptions::default()
            .compression_method(zip::CompressionMethod::Deflated);
        writer.start_file(format!("../{at}"), options).expect("starts");
        writer.write_all(bytes).expect("writes");
    }
    writer.finish().expect("finishes").into_inner()
}

fn tarred(slices: &[Vec<u8>]) -> Vec<u8> {
    let mut builder = tar::Builder::new(Vec::new());
    for (at, bytes) in slices.iter().enumerate() {
        let mut header = tar::Header::new_ustar();
        header.set_size(bytes.len() as u64);
        header.set_mode(0o644);
        header.set_path(format!("s/{at}")).expect("a path");
        header.set_cksum();
        builder.append(&header, &bytes[..]).expect("appends");
    }
    builder.into_inner().expect("finishes")
}

fn gzipped(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).expect("writes");
    encoder.finish().expect("finishes")
}

/// A NIfTI-1 file of 16-bit voxels with a sform.
fn nifti(volume: &Volume) -> Vec<u8> {
    let size = volume.grid().size();
    let mut bytes = vec![0_u8; 352];
    bytes[0..4].copy_from_slice(&348_i32.to_le_bytes());
    let counts = [3, size[0], size[1], size[2], 1].map(|n| n as i16);
    for (at, value) in (40..).step_by(2).zip(counts) {
        bytes[at..at + 2].copy_from_slice(&value.to_le_bytes());
    }
    for (at, value) in [(70, 4_i16), (72, 16), (254, 1)] {
        bytes[at..at + 2].copy_from_slice(&value.to_le_bytes());
    }
    bytes[108..112].copy_from_slice(&352_f32.to_le_bytes());
    bytes[123] = 2;
    for axis in 0..3 {
        let step = if axis == 2 { 3.0_f32 } else { -3.0 };
        let at = 280 + 16 * axis + 4 * axis;
        bytes[at..at + 4].copy_from_slice(&step.to_le_bytes());
    }
    bytes[344..348].copy_from_slice(b"n+1\0");
    let voxels = volume.voxels();
    bytes.extend((0..voxels.len()).flat_map(|i| (voxels.hu_or_nan(i) as i16).to_le_bytes()));
    bytes
}

fn stl(volume: &Volume) -> Vec<u8> {
    let hu = (0..volume.voxels().len()).map(|i| volume.voxels().hu_or_nan(i)).collect();
    let volume = Volume::new(volume.grid().clone(), Voxels::F32(hu), None).expect("fits");
    let region = Region::whole(volume.grid());
    let found = SurfaceNets.extract_volume(&volume, region, 226.0).expect("fits");
    let mut bytes = Vec::new();
    write_stl(&mut bytes, &found.mesh, MeshLabel { side: Side::Left }).expect("written");
    bytes
}
