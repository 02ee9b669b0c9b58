//! Surfaces made by hand over sculpts with known formulas (handbook mensuration).

use std::f64::consts::{PI, TAU};

use base::Level;
use mesh::{DVec3, Vec3};

use super::*;
use crate::intake::{self, IntakeOptions, RawTriangles};
use crate::model::{
    Area, AreaSize, ExtraLoops, GuideKind, Intent, KeepOut, KeepOutPlace, Pin, Region,
};

/// A quad grid over two turns: closed around the first, and around the second if `closed`.
fn grid(around: u32, along: u32, closed: bool, place: impl Fn(f64, f64) -> DVec3) -> QuadMesh {
    let rows = if closed { along } else { along + 1 };
    let at = |i: u32, j: u32| (j % rows) * around + i % around;
    let turn = |i: u32, n: u32| f64::from(i) / f64::from(n);
    QuadMesh {
        positions: (0..rows * around)
            .map(|k| place(turn(k % around, around), turn(k / around, along)))
            .collect(),
        quads: (0..along * around)
            .map(|k| (k % around, k / around))
            .map(|(i, j)| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
            .collect(),
        groups: vec![],
    }
}

/// Tube of radius 1 and height 2.
fn tube(around: u32, along: u32) -> QuadMesh {
    grid(around, along, false, |u, v| circle(u, 2.0 * v))
}

fn circle(turn: f64, z: f64) -> DVec3 {
    DVec3::new((TAU * turn).cos(), (TAU * turn).sin(), z)
}

fn torus(around: u32, along: u32, minor: f64) -> QuadMesh {
    grid(around, along, true, |u, v| {
        let r = 3.0 + minor * (TAU * v).cos();
        DVec3::new(
            r * (TAU * u).cos(),
            r * (TAU * u).sin(),
            minor * (TAU * v).sin(),
        )
    })
}

/// A cube whose faces are n × n grids, blown up to a sphere of radius 1.
fn ball(n: u32) -> QuadMesh {
    let mut mesh = QuadMesh::default();
    let mut name = std::collections::BTreeMap::new();
    for axis in 0..3usize {
        for side in [0, n] {
            for (i, j) in (0..n * n).map(|k| (k % n, k / n)) {
                let mut quad = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(di, dj)| {
                    let mut p = [0u32; 3];
                    (p[axis], p[(axis + 1) % 3], p[(axis + 2) % 3]) = (side, i + di, j + dj);
                    *name.entry(p).or_insert_with(|| {
                        let p =
                            p.map(|x| (PI / 4.0 * (2.0 * f64::from(x) / f64::from(n) - 1.0)).tan());
                        mesh.positions.push(DVec3::from_array(p).normalize());
                        mesh.positions.len() as u32 - 1
                    })
                });
                if side == 0 {
                    quad.reverse();
                }
                mesh.quads.push(quad);
            }
        }
    }
    mesh
}

/// The same surface in triangles, taken in as a sculpt.
fn sculpt(quads: &QuadMesh) -> Sculpt {
    let raw = RawTriangles {
        positions: quads
            .positions
            .iter()
            .map(|p| p.as_vec3())
            .collect::<Vec<Vec3>>(),
        triangles: quads.triangulated(),
        parts: vec![],
    };
    intake::run(&raw, &IntakeOptions::default(), &Task::default())
        .unwrap()
        .0
}

fn ring(name: &str, kind: GuideKind, z: f64, count: Option<u32>) -> Guide {
    Guide {
        name: name.to_owned(),
        kind,
        closed: true,
        count,
        points: (0..200).map(|i| circle(f64::from(i) / 200.0, z)).collect(),
    }
}

fn check(
    surface: &QuadMesh,
    sculpt: &Sculpt,
    guides: &[Guide],
    plane: Option<Plane>,
) -> (Measures, Findings) {
    let input = CheckInput {
        surface,
        sculpt,
        guides,
        plane,
        intent: &Intent::default(),
        target_faces: Some(surface.quads.len() as u32),
        yardstick: false,
        holds: &[],
    };
    run(&input, &Task::default()).unwrap()
}

fn level_of(findings: &Findings, code: &str) -> Level {
    findings.iter().find(|f| f.code == code).unwrap().level
}

fn near(found: f64, exact: f64, share: f64) {
    assert!(
        (found / exact - 1.0).abs() < share,
        "{found} instead of {exact}"
    );
}

#[test]
fn a_coarse_tube_lies_inside_by_the_sagitta() {
    let dense = sculpt(&tube(2000, 40));
    let surface = tube(12, 6);
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    let guides = [
        ring("left wrist", GuideKind::Opening, 0.0, Some(12)),
        ring("elbow", GuideKind::Ring, 1.0, Some(12)),
        ring("shoulder", GuideKind::Opening, 2.0, None),
    ];
    let (m, findings) = check(&surface, &dense, &guides, Some(plane));
    let pct = 100.0 / dense.mesh.diagonal();
    // Sagitta of a chord over 1/12 turn: r (1 − cos(π/12)).
    let half = PI / 12.0;
    near(m.fit.max_pct / pct, 1.0 - half.cos(), 2e-3);
    // Mean of √(a² + x²) over the half chord: ½ (1 + a²/s · arsinh(s/a)) (table of integrals).
    let (a, s) = (half.cos(), half.sin());
    let mean_radius = 0.5 * (1.0 + a * a / s * (s / a).asinh());
    near(-m.fit.signed_mean_pct / pct, 1.0 - mean_radius, 5e-3);
    // The chord's normal is off by between 0 and half a step, evenly in the angle's tangent.
    assert!(
        m.fit.normal_dev_p95_deg < half.to_degrees()
            && m.fit.normal_dev_mean_deg > half.to_degrees() * 0.45
    );
    assert_eq!(
        (m.counts.components, m.counts.boundary_loops, m.counts.euler),
        (1, 2, 0)
    );
    assert_eq!(
        (m.strips.closed, m.strips.strips, m.strips.spirals),
        (6, 18, 0)
    );
    assert_eq!(m.poles.valence_identity_residual, 0);
    for guide in &m.guides {
        assert_eq!(
            (guide.cycle_length, guide.poles),
            (Some(12), 0),
            "{}",
            guide.name
        );
        near(guide.distance_p95 * m.size.mean_edge, 1.0 - a, 2e-2);
        assert!(guide.angle_p95_deg < 0.1);
    }
    assert_eq!(
        m.guides.iter().map(|g| g.on_boundary).collect::<Vec<_>>(),
        [true, false, true]
    );
    let mirror = m.mirror.as_ref().unwrap();
    assert!(mirror.error < 1e-12 && mirror.faces_missing == 0);
    // Sides: chord 2 sin(π/12) and height 1/3; all angles square.
    near(m.shape.aspect_p95, 2.0 * s * 3.0, 1e-9);
    near(m.shape.scaled_jacobian_min, 1.0, 1e-9);
    assert_eq!(m.self_intersections, 0);
    assert!(findings.is_ready(), "{findings:?}");
    let said: Vec<&str> = findings.iter().map(|f| f.sentence.as_str()).collect();
    assert!(said.contains(&"Ring 'elbow' has 12 edges, as asked."));
}

#[test]
fn a_ball_of_quads_has_eight_poles_of_three() {
    let surface = ball(8);
    let (m, findings) = check(&surface, &sculpt(&ball(120)), &[], None);
    assert_eq!(m.poles.interior_valences, [(3, 8), (4, 8 * 8 * 6 + 2 - 8)]);
    assert_eq!((m.counts.euler, m.counts.boundary_loops), (2, 0));
    // Each of three families of strips rings the ball n times.
    assert_eq!(
        (m.strips.strips, m.strips.closed, m.strips.spirals),
        (24, 24, 0)
    );
    assert_eq!(m.reverse.ignored_share, 0.0);
    // All vertices lie on the ball, so the faces lie inside it.
    assert!(m.fit.vertices_max_pct < 0.02 && m.fit.signed_mean_pct < -0.02);
    assert!(findings.is_ready());
}

#[test]
fn a_wrong_count_and_a_missing_ring_fail_by_name() {
    let guides = [
        ring("cuff", GuideKind::Ring, 1.0, Some(14)),
        ring("stray", GuideKind::Ring, 1.16, None),
        ring("hem", GuideKind::Opening, 1.0, None),
    ];
    let (m, findings) = check(&tube(12, 6), &sculpt(&tube(400, 40)), &guides, None);
    assert_eq!(m.guides[1].cycle_length, None);
    let failed = |code: &str| {
        let mut of_code = findings
            .iter()
            .filter(|f| f.code == code && f.level == Level::Fail);
        of_code.next().map(|f| f.sentence.as_str())
    };
    assert_eq!(
        failed("guide-count"),
        Some("Ring 'cuff' has 12 edges, but 14 were asked.")
    );
    assert_eq!(
        failed("guide-cycle"),
        Some("No closed run of edges follows ring 'stray'.")
    );
    assert_eq!(
        failed("opening-boundary"),
        Some("The surface doesn't end at opening 'hem'.")
    );
    assert!(failed("guide-distance").is_some() && failed("guide-angle").is_some());
}

#[test]
fn a_strip_that_winds_down_the_tube_is_a_spiral() {
    // Around n, each row starts where the last one ended, one row lower.
    let n = 12u32;
    let rows = 8u32;
    let surface = QuadMesh {
        positions: (0..n * rows)
            .map(|k| {
                circle(
                    f64::from(k) / f64::from(n),
                    f64::from(k) / f64::from(n) * 0.4,
                )
            })
            .collect(),
        quads: (0..n * (rows - 1) - 1)
            .map(|k| [k, k + 1, k + n + 1, k + n])
            .collect(),
        groups: vec![],
    };
    let guides = [ring("elbow", GuideKind::Ring, 1.4, None)];
    let (m, findings) = check(&surface, &sculpt(&tube(400, 40)), &guides, None);
    assert_eq!(m.strips.ring_coils, 1);
    assert_eq!(level_of(&findings, "strip-spirals"), Level::Fail);
}

/// A plane at 40° through a tube cuts it in an ellipse (handbook geometry); its ring leans as much.
#[test]
fn a_ring_on_a_slant_leans_as_far_as_its_plane() {
    let surface = tube(24, 8);
    for slant in [0.0f64, 20.0, 40.0] {
        let mut guide = ring("sash", GuideKind::Ring, 1.0, None);
        for p in &mut guide.points {
            p.z += p.x * slant.to_radians().tan();
        }
        let (measures, _) = check(&surface, &sculpt(&surface), &[guide], None);
        let found = measures.guides[0].slant_deg.unwrap();
        assert!((found - slant).abs() < 1.0, "{found} for {slant}");
    }
}

/// Rows on either side of a line that crosses itself do so too; others mustn't.
#[test]
fn strips_cross_themselves_as_drawn_or_at_fault() {
    let surface = torus(24, 12, 1.0);
    let line = |points: Vec<DVec3>| Guide {
        name: "braid".to_owned(),
        kind: GuideKind::Line,
        closed: false,
        count: None,
        points,
    };
    let looped: Vec<DVec3> = (0..60)
        .map(|i| 2.7 * f64::from(i) / 59.0 - 1.35)
        .map(|t| DVec3::new(2.0 * (t * t * t - t), 2.0 * t * t, 0.0))
        .collect();
    let track =
        |guide: &Guide| guides::Track::new(guide, 0.3).map(|t| strips::crossings_of(&t, 0.3));
    let found = track(&line(looped)).unwrap();
    assert_eq!(found.len(), 1);
    // At t = ±1: x = 0, y = 2.
    assert!(
        found[0].distance(DVec3::new(0.0, 2.0, 0.0)) < 0.15,
        "{found:?}"
    );
    let straight = line(vec![DVec3::ZERO, DVec3::X * 3.0]);
    assert!(track(&straight).unwrap().is_empty());
    let (measures, _) = check(&surface, &sculpt(&surface), &[], None);
    assert_eq!(measures.strips.drawn_crossings, 0);
}

#[test]
fn defects_are_counted_and_placed() {
    let dense = sculpt(&tube(400, 40));
    let mut surface = tube(12, 6);
    surface.quads[5].reverse();
    surface.positions.push(DVec3::ONE);
    let (m, findings) = check(&surface, &dense, &[], None);
    assert_eq!(
        (m.counts.inconsistent_edges, m.counts.unused_vertices),
        (3, 1)
    );
    assert_eq!(level_of(&findings, "consistent-winding"), Level::Fail);

    // Two quads that share one vertex only, and three on one edge.
    let p = |x: f64, y: f64, z: f64| DVec3::new(x, y, z);
    let surface = QuadMesh {
        positions: vec![
            p(1.0, 0.0, 0.0),
            p(1.0, 0.1, 0.0),
            p(1.0, 0.1, 0.1),
            p(1.0, 0.0, 0.1),
            p(1.0, 0.2, 0.1),
            p(1.0, 0.2, 0.2),
            p(1.0, 0.1, 0.2),
        ],
        quads: vec![[0, 1, 2, 3], [2, 4, 5, 6]],
        groups: vec![],
    };
    let (m, _) = check(&surface, &dense, &[], None);
    assert_eq!(
        (m.counts.nonmanifold_vertices, m.counts.nonmanifold_edges),
        (1, 0)
    );
    let mut surface = surface;
    surface.quads = vec![[0, 1, 2, 3], [1, 0, 4, 5], [0, 1, 6, 4]];
    let (m, findings) = check(&surface, &dense, &[], None);
    assert_eq!(m.counts.nonmanifold_edges, 1);
    let heavy = findings
        .iter()
        .find(|f| f.code == "manifold-edges")
        .unwrap();
    assert_eq!((heavy.value, heavy.places.len()), (Some(1.0), 1));

    let mut surface = tube(12, 6);
    surface.quads[7][1] = surface.quads[7][0];
    let (m, _) = check(&surface, &dense, &[], None);
    near(m.counts.quad_share, 71.0 / 72.0, 1e-12);
}

#[test]
fn a_fold_through_the_surface_is_found() {
    let mut surface = tube(12, 6);
    // One vertex pushed through the opposite wall.
    surface.positions[3 * 12 + 2] = circle(2.0 / 12.0 + 0.5, 1.0) * 1.3;
    let (m, findings) = check(&surface, &sculpt(&tube(400, 40)), &[], None);
    assert!(m.self_intersections > 0);
    let cut = findings
        .iter()
        .find(|f| f.code == "self-intersections")
        .unwrap();
    assert_eq!(cut.level, Level::Fail);
    assert!(!cut.places.is_empty());
}

#[test]
fn one_moved_vertex_breaks_the_mirror() {
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::Y,
    };
    let mut surface = tube(12, 6);
    let far = 0.01;
    surface.positions[3 * 12 + 2].z += far;
    let (m, findings) = check(&surface, &sculpt(&tube(400, 40)), &[], Some(plane));
    near(m.mirror.unwrap().error, far / m.size.mean_edge, 1e-9);
    assert_eq!(level_of(&findings, "mirror-vertices"), Level::Fail);
    assert_eq!(level_of(&findings, "mirror-faces"), Level::Pass);
}

#[test]
fn the_yardstick_rewards_faces_that_straddle_and_threads_make_no_difference() {
    let dense = sculpt(&torus(300, 100, 1.0));
    let measure = |minor: f64| {
        let surface = torus(36, 12, minor);
        let input = CheckInput {
            surface: &surface,
            sculpt: &dense,
            guides: &[],
            plane: None,
            intent: &Intent::default(),
            target_faces: Some(400),
            yardstick: true,
            holds: &[],
        };
        run(&input, &Task::default()).unwrap()
    };
    let inscribed = measure(1.0);
    // A chord's mean distance from its arc is two thirds of the sagitta, 1 − cos(π/12).
    let straddling = measure(1.0 + (1.0 - (PI / 12.0).cos()) * 2.0 / 3.0);
    let ratio = |m: &(Measures, Findings)| m.0.yardstick.as_ref().unwrap().rms_ratio;
    assert_eq!(
        inscribed.0.yardstick.as_ref().unwrap().decimation_vertices,
        36 * 12
    );
    assert!(
        ratio(&straddling) > 0.9 && ratio(&straddling) < 2.0,
        "{}",
        ratio(&straddling)
    );
    assert!(ratio(&inscribed) > 1.5 * ratio(&straddling));
    near(inscribed.0.size.face_count_error_pct.unwrap(), 8.0, 1e-9);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .unwrap();
    assert_eq!(inscribed, pool.install(|| measure(1.0)));
}

#[test]
fn unusable_input_is_refused() {
    let dense = sculpt(&tube(100, 10));
    let fails = |surface: &QuadMesh, guides: &[Guide]| {
        let input = CheckInput {
            surface,
            sculpt: &dense,
            guides,
            plane: None,
            intent: &Intent::default(),
            target_faces: None,
            yardstick: false,
            holds: &[],
        };
        run(&input, &Task::default()).unwrap_err()
    };
    assert_eq!(fails(&QuadMesh::default(), &[]), CheckError::Empty);
    let mut bad = tube(6, 2);
    bad.quads[1][2] = 77;
    assert!(matches!(
        fails(&bad, &[]),
        CheckError::BadQuad {
            quad: 1,
            vertex: 77,
            ..
        }
    ));
    let mut bad = tube(6, 2);
    bad.positions[4].x = f64::INFINITY;
    assert_eq!(fails(&bad, &[]), CheckError::NotFinite { vertex: 4 });
    bad.positions.fill(DVec3::ONE);
    assert_eq!(fails(&bad, &[]), CheckError::NoArea);
    let mut guide = ring("hem", GuideKind::Ring, 0.0, None);
    guide.points.truncate(1);
    let error = fails(&tube(6, 2), &[guide]);
    assert!(
        error
            .to_string()
            .starts_with("guide 'hem' needs at least two")
    );
}

/// The measures and findings of a surface that something is asked of.
fn check_intent(surface: &QuadMesh, guides: &[Guide], intent: &Intent) -> (Measures, Findings) {
    let input = CheckInput {
        surface,
        sculpt: &sculpt(surface),
        guides,
        plane: None,
        intent,
        target_faces: None,
        yardstick: false,
        holds: &[],
    };
    run(&input, &Task::default()).unwrap()
}

#[test]
fn loops_beside_a_ring_are_counted_on_both_sides() {
    let guides = [ring("elbow", GuideKind::Ring, 1.0, None)];
    let intent = Intent {
        loops: vec![ExtraLoops { guide: 0, loops: 2 }],
        ..Intent::default()
    };
    // Edges around are 2 sin(π / 24) = 0.26 long; rows 0.1 and 0.25 apart.
    let (close, findings) = check_intent(&tube(24, 20), &guides, &intent);
    assert_eq!(close.loops[0].found, [2, 2]);
    assert_eq!(level_of(&findings, "ring-loops"), Level::Pass);
    let (wide, findings) = check_intent(&tube(24, 8), &guides, &intent);
    assert_eq!((wide.loops[0].found, wide.loops[0].short_of), ([1, 1], 2));
    assert_eq!(level_of(&findings, "ring-loops"), Level::Fail);
}

#[test]
fn pins_and_keep_outs_are_held_against_the_poles_of_a_blown_up_cube() {
    let corner = DVec3::ONE.normalize();
    let pin = |name: &str, at, valence| Pin {
        name: name.into(),
        at,
        valence,
    };
    let keep_out = |name: &str, at| KeepOut {
        name: name.into(),
        place: KeepOutPlace::Region(Region::Around { at, reach: 0.4 }),
    };
    let intent = Intent {
        pins: vec![
            pin("corner", corner, 3),
            pin("five", corner, 5),
            pin("face", DVec3::X, 3),
        ],
        keep_outs: vec![keep_out("corner", corner), keep_out("face", DVec3::X)],
        ..Intent::default()
    };
    let (measures, findings) = check_intent(&ball(8), &[], &intent);
    assert!(measures.pins[0].away.unwrap() < 1e-6);
    assert_eq!(measures.pins[1].away, None);
    // A face's middle is as far from its corners as the cube's half diagonal tells.
    let way = DVec3::X.distance(corner) / measures.size.mean_edge;
    near(measures.pins[2].away.unwrap(), way, 1e-6);
    let poles: Vec<usize> = measures.keep_outs.iter().map(|k| k.poles).collect();
    assert_eq!(poles, [1, 0]);
    let levels = |code: &str| -> Vec<Level> {
        let of = findings.iter().filter(|f| f.code == code);
        of.map(|f| f.level).collect()
    };
    assert_eq!(levels("pin"), [Level::Pass, Level::Fail, Level::Fail]);
    assert_eq!(levels("keep-out"), [Level::Fail, Level::Pass]);
}

#[test]
fn an_areas_edge_is_the_side_of_its_mean_quad() {
    let area = |edge| Area {
        name: "pocket".into(),
        region: Region::Around {
            at: DVec3::new(1.0, 0.0, 1.0),
            reach: 0.7,
        },
        size: AreaSize::Edge(edge),
    };
    let side = (2.0 * (PI / 24.0).sin() * 0.25).sqrt();
    let intent = Intent {
        areas: vec![area(side), area(2.0 * side)],
        ..Intent::default()
    };
    let (measures, findings) = check_intent(&tube(24, 8), &[], &intent);
    near(measures.areas[0].edge.unwrap(), side, 1e-6);
    let of = findings.iter().filter(|f| f.code == "area-density");
    let levels: Vec<Level> = of.map(|f| f.level).collect();
    assert_eq!(levels, [Level::Pass, Level::Warn]);
}

/// A limb of which a surface left a third bare passed every check: each of its quads lay on the sculpt.
#[test]
fn what_of_the_sculpt_no_quad_lies_near_is_told() {
    let bare = |surface: &QuadMesh, over: &QuadMesh| {
        let over = sculpt(over);
        let (_, findings) = check(surface, &over, &[], None);
        let mut found = findings.iter().filter(|f| f.code == "sculpt-bare").cloned();
        found.next()
    };
    let ball = ball(8);
    // Above the middle six times as high: a limb that the ball's surface ends at the foot of.
    let mut limb = ball.clone();
    for p in limb.positions.iter_mut().filter(|p| p.z > 0.0) {
        p.z *= 6.0;
    }
    let told = bare(&ball, &limb).unwrap();
    assert_eq!(told.level, Level::Fail);
    // Half an ellipsoid of axes 1, 1, 6 has 15.2, half a ball 2 π (Knud Thomsen's formula, from memory,
    // within 1.1 %); bare is what is further up than some 1.4.
    assert!((45.0..75.0).contains(&told.value.unwrap()), "{told:?}");
    assert!(told.sentence.contains("is bare"), "{told:?}");
    assert_eq!(bare(&limb, &limb), None);
    assert_eq!(bare(&ball, &ball), None);
    // The inner wall of a thick tube is no part that quads should reach, nor is its edge beyond the surface.
    let section = |v: f64| match 4.0 * v {
        x if x < 1.0 => (1.0, 2.0 * x),
        x if x < 2.0 => (1.0 - 0.7 * (x - 1.0), 2.0),
        x if x < 3.0 => (0.3, 2.0 * (3.0 - x)),
        x => (0.3 + 0.7 * (x - 3.0), 0.0),
    };
    let thick = grid(40, 64, true, |u, v| {
        let (r, z) = section(v);
        DVec3::new(r, r, 1.0) * circle(u, z)
    });
    let inner = |p: &Vec3| p.x.hypot(p.y) < 0.31;
    assert!(sculpt(&thick).mesh.positions.iter().any(inner));
    assert_eq!(bare(&tube(40, 16), &thick), None);
}
