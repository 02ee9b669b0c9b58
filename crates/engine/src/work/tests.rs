//! The stage as a whole, on tubes made by formula.

use std::f64::consts::{PI, TAU};

use mesh::DVec3;
use proptest::prelude::*;

use super::*;
use crate::guides::{self, GuideOptions};
use crate::model::{ChainSource, Guide, GuideKind, Plane};
use crate::symmetry::fixtures::{
    grid, line, on_tube, pleat, pleated_tube, ring, sculpt_of, thick_tube, tube,
};
use crate::symmetry::{self, PlaneChoice};

const X: Plane = Plane {
    origin: DVec3::ZERO,
    normal: DVec3::X,
};

fn made(
    sculpt: &Sculpt,
    guides: &[Guide],
    choice: PlaneChoice,
    edge: f64,
) -> Result<WorkSurface, WorkError> {
    let task = Task::default();
    let (half, _) = symmetry::run(sculpt, choice, &task).unwrap();
    let (curves, _) = guides::run(
        guides,
        sculpt,
        half.plane,
        &GuideOptions::for_edge(edge),
        &task,
    )
    .unwrap();
    let (surface, findings) = run(&half, sculpt, &curves, &WorkOptions::for_edge(edge), &task)?;
    assert!(
        findings
            .iter()
            .all(|f| f.level == Level::Pass || f.level == Level::Note)
    );
    assert_eq!(surface.validate(), Ok(()));
    assert!(
        surface.least_angle_degrees() > 5.0,
        "{}",
        surface.least_angle_degrees()
    );
    Ok(surface)
}

fn area(surface: &WorkSurface) -> f64 {
    let double = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|v| surface.positions[v as usize]);
        (b - a).cross(c - a).length()
    };
    surface.triangles.iter().map(double).sum::<f64>() / 2.0
}

fn chains_of(surface: &WorkSurface, source: ChainSource) -> Vec<&crate::model::Chain> {
    surface
        .chains
        .iter()
        .filter(|c| c.source == source)
        .collect()
}

/// V − E + F, with E counted from triangles and boundary edges (3 F = 2 E − boundary).
fn euler(surface: &WorkSurface) -> i64 {
    let topology = mesh::TriTopology::new(surface.positions.len(), &surface.triangles).unwrap();
    topology.euler_characteristic()
}

#[test]
fn a_tube_keeps_its_area_its_kind_and_its_ring() {
    let sculpt = tube(160, 100);
    let slanted = |turn: f64| 2.0 + 0.4 * (turn * TAU).cos();
    let guides = [ring("middle", GuideKind::Ring, 40, slanted)];
    let surface = made(&sculpt, &guides, PlaneChoice::None, 0.4).unwrap();
    // Area of a cylinder's side, 2 π r h (any handbook of geometry).
    assert!(
        (area(&surface) / (TAU * 4.0) - 1.0).abs() < 0.01,
        "{}",
        area(&surface)
    );
    // A tube has Euler characteristic 0.
    assert_eq!(euler(&surface), 0);
    let found = chains_of(&surface, ChainSource::Curve(0));
    assert_eq!(found.len(), 1);
    assert!(found[0].closed);
    for &v in &found[0].vertices {
        let p = surface.positions[v as usize];
        let turn = (-p.z).atan2(p.x) / TAU;
        assert!((p.y - slanted(turn)).abs() < 0.05 * 0.4, "{p}");
    }
    assert_eq!(chains_of(&surface, ChainSource::Boundary).len(), 2);
    // Even triangles: their mean edge is near the target.
    let target = surface.edge * surface.edge * 3f64.sqrt() / 4.0;
    let mean = area(&surface) / surface.triangles.len() as f64;
    assert!(
        mean > 0.6 * target && mean < 1.4 * target,
        "{mean} {target}"
    );
}

#[test]
fn a_half_ends_exactly_on_the_plane_between_other_chains() {
    let sculpt = tube(161, 90);
    let guides = [
        ring("low", GuideKind::Opening, 40, |_| 0.0),
        ring("middle", GuideKind::Ring, 40, |_| 2.0),
    ];
    let surface = made(&sculpt, &guides, PlaneChoice::Given(X), 0.4).unwrap();
    assert!((area(&surface) / (PI * 4.0) - 1.0).abs() < 0.01);
    assert_eq!(euler(&surface), 1);
    let plane = chains_of(&surface, ChainSource::Plane);
    // Two cuts, each parted by the ring.
    assert_eq!(plane.len(), 4);
    let mut ends = 0;
    for chain in &plane {
        assert!(!chain.closed);
        assert!(
            chain
                .vertices
                .iter()
                .all(|&v| surface.positions[v as usize].x == 0.0)
        );
        for source in [ChainSource::Curve(0), ChainSource::Curve(1)] {
            let other = chains_of(&surface, source)[0];
            for end in [other.vertices[0], other.vertices[other.vertices.len() - 1]] {
                ends += usize::from(
                    [chain.vertices[0], chain.vertices[chain.vertices.len() - 1]].contains(&end),
                );
            }
        }
    }
    // The opening's two ends close one cut each, the ring's two ends two each.
    assert_eq!(ends, 6);
}

#[test]
fn openings_cut_the_inner_wall_away() {
    let sculpt = thick_tube(150, 90);
    let guides = [
        ring("low", GuideKind::Opening, 40, |_| 0.1),
        ring("high", GuideKind::Opening, 40, |turn| {
            3.8 + 0.05 * (2.0 * turn * TAU).sin()
        }),
        ring("middle", GuideKind::Ring, 40, |_| 2.0),
    ];
    let surface = made(&sculpt, &guides, PlaneChoice::None, 0.4).unwrap();
    assert!(
        (area(&surface) / (TAU * 3.7) - 1.0).abs() < 0.01,
        "{}",
        area(&surface)
    );
    assert!(surface.positions.iter().all(|p| p.x.hypot(p.z) > 0.99));
    assert_eq!(surface.chains.len(), 3);
    assert!(surface.chains.iter().all(|c| c.closed));
    assert_eq!(euler(&surface), 0);
}

/// At any budget, down to quads that are smaller than the sculpt's own triangles.
#[test]
fn openings_drawn_sparsely_on_pleats_cut_the_inner_wall_away() {
    let sculpt = pleated_tube(180, 120);
    let drawn = |name: &str, y: f64| {
        let mut guide = ring(name, GuideKind::Opening, 12, |_| y);
        for (i, p) in guide.points.iter_mut().enumerate() {
            let turn = ((i / 2) as f64 + [-0.22, 0.27][i % 2]) / 6.0;
            *p = on_tube(pleat(turn), turn, y);
        }
        guide
    };
    let guides = [drawn("low", 0.1), drawn("high", 3.9)];
    for edge in [0.4, 0.15, 0.08] {
        let surface = made(&sculpt, &guides, PlaneChoice::None, edge).unwrap();
        assert_eq!(euler(&surface), 0);
        for p in &surface.positions {
            let off = pleat((-p.z).atan2(p.x) / TAU) - p.x.hypot(p.z);
            assert!(
                off < 0.05,
                "{off} inside of the outer wall at {p}, edge {edge}"
            );
        }
    }
}

#[test]
fn an_opening_alone_on_a_closed_cloth_parts_nothing() {
    let sculpt = thick_tube(100, 60);
    let guides = [ring("low", GuideKind::Opening, 40, |_| 0.5)];
    let refused = made(&sculpt, &guides, PlaneChoice::None, 0.4);
    assert!(
        matches!(&refused, Err(WorkError::OpeningPartsNothing { guide, .. }) if guide == "low"),
        "{refused:?}"
    );
}

#[test]
fn crossing_curves_share_one_vertex() {
    let sculpt = tube(150, 100);
    let guides = [
        ring("middle", GuideKind::Ring, 40, |_| 2.0),
        line("seam", GuideKind::Line, 0.13, 1.0, 3.1),
        line("hem seam", GuideKind::Line, 0.6, 0.0, 2.0),
    ];
    let surface = made(&sculpt, &guides, PlaneChoice::None, 0.4).unwrap();
    let vertices = |i: usize| &chains_of(&surface, ChainSource::Curve(i))[0].vertices;
    let shared: Vec<&u32> = vertices(1)
        .iter()
        .filter(|v| vertices(0).contains(v))
        .collect();
    assert_eq!(shared.len(), 1);
    let at = surface.positions[*shared[0] as usize];
    assert!(at.distance(on_tube(1.0, 0.13, 2.0)) < 0.02, "{at}");
    // The third ends on the ring and on the boundary.
    let ends = [vertices(2)[0], vertices(2)[vertices(2).len() - 1]];
    assert!(vertices(0).contains(&ends[0]) || vertices(0).contains(&ends[1]));
    let rims = chains_of(&surface, ChainSource::Boundary);
    assert!(
        rims.iter()
            .any(|c| ends.iter().any(|e| c.vertices.contains(e)))
    );
}

#[test]
fn curves_closer_than_a_work_edge_stay_apart() {
    let sculpt = tube(300, 200);
    let guides = [
        ring("one", GuideKind::Ring, 60, |_| 2.0),
        ring("two", GuideKind::Ring, 60, |turn| {
            2.2 + 0.17 * (turn * TAU).cos()
        }),
    ];
    let task = Task::default();
    let (half, _) = symmetry::run(&sculpt, PlaneChoice::None, &task).unwrap();
    // Snapped one by one, for together `guides` refuses them: the quads would have no room.
    let options = GuideOptions::for_edge(0.4);
    let snapped = |guide: &Guide| {
        let guide = std::slice::from_ref(guide);
        guides::run(guide, &sculpt, None, &options, &task)
            .unwrap()
            .0
    };
    let (mut curves, second) = (snapped(&guides[0]), snapped(&guides[1]));
    curves.curves.extend(second.curves);
    curves.on_boundary.extend(second.on_boundary);
    curves.names.extend(second.names);
    let (surface, _) = run(&half, &sculpt, &curves, &WorkOptions::for_edge(0.4), &task).unwrap();
    assert_eq!(surface.validate(), Ok(()));
    let [one, two] = [0, 1].map(|i| &chains_of(&surface, ChainSource::Curve(i))[0].vertices);
    assert!(one.iter().all(|v| !two.contains(v)));
}

#[test]
fn a_coarse_sculpt_is_refined() {
    let sculpt = tube(16, 3);
    let surface = made(&sculpt, &[], PlaneChoice::None, 0.4).unwrap();
    assert!(
        surface.triangles.len() > 1500,
        "{}",
        surface.triangles.len()
    );
    assert_eq!(euler(&surface), 0);
}

/// A lathe's tube: triangles 200 times as long as wide. Parting each for itself took more vertices than the
/// area explains, which was refused.
#[test]
fn needles_are_no_reason_to_refuse() {
    let sculpt = tube(1600, 5);
    let guides = [ring("middle", GuideKind::Ring, 40, |_| 2.0)];
    let surface = made(&sculpt, &guides, PlaneChoice::None, 0.2).unwrap();
    assert!(
        (area(&surface) / (TAU * 4.0) - 1.0).abs() < 0.01,
        "{}",
        area(&surface)
    );
    assert_eq!(euler(&surface), 0);
    assert_eq!(chains_of(&surface, ChainSource::Boundary).len(), 2);
}

/// Two thick tubes side by side, one with openings; and a crumb.
#[test]
fn parts_without_openings_stay_and_crumbs_go() {
    let first = thick_tube(100, 60).mesh;
    let mut mesh = first.as_ref().clone();
    let count = mesh.positions.len() as u32;
    for (shift, size) in [(5.0, 1.0), (9.0, 0.02)] {
        let base = mesh.positions.len() as u32;
        let moved = |p: &mesh::Vec3| mesh::Vec3::new(size * p.x + shift, size * p.y, size * p.z);
        mesh.positions.extend(first.positions.iter().map(moved));
        mesh.triangles
            .extend(first.triangles.iter().map(|t| t.map(|v| v + base)));
    }
    assert_eq!(mesh.positions.len() as u32, 3 * count);
    let guides = [
        ring("low", GuideKind::Opening, 40, |_| 0.1),
        ring("high", GuideKind::Opening, 40, |_| 3.8),
    ];
    let surface = made(&sculpt_of(mesh), &guides, PlaneChoice::None, 0.4).unwrap();
    // Outer wall of the first; both walls and rims of the second.
    let rims = 2.0 * PI * (1.0 - 0.92f64.powi(2));
    let whole = TAU * 3.7 + TAU * 4.0 * 1.92 + rims;
    assert!(
        (area(&surface) / whole - 1.0).abs() < 0.01,
        "{} {whole}",
        area(&surface)
    );
    assert!(surface.positions.iter().all(|p| p.x < 7.0));
}

#[test]
fn a_guide_beyond_an_opening_is_named() {
    let sculpt = tube(100, 60);
    let guides = [
        ring("hem", GuideKind::Opening, 40, |_| 1.0),
        ring("gone", GuideKind::Opening, 40, |_| 0.5),
        ring("waist", GuideKind::Ring, 40, |_| 2.0),
    ];
    let task = Task::default();
    let (half, _) = symmetry::run(&sculpt, PlaneChoice::None, &task).unwrap();
    let options = GuideOptions::for_edge(0.4);
    let (curves, _) = guides::run(&guides, &sculpt, None, &options, &task).unwrap();
    let (_, findings) = run(&half, &sculpt, &curves, &WorkOptions::for_edge(0.4), &task).unwrap();
    let named = |f: &&base::Finding| f.code == "guide-cut-away";
    let named: Vec<_> = findings.iter().filter(named).collect();
    assert_eq!(named.len(), 1);
    assert!(
        named[0].sentence.contains("\"gone\""),
        "{}",
        named[0].sentence
    );
}

/// Several openings, end to end, cut like one closed one.
#[test]
fn openings_may_come_in_pieces() {
    let sculpt = tube(160, 100);
    let piece = |name: &str, from: f64, to: f64| {
        let at = |i: i32| from + (to - from) * f64::from(i) / 20.0;
        Guide {
            name: name.to_owned(),
            kind: GuideKind::Opening,
            closed: false,
            count: None,
            points: (0..=20)
                .map(|i| on_tube(1.0, at(i), 1.0 + 0.3 * (at(i) * TAU).sin()))
                .collect(),
        }
    };
    // The second starts and ends a little off the first.
    let guides = [
        piece("front hem", 0.1, 0.6),
        piece("back hem", 0.61, 1.09),
        ring("middle", GuideKind::Ring, 40, |_| 3.0),
    ];
    let surface = made(&sculpt, &guides, PlaneChoice::None, 0.4).unwrap();
    // The cut runs as a sine around: half of the tube below height 1 goes away.
    assert!(
        (area(&surface) / (TAU * 3.0) - 1.0).abs() < 0.01,
        "{}",
        area(&surface)
    );
    assert_eq!(euler(&surface), 0);
    let [one, two] = [0, 1].map(|i| &chains_of(&surface, ChainSource::Curve(i))[0].vertices);
    let ends = |of: &[u32]| {
        let mut ends = [of[0], of[of.len() - 1]];
        ends.sort_unstable();
        ends
    };
    assert_eq!(ends(one), ends(two));
}

#[test]
fn vertices_lie_on_the_sculpt() {
    let sculpt = tube(150, 100);
    let guides = [ring("middle", GuideKind::Ring, 40, |turn| {
        2.0 + 0.4 * (turn * TAU).cos()
    })];
    let surface = made(&sculpt, &guides, PlaneChoice::Given(X), 0.4).unwrap();
    for &p in &surface.positions {
        let off = sculpt.index.closest(p).unwrap().distance;
        assert!(off < 0.01 * 0.4, "{off} at {p}");
    }
}

/// Evened out on a light copy, whose triangles are chords across the sculpt's, and put on the sculpt in the end.
#[test]
fn of_a_sculpt_much_denser_than_asked_for_vertices_lie_on_the_sculpt_too() {
    let (sculpt, edge, task) = (tube(400, 260), 0.8, Task::default());
    let guides = [ring("middle", GuideKind::Ring, 40, |turn| {
        2.0 + 0.4 * (turn * TAU).cos()
    })];
    let (half, _) = symmetry::run(&sculpt, PlaneChoice::Given(X), &task).unwrap();
    let options = GuideOptions::for_edge(edge);
    let (curves, _) = guides::run(&guides, &sculpt, half.plane, &options, &task).unwrap();
    let options = WorkOptions::for_edge(edge);
    let light = LightHalf::new(&half, &sculpt, edge * options.ratio, &task).unwrap();
    assert!(light.surface().is_none());
    let light = light.indexed(&half);
    let copy = light.surface().unwrap();
    assert!(2 * copy.mesh.triangles.len() <= half.mesh.triangles.len());
    let laid = lay(&light, &sculpt, &curves, &options, &task).unwrap();
    let (surface, _) = laid.finish(&curves, &task).unwrap();
    assert_eq!(surface.validate(), Ok(()));
    let mut inside = vec![true; surface.positions.len()];
    for &v in surface.chains.iter().flat_map(|c| &c.vertices) {
        inside[v as usize] = false;
    }
    let mut off_copy = 0.0f64;
    for (&p, _) in surface.positions.iter().zip(inside).filter(|(_, i)| *i) {
        let [off, off_it] = [&sculpt, &*copy].map(|s| s.index.closest(p).unwrap().distance);
        assert!(off < 1e-9, "{off} at {p}");
        off_copy = off_copy.max(off_it);
    }
    assert!(off_copy > 1e-5, "{off_copy}");
    // A half hardly denser than asked for isn't worth a copy.
    let fine = LightHalf::new(&half, &sculpt, 0.01, &task).unwrap();
    assert!(fine.indexed(&half).surface().is_none());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Whatever a ring's slant, phase and height, and the line that crosses it: a valid surface, or a
    /// refusal that names the line where it lies within an edge of the plane.
    #[test]
    fn any_ring_and_line_give_a_valid_surface(
        height in 1.0f64..3.0,
        slant in 0.0f64..0.8,
        phase in 0.0f64..1.0,
        turn in 0.0f64..1.0,
        mirrored in any::<bool>(),
    ) {
        let sculpt = tube(90, 60);
        let guides = [
            ring("ring", GuideKind::Ring, 40, |t| height + slant * ((t + phase) * TAU).cos()),
            line("line", GuideKind::Line, turn, 0.6, 3.7),
        ];
        let choice = if mirrored { PlaneChoice::Given(X) } else { PlaneChoice::None };
        let surface = match made(&sculpt, &guides, choice, 0.5) {
            Err(WorkError::NoWay { guide, .. }) => {
                let off_plane = (turn * TAU).cos().abs();
                prop_assert!(mirrored && off_plane < 0.5 && guide == "line");
                return Ok(());
            }
            other => other.unwrap(),
        };
        prop_assert_eq!(euler(&surface), i64::from(mirrored));
        let rings = chains_of(&surface, ChainSource::Curve(0));
        prop_assert_eq!(rings.len(), 1);
        prop_assert_eq!(rings[0].closed, !mirrored);
    }
}

/// A sheet folded to a knife edge.
#[test]
fn crests_are_followed_by_edges() {
    let mesh = grid(120, 80, [false, false], |u, v| {
        let s = 2.0 * u - 1.0;
        DVec3::new(0.6 * s, 3.0 * v, 1.5 - 1.5 * s.abs())
    });
    let sculpt = sculpt_of(mesh);
    let surface = made(&sculpt, &[], PlaneChoice::None, 0.5).unwrap();
    // Both slopes: 2 × length of slope × height.
    let whole = 2.0 * 0.6f64.hypot(1.5) * 3.0;
    assert!(
        (area(&surface) / whole - 1.0).abs() < 0.01,
        "{} {whole}",
        area(&surface)
    );
    // Teeth would leave triangles that face neither way.
    let slopes = [DVec3::new(1.5, 0.0, 0.6), DVec3::new(-1.5, 0.0, 0.6)].map(DVec3::normalize);
    for t in &surface.triangles {
        let [a, b, c] = t.map(|v| surface.positions[v as usize]);
        let normal = (b - a).cross(c - a).normalize();
        assert!(
            slopes.iter().any(|s| s.dot(normal) > 0.9),
            "{normal} at {a}"
        );
    }
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let sculpt = tube(120, 80);
    let guides = [ring("middle", GuideKind::Ring, 30, |turn| {
        2.0 + 0.3 * (turn * TAU).sin()
    })];
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| dump::write(&made(&sculpt, &guides, PlaneChoice::Given(X), 0.4).unwrap()))
    };
    assert_eq!(with(1), with(3));
}

#[test]
fn options_and_sculpts_that_cannot_be_are_refused() {
    let sculpt = tube(40, 20);
    let task = Task::default();
    let (half, _) = symmetry::run(&sculpt, PlaneChoice::None, &task).unwrap();
    let curves = GuideCurves::default();
    for (edge, ratio) in [
        (0.0, 0.28),
        (0.4, 0.0),
        (f64::NAN, 0.28),
        (0.4, f64::INFINITY),
    ] {
        let refused = run(&half, &sculpt, &curves, &WorkOptions { edge, ratio }, &task);
        assert!(
            matches!(refused, Err(WorkError::BadOptions { .. })),
            "{edge} {ratio}"
        );
    }
    let mut torn = half.clone();
    torn.mesh.triangles.push(torn.mesh.triangles[0]);
    let refused = run(&torn, &sculpt, &curves, &WorkOptions::for_edge(0.4), &task);
    assert!(
        matches!(refused, Err(WorkError::NotManifold { .. })),
        "{refused:?}"
    );
    task.cancel();
    let refused = run(&half, &sculpt, &curves, &WorkOptions::for_edge(0.4), &task);
    assert!(
        matches!(refused, Err(WorkError::Cancelled(_))),
        "{refused:?}"
    );
}
