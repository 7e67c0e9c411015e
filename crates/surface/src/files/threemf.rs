//! 3MF: a zip of three small XML parts.

use std::io::{Seek, Write};

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::{Gather, MeshFileError, MeshLabel, check_corners};
use crate::mesh::TriMesh;

const TYPES: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>
"#;

const RELATIONS: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>
"#;

/// Write a 3MF of one object: mm, LPS, four decimals (0.1 µm), no dates.
///
/// # Errors
///
/// [`MeshFileError::Package`]; [`MeshFileError::Write`];
/// [`MeshFileError::Corner`].
///
/// # References
///
/// 3MF Core Specification 1.3, sections 2 to 4.
pub fn write_3mf(
    to: &mut (impl Write + Seek),
    mesh: &TriMesh,
    label: MeshLabel,
) -> Result<(), MeshFileError> {
    check_corners(mesh)?;
    // A date of its own would change the bytes.
    let options = SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
    let mut zip = ZipWriter::new(to);
    zip.start_file("[Content_Types].xml", options)?;
    zip.write_all(TYPES.as_bytes())?;
    zip.start_file("_rels/.rels", options)?;
    zip.write_all(RELATIONS.as_bytes())?;
    zip.start_file("3D/3dmodel.model", options)?;
    write_model(&mut zip, mesh, label)?;
    zip.finish()?;
    Ok(())
}

fn write_model(to: &mut impl Write, mesh: &TriMesh, label: MeshLabel) -> std::io::Result<()> {
    let mut out = Gather::new(to);
    let head = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" \
         xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\">\
         <metadata name=\"Description\">{}</metadata><resources>\
         <object id=\"1\" type=\"model\"><mesh>\n<vertices>\n",
        label.line()
    );
    out.put(head.as_bytes())?;
    for vertex in &mesh.vertices {
        let [x, y, z] = vertex.0;
        out.put(format!("<vertex x=\"{x:.4}\" y=\"{y:.4}\" z=\"{z:.4}\"/>\n").as_bytes())?;
    }
    out.put(b"</vertices>\n<triangles>\n")?;
    for [a, b, c] in &mesh.triangles {
        out.put(format!("<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>\n").as_bytes())?;
    }
    out.put(b"</triangles>\n</mesh></object></resources><build><item objectid=\"1\"/></build></model>\n")?;
    out.finish()
}
