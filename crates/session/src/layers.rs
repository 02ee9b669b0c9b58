//! Layers of a job: read from their files, the surface cleared of them, its shape checked anew.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use base::{Finding, Findings, Level, Place, Task};
use engine::check::{self, CheckError, CheckInput, Measures};
use engine::model::{Hold, Intent, Plane, Sculpt};
use files::{JobFile, JobSpec, LayerSide, LayerSpec, RawSculpt, ReadError};
use finish::layers::{self, Cleared, Follow, Frame, Layer, LayerError, Side, Standing};
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
    /// Places of its vertices before, model units.
    pub before: Vec<DVec3>,
    /// What was done.
    pub cleared: Cleared,
    /// What was found, of what was in the way before and of layers' hidden faces too.
    pub findings: Findings,
    /// What was found of what was added to the surface, now that it is where it is.
    pub added: Findings,
    /// Of each layer, the places where it was in the way before the surface moved, model units.
    pub met: Vec<Vec<DVec3>>,
    /// Layers without their hidden faces, by name, where the job asks for it.
    pub seen: Vec<(String, TriMesh)>,
}

/// Meshes of layers as they were read: another number in the job reads none of them anew.
#[derive(Clone, Debug, Default)]
pub struct LayerFiles {
    read: BTreeMap<(PathBuf, Option<String>), Layer>,
}

impl LayerFiles {
    /// Each layer of a job in its order, read from its file if it wasn't yet.
    ///
    /// # Errors
    /// [`LayerFileError`] in place of a layer whose file can't be used.
    pub fn each(&mut self, file: &JobFile, spec: &JobSpec) -> Vec<Result<Layer, LayerFileError>> {
        let layers = spec.layers.iter();
        layers.map(|layer| self.layer(file, layer)).collect()
    }

    /// All layers of a job in its order, each read from its file if it wasn't yet.
    ///
    /// # Errors
    /// [`LayerFileError`]: the first file that can't be used.
    pub fn all(&mut self, file: &JobFile, spec: &JobSpec) -> Result<Vec<Layer>, LayerFileError> {
        let layers = spec.layers.iter();
        layers.map(|layer| self.layer(file, layer)).collect()
    }

    /// Adds a file that was read elsewhere: `layer` has all of its triangles.
    pub fn add(&mut self, file: PathBuf, layer: Layer) {
        self.read.insert((file, None), layer);
    }

    /// Forgets what was read: files have changed.
    pub fn forget(&mut self) {
        self.read.clear();
    }

    fn layer(&mut self, file: &JobFile, said: &LayerSpec) -> Result<Layer, LayerFileError> {
        let path = file.layer_path(said);
        let side = match said.side {
            LayerSide::Under => Side::Under,
            LayerSide::Over => Side::Over,
        };
        let key = (path, said.part.clone());
        if let Some(read) = self.read.get(&key) {
            return Ok(Layer {
                name: said.name.clone(),
                side,
                clearance: said.clearance,
                ..read.clone()
            });
        }
        let failed = |source| LayerFileError {
            layer: said.name.clone(),
            line: said.line,
            source,
        };
        let raw = files::read_sculpt(&key.0).map_err(|e| failed(Box::new(e).into()))?;
        let shown = key.0.display().to_string();
        let mesh = part_of(raw, said.part.as_deref(), &shown).map_err(failed)?;
        let layer = Layer::new(&said.name, &mesh, side, said.clearance);
        self.read.insert(key, layer.clone());
        Ok(layer)
    }
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
    let mut findings = Findings::default();
    let before = layers.iter().zip(&cleared.before);
    let met = before.map(|(layer, standing)| {
        let (places, finding) = in_the_way(surface, layer, standing);
        if let Some(finding) = finding {
            findings.push(finding);
        }
        places
    });
    let met = met.collect();
    findings.append(cleared.findings.clone());
    let surface = QuadMesh {
        positions: cleared.positions.clone(),
        ..surface.clone()
    };
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
        before: finished.surface.positions.clone(),
        cleared,
        findings,
        added,
        met,
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

/// Most places that a finding names.
const PLACES: usize = 40;

/// Where a layer is in a surface's way, and what the artist is told of it: a finding says where
/// the sculpt and the layer disagree, even if the surface could be moved off.
fn in_the_way(
    surface: &QuadMesh,
    layer: &Layer,
    standing: &Standing,
) -> (Vec<DVec3>, Option<Finding>) {
    if standing.is_clear() {
        return (Vec::new(), None);
    }
    let through: BTreeSet<u32> = standing.crossings.iter().map(|pair| pair[0]).collect();
    let mut places: Vec<Place> = Vec::new();
    for &id in &through {
        let at = surface.centre(id as usize).to_array();
        places.push(Place::Face { id, at });
    }
    for &id in &standing.wrong {
        let at = surface.positions[id as usize].to_array();
        places.push(Place::Vertex { id, at });
    }
    for (id, _, at) in &standing.close {
        let (id, at) = (*id, at.to_array());
        places.push(Place::Face { id, at });
    }
    let counted = [
        (through.len(), "faces went through it".to_owned()),
        (
            standing.wrong.len(),
            "vertices were on its wrong side".to_owned(),
        ),
        (
            standing.close.len(),
            format!("faces were closer than {}", layer.clearance),
        ),
    ];
    let counted = counted.iter().filter(|(n, _)| *n > 0);
    let counted: Vec<String> = counted.map(|(n, what)| format!("{n} {what}")).collect();
    let sentence = format!(
        "Before it was moved, the surface met layer '{}': {}.",
        layer.name,
        counted.join(", ")
    );
    let finding = Finding::new("layer-met", Level::Note, sentence);
    let finding = finding.measured(places.len() as f64, None);
    let told = places.iter().take(PLACES).cloned();
    let finding = told.fold(finding, Finding::at);
    let at = |place: &Place| match place {
        Place::Point { at } | Place::Vertex { at, .. } | Place::Face { at, .. } => {
            Some(DVec3::from(*at))
        }
        Place::Guide { .. } => None,
    };
    (places.iter().filter_map(at).collect(), Some(finding))
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
