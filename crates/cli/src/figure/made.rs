//! One part of a figure: made, or kept from the run before.

use std::path::Path;

use base::{Finding, Findings, Level};
use engine::model::Plane;
use engine::symmetry::PlaneChoice;
use files::{PlaneSpec, ReadError};
use finish::layers::{Layer, Side};
use mesh::{QuadMesh, TriMesh};
use report::Picture;
use serde_json::{Value, json};

use super::plan::{Plan, SURFACE};
use crate::args;
use crate::output;
use crate::progress::Meter;
use crate::refusal::Refusal;
use crate::run;
use crate::stamp::{NOTE, Sources, Stamp};

/// A part with its results.
pub struct Made {
    /// Its surface, as it was written.
    pub surface: QuadMesh,
    /// The same as a layer beneath others; whoever is over it says how far.
    pub layer: Layer,
    /// Its findings.json.
    pub findings: Value,
    /// Pictures of its report.
    pub pictures: Vec<Picture>,
    /// Whether nothing had changed.
    pub kept: bool,
}

impl Made {
    /// Whether all of the part's checks hold.
    pub fn is_ready(&self) -> bool {
        self.findings["ready"] == true
    }

    /// Sentences of the part's checks that fail.
    pub fn fails(&self) -> impl Iterator<Item = &str> {
        let all = self.findings["findings"].as_array().into_iter().flatten();
        let fails = all.filter(|finding| finding["level"] == "fail");
        fails.filter_map(|finding| finding["sentence"].as_str())
    }

    /// Its hard edges, by the vertices of its surface.
    pub fn hard_edges(&self) -> Vec<[u32; 2]> {
        let all = self.findings["hard_edges"].as_array().into_iter().flatten();
        let end = |edge: &Value, i: usize| u32::try_from(edge[i].as_u64()?).ok();
        let edges = all.filter_map(|edge| Some([end(edge, 0)?, end(edge, 1)?]));
        edges.collect()
    }

    /// A whole number among the part's measures.
    pub fn measure(&self, group: &str, key: &str) -> Option<u64> {
        self.findings["measures"][group][key].as_u64()
    }

    /// What lies in a folder.
    fn read(
        folder: &Path,
        name: &str,
        pictures: Vec<Picture>,
        kept: bool,
    ) -> Result<Self, Refusal> {
        let unread = |source: ReadError| Refusal::Read {
            place: String::new(),
            source: source.into(),
        };
        let path = folder.join(SURFACE);
        let surface = files::read_grouped_quads(&path).map_err(unread)?;
        let raw = files::read_sculpt(&path).map_err(unread)?;
        let triangles = TriMesh {
            positions: raw.positions,
            triangles: raw.triangles,
        };
        let findings = folder.join("findings.json");
        let unread = |source| Refusal::Results {
            path: findings.clone(),
            source,
        };
        let bytes = std::fs::read(&findings).map_err(unread)?;
        Ok(Self {
            surface,
            layer: Layer::new(name, &triangles, Side::Under, f64::EPSILON),
            findings: serde_json::from_slice(&bytes)?,
            pictures,
            kept,
        })
    }
}

/// A part with a job; `beneath` are the parts before it, `anew` makes it even if nothing changed.
///
/// # Errors
/// [`Refusal`]; nothing of the part was written then.
pub fn by_job(
    plan: &Plan,
    number: usize,
    beneath: &[Made],
    anew: bool,
    common: &args::Common,
    meter: &Meter,
) -> Result<Made, Refusal> {
    let mut order = plan.order(number)?;
    let part = &plan.spec().parts[number];
    for &under in &part.over {
        let layer = beneath[under].layer.clone();
        order.read.add(plan.surface(under), layer);
    }
    let folder = plan.folder(number);
    let stamp = Stamp::of(&Sources {
        asked: order.text.clone(),
        options: json!({ "pictures": common.pictures, "yardstick": common.yardstick }),
        files: order.sources(),
    });
    if let Some(pictures) = stamp.kept(&folder, NOTE).filter(|_| !anew) {
        return Made::read(&folder, &part.name, pictures, true);
    }
    // The figure's report shows pictures of parts that were kept, too.
    let common = args::Common {
        picture_files: true,
        ..common.clone()
    };
    let done = run::results(&order, &folder, &common, meter)?;
    stamp.note(&folder, NOTE, &done.files, &done.pictures)?;
    Made::read(&folder, &part.name, done.pictures, false)
}

/// The image of a part about the figure's plane: exact where the plane goes through the origin
/// along two axes.
///
/// # Errors
/// [`Refusal`]; nothing of the part was written then.
pub fn image(plan: &Plan, number: usize, of: &Made, meter: &Meter) -> Result<Made, Refusal> {
    meter.task().checkpoint()?;
    let spec = plan.spec();
    let part = &spec.parts[number];
    let original = spec.made(number);
    let folder = plan.folder(number);
    // A set without a plane has no images: its reader sees to that.
    let Some(plane) = plan_plane(spec.plane) else {
        return Err(Refusal::Fault);
    };
    let inputs = plan.inputs();
    output::check_folder(&folder, &inputs)?;
    let stamp = Stamp::of(&Sources {
        asked: format!("image of {} about {plane:?}", spec.parts[original].name),
        options: json!({ "name": part.name, "units": of.findings["units"] }),
        files: [SURFACE, "findings.json"]
            .map(|file| plan.folder(original).join(file))
            .to_vec(),
    });
    if let Some(pictures) = stamp.kept(&folder, NOTE) {
        return Made::read(&folder, &part.name, pictures, true);
    }
    let surface = mirrored(&of.surface, plane);
    // An image has its original's numbers.
    let hard = of.hard_edges();
    let look = output::Look {
        plane: None,
        hard: &hard,
        parts: &[],
    };
    let mut findings = Findings::default();
    findings.push(about(&spec.parts[original].name, of));
    let units = of.findings["units"].as_str().unwrap_or_default();
    let mut all = output::surface_files("surface", &part.name, units, &surface, look)?;
    let mut json = report::findings_json(&findings, &[]);
    json["name"] = Value::from(part.name.as_str());
    json["units"] = Value::from(units);
    json["measures"] = of.findings["measures"].clone();
    json["hard_edges"] = of.findings["hard_edges"].clone();
    all.push((
        "findings.json".to_owned(),
        serde_json::to_vec_pretty(&json)?,
    ));
    output::write_all(&folder, &all)?;
    let names: Vec<String> = all.into_iter().map(|(name, _)| name).collect();
    stamp.note(&folder, NOTE, &names, &[])?;
    Made::read(&folder, &part.name, Vec::new(), false)
}

/// What is found of an image: as ready as its original.
fn about(original: &str, of: &Made) -> Finding {
    if of.is_ready() {
        let sentence = format!("It is the mirror image of '{original}', which is ready.");
        return Finding::new("image-of", Level::Pass, sentence);
    }
    let sentence = format!(
        "It is the mirror image of '{original}', which isn't ready. Look at that part's findings."
    );
    Finding::new("image-of", Level::Fail, sentence)
}

/// The figure's plane as the engine takes it.
pub fn plan_plane(plane: Option<PlaneSpec>) -> Option<Plane> {
    match session::plane_of(plane?) {
        PlaneChoice::Given(plane) => Some(plane),
        PlaneChoice::None | PlaneChoice::Find => None,
    }
}

/// The image of a surface, facing out as the original does.
fn mirrored(surface: &QuadMesh, plane: Plane) -> QuadMesh {
    let turned = |[a, b, c, d]: [u32; 4]| [a, d, c, b];
    QuadMesh {
        positions: surface.positions.iter().map(|p| plane.mirror(*p)).collect(),
        quads: surface.quads.iter().map(|quad| turned(*quad)).collect(),
        groups: surface.groups.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::DVec3;

    #[test]
    fn an_image_of_an_image_is_the_original_and_both_face_out() {
        let plane = plan_plane(Some(PlaneSpec::X)).unwrap();
        let surface = QuadMesh {
            positions: vec![
                DVec3::new(1.0, 0.1, -0.3),
                DVec3::new(2.0, 0.2, 0.1),
                DVec3::new(2.0, 1.0, 0.7),
                DVec3::new(1.0, 1.3, 1e-17),
            ],
            quads: vec![[0, 1, 2, 3]],
            groups: vec![],
        };
        let image = mirrored(&surface, plane);
        let normal = |mesh: &QuadMesh| {
            let [a, b, c, d] = mesh.quads[0].map(|v| mesh.positions[v as usize]);
            (c - a).cross(d - b)
        };
        let (front, behind) = (normal(&surface), normal(&image));
        assert!((front * DVec3::new(-1.0, 1.0, 1.0)).distance(behind) < 1e-12);
        assert_eq!(mirrored(&image, plane).positions, surface.positions);
        assert_eq!(mirrored(&image, plane).quads, surface.quads);
    }
}
