//! What placed vertices promise, on whole surfaces.

use std::collections::BTreeMap;

use base::Task;

use super::*;
use crate::fill::Origin;
use crate::layout::ArcSource;
use crate::model::{ChainSource, GuideKind};
use crate::testing::{Made, all_made, made};

/// A scene of free vertices over triangles, without rails, for quads of edge 1.
pub(super) fn bare_scene(quads: &QuadMesh, under: mesh::TriMesh) -> Scene {
    let count = quads.positions.len();
    let quads_at = quads_at(quads);
    Scene {
        index: Arc::new(SurfaceIndex::new(Arc::new(under))),
        plane: None,
        around: around(quads),
        kin: vec![Vec::new(); count],
        opposite: opposite(quads, &quads_at),
        quads_at,
        rails: Vec::new(),
        seats: vec![Seat::Free; count],
        feet: vec![None; count],
        edge: 1.0,
        held: vec![false; count],
        homes: BTreeMap::new(),
        slides: true,
        local: Vec::new(),
        ways: Vec::new(),
    }
}

/// Points spread over what lies under a scene.
pub(super) fn reach_of(scene: &Scene) -> reach::Reach {
    reach::Reach::new(scene.index.mesh(), scene.plane, scene.edge)
}

/// Chains that a vertex of the filled mesh lies on.
fn chains_of(made: &Made, v: usize) -> Vec<usize> {
    let (surface, layout) = (&made.laid.surface, &made.laid.layout);
    match made.filled.origin[v] {
        Origin::Inside { .. } | Origin::Held { .. } => Vec::new(),
        Origin::Arc { arc, .. } => match layout.arcs[arc].source {
            ArcSource::Chain(c) => vec![c],
            ArcSource::Laid(_) => Vec::new(),
        },
        Origin::Node { vertex } => (0..surface.chains.len())
            .filter(|&c| surface.chains[c].vertices.contains(&vertex))
            .collect(),
    }
}

/// Distance from a point to a polyline.
fn off_polyline(points: &[DVec3], closed: bool, p: DVec3) -> f64 {
    let n = points.len();
    (0..n - usize::from(!closed))
        .map(|i| {
            let (a, b) = (points[i], points[(i + 1) % n]);
            let t = ((p - a).dot(b - a) / (b - a).length_squared().max(1e-300)).clamp(0.0, 1.0);
            p.distance(a.lerp(b, t))
        })
        .fold(f64::INFINITY, f64::min)
}

/// Greatest distance, in quad edges, of a curve's vertices from their curve.
fn off_curves(made: &Made, mesh: &QuadMesh) -> f64 {
    let mut worst = 0f64;
    for v in 0..mesh.positions.len() {
        for c in chains_of(made, v) {
            if let ChainSource::Curve(curve) = made.laid.surface.chains[c].source {
                let curve = &made.laid.curves[curve];
                worst = worst.max(
                    off_polyline(&curve.points, curve.closed, mesh.positions[v]) / made.case.edge,
                );
            }
        }
    }
    worst
}

fn placed(
    made: &Made,
    options: &ConformOptions,
    task: &Task,
) -> Result<(QuadMesh, Findings), ConformError> {
    let laid = &made.laid;
    run(
        &made.filled,
        &laid.surface,
        &laid.field,
        &laid.layout,
        &laid.curves,
        (&made.case.sculpt).into(),
        laid.plane,
        options,
        task,
    )
}

fn on_surface(made: &Made) -> QuadMesh {
    let mut options = ConformOptions::for_edge(made.case.edge);
    options.straddle = false;
    placed(made, &options, &Task::default()).unwrap().0
}

#[test]
fn connectivity_stays() {
    for made in all_made() {
        assert_eq!(made.placed.quads, made.filled.mesh.quads);
        assert_eq!(
            made.placed.positions.len(),
            made.filled.mesh.positions.len()
        );
        assert!(
            made.placed.positions.iter().all(|p| p.is_finite()),
            "{}",
            made.case.name
        );
    }
}

#[test]
fn vertices_of_a_curve_lie_on_it() {
    for name in ["tube", "half", "ball", "torus", "dangling line"] {
        let made = made(name);
        let off = off_curves(made, &on_surface(made));
        assert!(off < 0.01, "{name}: {off} edges");
    }
}

#[test]
fn a_ring_of_twelve_is_the_inscribed_polygon() {
    // Handbook mensuration of the regular 12-gon in a circle of radius 1: its area over the
    // circle's is (12 / 2π) sin(2π / 12), its sides stray by the sagitta 1 − cos(π / 12).
    use std::f64::consts::{PI, TAU};
    let made = made("counts agree");
    let mesh = on_surface(made);
    for (c, curve) in made.laid.curves.iter().enumerate() {
        let y = curve.points[0].y;
        let of_ring = |v: &usize| {
            chains_of(made, *v)
                .iter()
                .any(|&i| made.laid.surface.chains[i].source == ChainSource::Curve(c))
        };
        let mut ring: Vec<DVec3> = (0..mesh.positions.len())
            .filter(of_ring)
            .map(|v| mesh.positions[v])
            .collect();
        ring.sort_by(|a, b| a.z.atan2(a.x).total_cmp(&b.z.atan2(b.x)));
        assert_eq!(ring.len(), 12);
        let pairs = || (0..12).map(|i| (ring[i], ring[(i + 1) % 12]));
        let area: f64 = pairs().map(|(a, b)| (a.x * b.z - a.z * b.x) / 2.0).sum();
        let share = area / PI;
        let exact = 12.0 / TAU * (TAU / 12.0).sin();
        assert!(
            (share / exact - 1.0).abs() < 0.01,
            "ring at {y}: {share} for {exact}"
        );
        for (a, b) in pairs() {
            let middle = (a + b) / 2.0;
            let stray = 1.0 - middle.x.hypot(middle.z);
            let sagitta = 1.0 - (PI / 12.0).cos();
            // The sagitta goes with the square of a side, and sides are even to a tenth or so.
            assert!(
                (stray / sagitta - 1.0).abs() < 0.3,
                "ring at {y}: {stray} for {sagitta}"
            );
        }
    }
}

#[test]
fn straddling_takes_no_vertex_further_than_it_says() {
    for made in all_made() {
        // A fifth of an edge along the curve's own rail, and a tenth for the faces.
        let off = off_curves(made, &made.placed);
        assert!(off < 0.3, "{}: {off} edges", made.case.name);
    }
}

#[test]
fn without_straddling_every_vertex_lies_on_the_sculpt() {
    for name in ["tube", "half", "ball", "torus"] {
        let made = made(name);
        for (v, &p) in on_surface(made).positions.iter().enumerate() {
            let off = made.case.sculpt.index.closest(p).unwrap().point.distance(p);
            // Chains lie on the work surface, whose edges cut corners by a hundredth of a quad.
            let limit = if chains_of(made, v).is_empty() {
                1e-6
            } else {
                0.02 * made.case.edge
            };
            assert!(off < limit, "{name}: vertex {v} {off}");
        }
    }
}

#[test]
fn vertices_of_the_centre_line_lie_on_the_plane_exactly() {
    let made = made("half");
    let plane = made.laid.plane.unwrap();
    let mut on_plane = 0;
    for (v, &p) in made.placed.positions.iter().enumerate() {
        let of_plane = |&c: &usize| made.laid.surface.chains[c].source == ChainSource::Plane;
        if chains_of(made, v).iter().any(of_plane) {
            assert_eq!(plane.height(p), 0.0, "vertex {v} {p}");
            on_plane += 1;
        } else {
            assert!(plane.height(p) > 0.01 * made.case.edge, "vertex {v} {p}");
        }
    }
    assert!(on_plane > 10);
}

#[test]
fn no_quad_is_folded_or_squeezed() {
    for made in all_made() {
        for (q, quad) in made.placed.quads.iter().enumerate() {
            let jacobian = shape::scaled_jacobian(quad.map(|v| made.placed.positions[v as usize]));
            // As the check stage asks.
            assert!(jacobian > 0.1, "{}: quad {q} {jacobian}", made.case.name);
        }
    }
}

/// Found on a cape: where folds ended on its edge, vertices stayed half a quad off the drawn edge, and
/// no run of edges followed it.
#[test]
fn an_opening_is_left_nowhere_for_the_curves_that_meet_it() {
    let made = made("half");
    let laid = &made.laid;
    let mut curves = laid.curves.clone();
    let hem = curves.iter().position(|c| c.kind == GuideKind::Opening);
    let hem = hem.unwrap();
    // The drawing runs a fifth of a quad below the curve.
    let below = DVec3::Y * -0.2 * made.case.edge;
    curves[hem].aims = curves[hem].points.iter().map(|&p| p + below).collect();
    let mut options = ConformOptions::for_edge(made.case.edge);
    let place = |options: &ConformOptions| {
        run(
            &made.filled,
            &laid.surface,
            &laid.field,
            &laid.layout,
            &curves,
            (&made.case.sculpt).into(),
            laid.plane,
            options,
            &Task::default(),
        )
    };
    // For each vertex on the hem: whether another curve meets it there, and how far it is off the curve.
    let offs = |mesh: &QuadMesh| -> Vec<(bool, f64)> {
        let is_hem = |c: &usize| laid.surface.chains[*c].source == ChainSource::Curve(hem);
        let of = |v: usize| {
            let chains = chains_of(made, v);
            let off = mesh.positions[v].y - 0.4;
            chains.iter().any(is_hem).then_some((chains.len() > 1, off))
        };
        (0..mesh.positions.len()).filter_map(of).collect()
    };
    let aimed = offs(&place(&options).unwrap().0);
    assert!(aimed.iter().any(|o| o.0) && aimed.iter().any(|o| !o.0));
    for (shared, off) in aimed {
        let wanted = if shared { 0.5 } else { 1.0 } * below.y;
        assert!(
            (off - wanted).abs() < 0.05 * made.case.edge,
            "{shared} {off}"
        );
    }
    // On the curve itself where faces aren't to straddle.
    options.straddle = false;
    for (_, off) in offs(&place(&options).unwrap().0) {
        assert!(off.abs() < 0.02 * made.case.edge, "{off}");
    }
}

#[test]
fn a_rings_vertices_are_evenly_spaced() {
    for name in ["counts agree", "ball"] {
        let made = made(name);
        for c in 0..made.laid.curves.len() {
            let on = |v: u32| {
                chains_of(made, v as usize)
                    .iter()
                    .any(|&i| made.laid.surface.chains[i].source == ChainSource::Curve(c))
            };
            let topology = made.placed.topology();
            let lengths: Vec<f64> = topology
                .edges
                .iter()
                .filter(|e| on(e[0]) && on(e[1]))
                .map(|e| {
                    made.placed.positions[e[0] as usize]
                        .distance(made.placed.positions[e[1] as usize])
                })
                .collect();
            let (low, high) = lengths
                .iter()
                .fold((f64::INFINITY, 0f64), |(l, h), &x| (l.min(x), h.max(x)));
            assert!(high < 1.5 * low, "{name}: {low} to {high}");
        }
    }
}

#[test]
fn cancelling_stops_placing() {
    let made = made("tube");
    let task = Task::default();
    task.cancel();
    let error = placed(made, &ConformOptions::for_edge(made.case.edge), &task).unwrap_err();
    assert_eq!(error, ConformError::Cancelled(base::Cancelled));
}

#[test]
fn a_quad_without_width_is_refused_with_its_place() {
    let error = ConformError::Flat {
        at: [1.0, 2.0, 3.5],
    };
    assert!(error.to_string().contains("near (1.000, 2.000, 3.500)"));
}
