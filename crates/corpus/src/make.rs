//! From a recipe to a sculpt with guides.

use base::{Cancelled, Task};
use demo::solid::{self, Section};
use engine::model::{Guide, GuideKind};
use mesh::{DVec3, TriMesh};

use crate::cases::Case;
use crate::defects;
use crate::random::Random;
use crate::recipe::{self, LineSpec, Mirror, Recipe, RingSpec};
use crate::verify::Counts;

/// Tries before a recipe without the topology that was meant is given up.
const TRIES: u64 = 12;

/// Why a shape can't be made: a fault of the recipe, not of the engine.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MakeError {
    /// No try had the right topology.
    #[error("no try of {shape} has the topology that was meant; the last: {last:?}")]
    Topology {
        /// What was to be made.
        shape: String,
        /// What the last try had.
        last: Box<Counts>,
    },
    /// Never: nobody cancels.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// Makes the shape of a number.
///
/// # Errors
/// [`MakeError`].
pub fn made(number: usize) -> Result<Case, MakeError> {
    of_tries(&format!("shape {number}"), |again| {
        recipe::recipe(number, again)
    })
}

/// Makes a recipe's shape, finer where it has too few triangles for its topology.
///
/// # Errors
/// [`MakeError`].
pub fn of_recipe(recipe: &Recipe) -> Result<Case, MakeError> {
    of_tries(&recipe.name, |_| recipe.clone())
}

fn of_tries(shape: &str, recipe: impl Fn(u64) -> Recipe) -> Result<Case, MakeError> {
    let mut last = Counts::default();
    for again in 0..TRIES {
        let recipe = recipe(again);
        let mesh = dense(&recipe, again)?;
        last = Counts::of(&mesh.triangles);
        let euler = 2 - 2 * recipe.genus as i64 - recipe.holes as i64;
        let clean = [last.heavy_edges, last.twisted_edges, last.pinched_vertices] == [0; 3];
        if clean && (last.pieces, last.loops, last.euler) == (1, recipe.holes, euler) {
            return Ok(case(&recipe, mesh));
        }
    }
    Err(MakeError::Topology {
        shape: shape.to_owned(),
        last: Box::new(last),
    })
}

/// The recipe's triangles, about as many as wanted, without defects. Later tries are finer:
/// thin shapes need it.
fn dense(recipe: &Recipe, again: u64) -> Result<TriMesh, Cancelled> {
    let task = Task::default();
    let bounds = recipe.solid.bounds();
    let at = |cell: f64| solid::triangles(&recipe.solid, bounds, cell, &recipe.openings, &task);
    let area = at((bounds.1 - bounds.0).length() / 60.0)?.area();
    // Two triangles a cell crossed; a slanted surface crosses more: 1.5 cells an edge squared.
    let cell = (3.0 * area / recipe.triangles as f64).sqrt();
    // Every second corner of the grid has a value of its own: thinner pieces would be lost.
    let cell = cell.min(0.7 * recipe.solid.thinnest());
    at(cell * 0.88f64.powf(again as f64))
}

fn case(recipe: &Recipe, clean: TriMesh) -> Case {
    let mut guides = Vec::new();
    let rims = solid::rims(&clean);
    for (k, rim) in rims.iter().enumerate() {
        let count = (rim.points.len() >= 24)
            .then_some(recipe.rim_count)
            .flatten();
        guides.push(guide(
            &format!("opening {k}"),
            GuideKind::Opening,
            rim,
            count,
        ));
    }
    let mut cuts = 0;
    for spec in &recipe.rings {
        let drawn = ring_guide(&clean, spec);
        cuts += usize::from(drawn.is_some() && spec.ends);
        guides.extend(drawn);
    }
    for spec in &recipe.lines {
        guides.extend(line_guide(&clean, spec));
    }
    let mut random = Random::new(recipe.seed ^ 0x5eed);
    let mut mesh = clean;
    if recipe.jitter > 0.0 {
        defects::shake(&mut mesh, recipe.jitter, &mut random);
    }
    for defect in &recipe.defects {
        defect.apply(&mut mesh, &mut random);
    }
    Case {
        name: recipe.name.clone(),
        class: recipe.class.to_owned(),
        defects: recipe.defects.iter().map(|d| d.name().to_owned()).collect(),
        triangles: mesh.triangles,
        positions: mesh.positions,
        guides,
        plane: match recipe.mirror {
            Mirror::None => engine::symmetry::PlaneChoice::None,
            Mirror::Find => engine::symmetry::PlaneChoice::Find,
            Mirror::Given => engine::symmetry::PlaneChoice::Given(engine::model::Plane {
                origin: DVec3::ZERO,
                normal: DVec3::X,
            }),
        },
        cuts: Some(cuts),
    }
}

/// Points that a guide has at least. Along fine sculpts it has one for each edge that it crosses: a rim of 150
/// quads drawn by 48 points cuts its bends short by more than quads may be off.
const FEWEST_POINTS: usize = 48;

fn guide(name: &str, kind: GuideKind, section: &Section, count: Option<u32>) -> Guide {
    Guide {
        name: name.to_owned(),
        kind,
        closed: section.closed,
        count,
        points: section.resampled(section.points.len().max(FEWEST_POINTS)),
    }
}

/// A closed guide on a sculpt, if the plane cuts it there.
pub fn ring_guide(mesh: &TriMesh, spec: &RingSpec) -> Option<Guide> {
    let kind = if spec.ends {
        GuideKind::Opening
    } else {
        GuideKind::Ring
    };
    let section = closed_section(mesh, spec)?;
    Some(guide(&spec.name, kind, &section, spec.count))
}

/// An open guide on a sculpt, if the plane cuts it there.
pub fn line_guide(mesh: &TriMesh, spec: &LineSpec) -> Option<Guide> {
    let section = open_section(mesh, spec)?;
    Some(guide(&spec.name, GuideKind::Line, &section, None))
}

fn by_plane(mesh: &TriMesh, at: DVec3, normal: DVec3, reach: f64) -> Vec<Section> {
    let level: Vec<f64> = mesh
        .positions
        .iter()
        .map(|p| (p.as_dvec3() - at).dot(normal))
        .collect();
    solid::sections(mesh, &level, |v| {
        mesh.positions[v as usize].as_dvec3().distance(at) < reach
    })
}

/// The closed section whose centre is nearest to where the ring is meant to be.
fn closed_section(mesh: &TriMesh, spec: &RingSpec) -> Option<Section> {
    by_plane(mesh, spec.at, spec.normal, spec.reach)
        .into_iter()
        .filter(|s| s.closed && s.points.len() > 5)
        .min_by(|a, b| {
            let off = |s: &Section| s.centre().distance(spec.at);
            off(a).total_cmp(&off(b))
        })
}

/// The longest open section.
fn open_section(mesh: &TriMesh, spec: &LineSpec) -> Option<Section> {
    by_plane(mesh, spec.at, spec.normal, spec.reach)
        .into_iter()
        .filter(|s| !s.closed && s.points.len() > 5)
        .max_by(|a, b| a.length().total_cmp(&b.length()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sheet's rim turns corners: drawn by 48 points it was cut short there by several of the rim's edges.
    #[test]
    fn rims_are_drawn_as_finely_as_they_run() {
        let mut recipe = recipe::recipe(5, 0);
        recipe.jitter = 0.0;
        recipe.defects.clear();
        let mesh = dense(&recipe, 0).unwrap();
        let rims = solid::rims(&mesh);
        assert!(rims[0].points.len() > 100, "{}", rims[0].points.len());
        for rim in &rims {
            let drawn = guide("rim", GuideKind::Opening, rim, None).points;
            let edge = rim.length() / rim.points.len() as f64;
            let to_piece = |p: DVec3, i: usize| {
                let (a, b) = (drawn[i], drawn[(i + 1) % drawn.len()]);
                let t = (p - a).dot(b - a) / (b - a).length_squared().max(1e-300);
                p.distance(a.lerp(b, t.clamp(0.0, 1.0)))
            };
            for &p in &rim.points {
                let off = (0..drawn.len()).map(|i| to_piece(p, i));
                let off = off.fold(f64::INFINITY, f64::min);
                assert!(off < 0.75 * edge, "{off} of {edge}");
            }
        }
    }
}
