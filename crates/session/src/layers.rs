//! Layers of a job: read from their files, the surface cleared of them, its shape checked anew.

use base::{Finding, Findings, Level, Task};
use engine::check::{self, CheckError, CheckInput, Measures};
use engine::model::{Hold, Intent, Plane, Sculpt};
use files::{JobFile, JobSpec, LayerSide, LayerSpec, RawSculpt, ReadError};
use finish::layers::{self, Cleared, Follow, Frame, Layer, LayerError, Side};
use mesh::{DVec3, QuadMesh, TriMesh};
use thiserror::Error;

use super::checked::mirror;
use super::finish::{FinishError, Finished};
use super::pipeline::{Outcome, Settings};

/// A layer's file can't be used.
#[derive(Debug, Error)]
#[error("layer '{layer}': {source}")]
pub struct LayerFileError {
    /// The layer.
    pub layer: String,
    /// Its line in the job file, from 1.
    pub line: usize,
    /// What is wrong.
    pub source: LayerProblem,
}

/// What is wrong with a layer's file.
#[derive(Debug, Error)]
pub enum LayerProblem {
    /// It can't be read.
    #[error(transparent)]
    Read(#[from] Box<ReadError>),
    /// The part isn't in it.
    #[error("{file} has no part '{part}'. {}", those(.parts))]
    NoSuchPart {
        /// The file.
        file: String,
        /// The part asked for.
        part: String,
        /// Those that are there.
        parts: Vec<String>,
    },
    /// There are no triangles.
    #[error("{file} has no triangles, so nothing can be cleared of it. Name another file or part")]
    Empty {
        /// The file.
        file: String,
    },
}

fn those(parts: &[String]) -> String {
    if parts.is_empty() {
        return "It has no named parts: remove 'part'".to_owned();
    }
    format!("Possible are '{}'", parts.join("', '"))
}

/// A surface beside the job's layers.
#[derive(Clone, Debug)]
pub struct Layered {
    /// The surface, with room beside its layers.
    pub surface: QuadMesh,
    /// What was done.
    pub cleared: Cleared,
    /// What was found, of layers' hidden faces too.
    pub findings: Findings,
    /// What was found of what was added to the surface, now that it is where it is.
    pub added: Findings,
    /// Layers without their hidden faces, by name, where the job asks for it.
    pub seen: Vec<(String, TriMesh)>,
}

/// The layers of a job, read from their files.
///
/// # Errors
/// [`LayerFileError`]: the first file that can't be used.
pub fn layers_of(file: &JobFile, spec: &JobSpec) -> Result<Vec<Layer>, LayerFileError> {
    let read = |layer: &LayerSpec| {
        let path = file.layer_path(layer);
        let failed = |source| LayerFileError {
            layer: layer.name.clone(),
            line: layer.line,
            source,
        };
        let raw = files::read_sculpt(&path).map_err(|e| failed(Box::new(e).into()))?;
        let shown = path.display().to_string();
        let mesh = part_of(raw, layer.part.as_deref(), &shown).map_err(failed)?;
        let side = match layer.side {
            LayerSide::Under => Side::Under,
            LayerSide::Over => Side::Over,
        };
        Ok(Layer::new(&layer.name, &mesh, side, layer.clearance))
    };
    spec.layers.iter().map(read).collect()
}

/// The triangles of a part, or all of them.
fn part_of(raw: RawSculpt, part: Option<&str>, file: &str) -> Result<TriMesh, LayerProblem> {
    let mut triangles = raw.triangles;
    if let Some(wanted) = part {
        let mut named = raw.parts.iter().filter(|p| p.name == wanted).peekable();
        if named.peek().is_none() {
            return Err(LayerProblem::NoSuchPart {
                file: file.to_owned(),
                part: wanted.to_owned(),
                parts: raw.parts.iter().map(|p| p.name.clone()).collect(),
            });
        }
        let ranges = named.flat_map(|p| p.triangles.iter());
        let spans = ranges.filter_map(|r| triangles.get(r.start as usize..r.end as usize));
        triangles = spans.flatten().copied().collect();
    }
    if triangles.is_empty() {
        let file = file.to_owned();
        return Err(LayerProblem::Empty { file });
    }
    Ok(TriMesh {
        positions: raw.positions,
        triangles,
    })
}

/// Why layers can't be cleared.
#[derive(Debug, Error)]
pub enum ClearError {
    /// The push.
    #[error(transparent)]
    Layers(#[from] LayerError),
    /// What was added to the surface.
    #[error(transparent)]
    Finish(#[from] FinishError),
    /// The surface is damaged.
    #[error(transparent)]
    Check(#[from] CheckError),
}

/// Clears a surface of layers, which are those of `spec` in its order. Held quads stay where
/// they are; walls of trims stay parallel, and trims are measured where they end.
///
/// # Errors
/// [`ClearError`].
pub fn cleared(
    finished: &Finished,
    outcome: &Outcome,
    spec: &JobSpec,
    layers: &[Layer],
    settings: &Settings,
    task: &Task,
) -> Result<Layered, ClearError> {
    let surface = &finished.surface;
    let relaid = |moved: &[DVec3]| finished.relaid(moved);
    let tied = finished.tied();
    let frame = Frame {
        plane: mirror(outcome, settings),
        still: held_vertices(surface, &settings.holds),
        guided: guided(outcome, finished)?,
        tied,
        follow: (finished.trimmed.is_some() || finished.lined.is_some())
            .then_some(&relaid as Follow<'_>),
    };
    let cleared = layers::run(surface, layers, &frame, task)?;
    let added = finished.findings_at(&cleared.positions, task)?;
    let surface = QuadMesh {
        positions: cleared.positions.clone(),
        ..surface.clone()
    };
    let mut findings = cleared.findings.clone();
    let mut seen = Vec::new();
    for (layer, said) in layers.iter().zip(&spec.layers) {
        let Some(margin) = said.margin else {
            continue;
        };
        task.checkpoint().map_err(LayerError::from)?;
        let (left, dropped) = layers::without_hidden(layer, &surface, margin);
        let sentence = format!(
            "{dropped} of {} faces of layer '{}' are never seen and were left out of {}; the layer's own file is as it was.",
            layer.mesh.mesh.triangles.len(),
            layer.name,
            seen_file(&layer.name)
        );
        let finding = Finding::new("layer-hidden", Level::Note, sentence);
        findings.push(finding.measured(dropped as f64, None));
        seen.push((seen_file(&layer.name), left));
    }
    Ok(Layered {
        surface,
        cleared,
        findings,
        added,
        seen,
    })
}

/// Vertices that keep their course: those along guides, and those of trims' outer walls, rising.
fn guided(outcome: &Outcome, finished: &Finished) -> Result<Vec<u32>, CheckError> {
    let trims = finished.trimmed.iter().flat_map(|t| t.tied());
    let mut all: Vec<u32> = trims.map(|pair| pair[1]).collect();
    for guide in &outcome.guides {
        if let Some(run) = check::run_along(&outcome.surface, guide)? {
            all.extend(run.vertices);
        }
    }
    all.sort_unstable();
    all.dedup();
    Ok(all)
}

/// Name of the file of a layer without hidden faces.
fn seen_file(layer: &str) -> String {
    let plain = |c: char| if c.is_alphanumeric() { c } else { '_' };
    let name: String = layer.chars().map(plain).collect();
    format!("layer_{name}.ply")
}

/// Vertices of the surface at which a held vertex is, to the bit.
fn held_vertices(surface: &QuadMesh, holds: &[Hold]) -> Vec<u32> {
    let key = |p: mesh::DVec3| p.to_array().map(|x| (x + 0.0).to_bits());
    let held = holds.iter().flat_map(|hold| hold.positions.iter());
    let mut held: Vec<[u64; 3]> = held.map(|&p| key(p)).collect();
    held.sort_unstable();
    let at = |p: mesh::DVec3| held.binary_search(&key(p)).is_ok();
    let all = (0..).zip(&surface.positions);
    all.filter(|v| at(*v.1)).map(|v| v.0).collect()
}

/// Findings that say what shape a surface has, whatever it was made for.
const SHAPE: [&str; 7] = [
    "consistent-winding",
    "even-edges",
    "manifold-edges",
    "mirror-faces",
    "mirror-vertices",
    "self-intersections",
    "squeezed-quads",
];

/// Puts the shape of a surface that layers moved into the measures and findings that it had
/// before: what it promised of guides and the sculpt was kept then, and room beside layers is
/// asked for on top of it. `plain` is the surface without trims, whose vertices and quads come
/// first in the moved one.
///
/// # Errors
/// [`CheckError`].
pub fn shape_again(
    layered: &Layered,
    plain: &QuadMesh,
    sculpt: &Sculpt,
    plane: Option<Plane>,
    (measures, findings): (&mut Measures, &mut Findings),
    task: &Task,
) -> Result<(), CheckError> {
    if layered.cleared.most == 0.0 {
        return Ok(());
    }
    let mut moved = plain.clone();
    let to = &layered.surface.positions;
    moved
        .positions
        .iter_mut()
        .zip(to)
        .for_each(|(p, to)| *p = *to);
    let input = CheckInput {
        surface: &moved,
        sculpt,
        guides: &[],
        plane,
        intent: &Intent::default(),
        target_faces: None,
        yardstick: false,
        holds: &[],
    };
    let (again, found) = check::run(&input, task)?;
    measures.mirror = again.mirror;
    measures.shape = again.shape;
    measures.self_intersections = again.self_intersections;
    let is_shape = |finding: &&Finding| SHAPE.contains(&finding.code.as_str());
    let mut kept = Findings::default();
    let old = findings.iter().filter(|f| !is_shape(f));
    old.chain(found.iter().filter(is_shape))
        .for_each(|finding| kept.push(finding.clone()));
    *findings = kept;
    Ok(())
}
