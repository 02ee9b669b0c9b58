//! Bands on tubes whose offsets are known in closed form.

use std::f64::consts::PI;

use base::Task;
use engine::check;
use mesh::{DVec3, QuadMesh};
use proptest::prelude::*;

use super::super::tests::{self, X, cuff, tube, value, volume, woven};
use super::super::weave;
use super::super::{Edge, Front, Placed, Side, Trim, TrimError, TrimInput, TrimKind, Trimmed};
use super::LIFT;

fn belt(height: f64, thickness: f64) -> Trim {
    Trim {
        name: "belt".into(),
        kind: TrimKind::Band,
        guide: "waist".into(),
        side: Side::Upon,
        ..cuff(height, thickness)
    }
}

/// A trim on a row of a tube.
fn on_row(trim: Trim, row: u32, around: u32) -> Placed {
    Placed {
        trim,
        run: (row * around..(row + 1) * around).collect(),
        closed: true,
    }
}

/// As for any trim; and the band is closed, and passes through nothing.
fn sound(surface: &QuadMesh, trimmed: &Trimmed) {
    tests::sound(surface, trimmed);
    let mesh = &trimmed.surface;
    let band = QuadMesh {
        quads: mesh.quads[surface.quads.len()..].to_vec(),
        positions: mesh.positions.clone(),
        groups: vec![],
    };
    let topology = band.topology();
    assert_eq!(topology.inconsistent_edges, 0);
    assert!(topology.face_count.iter().all(|&n| n == 2));
    assert!(check::crossings(mesh).unwrap().is_empty());
}

/// On a prism over a regular polygon of apothem a, what lies between x and x + dx from its sides
/// has a perimeter of 2 n tan(π/n) (a + x). A band holds that, integrated over its section: the
/// section's area and first moment, by the shoelace formulas of polygons.
#[test]
fn a_belt_on_a_cylinder_holds_what_the_closed_form_says() {
    let (n, r, h, t) = (12, 5.0, 3.0, 0.6);
    let surface = tube(n, 6, 2.0, |_, _| r);
    let half = PI / f64::from(n);
    // Half of the section: along the cloth from the loop, and off it.
    let flat = vec![(0.0, 0.0), (h / 2.0, 0.0), (h / 2.0, t), (0.0, t)];
    let mut round = vec![(0.0, 0.0), (h / 2.0, 0.0)];
    for k in (0..=4).rev() {
        let (sin, cos) = (PI / 8.0 * f64::from(k)).sin_cos();
        round.push((h / 2.0 - t * (1.0 - sin), t * cos));
    }
    round.push((0.0, t));
    for (edge, section) in [(Edge::Flat, flat), (Edge::Rounded, round)] {
        let (mut area, mut moment) = (0.0, 0.0);
        for (k, &(a, b)) in section.iter().enumerate() {
            let (c, d): (f64, f64) = section[(k + 1) % section.len()];
            area += a * d - b * c;
            moment += (b + d) * (a * d - b * c) / 3.0;
        }
        let apothem = r * half.cos() + LIFT * t;
        let exact = 2.0 * f64::from(n) * half.tan() * (apothem * area + moment);
        for plane in [None, Some(X)] {
            let trim = Trim { edge, ..belt(h, t) };
            let trimmed = woven(&surface, plane, &[on_row(trim, 3, n)]).unwrap();
            sound(&surface, &trimmed);
            let group = &trimmed.surface.groups[0];
            assert_eq!(group.name, "belt");
            // Flat: 4 quads across each wall and 3 across each rim. Rounded: 2 and 4.
            let each = if edge == Edge::Flat { 14 } else { 12 };
            assert_eq!(group.quads.len(), each * n as usize);
            let found = volume(&trimmed.surface, &group.quads);
            assert!(
                (found / exact - 1.0).abs() < 1e-9,
                "{edge:?}: {found} {exact}"
            );
            assert!(value(&trimmed.findings, "trim-thickness") > 0.999);
            assert!(value(&trimmed.findings, "trim-height") < 1e-9);
            let new = &trimmed.surface.positions[surface.positions.len()..];
            let ends = new.iter().map(|p| p.y);
            let low = ends.clone().fold(f64::INFINITY, f64::min);
            let high = ends.fold(0.0, f64::max);
            assert!(
                (low - 4.5).abs() < 1e-9 && (high - 7.5).abs() < 1e-9,
                "{low} {high}"
            );
        }
    }
}

/// Over a sphere's equator its walls lie on larger spheres.
#[test]
fn a_belt_on_a_sphere_lies_on_the_larger_spheres() {
    let (n, r, t) = (48, 10.0, 0.5);
    // Latitudes from 18° south in steps of 3°.
    let mut surface = tube(n, 12, 1.0, |_, _| 1.0);
    for p in &mut surface.positions {
        let (sin, cos) = ((p.y - 6.0) * 3.0f64.to_radians()).sin_cos();
        *p = DVec3::new(p.x * r * cos, r * sin, p.z * r * cos);
    }
    let trimmed = woven(&surface, Some(X), &[on_row(belt(3.6, t), 6, n)]).unwrap();
    sound(&surface, &trimmed);
    assert!(value(&trimmed.findings, "trim-thickness") > 0.999);
    let inner = r + LIFT * t;
    let new = &trimmed.surface.positions[surface.positions.len()..];
    assert!(
        new.iter()
            .all(|p| (inner - 0.02..inner + t + 0.04).contains(&p.length()))
    );
    let steep = new
        .iter()
        .map(|p| p.y.atan2(p.x.hypot(p.z)))
        .fold(0.0, f64::max);
    assert!((steep * r - 1.8).abs() < 0.02, "{}", steep * r);
}

/// Into a waist of radius R goes a belt of 0.8 R, and what is thicker is refused with that number.
#[test]
fn a_belt_too_thick_for_a_waist_is_refused_with_what_would_go() {
    let (n, radius) = (96, 3.0);
    let mut surface = tube(n, 20, 0.07, |_, _| 1.0);
    // Rows a part of a circle apart whose middle is at 8 from the axis.
    for p in &mut surface.positions {
        let (sin, cos) = (p.y - 0.7).sin_cos();
        let out = 8.0 - radius * cos;
        *p = DVec3::new(out * p.x, radius * sin, out * p.z);
    }
    let most = 0.8 * radius / (1.0 + LIFT);
    let ask = |t: f64| woven(&surface, Some(X), &[on_row(belt(2.0, t), 10, n)]);
    sound(&surface, &ask(0.9 * most).unwrap());
    match ask(1.1 * most).unwrap_err() {
        TrimError::TooThick {
            trim,
            radius: r,
            most: m,
            ..
        } => {
            assert_eq!(trim, "belt");
            assert!(
                (r / radius - 1.0).abs() < 0.03 && (m / most - 1.0).abs() < 0.03,
                "{r} {m}"
            );
        }
        other => panic!("{other}"),
    }
}

#[test]
fn a_gap_and_an_open_run_are_closed_at_both_ends() {
    let n = 24;
    let surface = tube(n, 6, 2.0, |_, _| 5.0);
    let gap = Trim {
        front: Front::Gap {
            width: 0.0,
            at: None,
        },
        ..belt(3.0, 0.6)
    };
    let trimmed = woven(&surface, Some(X), &[on_row(gap, 3, n)]).unwrap();
    sound(&surface, &trimmed);
    // Of 24 columns of 14 quads two are left out; each end has 4 rows of 3.
    assert_eq!(trimmed.surface.groups[0].quads.len(), 22 * 14 + 2 * 12);
    let strap = Placed {
        run: (3 * n + 2..3 * n + 9).collect(),
        closed: false,
        ..on_row(belt(3.0, 0.6), 3, n)
    };
    let alone = woven(&surface, None, std::slice::from_ref(&strap)).unwrap();
    sound(&surface, &alone);
    assert_eq!(alone.surface.groups[0].quads.len(), 6 * 14 + 2 * 12);
    let both = woven(&surface, Some(X), &[strap]).unwrap();
    sound(&surface, &both);
    assert_eq!(both.surface.groups[0].quads.len(), 2 * (6 * 14 + 2 * 12));
    // Along the plane, from end to end of the tube and short of it.
    for (rows, edge) in [(0..7, Edge::Flat), (1..6, Edge::Rounded)] {
        let tape = Placed {
            trim: Trim {
                edge,
                ..belt(1.8, 0.3)
            },
            run: rows.map(|row| n * row).collect(),
            closed: false,
        };
        let alike = woven(&surface, Some(X), std::slice::from_ref(&tape)).unwrap();
        sound(&surface, &alike);
        let free = woven(&surface, None, &[tape]).unwrap();
        assert_eq!(alike.surface.quads.len(), free.surface.quads.len());
    }
}

/// Folds that wind around a sleeve twist its quads, whose two ways of being cut go through both walls of
/// what is thin. It is led over them, and told how far off the cloth it lies; what would stand off
/// further than it is high is refused.
#[test]
fn a_band_is_led_over_folds_that_would_cut_it() {
    let n = 12;
    let sleeve = |deep: f64, wind: f64, waves: f64| {
        let mut surface = tube(n, 8, 3.0, |_, _| 6.0);
        for p in &mut surface.positions {
            let fold = 1.0 + deep * (waves * p.x.atan2(p.z) + wind * p.y).sin();
            (p.x, p.z) = (p.x * fold, p.z * fold);
        }
        surface
    };
    for (surface, height, thickness) in [
        (sleeve(0.2, 0.9, 3.0), 2.0, 0.4),
        (sleeve(0.25, 0.7, 3.0), 2.0, 0.4),
        (sleeve(0.3, 0.5, 2.0), 1.0, 0.2),
        (sleeve(0.15, 1.2, 4.0), 3.0, 0.2),
    ] {
        let band = [on_row(belt(height, thickness), 4, n)];
        let input = TrimInput {
            surface: &surface,
            plane: None,
            sculpt: None,
        };
        let plain = weave::unchecked(&input, &band, &[0], &Task::default()).unwrap();
        assert!(!check::crossings(&plain.mesh).unwrap().is_empty());
        let led = woven(&surface, None, &band).unwrap();
        sound(&surface, &led);
        let told = led
            .findings
            .iter()
            .find(|f| f.code == "trim-height")
            .unwrap();
        assert!(
            told.sentence.contains("the cloth beneath it is folded"),
            "{}",
            told.sentence
        );
        let new = &led.surface.positions[surface.positions.len()..];
        let near = |p: &DVec3| {
            let each = surface.positions.iter().map(|q| q.distance(*p));
            each.fold(f64::INFINITY, f64::min)
        };
        // No vertex of it is further from one of the cloth than half a quad and what it may stand off.
        let far = new.iter().map(near).fold(0.0, f64::max);
        assert!(far < 1.6 + height + thickness, "{far}");
    }
    let surface = sleeve(0.2, 0.9, 3.0);
    match woven(&surface, None, &[on_row(belt(1.0, 0.1), 4, n)]).unwrap_err() {
        TrimError::Crosses { most: None, .. } => {}
        other => panic!("{other}"),
    }
}

#[test]
fn where_a_band_cant_lie_it_is_refused_by_name() {
    let n = 12;
    let surface = tube(n, 6, 2.0, |_, _| 5.0);
    let ask = |trim: Trim, row: u32| woven(&surface, None, &[on_row(trim, row, n)]).unwrap_err();
    let refused = ask(belt(2.0, 0.5), 0);
    assert!(matches!(refused, TrimError::AtAnEnd { .. }), "{refused}");
    match ask(belt(9.0, 0.5), 4) {
        TrimError::TooDeep { most, .. } => assert!((most - 8.0).abs() < 1e-9, "{most}"),
        other => panic!("{other}"),
    }
    // Two bands on one ring, and two that lie on each other.
    let pair = |row: u32| {
        let other = Trim {
            name: "strap".into(),
            ..belt(3.0, 0.5)
        };
        let both = [on_row(belt(3.0, 0.5), 3, n), on_row(other, row, n)];
        woven(&surface, Some(X), &both)
    };
    assert!(matches!(pair(3).unwrap_err(), TrimError::Twice { .. }));
    let refused = pair(4).unwrap_err().to_string();
    assert!(refused.contains("would pass through"), "{refused}");
    sound(&surface, &{
        let both = [
            on_row(belt(1.0, 0.5), 2, n),
            on_row(
                Trim {
                    name: "strap".into(),
                    ..belt(1.0, 0.5)
                },
                4,
                n,
            ),
        ];
        woven(&surface, Some(X), &both).unwrap()
    });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]
    /// On waving tubes every band is sound, or refused where the cloth bends towards it or ends.
    #[test]
    fn bands_on_random_tubes_are_sound(
        half in 4u32..14,
        step in 0.15..0.8f64,
        noise in 0.0..0.08f64,
        waves in 1u32..5,
        (height, thickness) in (0.1..2.0f64, 0.02..0.4f64),
        (flat, mirrored, gap) in (prop::bool::ANY, prop::bool::ANY, prop::bool::ANY),
    ) {
        let wave = |angle: f64, depth: f64| {
            1.0 + noise * (f64::from(waves) * angle).cos() * (1.0 + (3.0 * depth).sin())
        };
        let surface = tube(2 * half, 8, step, wave);
        let front = match gap {
            true => Front::Gap { width: 0.0, at: Some(DVec3::new(0.0, 4.0 * step, 1.0)) },
            false => Front::Closed,
        };
        let trim = Trim {
            edge: if flat { Edge::Flat } else { Edge::Rounded },
            front,
            ..belt(height, thickness)
        };
        match woven(&surface, mirrored.then_some(X), &[on_row(trim, 4, 2 * half)]) {
            // Cloth as thin as a tenth of its quads hides in how they are bent.
            Ok(trimmed) if thickness > 0.1 * step => sound(&surface, &trimmed),
            Ok(trimmed) => prop_assert!(check::crossings(&trimmed.surface).unwrap().is_empty()),
            Err(TrimError::TooThick { most, .. }) => prop_assert!(thickness > most),
            Err(TrimError::TooDeep { most, .. }) => prop_assert!(height > most),
            // Thicker than it is high, or than a third of the tube's radius.
            Err(TrimError::Crosses { .. }) => prop_assert!(thickness > height.min(0.33)),
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}
