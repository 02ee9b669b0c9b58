//! Closed ends: ball, capped tube, torus.

use std::f64::consts::{PI, TAU};

use engine::model::{Guide, GuideKind, Sculpt};
use loopwright_session::{Outcome, Settings};
use mesh::{DVec3, TriMesh};

use crate::support::{area, checked, failing, loop_guide, run, sculpt_of, settings, sound};

/// Σ (4 − valence) over inner vertices.
fn missing(outcome: &Outcome) -> i64 {
    outcome.poles.iter().map(|p| 4 - i64::from(p.valence)).sum()
}

/// Findings that fail, but for some kinds.
fn faults(sculpt: &Sculpt, settings: &Settings, outcome: &Outcome, but: &[&str]) -> Vec<String> {
    let (_, findings) = checked(sculpt, settings, outcome);
    failing(&findings)
        .into_iter()
        .filter(|f| !but.iter().any(|b| f.starts_with(b)))
        .collect()
}

fn equator() -> Guide {
    loop_guide("equator", GuideKind::Ring, Some(16), |turn| {
        10.0 * DVec3::new((turn * TAU).cos(), 0.0, (turn * TAU).sin())
    })
}

#[test]
fn a_ball_with_an_equator_has_eight_quarters_of_poles() {
    let sculpt = sculpt_of(demo::sphere(12_000));
    let settings = settings(vec![equator()], 200);
    let outcome = run(&sculpt, &settings).unwrap();
    assert_eq!(
        faults(&sculpt, &settings, &outcome, &["strip-spirals"]),
        Vec::<String>::new()
    );
    // Euler: Σ (4 − valence) = 4 χ = 8 on a closed surface of the ball's kind; the smoothest
    // field has eight singularities of +1/4 (Knöppel et al. 2013, from memory).
    assert_eq!(missing(&outcome), 8);
    assert!(outcome.poles.len() <= 16, "{}", outcome.poles.len());
    // Handbook: 4 π r².
    let exact = 4.0 * PI * 100.0;
    assert!(
        (area(&outcome.surface) / exact - 1.0).abs() < 0.03,
        "{}",
        area(&outcome.surface)
    );
}

#[test]
fn a_hemisphere_is_a_cap_of_four_quarters() {
    // The upper half of the ball, as a sculpt with a rim of its own.
    let ball = demo::sphere(24_000);
    let above = |t: &&[u32; 3]| t.iter().all(|&v| ball.positions[v as usize].y > -1e-3);
    let triangles = ball.triangles.iter().filter(above).copied().collect();
    let sculpt = sculpt_of(TriMesh {
        positions: ball.positions.clone(),
        triangles,
    });
    let rim = loop_guide("rim", GuideKind::Opening, Some(16), |turn| {
        let y: f64 = 2.0;
        let r = (100.0 - y * y).sqrt();
        DVec3::new(r * (turn * TAU).cos(), y, r * (turn * TAU).sin())
    });
    let (outcome, measures) = sound(&sculpt, &settings(vec![rim], 100));
    // Euler on a disk whose rim turns no corner: 4 χ = 4.
    assert_eq!(missing(&outcome), 4);
    assert_eq!(measures.guides[0].cycle_length, Some(16));
    // Archimedes: the cap's area is that of the cylinder around it, 2 π r h.
    let exact = TAU * 10.0 * (10.0 - 2.0);
    assert!(
        (area(&outcome.surface) / exact - 1.0).abs() < 0.03,
        "{}",
        area(&outcome.surface)
    );
}

/// A finger: a tube of radius 2 and length 10 with half a ball on its end, open below.
fn finger() -> TriMesh {
    let (around, along) = (72u32, 80u32);
    let whole = 10.0 + 2.0 * TAU / 4.0;
    let mut mesh = TriMesh::default();
    for i in 0..along {
        let s = whole * f64::from(i) / f64::from(along);
        let bow = ((s - 10.0) / 2.0).max(0.0);
        let (r, y) = (2.0 * bow.cos(), s.min(10.0) + 2.0 * bow.sin());
        for j in 0..around {
            let angle = TAU * f64::from(j) / f64::from(around);
            mesh.positions
                .push(DVec3::new(r * angle.cos(), y, -r * angle.sin()).as_vec3());
        }
    }
    mesh.positions.push(DVec3::new(0.0, 12.0, 0.0).as_vec3());
    let at = |i: u32, j: u32| i * around + j % around;
    for j in 0..around {
        for i in 0..along - 1 {
            mesh.triangles.extend([
                [at(i, j), at(i, j + 1), at(i + 1, j + 1)],
                [at(i, j), at(i + 1, j + 1), at(i + 1, j)],
            ]);
        }
        mesh.triangles
            .push([at(along - 1, j), at(along - 1, j + 1), along * around]);
    }
    mesh
}

#[test]
fn a_finger_closes_with_a_cap() {
    let sculpt = sculpt_of(finger());
    let ring = |name: &str, y: f64| {
        loop_guide(name, GuideKind::Ring, Some(8), move |turn| {
            DVec3::new(2.0 * (turn * TAU).cos(), y, -2.0 * (turn * TAU).sin())
        })
    };
    let (outcome, measures) = sound(
        &sculpt,
        &settings(vec![ring("knuckle", 4.0), ring("tip", 9.0)], 72),
    );
    assert_eq!(missing(&outcome), 4);
    // Poles only in the cap, none on the tube between.
    for pole in &outcome.poles {
        assert!(
            outcome.surface.positions[pole.vertex as usize].y > 9.0,
            "{pole:?}"
        );
    }
    assert!(
        measures
            .guides
            .iter()
            .all(|g| g.cycle_length == Some(8) && g.poles == 0)
    );
    // Side of the tube and half a ball (handbook mensuration).
    let exact = TAU * 2.0 * 10.0 + TAU * 4.0;
    assert!(
        (area(&outcome.surface) / exact - 1.0).abs() < 0.04,
        "{}",
        area(&outcome.surface)
    );
}

/// What the torus is asked for: one ring around its tube.
fn ringed_torus() -> (Sculpt, Settings) {
    let ring = loop_guide("ring", GuideKind::Ring, Some(12), |turn| {
        let (out, v) = (DVec3::X, turn * TAU);
        10.0 * out + 4.0 * (v.cos() * out + v.sin() * DVec3::Y)
    });
    (sculpt_of(demo::torus(12_000)), settings(vec![ring], 360))
}

#[test]
fn a_torus_has_as_many_threes_as_fives() {
    let (sculpt, settings) = ringed_torus();
    let outcome = run(&sculpt, &settings).unwrap();
    assert_eq!(
        faults(
            &sculpt,
            &settings,
            &outcome,
            &["strip-spirals", "self-intersections"]
        ),
        Vec::<String>::new()
    );
    // Euler: Σ (4 − valence) = 4 χ = 0.
    assert_eq!(missing(&outcome), 0);
    let (measures, _) = checked(&sculpt, &settings, &outcome);
    assert_eq!(measures.guides[0].cycle_length, Some(12));
}

/// A body without a boundary and without a guide: valid, and as many poles as Euler asks for.
fn bare(mesh: TriMesh, faces: usize, euler: i64) {
    let sculpt = sculpt_of(mesh);
    let outcome = run(&sculpt, &settings(vec![], faces)).unwrap();
    let topology = outcome.surface.topology();
    assert_eq!(topology.euler_characteristic(), euler);
    assert_eq!(topology.inconsistent_edges, 0);
    assert!(topology.boundary_loops().is_empty());
    assert!(topology.face_count.iter().all(|&n| n == 2));
    // Euler: Σ (4 − valence) = 4 χ.
    assert_eq!(missing(&outcome), 4 * euler);
    let got = outcome.surface.quads.len() as f64;
    assert!((got / faces as f64 - 1.0).abs() < 0.05, "{got}");
}

#[test]
fn a_ball_without_a_guide_gets_a_surface() {
    bare(demo::sphere(6_000), 200, 2);
}

#[test]
fn a_torus_without_a_guide_gets_a_surface() {
    bare(demo::torus(8_000), 300, 0);
}

#[test]
#[ignore = "known shortfall: one strip passes the equator four times, and within 2 % of 200 faces no trade or nudge parts it"]
fn strips_of_a_ball_close_at_once() {
    let sculpt = sculpt_of(demo::sphere(12_000));
    sound(&sculpt, &settings(vec![equator()], 200));
}

#[test]
fn a_torus_needs_no_pole_and_has_its_area() {
    let (sculpt, settings) = ringed_torus();
    let (outcome, _) = sound(&sculpt, &settings);
    // Handbook: 4 π² R r.
    let exact = 4.0 * PI * PI * 40.0;
    assert!(
        (area(&outcome.surface) / exact - 1.0).abs() < 0.03,
        "{}",
        area(&outcome.surface)
    );
    // χ = 0: none is needed (Euler).
    assert!(outcome.poles.is_empty(), "{:?}", outcome.poles);
}
