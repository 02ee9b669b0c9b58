//! Linings of tubes and spheres, whose volumes are known in closed form.

use std::f64::consts::PI;

use proptest::prelude::*;

use super::*;
use crate::trims::tests::{X, cuff, placed, tube, volume};
use crate::trims::{Edge, End, Front, Side, Trim, TrimInput, Trimmed};

fn lined(surface: &QuadMesh, trimmed: Option<&Trimmed>, asked: f64) -> Result<Lined, LiningError> {
    run(surface, trimmed, Some(X), asked, &Task::default())
}

fn trimmed(surface: &QuadMesh, trim: Trim, around: u32) -> Trimmed {
    let input = TrimInput {
        surface,
        plane: Some(X),
        sculpt: None,
    };
    crate::trims::run(&input, &[placed(trim, around)], &Task::default()).unwrap()
}

fn sound(lined: &Lined) {
    let fails: Vec<_> = lined
        .findings
        .iter()
        .filter(|f| f.level == Level::Fail)
        .collect();
    assert!(fails.is_empty(), "{fails:?}");
    let topology = lined.surface.topology();
    assert!(
        topology.face_count.iter().all(|&n| n == 2),
        "closed all round"
    );
    assert_eq!(topology.inconsistent_edges, 0);
}

fn all(mesh: &QuadMesh) -> Vec<u32> {
    (0..mesh.quads.len() as u32).collect()
}

/// A prism over a regular polygon with apothem a has n a² tan(π / n) of area (elementary geometry);
/// with walls T apart, that of a less that of a - T is between them.
fn between(n: u32, radius: f64, thick: f64) -> f64 {
    let half = PI / f64::from(n);
    let apothem = radius * half.cos();
    let area = |a: f64| f64::from(n) * a * a * half.tan();
    area(apothem) - area(apothem - thick)
}

#[test]
fn a_lined_tube_holds_what_the_closed_form_says() {
    let (n, r, t) = (16, 5.0, 0.6);
    let surface = tube(n, 6, 1.5, |_, _| r);
    let plain = lined(&surface, None, t).unwrap();
    sound(&plain);
    let group = plain.surface.groups.last().unwrap();
    assert_eq!(group.name, "lining");
    // Each rim has a loop beside either corner.
    assert_eq!(group.quads.len(), (6 * n + 2 * 3 * n) as usize);
    let found = volume(&plain.surface, &all(&plain.surface));
    let exact = 9.0 * between(n, r, t);
    assert!((found / exact - 1.0).abs() < 1e-9, "{found} {exact}");
    assert_eq!(
        plain.surface.positions[..surface.positions.len()],
        surface.positions
    );
    // A cuff as thick goes on into it, whether its front is closed or not.
    for edge in [Edge::Flat, Edge::Rounded] {
        let trim = Trim {
            edge,
            ..cuff(3.0, t)
        };
        let with = lined(&surface, Some(&trimmed(&surface, trim, n)), t).unwrap();
        sound(&with);
        let found = volume(&with.surface, &all(&with.surface));
        let exact = (9.0 + if edge == Edge::Flat { 3.0 } else { 2.9 }) * between(n, r, t);
        let within = if edge == Edge::Flat { 1e-9 } else { 0.01 };
        assert!((found / exact - 1.0).abs() < within, "{found} {exact}");
    }
    let front = Front::Gap {
        width: 2.0,
        at: None,
    };
    let gap = Trim {
        front,
        ..cuff(3.0, t)
    };
    sound(&lined(&surface, Some(&trimmed(&surface, gap, n)), t).unwrap());
    for edge in [Edge::Flat, Edge::Rounded] {
        let front = Front::Overlap {
            width: 0.0,
            at: None,
            lap: 2.0,
            upper: End::Left,
        };
        let overlaps = Trim {
            front,
            edge,
            ..cuff(3.0, t)
        };
        sound(&lined(&surface, Some(&trimmed(&surface, overlaps, n)), t).unwrap());
    }
}

/// A hem that is turned in has a wall behind it already: the lining goes on where it ends.
#[test]
fn a_lining_goes_on_from_a_hem_that_is_turned_in() {
    let (n, r, t) = (16, 5.0, 0.5);
    let surface = tube(n, 6, 1.5, |_, _| r);
    for depth in [1.5, 2.0, 2.4, 2.9, 3.4] {
        let hem = Trim {
            side: Side::Within,
            ..cuff(depth, t)
        };
        let with = lined(&surface, Some(&trimmed(&surface, hem, n)), t).unwrap();
        sound(&with);
        // The hem's edge stands out by a fifth of its thickness.
        let found = volume(&with.surface, &all(&with.surface));
        let exact = (9.0 + 0.2 * t) * between(n, r, t);
        assert!(
            (found / exact - 1.0).abs() < 1e-6,
            "{depth}: {found} {exact}"
        );
    }
}

#[test]
fn too_thick_a_lining_is_refused_with_what_goes() {
    let surface = tube(24, 6, 1.5, |_, _| 5.0);
    sound(&lined(&surface, None, 3.9).unwrap());
    match lined(&surface, None, 4.1).unwrap_err() {
        LiningError::TooThick { radius, most, .. } => {
            assert!(
                (radius - 5.0).abs() < 0.05 && (most - 4.0).abs() < 0.04,
                "{radius} {most}"
            );
        }
        other => panic!("{other}"),
    }
    // A slot: half its width counts.
    let mut slot = surface;
    slot.positions.iter_mut().for_each(|p| p.z *= 0.2);
    let refused = lined(&slot, None, 0.9).unwrap_err();
    assert!(matches!(refused, LiningError::TooThick { radius, .. } if radius <= 1.0));
    for wrong in [0.0, -1.0, f64::NAN] {
        let refused = lined(&slot, None, wrong).unwrap_err();
        assert!(
            matches!(refused, LiningError::Thickness { .. }),
            "{refused}"
        );
    }
}

/// Trims of another thickness: the lining goes over to them in one row, and the rest is measured.
#[test]
fn a_thinner_lining_goes_over_into_a_cuff() {
    let surface = tube(16, 6, 1.5, |_, _| 5.0);
    sound(&lined(&surface, Some(&trimmed(&surface, cuff(3.0, 0.7), 16)), 0.4).unwrap());
}

#[test]
fn a_lining_laid_anew_behind_a_moved_surface_is_as_one_made_there() {
    let wave =
        |angle: f64, depth: f64| 5.0 * (1.0 + 0.05 * (2.0 * angle).cos() * (depth / 3.0).cos());
    let (surface, moved) = (tube(20, 8, 1.2, |_, _| 5.0), tube(20, 8, 1.2, wave));
    let (here, there) = (
        lined(&surface, None, 0.5).unwrap(),
        lined(&moved, None, 0.5).unwrap(),
    );
    let mut positions = here.surface.positions.clone();
    positions[..moved.positions.len()].copy_from_slice(&moved.positions);
    let relaid = here.at(here.relaid(&positions)).unwrap();
    assert_eq!(relaid.surface.positions, there.surface.positions);
    sound(&relaid);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    /// Waving tubes: a lining is sound and as thick as asked, or refused for its thickness.
    #[test]
    fn linings_of_random_tubes_are_sound(half in 5u32..14, radius in 1.0..20.0f64, noise in 0.0..0.08f64,
        waves in 2u32..5, share in 0.02..0.5f64) {
        let wave = |angle: f64, depth: f64| {
            radius * (1.0 + noise * (f64::from(waves) * angle).cos() * (1.0 + 0.3 * (depth / radius).sin()))
        };
        let surface = tube(2 * half, 7, 0.5 * radius, wave);
        match lined(&surface, None, share * radius) {
            Ok(lined) => sound(&lined),
            Err(LiningError::TooThick { most, .. }) => prop_assert!(share * radius > most),
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}
