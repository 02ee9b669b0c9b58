//! What a run leaves in its folder.

use std::path::{Path, PathBuf};

use base::{Finding, Findings, Level};
use engine::assemble::Pole;
use engine::check::Measures;
use engine::model::{Guide, GuideKind, Plane, Sculpt};
use files::{GlbOptions, GlbPart, MirrorPlane};
use mesh::QuadMesh;
use report::{GuideView, LayersView, Picture, PoleView, ReportInput, StageView, Table, TrimView};
use serde_json::Value;

use crate::args;
use crate::progress::{Lap, Meter};
use crate::refusal::Refusal;
use crate::tables;

/// The files of a run, of a part or of a figure.
const RESULTS: [&str; 6] = [
    "surface.obj",
    "surface.glb",
    "figure.obj",
    "figure.glb",
    "findings.json",
    "report.html",
];

/// A surface that was made or read, and everything known of it.
pub struct Finished<'a> {
    /// Name of the part.
    pub name: &'a str,
    /// Unit of length; empty if not known.
    pub units: &'a str,
    /// Text of the job file; empty without one.
    pub job_text: &'a str,
    /// The sculpt.
    pub sculpt: &'a Sculpt,
    /// Guides of the job.
    pub guides: &'a [Guide],
    /// The surface.
    pub surface: &'a QuadMesh,
    /// Its hard edges: both ends, lower first, sorted.
    pub hard: &'a [[u32; 2]],
    /// Patch of each quad; empty if not known.
    pub patch_of_quad: &'a [u32],
    /// Poles with their reasons.
    pub poles: Vec<PoleView>,
    /// The plane that the surface is an exact mirror image about.
    pub plane: Option<Plane>,
    /// What was found.
    pub findings: Findings,
    /// What was measured.
    pub measures: &'a Measures,
    /// What the stages cost.
    pub stages: Vec<StageView>,
    /// Trims, in the job's order.
    pub trims: Vec<TrimView>,
    /// With layers only.
    pub layers: Option<LayerView<'a>>,
}

/// Layers, and what became of the surface beside them.
#[derive(Clone, Copy)]
pub struct LayerView<'a> {
    /// The layers, in the job's order.
    pub layers: &'a [finish::layers::Layer],
    /// The surface before they were cleared.
    pub before: &'a QuadMesh,
    /// How they were cleared.
    pub layered: &'a session::Layered,
}

impl LayerView<'_> {
    /// Quads that were in the way before.
    fn in_the_way(&self) -> Vec<u32> {
        let before = self.layered.cleared.before.iter();
        let each = before.flat_map(|standing| {
            let crossing = standing.crossings.iter().map(|[quad, _]| *quad);
            crossing.chain(standing.close.iter().map(|(quad, ..)| *quad))
        });
        let mut quads: Vec<u32> = each.collect();
        quads.sort_unstable();
        quads.dedup();
        quads
    }
}

/// What there is to tell of a run.
pub struct Done {
    /// Name of the part.
    pub name: String,
    /// Faces of the surface.
    pub quads: usize,
    /// Inner poles of the surface.
    pub poles: usize,
    /// What was found.
    pub findings: Findings,
    /// Measures, guides, patches.
    pub tables: Vec<Table>,
    /// findings.json.
    pub json: Value,
    /// What the stages cost.
    pub stages: Vec<StageView>,
    /// Names of the files that were written.
    pub files: Vec<String>,
    /// Pictures of the report, if any were made.
    pub pictures: Vec<Picture>,
    /// Where the files are, if any were written.
    pub folder: Option<PathBuf>,
}

/// Sees to it that results can be written into a folder and replace no input.
///
/// # Errors
/// [`Refusal::Write`], [`Refusal::Overwrites`].
pub fn check_folder(out: &Path, inputs: &[&Path]) -> Result<(), Refusal> {
    files::check_writable(out)?;
    for name in RESULTS {
        let Ok(result) = out.join(name).canonicalize() else {
            continue;
        };
        let same = |input: &&&Path| input.canonicalize().is_ok_and(|input| input == result);
        if let Some(input) = inputs.iter().find(same) {
            return Err(Refusal::Overwrites {
                path: input.to_path_buf(),
            });
        }
    }
    Ok(())
}

/// Poles as they are shown.
pub fn poles_of(poles: &[Pole]) -> Vec<PoleView> {
    let view = |pole: &Pole| PoleView {
        vertex: pole.vertex,
        valence: pole.valence,
        reason: pole.reason.clone(),
    };
    poles.iter().map(view).collect()
}

/// Writes surface.obj, surface.glb, findings.json and report.html, all or none.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn write_surface(
    mut finished: Finished<'_>,
    out: &Path,
    common: &args::Common,
    meter: &Meter,
) -> Result<Done, Refusal> {
    if files::metres_per_unit(finished.units).is_none() {
        let sentence = format!(
            "The length of the unit '{}' isn't known, so surface.glb takes it for a metre.",
            finished.units
        );
        let finding = Finding::new("unknown-unit", Level::Warn, sentence);
        finished.findings.push(finding);
    }
    let (name, units) = (finished.name, finished.units);
    let look = Look {
        plane: finished.plane,
        hard: finished.hard,
        parts: &[],
    };
    let mut all = surface_files("surface", name, units, finished.surface, look)?;
    let seen = finished.layers.iter().flat_map(|l| &l.layered.seen);
    all.extend(seen.map(|(name, mesh)| (name.clone(), files::ply_bytes(mesh))));
    let done = reported(finished, &mut all, common, meter)?;
    write_all(out, &all)?;
    Ok(Done {
        folder: Some(out.to_owned()),
        files: all.into_iter().map(|(name, _)| name).collect(),
        ..done
    })
}

/// How a surface goes into files besides its quads.
#[derive(Clone, Copy, Debug, Default)]
pub struct Look<'a> {
    /// The plane about which it is its own image.
    pub plane: Option<Plane>,
    /// Its hard edges: both ends, lower first, sorted.
    pub hard: &'a [[u32; 2]],
    /// Its parts, each a node of the GLB; none: it is one.
    pub parts: &'a [GlbPart],
}

/// A surface as OBJ and GLB; the name of both files without extension is `stem`.
///
/// # Errors
/// [`Refusal::Encode`].
pub fn surface_files(
    stem: &str,
    name: &str,
    units: &str,
    surface: &QuadMesh,
    look: Look<'_>,
) -> Result<Vec<(String, Vec<u8>)>, Refusal> {
    let mut options = GlbOptions::named(name);
    options.metres_per_unit = files::metres_per_unit(units).unwrap_or(1.0);
    options.hard = look.hard.to_vec();
    options.parts = look.parts.to_vec();
    options.mirror = look.plane.map(|plane| MirrorPlane {
        origin: plane.origin,
        normal: plane.normal,
    });
    let obj = files::shaded_obj_text(surface, &header(name, units, surface), look.hard);
    let glb = files::glb(surface, &options)?;
    Ok(vec![
        (format!("{stem}.obj"), obj),
        (format!("{stem}.glb"), glb),
    ])
}

/// Writes findings.json and report.html, both or neither.
///
/// # Errors
/// [`Refusal`]; nothing was written then.
pub fn write_findings(
    finished: Finished<'_>,
    out: &Path,
    common: &args::Common,
    meter: &Meter,
) -> Result<Done, Refusal> {
    let mut all = Vec::new();
    let done = reported(finished, &mut all, common, meter)?;
    write_all(out, &all)?;
    Ok(Done {
        folder: Some(out.to_owned()),
        files: all.into_iter().map(|(name, _)| name).collect(),
        ..done
    })
}

/// Writes files into a folder, all or none.
///
/// # Errors
/// [`Refusal::Write`].
pub fn write_all(out: &Path, all: &[(String, Vec<u8>)]) -> Result<(), Refusal> {
    let files: Vec<(&str, &[u8])> = all
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
        .collect();
    Ok(files::write_all_or_none(out, &files)?)
}

/// Adds findings.json and report.html, and the pictures if they are asked for.
fn reported(
    finished: Finished<'_>,
    all: &mut Vec<(String, Vec<u8>)>,
    common: &args::Common,
    meter: &Meter,
) -> Result<Done, Refusal> {
    let guides: Vec<GuideView> = finished.guides.iter().map(guide_view).collect();
    let tables = tables_of(&finished);
    let json = findings_json(&finished, &tables)?;
    let in_the_way = finished.layers.map(|view| view.in_the_way());
    let under: Vec<(&str, &mesh::TriMesh)> = finished
        .layers
        .iter()
        .flat_map(|view| view.layers)
        .map(|layer| (layer.name.as_str(), layer.mesh.mesh.as_ref()))
        .collect();
    let layers = finished.layers.as_ref().map(|view| LayersView {
        layers: &under,
        before: view.before,
        in_the_way: in_the_way.as_deref().unwrap_or_default(),
    });
    let input = ReportInput {
        title: finished.name,
        sculpt: &finished.sculpt.index,
        surface: finished.surface,
        guides: &guides,
        poles: &finished.poles,
        patch_of_quad: finished.patch_of_quad,
        trims: &finished.trims,
        layers,
        findings: &finished.findings,
        stages: &finished.stages,
        tables: &tables,
        job_text: finished.job_text,
        picture_px: common.pictures,
    };
    let mut stages = finished.stages.clone();
    let mut pictures: Vec<Picture> = Vec::new();
    if common.pictures > 0 {
        let mut lap = Lap::new(meter);
        pictures = report::pictures(&input, meter.task())?;
        stages.push(lap.end("pictures"));
    }
    let page = report::html_with(
        &ReportInput {
            stages: &stages,
            ..input
        },
        &pictures,
    );
    meter.task().checkpoint()?;
    all.push((
        "findings.json".to_owned(),
        serde_json::to_vec_pretty(&json)?,
    ));
    all.push(("report.html".to_owned(), page.into_bytes()));
    if common.picture_files {
        let file = |picture: &Picture| (format!("{}.png", picture.name), picture.png.clone());
        all.extend(pictures.iter().map(file));
    }
    Ok(Done {
        stages,
        pictures,
        ..done(finished, tables, json)
    })
}

/// What there is to tell when nothing is written.
///
/// # Errors
/// [`Refusal::Json`].
pub fn in_memory(finished: Finished<'_>) -> Result<Done, Refusal> {
    let tables = tables_of(&finished);
    let json = findings_json(&finished, &tables)?;
    Ok(done(finished, tables, json))
}

fn done(finished: Finished<'_>, tables: Vec<Table>, json: Value) -> Done {
    Done {
        name: finished.name.to_owned(),
        quads: finished.surface.quads.len(),
        poles: finished.measures.poles.poles,
        findings: finished.findings,
        tables,
        json,
        stages: finished.stages,
        files: Vec::new(),
        pictures: Vec::new(),
        folder: None,
    }
}

fn tables_of(finished: &Finished<'_>) -> Vec<Table> {
    let mut tables = tables::of(finished.measures, finished.surface, finished.patch_of_quad);
    if let Some(view) = finished.layers {
        tables.insert(0, tables::layers(view.layers, &view.layered.cleared));
    }
    tables
}

/// Findings, tables and measures; no times, so that equal runs give equal files.
fn findings_json(finished: &Finished<'_>, tables: &[Table]) -> Result<Value, Refusal> {
    let mut json = report::findings_json(&finished.findings, tables);
    json["name"] = Value::from(finished.name);
    json["units"] = Value::from(finished.units);
    json["measures"] = serde_json::to_value(finished.measures)?;
    json["hard_edges"] = serde_json::to_value(finished.hard)?;
    Ok(json)
}

fn guide_view(guide: &Guide) -> GuideView {
    let kind = match guide.kind {
        GuideKind::Ring => "ring",
        GuideKind::Line => "line",
        GuideKind::Opening => "opening",
        GuideKind::Hold => "rim",
    };
    GuideView {
        name: guide.name.clone(),
        kind: kind.to_owned(),
        closed: guide.closed,
        points: guide.points.clone(),
    }
}

/// The comment on top of an OBJ file.
fn header(name: &str, units: &str, surface: &QuadMesh) -> String {
    format!(
        "{name}, made by Loopwright {}\n{} vertices, {} quads; unit: {units}",
        env!("CARGO_PKG_VERSION"),
        surface.positions.len(),
        surface.quads.len(),
    )
}
