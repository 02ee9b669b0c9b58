//! From the dense half to about the work surface's edge length, by edge collapses.
//!
//! Edges shorter than a threshold are collapsed in the order of their half-edges, with a
//! threshold that grows from pass to pass, so that each pass halves the mesh or better
//! and lengths stay even. Linear in the size of the sculpt: the first pass costs most.

use base::Task;
use mesh::DVec3;

use super::edit::{Collapse, EditMesh, NONE};
use super::error::WorkError;
use super::rail::Rail;

/// Threshold of one pass over that of the pass before.
const GROWTH: f64 = 1.5;
/// Cosine of the greatest turn of a triangle's normal in one collapse.
const TURN: f64 = 0.5;
/// New edges may be this much longer than the threshold.
const STRETCH: f64 = 1.8;
/// Edges of needles may become this much longer.
const LONGER: f64 = 1.05;
/// Passes in which needles are made wider, each to twice the width of the one before.
const WIDER: i32 = 10;

/// Collapses edges shorter than `edge` (model units).
pub(super) fn reduce(
    mesh: &mut EditMesh,
    rails: &[Rail],
    edge: f64,
    task: &Task,
) -> Result<(), WorkError> {
    let mut threshold = median_length(mesh) * GROWTH;
    while threshold < edge / GROWTH {
        pass(mesh, rails, threshold, 0.0);
        mesh.compact();
        task.checkpoint()?;
        threshold *= GROWTH;
    }
    pass(mesh, rails, edge, 0.0);
    mesh.compact();
    task.checkpoint()?;
    Ok(())
}

/// Makes needles wider: collapses edges shorter than `width` (model units) where long ones stay about as
/// long as they are.
pub(super) fn widen(
    mesh: &mut EditMesh,
    rails: &[Rail],
    width: f64,
    task: &Task,
) -> Result<(), WorkError> {
    for halvings in (0..WIDER).rev() {
        pass(mesh, rails, width / 2f64.powi(halvings), LONGER);
        mesh.compact();
        task.checkpoint()?;
    }
    Ok(())
}

/// Median length of up to a few thousand edges spread over the mesh.
fn median_length(mesh: &EditMesh) -> f64 {
    let step = (mesh.tri.len() / 4000).max(1);
    let mut lengths: Vec<f64> = (0..mesh.tri.len())
        .step_by(step)
        .map(|t| mesh.length(3 * t as u32))
        .collect();
    lengths.sort_unstable_by(f64::total_cmp);
    lengths.get(lengths.len() / 2).copied().unwrap_or(0.0)
}

/// Collapses edges shorter than the threshold where no other becomes much longer than it. With `longer`
/// above 0, others may become so many times as long as they were, and a vertex is moved once only: one
/// that went on from collapse to collapse would drag its long edges round the sculpt.
fn pass(mesh: &mut EditMesh, rails: &[Rail], threshold: f64, longer: f64) {
    let mut moved = vec![false; if longer > 0.0 { mesh.pos.len() } else { 0 }];
    for h in 0..mesh.twin.len() as u32 {
        if !mesh.is_edge(h) || mesh.length(h) >= threshold {
            continue;
        }
        let ends = [mesh.from(h), mesh.to(h)].map(|v| v as usize);
        if ends.iter().any(|&v| moved.get(v) == Some(&true)) {
            continue;
        }
        let place = |rail: u32, param: f64| rails[rail as usize].at(param);
        if let Some(plan) = mesh.plan_collapse(h, place).map(|plan| mesh.on_crest(plan))
            && keeps_shape(mesh, &plan, STRETCH * threshold, longer)
        {
            mesh.collapse(plan);
            for v in ends {
                if let Some(moved) = moved.get_mut(v) {
                    *moved = true;
                }
            }
        }
    }
}

/// Whether no triangle would turn far over, and no edge would be longer than `longest` or than
/// `longer` times its length.
fn keeps_shape(mesh: &EditMesh, plan: &Collapse, longest: f64, longer: f64) -> bool {
    let (a, b) = (mesh.from(plan.half_edge), mesh.to(plan.half_edge));
    let twin = mesh.twin[plan.half_edge as usize];
    let dropped = [
        plan.half_edge / 3,
        if twin == NONE { NONE } else { twin / 3 },
    ];
    [a, b].into_iter().all(|v| {
        mesh.outgoing(v)
            .filter(|h| !dropped.contains(&(h / 3)))
            .all(|h| {
                let [x, y] = [mesh.to(h), mesh.apex(h)].map(|u| mesh.pos[u as usize]);
                let old = (x - mesh.pos[v as usize]).cross(y - mesh.pos[v as usize]);
                let new: DVec3 = (x - plan.at).cross(y - plan.at);
                let upright =
                    new.dot(old) > TURN * new.length() * old.length() || old == DVec3::ZERO;
                let before = longer * x.distance(mesh.pos[v as usize]);
                upright && x.distance_squared(plan.at) < longest.max(before).powi(2)
            })
    })
}
