//! The demo's bent tube: a sleeve that every measure is known of.

use std::f64::consts::{PI, TAU};

use base::{Place, Task};
use engine::model::{Guide, GuideKind, Sculpt};
use engine::quantise::Weighing;
use loopwright_session::{Session, Way};
use mesh::{DVec3, TriMesh};

use crate::support::{
    area, checked, cycle_near, loop_guide, on_bent_tube, quad_area, run, sculpt_of, settings,
    sound, tube_ring,
};

const RADIUS: f64 = 4.0;
const BEND: f64 = 14.0;
/// Length along the middle where the bend starts and ends.
const BENT: [f64; 2] = [16.0, 16.0 + BEND * TAU / 4.0];
const WHOLE: f64 = 32.0 + BEND * TAU / 4.0;

fn twelve() -> Vec<Guide> {
    let middle = (BENT[0] + BENT[1]) / 2.0;
    [
        ("wrist", 6.0),
        ("below", BENT[0]),
        ("elbow", middle),
        ("above", BENT[1]),
        ("shoulder", 48.0),
    ]
    .map(|(name, s)| tube_ring(name, s, Some(12)))
    .to_vec()
}

#[test]
fn a_sleeve_of_twelve_has_no_poles_and_closed_rings() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let settings = settings(twelve(), 320);
    let (outcome, measures) = sound(&sculpt, &settings);
    let topology = outcome.surface.topology();
    // χ = 0 and no rim turns: no pole is needed (Euler), and none should be there.
    assert_eq!(topology.euler_characteristic(), 0);
    assert!(outcome.poles.is_empty(), "{:?}", outcome.poles);
    // Every strip that goes around closes on itself with 12 quads; every other runs end to end.
    for strip in topology.strips() {
        if strip.closed {
            assert_eq!(strip.quads.len(), 12);
        } else {
            assert_eq!(strip.quads.len() * 12, outcome.surface.quads.len());
        }
    }
    for guide in &measures.guides {
        assert_eq!(guide.cycle_length, Some(12), "{}", guide.name);
    }
}

#[test]
fn rings_are_the_polygons_of_the_handbook() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let settings = settings(twelve(), 320);
    let outcome = run(&sculpt, &settings).unwrap();
    let mesh = &outcome.surface;
    let n = 12.0;
    // Handbook mensuration of the regular n-gon: inscribed in a circle it has the share
    // (n / 2π) sin(2π / n) of its area, about it (n / π) tan(π / n); its sides stray from the circle
    // by the sagitta r (1 − cos(π / n)). Vertices straddle the circle, so ours lies between.
    let shares = [n / TAU * (TAU / n).sin(), n / PI * (PI / n).tan()];
    let lengths = [
        2.0 * n * RADIUS * (PI / n).sin(),
        2.0 * n * RADIUS * (PI / n).tan(),
    ];
    let sagitta = RADIUS * (1.0 - (PI / n).cos());
    for (guide, s) in
        settings
            .guides
            .iter()
            .zip([6.0, BENT[0], (BENT[0] + BENT[1]) / 2.0, BENT[1], 48.0])
    {
        let cycle = cycle_near(mesh, guide, 0.3 * outcome.edge);
        assert_eq!(cycle.len(), 12, "{}", guide.name);
        let at: Vec<_> = cycle.iter().map(|&v| mesh.positions[v as usize]).collect();
        let middle = at.iter().copied().sum::<mesh::DVec3>() / n;
        let exact = (on_bent_tube(s, 0.0) + on_bent_tube(s, 0.5)) / 2.0;
        assert!(
            middle.distance(exact) < 0.03 * RADIUS,
            "{}: {middle}",
            guide.name
        );
        let around = |i: usize| (at[i], at[(i + 1) % 12]);
        let doubled: mesh::DVec3 = (0..12)
            .map(around)
            .map(|(a, b)| (a - middle).cross(b - middle))
            .sum();
        let share = doubled.length() / 2.0 / (PI * RADIUS * RADIUS);
        assert!(
            share > shares[0] * 0.99 && share < shares[1],
            "{}: {share} {shares:?}",
            guide.name
        );
        let length: f64 = (0..12).map(around).map(|(a, b)| a.distance(b)).sum();
        assert!(
            length > lengths[0] * 0.99 && length < lengths[1],
            "{}: {length} {lengths:?}",
            guide.name
        );
        // On the bend faces are chords lengthwise too: the sagitta c² / 8R of one quad on the outer bow.
        let bow = BEND + RADIUS;
        let chord = outcome.edge * bow / BEND;
        let limit = sagitta
            + if (BENT[0]..=BENT[1]).contains(&s) {
                chord * chord / (8.0 * bow)
            } else {
                0.0
            };
        for (a, b) in (0..12).map(around) {
            for p in [a, (a + b) / 2.0] {
                let off = (p.distance(exact) - RADIUS).abs();
                // Vertices outside and middles inside share the sagitta between them.
                assert!(off < limit, "{}: {off} of {limit}", guide.name);
            }
        }
    }
}

#[test]
fn areas_are_those_of_tube_and_torus() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let outcome = run(&sculpt, &settings(twelve(), 320)).unwrap();
    let mesh = &outcome.surface;
    // Pappus' first theorem, the whole: circumference times the way of its middle.
    let whole = TAU * RADIUS * WHOLE;
    assert!(
        (area(mesh) / whole - 1.0).abs() < 0.03,
        "{} of {whole}",
        area(mesh)
    );
    // A quarter of a torus, 4 π² R r / 4, lies between the rings at both ends of the bend.
    let bend: f64 = mesh
        .groups
        .iter()
        .filter(|g| g.name.contains("elbow"))
        .flat_map(|g| &g.quads)
        .map(|&q| quad_area(mesh, q))
        .sum();
    let exact = PI * PI * BEND * RADIUS;
    assert!((bend / exact - 1.0).abs() < 0.03, "{bend} of {exact}");
}

#[test]
fn twelve_and_sixteen_are_joined_by_pairs_of_poles_that_name_both() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    // Both on the straight piece, and rings around the bend: the shape itself asks for no pole.
    let mut guides = vec![
        tube_ring("wrist", 3.0, Some(12)),
        tube_ring("elbow", 13.0, Some(16)),
    ];
    guides.extend(
        [("bend", 27.0), ("above", BENT[1]), ("shoulder", 48.0)]
            .map(|(name, s)| tube_ring(name, s, None)),
    );
    let settings = settings(guides, 420);
    let (outcome, measures) = sound(&sculpt, &settings);
    for (guide, count) in measures.guides.iter().zip([12, 16]) {
        assert_eq!(
            (guide.cycle_length, guide.poles),
            (Some(count), 0),
            "{}",
            guide.name
        );
    }
    // As many threes as fives (Euler: Σ (4 − valence) = 0 on a tube), two pairs each two quads.
    let of = |n: u32| outcome.poles.iter().filter(|p| p.valence == n).count();
    assert_eq!(
        (of(3), of(5), outcome.poles.len()),
        (4, 4, 8),
        "{:?}",
        outcome.poles
    );
    let named: Vec<&str> = outcome
        .findings
        .iter()
        .filter(|f| f.code == "counts-force-poles")
        .flat_map(|f| &f.places)
        .filter_map(|p| match p {
            Place::Guide { name } => Some(name.as_str()),
            _ => None,
        })
        .collect();
    assert!(
        named.contains(&"wrist") && named.contains(&"elbow"),
        "{named:?}"
    );
    for pole in &outcome.poles {
        assert!(pole.reason.contains("counts of"), "{}", pole.reason);
    }
}

#[test]
fn an_opening_inside_the_boundary_trims() {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let cut = loop_guide("cuff", GuideKind::Opening, Some(14), |turn| {
        on_bent_tube(5.0, turn)
    });
    let settings = settings(vec![cut, tube_ring("elbow", 27.0, None)], 320);
    let (outcome, measures) = sound(&sculpt, &settings);
    let cuff = &measures.guides[0];
    assert_eq!((cuff.cycle_length, cuff.on_boundary), (Some(14), true));
    let mesh = &outcome.surface;
    assert_eq!(mesh.topology().boundary_loops().len(), 2);
    // Nothing is left below, but for the straddling of the rim's vertices.
    assert!(
        mesh.positions
            .iter()
            .all(|p| p.y > 5.0 - 0.2 * outcome.edge || p.x > 10.0)
    );
    let exact = TAU * RADIUS * (WHOLE - 5.0);
    assert!(
        (area(mesh) / exact - 1.0).abs() < 0.03,
        "{} of {exact}",
        area(mesh)
    );
    assert!((mesh.quads.len() as f64 / 320.0 - 1.0).abs() < 0.03);
}

/// A sleeve gathered at both ends, 2.6 times as wide between, whose arcs lie at its ends alone.
fn gathered() -> Sculpt {
    let radius = |y: f64| 2.0 + 3.2 * (PI * y / 30.0).sin();
    let (columns, rows) = (120, 160);
    let at = |i: u32, j: u32| j * columns + i % columns;
    let mut mesh = TriMesh::default();
    for j in 0..=rows {
        let y = 30.0 * f64::from(j) / f64::from(rows);
        for i in 0..columns {
            let turn = TAU * f64::from(i) / f64::from(columns);
            let (x, z) = (radius(y) * turn.cos(), -radius(y) * turn.sin());
            mesh.positions.push(DVec3::new(x, y, z).as_vec3());
        }
    }
    for j in 0..rows {
        for i in 0..columns {
            let (a, b, c, d) = (at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1));
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    sculpt_of(mesh)
}

/// By arcs alone the sleeve had as many columns as its narrow ends ask for, and long quads between.
#[test]
fn a_gathered_sleeve_has_the_columns_of_its_middle() {
    let sculpt = gathered();
    let settings = settings(vec![], 320);
    let [strips, arcs] = [Weighing::Strips, Weighing::Arcs].map(|weighing| {
        let mut session = Session::new(sculpt.clone());
        session.set_way(Way {
            weighing,
            ..Way::default()
        });
        let outcome = session.run(&settings, &Task::default()).unwrap();
        let (measures, _) = checked(&sculpt, &settings, &outcome);
        assert!(outcome.poles.is_empty());
        let around = outcome.surface.topology().strips();
        let around = around.iter().filter(|s| s.closed);
        let columns = around.map(|s| s.quads.len()).max().unwrap();
        (columns, measures.size.edge_ratio_p95_p5)
    });
    assert!(strips.0 > arcs.0, "{strips:?} {arcs:?}");
    assert!(strips.1 < arcs.1, "{strips:?} {arcs:?}");
    // Edges of 320 even quads on its area (handbook: surface of revolution), and its mean girth.
    let (mut area, mut girth) = (0.0, 0.0);
    for k in 0..1000 {
        let y = (f64::from(k) + 0.5) * 0.03;
        let (sin, cos) = (PI * y / 30.0).sin_cos();
        let (r, slope) = (2.0 + 3.2 * sin, 3.2 * PI / 30.0 * cos);
        let ring = TAU * r * (1.0 + slope * slope).sqrt() * 0.03;
        area += ring;
        girth += ring * (TAU * r).ln();
    }
    let wanted = (girth / area).exp() / (area / 320.0).sqrt();
    assert!(
        (strips.0 as f64 / wanted - 1.0).abs() < 0.15,
        "{strips:?} {wanted}"
    );
}

/// So many rows for twelve columns crowd on the inside of the elbow; its ring was lost among them where
/// strips were weighed, before plans by arcs were tried as well.
#[test]
fn rings_of_an_elbow_are_kept_among_crowded_rows() {
    let sculpt = sculpt_of(demo::bent_tube(40_000));
    let settings = settings(twelve(), 1800);
    let outcome = run(&sculpt, &settings).unwrap();
    let (measures, _) = checked(&sculpt, &settings, &outcome);
    for guide in &measures.guides {
        assert_eq!(guide.cycle_length, Some(12), "{}", guide.name);
    }
}
