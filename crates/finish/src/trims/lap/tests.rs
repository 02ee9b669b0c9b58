//! Laps on tubes, whose places are known in closed form.

use std::f64::consts::PI;

use base::Level;
use engine::check;
use mesh::QuadMesh;

use super::super::tests::{X, cuff, placed, sound, tube, value, volume, woven};
use super::super::{Edge, Trim, TrimError, TrimKind};
use super::*;

const TOOL: f64 = 1e-9;

fn collar(height: f64, thickness: f64, lap: f64, upper: End) -> Trim {
    Trim {
        name: "collar".into(),
        kind: TrimKind::Collar,
        guide: "neck".into(),
        front: Front::Overlap {
            width: 0.0,
            at: None,
            lap,
            upper,
        },
        ..cuff(height, thickness)
    }
}

/// Degrees from the front of a tube, towards +x.
fn turn(p: DVec3) -> f64 {
    p.x.atan2(p.z).to_degrees()
}

fn vertices(mesh: &QuadMesh, quads: &[u32]) -> Vec<DVec3> {
    let mut ids: Vec<u32> = quads.iter().flat_map(|&q| mesh.quads[q as usize]).collect();
    ids.sort_unstable();
    ids.dedup();
    ids.into_iter()
        .map(|v| mesh.positions[v as usize])
        .collect()
}

/// On a prism over a regular polygon the lap lies on the sides moved out: over the end beneath it holds
/// height times the difference of two polygons' sectors whose apothems differ by the thickness
/// (elementary geometry).
#[test]
fn a_lap_lies_on_the_other_end_as_far_and_as_thick_as_asked() {
    let (n, r, h, t, lap) = (24, 5.0, 3.0, 0.5, 2.0);
    let surface = tube(n, 4, 2.0, |_, _| r);
    let step = 360.0 / f64::from(n);
    // Seen from outside with its edge, at y < 0, up, +x is to the left of the front.
    for (upper, sign) in [(End::Right, -1.0), (End::Left, 1.0)] {
        let trim = collar(h, t, lap, upper);
        let trimmed = woven(&surface, Some(X), &[placed(trim, n)]).unwrap();
        sound(&surface, &trimmed);
        let mesh = &trimmed.surface;
        let names: Vec<&str> = mesh.groups.iter().map(|g| g.name.as_str()).collect();
        assert_eq!(names, ["collar", "collar_lap"]);
        let all = vertices(mesh, &mesh.groups[1].quads);
        let turned = |p: &DVec3| sign * turn(*p);
        let far = all.iter().map(turned).fold(f64::INFINITY, f64::min);
        let chord = 2.0 * r * (PI / f64::from(n)).sin();
        let (columns, rest) = ((lap / chord).floor(), (lap / chord).fract());
        // Along a chord a share of it, measured at the wall beneath.
        let half = PI / f64::from(n);
        let along = ((2.0 * rest - 1.0) * half.tan()).atan().to_degrees() + step / 2.0;
        let end = -step * (1.0 + columns) - along;
        assert!((far - end).abs() < 0.2, "{far} {end}");
        // What lies beyond the other end is outside of it by less than a tenth of the thickness.
        let over: Vec<&DVec3> = all.iter().filter(|p| turned(p) < -step - 0.01).collect();
        assert!(over.len() > 24);
        let apothem = |p: &DVec3| {
            let side = ((turn(*p).abs() / step).floor() + 0.5) * step;
            p.x.hypot(p.z) * (turn(*p).abs() - side).to_radians().cos()
        };
        let least = over
            .iter()
            .map(|p| apothem(p))
            .fold(f64::INFINITY, f64::min);
        let most = over.iter().map(|p| apothem(p)).fold(0.0, f64::max);
        let gap = least - r * half.cos();
        assert!((0.0..0.1 * t).contains(&gap), "{gap}");
        assert!((most - least - t).abs() < 0.01 * t, "{least} {most}");
        // 3 columns of the closed collar are gone: one, and the two halves that the gap's chords are.
        let quads = &mesh.groups[0].quads;
        assert_eq!(quads.len(), 9 * (n as usize - 2));
        assert!(value(&trimmed.findings, "trim-thickness") > 0.99);
    }
}

/// Closed up, trim and lap hold what a strip of the length of their middle does.
#[test]
fn a_lap_is_solid_and_open_nowhere() {
    let n = 48;
    let surface = tube(n, 4, 2.0, |_, _| 20.0);
    for edge in [Edge::Flat, Edge::Rounded] {
        let trim = Trim {
            edge,
            ..collar(4.0, 0.8, 5.0, End::Right)
        };
        for plane in [None, Some(X)] {
            let mut trim = trim.clone();
            if let (None, Front::Overlap { at, .. }) = (plane, &mut trim.front) {
                *at = Some(DVec3::new(0.0, 0.0, 20.0));
            }
            let trimmed = woven(&surface, plane, &[placed(trim, n)]).unwrap();
            sound(&surface, &trimmed);
            let mesh = &trimmed.surface;
            assert_eq!(mesh.topology().boundary_loops().len(), 2);
            let at = |group: usize| volume(mesh, &mesh.groups[group].quads);
            // What isn't closed of it lies in y = 0, through the origin, or faces the middle.
            let chord = 2.0 * 20.0 * (PI / f64::from(n)).sin();
            let long = (f64::from(n) - 2.0) * chord * (20.0 - 0.4) / 20.0 + 2.0 * chord + 5.0;
            let rim = match edge {
                Edge::Flat => 4.0,
                // A half circle of 4 pieces instead of the last 0.4.
                Edge::Rounded => 3.6 + 0.4 * 2.0 * (PI / 4.0).sin() / 2.0,
            };
            let strip = long * 0.8 * rim;
            let found = at(0) + at(1);
            assert!((found / strip - 1.0).abs() < 0.02, "{found} {strip}");
        }
    }
}

/// All but the lap, and the end wall beneath it, is its own exact image; that is said by name, and what
/// has no image besides is found.
#[test]
fn what_has_no_image_is_the_laps_group_alone() {
    let n = 24;
    let surface = tube(n, 4, 2.0, |_, _| 5.0);
    let trim = placed(collar(3.0, 0.5, 2.0, End::Left), n);
    let trimmed = woven(&surface, Some(X), &[trim]).unwrap();
    let mesh = &trimmed.surface;
    assert_eq!(trimmed.unpaired(), mesh.groups[1].quads);
    let whole = check::soundness(mesh, Some(X)).unwrap().mirror.unwrap();
    assert!(whole.faces_missing > 0 && whole.error > 0.01, "{whole:?}");
    let told = trimmed
        .findings
        .iter()
        .find(|f| f.code == "trim-mirror")
        .unwrap();
    assert!(
        told.sentence
            .contains("but for the lap in group 'collar_lap'"),
        "{}",
        told.sentence
    );
    // A vertex of the trim moved aside has no image any more.
    let mut moved = mesh.positions.clone();
    let v = mesh.quads[mesh.groups[0].quads[0] as usize][0];
    moved[v as usize].y -= 0.01;
    let again = trimmed.at(moved, &base::Task::default()).unwrap();
    let told = again
        .findings
        .iter()
        .find(|f| f.code == "trim-mirror")
        .unwrap();
    assert_eq!(told.level, Level::Fail);
}

/// A lap to one side of the plane has its image on the other, and that has the other trim's name.
#[test]
fn a_lap_beside_the_plane_has_its_image() {
    let one = tube(24, 3, 2.0, |_, _| 3.0);
    let shifted = |p: &DVec3| *p + DVec3::new(8.0, 0.0, 0.0);
    let mut pair = one.clone();
    pair.positions = one.positions.iter().map(shifted).collect();
    let images: Vec<DVec3> = pair.positions.iter().map(|p| X.mirror(*p)).collect();
    let n = pair.positions.len() as u32;
    pair.positions.extend(images);
    let turned = |&[a, b, c, d]: &[u32; 4]| [a + n, d + n, c + n, b + n];
    pair.quads.extend(one.quads.iter().map(turned));
    let front = Front::Overlap {
        width: 0.0,
        at: Some(DVec3::new(8.0, 0.0, 3.0)),
        lap: 1.0,
        upper: End::Right,
    };
    let left = placed(
        Trim {
            front,
            ..cuff(2.0, 0.3)
        },
        24,
    );
    let right = Placed {
        trim: Trim {
            name: "right cuff".into(),
            guide: "right wrist".into(),
            ..left.trim.clone()
        },
        run: (n..n + 24).collect(),
        closed: true,
    };
    let both = woven(&pair, Some(X), &[left, right]).unwrap();
    sound(&pair, &both);
    assert!(both.unpaired().is_empty());
    let groups = &both.surface.groups;
    let names: Vec<&str> = groups.iter().map(|g| g.name.as_str()).collect();
    assert_eq!(
        names,
        ["left_cuff", "right_cuff", "left_cuff_lap", "right_cuff_lap"]
    );
    for (group, sign) in groups.iter().zip([1.0, -1.0, 1.0, -1.0]) {
        let centre = |q: &u32| both.surface.centre(*q as usize).x * sign;
        assert!(
            group.quads.iter().all(|q| centre(q) > 0.0),
            "{}",
            group.name
        );
    }
    assert_eq!(groups[2].quads.len(), groups[3].quads.len());
}

#[test]
fn a_lap_that_cant_be_is_refused_with_what_would_go() {
    let n = 24;
    let surface = tube(n, 4, 2.0, |_, _| 5.0);
    let ask = |trim: Trim| woven(&surface, Some(X), &[placed(trim, n)]).unwrap_err();
    let chord = 2.0 * 5.0 * (PI / f64::from(n)).sin();
    match ask(collar(3.0, 0.5, 20.0, End::Left)) {
        TrimError::LapTooLong { most, .. } => {
            assert!((most - 11.0 * chord).abs() < TOOL, "{most} {chord}");
        }
        other => panic!("{other}"),
    }
    match ask(collar(3.0, 1.5, 2.0, End::Left)) {
        TrimError::LapTooSteep {
            width, least, most, ..
        } => {
            assert!((width - 2.0 * chord).abs() < TOOL && (least - 3.0).abs() < TOOL);
            // What is said to go goes.
            let thinner = placed(collar(3.0, most, 2.0, End::Left), n);
            sound(&surface, &woven(&surface, Some(X), &[thinner]).unwrap());
            let mut wider = collar(3.0, 1.5, 2.0, End::Left);
            if let Front::Overlap { width, .. } = &mut wider.front {
                *width = least;
            }
            sound(
                &surface,
                &woven(&surface, Some(X), &[placed(wider, n)]).unwrap(),
            );
        }
        other => panic!("{other}"),
    }
    let refused = ask(Trim {
        side: Side::Within,
        ..collar(3.0, 0.5, 2.0, End::Left)
    });
    assert!(matches!(refused, TrimError::NoLap { .. }), "{refused}");
    let refused = ask(collar(3.0, 0.5, 0.0, End::Left));
    assert!(matches!(refused, TrimError::Number { .. }), "{refused}");
    // An open run whose front is where it begins has one end there.
    let mut open = placed(collar(3.0, 0.5, 2.0, End::Left), n);
    open.closed = false;
    open.run = (0..12).collect();
    if let Front::Overlap { at, .. } = &mut open.trim.front {
        *at = Some(DVec3::new(0.0, 0.0, 5.0));
    }
    let refused = woven(&surface, None, &[open]).unwrap_err();
    assert!(matches!(refused, TrimError::OneEnd { .. }), "{refused}");
    // Without a plane nothing says where the front is.
    let alone = placed(collar(3.0, 0.5, 2.0, End::Left), n);
    let refused = woven(&surface, None, &[alone]).unwrap_err();
    assert!(matches!(refused, TrimError::NoFront { .. }), "{refused}");
}
