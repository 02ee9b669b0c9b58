//! What a filled mesh promises, on whole layouts.

use base::Task;
use mesh::TriTopology;

use super::*;
use crate::testing::{Made, all_made, made};

#[test]
fn every_face_is_a_quad_of_four_vertices_in_use() {
    for made in all_made() {
        let mesh = &made.filled.mesh;
        for quad in &mesh.quads {
            let mut corners = *quad;
            corners.sort_unstable();
            assert!(
                corners.windows(2).all(|w| w[0] < w[1]),
                "{}",
                made.case.name
            );
            assert!((corners[3] as usize) < mesh.positions.len());
        }
        let topology = mesh.topology();
        assert!(
            topology.valence.iter().all(|&n| n >= 2),
            "{}: a vertex without quads",
            made.case.name
        );
        assert_eq!(made.filled.origin.len(), mesh.positions.len());
        assert_eq!(made.filled.patch_of_quad.len(), mesh.quads.len());
    }
}

#[test]
fn meshes_are_watertight_and_of_the_work_surfaces_kind() {
    for made in all_made() {
        let topology = made.filled.mesh.topology();
        let surface = &made.laid.surface;
        let under = TriTopology::new(surface.positions.len(), &surface.triangles).unwrap();
        assert_eq!(
            topology.euler_characteristic(),
            under.euler_characteristic(),
            "{}",
            made.case.name
        );
        assert_eq!(topology.inconsistent_edges, 0, "{}", made.case.name);
        assert!(
            topology.face_count.iter().all(|&n| n == 1 || n == 2),
            "{}",
            made.case.name
        );
        let starts = (0..surface.positions.len() as u32)
            .filter(|&v| under.is_boundary_vertex(v))
            .count();
        assert_eq!(
            starts > 0,
            !topology.boundary_loops().is_empty(),
            "{}",
            made.case.name
        );
    }
}

#[test]
fn valences_sum_as_eulers_formula_asks() {
    // On a quad mesh 4 F = 2 E − B and V − E + F = χ give Σ (4 − valence) inside + Σ (3 − valence)
    // on the boundary = 4 χ; with χ = 2 for the ball, 0 for tube and torus, 1 for a plate and for a
    // tube's half (Euler; any textbook of topology).
    for (name, euler) in [
        ("ball", 2),
        ("tube", 0),
        ("torus", 0),
        ("plate", 1),
        ("half", 1),
    ] {
        let topology = made(name).filled.mesh.topology();
        let sum: i64 = (0..topology.valence.len())
            .map(|v| if topology.on_boundary[v] { 3 } else { 4 } - i64::from(topology.valence[v]))
            .sum();
        assert_eq!(sum, 4 * euler, "{name}");
    }
}

#[test]
fn each_patch_has_the_poles_that_its_sides_ask_for() {
    for made in all_made() {
        let topology = made.filled.mesh.topology();
        for (p, patch) in made.laid.layout.patches.iter().enumerate() {
            let inside: Vec<u32> = (0..topology.valence.len())
                .filter(|&v| made.filled.origin[v] == Origin::Inside { patch: p })
                .map(|v| topology.valence[v])
                .filter(|&n| n != 4)
                .collect();
            let sides = patch.sides.len() as u32;
            if sides != 4 && made.plan.spokes[p].iter().all(|&y| y > 0) {
                assert_eq!(inside, [sides], "{}", made.case.name);
            } else if made.plan.surplus[p] == [0, 0] {
                assert!(inside.is_empty(), "{}: {inside:?}", made.case.name);
            } else {
                let threes = inside.iter().filter(|&&n| n == 3).count() as i32;
                let half: i32 = made.plan.surplus[p].iter().map(|s| s.abs()).sum();
                assert_eq!(threes, 2 * half, "{}", made.case.name);
            }
        }
    }
}

#[test]
fn arcs_are_runs_of_edges_with_as_many_quads_as_planned() {
    for made in all_made() {
        let topology = made.filled.mesh.topology();
        for (a, arc) in made.laid.layout.arcs.iter().enumerate() {
            let steps = made.plan.arcs[a];
            let at = |step: u32| {
                let wanted = match step {
                    0 => Origin::Node {
                        vertex: arc.vertices[0],
                    },
                    s if s == steps => Origin::Node {
                        vertex: arc.vertices[arc.vertices.len() - 1],
                    },
                    step => Origin::Arc { arc: a, step },
                };
                made.filled
                    .origin
                    .iter()
                    .position(|&o| o == wanted)
                    .unwrap() as u32
            };
            for step in 0..steps {
                assert!(
                    topology.edge_between(at(step), at(step + 1)).is_some(),
                    "{}",
                    made.case.name
                );
            }
        }
    }
}

#[test]
fn vertices_lie_on_the_work_surface() {
    for made in all_made() {
        let surface = &made.laid.surface;
        let triangles = mesh::TriMesh {
            positions: surface.positions.iter().map(|p| p.as_vec3()).collect(),
            triangles: surface.triangles.clone(),
        };
        let index = mesh::SurfaceIndex::new(std::sync::Arc::new(triangles));
        for &p in &made.filled.mesh.positions {
            // The index holds single precision.
            let off = index.closest(p).unwrap().point.distance(p);
            assert!(off < 1e-5, "{}: {off}", made.case.name);
        }
    }
}

fn filled(made: &Made, layout: &Layout, plan: &Plan) -> Result<(Filled, Findings), FillError> {
    run(
        &made.laid.surface,
        &made.laid.field,
        layout,
        plan,
        Start::Squarest,
        &Task::default(),
    )
}

#[test]
fn a_patch_filled_twice_is_refused() {
    let made = made("tube");
    let mut layout = made.laid.layout.clone();
    let mut plan = made.plan.clone();
    layout.patches.push(layout.patches[0].clone());
    plan.spokes.push(plan.spokes[0].clone());
    plan.surplus.push(plan.surplus[0]);
    assert!(matches!(
        filled(made, &layout, &plan),
        Err(FillError::Valences { .. } | FillError::Holes { .. })
    ));
}

#[test]
fn an_arc_that_is_two_is_refused() {
    let made = made("tube");
    let mut layout = made.laid.layout.clone();
    let mut plan = made.plan.clone();
    // One patch is given its own copy of an inner arc, with a point of its own: a slit.
    let (patch, side, k) = (0..layout.patches.len())
        .flat_map(|p| (0..4).map(move |s| (p, s)))
        .find_map(|(p, s)| {
            let at = layout.patches[p].sides[s].iter().position(|u| {
                matches!(layout.arcs[u.arc].source, crate::layout::ArcSource::Laid(_))
                    && plan.arcs[u.arc] > 1
            })?;
            Some((p, s, at))
        })
        .unwrap();
    let arc = layout.patches[patch].sides[side][k].arc;
    layout.arcs.push(layout.arcs[arc].clone());
    plan.arcs.push(plan.arcs[arc]);
    layout.patches[patch].sides[side][k].arc = layout.arcs.len() - 1;
    assert!(filled(made, &layout, &plan).is_err());
}

#[test]
fn a_place_that_is_no_number_is_refused() {
    let made = made("tube");
    let mut surface = made.laid.surface.clone();
    let patch = &made.laid.layout.patches[0];
    let rim: Vec<u32> = patch
        .rim
        .iter()
        .map(|&h| made.laid.field.topology.from(h))
        .collect();
    let inner = patch
        .triangles
        .iter()
        .flat_map(|&t| surface.triangles[t as usize])
        .find(|v| !rim.contains(v));
    surface.positions[inner.unwrap() as usize] = DVec3::NAN;
    let error = run(
        &surface,
        &made.laid.field,
        &made.laid.layout,
        &made.plan,
        Start::Squarest,
        &Task::default(),
    )
    .unwrap_err();
    assert!(
        matches!(error, FillError::Flatten { patch: 0, .. }),
        "{error}"
    );
    assert!(error.to_string().contains("patch 0"));
}

#[test]
fn cancelling_stops_the_fill() {
    let made = made("tube");
    let task = Task::default();
    task.cancel();
    let error = run(
        &made.laid.surface,
        &made.laid.field,
        &made.laid.layout,
        &made.plan,
        Start::Squarest,
        &task,
    )
    .unwrap_err();
    assert_eq!(error, FillError::Cancelled(base::Cancelled));
}
